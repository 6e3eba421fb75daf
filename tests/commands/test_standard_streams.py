"""``-`` is standard input where a file may stand and standard output after ``-o``, whatever they are."""

from __future__ import annotations

import os
import pty
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from rework.cli import main

ROOT = Path(__file__).parents[2]
CASES = ROOT / "tests" / "cases"


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    """Return a folder with a small hot set and its job."""
    for name in ("stub.circuit", "stub.job"):
        shutil.copy(CASES / name, tmp_path)
    return tmp_path


def rework(*arguments: str, cwd: Path, **streams: object) -> subprocess.CompletedProcess:
    return subprocess.run(
        [sys.executable, "-m", "rework", *arguments],
        cwd=cwd,
        capture_output=True,
        check=False,
        **streams,
    )


def test_a_netlist_is_read_from_a_pipe_and_from_a_file(bench: Path):
    stub = bench / "stub.circuit"
    named = rework("check", "stub.circuit", "--json", cwd=bench)
    piped = rework("check", "-", "--json", cwd=bench, input=stub.read_bytes())
    with stub.open() as file:
        given = rework("check", "-", "--json", cwd=bench, stdin=file)
    assert named.stdout == piped.stdout == given.stdout
    assert named.returncode == piped.returncode == given.returncode == 1


def test_a_job_on_standard_input_finds_its_files_in_the_working_folder(bench: Path):
    done = rework("apply", "-", cwd=bench, input=(bench / "stub.job").read_bytes())
    assert done.stdout == rework("apply", "stub.job", cwd=bench).stdout
    assert b"circuit " in done.stdout


def test_mistakes_on_standard_input_have_their_line(bench: Path):
    done = rework("check", "-", cwd=bench, input=b"R1 resistr 1k : A -- B\n")
    assert done.returncode == 2
    assert b"standard input:1:4" in done.stderr


@pytest.mark.parametrize("command", ["check", "tidy", "apply"])
def test_an_empty_or_closed_standard_input_is_refused(command: str, bench: Path):
    nothing = rework(command, "-", cwd=bench, stdin=subprocess.DEVNULL)
    closed = subprocess.run(
        ["sh", "-c", f'exec "$0" -m rework {command} - <&-', sys.executable],
        cwd=bench,
        capture_output=True,
        check=False,
    )
    assert closed.returncode == 2
    assert b"standard input is closed" in closed.stderr
    assert b"Traceback" not in nothing.stderr + closed.stderr


def test_a_terminal_is_read_to_its_end(bench: Path):
    ours, theirs = pty.openpty()
    os.write(ours, b"R1 resistor 1k : A -- B\n\x04")
    done = rework("tidy", "-", cwd=bench, stdin=theirs, timeout=60)
    os.close(ours), os.close(theirs)
    assert (done.returncode, done.stdout) == (0, b"R1  resistor 1k : A -- B\n")


@pytest.mark.parametrize("command", [("diff", "-", "-"), ("tidy", "-", "--in-place")])
def test_standard_input_is_not_two_files_and_cannot_be_replaced(command, bench: Path):
    text = (bench / "stub.circuit").read_bytes()
    assert rework(*command, cwd=bench, input=text).returncode == 2


def test_output_to_standard_output_is_the_netlist_alone(bench: Path):
    dashed = rework("apply", "stub.job", "-o", "-", cwd=bench)
    assert dashed.stdout == rework("apply", "stub.job", cwd=bench).stdout
    assert not (bench / "-").exists()
    assert rework("check", "-", cwd=bench, input=dashed.stdout).returncode == dashed.returncode


@pytest.mark.parametrize(
    "command",
    [
        ("apply", "pager.job", "-o", "pager.circuit"),
        ("apply", "pager.job", "-o", "./pager.job"),
        ("apply", "pager.job", "-o", "supply.circuit"),
        ("apply", "pager.job", "-o", "linked.circuit"),
        ("tidy", "pager.circuit", "-o", "pager.circuit"),
        ("options", "pager.circuit", "--draft", "pager.job"),
    ],
)
def test_an_input_is_never_written_even_with_force(command, tmp_path, monkeypatch, capsys):
    bench = tmp_path
    shutil.copytree(ROOT / "circuits" / "pager", bench, dirs_exist_ok=True)
    monkeypatch.chdir(bench)
    os.link(bench / "pager.circuit", bench / "linked.circuit")
    before = {path.name: path.read_bytes() for path in bench.iterdir()}
    if command[0] == "options":  # the draft may not replace the circuit it is drafted from
        (bench / "pager.job").unlink()
        os.link(bench / "pager.circuit", bench / "pager.job")
        before["pager.job"] = before["pager.circuit"]
    assert main([*command, "--force"]) == 2
    assert "is an input of this run" in capsys.readouterr().err
    assert {path.name: path.read_bytes() for path in bench.iterdir()} == before

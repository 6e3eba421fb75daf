"""What is installed is whole: grammar, demos, rules and data ride in the wheel and are found there,
not in the checkout.
"""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder that holds the package as pip would lay it out."""
    folder = tmp_path_factory.mktemp("wheel")
    done = subprocess.run(
        [
            sys.executable,
            "-m",
            "pip",
            "wheel",
            "--no-deps",
            "--no-build-isolation",
            "--disable-pip-version-check",
            "-q",
            "-w",
            str(folder),
            str(ROOT),
        ],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    with zipfile.ZipFile(next(folder.glob("*.whl"))) as wheel:
        wheel.extractall(folder / "site")
    return folder / "site"


def run(installed: Path, *words: str) -> subprocess.CompletedProcess:
    return subprocess.run(
        [sys.executable, *words],
        cwd=installed.parent,
        env={**os.environ, "PYTHONPATH": str(installed)},
        capture_output=True,
        text=True,
        check=False,
    )


def test_every_file_that_is_kept_is_in_the_wheel(installed: Path):
    kept = subprocess.run(
        ["git", "ls-files", "rework", "grammar", "circuits"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    ).stdout.split()
    there = {
        path.relative_to(installed).as_posix() for path in installed.rglob("*") if path.is_file()
    }
    wanted = {
        name if name.startswith("rework/") else f"rework/{name}"
        for name in kept
        if (ROOT / name).exists()
    }
    assert sorted(wanted - there) == []
    assert {Path(name).suffix for name in wanted} >= {
        ".lark",
        ".circuit",
        ".job",
        ".rule",
        ".toml",
        ".py",
    }


def test_the_installed_package_finds_its_own_files(installed: Path):
    done = run(
        installed,
        "-c",
        "import rework; from rework.language.syntax import grammar_folder; from"
        " rework.commands.demo import demos\nprint(rework.__file__, grammar_folder(),"
        " *demos().values(), sep='\\n')",
    )
    assert done.returncode == 0, done.stderr
    paths = done.stdout.split()
    assert len(paths) >= 6
    assert all(Path(path).is_relative_to(installed) for path in paths), paths


def test_the_installed_command_checks_a_packaged_demo_and_prints_a_rule(installed: Path):
    circuit = installed / "rework" / "circuits" / "pager" / "pager.circuit"
    assert run(installed, "-m", "rework", "check", str(circuit)).returncode == 1
    assert run(installed, "-m", "rework", "apply", str(circuit.with_suffix(".job"))).returncode == 0
    assert "line" in run(installed, "-m", "rework", "rules", "release-line-cord").stdout
    assert "12AU6" in run(installed, "-m", "rework", "tubes").stdout

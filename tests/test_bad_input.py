"""Broken, hostile and enormous files: told cleanly, nothing written, in bounded time and memory,
nothing steers the terminal.
"""

from __future__ import annotations

import os
import random
import re
import subprocess
import sys
import time
from functools import cache
from pathlib import Path

import pytest
from each import each

from rework.cli import main
from rework.language.reader import LONGEST, MOST_BYTES, MOST_LINES, MOST_PROBLEMS
from rework.language.resolve import read_circuit_bytes

CIRCUITS = Path(__file__).parent.parent / "circuits"
DEMO = (CIRCUITS / "pager" / "pager.circuit").read_bytes()
JOB = (CIRCUITS / "pager" / "pager.job").read_bytes()
GOOD = b"R1 resistor 1k : A -- B\nR2 resistor 1k : A -- B\n"
#: What must never reach a terminal from a file or its name: control characters but tab and newline,
#: marks that turn the direction of writing, and halves of a surrogate pair.
STEERS = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069\ud800-\udfff]")

HOSTILE = (
    '"',
    "'",
    "<b>",
    "&lt;",
    "../",
    "../../etc/passwd",
    "$(x)",
    "`x`",
    "%s",
    "%n%n",
    "{0}",
    "\\",
    "\\n",
    "|",
    ";",
    "&&",
    "~",
    "*",
    "?",
    "R" * 300,
    "\x00",
    "\x1b[2J",
    "\x1b]0;x\x07",
    "\x9b31m",
    "\x7f",
    "\r",
    "\x0b",
    "\x0c",
    "\x85",
    "\u2028",
    "\u2029",
    "\u202e",
    "\u2066",
    "\u200b",
    "\u200d",
    "\ufeff",
    "\u00ad",
    "А",
    "Ω",
    "Ｒ",
    "１",
    "٣",
    "ﬁ",
    "e\u0301",
    "😀",
    "\U000e0041",
    "V1.",
    ".V1",
    "V1..1",
    "V1.plate.x",
    "1V",
    "-",
    "--",
    "a--b",
)


def hand_made() -> dict[str, bytes]:
    """Files of which none is a circuit."""
    wide = DEMO.decode()
    files = {
        "utf16-le": wide.encode("utf-16"),
        "utf16-be": b"\xfe\xff" + wide.encode("utf-16-be"),
        "utf32": wide.encode("utf-32"),
        "latin1": 'R1 resistor 1k : A -- B "10 µF"\n'.encode("latin-1"),
        "nul-in-the-middle": DEMO[:500] + b"\0" + DEMO[500:],
        "png": b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 4,
        "gzip": b"\x1f\x8b\x08\x00" + bytes(range(256)),
        "elf": b"\x7fELF" + bytes(64),
        "all-bytes": bytes(range(256)),
        "overlong": b"R1 resistor 1k : A\xc0\xaf -- B\n",
        "surrogate": b"R1 resistor 1k : A\xed\xa0\x80 -- B\n",
        "half-a-letter": 'R1 resistor 1k : A -- B "Ω'.encode()[:-1],
        "bom-twice": b"\xef\xbb\xbf" * 2 + GOOD,
        "only-a-quote": b'"',
        "only-a-colon": b":",
        "many-colons": b":" * 5000,
        "many-quotes": b'"' * 5001,
        "many-hashes-in-a-quote": b'R1 resistor 1k : A -- B "' + b" #" * 9000,
        "many-commas": GOOD + b"touchable " + b"," * 5000,
        "many-chains": GOOD + b"R3 resistor 1k : A" + b" -- A" * 3000,
        "commas-over-lines": b"touchable A,\n" * 3000,
        "endless-continuation": GOOD + b"touchable A,\n" + b"A,\n" * 30000,
        "a-megabyte-on-one-line": b"R1 resistor 1k : A -- " + b"B" * 1_000_000,
        "a-megabyte-of-words": b"x " * 500_000,
        "a-megabyte-of-blanks": b"x" + b" " * 1_000_000 + b"y",
        "a-hundred-thousand-slips": b"".join(
            b"R%d resister 1k : A -- B\n" % n for n in range(100_000)
        ),
        "a-hundred-thousand-broken-lines": b"R1 resistor 1k A -- B\n" * 100_000,
        "a-hundred-thousand-kinds": b"".join(
            b"R%d k%d : A -- B\n" % (n, n) for n in range(100_000)
        ),
        "too-many-lines": b"\n" * (MOST_LINES + 2),
        "too-many-bytes": b"# " + b"x" * MOST_BYTES,
        "random-line-noise": random.Random(5).randbytes(1_000_000),
        "deep-brackets": b"(" * 100_000,
        "long-number": b"R1 resistor " + b"9" * 5000 + b"k : A -- B\n",
        "long-fraction": b"R1 resistor 1/" + b"9" * 5000 + b" ohm : A -- B\n",
        "long-name": b"R" * (LONGEST + 1) + b" resistor 1k : A -- B\n",
        "huge-value": b"R1 resistor 9e99 ohm : A -- B\n",
        "division-by-nothing": b"R1 resistor 1/0 W : A -- B\n",
        "attach-nowhere": b'attach "nowhere.circuit" as S\n',
        "attach-a-folder": b'attach "." as S\n',
        "attach-a-device": b'attach "/dev/zero" as S\n',
        "attach-itself": GOOD + b'attach "broken.circuit" as S\n',
        "attach-nothing": GOOD + b'attach "" as S\n',
        "attach-hostile": GOOD + b'attach "../$(x)/\'<b>" as S\n',
        "duplicate-names": b"R1 resistor 1k : A -- B\n" * 3000,
        "html": b"<html><body>R1</body></html>",
        "json": b'{"parts": []}',
        "shell": b"#!/bin/sh\nrm -rf /\n",
    }
    for number, text in enumerate(HOSTILE):
        raw = text.encode("utf-8", "surrogatepass")
        files[f"name-{number}"] = (
            b"R1 resistor 1k : A -- B\n" + raw + b"R2 resistor 1k : A -- B : C\n"
        )
        files[f"node-{number}"] = GOOD + b"R3 resistor 1k : A -- B" + raw + b" C\n"
    return files


def token_soup(seed: int) -> bytes:
    chance = random.Random(seed)
    words = (
        DEMO.decode().split() + list(HOSTILE) + ["\n", "\n", "\n", " ", "\t", ",", ":", "--", "="]
    )
    return "".join(
        chance.choice(words) + chance.choice((" ", "", "\n"))
        for _ in range(chance.randrange(5, 400))
    ).encode()


def possibly_legal() -> dict[str, bytes]:
    """Files that may or may not be circuits."""
    files = {f"cut-at-{end}": DEMO[:end] for end in range(1, len(DEMO), 41)}
    files |= {
        f"noise-{seed}": random.Random(seed).randbytes(random.Random(seed).randrange(1, 3000))
        for seed in range(20)
    }
    files |= {f"soup-{seed}": token_soup(seed) for seed in range(40)}
    for seed in range(30):
        chance = random.Random(seed)
        spoilt = bytearray(DEMO)
        for _ in range(chance.randrange(1, 8)):
            spoilt[chance.randrange(len(spoilt))] = chance.randrange(256)
        files[f"spoilt-{seed}"] = bytes(spoilt)
    return files


BROKEN = hand_made()
DOUBTFUL = possibly_legal()


#: A spoilt file may take at most so many times what the check of a demo takes.
MOST_TIMES = 200


@cache
def of_a_demo() -> float:
    """Return the seconds of processor time that the check of a demo takes here and now."""
    took = []
    for _ in range(3):
        started = time.process_time()
        main(["check", str(CIRCUITS / "pager" / "pager.circuit")])
        took.append(time.process_time() - started)
    return min(took)


def run(capsys: pytest.CaptureFixture, *arguments: str) -> tuple[int, str]:
    """Run a command in this process and return its status and all it printed, having held it to
    what every run must hold to.
    """
    of_a_demo()
    capsys.readouterr()
    started = time.process_time()
    try:
        status = main(arguments)
    except SystemExit as stopped:
        status = stopped.code
    seconds = time.process_time() - started
    out, err = capsys.readouterr()
    assert "in a way it should not" not in err, err
    assert "Traceback" not in err, err
    assert not STEERS.search(out + err)
    assert status in (0, 1, 2)
    assert seconds < MOST_TIMES * of_a_demo(), f"{seconds:.1f} s of processor time"
    return status, out + err


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_there_are_at_least_two_hundred_broken_files():
    assert len(BROKEN) + len(DOUBTFUL) >= 300
    assert len(BROKEN) >= 140


@pytest.mark.parametrize("name", BROKEN)
def test_a_broken_file_is_refused_and_nothing_is_written(name: str, folder: Path, capsys):
    data = BROKEN[name]
    (folder / "broken.circuit").write_bytes(data)
    commands = [
        ("check", "broken.circuit"),
        ("check", "--json", "broken.circuit"),
        ("draw", "broken.circuit", "-o", "out.svg"),
        ("diff", "broken.circuit", "broken.circuit"),
    ]
    for command in commands if len(data) < 50_000 else commands[:1]:
        status, told = run(capsys, *command)
        assert status == 2, (command, told[:500])
        assert [entry.name for entry in folder.iterdir()] == ["broken.circuit"]


@pytest.mark.parametrize("name", [name for name, data in BROKEN.items() if len(data) < 50_000])
def test_what_cannot_be_put_in_order_stays_as_it_is(name: str, folder: Path, capsys):
    # tidy does not ask what the words mean, so that some of these are tidied and others refused
    (folder / "broken.circuit").write_bytes(BROKEN[name])
    status, _ = run(capsys, "tidy", "broken.circuit", "-o", "out.circuit")
    assert (folder / "out.circuit").exists() == (status == 0)
    status, _ = run(capsys, "tidy", "--in-place", "broken.circuit")
    assert status == 0 or (folder / "broken.circuit").read_bytes() == BROKEN[name]


@pytest.mark.parametrize("name", DOUBTFUL)
def test_a_spoilt_file_is_read_or_refused_cleanly(name: str, folder: Path, capsys):
    (folder / "spoilt.circuit").write_bytes(DOUBTFUL[name])
    status, _ = run(capsys, "check", "spoilt.circuit")
    circuit, problems = read_circuit_bytes(DOUBTFUL[name], file="spoilt.circuit")
    assert (status == 2) == (circuit is None)
    assert all(
        problem.place and problem.place.line >= 1 and problem.place.column >= 1
        for problem in problems
    )
    run(capsys, "tidy", "spoilt.circuit")
    assert [entry.name for entry in folder.iterdir()] == ["spoilt.circuit"]


@pytest.mark.parametrize("end", range(0, len(JOB), 60))
def test_a_cut_off_job_is_run_or_refused_cleanly(end: int, folder: Path, capsys):
    for entry in (CIRCUITS / "pager").iterdir():
        (folder / entry.name).write_bytes(entry.read_bytes())
    (folder / "pager.job").write_bytes(JOB[:end])
    before = sorted(entry.name for entry in folder.iterdir())
    status, _ = run(capsys, "apply", "pager.job")
    assert status != 2 or sorted(entry.name for entry in folder.iterdir()) == before


@pytest.mark.parametrize("seed", range(25))
def test_a_spoilt_job_is_run_or_refused_cleanly(seed: int, folder: Path, capsys):
    for entry in (CIRCUITS / "pager").iterdir():
        (folder / entry.name).write_bytes(entry.read_bytes())
    chance = random.Random(seed)
    spoilt = bytearray(JOB)
    for _ in range(chance.randrange(1, 4)):
        spoilt[chance.randrange(len(spoilt))] = chance.choice(b'\x00\xff",:=#\nxR9')
    (folder / "pager.job").write_bytes(bytes(spoilt))
    run(capsys, "apply", "pager.job", "-o", "out.circuit")


@pytest.mark.parametrize(
    "text",
    ["", "\n", "# only a remark\n", "\ufeff", "\r", "\r\n\r\n", " \t \n", "# no last newline"],
)
def test_an_empty_file_is_a_circuit_without_parts(text: str, folder: Path, capsys):
    (folder / "empty.circuit").write_bytes(text.encode())
    assert run(capsys, "tidy", "empty.circuit")[0] == 0
    assert read_circuit_bytes(text.encode(), file="empty.circuit")[0].parts == ()


@each("end", ["\n", "\r\n", "\r", ""])
@each("mark", [b"", b"\xef\xbb\xbf"])
def test_line_ends_and_byte_order_marks_make_no_difference(end: str, mark: bytes):
    data = (
        mark
        + "\n".join(DEMO.decode().rstrip("\n").split("\n")).replace("\n", end or "\n").encode()
        + end.encode()
    )
    assert read_circuit_bytes(data, file="x") == read_circuit_bytes(DEMO, file="x")
    wrong = data.replace(b"resistor 150 ohm", b"resistor 150 uF")
    assert read_circuit_bytes(wrong, file="x")[1][0].place.line == 19


@each(
    ("data", "line", "column"),
    [
        (b"# \xce\xa9 ok\nR1 \xff", 2, 4),
        ("# Ω Ω \x1b[2J".encode(), 1, 7),
        (b"a\rb\rc\x00", 3, 2),
        (b"\xef\xbb\xbf# \xff", 1, 3),
        (b"\xff\xfeR\x00", 1, 1),
    ],
)
def test_what_is_no_text_is_shown_by_line_and_letter(data: bytes, line: int, column: int):
    circuit, problems = read_circuit_bytes(data, file="x")
    assert circuit is None
    assert (problems[0].place.line, problems[0].place.column) == (line, column)


def test_more_mistakes_than_anybody_reads_end_the_reading(folder: Path, capsys):
    (folder / "a.circuit").write_bytes(BROKEN["a-hundred-thousand-broken-lines"])
    _, told = run(capsys, "check", "a.circuit")
    assert f"... and {MOST_PROBLEMS + 1 - 200} more" in told
    _, problems = read_circuit_bytes(BROKEN["a-hundred-thousand-broken-lines"], file="a.circuit")
    assert len(problems) == MOST_PROBLEMS + 1
    assert "reading stopped here" in problems[-1].message


class TestNoPlainFile:
    @pytest.mark.parametrize(
        "name",
        [
            "nowhere.circuit",
            ".",
            "..",
            "/",
            "/dev/zero",
            "/dev/full",
            "/proc/self/mem",
            "",
            "a\x00b",
            "x" * 5000,
            "no/such/folder/a.circuit",
            "\x1b[2Jx.circuit",
            "new\nline.circuit",
            "\udcff.circuit",
            "\u202ex.circuit",
        ],
    )
    @pytest.mark.parametrize(
        "command",
        [("check",), ("tidy",), ("apply",), ("check", "--json"), ("diff", "good.circuit")],
    )
    def test_is_refused(self, name: str, command: tuple[str, ...], folder: Path, capsys):
        (folder / "good.circuit").write_bytes(GOOD)
        assert run(capsys, *command, name)[0] == 2

    @pytest.mark.parametrize("command", ["check", "tidy", "apply"])
    def test_a_pipe_nobody_writes_to_is_refused_at_once(self, command: str, folder: Path, capsys):
        os.mkfifo(folder / "pipe.circuit")
        assert run(capsys, command, "pipe.circuit")[0] == 2

    def test_a_link_that_leads_to_itself_is_refused(self, folder: Path, capsys):
        (folder / "loop.circuit").symlink_to("loop.circuit")
        assert run(capsys, "check", "loop.circuit")[0] == 2

    @pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
    def test_a_file_that_may_not_be_read_is_refused(self, folder: Path, capsys):
        (folder / "secret.circuit").write_bytes(GOOD)
        (folder / "secret.circuit").chmod(0)
        assert run(capsys, "check", "secret.circuit")[0] == 2


@pytest.mark.parametrize(
    "name",
    ["\x1b[2Jx.circuit", "new\nline.circuit", "\u202ex.circuit", "$(x) '<b>.circuit", "%s.circuit"],
)
@pytest.mark.parametrize("command", [("check",), ("tidy", "--check"), ("tidy", "--in-place")])
def test_a_good_file_with_a_hostile_name_is_read_and_its_name_steers_nothing(
    name: str, command: tuple[str, ...], folder: Path, capsys
):
    (folder / name).write_bytes(GOOD)
    assert run(capsys, *command, name)[0] in (0, 1)
    assert [entry.name for entry in folder.iterdir()] == [name]


class TestAttachedCircuits:
    def test_a_long_chain_ends_with_a_problem(self, folder: Path, capsys):
        for number in range(300):
            (folder / f"c{number}.circuit").write_bytes(
                GOOD + b'attach "c%d.circuit" as S\n' % (number + 1)
            )
        (folder / "c300.circuit").write_bytes(GOOD)
        status, told = run(capsys, "check", "c0.circuit")
        assert status == 2
        assert "more than 50 circuits are attached" in told

    def test_a_tree_that_doubles_at_each_level_ends_with_a_problem(self, folder: Path, capsys):
        for number in range(20):
            (folder / f"c{number}.circuit").write_bytes(
                GOOD
                + b'attach "c%d.circuit" as S\nattach "c%d.circuit" as T\n' % ((number + 1,) * 2)
            )
        (folder / "c20.circuit").write_bytes(GOOD)
        status, told = run(capsys, "check", "c0.circuit")
        assert status == 2
        assert "more than 50 circuits are attached" in told

    def test_a_circle_is_told(self, folder: Path, capsys):
        (folder / "a.circuit").write_bytes(GOOD + b'attach "b.circuit" as S\n')
        (folder / "b.circuit").write_bytes(GOOD + b'attach "./a.circuit" as S\n')
        status, told = run(capsys, "check", "a.circuit")
        assert status == 2
        assert "a.circuit -> b.circuit -> a.circuit" in told


def limited(arguments: list[str], *, megabytes: int, cwd: Path) -> subprocess.CompletedProcess:
    """Run the command as a process of its own with so much memory and ten seconds of processor
    time.
    """
    limit = (
        f"import resource, sys; resource.setrlimit(resource.RLIMIT_AS, ({megabytes << 20},) * 2);"
        " resource.setrlimit(resource.RLIMIT_CPU, (10, 10)); from rework.cli import main;"
        " sys.exit(main(sys.argv[1:]))"
    )
    return subprocess.run(
        [sys.executable, "-c", limit, *arguments],
        cwd=cwd,
        capture_output=True,
        timeout=60,
        check=False,
    )


class TestAsAProcess:
    def test_fifty_megabytes_are_refused_without_being_read(self, folder: Path):
        with open(folder / "big.circuit", "wb") as stream:
            stream.truncate(50_000_000)
        done = limited(["check", "big.circuit"], megabytes=250, cwd=folder)
        assert done.returncode == 2, done.stderr
        assert b"50,000,000 bytes" in done.stderr, done.stderr

    @pytest.mark.parametrize(
        "name",
        [
            "a-hundred-thousand-slips",
            "a-megabyte-on-one-line",
            "endless-continuation",
            "random-line-noise",
            "too-many-lines",
        ],
    )
    def test_the_worst_files_stay_within_their_memory(self, name: str, folder: Path):
        (folder / "broken.circuit").write_bytes(BROKEN[name])
        done = limited(["check", "broken.circuit"], megabytes=700, cwd=folder)
        assert done.returncode == 2, done.stderr[-600:]
        assert b"Traceback" not in done.stderr, done.stderr[-600:]
        assert b"should not" not in done.stderr, done.stderr[-600:]

    def test_a_terminal_that_knows_no_letters_but_plain_ones_is_still_told(self, folder: Path):
        (folder / "a.circuit").write_bytes("R1 resistor 10µ : A -- B\n".encode())
        done = subprocess.run(
            [sys.executable, "-m", "rework", "check", "a.circuit"],
            cwd=folder,
            capture_output=True,
            check=False,
            env={**os.environ, "PYTHONIOENCODING": "ascii"},
        )
        assert done.returncode == 2
        assert b"alone does not say" in done.stderr
        assert b"Traceback" not in done.stderr

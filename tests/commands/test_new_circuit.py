"""``rework new --tubes``: from the tubes of a set to a file that reads, and a check that counts down."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from rework.cli import main
from rework.language.resolve import read_circuit
from rework.language.writer import tidy
from rework.tubes import library

#: Line-ups of both worlds: series strings, several strings, sets with a power transformer.
LINE_UPS = (
    ("12BA6,12AT6,35C5,35W4", "117"),
    ("12AX7,50EH5", "117"),
    ("12SJ7,12SQ7,50L6GT,35Z5GT", "117"),
    ("12AX7,25L6GT,25L6GT,25Z6GT", "120"),
    ("6C6,43,25Z5", "117 V DC"),
    ("12AU6,50C5,50C5,35W4,12AX7", "117"),
    ("12AT6,60FX5,50L6GT", "117"),
    ("UCL82,UY85", "220"),
    ("UAF42,UL41,UY41", "127"),
    ("PCL82,PY82", "220 V 50 Hz"),
    ("12AX7,EL84,EL84,GZ34", "230"),
    ("6SQ7,6V6GT,80", "117"),
)
RADIOS = (("12BE6,12BA6,12AT6,50C5,35W4", "117"), ("UCH81,UBF89,UABC80,UL84,UY85", "220"))


def written(capsys, tubes: str, mains: str) -> str:
    assert main(["new", "-", "--tubes", tubes, "--mains", mains]) == 0
    return capsys.readouterr().out


def kept(text: str) -> str:
    """Take the # away from every usual part."""
    return re.sub(r"(?m)^# (?=[A-Z]+\d+ +[a-z]+ |join )", "", text)


@pytest.mark.parametrize(("tubes", "mains"), LINE_UPS + RADIOS)
def test_what_is_written_reads_and_is_tidy_and_names_every_pin(tubes, mains, golden, capsys):
    text = written(capsys, tubes, mains)
    golden(f"said/new/{tubes.replace(',', '-')}.circuit", text)
    circuit, problems = read_circuit(text, file="mine.circuit")
    assert problems == ()
    assert tidy(text, "mine.circuit")[0] == text
    assert circuit.mains.volts == float(re.match(r"\d+", mains)[0])
    for part in circuit.parts:
        if part.kind == "tube":
            pins = {pin for pin, _ in part.pins} | set(part.unused)
            assert pins == set(library.find(part.type).socket_pins)
    # every pin that is no heater's is blank, or on B+ of a directly heated rectifier
    named = {part.type for part in circuit.parts if part.kind == "tube"}
    assert named == set(tubes.split(","))
    assert circuit.untraced == circuit.blank_nodes
    assert len(set(circuit.untraced)) == len(circuit.untraced)


@pytest.mark.parametrize(("tubes", "mains"), LINE_UPS)
def test_with_every_usual_part_kept_nothing_is_blank(tubes, mains, capsys):
    circuit, problems = read_circuit(kept(written(capsys, tubes, mains)), file="mine.circuit")
    assert problems == ()
    assert circuit.untraced == ()


@pytest.mark.parametrize(("tubes", "mains"), RADIOS)
def test_in_a_radio_the_coils_are_left_to_trace(tubes, mains, capsys):
    circuit, problems = read_circuit(kept(written(capsys, tubes, mains)), file="mine.circuit")
    assert problems == ()
    parts = {part.name for node in circuit.untraced for part, _ in circuit.at[node]}
    assert parts == {"V1", "V2", "V3"}  # converter, intermediate frequency, the diodes


@pytest.mark.parametrize("number", [0, 4, 7])
def test_the_usual_parts_make_a_set_that_works(number, capsys):
    from rework.anatomy.function import function
    from rework.anatomy.function_row import Working

    circuit, _ = read_circuit(kept(written(capsys, *LINE_UPS[number])), file="mine.circuit")
    assert not [row for row in function(circuit) if row.working is Working.FAULT]


def test_the_dropper_comes_behind_a_heater_with_a_dial_lamp(capsys):
    circuit, _ = read_circuit(
        kept(written(capsys, "12SQ7,50L6GT,35Z5GT", "117")), file="mine.circuit"
    )
    lamp, rectifier = circuit.by_name["LP1"], circuit.by_name["V3"]
    assert lamp.at("1") == rectifier.at("2") == "L2"  # pin 2 is the end with the tap
    assert lamp.at("2") == rectifier.at("3")
    dropper = next(part for part in circuit.parts if "dropper" in part.words)
    assert dropper.at("1") == rectifier.at("7")


def test_check_tells_what_is_blank_and_counts_down(tmp_path, capsys):
    path = tmp_path / "mine.circuit"
    assert main(["new", str(path), "--tubes", "12AX7,50EH5", "--mains", "117"]) == 0
    told = capsys.readouterr().out
    assert "62.6 V at 0.15 A" in told
    assert f"rework check {path}" in told
    assert main(["check", str(path)]) == 1
    said = " ".join(capsys.readouterr().out.split())
    assert "Not traced yet: pins of V2, V1." in said
    assert "V2 is not traced yet. Nothing else is on G2 at pin 2 (grid)" in said
    text = path.read_text()
    for line in [line for line in text.splitlines() if "-- G2" in line or ": G2 --" in line]:
        text = text.replace(line, line.removeprefix("# "))
    path.write_text(text + "open CATH2, SC2, PL2\n")
    main(["check", str(path)])
    said = " ".join(capsys.readouterr().out.split())
    assert "V2 is not traced yet. Nothing else is on CATH2" in said
    assert "G2 at pin 2" not in said


def test_a_file_that_is_there_is_kept_unless_forced(tmp_path, capsys):
    path = tmp_path / "mine.circuit"
    path.write_text("mine\n")
    words = ["new", str(path), "--tubes", "12AX7,50EH5", "--mains", "117"]
    assert main(words) == 2
    assert path.read_text() == "mine\n"
    assert "is there already" in capsys.readouterr().err
    assert main([*words, "--force"]) == 0
    assert "50EH5" in path.read_text()
    assert main([*words, "-o", "-"]) == 0
    assert capsys.readouterr().out.endswith(path.read_text())


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--tubes", "12BA7,35X4", "--mains", "117"), ("12BA7", "35X4", "did you mean", "35W4")),
        (("--tubes", "117Z6GT", "--mains", "90"), ("needs 117 V", "90 V")),
        (("--tubes", "12AX7"), ("the line is not stated", "--mains 117")),
        (("--tubes", "12AX7", "--mains", "hello"), ("hello is not a value",)),
        (("--tubes", " , ", "--mains", "117"), ("names no tube",)),
        (("--mains", "117"), ("go with --tubes",)),
    ],
)
def test_what_cannot_be_begun_is_asked_about_and_nothing_is_written(words, told, tmp_path, capsys):
    path = tmp_path / "mine.circuit"
    assert main(["new", str(path), *words]) == 2
    said = capsys.readouterr().err
    assert all(one in said for one in told)
    assert not path.exists()


def test_tubes_begin_a_circuit_and_no_job(tmp_path, capsys):
    path = Path(tmp_path / "mine.job")
    assert main(["new", str(path), "--tubes", "12AX7", "--mains", "117"]) == 2
    assert "tubes begin a circuit" in capsys.readouterr().err

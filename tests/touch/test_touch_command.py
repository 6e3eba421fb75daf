"""``rework touch`` and ``rework faults`` as a person and a machine get them."""

from __future__ import annotations

import json
from math import pi
from pathlib import Path

import pytest

from rework.cli import main
from rework.touch.outcomes import VERDICTS


@pytest.fixture(autouse=True)
def _wide(monkeypatch):
    """A terminal wide enough that no cell of a table is broken."""
    monkeypatch.setenv("COLUMNS", "500")
    monkeypatch.setattr("rework.report.terminal.WIDEST", 500)


PAGER = Path(__file__).parents[2] / "circuits" / "pager"


def test_a_circuit_as_found_is_over_and_the_exit_status_says_so(capsys):
    assert main(["touch", str(PAGER / "pager.circuit")]) == 1
    text = capsys.readouterr().out
    assert "OVER" in text
    assert "P1.neutral > C9 > CHASSIS" in text
    assert "wall outlet" in text
    assert "In its present state this set can kill." in " ".join(text.split())
    assert "earth pin lifted" not in text
    assert "netlist as written" in text
    assert " safe " not in text


def test_a_job_is_shown_before_and_after_side_by_side(capsys):
    assert main(["touch", str(PAGER / "pager.job")]) == 0
    text = capsys.readouterr().out
    row = next(
        line
        for line in text.splitlines()
        if line.startswith("CHASSIS ") and line.endswith("under") and "OVER" in line
    )
    assert row.split()[1] == "5.88"


def test_the_json_carries_every_figure_in_si_units(capsys):
    main(["touch", str(PAGER / "pager.circuit"), "--json", "--limit", "0.25"])
    told = json.loads(capsys.readouterr().out)
    chassis = next(one for one in told["touches"] if one["node"] == "CHASSIS" and not one["other"])
    assert told["limit_amps"] == 0.25e-3
    # C9 at the upper end of its tolerance, on the line at its: 2 pi 60 Hz x 0.12 uF x 132 V
    assert chassis["reading"] == pytest.approx(2 * pi * 60 * 0.12e-6 * 132, rel=0.02)


def test_faults_are_told_worst_first_with_what_clears_and_what_prevents(capsys):
    assert main(["faults", str(PAGER / "pager.circuit")]) == 1
    capsys.readouterr()
    assert main(["faults", str(PAGER / "pager.job"), "--json"]) == 0
    after = json.loads(capsys.readouterr().out)["after"]
    order = [VERDICTS.index(one["verdict"]) for one in after["outcomes"]]
    assert order == sorted(order)
    assert all(one["prevented"] and one["cleared"] for one in after["outcomes"])
    assert (
        after["count"]["breaker"]
        == sum(one["verdict"] == "breaker" for one in after["outcomes"])
        > 0
    )
    assert [one["kind"] for one in after["building"]] == ["outlet"]
    assert any(one["part"] == "SUPPLY/C1" for one in after["stored"])


def test_the_text_of_faults_says_what_clears_each_and_tells_the_building_apart(capsys):
    main(["faults", str(PAGER / "pager.job")])
    after = capsys.readouterr().out.partition("After: ")[2]
    breaker, cleared, building = (
        after.index(words)
        for words in ("LEFT TO THE BREAKER", "Cleared by a fuse", "\nOF THE BUILDING")
    )
    assert breaker < cleared < building
    assert "SUPPLY/F1 within" in after[cleared:building]
    assert "(211 A," in after[cleared:building]
    assert "UNDER" not in after
    assert "never pass the limit" in after
    assert "outlet tester" in after[building:]
    assert "nothing discharges it" not in after  # the job fits a bleeder in the amplifier
    assert "Put a label at the connector: wait 5 s" in " ".join(after.split())


def test_insulation_nobody_vouches_for_is_said_and_does_not_pass(capsys, tmp_path):
    (tmp_path / "a.circuit").write_text(
        'circuit "a"\nmains 120 V 60 Hz\nP1 plug two-blade : line=L, neutral=N\nR1 pot 500k 10%'
        " metal-shaft : ccw=L, wiper=W, cw=N, shaft=KNOB\nR2 resistor 10M 10% : KNOB -- L\nR3"
        " resistor 1M 10% : W -- N\n"
    )
    assert main(["touch", str(tmp_path / "a.circuit")]) == 1
    text = " ".join(capsys.readouterr().out.split())
    assert "R1 to its shaft" in text
    assert "NOT KNOWN" in text
    assert "If it breaks down: KNOB 65.9 mA" in text


@pytest.mark.parametrize("text", ["", 'circuit "nothing"\n'])
def test_an_empty_file_is_told_as_one(text, capsys, tmp_path):
    (tmp_path / "e.circuit").write_text(text)
    for command in ("touch", "faults"):
        assert main([command, str(tmp_path / "e.circuit")]) in (1, 2)
        told = capsys.readouterr()
        assert "Traceback" not in told.err
        assert told.out or told.err


def test_the_picture_is_written_and_not_over_another(tmp_path, capsys):
    picture = tmp_path / "touch.svg"
    assert main(["touch", str(PAGER / "pager.job"), "--plot", str(picture)]) == 0
    assert "<svg" in picture.read_text()
    assert main(["touch", str(PAGER / "pager.job"), "--plot", str(picture)]) == 2
    assert "--force" in capsys.readouterr().err


@pytest.mark.parametrize("word", ["interwinding_farad", "nothing=3", "line_ohm=-1", "line_ohm=0"])
def test_an_assumption_that_is_not_known_is_refused(word, capsys):
    assert main(["touch", str(PAGER / "pager.circuit"), "--assume", word]) == 2
    assert "NAME=VALUE" in capsys.readouterr().err


def test_more_capacitance_in_the_transformer_means_more_current(capsys):
    readings = []
    for farads in ("1e-9", "4e-9"):
        main(["touch", str(PAGER / "pager.job"), "--json", "--assume", f"core_farad={farads}"])
        readings.append(
            max(one["reading"] for one in json.loads(capsys.readouterr().out)["after"]["touches"])
        )
    # the insulation between the windings, which stays as it is, has its share in both
    assert readings[1] > 1.5 * readings[0]


@pytest.mark.parametrize(
    ("network", "reading"),
    [("iec", 66.2), ("iec-unweighted", 66.4), ("iec-letgo", 66.0), ("service", 88.0)],
)
def test_each_network_reads_its_own_and_says_what_it_is_no_measure_of(network, reading, capsys):
    main(
        [
            "touch",
            str(PAGER / "pager.circuit"),
            "--network",
            network,
            "--percent",
            "50",
            "--wet",
            "--json",
        ]
    )
    told = json.loads(capsys.readouterr().out)
    assert max(one["reading"] for one in told["touches"]) * 1e3 == pytest.approx(reading, rel=2e-3)
    assert told["network"]["caution"]
    assert told["body"] == "50 %, wet"


STATED = "R2 at 30 %, as stated; the others in every position."
POT = """circuit "pot to the case"
mains 117 V 60 Hz
touchable CASE
P1 plug two-blade : line=L, neutral=N
S1 switch SPST : L -- A
R1 resistor 100k 1 W 0% : A -- B
R2 pot 400k 1 W 0% : ccw=B, wiper=CASE, cw=D
R3 resistor 1k 20 W : A -- N
R4 resistor 1M 1/2 W : D -- N
"""


def test_stated_positions_are_the_same_for_touch_faults_and_summary(tmp_path, capsys):
    path = tmp_path / "pot.circuit"
    path.write_text(POT, encoding="utf-8")
    amps: dict[str, float] = {}
    for command in ("touch", "faults", "summary"):
        assert main([command, str(path), "--at", "R2=30%"]) == 1
        assert STATED in " ".join(capsys.readouterr().out.split())
        main([command, str(path), "--at", "R2=30%", "--json"])
        told = json.loads(capsys.readouterr().out)
        assert told["at"] == {"R2": "30%"}
        worst = told["touches"][0]["reading"] if command == "touch" else 0.0
        amps[command] = told.get("touch_amps") or told.get("healthy") or worst
    assert amps["summary"] == pytest.approx(amps["touch"])
    assert amps["faults"] == pytest.approx(amps["touch"], rel=0.05)
    main(["touch", str(path)])
    assert "as stated" not in capsys.readouterr().out


def test_a_position_that_is_not_there_is_refused_with_those_that_are(tmp_path, capsys):
    path = tmp_path / "pot.circuit"
    path.write_text(POT, encoding="utf-8")
    for command in ("touch", "faults", "summary"):
        assert main([command, str(path), "--at", "R9=cw"]) == 2
        assert "there are: S1, R2" in capsys.readouterr().err


def test_a_netlist_with_nothing_to_touch_says_so_and_is_not_passed(capsys):
    doubler = str(PAGER.parents[1] / "tests" / "cases" / "doubler-25z6.circuit")
    assert main(["faults", doubler]) == 1
    assert "names nothing that a person can touch" in " ".join(capsys.readouterr().out.split())
    assert main(["summary", doubler]) == 1
    assert "none tried" in capsys.readouterr().out

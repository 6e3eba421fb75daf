"""``rework touch`` and ``rework faults`` as a person and a machine get them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from rework.cli import main

PAGER = Path(__file__).parents[3] / "circuits" / "pager"


def test_a_circuit_as_found_is_over_and_the_exit_status_says_so(capsys):
    assert main(["touch", str(PAGER / "pager.circuit")]) == 1
    text = capsys.readouterr().out
    assert "OVER" in text and "P1.neutral > C9 > CHASSIS" in text
    assert "wall outlet" in text and "not behind the bench isolation transformer" in text and "netlist as written" in text
    assert " safe " not in text


def test_a_job_is_shown_before_and_after_side_by_side(capsys):
    assert main(["touch", str(PAGER / "pager.job")]) == 0
    text = capsys.readouterr().out
    row = next(line for line in text.splitlines() if line.startswith("CHASSIS ") and line.endswith("under") and "over" in line)
    assert row.split()[1] == "2.79"


def test_the_json_carries_every_figure_in_si_units(capsys):
    main(["touch", str(PAGER / "pager.circuit"), "--json", "--limit", "0.25"])
    told = json.loads(capsys.readouterr().out)
    chassis = next(one for one in told["touches"] if one["node"] == "CHASSIS" and not one["other"])
    assert told["limit_amps"] == 0.25e-3 and 2.5e-3 < chassis["reading"] < 3e-3


def test_faults_are_told_worst_first_with_what_clears_and_what_prevents(capsys):
    assert main(["faults", str(PAGER / "pager.job"), "--json"]) == 1
    after = json.loads(capsys.readouterr().out)["after"]
    lasting = [round(one["lasting"], 9) for one in after["outcomes"]]
    assert lasting == sorted(lasting, reverse=True) and all(one["prevented"] and one["cleared"] for one in after["outcomes"])
    assert any(one["part"] == "SUPPLY/C1" for one in after["stored"])


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
        readings.append(max(one["reading"] for one in json.loads(capsys.readouterr().out)["after"]["touches"]))
    assert readings[1] > 1.9 * readings[0]

"""The report: its JSON, its words, its verdict, and the same bytes every time."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path

from hot_sets import CLEAN, checked, clean
from test_against_oracle import random_circuit

from rework.safety.check import check
from rework.safety.findings import HAZARD, UNFINISHED, as_json
from rework.safety.ways import WayStep

ROOT = Path(__file__).parent.parent.parent
HOT = clean(
    more=(
        "R7 resistor 68k : L3 -- IN\nV9 tube 9ZZ9 unlisted : 1=L3, 2=G2\nS5 switch SPDT : L3 --"
        " SEL1 -- SEL2\nR10 dummy load 1k : SEL1 -- SEL2\n"
    )
)


def test_a_hazard_carries_what_the_schema_says():
    data = as_json(
        checked("""
P1 plug two-blade    : line=L1, neutral=COMMON
S1 switch            : L1 -- L2
R1 resistor 1k       : L2 -- COMMON
C1 capacitor .1 uF   : L2 -- CASE
CH1 chassis          : CASE
""")
    )
    assert data["verdict"] == HAZARD
    assert set(data) == {"verdict", "note", "hazards", "live", "cautions"}
    case = next(hazard for hazard in data["hazards"] if hazard["node"] == "CASE")
    assert set(case) == {
        "node",
        "parts",
        "touchable",
        "through",
        "path",
        "bridges",
        "when",
        "remedies",
    }
    assert case["parts"] == ["C1.2", "CH1.metal"]
    assert case["touchable"] is True
    assert case["through"] == "capacitor"
    assert case["path"] == [
        {"part": "P1", "into": "", "out_of": "line", "node": "L1"},
        {"part": "S1", "into": "1", "out_of": "2", "node": "L2"},
        {"part": "C1", "into": "1", "out_of": "2", "node": "CASE"},
    ]
    assert case["when"][0] == {
        "plug": ["as drawn"],
        "switches": {"S1": ["ON"]},
        "connectors": {},
        "how": "through a capacitor",
        "through": ["C1"],
        "words": "plug as drawn, S1 ON, through a capacitor: C1",
    }
    assert case["remedies"] == [
        {
            "words": "Take out C1: it joins L2 to CASE.",
            "does": "edit",
            "edits": [{"edit": "RemovePart", "what": "C1"}],
        }
    ]
    assert data["live"] == [
        {
            "node": "COMMON",
            "parts": ["P1.neutral", "R1.2"],
            "where": "at P1 neutral and R1 pin 2",
        },
        {"node": "L1", "parts": ["P1.line", "S1.1"], "where": "at P1 line and S1 pin 1"},
    ]
    assert all(
        set(caution) == {"key", "message", "part", "pin", "node", "remedies", "weight"}
        for caution in data["cautions"]
    )
    json.dumps(data)


def test_a_mated_connector_is_one_step_with_its_other_half():
    report = checked("""
P1 plug two-blade            : line=L1, neutral=N1
X1 connector socket mates X2 : 1=L1, 2=N1
X2 connector plug            : 1=A, 2=B
R1 dummy load 1k             : A -- B
""")
    hazard = next(hazard for hazard in report.hazards if hazard.node == "A")
    assert hazard.path[1] == WayStep("X1", "1", "1", "A", "X2")
    assert as_json(report)["hazards"][0]["path"][1]["mate"] == "X2"


def test_what_a_hand_can_reach_comes_first():
    hazards = checked(HOT).hazards
    assert [hazard.touchable for hazard in hazards] == sorted(
        (hazard.touchable for hazard in hazards), reverse=True
    )


def test_must_alone_makes_the_exit_status_one_and_is_said_in_the_note():
    report = checked(
        clean(
            (
                "W1  wire green-yellow                : PE -- CHASSIS",
                "R7 resistor 10 ohm : PE -- CHASSIS",
            ),
            ("C9  capacitor 2.2n class Y2          : L3 -- CHASSIS\n", ""),
        )
    )
    assert report.verdict == UNFINISHED
    assert report.exit_status == 1
    assert "must be fixed" in report.note
    assert checked(CLEAN).exit_status == 0


def test_the_word_that_no_netlist_can_earn_is_never_said():
    for text in (CLEAN, HOT, "R1 resistor 1k : A -- B\nR2 resistor 1k : A -- B\n"):
        assert not re.search(r"\bsafe", json.dumps(as_json(checked(text))), re.IGNORECASE)


def many_reports() -> str:
    """Return the reports of a hot set and of random circuits."""
    circuits = (random_circuit(seed, 40) for seed in range(6))
    return json.dumps([as_json(checked(HOT)), *(as_json(check(each)) for each in circuits)])


def test_two_hash_seeds_give_the_same_bytes():
    """The seed of this process is one, drawn by Python; that of another is stated."""
    script = (
        "import sys; sys.path.insert(0, 'tests/safety'); from test_report import many_reports;"
        "print(many_reports())"
    )
    other = subprocess.run(
        [sys.executable, "-c", script],
        cwd=ROOT,
        capture_output=True,
        check=True,
        text=True,
        env={**os.environ, "PYTHONHASHSEED": "1"},
    ).stdout
    ours = many_reports()
    assert ours == other.strip()
    assert len(ours) > 10_000


def test_the_check_loads_no_heavy_library():
    script = (
        "import sys; import rework.safety.check; print(sorted({'networkx', 'numpy', 'scipy',"
        " 'lark', 'pint', 'graphviz'} & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, check=True, text=True
    )
    assert done.stdout.strip() == "[]"

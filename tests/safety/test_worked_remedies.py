"""The figures in remedies of the check, worked by hand or by another library."""

from __future__ import annotations

import random
from dataclasses import replace
from pathlib import Path

import networkx as nx
import pytest
from hot_sets import checked, clean, read
from mistakes import broken_promise

from rework.circuit.edits import SetValue
from rework.circuit.parts import Part
from rework.rules.job_file import run_job_file
from rework.safety.check import check
from rework.safety.discharge import _resistance

X = "C8  capacitor .01 uF class X2        : L3 -- N1"


@pytest.mark.parametrize(
    ("size", "bleeder"),
    [
        (".22 uF", "2.2 megohm"),
        (".47 uF", "1 megohm"),
        ("1 uF", "680 kilohm"),
        ("2 uF", "330 kilohm"),
        ("10 uF", "47 kilohm"),
    ],
)
def test_a_bleeder_is_the_largest_of_which_the_time_constant_stays_under_0_7_s(size, bleeder):
    """Ohms times farads: 2.2 M by 0.22 u is 0.48 s, 1 M by 0.47 u 0.47 s, 680 k by 1 u 0.68 s."""
    report = checked(clean((X, f"C8 capacitor {size} class X2 : L2 -- N1")))
    (caution,) = (caution for caution in report.cautions if caution.part == "C8")
    (remedy,) = caution.remedies
    assert remedy.words == f"Fit a bleeder R7, {bleeder} 1/2 W 500 V, across C8."


@pytest.mark.parametrize("seed", range(20))
def test_the_ohms_between_the_pins_of_a_plug_are_those_of_networkx(seed):
    """networkx: ``resistance_distance`` (Klein and Randic, J. Math. Chem. 12, 81-95, 1993)."""
    draw = random.Random(seed)
    graph = nx.connected_watts_strogatz_graph(8, 4, 0.5, seed=seed)
    edges = [(f"n{one}", f"n{other}", draw.uniform(10, 1e6)) for one, other in graph.edges]
    edges += [("n0", "n1", 470e3), ("lost", "far", 1e3)]  # one beside another, one elsewhere
    multi = nx.MultiGraph()
    multi.add_weighted_edges_from(edges[:-1])
    expected = nx.resistance_distance(multi, "n0", "n5", weight="weight")
    assert _resistance(("n0", "n5"), edges) == pytest.approx(expected, rel=1e-9)
    assert _resistance(("n0", "lost"), edges) == float("inf")


STRING = """circuit "string on a winding"
mains 117 V 60 Hz
P1  plug two-blade           : line=L1, neutral=N1
T1  transformer 20 VA        : primary 117 V = L1 -- N1, heater 40 V 0.3 A = H1 -- H2
R1  resistor {ohms} ohm 5 W  : H1 -- HA
V1  tube 12BA6               : 3=HA, 4=HB, unused 1 2 5 6 7
V2  tube 12AT6               : 3=HB, 4={end}, unused 1 2 5 6 7
{more}
"""


def string_remedies(ohms: str, more: str = "", end: str = "H2"):
    report = check(read(STRING.format(ohms=ohms, more=more, end=end)))
    return [
        remedy
        for caution in report.cautions
        if caution.key == "heater-volts"
        for remedy in caution.remedies
    ]


def test_the_series_resistor_of_a_string_takes_what_the_tubes_leave():
    """40 V less twice 12.6 V is 14.8 V; by 0.15 A that is 98.7 ohm."""
    assert string_remedies("98.7") == []
    (remedy,) = string_remedies("300")
    assert remedy.words == "Change R1 to 98.7 ohm, with watts to suit."
    (edit,) = remedy.edits
    assert isinstance(edit, SetValue)
    assert edit.name == "R1"
    assert [value.amount for value in edit.values if value.dimension == "resistance"] == [98.7]


def test_no_resistor_is_proposed_where_another_part_drops_volts_too():
    assert string_remedies("300", "LP1 lamp 6.3 V 150 mA : HC -- H2", end="HC") == []


ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def rink():
    return run_job_file(str(ROOT / "circuits/rink/rink.job")).after


@pytest.mark.parametrize(
    ("end", "node", "words"),
    [
        (
            "core1.1",
            "CHASSIS",
            "Disconnect the core1.1 pin of WS1 from CHASSIS and connect it to S1-1.",
        ),
        (
            "core2.2",
            "COMMON",
            "Disconnect the core2.2 pin of WS1 from COMMON and connect it to SUPPLY/L3.",
        ),
        (
            "core3.1",
            "SUPPLY/N1",
            "Disconnect the core3.1 pin of WS1 from SUPPLY/N1 and connect it to SUPPLY/CHASSIS.",
        ),
        (
            "core3.2",
            "S1-1",
            "Disconnect the core3.2 pin of WS1 from S1-1 and connect it to CHASSIS.",
        ),
    ],
)
def test_of_the_switch_cable_the_end_in_the_wrong_place_is_put_where_it_belongs(
    rink, end, node, words
):
    """Cores 1 and 2 lead to the switch, core 3 bonds the chassis: each end on a wrong node."""
    cable = rink.by_name["WS1"]
    pins = tuple((pin, node if pin == end else at) for pin, at in cable.pins)
    parts = (replace(cable, pins=pins) if part is cable else part for part in rink.parts)
    wrong = rink.with_parts(tuple(parts))
    report = check(wrong)
    assert report.hazards
    told = {hazard.remedies[0].words for hazard in report.hazards if hazard.remedies}
    assert any(each.startswith(words) for each in told)
    assert broken_promise(wrong, report) == ""


def moved(circuit, part, nodes):
    """Return the circuit with some leads of a part on other nodes."""
    pins = tuple((pin, nodes.get(pin, node)) for pin, node in circuit.by_name[part].pins)
    parts = (replace(p, pins=pins) if p.name == part else p for p in circuit.parts)
    return circuit.with_parts(tuple(parts))


@pytest.mark.parametrize(
    ("part", "nodes", "words"),
    [
        (
            "SUPPLY/F1",
            {"2": "WIPER"},
            "Disconnect pin 2 of SUPPLY/F1 from WIPER and connect it to SUPPLY/L2.",
        ),
        ("S1", {"1": "B2"}, "Disconnect pin 1 of S1 from B2 and connect it to S1-1."),
        (
            "SUPPLY/P1",
            {"neutral": "G2"},
            "Disconnect the neutral pin of SUPPLY/P1 from G2 and connect it to SUPPLY/N1.",
        ),
        (
            "SUPPLY/T1",
            {"primary.finish": "SUPPLY/H1", "heater.start": "SUPPLY/N1"},
            "At SUPPLY/T1, exchange the leads on primary.finish and heater.start: connect the"
            " primary.finish pin to SUPPLY/N1 and the heater.start pin to SUPPLY/H1.",
        ),
        (
            "WS1",
            {"core1.2": "SUPPLY/CHASSIS", "core3.1": "SUPPLY/L2"},
            "At WS1, exchange the leads on ",
        ),
    ],
    ids=["fuse", "switch", "plug", "transformer", "switch cable"],
)
def test_a_lead_of_the_line_in_the_wrong_place_is_put_where_it_belongs(rink, part, nodes, words):
    """To take it off alone would leave the line behind it dead, or the fuse without its switch."""
    wrong = moved(rink, part, nodes)
    report = check(wrong)
    told = {remedy.words for hazard in report.hazards for remedy in hazard.remedies}
    assert len(told) == 1
    assert told.pop().startswith(words)
    assert all(hazard.remedies for hazard in report.hazards)
    assert broken_promise(wrong, report) == ""


def test_a_bridge_behind_the_motor_resistor_is_taken_out_for_every_hazard():
    """The cut nearest to the line is the resistor of the motor, which the set needs."""
    player = run_job_file(str(ROOT / "tests/sets/nursery/nursery.job")).after
    bridge = Part("MISTAKE", "wire", pins=(("1", "G1"), ("2", "M1-1")))
    report = check(player.with_parts((*player.parts, bridge)))
    told = {remedy.words for hazard in report.hazards for remedy in hazard.remedies}
    assert told == {"Take out wire MISTAKE: it joins G1 to M1-1."}
    assert all(hazard.remedies for hazard in report.hazards)

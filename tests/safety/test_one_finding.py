"""A finished set with one slip: one finding about it, with the remedy that a hand would choose."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from each import each
from hot_sets import hazards, read
from test_cases import bench_set

from rework.circuit.circuit import Circuit
from rework.rules.job_file import run_job_file
from rework.safety.check import check
from rework.safety.findings import NOTHING

ROOT = Path(__file__).parents[2]
#: Slips in the line of the bench set, each with the one thing that must be fixed and its remedy.
ONE_MUST = {
    "fuse in the neutral": (
        [
            ("F1 fuse 0.5 A 250 V slow : L1 -- L2", "F1 fuse 0.5 A 250 V slow : N1 -- N2"),
            ("S1 switch SPST 3 A 125 V : L2 -- L3", "S1 switch SPST 3 A 125 V : L1 -- L3"),
            ("L3 -- N1", "L3 -- N2"),
        ],
        "Move F1 to the line conductor, ahead of all else. Run the neutral straight to the primary.",
    ),
    "switch in the neutral": (
        [
            ("S1 switch SPST 3 A 125 V : L2 -- L3", "S1 switch SPST 3 A 125 V : N1 -- N2"),
            ("L3 -- N1", "L2 -- N2"),
        ],
        "Move S1 to the line conductor, behind the fuse, and join the neutral.",
    ),
    "earth wire left out": (
        [("WE wire green-yellow 18 AWG : PE -- CHASSIS", "open PE")],
        "Run a green-yellow wire from CHASSIS to PE, where the earth comes in.",
    ),
    "fuse and switch bridged": (
        [("CH1 chassis : CHASSIS", "CH1 chassis : CHASSIS\nW9 wire : L1 -- L3")],
        "Take out wire W9: it joins L1 to L3.",
    ),
    "fuse bridged": (
        [("CH1 chassis : CHASSIS", "CH1 chassis : CHASSIS\nW9 wire : L1 -- L2")],
        "Take out wire W9: it joins L1 to L2.",
    ),
    "thermistor ahead of the fuse": (
        [("F1 fuse", "TH1 thermistor 10 ohm 2 A : L1 -- LT\nF1 fuse"), ("slow : L1", "slow : LT")],
        "Exchange TH1 and F1: wire the line to the fuse F1 first, and from there to TH1.",
    ),
    "fuse for a car": ([("250 V slow", "32 V slow")], "Fit a fuse for 125 V at F1."),
    "switch for a torch": ([("SPST 3 A 125 V", "SPST 3 A 50 V")], "Fit a switch for 125 V at S1."),
    "weak switch": (
        [("SPST 3 A", "SPST 0.1 A"), ("fuse 0.5 A", "fuse 0.4 A")],
        "Fit a switch for at least 0.4 A at S1.",
    ),
}


@each("name", ONE_MUST)
def test_one_slip_in_the_line_is_one_must_and_is_gone_after_its_remedy(name):
    slips, words = ONE_MUST[name]
    report = bench_set(*slips)
    (must,) = [caution for caution in report.cautions if caution.weight == "must"]
    assert must.remedies[0].words == words


def test_a_lamp_limiter_may_be_ahead_of_the_switch_and_behind_it():
    for old, new in (("L2 -- L3", "LX -- L3"), ("250 V slow : L1 -- L2", "250 V slow : LX -- L2")):
        add = f"LA9 lamp 60 W 120 V : {'L2 -- LX' if 'L3' in old else 'L1 -- LX'}\n"
        assert bench_set((old, new), add=add).verdict == NOTHING


#: One name for two nodes, and metal on the line: what parts them again, in words.
PARTED = {
    "join COM N1": "Disconnect P1 neutral and T1 primary.finish from COM, and join them to each other.",
    "join A2 N1": "Disconnect P1 neutral and T1 primary.finish from A2, and join them to each other.",
    "join BB L3": "Disconnect S1 pin 2 and T1 primary.start from BB, and join them to each other.",
}


@each("join", PARTED)
def test_two_nodes_under_one_name_are_parted(join):
    report = bench_set(add=f"{join}\n")
    assert {hazard.remedies[0].words for hazard in report.hazards} == {PARTED[join]}


def test_metal_on_the_line_goes_back_on_the_earthed_metal():
    report = bench_set(("COM -- H2, core=CHASSIS", "COM -- H2, core=L2"))
    (told,) = {hazard.remedies[0].words for hazard in report.hazards}
    assert told == "Disconnect the core of T1 from L2 and connect it to CHASSIS."


def moved(circuit: Circuit, name: str, **pins: str) -> Circuit:
    """Return a circuit with pins of one part elsewhere; ``b_throw1`` is the pin b.throw1."""
    places = {pin.replace("_", "."): node for pin, node in pins.items()}
    part = circuit.by_name[name]
    assert places.keys() <= dict(part.pins).keys()
    fitted = replace(part, pins=tuple((pin, places.get(pin, node)) for pin, node in part.pins))
    return circuit.with_parts(tuple(fitted if each is part else each for each in circuit.parts))


def finished(folder: str) -> Circuit:
    path = ROOT / folder
    return run_job_file(str(path / f"{path.name}.job")).after


def test_a_contact_of_a_signal_switch_on_the_line_is_the_lead_to_take_off():
    """And the way to the other speaker goes through both, never through two positions of S2."""
    wrong = moved(finished("tests/sets/bakery"), "S2", b_throw1="SUPPLY/N1")
    report = check(wrong)
    words = "Disconnect S2 b.throw1 from SUPPLY/N1. Connect S2 b.throw1 where the diagram shows it."
    assert {hazard.remedies[0].words for hazard in report.hazards} == {words}
    way = [(step.part, step.into, step.out_of) for step in hazards(report)["SHOP"].path]
    assert way[-3:] == [("S2", "b.throw1", "b.pole"), ("LS2", "1", "2"), ("LS1", "2", "1")]


def test_metal_that_an_umbilical_leaves_without_earth_gets_the_core_or_a_wire():
    pager = finished("circuits/pager")
    crossed = moved(pager, "WS1", core3_2="SUPPLY/CHASSIS", shield="CHASSIS")
    cable = pager.by_name["WS1"]
    cores = tuple((pin, node) for pin, node in cable.pins if not pin.startswith("core3"))
    bare = pager.with_parts(
        tuple(replace(cable, pins=cores) if part is cable else part for part in pager.parts)
    )
    for circuit, words in (
        (
            crossed,
            "Disconnect the core3.2 pin of WS1 from SUPPLY/CHASSIS and connect it to CHASSIS.",
        ),
        (bare, "Run a green-yellow wire along WS1, from CHASSIS to SUPPLY/CHASSIS."),
    ):
        (must,) = [caution for caution in check(circuit).cautions if caution.weight == "must"]
        assert must.key == "earth-lost"
        assert [remedy.words for remedy in must.remedies] == [words]


def test_a_heater_winding_on_the_minus_of_four_diodes_carries_no_rectified_current():
    text = (ROOT / "tests/cases/two-tube-bench-set.circuit").read_text(encoding="utf-8")
    bridge = "D1 bridge silicon 1 A 800 V : ac1=A1, ac2=A2, plus=BA, minus=COM"
    ends = [("A1", "BA"), ("A2", "BA"), ("COM", "A1"), ("COM", "A2")]
    four = "\n".join(
        f"D{n} diode 1 A 800 V : anode={anode}, cathode={cathode}"
        for n, (anode, cathode) in enumerate(ends, 1)
    )
    for old, new in ((bridge, four), ("H1 -- COM -- H2", "H1 -- COM"), ("4=H2", "4=COM")):
        assert old in text
        text = text.replace(old, new)
    assert "half-wave" not in {caution.key for caution in check(read(text)).cautions}

"""What capacitors keep when the plug is out."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from handworked import read, tied

from rework.circuit.circuit import Circuit
from rework.circuit.edits import FitPart, apply_edit
from rework.solve.charged import charged_volts
from rework.solve.chart import volts
from rework.touch.bleeder import TRIED
from rework.touch.discharge import seconds_to
from rework.touch.stored import Pins, after_unplugging, stored

RECTIFIER = "D1 diode silicon : L -- B"


def test_a_capacitor_with_a_bleeder_takes_rc_ln():
    (kept,) = stored(
        tied(
            RECTIFIER,
            "C1 electrolytic 50 uF 0% : B -- N",
            "R1 resistor 100k 0% : B -- N",
            touchable="B",
        )
    )
    volts = 132 * math.sqrt(2)
    assert kept.volts == pytest.approx(volts, rel=0.02)
    assert kept.joules == pytest.approx(50e-6 * volts**2 / 2, rel=0.04)
    (place,) = kept.positions
    assert place.fall.to_60 == pytest.approx(100e3 * 50e-6 * math.log(kept.volts / 60), rel=0.01)
    assert kept.slowest == pytest.approx(place.fall.to_60)  # no tolerance, no later


def test_a_second_capacitor_on_the_same_bleeder_makes_both_slower():
    parts = (RECTIFIER, "C1 electrolytic 50 uF 0% : B -- N", "R1 resistor 100k 0% : B -- N")
    alone = stored(tied(*parts, touchable="B"))[0]
    two = stored(
        tied(
            *parts,
            "R2 resistor 10 ohm 0% : B -- B2",
            "C2 electrolytic 50 uF 0% : B2 -- N",
            touchable="B",
        )
    )[0]
    assert two.slowest == pytest.approx(2 * alone.slowest, rel=0.02)


def test_no_bleeder_is_said():
    (kept,) = stored(tied(RECTIFIER, "C1 electrolytic 50 uF 0% : B -- N", touchable="B"))
    assert kept.slowest == math.inf
    assert all(math.isinf(place.ohms) for place in kept.positions)


def test_a_capacitor_without_a_value_is_taken_as_charged():
    first, second = stored(
        tied(
            RECTIFIER,
            "C1 electrolytic 50 uF 0% : B -- N",
            "C2 electrolytic 150 V : B -- N",
            touchable="B",
        )
    )
    assert first.part == "C2"
    assert math.isinf(first.farads)
    assert math.isinf(first.slowest)
    assert second.part == "C1"


def test_a_bleeder_on_the_wrong_side_of_the_switch_helps_in_one_position_only():
    (kept,) = stored(
        tied(
            "S1 switch SPST : L -- X",
            "C1 capacitor 1 uF film 0% : X -- N",
            "R1 resistor 1M 0% : L -- N",
            touchable="X",
        )
    )
    assert {place.words: math.isinf(place.ohms) for place in kept.positions} == {
        "S1 ON": False,
        "S1 OFF": True,
    }


@pytest.mark.parametrize(
    ("ohms", "farads", "start", "end", "seconds"),
    [
        (1e5, 50e-6, 170, 60, 5.2073),
        (1e5, 50e-6, 170, 10, 14.1661),
        (1e4, 50e-6, 170, 60, 0.5207),
        (330e3, 50e-6, 170, 60, 17.184),
        (1e5, 1e-4, 340, 60, 17.346),
        (33e3, 470e-6, 385, 60, 28.8315),
    ],
)
def test_discharge_times_worked_by_hand(ohms, farads, start, end, seconds):
    assert seconds_to([start], [farads], [[ohms]], end)[0] == pytest.approx(seconds, rel=2e-3)


def test_the_longer_time_has_every_tolerance_at_the_end_that_takes_longer():
    """R C ln(V/60) with 10 % more ohms and 20 % more farads."""
    (kept,) = stored(
        tied(
            RECTIFIER,
            "C1 electrolytic 50 uF 20% : B -- N",
            "R1 resistor 100k 10% : B -- N",
            touchable="B",
        )
    )
    fall = kept.positions[0].fall
    assert kept.farads == pytest.approx(50e-6)
    assert fall.to_60 == pytest.approx(5.0 * math.log(kept.volts / 60), rel=5e-3)
    assert fall.late_60 == pytest.approx(1.1 * 1.2 * fall.to_60, rel=5e-3)
    assert fall.late_34 == pytest.approx(1.1 * 1.2 * fall.to_34, rel=5e-3)
    assert kept.slowest == fall.late_60
    assert kept.slowest_34 == fall.late_34
    assert kept.positions[0].ohms == pytest.approx(100e3, rel=1e-3)


def test_the_volts_of_the_solver_are_taken_where_there_are_any_and_held_against_the_rating():
    circuit = tied(
        RECTIFIER,
        "C1 electrolytic 50 uF 150 V 0% : B -- N",
        "R1 resistor 100k 0% : B -- N",
        touchable="B",
    )
    (estimate,), (below,), (above,) = (
        stored(circuit, volts=volts) for volts in (None, {"C1": 150.0}, {"C1": 150.1})
    )
    assert not estimate.solved
    assert estimate.volts == pytest.approx(132 * math.sqrt(2), rel=0.02)
    assert estimate.over_rating
    assert below.solved
    assert below.volts == 150.0
    assert not below.over_rating
    assert above.over_rating
    assert above.joules == pytest.approx(50e-6 * 150.1**2 / 2)
    assert below.positions[0].fall.to_60 == pytest.approx(5.0 * math.log(150 / 60), rel=5e-3)


@pytest.mark.parametrize(("drawn", "known"), [("throw2", False), ("throw1", True)])
def test_another_position_of_a_switch_that_gives_more_counts(drawn, known):
    """A selector between 60 V and 120 V of a winding, left on 60 V in the file."""
    circuit = tied(
        "T1 transformer : primary 120 V dcr 5 ohm = L -- N, hv 60 V dcr 5 ohm = HA -- N, hv2 120 V"
        " dcr 5 ohm = HB -- N",
        f"S1 switch SPDT in {drawn} : pole=X, throw1=HB, throw2=HA",
        "D1 diode silicon : X -- B",
        "C1 electrolytic 50 uF 250 V 0% : B -- N",
        "R1 resistor 100k 0% : B -- N",
        touchable="B",
    )
    (kept,) = stored(circuit, volts={"C1": 90.0})
    assert kept.solved is known
    assert kept.volts == (90.0 if known else pytest.approx(132 * math.sqrt(2), rel=0.02))


def choke_input() -> str:
    """A supply whose bleeder holds the choke well above its critical current."""
    return """circuit "x"
mains 120 V 60 Hz
touchable BOX
P1 plug three-pin : line=L, neutral=N, earth=BOX
T1 transformer : primary 120 V dcr 5 ohm = L -- N, hv 300 V dcr 50 ohm = A -- C, core=BOX
D1 bridge silicon 1 A 1000 V : ac1=A, ac2=C, plus=X, minus=COM
L1 choke 10 H 100 ohm 0.2 A : X -- BP
C1 electrolytic 47 uF 450 V 0% : BP -- COM
R1 resistor 5k 50 W 0% : BP -- COM
W1 wire : COM -- BOX
"""


def test_a_choke_input_filter_holds_the_mean_and_not_the_peak_as_volts_has_it():
    """0.9 of the winding's RMS volts (2 sqrt 2 / pi, the full-wave mean), and the overshoot at the
    switch where that is more; the estimate is the peak.
    """
    circuit = read(choke_input())
    solved = charged_volts(circuit)
    assert solved == {row.part: max(row.volts, row.cold_volts) for row in volts(circuit).capacitors}
    (estimate,), (kept,) = stored(circuit), stored(circuit, volts=solved)
    assert kept.volts == solved["C1"]
    assert estimate.volts == pytest.approx(132 * 2.5 * math.sqrt(2), rel=0.05)
    assert kept.volts < 0.95 * estimate.volts


def pins_of(*parts: str) -> dict[tuple[str, str], object]:
    after = after_unplugging(tied(*parts, touchable="L"))
    return {(pins.one, pins.other): pins for pins in after.pins}


def test_the_pins_of_a_plug_keep_what_the_capacitor_across_them_keeps():
    pins = pins_of("C1 capacitor 0.47 uF film 0% : L -- N")
    kept = pins["line", "neutral"]
    assert kept.volts == pytest.approx(132 * math.sqrt(2), rel=1e-3)
    assert math.isinf(kept.fall.late_34)
    assert kept.over_limit


@pytest.mark.parametrize(("ohms", "over"), [("2.1M", False), ("2.2M", True)])
def test_the_limit_of_one_second_is_held_from_both_sides(ohms, over):
    """0.47 uF and 2.1 megohm are 0.987 s, 2.2 megohm 1.034 s (IEC 60950-1 2.1.1.7)."""
    kept = pins_of("C1 capacitor 0.47 uF film 0% : L -- N", f"R1 resistor {ohms} 0% : L -- N")[
        "line", "neutral"
    ]
    assert kept.over_limit is over


@pytest.mark.parametrize(("farads", "over"), [("0.1 uF", False), ("0.101 uF", True)])
def test_no_more_than_a_tenth_of_a_microfarad_may_stay(farads, over):
    kept = pins_of(f"C1 capacitor {farads} film 0% : L -- N")["line", "neutral"]
    assert kept.over_limit is over


def test_in_the_position_that_parts_the_bleeder_from_the_capacitor_the_pins_stay_charged():
    kept = pins_of(
        "S1 switch SPST : L -- LS",
        "C1 capacitor 0.47 uF film 0% : L -- N",
        "R1 resistor 100k 0% : LS -- N",
    )["line", "neutral"]
    assert kept.words == "S1 OFF"
    assert kept.over_limit


def test_bare_contacts_of_a_pulled_connector_have_the_charge_of_the_filter():
    circuit = read("""circuit "x"
mains 120 V 60 Hz
touchable BOX
P1 plug three-pin : line=L, neutral=N, earth=BOX
T1 transformer : primary 120 V dcr 10 ohm = L -- N, hv 120 V dcr 50 ohm = A -- B, core=BOX
D1 diode silicon : A -- BP
C1 electrolytic 47 uF 0% : BP -- B
W1 wire : B -- BOX
X1 connector plug : 1=BP, 2=B
X2 connector socket mates X1 : 1=FAR, 2=F2
R1 resistor 10k 0% : FAR -- F2
""")
    (kept,) = [pins for pins in after_unplugging(circuit).pins if pins.kind == "connector"]
    assert (kept.part, kept.one, kept.other) == ("X1", "1", "2")
    assert kept.words == "X2 pulled"
    assert kept.volts == pytest.approx(132 * math.sqrt(2), rel=0.02)
    assert math.isinf(kept.fall.late_60)
    mated = stored(circuit)[0].positions
    assert {place.words: math.isinf(place.ohms) for place in mated} == {
        "as it is": False,
        "X2 pulled": True,
    }


def behind_a_connector(ohms: float, farads: str = "47 uF 0%") -> Circuit:
    """Return 100 V on a filter capacitor behind the bare half of a connector, and its bleeder."""
    return read(f"""circuit "x"
mains 100 V 60 Hz
touchable BOX
P1 plug three-pin : line=L, neutral=N, earth=BOX
T1 transformer : primary 100 V dcr 10 ohm = L -- N, hv 100 V dcr 50 ohm = A -- B, core=BOX
D1 diode silicon : A -- BP
X1 connector socket : 1=BP, 2=B
X2 connector plug mates X1 : 1=FAR, 2=BOX
C1 electrolytic {farads} 450 V : FAR -- BOX
R1 resistor {ohms:.1f} ohm 0% : FAR -- BOX
""")


def contacts(circuit: Circuit, volts: float = 160.0) -> Pins:
    (kept,) = (pins for pins in after_unplugging(circuit, volts={"C1": volts}).pins)
    assert kept.kind == "connector"
    return kept


@pytest.mark.parametrize(("seconds", "over"), [(4.9, False), (5.1, True)])
def test_bare_contacts_may_take_five_seconds_to_sixty_volts(seconds, over):
    """IEC 60204-1 6.2.4; t = R C ln(V/60)."""
    kept = contacts(behind_a_connector(seconds / (47e-6 * math.log(160 / 60))))
    assert kept.fall.late_60 == pytest.approx(seconds, rel=1e-3)
    assert kept.over_limit is over
    assert kept.needs_label is not over
    assert (kept.bleeder is None) is not over


@pytest.mark.parametrize(("seconds", "label"), [(0.98, False), (1.02, True)])
def test_bare_contacts_within_a_second_need_no_label(seconds, label):
    kept = contacts(behind_a_connector(seconds / (47e-6 * math.log(160 / 60))))
    assert kept.needs_label is label


@pytest.mark.parametrize(("farads", "over"), [("0.37 uF 0%", False), ("0.38 uF 0%", True)])
def test_sixty_microcoulombs_may_stay_at_bare_contacts(farads, over):
    """IEC 60204-1 6.2.4: 160 V times 0.375 uF."""
    assert contacts(behind_a_connector(100e6, farads)).over_limit is over


def test_the_bleeder_that_is_told_is_quick_enough_and_the_next_larger_one_is_not():
    circuit = behind_a_connector(1e6)
    bleeder = contacts(circuit).bleeder
    assert bleeder is not None
    assert bleeder.nodes == ("FAR", "BOX")
    assert bleeder.watts >= 160**2 / bleeder.ohms
    fitted = apply_edit(circuit, FitPart(bleeder.part))
    assert contacts(fitted).fall.late_60 == pytest.approx(bleeder.seconds)
    assert not contacts(fitted).over_limit
    larger = TRIED[TRIED.index(bleeder.ohms) + 1]
    assert contacts(apply_edit(circuit, FitPart(replace(bleeder, ohms=larger).part))).over_limit


def test_capacitors_of_opposite_polarity_discharge_into_each_other():
    """A doubler's two capacitors in series, one resistor across both: each falls with R and half of
    C. Were their signs lost, one of them would seem to hang.
    """
    circuit = tied(
        "D1 diode silicon : L -- UP",
        "D2 diode silicon : DOWN -- L",
        "C1 electrolytic 100 uF 0% : UP -- N",
        "C2 electrolytic 100 uF 0% : N -- DOWN",
        "R1 resistor 10k 0% : UP -- DOWN",
        touchable="UP",
    )
    for kept in stored(circuit):
        fall = kept.positions[0].fall
        assert kept.volts == pytest.approx(132 * math.sqrt(2), rel=0.03)
        assert fall.to_60 == pytest.approx(0.5 * math.log(kept.volts / 60), rel=0.02)


def test_a_capacitor_whose_bleeder_is_out_of_reach_hangs_however_small_it_is():
    """The network holds every node by 1e9 ohm; that is not in the set and discharges nothing."""
    (small,) = stored(
        tied(RECTIFIER, "C1 capacitor 0.1 uF film 0% : B -- N", touchable="B"),
        volts={"C1": 400.0},
    )
    assert small.slowest == math.inf
    assert small.slowest_34 == math.inf

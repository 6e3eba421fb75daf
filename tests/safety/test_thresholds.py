"""Every limit of the check held from both sides."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hot_sets import checked, clean, keys, live, read

from rework.circuit.circuit import Circuit, Mains
from rework.circuit.parts import Part, Value
from rework.safety.capacitors import TOUCH_LIMIT, largest_y
from rework.safety.check import check
from rework.safety.conductors import section
from rework.safety.primary import _MOST_NODES
from rework.safety.upper_line import upper_line

FUSE = "fuse 0.5 A slow                  : L1"
SWITCH = "switch SPST                      : L2"
EARTH = "W1  wire green-yellow                : PE"
X = "C8  capacitor .01 uF class X2        : L3 -- N1"
Y = "C9  capacitor 2.2n class Y2          : L3 -- CHASSIS"


def must(*changes, more: str = "") -> set[str]:
    return {key for key, _ in keys(checked(clean(*changes, more=more)))}


# fuse: three times the primary current of 40 VA at 117 V is 1.026 A


@pytest.mark.parametrize(("amps", "large"), [("1 A", False), ("1.02 A", False), ("1.03 A", True)])
def test_a_fuse_of_more_than_three_times_the_primary_current_is_too_large(amps, large):
    assert ("fuse-too-large" in must((FUSE, f"fuse {amps} slow : L1"))) == large


@pytest.mark.parametrize(("amps", "large"), [("0.5 A", False), ("0.49 A", True)])
def test_a_fuse_above_what_the_switch_bears_is_too_large(amps, large):
    assert ("fuse-too-large" in must((SWITCH, f"switch SPST {amps} : L2"))) == large


@pytest.mark.parametrize(
    ("size", "fuse", "large"),
    [
        ("18 AWG", "10 A", False),
        ("18 AWG", "10.1 A", True),
        ("0.75 mm2", "6 A", False),
        ("0.75 mm2", "6.1 A", True),
        ("0.5 mm2", "3 A", False),
        ("0.5 mm2", "3.1 A", True),
    ],
)
def test_a_fuse_above_what_a_line_wire_bears_is_too_large(size, fuse, large):
    """UL 11.1.7: 18 AWG 10 A. IEC 60335-1, from memory: 0.5 mm2 3 A, 0.75 mm2 6 A."""
    report = checked(
        clean(
            (FUSE, f"fuse {fuse} slow : LW"),
            ("transformer 40 VA", "transformer 400 VA"),
            more=f"W7 wire {size} : L1 -- LW\n",
        )
    )
    assert ("fuse-too-large" in {key for key, _ in keys(report)}) == large


def test_a_fuse_that_feeds_more_than_the_transformer_is_not_judged_by_it():
    """A series string and a small heater transformer on one fuse: 1 A is for both."""
    more = "R7 resistor 700 ohm 20 W : L3 -- HS\nV9 tube 50C5 : 3=HS, 4=N1, unused 1 2 5 6 7\n"
    assert "fuse-too-large" in must((FUSE, "fuse 2 A slow : L1"))
    assert "fuse-too-large" not in must((FUSE, "fuse 2 A slow : L1"), more=more)


# class Y: 0.5 mA at 132 V 60 Hz is 10.05 nF


def test_the_largest_class_y_value_is_that_of_the_published_table():
    """safety notes, table of the largest Y capacitance: 127 V line at 132 V 60 Hz 10.05 nF, 230 V
    line at 253 V 50 Hz 6.29 nF, each for 0.5 mA."""
    assert largest_y(Circuit(mains=Mains(117, 60))) == pytest.approx(10.05e-9, rel=1e-3)
    assert largest_y(Circuit(mains=Mains(230, 50))) == pytest.approx(6.29e-9, rel=1e-3)


@pytest.mark.parametrize(
    ("value", "large"), [("10n 0.4%", False), ("10n 0.6%", True), ("8.3n", False), ("8.5n", True)]
)
def test_a_class_y_capacitor_is_judged_at_its_upper_tolerance(value, large):
    assert ("y-too-large" in must((Y, f"C9 capacitor {value} class Y2 : L3 -- CHASSIS"))) == large


def test_the_currents_of_class_y_capacitors_add():
    half = "C9 capacitor 4.7n 20% class Y2 : L3 -- CHASSIS"
    assert "y-too-large" not in must((Y, half))
    assert "y-too-large" in must((Y, half), more="C7 capacitor 4.7n 20% class Y2 : N1 -- CHASSIS\n")


def test_the_touch_limit_is_the_one_of_the_touch_check():
    from rework.touch.person import limits

    assert TOUCH_LIMIT in {limit.rms_amps for limit in limits() if limit.kind == "AC rms"}


@pytest.mark.parametrize(
    ("volts", "upper"), [(100.0, 110.0), (117.0, 132.0), (127.0, 139.7), (230.0, 253.0)]
)
def test_the_line_at_its_upper_tolerance(volts, upper):
    assert upper_line(volts, 50.0)[0] == pytest.approx(upper)


# discharge: over 0.1 uF, within 1 s


@pytest.mark.parametrize(
    ("farads", "bleeder", "charged"),
    [
        (".1 uF", "", False),
        (".11 uF", "", True),
        (".11 uF", "9.0M", False),
        (".11 uF", "9.2M", True),
        (".47 uF", "2.1M", False),
        (".47 uF", "2.2M", True),
    ],
)
def test_an_x_capacitor_over_a_tenth_of_a_microfarad_is_discharged_in_a_second(
    farads, bleeder, charged
):
    """IEC 60950-1 2.1.1.7: above 0.1 uF, a time constant of at most 1 s."""
    more = f"R7 resistor {bleeder} : L2 -- N1\n" if bleeder else ""
    wanted = must((X, f"C8 capacitor {farads} class X2 : L2 -- N1"), more=more)
    assert ("stays-charged" in wanted) == charged


def test_the_primary_discharges_what_is_behind_the_switch():
    assert "stays-charged" not in must((X, "C8 capacitor 1 uF class X2 : L3 -- N1"))


def test_a_bleeder_on_the_other_side_of_the_switch_does_not_count():
    wanted = must(
        (X, "C8 capacitor 1 uF class X2 : L2 -- N1"), more="R7 resistor 470k : L3 -- N1\n"
    )
    assert "stays-charged" in wanted


def test_a_neon_lamp_does_not_discharge_a_capacitor():
    lamp = "NE1 lamp neon : L2 -- NE\nR7 resistor 150k : NE -- N1\n"
    assert "stays-charged" in must((X, "C8 capacitor 1 uF class X2 : L2 -- N1"), more=lamp)


def test_a_filter_choke_is_no_end_of_the_way():
    more = "L1 choke 2 mH : L2 -- LF\nC7 capacitor 1 uF class X2 : LF -- N1\n"
    assert "stays-charged" in must(more=more)
    assert "stays-charged" not in must(more=more + "R7 resistor 470k : LF -- N1\n")


# the earth conductor


@pytest.mark.parametrize(
    ("words", "key"),
    [
        ("wire green-yellow", ""),
        ("wire green", ""),
        ("wire", ""),
        ("wire black", "earth-colour"),
        ("wire yellow", "earth-colour"),
    ],
)
def test_the_colour_of_the_earth_conductor(words, key):
    wanted = must((EARTH, f"W1 {words} : PE"))
    assert wanted == ({key} if key else set())


@pytest.mark.parametrize(
    ("earth", "line", "thin"),
    [
        ("18 AWG", "18 AWG", False),
        ("20 AWG", "18 AWG", True),
        ("0.75 mm2", "18 AWG", True),
        ("0.8 mm2", "18 AWG", False),
        ("1 mm2", "1 mm2", False),
        ("0.75 mm2", "1 mm2", True),
    ],
)
def test_the_earth_conductor_is_not_thinner_than_the_line(earth, line, thin):
    report = checked(
        clean(
            (EARTH, f"W1 wire green-yellow {earth} : PE"),
            (FUSE, "fuse 0.5 A slow : LW"),
            more=f"W7 wire {line} : L1 -- LW\n",
        )
    )
    assert ("earth-thin" in {key for key, _ in keys(report)}) == thin


def test_a_gauge_is_the_section_of_its_standard():
    """ASTM B258: 18 AWG is 1.024 mm across, 0.823 mm2."""
    wire = Part("W1", "wire", values=(Value("gauge", 18.0),), pins=(("1", "A"), ("2", "B")))
    assert section(wire) == pytest.approx(0.823e-6, rel=1e-3)
    assert section(wire) == pytest.approx(math.pi / 4 * 1.024e-3**2, rel=1e-3)


# heaters: ten per cent either way, AGREE between the currents of one string


@pytest.mark.parametrize(
    ("volts", "off"), [("6.92", False), ("6.94", True), ("5.68", False), ("5.66", True)]
)
def test_heater_volts_within_a_tenth_either_way(volts, off):
    wanted = must(("heater 6.3 V 2 A", f"heater {volts} V 2 A"))
    assert ("heater-volts" in wanted) == off


# what belongs on the line


def test_a_network_of_resistors_on_the_line_is_a_filter_up_to_a_size():
    def ladder(count: int) -> str:
        nodes = ["L3", *(f"X{number}" for number in range(count)), "N1"]
        pairs = pairwise(nodes)
        return "".join(f"RX{n} resistor 1k : {a} -- {b}\n" for n, (a, b) in enumerate(pairs))

    assert not checked(clean(more=ladder(10))).hazards
    assert checked(clean(more=ladder(_MOST_NODES + 10))).hazards


@pytest.mark.parametrize("kind", ["resistor 1M", "lamp neon", "choke 2 mH"])
def test_what_leads_from_the_line_to_metal_is_no_filter(kind):
    report = checked(clean(more=f"Q7 {kind} : L3 -- CHASSIS\n"))
    assert {hazard.remedies[0].words for hazard in report.hazards} == {
        "Take out Q7: it joins L3 to CHASSIS."
    }
    assert not checked(clean(more=f"Q7 {kind} : L3 -- N1\n")).hazards
    assert live(checked(clean(more=f"Q7 {kind} : L3 -- N1\n"))) == {"L1", "L2", "L3", "N1"}


def test_one_bad_capacitor_on_a_finished_set_is_one_must_and_one_remedy():
    circuit = read(clean())
    values = (Value("capacitance", 0.047e-6),)
    for near in ("L1", "L2", "L3", "N1"):
        for far in ("CHASSIS", "COMMON", "B1", "IN", "H1"):
            bad = Part("BAD", "capacitor", values=values, pins=(("1", near), ("2", far)))
            wrong = circuit.with_parts((*circuit.parts, bad))
            report = check(wrong)
            assert {hazard.remedy for hazard in report.hazards} == {
                f"Take out BAD: it joins {near} to {far}."
            }
            assert {part for _, part in keys(report)} <= {"BAD"}
            assert len(keys(report)) <= 1

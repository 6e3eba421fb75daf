"""Touch current and discharge against printed figures; what is only our own arithmetic is marked derived.

Each case: (id, what the program says, printed figure, relative tolerance).
"""

from __future__ import annotations

import math

import pytest

from rework.circuit.circuit import Circuit
from rework.language.resolve import read_circuit
from rework.safety.current.faults import faults
from rework.safety.current.person import assumed, body_ohm, limit, networks
from rework.safety.current.stored import seconds_to
from rework.safety.current.touch import touch

BARE = tuple((name, 0.0) for name in assumed() if name.endswith("_farad") and name != "person_farad")


def chassis(line: str, mains: str) -> Circuit:
    circuit, problems = read_circuit(f'circuit "x"\nmains {mains}\ntouchable CHASSIS\nopen L, N, CHASSIS\nP1 plug two-blade : line=L, neutral=N\n{line}\n', file="x")
    assert circuit is not None, problems
    return circuit


def amps_at(volts: float, line: str, mains: str) -> float:
    """Return the short-circuit amperes to earth at other volts than the upper tolerance: the circuit is linear."""
    found = touch(chassis(line, mains), changes=BARE).touches[0]
    upper = {"60": 132.0, "50": 253.0}[mains.split()[2]]
    return found.volts / found.ohms * volts / upper


MEASURED = [
    ("tdpri 924792: 0.047 uF, 2.11 mA measured at 123 V 60 Hz", amps_at, (123, "C1 capacitor .047 uF film 0% : L -- CHASSIS", "120 V 60 Hz"), 2.11e-3, 0.05),
    ("holooly 1233606: 0.1 uF at 240 V 50 Hz, 7.5 mA", amps_at, (240, "C1 capacitor .1 uF film 0% : L -- CHASSIS", "230 V 50 Hz"), 7.5e-3, 0.01),
    ("highvoltageinfo 2008: 200 pF at 120 V 60 Hz, 9 uA", amps_at, (120, "C1 capacitor 200p film 0% : L -- CHASSIS", "120 V 60 Hz"), 9e-6, 0.02),
]
DERIVED = [
    ("derived: 4.7 nF at 230 V 50 Hz", amps_at, (230, "C1 capacitor 4.7n film 0% : L -- CHASSIS", "230 V 50 Hz"), 0.33961e-3, 0.002),
    ("derived: 220 kohm and 0.1 uF at 120 V 60 Hz", amps_at,
     (120, "R1 resistor 220k 0% : L -- CHASSIS\nC1 capacitor .1 uF film 0% : L -- CHASSIS", "120 V 60 Hz"), 4.557e-3, 0.002),
]


@pytest.mark.parametrize("name, figure, given, printed, tolerance", MEASURED + DERIVED, ids=[case[0] for case in MEASURED + DERIVED])
def test_current_through_what_is_left_between_line_and_chassis(name, figure, given, printed, tolerance):
    assert figure(*given) == pytest.approx(printed, rel=tolerance)


@pytest.mark.parametrize("volts, milliamps", [(0.75, 0.5), (0.15, 0.1)], ids=["Panasonic and Sony service manuals: 0.75 V is 0.5 mA", "Panasonic AG-1340P: 0.15 V is 0.1 mA"])
def test_volts_on_the_service_network(volts, milliamps):
    assert volts / abs(networks()["service"].impedance(60)) == pytest.approx(milliamps * 1e-3, rel=0.01)


def test_iec_60065_annex_d_as_printed_in_a_service_manual_0_35_volts_peak_is_0_7_milliamperes_peak():
    network = networks()["iec"]
    amps = limit("0.7 peak").amps
    assert network.reading(amps / network.per_ampere(50), 50) * network.body_ohm == pytest.approx(0.35, rel=1e-9)


@pytest.mark.parametrize("hertz, ohms, ratio", [(50, 1990.02, 0.99762), (60, 1985.67, 0.996578)], ids=["derived 50 Hz", "derived 60 Hz"])
def test_the_iec_network_at_line_frequency(hertz, ohms, ratio):
    network = networks()["iec"]
    assert abs(network.impedance(hertz)) == pytest.approx(ohms, rel=5e-4)
    w = 2 * math.pi * hertz
    assert abs(1 / (1 + 1j * w * network.filter_ohm * network.filter_farad)) == pytest.approx(ratio, rel=2e-4)


@pytest.mark.parametrize("farads, hertz, volts, milliamps", [(1e-8, 60, 120, 0.45036), (4.7e-8, 60, 127, 2.23306), (1e-7, 50, 253, 7.8737), (2.5e-7, 50, 230, 17.59208)])
def test_derived_readings_of_the_iec_network_behind_a_capacitor(farads, hertz, volts, milliamps):
    network = networks()["iec"]
    amps = volts / abs(1 / (2j * math.pi * hertz * farads) + network.impedance(hertz))
    assert network.reading(amps, hertz) == pytest.approx(milliamps * 1e-3, rel=0.002)


@pytest.mark.parametrize("volts, percent, ohms", [(25, 5, 1750), (50, 50, 2625), (100, 95, 3200), (220, 5, 1000), (1000, 50, 1050)])
def test_iec_60479_1_body_table_as_seen_in_the_older_edition(volts, percent, ohms):
    assert body_ohm(volts, percent=percent) == ohms


def test_iec_60950_1_one_time_constant_leaves_37_percent_of_340_volts():
    assert seconds_to([340.0], [1e-7], [[1e7]], 125.8)[0] == pytest.approx(1.0, rel=0.01)


def test_derived_bond_volts_at_a_fault_current_of_the_line_and_earth_resistance():
    circuit, _ = read_circuit('circuit "x"\nmains 120 V 60 Hz\ntouchable CHASSIS\nP1 plug three-pin : line=L, neutral=N, earth=CHASSIS\n'
                              "R1 resistor 1k 0% : L -- N\nR2 resistor 1M 0% : L -- CHASSIS\n", file="x")
    lead = next(one for one in faults(circuit, changes=BARE).outcomes if one.fault.what == "R2 short")
    known = assumed()
    amps = 132 / (known["line_ohm"] + known["short_ohm"] + known["earth_ohm"])
    assert lead.volts == pytest.approx(amps * known["earth_ohm"], rel=0.01) and lead.line_amps == pytest.approx(amps, rel=0.01)

"""A set behind a series lamp: the law of the filament, and the state against an independent sum."""

from __future__ import annotations

from pathlib import Path

import pytest
from scipy.optimize import brentq

from rework.circuit.circuit import Circuit, Mains
from rework.circuit.parts import Part, Value
from rework.language.resolve import read_circuit_bytes
from rework.rules.job_file import run_job_file
from rework.solve.bench import (
    LAMPS,
    behind_lamp,
    filament_ohms,
    lamp_for,
    umbilical_unplugged,
    with_series_resistance,
    without_tubes,
)

ROOT = Path(__file__).parents[2]


def test_the_filament_has_its_rated_ohms_at_its_volts_and_a_fifteenth_cold():
    """100 W at 120 V: 144 ohm hot; 9.6 ohm cold (Field Guide to Illumination, p. 21, ratio 15)."""
    assert filament_ohms(120, 100, 120) == pytest.approx(144)
    assert filament_ohms(0, 100, 120) == pytest.approx(9.6)


def test_five_per_cent_less_current_is_ten_per_cent_fewer_volts():
    """V ~ I^1.9 between 95 and 105 % of the current, as printed."""
    volts = 0.95**1.9 * 120
    assert volts / filament_ohms(volts, 100, 120) == pytest.approx(0.95 * 100 / 120, rel=1e-9)


@pytest.mark.parametrize(
    ("times", "share"), [(1, 0.61), (1.5, 0.74), (2, 0.82), (4, 0.94), (6, 0.97)]
)
def test_the_share_of_the_line_that_a_resistance_gets_behind_a_lamp(times, share):
    """The set taken as a resistance R: V / (V + R) with the filament's law, by scipy's brentq."""
    line, set_watts = 120.0, 50.0
    load = line**2 / set_watts
    lamp = times * set_watts

    def left_over(lamp_volts):
        ohms = filament_ohms(lamp_volts, lamp, line)
        return lamp_volts - line * ohms / (ohms + load)

    assert 1 - brentq(left_over, 1e-6, line) / line == pytest.approx(share, abs=0.012)


def resistive(watts: float, line: float) -> Circuit:
    """Return a heater of so many watts straight on a line, with a chassis for a common."""
    text = (
        f"mains {line:g} V 60 Hz\n"
        "P1 plug three-pin : line=L1, neutral=N1, earth=PE\n"
        f"T1 transformer 100 VA : primary {line:g} V dcr 0.01 ohm = L1 -- N1,"
        f" secondary {line:g} V dcr 0.01 ohm = A -- B\n"
        f"R1 resistor {line**2 / watts:g} ohm 200 W : A -- B\n"
        "W1 wire : B -- PE\nCH1 chassis : PE\n"
    )
    circuit, problems = read_circuit_bytes(text.encode(), file="lamp.circuit")
    assert circuit is not None, problems
    return circuit


def test_the_solver_finds_the_same_share():
    """The solver with a transformer against the sum of the test before: 2 x gives 0.82."""
    state = behind_lamp(resistive(50, 120), 100, samples=2)
    assert state.set_volts / 120 == pytest.approx(0.82, abs=0.03)
    assert state.lamp_volts + state.set_volts == pytest.approx(120, rel=0.05)


@pytest.mark.parametrize(
    ("watts", "lamp"), [(12.4, 25.0), (12.5, 25.0), (12.6, 40.0), (400, LAMPS[-1])]
)
def test_the_lamp_has_twice_the_watts_of_the_set(watts, lamp):
    assert lamp_for(watts) == lamp


def test_states_take_out_only_what_they_say():
    circuit = run_job_file(str(ROOT / "circuits" / "pager" / "pager.job")).after
    empty = without_tubes(circuit, {"V1"})
    assert {part.name for part in circuit.parts} - {part.name for part in empty.parts} == {"V1"}
    parted = umbilical_unplugged(circuit)
    assert not any(part.setting("mates") for part in parted.parts)
    assert {part.name for part in parted.parts} == {part.name for part in circuit.parts}
    lamp = with_series_resistance(circuit, 40.0)
    new = [part for part in lamp.parts if part.name not in circuit.by_name]
    assert [(part.kind, part.value("resistance")) for part in new] == [("resistor", 40.0)]
    plug = next(part for part in lamp.parts if part.kind == "plug")
    assert [part.name for part, _ in lamp.at[plug.at("line")]] == [plug.name, new[0].name]


def test_a_circuit_without_a_line_is_refused():
    bare = Circuit(parts=(Part("R1", "resistor", values=(Value("resistance", 1.0),)),))
    with pytest.raises(ValueError, match="what line"):
        behind_lamp(bare, 60, samples=2)
    assert bare.mains is None
    assert Mains(117, 60).volts == 117

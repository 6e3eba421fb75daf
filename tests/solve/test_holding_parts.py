"""Parts that hold their volts, worked by Ohm's law beside the tool."""

from __future__ import annotations

import pytest

from rework.language.resolve import read_circuit
from rework.solve.assemble import assemble
from rework.solve.bias import bias


def volts(text: str, node: str) -> tuple[float, tuple[str, ...]]:
    circuit, problems = read_circuit(text, file="h.circuit")
    assert circuit is not None, problems
    network = assemble(circuit)
    steady = bias(network).steady
    return float(network.volts(steady.x, node).mean()), network.notes


SUPPLY = "mains 100 V DC\nP1 plug two-blade : line=L, neutral=COMMON\nR1 resistor 1k : L -- A\n"


@pytest.mark.parametrize(
    ("part", "expected"),
    [
        # (100 V - 12 V) / 1010 ohm through 10 ohm above 12 V
        ("D1 zener diode 12 V 5 W : COMMON -- A", 12 + 88 / 1010 * 10),
        ("V1 gas regulator 75 V 40 mA : A -- COMMON", 75 + 25 / 1100 * 100),
        ("D1 light-emitting diode 2 V : A -- COMMON", 2 + 98 / 1010 * 10),
        ("K1 relay SPST 250 ohm : B -- C, coil1=A, coil2=COMMON\nopen B, C", 20.0),
        ("RV1 varistor 150 V : A -- COMMON", 100.0),
    ],
)
def test_it_holds_the_volts_that_ohms_law_says(part, expected):
    assert volts(SUPPLY + part + "\n", "A")[0] == pytest.approx(expected, rel=2e-3)


def test_a_zener_diode_the_other_way_round_is_a_silicon_diode():
    assert 0.5 < volts(SUPPLY + "D1 zener diode 12 V 5 W : A -- COMMON\n", "A")[0] < 0.7


def test_a_line_filter_lets_the_line_through():
    text = (
        "mains 100 V DC\nP1 plug two-blade : line=L, neutral=N\n"
        "LF1 inlet filter class Y2 : line=L, neutral=N, line-out=A, neutral-out=COMMON\n"
        "R1 resistor 1k : A -- COMMON\n"
    )
    assert volts(text, "A")[0] == pytest.approx(100.0, rel=1e-3)


def test_a_pot_is_where_the_file_states_it():
    text = SUPPLY.replace("R1 resistor 1k : L -- A", "R1 pot 1k at 30% : ccw=COMMON, wiper=A, cw=L")
    assert volts(text + "R2 resistor 10M : A -- COMMON\n", "A")[0] == pytest.approx(30.0, rel=1e-3)


def test_dc_mains_state_which_blade_is_positive():
    _, notes = volts(SUPPLY + "R2 resistor 1k : A -- COMMON\n", "A")
    assert any("the line blade of P1 is taken as the positive one" in note for note in notes)

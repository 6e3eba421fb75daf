"""What parts hand in: ends of tolerances, and the least that a resistance falls to."""

from __future__ import annotations

import pytest
from each import each

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part, Value
from rework.language.resolve import read_circuit
from rework.touch.builder import LEAST_OHMS, Builder, slack
from rework.touch.model import model
from rework.touch.person import assumed


def resistor(*values: Value) -> Part:
    return Part("R1", "resistor", values=values, pins=(("1", "A"), ("2", "B")))


def build() -> Builder:
    return Builder(Circuit(), assumed())


@pytest.mark.parametrize(
    ("written", "fraction"), [(None, 0.2), (0.05, 0.05), (0.0, 0.0), (0.99, 0.99), (1.5, 0.99)]
)
def test_a_tolerance_is_the_written_one_or_a_fifth_and_never_reaches_all_of_it(written, fraction):
    values = () if written is None else (Value("fraction", written),)
    assert build().tolerance(resistor(*values)) == fraction


@pytest.mark.parametrize("tolerance", [0.0, 0.01, 0.1, 0.2])
def test_low_is_the_end_that_passes_more_and_slack_leads_to_the_other(tolerance):
    siemens, missing = build().low(resistor(Value("fraction", tolerance)), 1000.0)
    assert 1 / siemens == pytest.approx(1000 * (1 - tolerance))
    assert 1 / (siemens * (1 - missing)) == pytest.approx(1000 * (1 + tolerance))
    assert slack(tolerance) == missing


def test_a_resistance_of_nothing_is_a_milliohm():
    siemens, _ = build().low(resistor(Value("fraction", 0.0)), 0.0)
    assert siemens == pytest.approx(1 / LEAST_OHMS) == pytest.approx(1000)


def test_insulation_to_metal_is_vouched_for_by_its_earth_only():
    """A motor's frame that is not earthed also counts as broken down; that is said once."""
    motor = Part(
        "M1",
        "motor",
        values=(Value("resistance", 500.0),),
        pins=(("1", "A"), ("2", "B"), ("frame", "F")),
    )
    built = model(Circuit(parts=(motor,)), assumed())
    assert built.unproved == ("M1 to its frame",)
    assert [variant.axis.kind for variant in built.variants] == ["insulation"]
    farads = [element.farads for element in built.elements if element.kind == "insulation"]
    assert farads == [assumed()["metalwork_farad"]]


def test_what_is_missing_is_said_once():
    motor = Part("M1", "motor", pins=(("1", "A"), ("2", "B")))
    built = model(Circuit(parts=(motor,)), assumed())
    assert sum("M1" in words for words in built.unknown) == 1
    assert any("no blade" in words for words in built.unknown)


@each(
    ("line", "ohms", "henries"),
    [
        ("L9 choke 10 H 60 mA : A -- B", 8.1 * 10**0.44 * 0.06**-0.93, 10.0),
        ("L9 choke 60 mA : A -- B", 8.1 * 8**0.44 * 0.06**-0.93, 0.0),
        ("L9 choke field-coil : A -- B", 8.1 * 8**0.44 * 0.075**-0.93, 0.0),
        ("SP9 speaker : A -- B", 4.0, 0.0),
        ("M9 motor 117 V 0.2 A : A -- B", 585.0, 0.0),
        ("M9 motor 117 V : A -- B", 0.6 * 0.6 * 117**2 / 12, None),
    ],
)
def test_what_usual_parts_have_is_taken_at_either_end_of_its_spread(line, ohms, henries):
    """The choke by 8.1 H^0.44 A^-0.93 (ten types), less than anything written: never "not known"."""
    circuit, problems = read_circuit(f"mains 117 V 60 Hz\nopen A, B\n{line}\n")
    assert circuit, problems
    built = model(circuit, assumed())
    path = next(element for element in built.elements if element.part.endswith("9"))
    written = not built.usual
    assert path.siemens == pytest.approx(1 / (ohms if written else ohms * 0.4), rel=0.01)
    assert path.siemens * (1 - path.slack) == pytest.approx(
        1 / (ohms * (1 if written else 1.6)), rel=0.01
    )
    assert henries is None or path.henries == henries
    assert not any("9" in words for words in built.unknown)

"""IEC 60063 preferred numbers: what the demo sets are built of is what was made and sold.

The E24 series is that of IEC 60063 as printed at
https://www.qsl.net/g4usp/Components/Component%20preferred%20values.htm (seen 2026-11-25; the
standard itself was not). Sets of before about 1950 and electrolytics of any age were also made in
round steps, and the dropper of a heater string was wound to measure: common practice, no source.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from rework.language.resolve import read_circuit

E24 = (
    10,
    11,
    12,
    13,
    15,
    16,
    18,
    20,
    22,
    24,
    27,
    30,
    33,
    36,
    39,
    43,
    47,
    51,
    56,
    62,
    68,
    75,
    82,
    91,
)
E12 = (10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82)
E6 = (10, 15, 22, 33, 47, 68)
#: Two-digit round steps of old resistors, capacitors and electrolytics: common practice, no source.
ROUND = (10, 15, 20, 25, 30, 35, 40, 50, 60, 75, 80)
CIRCUITS = sorted((Path(__file__).parent.parent.parent / "circuits").glob("*/*.circuit"))


def two_digits(amount: float) -> float:
    """Return an amount as a number from 10 up to 100."""
    digits, _ = f"{amount:.3e}".split("e")
    return round(float(digits) * 10, 2)


def test_each_series_is_every_other_value_of_the_next():
    assert E24[::2] == E12
    assert E12[::2] == E6


@pytest.mark.parametrize("path", CIRCUITS, ids=lambda path: f"{path.parent.name}-{path.stem}")
@pytest.mark.parametrize(
    ("kind", "dimension"),
    [
        ("resistor", "resistance"),
        ("pot", "resistance"),
        ("capacitor", "capacitance"),
        ("electrolytic", "capacitance"),
    ],
)
def test_the_demo_sets_are_built_of_preferred_or_round_values(
    path: Path, kind: str, dimension: str
):
    circuit, _ = read_circuit(path.read_text(encoding="utf-8"))
    odd = {
        part.name: part.value(dimension)
        for part in circuit.parts
        if part.kind == kind
        and "dropper" not in part.words
        and part.value(dimension) is not None
        and two_digits(part.value(dimension)) not in {*E24, *ROUND}
    }
    assert not odd

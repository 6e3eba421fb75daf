"""Values: our table held to pint for every unit and multiplier, the lexer held to the table, and
writing to reading.
"""

from __future__ import annotations

import re

import pytest
from each import each
from hypothesis import given
from hypothesis import strategies as st

from rework.circuit.kinds import KINDS
from rework.circuit.parts import Value
from rework.language.quantity import QuantityError, read_value, spaced, write_value
from rework.language.resolve import read_circuit
from rework.language.syntax import circuit_parser, grammar_folder
from rework.language.units import BARE, EXAMPLES, PREFIXED, PREFIXES, UNITS

#: What pint calls our multipliers.
IN_PINT = {
    "p": "pico",
    "n": "nano",
    "u": "micro",
    "µ": "micro",
    "μ": "micro",
    "m": "milli",
    "k": "kilo",
    "M": "mega",
    "G": "giga",
}
#: The SI unit of each dimension, as pint spells it.
SI = {
    "resistance": "ohm",
    "capacitance": "farad",
    "inductance": "henry",
    "voltage": "volt",
    "current": "ampere",
    "power": "watt",
    "apparent-power": "volt_ampere",
    "frequency": "hertz",
    "fraction": "",
    "length": "meter",
    "area": "meter**2",
    "time": "second",
}
WITH_MULTIPLIER = [(prefix, unit) for unit in PREFIXED for prefix in IN_PINT]
#: G stands with a unit only, and R only right behind a whole number: 6G and 80 R begin other words.
BARE_MULTIPLIERS = sorted({multiplier for group in BARE.values() for multiplier in group} - {"R"})
#: Refused on purpose: old drawings print these for microfarads.
DOUBTFUL = {"mF", "MF", "GF"}


@pytest.fixture(scope="module")
def pint_units():
    import pint

    return pint.UnitRegistry()


def tokens(text: str) -> list[tuple[str, str]]:
    """Return the tokens of a text where values stand on a part line."""
    return [
        (str(token), token.type)
        for token in circuit_parser().parse(f"R1 resistor {text} : A -- B", start="part").head[1:]
    ]


@pytest.mark.parametrize("unit", [unit for unit in UNITS if UNITS[unit][2]])
def test_a_unit_is_worth_what_pint_says(unit: str, pint_units):
    dimension, _, name = UNITS[unit]
    value = read_value(f"7.5 {unit}")
    assert value.dimension == dimension
    assert value.amount == pytest.approx(
        pint_units.Quantity(7.5, name).to(SI[dimension] or "dimensionless").magnitude, rel=1e-15
    )


@pytest.mark.parametrize(
    ("prefix", "unit"),
    [pair for pair in WITH_MULTIPLIER if "".join(pair) not in DOUBTFUL],
    ids="".join,
)
def test_a_unit_with_a_multiplier_is_worth_what_pint_says(prefix: str, unit: str, pint_units):
    dimension, _, name = UNITS[unit]
    value = read_value(f"2.2{prefix}{unit}")
    assert value.dimension == dimension
    assert value.amount == pytest.approx(
        pint_units.Quantity(2.2, f"{IN_PINT[prefix]}{name}").to(SI[dimension]).magnitude, rel=1e-15
    )


def test_every_multiplier_is_held_to_pint():
    assert set(PREFIXES) - {"K", "meg", "Meg"} == set(IN_PINT)
    assert PREFIXES["K"] == PREFIXES["k"]
    assert PREFIXES["meg"] == PREFIXES["Meg"] == PREFIXES["M"]


def test_units_that_take_a_multiplier_are_in_the_table_and_every_dimension_has_an_example():
    assert set(PREFIXED) <= set(UNITS)
    assert {dimension for dimension, _, _ in UNITS.values()} == set(EXAMPLES)
    assert {dimension for kind in KINDS.values() for dimension in kind.dimensions} <= set(EXAMPLES)


@each("unit", [*UNITS, *("".join(pair) for pair in WITH_MULTIPLIER), *BARE_MULTIPLIERS])
def test_every_unit_is_lexed_as_one_value_with_and_without_a_blank(unit: str):
    for number in ("10", "4.7", ".047", "1/2", "250-0-250", "±5", "+-5", "3."):
        assert tokens(number + unit) == [(number + unit, "VALUE")]
        assert tokens(f"{number} {unit}") == [(f"{number} {unit}", "VALUE")]


def lexer_shape() -> str:
    """Return what the grammar takes as a value, without what must not follow."""
    text = (grammar_folder() / "tokens.lark").read_text(encoding="utf-8")
    body = text[text.index("VALUE.4:") + len("VALUE.4:") : text.index("// 35W4")]
    shapes = re.findall(r"/((?:\\/|[^/\n])+)/", body)
    return "|".join(
        re.sub(r"\(\?[!=](?:\[[^]]*\]|[^()\[\]]|\([^()]*\))*\)", "", shape.replace("\\/", "/"))
        for shape in shapes
    )


@given(st.from_regex(re.compile(lexer_shape()), fullmatch=True))
def test_whatever_the_lexer_takes_for_a_value_is_read_or_refused_in_words(text: str):
    text = text.strip()
    read, refusals = [], []
    for bare in BARE:
        try:
            read.append(read_value(text, bare=bare))
        except QuantityError as error:
            refusals.append(str(error))
    number = re.match(r"[\W\d]*\d", text)
    begun = text[:8] if number is None else number.group()[:8].replace(",", ".")
    assert all(begun in refusal.replace(",", ".") for refusal in refusals)
    if not read:
        halves = re.match(r"\W*(\d+)-0-(\d+)", text)
        assert (
            text.rstrip(".").upper().endswith(tuple(map(str.upper, DOUBTFUL)))
            or re.search(r"m(ohms?|hz)\.?\Z", text, re.IGNORECASE)
            or re.search(r"/0+(?![0-9])", text)
            or (halves and halves[1] != halves[2])
            or (
                (parts := re.match(r"\D*(\d+)/(\d+)(.*)", text))
                and (
                    int(parts[1]) != 1
                    or read_value(f"1 {parts[3].strip()}").dimension
                    in ("capacitance", "inductance")
                )
            )
            or re.search(r"[1-9]\d{0,2}\.\d00(?!\d)", text)
            or len(text) > 40
        ), text


@each("text", ["40/20 uF", "20/40 uF", "8/8 H", "600/400 V", "115/230 V", "4/8 ohm"])
def test_two_values_of_one_part_are_no_fraction(text: str):
    with pytest.raises(QuantityError, match="two values need two lines"):
        read_value(text)


@each(
    ("text", "bare", "amount"),
    [
        ("220k", "resistance", 220e3),
        ("220K", "resistance", 220e3),
        ("2.2 meg", "resistance", 2.2e6),
        ("1M", "resistance", 1e6),
        ("10n", "capacitance", 10e-9),
        (".047u", "capacitance", 47e-9),
        ("270p", "capacitance", 270e-12),
        ("20m", "inductance", 20e-3),
        ("1/2 W", "", 0.5),
        ("3/4 A", "", 0.75),
        ("1/2 kW", "", 500),
        ("250-0-250 V", "", 500),
        ("6.3-0-6.3 V", "", None),
        ("10%", "", 0.1),
        ("±5%", "", 0.05),
        ("+-20 %", "", 0.2),
        ("0.05 uF", "", 50e-9),
        ("50 mfd", "", 50e-6),
        ("250 mmf", "", 250e-12),
        ("18 AWG", "", 18),
        ("3 h", "", 10800),
        ("0.75 mm2", "", 0.75e-6),
    ],
)
def test_what_the_bench_writes_is_read(text: str, bare: str, amount: float | None):
    if amount is None:
        with pytest.raises(QuantityError):
            read_value(text, bare=bare)
    else:
        assert read_value(text, bare=bare).amount == amount


@each(
    ("one", "other"),
    [
        (".047u", "47n"),
        ("0.047 uF", "47 nF"),
        ("4k7", "4.7k"),
        ("2n2", "2.2n"),
        ("R47", "0.47 ohm"),
        ("50 mfd", "50 uF"),
        ("0.1 mfd", "100 nF"),
        ("1000k", "1M"),
        ("12.5%", "12.50 %"),
    ],
)
def test_two_ways_to_write_one_value_are_the_very_same_float(one: str, other: str):
    bare = "capacitance" if {"n", "u", "f"} & {one[-1], one[-2], one[1]} else "resistance"
    assert read_value(one, bare=bare).amount == read_value(other, bare=bare).amount


@each(
    ("text", "bare", "words"),
    [
        ("8 MF", "capacitance", "old drawings"),
        ("50 mF", "capacitance", "old drawings"),
        ("8 M", "capacitance", "alone does not say"),
        ("220k", "capacitance", "alone does not say"),
        ("1 m", "resistance", "alone does not say"),
        ("10u", "resistance", "alone does not say"),
        ("100R", "capacitance", "alone does not say"),
        ("4k7", "capacitance", "alone does not say"),
        ("2n2", "resistance", "alone does not say"),
        ("500m", "current", "write the unit"),
        ("18k", "gauge", "alone does not say"),
        ("10k", "", "alone does not say"),
        ("1/0 W", "", "divides by nothing"),
        ("250-0-240 V", "", "unequal halves"),
        ("9" * 5000 + "k", "resistance", "5001 characters"),
        ("47", "resistance", "no unit"),
        ("47 parsec", "", "no unit"),
        ("k", "resistance", "not a value"),
        ("٣ V", "", "not a value"),
    ],
)
def test_what_could_mean_two_things_or_none_is_refused(text: str, bare: str, words: str):
    with pytest.raises(QuantityError, match=words):
        read_value(text, bare=bare)


@each(
    ("line", "expected"),
    [
        ("R1 resistor 10 uF : A -- B", "a resistance such as 220k, 4k7 or 150 ohm or a power"),
        ("C1 capacitor 220k : A -- B", "a capacitance such as 0.05 uF, 10n or 2n2"),
        ("F1 fuse 10 W : A -- B", "a current such as 1 A or 80 mA"),
        ("R1 resistor 47 : A -- B", "a resistance such as"),
        ("K1 trace 5 V : A -- B", "no value: a trace takes none"),
        ("T1 transformer : primary 8 uF = A -- B", "a voltage such as 150 V"),
    ],
)
def test_a_value_of_the_wrong_dimension_says_what_was_expected(line: str, expected: str):
    _, problems = read_circuit(line + "\nR9 resistor 1k : A -- B")
    assert len(problems) == 1
    assert expected in problems[0].expected


DIMENSIONS = sorted(set(EXAMPLES) - {"time"})


@given(st.sampled_from(DIMENSIONS), st.floats(1e-15, 1e12) | st.integers(0, 10**6).map(float))
def test_a_value_is_read_back_as_it_was_written(dimension: str, amount: float):
    text = write_value(Value(dimension, amount))
    assert read_value(text) == Value(dimension, amount), text
    assert len(tokens(text)) == 1
    assert spaced(text) == text


@given(st.integers(0, 10000).map(lambda number: number / 100))
def test_hours_are_read_back_as_they_were_written(hours: float):
    assert read_value(write_value(Value("time", hours * 3600))).amount == pytest.approx(
        hours * 3600
    )


@each(
    ("dimension", "amount", "text"),
    [
        ("resistance", 220e3, "220 kohm"),
        ("resistance", 0.47, "470 mohm"),
        ("capacitance", 47e-9, "47 nF"),
        ("capacitance", 47e-6, "47 uF"),
        ("capacitance", 0.01, "10000 uF"),
        ("voltage", 117, "117 V"),
        ("voltage", 0, "0 V"),
        ("current", 0.15, "150 mA"),
        ("fraction", 0.1, "10%"),
        ("gauge", 18, "18 AWG"),
        ("area", 0.75e-6, "0.75 mm2"),
        ("length", 0.2, "200 mm"),
        ("time", 12600, "3.5 h"),
        ("power", 1e6, "1 MW"),
    ],
)
def test_a_computed_value_is_written_with_the_multiplier_a_technician_would_choose(
    dimension: str, amount: float, text: str
):
    assert write_value(Value(dimension, amount)) == text


def test_a_value_that_was_written_stays_as_it_was_written():
    assert write_value(read_value("0.05uF")) == "0.05 uF"
    assert write_value(read_value("4k7", bare="resistance")) == "4k7"
    assert write_value(read_value("2.2 M", bare="resistance")) == "2.2M"
    assert write_value(read_value("1/2W")) == "1/2 W"

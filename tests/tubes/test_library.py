"""The library as a bench uses it: a type by any of its names, a pin by any of its words."""

from itertools import combinations

import pytest
from each import each
from hypothesis import given
from hypothesis import strategies as st

from rework.cli import main
from rework.tubes import library
from rework.tubes.elements import UNUSED

TYPES = library.types()
PINS = {
    "miniature 7-pin": 7,
    "octal": 8,
    "noval 9-pin": 9,
    "rimlock 8-pin": 8,
    "loctal": 8,
    "4-pin": 4,
    "6-pin": 6,
}


TUBES = [library.find(name) for name in TYPES]


def groups_of(name):
    return {frozenset(group) for group in library.find(name).groups()}


def test_a_type_is_found_by_any_of_its_names_in_capitals_or_not():
    assert library.find("ecc83") is library.find("12AX7")
    assert library.find(" 6bq5 ") is library.find("EL84")
    assert library.find("12AX8") is None


def test_a_known_name_is_known_without_reading_its_file():
    assert library.is_known("5ar4")
    assert not library.is_known("5AR5")


def test_a_misspelt_name_brings_up_the_ones_it_looks_like():
    assert "50C5" in library.nearest("50C4")
    assert library.nearest("EL94")[0] in ("EL95", "EL90", "EL84")
    assert len(library.nearest("12A", count=2)) == 2


@each(
    ("type_name", "word", "pins"),
    [
        ("50C5", "grid", ("2", "5")),
        ("50C5", "g1", ("2", "5")),
        ("50C5", "anode", ("7",)),
        ("50C5", "K", ("1",)),
        ("50C5", "screen grid", ("6",)),
        ("50C5", "beam plates", ("1",)),
        ("50C5", "heater", ("3", "4")),
        ("50C5", "h1", ("3",)),
        ("50C5", "suppressor", ()),
        ("50C5", "plait", ()),
        ("12AU6", "g3", ("2",)),
        ("12BE6", "g3", ("7",)),
        ("35W4", "tap", ("6",)),
        ("12AX7", "tap", ("9",)),
        ("12AX7", "heater", ("4", "5")),
        ("12AX7", "triode1.plate", ("6",)),
        ("12AX7", "unit 1.anode", ("6",)),
        ("12AX7", "unit2.g", ("2",)),
        ("12AX7", "triode2.heater", ("4", "5")),
        ("12AX7", "plate", ()),
        ("12AX7", "unit3.plate", ()),
        ("12AX7", "pentode.plate", ()),
        ("ECL82", "g2", ("7",)),
        ("ECL82", "grid", ()),
        ("ECL82", "pentode.g3", ("2",)),
        ("ECL80", "triode.cathode", ("3",)),
        ("ECL80", "pentode.k", ("3",)),
        ("6SQ7", "d1", ("5",)),
        ("50Y6GT", "diode1.plate", ("5",)),
        ("50Y6GT", "diode2", ("3",)),
        ("5Y3GT", "cathode", ("8",)),
        ("5Y3GT", "filament", ("2", "8")),
        ("6X4", "anode1", ("6",)),
    ],
)
def test_a_pin_is_found_by_the_words_the_trade_uses(type_name, word, pins):
    assert library.find(type_name).pins_of(word) == pins


@each("tube", TUBES)
def test_every_socket_pin_has_an_element(tube):
    pins = tuple(str(number) for number in range(1, PINS[tube.base] + 1))
    assert tuple(pin for pin in tube.socket_pins if pin != "cap") == pins
    assert all(tube.element(pin) for pin in tube.socket_pins)


@each("tube", TUBES)
def test_every_element_leads_back_to_its_pin(tube):
    for name in tube.element_names():
        assert all(name in tube.elements_of(pin) for pin in tube.pins_of(name))
        assert tube.pins_of(name)
    assert not UNUSED & set(tube.element_names())


def test_a_pin_the_socket_has_not_is_an_error():
    with pytest.raises(KeyError):
        library.find("50C5").element("8")
    assert library.find("50C5").elements_of("8") == ()


@each(
    ("type_name", "groups"),
    [
        ("50C5", ["34", "12567"]),
        ("35W4", ["346", "57"]),
        ("12AX7", ["459", "678", "123"]),
        ("ECC85", ["45", "678", "123", "9"]),
        ("ECL82", ["45", "189", "2367"]),
        ("ECL80", ["45", "1236789"]),
        ("6AV6", ["34", "12567"]),
        ("EABC80", ["45", "16789", "23"]),
        ("5Y3GT", ["2468"]),
        ("GZ34", ["12468"]),
        ("50Y6GT", ["27", "34", "58"]),
        ("EF86", ["45", "13689", "27"]),
        ("EL84", ["14568", "1236789"]),
    ],
)
def test_current_flows_within_a_unit_and_along_the_heater_and_nowhere_else(type_name, groups):
    assert groups_of(type_name) == {frozenset(group) for group in groups}


@each("tube", TUBES)
def test_every_pin_that_carries_something_is_in_a_group_and_no_free_pin_is(tube):
    grouped = set().union(*tube.groups())
    for pin in tube.socket_pins:
        assert (pin in grouped) == (tube.element(pin) not in ("none", "absent")), pin


@each("tube", TUBES)
def test_groups_meet_only_in_internal_connections(tube):
    internal = {pin for pin in tube.socket_pins if tube.element(pin) == "internal"}
    for one, other in combinations(tube.groups(), 2):
        assert one & other == internal


@each("tube", TUBES)
def test_a_heater_way_takes_the_same_power_as_every_other(tube):
    watts = [way.volts.value * way.amps.value for way in tube.heater.ways]
    assert max(watts) <= 1.02 * min(watts)
    assert (tube.heater.volts, tube.heater.amps) == (
        tube.heater.ways[0].volts,
        tube.heater.ways[0].amps,
    )


@each("tube", TUBES)
def test_a_heater_way_runs_between_real_heater_pins(tube):
    real = set(tube.pins_of("heater")) | set(tube.pins_of("tap"))
    for way in tube.heater.ways:
        assert way.between[0] | way.between[1] <= real
    for section in tube.heater.sections:
        assert set(section.between) <= real
        assert 0 < section.volts.value < tube.heater.volts.value


def test_the_12ax7_heater_has_two_ways():
    ordinary, parallel = library.find("12AX7").heater.ways
    assert (ordinary.between, ordinary.volts.value, ordinary.amps.value) == (
        ({"4"}, {"5"}),
        12.6,
        0.15,
    )
    assert (parallel.between, parallel.volts.value, parallel.amps.value) == (
        ({"4", "5"}, {"9"}),
        6.3,
        0.3,
    )


@each("tube", TUBES)
def test_only_a_directly_heated_cathode_is_on_a_heater_pin_unless_joined_inside(tube):
    on_heater = set(tube.pins_of("cathode")) & set(tube.pins_of("heater"))
    assert not tube.heater.directly_heated or on_heater


def test_rectifiers_say_so():
    assert library.find("35Z5GT").is_rectifier
    assert library.find("50Y6GT").has_rectifier_unit
    assert not library.find("50C5").has_rectifier_unit


def test_the_heater_cathode_rating_is_the_lowest_of_the_makers():
    limit = library.find("12AU7").ratings["heater_cathode_volts"]
    assert (limit.value, limit.source, limit.verified) == (180, "philips-ecc82", True)
    assert "200" in limit.note


def test_a_figure_from_memory_says_so_and_is_not_called_verified():
    volts = library.find("6CU5").ratings["plate_volts"]
    assert not volts.verified
    assert volts.trust == "from memory"
    assert library.sources()[volts.source].obtained == "recalled"


def test_a_row_gives_its_figures_by_name():
    row = next(row for row in library.find("EL84").typical if "watts" in row)
    assert row["plate_volts"].unit == "V"
    assert row.get("gain") is None


@each("tube", TUBES)
def test_no_idle_row_runs_far_above_the_plate_rating(tube):
    """A slipped decimal shows here: class A tubes idle near their rating, not far above it."""
    for row in tube.typical:
        prefix = f"{row.unit}." if row.unit else ""
        rating = tube.ratings.get(f"{prefix}plate_watts")
        if rating and "plate_amps" in row and "plate_volts" in row:
            tubes = (
                2
                if "push-pull" in row.use and "each" not in row.note and "per tube" not in row.use
                else 1
            )
            watts = row["plate_volts"].value * row["plate_amps"].value / tubes
            assert watts <= 1.15 * rating.value, (row.use, watts, rating.value)


@each("tube", TUBES)
def test_mu_is_gm_times_rp_within_a_tenth(tube):
    for row in tube.typical:
        if all(name in row for name in ("mu", "gm_siemens", "rp_ohms")):
            assert row["gm_siemens"].value * row["rp_ohms"].value == pytest.approx(
                row["mu"].value, rel=0.1
            )


@given(st.sampled_from(TYPES), st.text(max_size=12))
def test_no_word_whatever_breaks_the_search_for_a_pin(type_name, word):
    pins = library.find(type_name).pins_of(word)
    assert set(pins) <= set(library.find(type_name).socket_pins)


def test_a_broken_tube_file_of_ones_own_is_told_with_every_circuit_that_has_tubes(
    tmp_path, monkeypatch
):
    from rework.language.resolve import read_circuit

    (tmp_path / "mine.toml").write_text('type = "9Z9"\n', encoding="utf-8")
    monkeypatch.setenv(library.OWN, str(tmp_path))
    library.reread()
    try:
        (told,) = library.broken()
        assert told.severity == "caution"
        assert told.place.file.endswith("mine.toml")
        assert "'base' is missing" in told.message
        circuit, problems = read_circuit(
            "V1 tube 12AU6 : 1=A, 2=A, 3=A, 4=A, 5=A, 6=A, 7=A\n", file="c"
        )
        assert circuit is not None
        assert problems == (told,)
        assert read_circuit("R1 resistor 1k : A -- B\nopen A, B\n", file="c")[1] == ()
    finally:
        library.reread()


def test_the_list_ends_with_how_many_types_are_known_and_how(capsys):
    assert main(["tubes"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    known, heaters = len(library.types()), len(library.types_without_basing())
    assert f"{known + heaters} types, the pins of {known} known:" in said
    assert "seen in print" in said
    assert "from memory" in said

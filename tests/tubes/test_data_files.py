"""The data files themselves: everything has a source, nothing has changed unseen, the index says
what is there.

After a wanted change ``pytest --update-golden tests/tubes`` writes the index and the sums anew;
read the diff.
"""

import difflib
import re
import tomllib

import pytest
from each import each

from rework.tubes import library
from rework.tubes.figure import GRADES, unit_of
from rework.tubes.library import DATA
from rework.tubes.tubefile import read_type

NO_TYPE = ("heaters.toml", "index.toml", "sources.toml")
FILES = sorted(path.name for path in DATA.glob("*.toml") if path.name not in NO_TYPE)


def parsed(name):
    return tomllib.loads((DATA / name).read_text())


def numbers(value):
    """Every number in a parsed file, in file order."""
    if isinstance(value, dict):
        value = list(value.values())
    if isinstance(value, list):
        return [number for entry in value for number in numbers(entry)]
    return [value] if isinstance(value, int | float) and not isinstance(value, bool) else []


def citations(value):
    if isinstance(value, list):
        return [found for entry in value for found in citations(entry)]
    if not isinstance(value, dict):
        return []
    own = [value["source"]] if isinstance(value.get("source"), str) else []
    return own + [found for entry in value.values() for found in citations(entry)]


def index_text():
    """What index.toml must say, from the files."""
    tables = {name: parsed(name) for name in FILES}
    own = [
        f'"{table["type"]}" = "{name}"'
        for name, table in sorted(tables.items(), key=lambda one: one[1]["type"])
    ]
    also = sorted(
        f'"{alias}" = "{name}"'
        for name, table in tables.items()
        for alias in table.get("aliases", ())
    )
    return "\n".join(
        [
            "# Written by pytest --update-golden tests/tubes.",
            "[type]",
            *own,
            "",
            "[alias]",
            *also,
            "",
        ]
    )


def sums_text():
    """One line a file: its numbers counted and summed, its pins, its rows."""
    lines = []
    for name in FILES:
        table = parsed(name)
        found = numbers(table)
        pins = " ".join(
            f"{pin}={on if isinstance(on, str) else '+'.join(on)}"
            for pin, on in table["pins"].items()
        )
        rows = " ".join(
            f"{kind}={len(table.get(kind, ()))}"
            for kind in ("typical", "stage", "curve", "relative", "lookalike")
        )
        lines.append(
            f"{name}: {len(found)} numbers, sum {sum(found):.9g}, sum of squares "
            f"{sum(number * number for number in found):.9g}; {rows}; {pins}"
        )
    return "\n".join([*lines, ""])


def test_the_index_names_what_is_there(request):
    wanted = index_text()
    if request.config.getoption("--update-golden"):
        (DATA / "index.toml").write_text(wanted)
    kept = (DATA / "index.toml").read_text()
    change = "\n".join(
        difflib.unified_diff(
            kept.splitlines(), wanted.splitlines(), "index.toml", "the files", lineterm=""
        )
    )
    assert not change, change


def test_no_figure_has_changed_unseen(golden):
    golden("tubes-sums.txt", sums_text())


def test_there_are_tubes_enough_to_work_with():
    assert len(library.types()) >= 60


@each("name", FILES)
def test_every_file_reads(name):
    tube = library.find(parsed(name)["type"])
    assert tube is not None
    assert tube.heater.volts.value > 0


def test_every_source_cited_is_listed_and_every_source_listed_is_cited():
    cited = {source for name in (*FILES, "heaters.toml") for source in citations(parsed(name))}
    assert cited == set(library.sources())


def test_every_source_says_what_it_is_and_how_it_was_come_by():
    for source in library.sources().values():
        assert source.title, source.id
        assert source.obtained, source.id


def test_every_source_names_a_print_or_the_page_of_a_person():
    """A model file made for another kind of program is no source, whatever print it names."""
    for source in library.sources().values():
        assert source.id == "memory" or source.address or source.page, source.id
    assert {"rc19", "syl-6av6"}.isdisjoint(library.sources())


def test_names_and_aliases_are_each_used_once():
    names = [
        name.upper()
        for file in FILES
        for name in (parsed(file)["type"], *parsed(file).get("aliases", ()))
    ]
    names += [
        name.upper()
        for known in library.types_without_basing()
        for name in (known.type, *known.aliases)
    ]
    assert sorted(names) == sorted(set(names))


@each("name", FILES)
def test_a_printed_source_is_never_called_memory(name):
    def walk(value):
        if isinstance(value, list):
            for entry in value:
                walk(entry)
        elif isinstance(value, dict):
            if "source" in value:
                assert value["grade"] in GRADES
                recalled = value["grade"] in ("memory", "estimated")
                assert (value["source"] == "memory") == recalled, value
            for entry in value.values():
                walk(entry)

    walk(parsed(name))


@each("name", FILES)
def test_every_column_of_a_curve_carries_its_unit(name):
    for curve in library.find(parsed(name)["type"]).curves:
        for column in curve.columns:
            unit_of(column)
        assert {len(point) for point in curve.points} == {len(curve.columns)}


@each("name", FILES)
def test_a_row_cites_a_sheet_of_its_own_type_or_of_a_relative(name):
    tube = library.find(parsed(name)["type"])
    family = {tube.type, *(kin.type for kin in tube.relatives)}
    for row in (*tube.typical, *tube.stages, *tube.curves):
        sheet = library.find(row.source.rpartition("-")[2])
        assert sheet is None or sheet.type in family, row.source


@each("name", FILES)
def test_no_stage_stands_twice(name):
    stages = [
        (
            row.source,
            *sorted(
                (key, row[key].value)
                for key in row
                if key.endswith("_ohms") or key == "supply_volts"
            ),
        )
        for row in library.find(parsed(name)["type"]).stages
    ]
    assert len(stages) == len(set(stages))


BLANKS = {
    "heater": ("heater", "source", ""),
    "basing": ("base", "source", ""),
    "ratings": ("ratings", "source", " "),
    "grade": ("heater", "grade", "sure"),
}


@each("what", BLANKS)
def test_a_file_with_a_blank_source_or_an_unknown_grade_is_refused(what):
    table = parsed("50c5.toml")
    section, key, value = BLANKS[what]
    table[section][key] = value
    with pytest.raises(ValueError, match=r"no source|grade"):
        read_type(table, "50c5.toml")


def test_a_row_without_a_source_is_refused_by_name():
    table = parsed("50c5.toml")
    del table["typical"][0]["source"]
    with pytest.raises(ValueError, match=re.escape("50c5.toml, typical 1")):
        read_type(table, "50c5.toml")


def test_a_heater_way_on_a_plate_pin_is_refused():
    table = parsed("12ax7.toml")
    table["heater"]["way"][1]["between"] = [["4", "5"], ["6"]]
    with pytest.raises(ValueError, match="not all heater pins"):
        read_type(table, "12ax7.toml")


def test_a_misspelt_element_is_refused():
    table = parsed("50c5.toml")
    table["pins"]["7"] = "plait"
    with pytest.raises(ValueError, match="pin 7 carries 'plait'"):
        read_type(table, "50c5.toml")


def test_a_type_without_a_basing_has_a_heater_in_the_order_of_its_letters():
    """U is 0.1 A, P 0.3 A and E 6.3 V by the code of European types."""
    for known in library.types_without_basing():
        volts, amps = known.volts.value, known.amps.value
        assert known.volts.source in library.sources()
        expected = {"U": amps == 0.1, "P": amps == 0.3, "E": volts == 6.3}
        assert expected.get(known.type[0], True), known.type

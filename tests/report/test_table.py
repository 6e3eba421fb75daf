"""One table for terminal, page, paper and spreadsheet."""

from __future__ import annotations

import csv
import io

import pytest

from rework.report.cells import Amount, ShownFigure, band, shown, volts
from rework.report.table import Column, Table, markdown, spreadsheet, text, values, written
from rework.report.terminal import table as aligned

VOLTS = Table(
    "volts",
    "Volts",
    "Against common.",
    (
        Column("tube", "name"),
        Column("plate", "figure", unit="V"),
        Column("current", "figure", unit="mA"),
        Column("read", "blank"),
        Column("done", "tick"),
    ),
    (("V1", 241.4, 1234.5, "", ""), ("V2", 24.14, None, "", ""), ("V3", -7.5196, 0.0, "", "")),
    parts=("V1", "V2", "V3"),
    marks=("", "bad", ""),
)


def test_amounts_are_written_once_and_the_unit_stands_in_the_heading():
    plain = written(VOLTS)
    assert [column.heading for column in plain.columns[:3]] == ["tube", "plate, V", "current, mA"]
    assert [row[1:3] for row in plain.rows] == [("241", "1,230"), ("24.1", "–"), ("-7.52", "0")]


def test_the_terminal_has_no_blanks_to_write_in(monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    assert text(VOLTS).splitlines() == [
        "Volts",
        "Against common.",
        "tube  plate, V  current, mA",
        "V1         241        1,230",
        "V2        24.1            –",
        "V3       -7.52            0",
    ]


def test_the_page_gets_texts_with_the_part_and_mark_of_each_row():
    plain = values(VOLTS)
    assert plain["columns"] == ["tube", "plate, V", "current, mA", "read"]
    assert plain["rows"][1] == ["V2", "24.1", "–", ""]
    assert (plain["parts"][1], plain["marks"][1]) == ("V2", "bad")


def test_a_spreadsheet_gets_one_number_a_cell():
    rows = list(csv.reader(io.StringIO(spreadsheet(VOLTS).decode())))
    assert rows[0] == ["tube", "plate, V", "current, mA", "read"]
    assert [float(cell) for cell in rows[1][1:3]] == [241.4, 1234.5]
    assert rows[2][2] == ""


def test_markdown_has_a_line_to_write_on():
    assert "| **V1** | 241 | 1,230 | ______ | ☐ |" in markdown(VOLTS)


@pytest.mark.parametrize("columns", [80, 100])
def test_no_table_is_wider_than_the_terminal(columns, monkeypatch):
    monkeypatch.setenv("COLUMNS", str(columns))
    long = "a sentence that goes on for much longer than any terminal is wide, word after word"
    table = Table("t", "", "", (Column("a"), Column("b"), Column("c")), ((long, "x", long),))
    lines = text(table).splitlines()
    assert max(map(len, lines)) <= columns
    assert " ".join(" ".join(lines[1:]).split()).count("word") == 4


def test_words_are_never_broken_and_styles_take_no_room():
    name = "SUPPLY/A-VERY-LONG-NODE-NAME-OF-FORTY-LETTERS"
    assert name in aligned([("x", name), ("y", "z")], width=30)
    assert aligned([("\x1b[31;1mV1\x1b[0m", "a"), ("V10", "b")]).splitlines()[1] == "V10  b"


def test_a_row_without_a_cell_a_column_is_refused():
    with pytest.raises(ValueError, match="columns"):
        Table("t", "", "", (Column("a"), Column("b")), (("one",),))


def test_a_spreadsheet_has_one_number_a_cell_and_its_unit_in_the_heading():
    table = Table(
        "levels",
        "Levels",
        "",
        (
            Column("Where", "name"),
            Column("DC", "figure"),
            Column("Band", "figure"),
            Column("Read, V"),
        ),
        (
            ("V1 pin 5", volts(61.44), band(55.04, 66.4), ""),
            ("V2 pin 1", volts(-0.0421), "", ""),
            ("P1 to chassis", "open", "", ""),
            (
                "R11",
                ShownFigure("37% of 12 W", Amount(37.04, "%"), Amount(12, "W", "limit")),
                "",
                "",
            ),
        ),
    )
    assert spreadsheet(table).decode().splitlines() == [
        'where,"dc, V","dc, %","dc limit, W","band from, V","band to, V","read, V"',
        "V1 pin 5,61.44,,,55.04,66.4,",
        "V2 pin 1,-0.0421,,,,,",
        "P1 to chassis,open,,,,,",
        "R11,,37.04,12.0,,,",
    ]


def test_a_turned_table_is_read_by_columns_and_kept_by_rows():
    table = Table(
        "ways",
        "Ways",
        "",
        (Column("way", "name"), Column("B+"), Column("price")),
        (("leave it", shown(123.4, "V"), "0"), ("new supply", shown(192.2, "V"), "88.80")),
        turned=True,
    )
    assert text(table).splitlines() == [
        "Ways",
        "way    leave it  new supply",
        "B+     123 V     192 V",
        "price  0         88.80",
    ]
    assert values(table)["rows"][0] == ["B+", "123 V", "192 V"]
    assert spreadsheet(table).decode().splitlines() == [
        'way,"b+, V",price',
        "leave it,123.4,0",
        "new supply,192.2,88.80",
    ]

"""What a command says as values: one story for terminal and page."""

from __future__ import annotations

from rework.report.story import Headline, lines, story_text, story_values
from rework.report.table import Column, Table

TABLE = Table("needs", "", "", (Column("need", "name"), Column("amount")), (("B+", "197 V"),))


def test_a_story_is_set_with_an_empty_line_before_headings_and_tables(monkeypatch):
    monkeypatch.setenv("COLUMNS", "60")
    story = (
        Headline("V1 12BA6", ": stays"),
        *lines("A sentence.", ["Another one."]),
        TABLE,
        *lines("1. 6BA6: " + "long " * 12, " fit R11", look="list"),
        Headline("Verdict"),
        TABLE,
    )
    assert story_text(story).splitlines() == [
        "V1 12BA6: stays",
        "A sentence.",
        "Another one.",
        "",
        "need  amount",
        "B+    197 V",
        "  1. 6BA6: long long long long long long long long long long",
        "    long long",
        "     fit R11",
        "",
        "Verdict",
        "need  amount",
        "B+    197 V",
    ]


def test_the_page_gets_tables_as_they_are():
    assert lines([]) == ()
    assert story_values((Headline("Verdict"), *lines("Fine.", look="good"), TABLE)) == [
        {"heading": "Verdict", "more": ""},
        {"lines": ["Fine."], "look": "good"},
        {"table": TABLE},
    ]

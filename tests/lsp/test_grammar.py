"""The TextMate grammar that ``rework lsp --textmate`` prints, and the server without its library."""

from __future__ import annotations

import json
import re
import sys

import pytest

from rework.circuit.kinds import KINDS
from rework.cli import main
from rework.lsp.scan import KEYWORDS
from rework.lsp.textmate import grammar


@pytest.fixture(scope="module")
def rows() -> dict[str, re.Pattern[str]]:
    patterns = json.loads(grammar())["patterns"]
    return {row["name"].removesuffix(".rework"): re.compile(row["match"]) for row in patterns}


def test_it_is_printed(capsys):
    assert main(["lsp", "--textmate"]) == 0
    assert json.loads(capsys.readouterr().out)["fileTypes"] == ["circuit", "job", "rule"]


def test_every_kind_and_statement_is_in_it(rows):
    for kind in KINDS.values():
        assert rows["storage.type"].search(kind.example), kind.example
    for words in KEYWORDS.values():
        for word in words:
            assert rows["keyword.control"].match(f"{word} x"), word


def test_values_texts_and_remarks_are_told_apart(rows):
    line = 'R3  resistor carbon 220k 1/2 W 10% : B2 -- P1  "plate load"  # 47k in print'
    assert [match.group() for match in rows["constant.numeric"].finditer(line)][:3] == [
        "220k",
        "1/2 W",
        "10%",
    ]
    assert rows["string.quoted.double"].search(line).group() == '"plate load"'
    assert rows["comment.line.number-sign"].search(line).group() == "# 47k in print"
    assert rows["comment.line.number-sign"].search("PL1 lamp #47 : A -- B") is None


def test_without_its_library_the_server_says_what_to_install(monkeypatch, capsys):
    monkeypatch.setitem(sys.modules, "pygls.lsp.server", None)
    monkeypatch.delitem(sys.modules, "rework.lsp.server", raising=False)
    assert main(["lsp"]) == 2
    assert "pip install" in capsys.readouterr().err

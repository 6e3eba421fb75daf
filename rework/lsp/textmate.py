"""A TextMate grammar of the files, made from the tables and the terminals that the program reads
them with.
"""

from __future__ import annotations

import json
import re

from rework.circuit.kinds import KINDS
from rework.language.leading_words import ROLES, SETTINGS
from rework.language.spellings import KIND_NAMES
from rework.language.syntax import circuit_parser
from rework.lsp.scan import KEYWORDS, FileKind
from rework.rules.syntax import rule_parser
from rework.rules.verbs import MEANS


def grammar() -> str:
    """Return the grammar as JSON, for any editor that reads TextMate grammars."""
    keywords = sorted({word for words in KEYWORDS.values() for word in words} | {"unused"})
    rows = [
        ("comment.line.number-sign", r"(?:^|(?<=\s))#(?![0-9]).*$"),
        ("string.quoted.double", _terminal("STRING")),
        ("keyword.control", rf"^\s*(?:{_any([*keywords, *MEANS])})\b"),
        ("entity.name.function", r"(?<=^apply\s)\s*[\w-]+"),
        (
            "variable.parameter",
            f"{_terminal('VARIABLE', rule=True)}|{_terminal('PARAMETER', rule=True)}",
        ),
        ("entity.name.type", r"^\s*[A-Za-z][\w+/-]*(?=\s+[a-z][\w -]*[^:]*:)"),
        ("storage.type", rf"(?<=\s)(?:{_any([*KINDS, *KIND_NAMES])})(?=\s|:)"),
        (
            "keyword.other",
            rf"(?<=\s)(?:{_any([*SETTINGS, *ROLES, 'unused', 'as', 'each', 'one'])})(?=\s)",
        ),
        (
            "support.constant",
            rf"(?<=\s)(?:{_any(sorted({w for k in KINDS.values() for w in k.words}))})(?=\s|:|$)",
        ),
        ("constant.numeric", _terminal("VALUE")),
        ("entity.name.tag", r"[\w+.-]+(?=\s*=(?!=))"),
        ("keyword.operator", r"--|[=:,|]"),
    ]
    return (
        json.dumps(
            {
                "name": "Rework",
                "scopeName": "source.rework",
                "fileTypes": [kind.value for kind in FileKind],
                "patterns": [{"name": f"{name}.rework", "match": match} for name, match in rows],
            },
            indent=2,
            ensure_ascii=False,
        )
        + "\n"
    )


def _any(words: list[str]) -> str:
    """Return what matches one of some words, the longest first."""
    return "|".join(
        re.escape(word) for word in sorted(dict.fromkeys(words), key=lambda w: (-len(w), w))
    )


def _terminal(name: str, *, rule: bool = False) -> str:
    """Return the shape of a terminal of the grammar."""
    parser = rule_parser() if rule else circuit_parser()
    return next(
        str(terminal.pattern.to_regexp()) for terminal in parser.terminals if terminal.name == name
    )

"""``rework kinds``: the kinds of part a file can state, or what one may have, with an example."""

from __future__ import annotations

import argparse
from collections.abc import Iterable

from rework.circuit.kinds import KINDS, WINDING_NAMES, Form, Kind
from rework.circuit.place import Problem
from rework.circuit.taps import ROLE
from rework.commands.arguments import takes_json
from rework.language.files import Refusal
from rework.language.leading_words import roles_of
from rework.language.mistakes import nearest
from rework.language.nouns import noun_in
from rework.language.spellings import KIND_NAMES
from rework.language.units import EXAMPLES
from rework.report.terminal import columns_wide, fitted, styled, table

EXAMPLE = "rework kinds transformer"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments to its parser."""
    parser.add_argument(
        "kind", nargs="*", help="a kind of part, or another name for it; without it all are listed"
    )
    takes_json(parser)


def run(asked: argparse.Namespace) -> int:
    """Print what was asked for, from the table of kinds."""
    kinds = [_asked(asked.kind)] if asked.kind else list(KINDS.values())
    if asked.json:
        from rework.commands.answers.change import kind_answer
        from rework.commands.answers.shape import json_text

        print(json_text([kind_answer(kind, tuple(other_names(kind))) for kind in kinds]))
    elif asked.kind:
        print(fitted(manual(kinds[0])))
    else:
        print(table([(kind.name, kind.says) for kind in kinds], width=columns_wide()))
    return 0


def _asked(words: list[str]) -> Kind:
    text = " ".join(words)
    noun = noun_in(tuple(text.split()))
    if noun is not None and noun.end == len(text.split()):
        return KINDS[noun.kind]
    near = nearest(text.lower(), (*KINDS, *KIND_NAMES))
    raise Refusal(
        Problem(
            f"there is no kind of part called {text}",
            expected="one of " + ", ".join(sorted(KINDS)),
            hint=f"did you mean rework kinds {near}?" if near else "rework kinds lists them all",
        )
    )


def manual(kind: Kind) -> str:
    """Return all that a part of a kind may have, and one line of a file."""
    rows = [
        ("terminals", _terminals(kind)),
        ("also", ", ".join(kind.optional)),
        ("values", "; ".join(EXAMPLES[dimension] for dimension in kind.dimensions)),
        (
            "before a value",
            ", ".join(sorted({*roles_of(kind), *{ROLE}.intersection(kind.optional)})),
        ),
        ("words", ", ".join(sorted(kind.words))),
        ("with a word after", ", ".join(_settings(kind))),
        ("also called", ", ".join(other_names(kind))),
        ("within reach", ", ".join(kind.touched)),
    ]
    shown = [(styled(label, "dim"), text) for label, text in rows if text]
    return "\n".join(
        [
            styled(kind.name, "bold"),
            f"{kind.says[0].upper()}{kind.says[1:]}.",
            "",
            table(shown, width=columns_wide()),
            "",
            f"  {kind.example}",
        ]
    )


def _terminals(kind: Kind) -> str:
    match kind.form:
        case Form.TWO if kind.polar:
            return f"A -- B, the first is {kind.terminals[0]}, the second {kind.terminals[1]}"
        case Form.TWO:
            return "A -- B"
        case Form.ONE:
            return "one node"
        case Form.WINDINGS:
            names = ("winding",) if kind.name == "autotransformer" else WINDING_NAMES
            return "NAME = A -- B a winding, taps between; names begin with " + ", ".join(names)
        case Form.CORES:
            return "NAME = A -- B a core, shield = A"
        case Form.POLES:
            coil = "".join(f"{terminal}=NODE, " for terminal in kind.terminals)
            return f"{coil}pole -- throw1 -- throw2 and so on, one chain a pole"
        case Form.PINS:
            wanted = ", ".join(f"{terminal}=NODE" for terminal in kind.terminals)
            return wanted or "PIN=NODE, the pins by number or name"


def _settings(kind: Kind) -> Iterable[str]:
    for word in sorted(kind.settings):
        yield f"class {'|'.join(kind.classes)}" if word == "class" else word


def other_names(kind: Kind) -> Iterable[str]:
    """Return the other names of a kind."""
    return sorted(other for other, (name, _) in KIND_NAMES.items() if name == kind.name)

"""Answers as JSON text, and the JSON Schema of each command's answer, both by msgspec."""

from __future__ import annotations

import importlib
import inspect
from collections.abc import Mapping
from dataclasses import fields
from typing import Any, Generic, TypeVar

import msgspec

Side = TypeVar("Side")
Shape = TypeVar("Shape")

#: Command, the module of this room that has its types, and their names: the answer is one of them.
SHAPES = {
    "summary": ("summary", ("Summed", "Sides[Summed]")),
    "check": ("check", ("Check", "Sides[Check]")),
    "touch": ("current", ("Touches", "Sides[Touches]")),
    "faults": ("current", ("Faults", "Sides[Faults]")),
    "volts": ("numbers", ("Sides[Volts]",)),
    "ohms": ("numbers", ("Sides[tuple[OhmsReading, ...]]",)),
    "signal": ("numbers", ("Sides[ResponseAnswer]",)),
    "fit-tube": ("numbers", ("dict[str, tuple[FitAnswer, ...]]",)),
    "apply": ("change", ("AppliedAnswer",)),
    "diff": ("change", ("Changes",)),
    "compare": ("wired", ("WiredSet",)),
    "kinds": ("change", ("tuple[KindCard, ...]",)),
    "rules": ("change", ("RuleCard", "tuple[RuleCard, ...]", "tuple[PhraseAnswer, ...]")),
    "tubes": ("tubes", ("TubeCard", "tuple[TubeLine, ...]")),
    "relatives": ("tubes", ("Relatives", "Exchanges")),
    "supply": ("supply", ("Designed", "IsolatingAnswer")),
    "options": ("supply", ("Compared",)),
    "trouble": ("trouble", ("Told",)),
}


class Sides(msgspec.Struct, Generic[Side], omit_defaults=True):
    """Of a circuit ``circuit``, of a job ``before`` and ``after``; ``unsolved`` says by the same
    names why a side has no numbers.
    """

    circuit: Side | None = None
    before: Side | None = None
    after: Side | None = None
    unsolved: dict[str, tuple[Trouble, ...]] = {}


class Trouble(msgspec.Struct):
    """A problem, with its place in a file."""

    message: str
    file: str
    line: int
    column: int
    end: int
    text: str
    expected: str
    hint: str
    severity: str


class RefusalAnswer(msgspec.Struct):
    """What every command answers where it could not do what was asked; the exit status is 2."""

    problems: tuple[Trouble, ...]


def of_sides(answers: Mapping[str, Side]) -> Side | Sides[Side]:
    """Return the answer of a circuit itself, or those of a job by side."""
    if "circuit" in answers:
        return answers["circuit"]
    return Sides(before=answers["before"], after=answers["after"])


def json_text(answer: object) -> str:
    """Return an answer as JSON, indented."""
    return msgspec.json.format(msgspec.json.encode(answer, enc_hook=_number), indent=2).decode()


def _number(value: Any) -> Any:  # noqa: ANN401  a scalar of numpy, as a number of Python
    """Return a scalar of numpy as a plain number.

    Raises NotImplementedError for anything else.
    """
    if hasattr(value, "item"):
        return value.item()
    raise NotImplementedError(f"{type(value).__name__} is not part of an answer")


def plain(answer: object) -> Any:  # noqa: ANN401  JSON has no narrower type
    """Return an answer as lists, dicts, texts and numbers."""
    return msgspec.to_builtins(answer, enc_hook=_number)


def shaped(value: object, shape: type[Shape]) -> Shape:
    """Return a result in the shape of an answer: each field is the attribute, or the key, of that
    name.

    Raises msgspec.ValidationError where one is missing or of another type.
    """
    return msgspec.convert(value, shape, from_attributes=True)


def extended(value: Any, shape: type[Shape], **more: object) -> Shape:  # noqa: ANN401  any dataclass
    """Return a dataclass as one that has more fields."""
    return shape(**{field.name: getattr(value, field.name) for field in fields(value)}, **more)


def _plain(part: dict[str, Any]) -> dict[str, Any]:
    """Return a definition without indentation in its description, in which releases differ."""
    if "description" not in part:
        return part
    return part | {"description": inspect.cleandoc(part["description"])}


def schema(command: str) -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of what a command prints with ``--json``."""
    module, names = SHAPES[command]
    room = importlib.import_module(f"rework.commands.answers.{module}")
    types = [eval(name, vars(room)) for name in names]
    answers, parts = msgspec.json.schema_components(
        [*types, RefusalAnswer], ref_template="#/$defs/{name}"
    )
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": f"rework {command} --json",
        "anyOf": list(answers),
        "$defs": {name: _plain(part) for name, part in sorted(parts.items())},
    }

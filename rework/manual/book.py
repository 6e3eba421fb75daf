"""The topics of the manual, and their pages with every table filled in."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from rework.manual.blocks import Block, Heading, Insert, read_blocks
from rework.manual.tables import TABLES

_TEXT = Path(__file__).with_name("text")


@dataclass(frozen=True, slots=True)
class Topic:
    """A topic: the word it is asked by, and what its page is about."""

    name: str
    about: str


TOPICS = (
    Topic("first-set", "a first job in ten steps, from an open cabinet to the checked job"),
    Topic("language", "how a circuit file is written"),
    Topic("kinds", "the kinds of part, with terminals, values and words"),
    Topic("values", "values, units and multipliers"),
    Topic("tubes", "the tube library, basing, and types that are not in it"),
    Topic("rules", "the rework rules, and how to write one"),
    Topic("jobs", "the job file"),
    Topic("shelf", "the stock list that supplies are designed from"),
    Topic("readings", "meter readings, and what they are held against"),
    Topic("compare", "the set as it was wired, held against the plan"),
    Topic("papers", "the papers of a job"),
    Topic("commands", "every command with an example"),
    Topic("exit-statuses", "exit statuses"),
    Topic("json", "answers for a machine"),
    Topic("messages", "every message, and what to do about it"),
)


def topic(name: str) -> Topic | None:
    """Return the topic of that name, None where there is none."""
    return next((entry for entry in TOPICS if entry.name == name), None)


def source(name: str) -> str:
    """Return the text of a topic as it is kept, with the places of tables."""
    return (_TEXT / f"{name}.md").read_text(encoding="utf-8")


@cache
def page(name: str) -> tuple[Block, ...]:
    """Return the blocks of a topic, each table in its place.

    Raises KeyError where a page asks for a table that there is not.
    """
    blocks = read_blocks(source(name))
    return tuple(TABLES[block.name]() if isinstance(block, Insert) else block for block in blocks)


def title(name: str) -> str:
    """Return the heading of a page."""
    return next(block.text for block in page(name) if isinstance(block, Heading))


def files() -> Iterator[Path]:
    """Yield the files that the lesson works on: the netlist and the stock list."""
    yield from sorted((_TEXT / "first-set").iterdir())

"""What a command says, as values: headings, lines and tables in order, the same for terminal and
page.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal

from rework.report.table import Table, text
from rework.report.terminal import printable, styled, wrapped

#: How lines are set: sentences one after another, a list, a verdict, a warning.
LineLook = Literal["", "list", "good", "bad", "close"]
_STYLES = {"good": "green", "bad": "red", "close": "yellow"}
#: The lists are set in.
_SET_IN: tuple[LineLook, ...] = ("list", "close")


@dataclass(frozen=True, slots=True)
class Headline:
    """A heading, and what follows it in the same line."""

    words: str
    more: str = ""


@dataclass(frozen=True, slots=True)
class Lines:
    """Sentences, a line each; one that begins with spaces belongs to the line before it."""

    lines: tuple[str, ...]
    look: LineLook = ""


Block = Headline | Lines | Table
Story = tuple[Block, ...]


def lines(*sentences: str | Iterable[str], look: LineLook = "") -> tuple[Lines, ...]:
    """Return one block of sentences; no block where there are none."""
    flat: list[str] = []
    for sentence in sentences:
        flat += [sentence] if isinstance(sentence, str) else sentence
    return (Lines(tuple(flat), look),) if flat else ()


def story_text(story: Story) -> str:
    """Return a story for a terminal, no line wider than it: an empty line before each heading."""
    out: list[str] = []
    for number, block in enumerate(story):
        match block:
            case Headline(words, more):
                out += [""] if number else []
                out.append(_headed(words, more))
            case Lines(sentences, look):
                out += [_line(sentence, look) for sentence in sentences]
            case Table():
                headed = number and isinstance(story[number - 1], Headline) and not block.title
                out += [text(block)] if headed or not out else ["", text(block)]
    return "\n".join(out)


def _headed(words: str, more: str) -> str:
    whole = wrapped(printable(words + more))
    start = printable(words)
    return styled(start, "bold") + whole[len(start) :] if whole.startswith(start) else whole


def _line(sentence: str, look: LineLook) -> str:
    plain = printable(sentence.lstrip(" "))
    deeper = "   " if sentence.startswith(" ") else ""
    set_in = wrapped(plain, ("  " if look in _SET_IN else "") + deeper)
    return styled(set_in, _STYLES[look]) if look in _STYLES else set_in


def story_values(story: Story) -> list[dict[str, Any]]:
    """Return a story as plain values for the page, its tables as they are: ``heading`` with
    ``more``, ``lines`` with ``look``, or ``table``.
    """
    out: list[dict[str, Any]] = []
    for block in story:
        match block:
            case Headline(words, more):
                out.append({"heading": words, "more": more})
            case Lines(sentences, look):
                out.append({"lines": list(sentences), "look": look})
            case Table():
                out.append({"table": block})
    return out

"""What a terminal can show: columns, styles, letters it has, a progress bar."""

from __future__ import annotations

import codecs
import os
import re
import shutil
import sys
import textwrap
import unicodedata
from collections.abc import Sequence
from typing import Any, TextIO

#: What stands for a letter that the terminal has not.
_PLAIN = {
    "µ": "u",
    "μ": "u",
    "Ω": "ohm",
    "…": "...",
    "–": "-",
    "—": "-",
    "−": "-",
    "±": "+-",
    "×": "x",
    "→": "->",
    "²": "2",
    "°": "deg",
    "·": ".",
    "“": "'",
    "”": "'",
    "‘": "'",
    "’": "'",
    "\N{REPLACEMENT CHARACTER}": "?",
}
_STYLES = {"bold": "1", "red": "31;1", "yellow": "33;1", "green": "32;1", "dim": "2"}


def tolerate_any_letter() -> None:
    """Let the terminal's streams write what their encoding has no letter for: as a plain one, else
    as its number, valid in JSON too.
    """
    codecs.register_error("rework", _in_plain_letters)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="rework")


def _in_plain_letters(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    missing = error.object[error.start : error.end]
    units = (letter.encode("utf-16-be", "surrogatepass").hex() for letter in missing)
    numbers = (
        "".join(rf"\u{code[at : at + 4]}" for at in range(0, len(code), 4)) for code in units
    )
    return (
        "".join(
            _PLAIN.get(letter, number) for letter, number in zip(missing, numbers, strict=True)
        ),
        error.end,
    )


def styled(text: str, style: str, *, stream: TextIO | None = None) -> str:
    """Return text in a terminal style; plain off a terminal or where NO_COLOR is set."""
    stream = stream or sys.stdout
    if os.environ.get("NO_COLOR") or not getattr(stream, "isatty", lambda: False)():
        return text
    return f"\x1b[{_STYLES[style]}m{text}\x1b[0m"


def width(text: str) -> int:
    """Return how many columns a text takes: combining letters none, wide ones two."""
    return sum(
        (
            0
            if unicodedata.combining(letter)
            else 2
            if unicodedata.east_asian_width(letter) in "WF"
            else 1
        )
        for letter in text
    )


def printable(text: str) -> str:
    """Return text of one line without anything that would steer a terminal or break the line."""
    return (
        text
        if text.isprintable()
        else "".join(
            letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in text
        )
    )


#: The cells of one row of a table.
Line = Sequence[str]
#: Columns that output is set to where the terminal does not say how many it has, and at most.
WIDEST = 100
#: A column is not made narrower than this, unless its words are shorter.
_NARROWEST = 12
_WORD = re.compile(r"[-<]?[0-9.,]+ [A-Za-zµ°%]{1,4}(?![A-Za-z])|\S+")
_STYLE = re.compile("\x1b\\[[0-9;]*m")


def columns_wide() -> int:
    """Return the columns to set output to: the terminal's or COLUMNS, at most a hundred."""
    return max(40, min(shutil.get_terminal_size((WIDEST, 24)).columns, WIDEST))


def wrapped(text: str, indent: str = "") -> str:
    """Return running text in lines no wider than the terminal; lines after the first are set in."""
    return textwrap.fill(
        text,
        columns_wide(),
        initial_indent=indent,
        subsequent_indent=indent + ("  " if indent else ""),
        break_long_words=False,
        break_on_hyphens=False,
    )


def listed(title: str, sentences: Sequence[str], style: str = "") -> str:
    """Return sentences under a title, each wrapped; nothing where there are none."""
    if not sentences:
        return ""
    lines = [wrapped(printable(sentence), "  ") for sentence in sentences]
    return "\n".join([title, *(styled(line, style) if style else line for line in lines)])


def fitted(text: str) -> str:
    """Return text with every line that is wider than the terminal wrapped and set in."""
    wide = columns_wide()
    return "\n".join(line if _shown(line) <= wide else _set_in(line) for line in text.splitlines())


def _set_in(line: str) -> str:
    words = line.lstrip()
    return wrapped(words, line[: len(line) - len(words)])


def table(
    rows: Sequence[Line],
    *,
    gap: str = "  ",
    width: int | None = None,
    right: frozenset[int] = frozenset(),
) -> str:
    """Return rows of cells as aligned columns.

    Where they are wider than ``width`` (the terminal's if none is given) the widest columns get
    narrower and their words wrap; where that is not enough, columns are one space apart.
    ``right`` are the columns set to the right, as figures are.
    """
    if not rows:
        return ""
    count = max(map(len, rows))
    widths = [
        max((_shown(row[column]) for row in rows if column < len(row)), default=0)
        for column in range(count)
    ]
    room = columns_wide() if width is None else width
    whole = widths
    widths = _narrowed(rows, whole, room - len(gap) * (count - 1))
    if sum(widths) + len(gap) * (count - 1) > room:
        gap = " "
        widths = _narrowed(rows, whole, room - (count - 1))
    lines = []
    for row in rows:
        cells = [_folded(cell, widths[at]) for at, cell in enumerate(row)]
        for number in range(max(map(len, cells), default=1)):
            parts = []
            for at, cell in enumerate(cells):
                piece = cell[number] if number < len(cell) else ""
                space = " " * (widths[at] - _shown(piece))
                parts.append(space + piece if at in right else piece + space)
            lines.append(gap.join(parts).rstrip())
    return "\n".join(lines)


def _shown(cell: str) -> int:
    """Return the columns a cell takes, styles not counted."""
    return width(_STYLE.sub("", cell)) if "\x1b" in cell else width(cell)


def _narrowed(rows: Sequence[Line], widths: list[int], room: int) -> list[int]:
    """Return widths that fit ``room`` where words allow it: always the widest column gives way,
    first down to the narrowest that reads well, then down to its longest word.
    """
    longest = [
        max((_longest_word(row[column]) for row in rows if column < len(row)), default=0)
        for column in range(len(widths))
    ]
    narrowed = list(widths)
    for narrowest in (_NARROWEST, 0):
        least = [
            min(wide, max(narrowest, word)) for wide, word in zip(widths, longest, strict=True)
        ]
        while sum(narrowed) > room:
            can = [at for at in range(len(widths)) if narrowed[at] > least[at]]
            if not can:
                break
            narrowed[max(can, key=lambda at: narrowed[at])] -= 1
    return narrowed


def _longest_word(cell: str) -> int:
    """Return the columns of the longest word; a figure and its unit are one."""
    return max((_shown(word[0]) for word in _WORD.finditer(cell)), default=0)


def _folded(cell: str, room: int) -> list[str]:
    """Return a cell as lines of at most ``room`` columns, broken between words."""
    if _shown(cell) <= room:
        return [cell]
    if "\x1b" in cell:
        style, words = _STYLE.findall(cell)[0], _STYLE.sub("", cell)
        return [f"{style}{line}\x1b[0m" for line in _folded(words, room)]
    return textwrap.wrap(cell, room, break_long_words=False, break_on_hyphens=False) or [""]


def progress(label: str, total: int) -> Any:  # noqa: ANN401  tqdm ships no types
    """Return a bar on stderr with ``update(n)`` and ``close()``, also a context manager; silent
    before two seconds and off a terminal.
    """
    from tqdm import tqdm

    return tqdm(
        total=total,
        desc=label,
        delay=2.0,
        leave=False,
        file=sys.stderr,
        disable=not sys.stderr.isatty(),
        ascii=bool(os.environ.get("NO_COLOR")),
        dynamic_ncols=True,
    )

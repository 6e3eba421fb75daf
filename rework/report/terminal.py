"""What a terminal can show: columns, styles, letters it has, a progress bar."""

from __future__ import annotations

import codecs
import os
import sys
import unicodedata
from collections.abc import Sequence

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


def styled(text: str, style: str, *, stream=None) -> str:
    """Return text in a terminal style, or plain where the stream is no terminal or NO_COLOR is set."""
    stream = stream or sys.stdout
    if os.environ.get("NO_COLOR") or not getattr(stream, "isatty", lambda: False)():
        return text
    return f"\x1b[{_STYLES[style]}m{text}\x1b[0m"


def width(text: str) -> int:
    """Return how many columns a terminal gives the text: none to combining letters, two to wide ones."""
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


def table(rows: Sequence[Sequence[str]], *, gap: str = "  ") -> str:
    """Return rows of cells as aligned columns."""
    widths = (
        [
            max(width(row[column]) for row in rows if column < len(row))
            for column in range(max(map(len, rows)))
        ]
        if rows
        else []
    )
    return "\n".join(
        gap.join(cell + " " * (widths[i] - width(cell)) for i, cell in enumerate(row)).rstrip()
        for row in rows
    )


def progress(label: str, total: int):
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

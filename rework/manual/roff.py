"""The manual as a page for man(1), in the man(7) macros."""

from __future__ import annotations

from collections.abc import Iterable

from rework import __version__
from rework.manual.blocks import Block, Bullets, Heading, ManualExample, Paragraph, Rows
from rework.manual.book import TOPICS, page
from rework.manual.printed import plain


def man_page() -> str:
    """Return the whole manual as one page of section 1."""
    head = [
        f'.TH REWORK 1 "" "rework {__version__}" "Tube amplifier conversion"',
        ".SH NAME",
        "rework \\- convert a transformerless tube amplifier to an isolated supply, on paper first",
        ".SH SYNOPSIS",
        ".B rework",
        "COMMAND [ARGUMENTS]",
    ]
    return (
        "\n".join([*head, *(line for topic in TOPICS for line in _lines(page(topic.name)))]) + "\n"
    )


def _lines(blocks: Iterable[Block]) -> list[str]:
    lines: list[str] = []
    for block in blocks:
        match block:
            case Heading(level, text):
                lines.append(f".{'SH' if level == 1 else 'SS'} {_escaped(text)}")
            case Paragraph(text):
                lines += [".PP", _escaped(text)]
            case Bullets(items, numbered):
                for number, item in enumerate(items, 1):
                    mark = f"{number}." if numbered else "\\(bu"
                    lines += [f".IP {mark} 4", _escaped(item)]
            case ManualExample(_, text, _):
                lines += [".PP", ".EX", *map(_escaped, text.splitlines()), ".EE"]
            case Rows(columns, rows):
                for row in rows:
                    lines += [".TP", f".B {_escaped(row[0])}"]
                    rest = [
                        f"{column}: {cell}" if at > 1 else cell
                        for at, (column, cell) in enumerate(zip(columns, row, strict=True))
                        if at and cell
                    ]
                    lines.append(_escaped(". ".join(rest)) or "\\&")
    return lines


def _escaped(text: str) -> str:
    """Return text in which nothing is read as a request of the formatter."""
    line = plain(text).replace("\\", "\\e").replace("-", "\\-")
    return f"\\&{line}" if line[:1] in (".", "'") else line

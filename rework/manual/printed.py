"""A page of the manual on a terminal."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable

from rework.manual.blocks import Block, Bullets, Heading, ManualExample, Paragraph, Rows
from rework.report.terminal import columns_wide, styled, table, wrapped

_CODE = re.compile(r"`([^`]*)`")


def printed(blocks: Iterable[Block]) -> str:
    """Return blocks as text for the terminal, no wider than it is."""
    return "\n\n".join(filter(None, map(_block, blocks))) + "\n"


def _block(block: Block) -> str:
    match block:
        case Heading(level, text):
            return styled(plain(text).upper() if level == 1 else plain(text), "bold")
        case Paragraph(text):
            return wrapped(plain(text))
        case Bullets(items, numbered):
            return "\n".join(
                _item(f"{number}." if numbered else "-", plain(item))
                for number, item in enumerate(items, 1)
            )
        case ManualExample(_, text, file):
            title = f"    {styled(file, 'bold')}\n" if file else ""
            return title + textwrap.indent(text, "    ")
        case Rows(columns, rows):
            cells = [tuple(map(plain, row)) for row in (columns, *rows)]
            return table([tuple(styled(cell, "bold") for cell in cells[0]), *cells[1:]])
    return ""


def _item(mark: str, text: str) -> str:
    return textwrap.fill(
        text,
        columns_wide(),
        initial_indent=f"  {mark} ",
        subsequent_indent=" " * (len(mark) + 3),
        break_long_words=False,
        break_on_hyphens=False,
    )


def plain(text: str) -> str:
    """Return text without the backticks around what is typed."""
    return _CODE.sub(r"\1", text)

"""Examples of the README and of the manual: what they show is what the program says.

A step is a line ``$ rework ...`` with lines of its output; a line of ``...`` stands for any lines.
"""

from __future__ import annotations

import re
from collections.abc import Sequence


def steps_in(blocks: Sequence[str]) -> list[str]:
    """Return the steps of console blocks, in order."""
    return [
        step
        for block in blocks
        for step in re.split(r"^(?=\$ )", block, flags=re.MULTILINE)
        if step
    ]


def not_said(shown: Sequence[str], said: Sequence[str]) -> str:
    """Return a sentence on the first lines that are shown and not said, "" where there are none."""
    pieces: list[list[str]] = [[]]
    for line in shown:
        if line.strip() == "...":
            pieces.append([])
        else:
            pieces[-1].append(line.rstrip())
    at = 0
    for piece in filter(None, pieces):
        starts = range(at, len(said) - len(piece) + 1)
        found = next(
            (start for start in starts if list(said[start : start + len(piece)]) == piece), None
        )
        if found is None:
            return (
                "the program does not say:\n"
                + "\n".join(piece)
                + "\nit says:\n"
                + "\n".join(said[at:])
            )
        at = found + len(piece)
    return ""

"""How wide words are: the advance widths of Source Sans, the type the drawings are set in."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import font_source_sans_pro
from fontTools.ttLib import TTFont

#: The family in the package font-source-sans-pro.
FAMILY = "Source Sans Pro"
_FILES = {False: "SourceSansPro-Regular.ttf", True: "SourceSansPro-Semibold.ttf"}
#: Height of capitals in the em (OS/2 sCapHeight of the family: 660 of 1000).
CAPITALS = 0.66
#: Width taken for a letter the font has not, in the em.
_UNKNOWN = 1.0


def font_files() -> tuple[Path, ...]:
    """Return the two cuts the drawings are set in."""
    folder = Path(font_source_sans_pro.__file__).parent / "files"
    return tuple(folder / name for name in _FILES.values())


@cache
def _advances(bold: bool) -> tuple[dict[int, str], dict[str, tuple[int, int]], int]:
    path = Path(font_source_sans_pro.__file__).parent / "files" / _FILES[bold]
    font = TTFont(path, lazy=True)
    return font.getBestCmap(), font["hmtx"].metrics, font["head"].unitsPerEm


@cache
def width(text: str, size: float, *, bold: bool = False) -> float:
    """Return the width of a line of text in the units of ``size``, the em."""
    letters, metrics, em = _advances(bold)
    total = 0.0
    for letter in text:
        name = letters.get(ord(letter))
        total += metrics[name][0] / em if name else _UNKNOWN
    return total * size

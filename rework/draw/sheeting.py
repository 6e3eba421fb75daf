"""Which pieces go on which sheet where one sheet would be too small to read: the signal apart from
supply and heaters, a long signal cut at couplings between stages.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from rework.draw.drafting import WHOLE, Layout, Layouts, SheetCut, netlists
from rework.draw.layout.columns import (
    CLOSED_SPACING,
    FLAT_SPACING,
    NESTED_SPACING,
    SNUG_SPACING,
    TIGHT_SPACING,
    Spacing,
)
from rework.draw.layout.netlist import FLAG
from rework.draw.layout.sketch import Spot
from rework.draw.symbols.pen import Box


@dataclass(frozen=True, slots=True)
class Room:
    """How large a sheet may be, in u across and down."""

    across: float
    down: float

    def less(self, by: float) -> Room:
        """Return a smaller room."""
        return Room(self.across - by, self.down - by)

    def holds(self, box: Box) -> bool:
        """True where a box fits."""
        return box.right - box.left <= self.across and box.bottom - box.top <= self.down


#: A sheet of A4 or of Letter, lying, margins of 10 mm off, on which names are 2.4 mm (1.85 mm a u).
PAGE = Room(140.5, 102.9)
#: A page of the papers that one works from, lying, under heading and caption, with type of 8 points
#: (2.17 mm a u): A3, and Tabloid.
A3, TABLOID = Room(181, 118), Room(186, 110)
#: A screen, on which one moves about.
SCREEN = Room(math.inf, math.inf)
#: What a sheet needs beside its pieces: its edge, and wires around them, u.
_EDGE = 1


#: How pieces may be put closer together where they do not fit otherwise, the first that fits.
SQUEEZED = (FLAT_SPACING, SNUG_SPACING, CLOSED_SPACING, TIGHT_SPACING, NESTED_SPACING)


def sheets_of(
    layouts: Layouts, room: Room, closer: Sequence[Spacing] = SQUEEZED
) -> list[tuple[SheetCut, Layout]]:
    """Return the sheets a chassis needs, each with its layout, so that none is larger than a room
    unless it cannot be cut.
    """
    page = _Page(room, tuple(closer))
    whole = _laid_out(layouts, WHOLE, page)
    parts = _merged(layouts, _parts(layouts, whole, page), page)
    if len(parts) == 1:
        return [(WHOLE, whole)]
    on: dict[str, set[int]] = {}
    for number, keys in enumerate(parts, 1):
        for nets in netlists(layouts.subject, SheetCut(keys)):
            for piece in nets.pieces.values():
                for node in piece.nodes if piece.kind != FLAG else ():
                    on.setdefault(node, set()).add(number)
    sheets = []
    for number, keys in enumerate(parts, 1):
        elsewhere = {node: sorted(numbers - {number}) for node, numbers in on.items()}
        goes_on = {node: ", ".join(map(str, rest)) for node, rest in elsewhere.items() if rest}
        cut = SheetCut(keys, goes_on)
        sheets.append((cut, _laid_out(layouts, cut, page)))
    return sheets


@dataclass(frozen=True, slots=True)
class _Page:
    """How large a sheet may be, and the spacings that may be tried so that more goes on it."""

    room: Room
    closer: tuple[Spacing, ...]

    def holds(self, layout: Layout) -> bool:
        """True where a layout fits with its edge."""
        return self.room.holds(layout.box.grown(_EDGE))


def _laid_out(layouts: Layouts, cut: SheetCut, page: _Page) -> Layout:
    """Return a layout with the usual spacing, or with the first tighter one that fits."""
    plain = layouts.of(cut)
    if page.holds(plain):
        return plain
    for spacing in page.closer:
        layout = layouts.of(cut, spacing)
        if page.holds(layout):
            return layout
    return plain


def _parts(layouts: Layouts, layout: Layout, page: _Page) -> list[frozenset[str]]:
    """Return the keys of the pieces of each sheet that a layout is to be cut into."""
    spots = {spot.piece.key: spot for spot in layout.every if spot.piece.kind != FLAG}
    keys = frozenset(spots)
    parts = [] if page.holds(layout) else _cut(layout, spots)
    if len(parts) < 2:
        return [keys]
    return [
        group
        for part in parts
        for group in _parts(layouts, _laid_out(layouts, SheetCut(part), page), page)
    ]


def _merged(layouts: Layouts, parts: list[frozenset[str]], page: _Page) -> list[frozenset[str]]:
    """Return the parts with neighbours on one sheet where there is room for both."""
    merged = parts[:1]
    for part in parts[1:]:
        both = merged[-1] | part
        if page.holds(_laid_out(layouts, SheetCut(both), page)):
            merged[-1] = both
        else:
            merged.append(part)
    return merged


def _cut(layout: Layout, spots: Mapping[str, Spot]) -> list[frozenset[str]]:
    """Return the pieces of a layout in two or more parts; none where it cannot be cut."""
    signal = frozenset(key for key, spot in spots.items() if spot.band.startswith("signal"))
    heaters = frozenset(key for key, spot in spots.items() if spot.band == "heaters")
    supply = spots.keys() - signal - heaters
    if signal and supply | heaters:
        return [signal, frozenset(supply | heaters)]
    if supply and heaters:
        return [frozenset(supply), heaters]
    return _halves(layout, spots)


def _halves(layout: Layout, spots: Mapping[str, Spot]) -> list[frozenset[str]]:
    """Return the pieces left and right of the coupling nearest to the middle; of what has none, of
    the middle itself.
    """
    x = {key: layout.place[key].x for key in spots}
    if len(set(x.values())) < 2:
        keys = sorted(spots, key=lambda key: (layout.place[key].y, key))
        half = len(keys) // 2
        return [frozenset(keys[:half]), frozenset(keys[half:])] if half else []
    low, high = min(x.values()), max(x.values())
    couplings = [x[key] for key, spot in spots.items() if _couples(spot) and x[key] < high]
    middle = (low + high) / 2
    near = [at for at in couplings if abs(at - middle) < (high - low) / 4]
    at = min(near or [at for at in x.values() if at < high], key=lambda at: (abs(at - middle), at))
    left = frozenset(key for key in spots if x[key] <= at)
    return [left, frozenset(spots) - left]


def _couples(spot: Spot) -> bool:
    return spot.piece.is_two_ended and spot.pose.quarters % 2 == 0

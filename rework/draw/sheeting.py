"""Which pieces go on which sheet where one sheet would be too small to read: the signal apart from
supply and heaters, a long signal cut at couplings between stages.
"""

from __future__ import annotations

import math

from rework.draw.draft import Draft
from rework.draw.layout.netlist import FLAG

#: Units in which a sheet of A4 or Letter holds type of 1.9 mm, across and down; the widest piece of
#: signal that is put on a sheet of its own.
_ACROSS, _DOWN, _CUT = 190, 130, 130


def sheets_of(draft: Draft) -> list[frozenset[str]]:
    """Return the keys of the pieces of each sheet; one set where a draft can be read as it is."""
    keys = frozenset(key for key, spot in draft.spots.items() if spot.piece.kind != FLAG)
    if not keys:
        return [keys]
    xs = [draft.place[key].x for key in keys]
    ys = [draft.place[key].y for key in keys]
    if max(xs) - min(xs) <= _ACROSS and max(ys) - min(ys) <= _DOWN:
        return [keys]
    signal = frozenset(key for key in keys if draft.spots[key].band.startswith("signal"))
    return [part for part in (*_cut(draft, signal), keys - signal) if part]


def _cut(draft: Draft, signal: frozenset[str]) -> list[frozenset[str]]:
    """Return the signal in pieces of like width, each ending behind a coupling."""
    if not signal:
        return []
    x = {key: draft.place[key].x for key in signal}
    low, high = min(x.values()), max(x.values())
    count = max(1, math.ceil((high - low) / _CUT))
    couplings = [
        x[key]
        for key in signal
        if draft.spots[key].piece.is_two_ended and not draft.spots[key].pose.quarters
    ]
    found, rest = [], set(signal)
    for number in range(1, count):
        wanted = low + number * (high - low) / count
        if not couplings:
            break
        cut = min(couplings, key=lambda place: (abs(place - wanted), place))
        part = frozenset(key for key in rest if x[key] <= cut)
        rest -= part
        found.append(part)
    return [*found, frozenset(rest)]

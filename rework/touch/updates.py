"""What a solved network becomes when parts of it change: every combination of what varies, and
every fault in each.

One factorisation answers for all. Only a few numbers are kept of it: what sources and ports see of
one another and of every change (J. Sherman and W. J. Morrison, Ann. Math. Stat. 21, 124-127, 1950;
W. W. Hager, SIAM Rev. 31, 221-239, 1989): ``Z' = Z - Z U (1/D + U'ZU)^-1 U'Z``.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rework.touch.network import UNIT, Floats, Integers, Numbers, Patterns, Solved, joined
from rework.touch.study import MIDWAY, MOST_HELD, Combo, Row, Study

#: Up to so many combinations what varies is put in all at once; half as many where little is left
#: to carry from block to block: no more than this many times what varies.
FEW, LITTLE = 64, 3


@dataclass(frozen=True, eq=False, slots=True)
class Moving:
    """What varies, as patterns, and the ohms in units that put each of them where each combination
    wanted has it, (combinations, patterns).
    """

    patterns: Patterns
    ohms: Floats


def moving(study: Study, combos: tuple[Combo, ...]) -> Moving:
    """Return what varies in a study, in the combinations given.

    The own equation of a variant is v - i / y = 0, and a change of 1 / y is one along its current;
    taken out, the current is held at nought.
    """
    place = {axis: number for number, axis in enumerate(study.axes)}
    numbers = range(len(study.elements), len(study.elements) + len(study.variants))
    there = [1 / ((1 / MIDWAY - 1 / variant.siemens) / UNIT) for variant in study.variants]
    at = [place[variant.axis] for variant in study.variants]
    position = [variant.position for variant in study.variants]
    positions = np.array(combos, int).reshape(len(combos), len(study.axes))[:, at]
    return Moving(
        study.frame.currents([((number,), (1.0,)) for number in numbers]),
        np.where(positions == position, there, 0.0),
    )


@dataclass(frozen=True, eq=False, slots=True)
class FaultSpread:
    """Every combination at once: ``own`` (rows, combinations, left) and ``across`` (rows,
    combinations, left, columns).
    """

    own: Numbers
    across: Numbers

    def part(self, some: slice) -> FaultSpread:
        """Return some of the combinations."""
        return FaultSpread(self.own[:, some], self.across[:, some])


@dataclass(frozen=True, eq=False, slots=True)
class Met:
    """What varies, and ``left`` after it, as they see of what varies and then of columns, while
    everything is midway: ``across`` (rows, both, both) and what they see of themselves, ``own``
    (rows, both).
    """

    across: Numbers
    own: Numbers

    def part(self, some: Sequence[int]) -> Met:
        """Return some of the rows."""
        return Met(self.across[some], self.own[some])


def met(solved: Solved, moves: Patterns, left: Patterns, columns: Patterns) -> Met:
    """Return what some patterns see of ``moves`` and columns: all that every combination needs."""
    return Met(*solved.between_and_own(joined(moves, left), joined(moves, columns)))


class Meetings:
    """What some patterns see of columns in every row of a study, found once and kept, unless that
    is more than fits in memory.
    """

    def __init__(self, study: Study, left: Patterns, columns: Patterns) -> None:
        self.study, self.left, self.columns = study, left, columns
        self.moves = moving(study, ()).patterns
        self._kept: list[tuple[tuple[Row, ...], Met]] = []

    def blocks(self, each: int, wanted: Sequence[Row]) -> Iterator[tuple[tuple[Row, ...], Met]]:
        """Yield (rows, what was met) of the rows wanted, a few at a time; ``each`` is how many
        figures will be made of every row.
        """
        if self._kept:
            step, chosen = max(1, MOST_HELD // each), set(wanted)
            for rows, seen in self._kept:
                places = [place for place, row in enumerate(rows) if row in chosen]
                for start in range(0, len(places), step):
                    some = places[start : start + step]
                    yield tuple(rows[place] for place in some), seen.part(some)
            return
        kept: list[tuple[tuple[Row, ...], Met]] = []
        for rows, _, solved in self.study.blocks(wanted, each=each):
            seen = met(solved, self.moves, self.left, self.columns)
            yield rows, seen
            kept.append((rows, seen))
        held = sum(seen.across.size for _, seen in kept)
        if len(wanted) == len(self.study.rows) and held <= MOST_HELD:
            self._kept = kept


def spread(solved: Solved, varies: Moving, left: Patterns, columns: Patterns) -> FaultSpread:
    """Return what ``left`` sees of ``columns`` and of itself in every combination."""
    return combined(met(solved, varies.patterns, left, columns), varies.ohms)


def combined(seen: Met, ohms: Floats) -> FaultSpread:
    """Return what is left of what was met in every combination of the ``ohms`` (combinations,
    moves).

    What varies is put in block by block; combinations that begin alike share their work.
    """
    count = ohms.shape[1]
    at = seen.across[:, None, :count], seen.across[:, None, count:], seen.own[:, None, count:]
    alive, done = list(range(count)), list[int]()
    beginning = np.zeros(len(ohms), int)
    few = FEW if seen.across.shape[1] > (1 + LITTLE) * count else FEW // 2
    for block in _blocks(ohms, few):
        done += block
        first, now = _distinct(ohms[:, done])
        kept = [number for number, name in enumerate(alive) if name not in block]
        added = [alive.index(name) for name in block]
        at = _with(at, beginning[first], added, ohms[first][:, block], kept)
        alive, beginning = [alive[number] for number in kept], now
    return FaultSpread(at[2][:, beginning], at[1][:, beginning])


def _distinct(lines: Floats) -> tuple[list[int], Integers]:
    """Return where each different line (lines, columns) comes first, and which of these every line
    is. Unlike numpy's ``unique`` it does not load masked arrays.
    """
    first: dict[bytes, int] = {}
    keys = [line.tobytes() for line in lines]
    for number, key in enumerate(keys):
        first.setdefault(key, number)
    place = {key: number for number, key in enumerate(first)}
    return list(first.values()), np.array([place[key] for key in keys], int)


def _blocks(ohms: Floats, few: int) -> list[list[int]]:
    """Return what varies in blocks: all in one where there are few combinations; else what does not
    vary among them, then half of the rest, half of what is left, and so on.
    """
    if len(ohms) <= few:
        return [list(range(ohms.shape[1]))] if ohms.shape[1] else []
    alike: dict[bytes, list[int]] = {}
    for number, column in enumerate(ohms.T):
        alike.setdefault((column != column[0]).tobytes(), []).append(number)
    still = alike.pop(bytes(len(ohms)), [])
    moving = sorted(alike.values(), key=len, reverse=True)
    blocks = [still] if still else []
    while moving:
        half = (len(moving) + 1) // 2
        blocks.append([number for one in moving[:half] for number in one])
        moving = moving[half:]
    return blocks


def _with(
    at: tuple[Numbers, Numbers, Numbers],
    beginning: Integers,
    added: list[int],
    ohms: Floats,
    kept: list[int],
) -> tuple[Numbers, Numbers, Numbers]:
    """Return the arrays of some combinations, from where each begins, with some patterns put in at
    its ``ohms``; without the rows and columns of patterns that are done with.
    """
    inner, across, own = at
    stays = [*kept, *range(len(added) + len(kept), across.shape[-1])]
    middle = np.linalg.inv(
        inner[:, :, added][..., added][:, beginning] + ohms[:, :, None] * np.eye(len(added))
    )
    row = inner[:, :, added][..., stays][:, beginning]
    seen, pulled = across[..., added][:, beginning], inner[:, :, kept][..., added][:, beginning]
    gain = seen @ middle
    return (
        inner[:, :, kept][..., stays][:, beginning] - (pulled @ middle) @ row,
        across[..., stays][:, beginning] - gain @ row,
        own[:, beginning] - (gain * seen).sum(axis=-1),
    )


@dataclass(frozen=True, eq=False, slots=True)
class Change:
    """The changes of faults: patterns, ohms in units (rows, changes), and which belongs to which
    fault: one or none.
    """

    patterns: Patterns
    ohms: Numbers
    members: tuple[tuple[int, ...], ...]


def after(
    fault_spread: FaultSpread,
    changes: Change,
    faults: Sequence[int] | Integers,
    ports: Sequence[int],
    feeds: Sequence[int],
    offset: tuple[int, int],
    opened: int | None = None,
    void: NDArray[np.bool_] | None = None,
) -> tuple[Numbers, Numbers]:
    """Return (volts, ohms) of ports under some faults of one rank: (rows, combinations, faults,
    ports[, feeds]), in units; in memory, feed by feed.

    ``left`` of the spread holds ports and then changes, its columns the feeds and then the ports:
    ``offset`` is where the latter begin. ``opened`` is one more port, a branch current, which is
    then held at nought. ``void`` are combinations, (combinations, faults), that a fault leaves no
    room for: what is returned of them means nothing.
    """
    first_change, first_port = offset
    rows, count = list(ports), len(feeds)
    columns = np.array([*feeds, *(first_port + port for port in ports)], int)
    own = fault_spread.own[:, :, rows][:, :, None]
    shape = (*fault_spread.own.shape[:2], len(faults), len(rows))
    volts: Numbers = np.empty((count, *shape), fault_spread.across.dtype)
    volts[:] = np.moveaxis(fault_spread.across[:, :, rows][..., list(feeds)], -1, 0)[:, :, :, None]

    def held(own: Numbers, seen: Numbers, middle: Numbers) -> Numbers:
        """Take from ``volts`` what one change makes of them; return the ohms after it."""
        gain = seen / middle[..., None]
        into = seen[..., count:]
        for place in range(count):
            volts[place] -= into * gain[..., place, None]
        return own - into * gain[..., count:]

    fuse: tuple[Numbers, Numbers] | None = None
    if opened is not None:
        met = fault_spread.across[:, :, opened][..., columns][:, :, None]
        fuse = fault_spread.own[:, :, opened][:, :, None], met
    if len(changes.members[faults[0]]) if len(faults) else 0:
        changed = [change for fault in faults for change in changes.members[fault]]
        places = np.array([first_change + change for change in changed], int)
        seen = fault_spread.across[:, :, places[:, None], columns]
        middle = fault_spread.own[:, :, places] + changes.ohms[:, None, changed]
        if void is not None:
            middle[:, void] = 1.0
        if fuse is not None and opened is not None:
            meets = fault_spread.across[:, :, places, first_port + opened]
            gain = meets / middle
            fuse = fuse[0] - meets * gain, fuse[1] - gain[..., None] * seen
        own = held(own, seen, middle)
    if fuse is not None:
        own = held(own, fuse[1], np.where(fuse[0] == 0, 1.0, fuse[0]))
    return np.moveaxis(volts, 0, -1), np.broadcast_to(own, shape)

"""What a solved network becomes when parts of it change: every combination of what varies, and
every fault in each.

One factorisation answers for all. Only a few numbers are kept of it: what sources and ports see of
one another and of every change (J. Sherman and W. J. Morrison, Ann. Math. Stat. 21, 124-127, 1950;
W. W. Hager, SIAM Rev. 31, 221-239, 1989): ``Z' = Z - Z U (1/D + U'ZU)^-1 U'Z``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rework.touch.network import UNIT, Floats, Integers, Numbers, Patterns, Solved, joined
from rework.touch.study import MIDWAY, Combo, Study


@dataclass(frozen=True, eq=False, slots=True)
class Moving:
    """What varies, as patterns with their ohms in units; ``places`` has for each axis the patterns
    of either position.

    ``combos`` are the combinations wanted, each a position for every of these axes.
    """

    patterns: Patterns
    ohms: Floats
    places: tuple[tuple[tuple[int, ...], ...], ...]
    combos: tuple[Combo, ...]


def moving(study: Study, combos: tuple[Combo, ...]) -> Moving:
    """Return what varies in a study, in the combinations given.

    Axes that always move together are one.
    """
    wanted: list[tuple[tuple[int, ...], tuple[float, ...]]] = []
    ohms: list[float] = []
    together: dict[tuple[int, ...], tuple[list[int], list[int]]] = {}
    columns = list(zip(*combos, strict=True))
    places = {
        axis: together.setdefault(columns[place], ([], [])) for place, axis in enumerate(study.axes)
    }
    for number, variant in enumerate(study.variants, len(study.elements)):
        # Its own equation is v - i / y = 0, and a change of 1 / y is one along its current; taken
        # out, the current is held at nought.
        for position in (0, 1):
            places[variant.axis][position].append(len(wanted))
            wanted.append(((number,), (1.0,)))
            ohms.append(
                1 / ((1 / MIDWAY - 1 / variant.siemens) / UNIT)
                if position == variant.position
                else 0.0
            )
    # The largest first: what is done with has no columns any more.
    order = sorted(
        together, key=lambda column: -len(together[column][0]) - len(together[column][1])
    )
    return Moving(
        study.frame.currents(wanted),
        np.array(ohms),
        tuple((tuple(together[column][0]), tuple(together[column][1])) for column in order),
        tuple(zip(*order, strict=True)) if order else combos,
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


def spread(solved: Solved, varies: Moving, left: Patterns, columns: Patterns) -> FaultSpread:
    """Return what ``left`` sees of ``columns`` and of itself in every combination.

    The axes are gone through one by one; combinations that begin alike share their work.
    """
    every = joined(varies.patterns, columns)
    count = len(varies.patterns)
    across, own = solved.between_and_own(joined(varies.patterns, left), every)
    at: tuple[Numbers, ...] = (
        across[:, None, :count],
        across[:, None, count:],
        own[:, None, count:],
    )
    prefixes: list[tuple[int, ...]] = [()]
    alive = list(range(len(varies.patterns)))
    for place, sets in enumerate(varies.places):
        known = {prefix: number for number, prefix in enumerate(prefixes)}
        kept = [number for number, name in enumerate(alive) if name not in {*sets[0], *sets[1]}]
        longer: list[tuple[int, ...]] = []
        found: list[tuple[Numbers, ...]] = []
        for position, names in enumerate(sets):
            wanted = sorted(
                {combo[: place + 1] for combo in varies.combos if combo[place] == position}
            )
            if wanted:
                longer += wanted
                found.append(
                    _with(
                        at,
                        [known[prefix[:-1]] for prefix in wanted],
                        [alive.index(name) for name in names],
                        varies.ohms[list(names)],
                        kept,
                        len(alive),
                    )
                )
        at = tuple(np.concatenate(arrays, axis=1) for arrays in zip(*found, strict=True))
        alive, prefixes = [alive[number] for number in kept], longer
    known = {prefix: number for number, prefix in enumerate(prefixes)}
    order = [known[combo] for combo in varies.combos]
    return FaultSpread(at[2][:, order], at[1][:, order])


def _with(
    at: tuple[Numbers, ...],
    branches: list[int],
    added: list[int],
    ohms: Floats,
    kept: list[int],
    count: int,
) -> tuple[Numbers, ...]:
    """Return the arrays of some combinations with some patterns put in, and without the columns no
    longer needed.
    """
    inner, across, own = (array[:, branches] for array in at)
    stays = [*kept, *range(count, across.shape[-1])]
    if not added:
        return inner[:, :, kept][..., stays], across[..., stays], own
    middle = np.linalg.inv(inner[:, :, added][..., added] + np.diag(ohms))
    row = inner[:, :, added]
    seen = across[..., added]
    gain = seen @ middle
    return (
        inner[:, :, kept][..., stays] - (inner[:, :, kept][..., added] @ middle) @ row[..., stays],
        across[..., stays] - gain @ row[..., stays],
        own - (gain * seen).sum(axis=-1),
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
    found: FaultSpread,
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
    own = found.own[:, :, rows][:, :, None]
    shape = (*found.own.shape[:2], len(faults), len(rows))
    volts: Numbers = np.empty((count, *shape), found.across.dtype)
    volts[:] = np.moveaxis(found.across[:, :, rows][..., list(feeds)], -1, 0)[:, :, :, None]

    def held(own: Numbers, seen: Numbers, middle: Numbers) -> Numbers:
        """Take from ``volts`` what one change makes of them; return the ohms after it."""
        gain = seen / middle[..., None]
        into = seen[..., count:]
        for place in range(count):
            volts[place] -= into * gain[..., place, None]
        return own - into * gain[..., count:]

    fuse: tuple[Numbers, Numbers] | None = None
    if opened is not None:
        met = found.across[:, :, opened][..., columns][:, :, None]
        fuse = found.own[:, :, opened][:, :, None], met
    if len(changes.members[faults[0]]) if len(faults) else 0:
        changed = [change for fault in faults for change in changes.members[fault]]
        places = np.array([first_change + change for change in changed], int)
        seen = found.across[:, :, places[:, None], columns]
        middle = found.own[:, :, places] + changes.ohms[:, None, changed]
        if void is not None:
            middle[:, void] = 1.0
        if fuse is not None and opened is not None:
            meets = found.across[:, :, places, first_port + opened]
            gain = meets / middle
            fuse = fuse[0] - meets * gain, fuse[1] - gain[..., None] * seen
        own = held(own, seen, middle)
    if fuse is not None:
        own = held(own, fuse[1], np.where(fuse[0] == 0, 1.0, fuse[0]))
    return np.moveaxis(volts, 0, -1), np.broadcast_to(own, shape)

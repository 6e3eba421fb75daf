"""When a set may be switched on for a reading: not while something likely makes that dangerous."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from rework.circuit.circuit import Circuit
from rework.faultfinding.case import tired_fuses
from rework.faultfinding.expect import dangers
from rework.faultfinding.rank import Ranking
from rework.safety.exposure import hazard_nodes
from rework.safety.survey import Survey

#: A trouble that is this likely keeps the set unplugged.
LIKELY = 0.05


class Peril(StrEnum):
    """Why no reading may be taken with the set switched on."""

    TIED = "tied"  # the set itself is connected to the mains where a hand reaches
    HAZARD = "hazard"  # a trouble would connect it there
    FUSE = "fuse"
    RATING = "rating"


@dataclass(frozen=True, slots=True)
class Reason:
    """One reason to leave the set unplugged: the trouble by its key ("" for the set itself) with
    its chance, and what of it: nodes, fuses, or what burns more than its rating.
    """

    peril: Peril
    key: str
    chance: float
    what: tuple[str, ...]


def reasons(ranking: Ranking, *, isolated: bool = False) -> tuple[Reason, ...]:
    """Return why no powered reading may be taken now; none where nothing speaks against it.

    ``isolated`` says that the bench isolates the set from the line: then what is tied to the line
    in it is no hazard by itself. Fails closed: every trouble of at least ``LIKELY`` counts.
    """
    expected = ranking.expected
    before = frozenset() if isolated else _hazards(expected.suspects[0].circuit)
    words = []
    if before:
        words.append(Reason(Peril.TIED, "", 1.0, tuple(sorted(before))))
    tired = tired_fuses(expected.cases[0])
    listed = ranking.chance / ranking.chance.sum()  # as if it were on the list
    chances: dict[str, float] = {}
    for n, suspect in enumerate(expected.suspects):
        key = suspect.trouble.key
        chances[key] = chances.get(key, 0.0) + float(listed[n])
    for n, suspect in enumerate(expected.suspects):
        chance = chances[suspect.trouble.key]
        if n == 0 or chance < LIKELY or listed[n] < LIKELY / 5:
            continue
        case, key = expected.cases[n], suspect.trouble.key
        new = () if isolated else tuple(sorted(_hazards(suspect.circuit) - before))
        over = dangers(case, expected.cases[0])
        if new:
            words.append(Reason(Peril.HAZARD, key, chance, new))
        fuses = (*case.blown, *(name for name in tired_fuses(case) if name not in tired))
        if fuses:
            words.append(Reason(Peril.FUSE, key, chance, fuses))
        if over:
            words.append(Reason(Peril.RATING, key, chance, over))
    unique = {(reason.peril, reason.key): reason for reason in reversed(words)}
    return tuple(sorted(unique.values(), key=lambda reason: -reason.chance))


def live_nodes(circuit: Circuit) -> frozenset[str]:
    """Return the nodes that are tied to the mains: no probe goes there while the plug is in."""
    return frozenset(Survey(circuit).ties.tied)


def _hazards(circuit: Circuit) -> frozenset[str]:
    return hazard_nodes(Survey(circuit))

"""What a drawing points out: what a job changed, what the check found, what the chart computed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

from rework.circuit.circuit import Circuit
from rework.circuit.kinds import KINDS
from rework.circuit.parts import Part
from rework.draw.layout.netlist import Netlist, is_another, own
from rework.draw.layout.wording import value_lines
from rework.safety.findings import HOWS, Hazard, Live, Report
from rework.safety.ways import WayStep

Change = Literal["new", "removed", "changed", "moved"]
#: The word printed with the name of a part, so that no mark is by colour alone.
CHANGE_WORDS: Mapping[Change, str] = {"new": "NEW", "removed": "OUT", "changed": "", "moved": ""}


@dataclass(frozen=True, slots=True)
class Way:
    """How a hazard comes about: the parts from the blade to where the hand is, and when.

    ``rank`` is 0 for a direct connection, higher for one through parts, a capacitor, insulation.
    """

    node: str
    steps: tuple[WayStep, ...]
    words: str
    rank: int = 0


@dataclass(frozen=True, slots=True)
class VoltsTaken:
    """The node that DC volts are against, the meter that shows them in words, and the line, V."""

    common: str
    meter: str
    line: float | None


@dataclass(frozen=True, slots=True)
class Overlay:
    """Changes by part, old words by part, moved pins as ``PART.terminal``, nodes that are hazards
    or live, the ways of the hazards, and DC volts by node with how they are taken.
    """

    changes: Mapping[str, Change] = field(default_factory=dict)
    old: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    moved: frozenset[str] = frozenset()
    hazards: frozenset[str] = frozenset()
    live: frozenset[str] = frozenset()
    ways: tuple[Way, ...] = ()
    volts: Mapping[str, float] = field(default_factory=dict)
    taken: VoltsTaken | None = None

    def on(self, nets: Netlist) -> Netlist:
        """Return a netlist whose labels say what became of parts, and what is within reach."""
        words = self.words
        for piece in nets.pieces.values():
            touched = KINDS[piece.part.kind].touched
            if any(t in touched and node in self.hazards for t, node in piece.pins):
                words[piece.part.name] = f"{words.get(piece.part.name, '')} HAZARD".strip()
        return replace(nets, words=words, old=self.old)

    @property
    def words(self) -> dict[str, str]:
        """The word printed with the name of each part that has one."""
        return {
            part: word for part, change in self.changes.items() if (word := CHANGE_WORDS[change])
        }


#: Nothing to point out.
PLAIN = Overlay()


def differences(before: Circuit, after: Circuit) -> tuple[Overlay, Overlay]:
    """Return what to point out in two circuits of which the second came out of the first.

    A part that was exchanged for another under its name is out in one and new in the other.
    """
    first: dict[str, Change] = {}
    second: dict[str, Change] = {}
    old: dict[str, tuple[str, ...]] = {}
    moved: set[str] = set()
    for name in before.by_name.keys() | after.by_name.keys():
        part, other = before.part(name), after.part(name)
        if part is None or other is None or is_another(part, other):
            first |= {name: "removed"} if part is not None else {}
            second |= {name: "new"} if other is not None else {}
            continue
        struck = _struck(part, other)
        if struck:
            second[name], old[name] = "changed", struck
        pins = _moved(part, other)
        moved |= pins
        if pins:
            second.setdefault(name, "moved")
    return Overlay(changes=first), Overlay(changes=second, old=old, moved=frozenset(moved))


def _struck(part: Part, other: Part) -> tuple[str, ...]:
    """Return the words of the old part that the new one has not."""
    types = (part.type,) if part.type != other.type and part.type else ()
    if (part.kind, part.type, part.values, part.windings) == (
        other.kind,
        other.type,
        other.values,
        other.windings,
    ):
        return ()
    now = value_lines(other)
    values = tuple(text for text in value_lines(part) if text not in now)
    value = " ".join((*types, *values))
    return (value,) if value else (part.kind,) if part.kind != other.kind else ()


def _moved(part: Part, other: Part) -> frozenset[str]:
    """Return the terminals that are on another node; of an exchanged tube all numbers are new."""
    if part.type != other.type:
        return frozenset()
    return frozenset(
        f"{other.name}.{terminal}"
        for terminal, node in other.pins
        if part.node(terminal) not in (None, node)
    )


def found_by(report: Report) -> Overlay:
    """Return what the check found, with the way of every hazard within reach."""
    return tied(report.hazards, report.live)


def tied(hazards: Iterable[Hazard], live: Iterable[Live]) -> Overlay:
    """Return what is tied to the mains, with the way of every hazard within reach."""
    touchable = [hazard for hazard in hazards if hazard.touchable]
    return Overlay(
        hazards=frozenset(hazard.node for hazard in touchable),
        live=frozenset(node.node for node in live),
        ways=tuple(_way(hazard) for hazard in touchable if hazard.path),
    )


def _way(hazard: Hazard) -> Way:
    where = ", ".join(own(part) for part in hazard.parts[:3])
    words = hazard.when[0].words() if hazard.when else "plug either way round"
    rank = min((HOWS.index(when.how) for when in hazard.when if when.how in HOWS), default=0)
    return Way(hazard.node, hazard.path, f"{where}: {words}", rank)

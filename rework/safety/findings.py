"""What the check found, as plain values, and the same for a machine.

The JSON of ``rework check``: ``verdict``, ``note``, and the lists ``hazards``, ``live`` and
``cautions``.

- a hazard: ``node``; ``parts`` (``PART.terminal`` on that node); ``touchable``; ``through``
  (``conduction`` or ``capacitor``); ``path``, the steps from the plug blade, each ``part``,
  ``into``, ``out_of``, ``node`` and, for a mated connector, ``mate``; ``bridges``, every part that
  by itself joins the node to a line conductor; ``when``, the states in which the node is connected
  to the hot conductor of the outlet, each ``plug``, ``switches`` and ``connectors`` (name to list
  of positions; one not named does not matter), ``how`` (``directly``, ``through parts``, ``through
  a capacitor`` or ``through insulation``, that of a part's own metalwork), ``through`` (the parts
  in between) and ``words`` (the same as a phrase); ``remedies``.
- a live node: ``node``, ``parts``, ``where``.
- a caution: ``key``, ``message``, ``part``, ``pin``, ``node``, ``remedies``, ``weight`` (``must``:
  the conversion is not finished; ``mind``: to be known and measured).
- a remedy: ``words``; ``does`` (``edit``: it was made on the circuit and checked again before it
  was printed; ``measure``; ``write``: the netlist leaves something open); ``edits``, each with
  ``edit`` (the name of the primitive edit) and ``what`` (the part, pin or wire). A finding without
  remedies needs more than a change or two: it is part of a conversion.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from rework.circuit.edits import Action, CutConductor, FitPart, LiftPin, RemovePart, RunWire
from rework.safety.ties import Through
from rework.safety.ways import WayStep

Weight = Literal["must", "mind"]
Does = Literal["edit", "measure", "write"]
#: How a node is connected to the hot conductor, the best connection first.
HOWS = ("directly", "through parts", "through a capacitor", "through insulation")
HAZARD = "hazard found"
NOTHING = "nothing found in the netlist as written"
#: No tie, but something that must be fixed; the exit status is 1 as for a hazard.
UNFINISHED = "no tie found, but the conversion is not finished"
#: Nothing was traced, so nothing may be said; the exit status is 1.
UNTRACED = "nothing traced: there is no plug in the netlist"


@dataclass(frozen=True, slots=True)
class When:
    """States in which a node is connected to the hot conductor: plug way round, switch and
    connector positions.

    What is not named does not matter. ``how`` is one of :data:`HOWS`; ``directly`` means by
    conductors, fuses and closed contacts. ``through`` names the parts in between, from the hot
    blade on.
    """

    plug: tuple[str, ...] = ()
    switches: tuple[tuple[str, tuple[str, ...]], ...] = ()
    connectors: tuple[tuple[str, tuple[str, ...]], ...] = ()
    how: str = "directly"
    through: tuple[str, ...] = ()

    def words(self) -> str:
        """Return the states as one phrase for a person."""
        plug = f"plug {self.plug[0]}" if self.plug else "plug either way round"
        places = [
            f"{name} {' or '.join(where)}" for name, where in (*self.switches, *self.connectors)
        ]
        how = "connected directly" if self.how == "directly" else self.how
        if self.through:
            how = (
                "through "
                + ("" if self.how == "through parts" else self.how.removeprefix("through ") + ": ")
                + ", ".join(self.through)
            )
        return ", ".join([plug, *(places or ["any switch position"]), how])


@dataclass(frozen=True, slots=True)
class Remedy:
    """One thing to do about a finding.

    Where it ``does`` an edit, ``edits`` are what the words say, as edits of the circuit; those a
    report holds were applied and checked again (:mod:`rework.safety.trial`).
    """

    words: str
    edits: tuple[Action, ...] = ()
    does: Does = "edit"


def measure(words: str) -> tuple[Remedy, ...]:
    """Return a remedy that measures or handles and changes no part."""
    return (Remedy(words, does="measure"),)


def write(words: str) -> tuple[Remedy, ...]:
    """Return a remedy that completes the netlist and changes no part."""
    return (Remedy(words, does="write"),)


@dataclass(frozen=True, slots=True)
class Hazard:
    """A node tied to the mains that a hand can reach or that has more than primary-side parts on
    it.
    """

    node: str
    parts: tuple[str, ...]
    touchable: bool
    through: Through
    path: tuple[WayStep, ...]
    when: tuple[When, ...]
    bridges: tuple[str, ...] = ()
    remedies: tuple[Remedy, ...] = ()

    @property
    def remedy(self) -> str:
        """The first remedy in words."""
        return self.remedies[0].words if self.remedies else PART_OF_A_CONVERSION


#: What is told of a hazard that no change tried clears.
PART_OF_A_CONVERSION = "No single change clears this without harm. It is part of a conversion."


@dataclass(frozen=True, slots=True)
class Live:
    """A node tied to the mains with nothing but primary-side parts on it: do not touch."""

    node: str
    parts: tuple[str, ...]
    where: str


@dataclass(frozen=True, slots=True)
class Caution:
    """Something to fix (``must``) or to know (``mind``) besides the ties.

    ``key`` names the sort of finding, ``part``, ``pin`` and ``node`` where it is.
    """

    key: str
    message: str
    part: str = ""
    pin: str = ""
    node: str = ""
    remedies: tuple[Remedy, ...] = ()
    weight: Weight = "must"

    @property
    def remedy(self) -> str:
        """The first remedy in words, or an empty string."""
        return self.remedies[0].words if self.remedies else ""


Finding = Hazard | Live | Caution


@dataclass(frozen=True, slots=True)
class Report:
    """The outcome of the check. ``note`` says what was tried and what the check cannot know."""

    verdict: str
    hazards: tuple[Hazard, ...]
    live: tuple[Live, ...]
    cautions: tuple[Caution, ...]
    note: str

    @property
    def exit_status(self) -> int:
        """1 where there is a hazard or a caution that must be fixed, else 0."""
        return (
            1 if self.hazards or any(caution.weight == "must" for caution in self.cautions) else 0
        )


def as_json(report: Report) -> dict[str, Any]:
    """Return a report as plain values; the schema is at the top of this module."""
    return {
        "verdict": report.verdict,
        "note": report.note,
        "hazards": [_hazard(hazard) for hazard in report.hazards],
        "live": [
            {"node": live.node, "parts": list(live.parts), "where": live.where}
            for live in report.live
        ],
        "cautions": [
            {
                "key": caution.key,
                "message": caution.message,
                "part": caution.part,
                "pin": caution.pin,
                "node": caution.node,
                "remedies": [_remedy(remedy) for remedy in caution.remedies],
                "weight": caution.weight,
            }
            for caution in report.cautions
        ],
    }


def _hazard(hazard: Hazard) -> dict[str, Any]:
    return {
        "node": hazard.node,
        "parts": list(hazard.parts),
        "touchable": hazard.touchable,
        "through": hazard.through,
        "path": [_step(step) for step in hazard.path],
        "bridges": list(hazard.bridges),
        "when": [
            {
                "plug": list(when.plug) or ["as drawn", "reversed"],
                "switches": {name: list(where) for name, where in when.switches},
                "connectors": {name: list(where) for name, where in when.connectors},
                "how": when.how,
                "through": list(when.through),
                "words": when.words(),
            }
            for when in hazard.when
        ],
        "remedies": [_remedy(remedy) for remedy in hazard.remedies],
    }


def _remedy(remedy: Remedy) -> dict[str, Any]:
    edits = [{"edit": type(edit).__name__, "what": _what(edit)} for edit in remedy.edits]
    return {"words": remedy.words, "does": remedy.does, "edits": edits}


def _what(edit: Action) -> str:
    match edit:
        case CutConductor(name) | RemovePart(name):
            return name
        case LiftPin(part, terminal):
            return f"{part}.{terminal}"
        case FitPart(part) | RunWire(part):
            ends = ", ".join(f"{terminal}={node}" for terminal, node in part.pins)
            return f"{part.name} {part.kind} : {ends}"
        case _:
            return ""


def _step(step: WayStep) -> dict[str, str]:
    row = {"part": step.part, "into": step.into, "out_of": step.out_of, "node": step.node}
    return {**row, "mate": step.mate} if step.mate else row


def path_words(path: tuple[WayStep, ...]) -> str:
    """Return a path as one line: ``P1.line > L1 > S1.1-2 > L2``."""
    words = []
    for step in path:
        if step.mate:
            crossing = f"{step.part}.{step.into}-{step.mate}.{step.out_of}"
        else:
            crossing = (
                f"{step.part}.{step.into}-{step.out_of}"
                if step.into
                else f"{step.part}.{step.out_of}"
            )
        words += [crossing, step.node]
    return " > ".join(words)

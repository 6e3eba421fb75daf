"""When a fuse opens, by the standard it was made to, what it can break, and what it does not
protect from. Figures and sources are in fuses.toml.

The two standards differ. A time-delay fuse to UL 248-14 opens within an hour at 1.35 times its
rating; one to IEC 60127-2 carries 1.5 times its rating for an hour at least.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from rework.circuit.circuit import Circuit
from rework.circuit.kinds import KINDS
from rework.circuit.parts import Part
from rework.touch.notes import region_of

HERE = Path(__file__).parent
#: Seconds within which a fuse has to open for a fault to count as ended by it: the longest gate at
#: about twice the rating which both standards have (UL 248-14; IEC 60127-2 sheet 3).
LONGEST = 120.0
#: Rated volts of a fuse that states none.
USUAL_VOLTS = 250.0
#: Lines of so many volts are broken as at 125 V (UL 248-14).
LOW_LINE = 125.0


@dataclass(frozen=True, slots=True)
class FuseRule:
    """What the standard promises of one fuse: (amperes, seconds) of every gate, the amperes it
    carries for an hour at least, and those it can break on this line.
    """

    part: str
    rating: float
    standard: str
    words: str
    gates: tuple[tuple[float, float], ...]
    holds: float
    breaks: float

    @property
    def opens_at(self) -> float:
        """The least amperes at which it opens within ``LONGEST``; infinite without a rating."""
        return min((amps for amps, seconds in self.gates if seconds <= LONGEST), default=math.inf)

    def seconds(self, amps: float) -> float:
        """Return the seconds within which it opens; infinite where the standard promises none."""
        return min((seconds for least, seconds in self.gates if amps >= least), default=math.inf)


@cache
def _rows() -> Mapping[str, Mapping[str, Any]]:
    rows = tomllib.loads((HERE / "fuses.toml").read_text(encoding="utf-8"))["fuse"]
    return {row["name"]: row for row in rows}


def fuse_rule(part: Part, line_volts: float | None) -> FuseRule:
    """Return what is promised of a fuse or breaker on a line of so many nominal volts.

    On a line of 100 to 127 V it is taken as made to UL 248-14, on a higher one to IEC 60127-2: of
    glass, with low breaking capacity, unless it is said to be ceramic; slow unless said to be fast.
    """
    speed = "fast" if "fast" in part.words else "slow"
    if part.kind == "breaker":
        row = _rows()["breaker"]
    elif region_of(line_volts) == "low line":
        row = _rows()[f"UL {speed}"]
    else:
        row = _rows()[f"IEC {speed} {'H' if 'ceramic' in part.words else 'L'}"]
    rating = part.value("current") or 0.0
    gates = tuple((multiple * rating, seconds) for multiple, seconds in row["gates"] if rating)
    return FuseRule(
        part.name,
        rating,
        row["standard"],
        row["words"],
        gates,
        row["holds"] * rating,
        _breaks(row, rating, part.value("voltage") or USUAL_VOLTS, line_volts or math.inf),
    )


def _breaks(row: Mapping[str, Any], rating: float, rated_volts: float, line: float) -> float:
    """Return the amperes that a fuse can break; none on a line above its own volts."""
    if line > rated_volts:
        return 0.0
    if row["low_line_breaks"] and line <= LOW_LINE:
        return float(row["low_line_breaks"])
    amps = next((amps for most, amps in row["breaks"] if rating <= most), 0.0)
    return float(max(amps, row["times"] * rating))


@dataclass(frozen=True, slots=True)
class Overload:
    """A transformer that a primary fuse does not protect from overload: for an hour the fuse
    carries ``times`` the transformer's ``primary_amps`` at its full rating.
    """

    rule: FuseRule
    transformer: str
    primary_amps: float
    times: float


def overloads(circuit: Circuit) -> Iterator[Overload]:
    """Return every transformer with rated volt-amperes that a fuse in its primary lets overheat: it
    carries more than the rated primary current for an hour.
    """
    volts = circuit.mains.volts if circuit.mains else None
    if not volts:
        return
    rules = [fuse_rule(part, volts) for part in circuit.parts if KINDS[part.kind].is_overcurrent]
    for part in circuit.parts:
        rated = part.value("apparent-power") if part.kind == "transformer" else None
        for rule in rules if rated else ():
            if rated and rule.holds > rated / volts and _feeds(circuit, rule.part, part):
                amps = rated / volts
                yield Overload(rule, part.name, amps, rule.holds / amps)


def _feeds(circuit: Circuit, fuse: str, transformer: Part) -> bool:
    """Return whether conductors, switches and contacts join a fuse to the primary of a
    transformer.
    """
    primary = {node for terminal, node in transformer.pins if terminal.startswith("primary")}
    reached = set(circuit.by_name[fuse].ends)
    growing = True
    while growing and reached.isdisjoint(primary):
        before = len(reached)
        for part in circuit.parts:
            kind = KINDS[part.kind]
            nodes = set(part.ends)
            if (kind.is_conductor or kind.is_switch) and not nodes.isdisjoint(reached):
                reached |= nodes
        for part in circuit.parts:
            mate = circuit.by_name.get(part.setting("mates"))
            for terminal, node in part.pins if mate else ():
                other = mate.node(terminal) if mate else None
                if other is not None and not {node, other}.isdisjoint(reached):
                    reached |= {node, other}
        growing = len(reached) > before
    return not reached.isdisjoint(primary)

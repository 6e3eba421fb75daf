"""The line side: what a blade of the plug reaches through the parts that only open, protect or
limit it.
"""

from __future__ import annotations

from itertools import pairwise

from rework.anatomy.links import groups, joints
from rework.anatomy.wiring import Wiring
from rework.circuit.graph import Merged
from rework.circuit.parts import Part, strands

#: Kinds through which a line conductor goes on being the line.
IN_THE_LINE = frozenset({"fuse", "breaker", "switch", "thermistor", "inlet filter"})
#: Terminals of a transformer that are no source of current.
_NO_SECONDARY = ("primary", "core", "screen")


def blades(wiring: Wiring) -> frozenset[str]:
    """Return the points of the plugs' line and neutral blades."""
    return frozenset(
        wiring.point(node)
        for part in wiring.circuit.parts
        if part.kind == "plug"
        for terminal, node in part.pins
        if terminal != "earth"
    )


def line_sides(wiring: Wiring) -> tuple[frozenset[str], ...]:
    """Return the two sides of the line (more with more plugs): the points that a blade reaches
    through fuses, switches, thermistors and mated contacts, in the order of their first points.
    """
    merged = Merged()
    circuit = wiring.circuit
    for part in circuit.parts:
        if part.kind in IN_THE_LINE:
            leading = (group for group in groups(part) if group.how in ("conductor", "conducts"))
            for group in leading:
                for first, second in pairwise(group.terminals):
                    merged.join(wiring.point(part.at(first)), wiring.point(part.at(second)))
    for first, here, second, there in joints(circuit):
        merged.join(
            wiring.point(circuit.by_name[first].at(here)),
            wiring.point(circuit.by_name[second].at(there)),
        )
    sides: dict[str, set[str]] = {merged.find(blade): set() for blade in sorted(blades(wiring))}
    for point in sorted(set(wiring.points_of.values())):
        if merged.find(point) in sides:
            sides[merged.find(point)].add(point)
    return tuple(frozenset(side) for side in sides.values())


def fed_by_winding(wiring: Wiring, line: frozenset[str], part: Part) -> bool:
    """Return whether an isolating winding, and no point of the line, is behind a rectifier.

    The search goes back from everything but its B+ and B- terminals, through fuses, switches,
    thermistors and surge resistors.
    """
    seen: set[str] = set()
    wanted = [wiring.point(node) for end, node in part.pins if end not in ("plus", "minus")]
    wound = False
    while wanted:
        point = wanted.pop()
        if point in seen:
            continue
        seen.add(point)
        if point in line:
            return False
        for other, terminal in wiring.at.get(point, ()):
            if other.kind == "transformer" and not terminal.startswith(_NO_SECONDARY):
                wound = True
            elif other.kind in IN_THE_LINE or "surge" in other.words:
                wanted += wiring.ends(other)
    return wound


def primary_ends(part: Part) -> tuple[str, str] | None:
    """Return the two terminals of the first primary of a transformer, or of the winding of an
    autotransformer; None for any other part.
    """
    if part.kind not in ("transformer", "autotransformer", "output transformer"):
        return None
    runs = [run for run in strands(part) if len(run) > 1]
    named = [run for run in runs if run[0].startswith("primary")]
    first = named[:1] or (runs[:1] if part.kind == "autotransformer" else [])
    return (first[0][0], first[0][-1]) if first else None


def on_the_line(wiring: Wiring, sides: tuple[frozenset[str], ...], part: Part) -> bool:
    """Return whether the primary of a transformer is across two sides of the line."""
    ends = primary_ends(part)
    if ends is None:
        return False
    near, far = (wiring.point(part.at(end)) for end in ends)
    return any(
        near in first and far in second for first in sides for second in sides if first != second
    )

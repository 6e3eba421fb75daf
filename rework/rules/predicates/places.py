"""Conditions on places: the line, the earth, metal in reach, and where a node is.

The docstring of each is what ``rework rules --words`` prints.
"""

from __future__ import annotations

from rework.anatomy.links import mated
from rework.circuit.kinds import KINDS
from rework.rules.known import Known, Operand


def is_mains_tied(known: Known, what: Operand) -> bool:
    """Reached from a plug blade through anything that conducts, no isolating winding between; for a
    part, any of its pins.
    """
    return _tied(known, what, "conduction")


def is_capacitively_tied(known: Known, what: Operand) -> bool:
    """Reached from a plug blade, but only through a capacitor."""
    return _tied(known, what, "capacitor") and not _tied(known, what, "conduction")


def _tied(known: Known, what: Operand, how: str) -> bool:
    points = known.points_of(what)
    return any(
        through == how and known.facts.point(node) in points
        for node, through in known.facts.ties.tied.items()
    )


def is_live(known: Known, what: Operand) -> bool:
    """Tied to the mains by conduction, and nothing on it but parts of the primary side: plug, fuse,
    switch, primary.
    """
    points = known.points_of(what)
    return (
        bool(points)
        and is_mains_tied(known, what)
        and all(
            KINDS[part.kind].primary_side
            for point in points
            for part, _ in known.facts.at.get(point, ())
        )
    )


def is_line(known: Known, what: Operand) -> bool:
    """On one of the two line conductors: reached from a blade through conductors, fuses, switches
    and thermistors only.
    """
    return not known.points_of(what).isdisjoint(known.facts.line)


def is_same_line_as(known: Known, what: Operand, other: Operand) -> bool:
    """On the same line conductor as another node, whatever switches and fuses are between."""
    here, there = known.points_of(what), known.points_of(other)
    return any(here & side and there & side for side in known.facts.line_sides)


def is_touchable(known: Known, what: Operand) -> bool:
    """Within reach of a hand: named touchable in the file, or a jack, chassis, shaft, frame, core
    or speaker terminal.
    """
    return not known.points_of(what).isdisjoint(known.facts.points(known.circuit.within_reach))


def is_metal(known: Known, what: Operand) -> bool:
    """Metal within reach: as touchable, but not the tip of a jack or the terminals of a speaker."""
    return not known.points_of(what).isdisjoint(known.facts.metal)


def is_chassis(known: Known, what: Operand) -> bool:
    """The chassis itself, conductors between left out of account."""
    return any(
        part.kind == "chassis"
        for point in known.points_of(what)
        for part, _ in known.facts.at.get(point, ())
    )


def is_earthed(known: Known, what: Operand) -> bool:
    """Joined by conductors alone to an earth stud or the earth pin of a three-pin plug, umbilicals
    plugged in.
    """
    return not known.points_of(what).isdisjoint(known.facts.earthed)


def stays_earthed(known: Known, what: Operand) -> bool:
    """Earthed as above with every umbilical pulled as well."""
    return not known.points_of(what).isdisjoint(known.facts.always_earthed)


def unplugs(known: Known, what: Operand) -> bool:
    """A node on a contact of a connector that mates with another: it can be pulled."""
    halves = {name for pair in mated(known.circuit) for name in pair}
    return any(
        part.name in halves
        for point in known.points_of(what)
        for part, _ in known.facts.at.get(point, ())
    )


def is_referenced_to(known: Known, what: Operand, other: Operand) -> bool:
    """Joined to a node by nothing but conductors, resistors, pots and windings."""
    target = known.points_of(other)
    seen: set[str] = set()
    wanted = list(known.points_of(what))
    while wanted:
        point = wanted.pop()
        if point in target:
            return True
        if point in seen:
            continue
        seen.add(point)
        wanted += known.facts.through_contacts(point)
        for part, terminal in known.facts.at.get(point, ()):
            if part.kind in ("resistor", "pot"):
                wanted += [known.facts.point(node) for end, node in part.pins if end != "shaft"]
            elif part.kind == "transformer":
                winding = terminal.partition(".")[0]
                wanted += [
                    known.facts.point(node)
                    for end, node in part.pins
                    if end.partition(".")[0] == winding
                ]
    return False


def is_on(known: Known, what: Operand, node: Operand) -> bool:
    """At the same point as a node, conductors left out of account; for a part, any of its pins."""
    where = known.point_of(node)
    return where in known.points_of(what)


def is_between(known: Known, what: Operand, operand: Operand, other: Operand) -> bool:
    """A part with its two ends on those two nodes, either way round."""
    wanted = {known.point_of(node) for node in (operand, other)}
    if what.part is None or len(what.part.ends) != 2:
        return False
    return known.facts.points(what.part.ends) == wanted


def is_a_node(known: Known, what: Operand) -> bool:
    """A node, or the terminal of a part, that is there; a name for a new node is not."""
    return what.point is not None and what.point in known.facts.group


def joins_two_only(known: Known, what: Operand) -> bool:
    """A node with exactly two terminals on it, conductors left out of account."""
    return what.point is not None and len(known.facts.at.get(what.point, ())) == 2


def is_in_series_with(known: Known, what: Operand, other: Operand) -> bool:
    """A part that shares with another a node on which there is nothing else."""
    return what.part != other.part and any(
        len(known.facts.at.get(point, ())) == 2
        for point in known.points_of(what) & known.points_of(other)
    )

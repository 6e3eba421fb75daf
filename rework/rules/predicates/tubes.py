"""Conditions on tubes and their heaters.

The docstring of each is what ``rework rules --words`` prints.
"""

from __future__ import annotations

from rework.anatomy.units import element_at
from rework.language.quantity import QuantityError, read_value
from rework.rules.known import Known, Operand, tube_of
from rework.tubes import library
from rework.tubes.relatives import SAME_CURVES, standing


def in_heater_string(known: Known, what: Operand) -> bool:
    """In series across the line with a heater, or a heater that shares just one of its two points
    with another's.
    """
    return what.part is not None and what.part.name in known.facts.heaters.parts


def heater_is(known: Known, what: Operand, volts: Operand) -> bool:
    """A tube whose heater, as it is wired now (or as it is ordinarily, where an end is on nothing),
    is for that voltage.
    """
    try:
        wanted = read_value(volts.text)
    except QuantityError:
        return False
    return (
        what.part is not None
        and wanted.dimension == "voltage"
        and known.facts.heaters.is_for(what.part, wanted.amount)
    )


def heater_is_across(known: Known, what: Operand, operand: Operand, other: Operand) -> bool:
    """A tube whose heater, as it is wired now, is fed from those two nodes."""
    ends = known.facts.heaters.ends(what.part) if what.part is not None else None
    wanted = {node.point if node.point is not None else node.text for node in (operand, other)}
    return ends is not None and set(ends) == wanted


def heater_has_a_winding(known: Known, what: Operand) -> bool:
    """A tube with an end of its heater on an isolating winding, umbilicals plugged in."""
    ends = known.facts.heaters.ends(what.part) if what.part is not None else None
    windings = {
        point
        for part in known.circuit.parts
        if part.kind == "transformer"
        for terminal, node in part.pins
        if not terminal.startswith(("primary", "core", "screen"))
        for point in [known.facts.point(node)]
    }
    return ends is not None and any(
        not known.facts.through_contacts(end).isdisjoint(windings) for end in ends
    )


def has_tapped_heater(known: Known, what: Operand) -> bool:
    """A tube whose heater has a tap on a pin, so that its halves can be fed in parallel."""
    tube = tube_of(what)
    return tube is not None and "heater-tap" in tube.element_names() and len(tube.heater.ways) > 1


def is_known_tube(known: Known, what: Operand) -> bool:
    """A tube, or the name of a type, that is in the tube library."""
    return library.is_known(what.part.type if what.part is not None else what.text)


def is_same_curves_as(known: Known, what: Operand, type_: Operand) -> bool:
    """A tube with the same electrodes and curves as a type, behind another heater; look-alikes are
    not.
    """
    old, new = tube_of(what), library.find(type_.text)
    return old is not None and new is not None and standing(old, new).word == SAME_CURVES


def is_output_stage(known: Known, what: Operand) -> bool:
    """A tube with a plate on the primary of an output transformer."""
    return what.part is not None and any(
        other.kind == "output transformer" and end.startswith("primary")
        for terminal, node in what.part.pins
        if element_at(what.part, terminal) == "plate"
        for other, end in known.facts.at.get(known.facts.point(node), ())
    )

"""Conditions on the old supply: common, rail, filter, rectifiers, back bias.

The docstring of each is what ``rework rules --words`` prints.
"""

from __future__ import annotations

from rework.anatomy.rectifiers import is_rectifier_tube, rectifies
from rework.anatomy.units import element_at
from rework.rules.computed import LINE_SHARE
from rework.rules.known import Known, Operand, tube_of


def is_common(known: Known, what: Operand) -> bool:
    """The circuit's own negative: called COMMON, B-, GROUND, GND or 0V; else where the minus of the
    B+ filter is.
    """
    return not known.points_of(what).isdisjoint(known.facts.common)


def is_rail(known: Known, what: Operand) -> bool:
    """On the B+ supply: reached from plates and screens through their loads, filter resistors and
    chokes.
    """
    return not known.points_of(what).isdisjoint(known.facts.rail)


def is_filter(known: Known, what: Operand) -> bool:
    """A filter capacitor: an electrolytic with its plus on the B+ supply."""
    return what.part is not None and known.facts.is_filter(what.part)


def is_rectifier(known: Known, what: Operand) -> bool:
    """A tube that is nothing but a rectifier, a selenium rectifier, a bridge, or a diode that is
    not germanium.
    """
    if what.part is None:
        return False
    return is_rectifier_tube(what.part) or (what.part.kind != "tube" and rectifies(what.part))


def has_rectifier_unit(known: Known, what: Operand) -> bool:
    """A tube that is a rectifier or holds one beside another unit."""
    tube = tube_of(what)
    return tube is not None and tube.has_rectifier_unit


def is_fed_by_a_winding(known: Known, what: Operand) -> bool:
    """A rectifier that an isolating winding feeds, with no line conductor behind it."""
    return what.part is not None and known.facts.fed_by_winding(what.part)


def is_back_bias(known: Known, what: Operand) -> bool:
    """A part of a back-bias network: resistors between the common and B- that bias an output tube,
    their bypass, the returns.
    """
    return what.part is not None and what.part.name in known.output_bias_parts


def is_back_biased(known: Known, what: Operand) -> bool:
    """The point of an output tube's cathode that takes its bias from resistors between there and
    B-.
    """
    return any(stage.cathode in known.points_of(what) for stage in known.facts.back_biased)


def is_negative_return(known: Known, what: Operand) -> bool:
    """The point where a back-bias network meets B-, away from the cathode."""
    return any(
        not known.points_of(what).isdisjoint(stage.returns) for stage in known.facts.back_biased
    )


def is_doubler(known: Known, what: Operand) -> bool:
    """A rectifier of a voltage doubler: what one section gives out, another takes in."""
    if what.part is None:
        return False
    rectifiers = known.facts.anatomy.rectifiers
    middle = {each.cathode for each in rectifiers} & {
        point for each in rectifiers for point in each.anodes
    }
    return any(
        each.part == what.part.name and middle & {each.cathode, *each.anodes} for each in rectifiers
    )


def feeds_heaters_only(known: Known, what: Operand) -> bool:
    """A transformer with nothing on its windings, but its primary, than heaters and lamps."""
    part = what.part
    if part is None or part.kind != "transformer":
        return False
    ends = [
        known.facts.point(node)
        for terminal, node in part.pins
        if not terminal.startswith(("primary", "core", "screen"))
    ]
    kept = known.facts.common | known.facts.earthed | known.facts.metal
    return bool(ends) and all(
        other.name == part.name
        or other.kind == "lamp"
        or element_at(other, terminal).startswith(("heater", "lamp"))
        for point in ends
        if point not in kept
        for other, terminal in known.facts.at.get(point, ())
    )


def is_for_the_line(known: Known, what: Operand) -> bool:
    """A part whose volts are those of the line, within a tenth, or that does not say its volts."""
    mains = known.circuit.mains
    volts = what.part.value("voltage") if what.part is not None else None
    if mains is None or volts is None:
        return True
    return abs(volts - mains.volts) <= LINE_SHARE * mains.volts


def is_for_direct_current(known: Known, what: Operand) -> bool:
    """A plug of a set that is for direct current."""
    mains = known.circuit.mains
    return what.part is not None and mains is not None and not mains.hertz

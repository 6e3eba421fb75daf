"""Conditions on a part as it is in the file: its name, its words, its values, its company.

The docstring of each is what ``rework rules --words`` prints.
"""

from __future__ import annotations

from rework.language.quantity import QuantityError, read_value
from rework.rules.known import Known, Operand
from rework.rules.predicates.places import is_line


def is_on_board(known: Known, what: Operand) -> bool:
    """Part of the amplifier itself and of no circuit attached to it."""
    return what.part is not None and "/" not in what.part.name


def is_named(known: Known, what: Operand, name: Operand) -> bool:
    """The part, node or word of that name; without ``named`` where one of the two is a parameter:
    ``{way} is tap``.
    """
    if what.part is not None and what.point is None:
        return what.part.name in [word.strip() for word in name.text.split()]
    if what.point is not None and what.text != name.text:
        return what.point == known.facts.point(name.text)
    return what.text == name.text


def is_a_part(known: Known, what: Operand) -> bool:
    """The name of a part that is there."""
    return what.part is not None or what.text in known.circuit.by_name


def is_marked(known: Known, what: Operand, word: Operand) -> bool:
    """A part that says a word of itself in the file, such as surge or dropper."""
    return what.part is not None and word.text in what.part.words


def has_free_pins(known: Known, what: Operand) -> bool:
    """A part with a terminal that is said to be on nothing."""
    return what.part is not None and bool(what.part.unused)


def is_bypassed(known: Known, what: Operand) -> bool:
    """A two-terminal part with a capacitor across it."""
    points = known.points_of(what)
    return (
        what.part is not None
        and len(points) == 2
        and any(
            part.kind in ("capacitor", "electrolytic")
            and known.facts.points(node for _, node in part.pins) == points
            for part in known.circuit.parts
        )
    )


def is_line_fuse(known: Known, what: Operand) -> bool:
    """A fuse or circuit breaker in a line conductor."""
    return what.part is not None and what.part.traits.is_overcurrent and is_line(known, what)


def is_line_switch(known: Known, what: Operand) -> bool:
    """A switch in a line conductor."""
    return what.part is not None and what.part.traits.is_switch and is_line(known, what)


def is_under(known: Known, what: Operand, value: Operand) -> bool:
    """A part, or a value, that is less than a value: ``?R is under 1 W``. A part that states none
    of that kind is neither under nor over.
    """
    pair = _compared(what, value)
    return pair is not None and pair[0] < pair[1]


def is_over(known: Known, what: Operand, value: Operand) -> bool:
    """A part, or a value, that is more than a value: ``?C is over 100 V``."""
    pair = _compared(what, value)
    return pair is not None and pair[0] > pair[1]


def _compared(what: Operand, value: Operand) -> tuple[float, float] | None:
    """Return two amounts of one dimension, SI, or None where one of them is not to be had."""
    try:
        limit = read_value(value.text)
        if what.part is None:
            stated = read_value(what.text)
            same = stated.dimension == limit.dimension
            return (stated.amount, limit.amount) if same else None
    except QuantityError:
        return None
    amount = what.part.value(limit.dimension)
    return None if amount is None else (amount, limit.amount)


def may_be(known: Known, what: Operand, other: Operand) -> bool:
    """Lets two names of a pattern stand for one part, such as two units of one bulb; without it
    they are different parts.
    """
    return True


def carries(known: Known, what: Operand, switch: Operand) -> bool:
    """A control with that switch on its back."""
    part, other = what.part, switch.part
    return part is not None and other is not None and other.setting("on") == part.name


def has_a_loose_shaft(known: Known, what: Operand) -> bool:
    """A control whose shaft is not of plastic and is on no node of the file."""
    part = what.part
    return (
        part is not None
        and part.kind == "pot"
        and "plastic-shaft" not in part.words
        and part.node("shaft") is None
    )

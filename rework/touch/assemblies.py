"""What parts of several sides, and parts that hold their volts, are to a current at line frequency:
relays, couplers, modules, line filters, indicators, regulators, varistors, batteries.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations, pairwise

from rework.anatomy.links import Group, groups
from rework.circuit.parts import Part
from rework.touch.builder import LEAST_OHMS, Builder
from rework.touch.element import EitherWay, Element


def gap(build: Builder, part: Part) -> Iterator[Element]:
    """Return what conducts from some volts on: it is tried both conducting and not."""
    first, second = part.traits.terminals
    if part.node(first) is not None and part.node(second) is not None:
        path = build.pair(
            part, first, second, name=part.name, farads=build.assumed["junction_farad"]
        )
        yield build.maybe(path, EitherWay("conducts", part.name))


def battery(build: Builder, part: Part) -> Iterator[Element]:
    """Return a battery as its volts and the ohms inside it."""
    if len(part.pins) > 1:
        ohms = part.value("resistance") or build.assumed["conductor_ohm"]
        path = build.pair(part, "minus", "plus", 1 / max(ohms, LEAST_OHMS), part.name)
        yield replace(path, emf=part.value("voltage") or 0.0)


def coil(build: Builder, part: Part) -> Iterator[Element]:
    """Return the coil of a relay, and its insulation from the contacts."""
    first, second = part.traits.terminals
    ohms = part.value("resistance")
    if part.node(first) is not None and part.node(second) is not None:
        if ohms is None:
            yield build.not_written(build.pair(part, first, second), "resistance")
        else:
            yield build.pair(part, first, second, 1 / max(ohms, LEAST_OHMS))
    yield from _between(build, part)


def sides(build: Builder, part: Part) -> Iterator[Element]:
    """Return the inside of each side, which is not known, and the insulation between them."""
    for group in _conducting(part):
        for first, second in pairwise(group.terminals):
            yield build.not_written(build.pair(part, first, second), "model")
    yield from _between(build, part)


def _conducting(part: Part) -> list[Group]:
    return [group for group in groups(part) if group.how == "conducts"]


def _between(build: Builder, part: Part) -> Iterator[Element]:
    """Return the insulation between the sides of a part: whole where its class isolates, and tried
    broken down where the file states no such class.
    """
    proved = not any(group.how == "unproved" and not group.metal for group in groups(part))
    inside = {terminal for group in _conducting(part) for terminal in group.terminals}
    lone = [(pin,) for pin, _ in part.pins if pin not in inside and pin not in ("frame", "can")]
    runs = [group.terminals for group in _conducting(part)] + lone
    for here, there in combinations(runs, 2):
        path = build.pair(
            part,
            here[0],
            there[0],
            name=f"{part.name} {here[0]} to {there[0]}",
            farads=build.assumed["interwinding_farad"],
            kind="insulation",
        )
        yield path if proved else build.maybe(path, EitherWay("insulation", part.name))


def line_filter(build: Builder, part: Part) -> Iterator[Element]:
    """Return the coils of a line filter as conductors, and its capacitors to earth, which are taken
    as broken down where the file states no class for them.
    """
    for first, second in (("line", "line-out"), ("neutral", "neutral-out")):
        if part.node(first) is not None and part.node(second) is not None:
            yield build.pair(part, first, second, 1 / build.assumed["conductor_ohm"])
    farads = part.value("capacitance") or build.assumed["filter_farad"]
    for lead in ("line-out", "neutral-out"):
        if part.node("earth") is not None and part.node(lead) is not None:
            path = build.pair(part, lead, "earth", farads=farads, kind="capacitor")
            yield path if part.setting("class") else build.not_written(path, "class")

"""A lead that is on the wrong node, or two leads of one part exchanged: where they belong instead.

Asked where no cut helps, in a set with a power transformer: a fuse or switch whose lead is on a
signal node leaves the line behind it dead, and to take it off alone mends nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import islice

from rework.circuit.edits import Action
from rework.circuit.kinds import METALWORK
from rework.circuit.parts import Part, strands
from rework.safety.cord import reconnected
from rework.safety.exposure import hazard_nodes, is_hazard
from rework.safety.findings import Hazard
from rework.safety.survey import Survey
from rework.safety.trial import edited

#: The ways to so many hazards, the first, are looked along, and no more places than this are tried.
_MOST_WAYS, _MOST_PLACES = 2, 80
#: Kinds that are metal and nothing else, and kinds that may be on the line or anywhere else.
_METAL = frozenset({"chassis", "earth"})
_ANYWHERE = frozenset({"resistor", "capacitor", "choke", "lamp"})
#: A part with more leads than this has none exchanged.
_MOST_LEADS = 12
#: Kinds whose leads are never moved: those of a tube are a matter of its socket.
_STAY = frozenset({"tube", "socket"})


def relocations(survey: Survey, hazards: Sequence[Hazard]) -> Iterator[tuple[Action, ...]]:
    """Yield edits that move one lead of a part on the way to a hazard, or exchange two of them,
    after which no hazard is left.
    """
    if not any(part.kind == "transformer" for part in survey.circuit.parts):
        return
    for edits in islice(dict.fromkeys(_places(survey, hazards)), _MOST_PLACES):
        after = edited(survey.circuit, edits)
        if after is not None and not hazard_nodes(Survey(after)):
            yield edits


def _places(survey: Survey, hazards: Sequence[Hazard]) -> Iterator[tuple[Action, ...]]:
    ends = _line_ends(survey)
    for hazard in hazards[:_MOST_WAYS]:
        for part, pin in _leads_on_the_way(survey, hazard):
            yield from _moved(survey, part, pin, ends)
            for other, node in part.pins if len(part.pins) <= _MOST_LEADS else ():
                if node != part.at(pin):
                    yield reconnected(part, {pin: node, other: part.at(pin)})


def _leads_on_the_way(survey: Survey, hazard: Hazard) -> Iterator[tuple[Part, str]]:
    """Yield the leads on the way to a hazard: first metal on its node, then those that are of the
    line or of metal by their kind and are not among such, last those where the way leaves the
    line. Where insulation is on the way the leads of the earth come between, for only metal
    without its earth counts as tied.
    """
    leaves = next(
        (place for place, step in enumerate(hazard.path) if is_hazard(survey, step.node)), 0
    )
    leads = [
        (part, pin)
        for _, step in sorted(enumerate(hazard.path), key=lambda each: abs(each[0] - leaves))
        for part in [survey.circuit.by_name[step.part]]
        for pin in dict.fromkeys((step.out_of, step.into))
        if part.kind not in _STAY and part.node(pin) is not None
    ]
    yield from (lead for lead in survey.strangers(hazard.node) if lead[1] in METALWORK)
    yield from (lead for lead in leads if _is_among_others(survey, *lead))
    if any(step.out_of in METALWORK for step in hazard.path):
        yield from _earth_leads(survey)
    yield from (lead for lead in leads if not _is_among_others(survey, *lead))


def _is_among_others(survey: Survey, part: Part, pin: str) -> bool:
    """Return whether a lead of the line, or of metal, is with leads that are never of its kind."""
    circuit, node = survey.circuit, part.at(pin)
    if pin in METALWORK:
        nodes = [other for other in circuit.nodes if survey.point[other] == survey.point[node]]
        at = [lead for other in nodes for lead in circuit.at[other] if _counts(lead[0], part)]
        return bool(at) and not any(
            other.kind in _METAL or there in METALWORK for other, there in at
        )
    at = [lead for lead in circuit.at[node] if _counts(lead[0], part)]
    strange = (not _is_of_the_line(*lead) and lead[0].kind not in _ANYWHERE for lead in at)
    return not part.is_conductor and _is_of_the_line(part, pin) and any(strange)


def _counts(other: Part, part: Part) -> bool:
    """Return whether a part says something of the place of another."""
    return other != part and not other.is_conductor and other.kind != "connector"


def _earth_leads(survey: Survey) -> Iterator[tuple[Part, str]]:
    """Yield the earth pins of the plugs, and the ends of the conductors that are on such a pin."""
    for plug in survey.plugs:
        if plug.node("earth") is None:
            continue
        yield plug, "earth"
        earth = survey.point[plug.at("earth")]
        for part in survey.circuit.parts:
            for run in strands(part) if part.is_conductor else ():
                if any(survey.point[part.at(end)] == earth for end in run):
                    yield from ((part, end) for end in run)


def _moved(
    survey: Survey, part: Part, pin: str, ends: Sequence[Sequence[str]]
) -> Iterator[tuple[Action, ...]]:
    """Yield edits that connect one lead to the ends of the line, or to a chassis, where no other
    lead of the part is.
    """
    prefix = part.name.rpartition("/")[0]
    is_metal = pin in METALWORK or pin.startswith("shield")
    chassis = [node for metal in survey.of_kind("chassis") for _, node in metal.pins]
    chassis.sort(key=lambda node: node.rpartition("/")[0] != prefix)
    run = next((run for run in strands(part) if pin in run), ()) if part.is_conductor else ()
    for node in chassis if is_metal or part.is_conductor else ():
        if all(node != at for end, at in part.pins if end in run or not part.is_conductor):
            yield reconnected(part, {pin: node})
    taken = {survey.point[node] for _, node in part.pins}
    for nodes in () if is_metal else ends:
        near = [node for node in nodes if node.rpartition("/")[0] == prefix]
        node = next(iter([*near, *nodes]))
        if survey.point[node] not in taken:
            yield reconnected(part, {pin: node})


def _line_ends(survey: Survey) -> list[list[str]]:
    """Return the nodes of every point that carries primary-side parts only, or one lead only: the
    points first that no blade reaches.
    """
    ends: dict[str, list[str]] = {}
    for node in survey.circuit.nodes:
        pins = survey.circuit.at.get(node, ())
        used = any(part.kind != "connector" and not part.is_conductor for part, _ in pins)
        is_line = used and all(_is_of_the_line(part, terminal) for part, terminal in pins)
        if is_line or len(pins) == 1:
            ends.setdefault(survey.point[node], []).append(node)
    return sorted(ends.values(), key=lambda nodes: nodes[0] in survey.primary.line)


def _is_of_the_line(part: Part, terminal: str) -> bool:
    """Return whether a lead has its place on the mains by its kind alone."""
    if part.kind == "transformer":
        return terminal.startswith("primary")
    if part.is_conductor:
        return not terminal.startswith("shield")
    return part.traits.primary_side and terminal not in METALWORK | {"earth"}

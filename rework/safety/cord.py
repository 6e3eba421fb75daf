"""A line cord whose leads are on the wrong pins: what puts the earth of the plug on the metal."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from rework.circuit.edits import Action, CutConductor, FitPart, RemovePart
from rework.circuit.kinds import METALWORK
from rework.circuit.parts import Part
from rework.safety.findings import Hazard, Remedy
from rework.safety.survey import Survey, listed

#: So many nodes in reach, those with the most pins first, are tried as the end of the earth lead.
_MOST_METAL = 4
_BLADES = ("line", "neutral")
_RESISTANCES = ("resistor", "choke", "thermistor")


def rewired(survey: Survey) -> tuple[tuple[Action, ...], ...]:
    """Return edits that may put the earth lead of a plug where it belongs: it is exchanged with a
    blade's lead, or connected to metal.
    """
    return tuple(
        dict.fromkeys(
            reconnected(plug, moved)
            for plug in _misplaced(survey)
            for moved in _moves(survey, plug)
            if any(plug.at(terminal) != node for terminal, node in moved.items())
        )
    )


def _moves(survey: Survey, plug: Part) -> Iterator[dict[str, str]]:
    """Yield where pins of a plug may belong instead."""
    for blade in _BLADES:
        if plug.node(blade) is not None:
            yield {"earth": plug.at(blade), blade: plug.at("earth")}
    at = survey.circuit.at
    reached = (node for node in survey.circuit.within_reach if node in at)
    for node in sorted(reached, key=lambda node: (-len(at[node]), node))[:_MOST_METAL]:
        yield {"earth": _loose_end(survey, node)}


def rewiring(survey: Survey) -> tuple[Remedy, ...]:
    """Return these edits as remedies."""
    return tuple(
        Remedy(moved_leads(survey.circuit.by_name[edits[-1].part.name], edits[-1].part), edits)
        for edits in rewired(survey)
        if isinstance(edits[-1], FitPart)
    )


def moved_leads(part: Part, then: Part) -> str:
    """Return which leads of a part go where, as an instruction."""
    moved = {terminal: node for terminal, node in then.pins if part.node(terminal) != node}
    if len(moved) > 1:
        ends = listed(
            f"pin {terminal} to {node}" if terminal.isdigit() else f"the {terminal} pin to {node}"
            for terminal, node in moved.items()
        )
        return f"At {part.name}, exchange the leads on {' and '.join(moved)}: connect {ends}."
    terminal, node = next(iter(moved.items()))
    pin = terminal if terminal in METALWORK else f"{terminal} pin"
    pin = f"pin {terminal}" if terminal.isdigit() else f"the {pin}"
    return f"Disconnect {pin} of {part.name} from {part.at(terminal)} and connect it to {node}."


def cut_and_rewired(survey: Survey, hazards: Sequence[Hazard]) -> Iterator[tuple[Action, ...]]:
    """Yield edits that connect the earth lead of a plug to metal, and take out a conductor that
    leads from a blade to that metal.
    """
    for plug in _misplaced(survey):
        for hazard in [hazard for hazard in hazards if hazard.touchable][:_MOST_METAL]:
            for step in hazard.path:
                part = survey.circuit.by_name[step.part]
                if part.is_conductor and part.kind != "shielded cable":
                    yield CutConductor(part.name), *reconnected(plug, {"earth": hazard.node})


def _misplaced(survey: Survey) -> Iterator[Part]:
    """Yield the plugs whose earth pin is on a blade, or does not lead to anything in reach."""
    for plug in survey.plugs:
        if plug.node("earth") is not None:
            earth = survey.rail[plug.at("earth")]
            blades = {survey.rail[node] for node in map(plug.node, _BLADES) if node is not None}
            if earth in blades or not _leads_to_metal(survey, earth):
                yield plug


def _leads_to_metal(survey: Survey, point: str) -> bool:
    """Return whether conductors, or those and one resistance, lead from a point into reach."""
    circuit = survey.circuit
    reached = {survey.rail[node] for node in circuit.within_reach if node in circuit.at}
    return point in reached or any(
        point in ends and not reached.isdisjoint(ends)
        for part in survey.of_kind(*_RESISTANCES)
        for ends in [{survey.rail[node] for _, node in part.pins}]
    )


def reconnected(part: Part, moved: Mapping[str, str]) -> tuple[Action, ...]:
    """Return the edits that connect some pins of a part to other nodes."""
    pins = tuple((terminal, moved.get(terminal, node)) for terminal, node in part.pins)
    return RemovePart(part.name), FitPart(replace(part, pins=pins))


def _loose_end(survey: Survey, node: str) -> str:
    """Return the loose end of a conductor that leads to some metal, or the metal itself."""
    ends = (other for other, pins in survey.circuit.at.items() if len(pins) == 1)
    return next((end for end in ends if survey.point[end] == survey.point[node]), node)

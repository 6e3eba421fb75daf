"""What a finished conversion wants of its plug and of the earth: metal bonded, the conductor thick
enough and of the right colour.

The earth on its own screw and never through a switch: published conversion practice
(instructables.com, isolation transformer upgrade for old guitar amps, step 11; vintageamps.com
forum 111751). No switch or fuse in the earth conductor: IEC 60950-1 as quoted by a power-supply
maker's tutorial (digikey.cn, CUI, slide 7). Colours: green, bare or green-yellow in the US,
green-yellow only elsewhere (IEC 60446, en.wikipedia.org/wiki/IEC_60446; cordage colours,
ningbohewang.com). Earth core not thinner than the line cores: from memory.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from rework.circuit.edits import Action, FitPart, RemovePart, RunWire
from rework.circuit.kinds import KINDS, METALWORK
from rework.circuit.parts import Part
from rework.safety.bonding import bond, earthed_metal
from rework.safety.conductors import section
from rework.safety.cord import rewiring
from rework.safety.findings import Caution, Finding, Remedy, measure
from rework.safety.survey import Survey, listed

#: Terminals that are metal a hand meets.
_METAL = METALWORK | {"metal", "sleeve"}
#: Kinds whose shield is metal a hand meets: the arm of a pickup, the shell of a microphone.
_SHIELDED = frozenset({"pickup", "microphone"})
_WITH_METAL = tuple(
    name
    for name, kind in KINDS.items()
    if name in _SHIELDED or _METAL.intersection((*kind.terminals, *kind.optional))
)
#: Colours of a wire, as words of the netlist.
_COLOURS = frozenset(
    {"black", "brown", "red", "orange", "yellow", "green", "blue", "violet", "gray", "white"}
)
#: Colours an earth conductor may have.
_EARTH_COLOURS = frozenset({"green", "green-yellow"})
#: How much thinner than the line an earth conductor reads before it is one size thinner: AWG sizes
#: and metric ones do not meet.
_THINNER = 0.95


def plug_and_earth(survey: Survey) -> tuple[Finding, ...]:
    """Return cautions for plugs without an earth, and for touchable metal that conductors do not
    bond to it.
    """
    findings: list[Finding] = [
        Caution(
            "no-earth",
            f"Plug {plug.name} has no earth connection, so no metal is earthed.",
            plug.name,
            "earth",
            "",
            _three_pin(survey, plug),
        )
        for plug in survey.plugs
        if plug.node("earth") is None
    ]
    if any(plug.node("earth") for plug in survey.plugs):
        findings += [
            _not_bonded(survey, node, part, terminal)
            for node, part, terminal in metal(survey)
            if node not in survey.ties.earthed
        ]
    return tuple(findings)


def _three_pin(survey: Survey, plug: Part) -> tuple[Remedy, ...]:
    """Return the exchange of a plug for one with an earth, with all metal bonded to it."""
    nodes = [node for node, _, _ in metal(survey)]
    if not nodes or any(node in survey.ties.tied for node in nodes):
        return ()
    words = tuple(word for word in plug.words if word not in ("two-blade", "polarised"))
    fitted = replace(plug, words=(*words, "three-pin"), pins=(*plug.pins, ("earth", nodes[0])))
    edits: list[Action] = [RemovePart(plug.name), FitPart(fitted)]
    joined = {survey.point[nodes[0]]}
    for node in nodes[1:]:
        if survey.point[node] not in joined:
            joined.add(survey.point[node])
            edits.append(RunWire(bond(survey, node, nodes[0], number=len(edits))))
    others = nodes[1:] if len(edits) > 2 else []
    more = f", and bond {listed(others)} to it" if others else ""
    text = f"Fit a three-pin plug and run its earth to {nodes[0]}, on its own screw{more}."
    return (Remedy(text, tuple(edits)),)


def metal(survey: Survey) -> list[tuple[str, Part, str]]:
    """Return touchable metal as (node, part, terminal), a node once: chassis, cores, frames, metal
    shafts, sleeves, shields in reach, and what the file says can be touched.
    """
    signal = {
        node
        for part in survey.of_kind("jack", "speaker", "pickup", "microphone")
        for terminal, node in part.pins
        if not _is_metal(part, terminal)
    }
    at: dict[str, tuple[str, Part, str]] = {}
    for part in survey.of_kind(*_WITH_METAL):
        for terminal, node in part.pins:
            if _is_metal(part, terminal):
                at.setdefault(node, (node, part, terminal))
    for node in survey.circuit.touchable:
        if node in survey.circuit.at and node not in signal and node not in at:
            at[node] = (node, *survey.circuit.at[node][0])
    return [at[node] for node in sorted(at)]


def _is_metal(part: Part, terminal: str) -> bool:
    if terminal == "shield":
        return part.kind in _SHIELDED
    return terminal in _METAL and not (terminal == "shaft" and "plastic-shaft" in part.words)


def _not_bonded(survey: Survey, node: str, part: Part, terminal: str) -> Caution:
    pin = survey.pin(part, terminal)
    message = (
        f"{node} ({pin}) is metal in reach and no conductor bonds it to the earth of the plug."
    )
    if node in survey.ties.tied:
        return Caution(
            "not-bonded",
            f"{message} It is tied to the mains: do not bond it before the tie is removed.",
            part.name,
            terminal,
            node,
        )
    if part.kind == "jack" and {"speaker", "output"} & set(part.words):
        return Caution(
            "output-not-bonded",
            f"{node} ({pin}) can be touched and is not bonded to earth. Only the insulation of the"
            " output transformer separates it from B+.",
            part.name,
            terminal,
            node,
            measure(
                f"Bond one side of the speaker winding to the chassis at {pin}. Or measure the"
                " insulation of the output transformer."
            ),
            "mind",
        )
    remedies = tuple(
        Remedy(
            f"Run a green-yellow wire from {node} to {at}, where the earth comes in.",
            (RunWire(bond(survey, node, at)),),
        )
        for at in earthed_metal(survey)[:1]
    )
    remedies = remedies or rewiring(survey)
    return Caution("not-bonded", message, part.name, terminal, node, remedies)


def earth_conductor(survey: Survey) -> tuple[Finding, ...]:
    """Return cautions for wires from the earth pin of a plug to metal that are thinner than the
    line or of another colour, and for earth colours on the line.
    """
    line = tuple(_wires(survey, survey.primary.line))
    # An earth conductor that is on a blade is a hazard: its colour is right.
    circuit = survey.circuit
    metal = {survey.point[node] for node in circuit.within_reach if node in circuit.at}
    thick = max(line, key=lambda wire: section(wire) or 0.0, default=None)
    findings: list[Finding] = []
    for wire in dict.fromkeys(_earth_wires(survey)):
        colours = _COLOURS.intersection(wire.words) - _EARTH_COLOURS
        if colours and _EARTH_COLOURS.isdisjoint(wire.words):
            findings.append(_wrong_colour(wire, listed(sorted(colours))))
        size, least = section(wire), section(thick) if thick is not None else None
        if thick is not None and size is not None and least and size < _THINNER * least:
            findings.append(_too_thin(wire, size, thick, least))
    findings += [
        Caution(
            "earth-colour-on-line",
            f"Wire {wire.name} has the colour of earth and carries the line.",
            wire.name,
            "colour",
            "",
            measure(f"Mark wire {wire.name} at both ends, or fit one of another colour."),
            "mind",
        )
        for wire in line
        if _EARTH_COLOURS.intersection(wire.words)
        and not any(
            node in survey.ties.earthed or survey.point[node] in metal for _, node in wire.pins
        )
    ]
    return tuple(findings)


def _wrong_colour(wire: Part, colours: str) -> Caution:
    words = (*(word for word in wire.words if word not in _COLOURS), "green-yellow")
    return Caution(
        "earth-colour",
        f"Wire {wire.name} is the earth conductor and is {colours}. Only green-yellow (in the US"
        " also green) is the colour of earth.",
        wire.name,
        "colour",
        "",
        _exchanged(replace(wire, words=words), f"Fit a green-yellow wire in place of {wire.name}."),
    )


def _too_thin(wire: Part, size: float, thick: Part, least: float) -> Caution:
    values = (
        *(value for value in wire.values if value.dimension not in _SIZES),
        *(value for value in thick.values if value.dimension in _SIZES),
    )
    return Caution(
        "earth-thin",
        f"Wire {wire.name} is the earth conductor and is thinner than the line"
        f" ({size * 1e6:.2g} mm2 against {least * 1e6:.2g} mm2).",
        wire.name,
        "size",
        "",
        _exchanged(replace(wire, values=values), f"Fit a wire as thick as {thick.name}."),
    )


_SIZES = ("gauge", "area")


def _exchanged(wire: Part, words: str) -> tuple[Remedy, ...]:
    return (Remedy(words, (RemovePart(wire.name), FitPart(wire))),)


def _wires(survey: Survey, nodes: frozenset[str]) -> Iterator[Part]:
    return (part for part in survey.of_kind("wire") if all(node in nodes for _, node in part.pins))


def _earth_wires(survey: Survey) -> Iterator[Part]:
    """Return the wires between the earth pins of plugs and the first metal each leads to."""
    touched = survey.circuit.within_reach
    for plug in survey.plugs:
        start = plug.node("earth")
        reached = {start} if start is not None else set()
        waiting = sorted(reached - touched)
        if start in touched:
            continue
        while waiting:
            node = waiting.pop()
            for part, _ in survey.circuit.at.get(node, ()):
                if part.kind != "wire":
                    continue
                yield part
                for _, other in part.pins:
                    if other not in reached:
                        reached.add(other)
                        if other not in touched:
                            waiting.append(other)

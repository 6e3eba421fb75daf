"""What holds a heater winding to a voltage, and what volts that puts between heater and cathode."""

from __future__ import annotations

from collections.abc import Iterable

from rework.anatomy.heaters import HeaterString
from rework.anatomy.units import tube_of
from rework.circuit.edits import FitPart
from rework.circuit.parts import Part, Value
from rework.safety.findings import Caution, Finding, Remedy, measure
from rework.safety.survey import Survey, listed

#: What holds a winding to a voltage.
_REFERS = ("resistor", "pot", "fuse", "switch")


def heater_reference(survey: Survey) -> tuple[Finding, ...]:
    """Return cautions for heater windings that nothing holds to a voltage, and for those raised by
    a divider from B+.

    A winding that feeds a rectifier whose cathode is its heater, or is joined to it, has its
    reference there; one that feeds a bridge on common has it through the diodes, which hold its
    ends between common and the other pole.
    """
    strings = survey.anatomy.heaters.strings if any(survey.of_kind("tube")) else ()
    if not strings:
        return ()
    common = _common(survey)
    findings: list[Finding] = []
    for (part, winding), fed in _windings(survey, strings).items():
        transformer = survey.circuit.by_name[part]
        points = {
            survey.point[node]
            for terminal, node in transformer.pins
            if terminal.split(".")[0] == winding
        }
        if not fed or any(_cathode_on(survey, tube, points) for tube in fed):
            continue
        reached = _resistive_reach(survey, points, common)
        if not reached & common and not _clamped(survey, points, common):
            findings.append(_floating(survey, transformer, winding, fed))
        elif reached & _raised(survey) - points:
            findings.append(_raised_caution(part, winding, fed))
    return tuple(findings)


def _windings(survey: Survey, strings: Iterable[HeaterString]) -> dict[tuple[str, str], list[Part]]:
    """Return the tubes that each heater winding feeds, by transformer and winding."""
    heaters = survey.anatomy.heaters
    fed: dict[tuple[str, str], list[Part]] = {
        (source.part.name, source.winding): [] for source in heaters.sources if source.part
    }
    for string in strings:
        source = heaters.source_of(string.ends)
        if source is not None and source.part is not None:
            tubes = (element.part for element in string.tubes)
            fed[source.part.name, source.winding].extend(tubes)
    return fed


def _common(survey: Survey) -> set[str]:
    """Return the points that a heater may be referred to: common, earth, and metal in reach."""
    anatomy = survey.anatomy
    low = anatomy.common | anatomy.b_minus
    return {
        survey.point[node]
        for node in survey.circuit.nodes
        if node in survey.ties.earthed
        or node in survey.circuit.within_reach
        or anatomy.wiring.point(node) in low
    }


def _cathode_on(survey: Survey, part: Part, points: set[str]) -> bool:
    """Return whether a tube has its cathode on the winding that heats it, or its heater for a
    cathode.
    """
    tube = tube_of(part)
    if tube is None:
        return False
    return tube.heater.directly_heated or (
        tube.has_rectifier_unit
        and any(
            survey.point[node] in points
            for pin, node in part.pins
            if any(name.endswith("cathode") for name in tube.elements_of(pin))
        )
    )


def _clamped(survey: Survey, points: set[str], common: set[str]) -> bool:
    """Return whether a winding feeds both inputs of a bridge that has a pole on common."""
    fed = _resistive_reach(survey, points, common, (*_REFERS, "lamp"))
    for bridge in survey.of_kind("bridge"):
        at = {terminal: survey.point[node] for terminal, node in bridge.pins}
        poles = {at[pole] for pole in ("plus", "minus") if pole in at}
        if {at.get("ac1"), at.get("ac2")} <= fed and _resistive_reach(
            survey, poles, common
        ) & common:
            return True
    return False


def _resistive_reach(
    survey: Survey, points: set[str], stop: set[str], through: tuple[str, ...] = _REFERS
) -> set[str]:
    """Return the points that resistors, pots, fuses and switches join to some points, on ways that
    end at ``stop``.
    """
    net, reached, line = survey.net, set(points), list(points)
    at: dict[str, list[int]] = {}
    for number, pins in enumerate(net.pins):
        if net.part[number].kind in through and not net.is_insulation(number):
            for _, node in pins:
                at.setdefault(survey.point[node], []).append(number)
    while line:
        point = line.pop()
        for number in at.get(point, ()) if point not in stop else ():
            for _, node in net.pins[number]:
                if survey.point[node] not in reached:
                    reached.add(survey.point[node])
                    line.append(survey.point[node])
    return reached


def _floating(survey: Survey, transformer: Part, winding: str, fed: list[Part]) -> Caution:
    return Caution(
        "heater-floating",
        f"The {winding} winding of {transformer.name}, which heats"
        f" {listed(tube.name for tube in fed)}, is not connected to common: its heaters may float"
        " to any voltage against their cathodes, and hum.",
        transformer.name,
        winding,
        "",
        _balanced(survey, transformer, winding),
    )


def _balanced(survey: Survey, transformer: Part, winding: str) -> tuple[Remedy, ...]:
    """Return two equal resistors from the ends of a winding to common."""
    ends = [node for terminal, node in transformer.pins if terminal.split(".")[0] == winding]
    minus = sorted(
        node
        for part in survey.of_kind("electrolytic")
        for terminal, node in part.pins
        if terminal == "minus" and survey.point[node] in _common(survey)
    )
    if len(ends) < 2 or not minus:
        return ()
    common = max(minus, key=lambda node: (minus.count(node), node))
    taken, edits = survey.circuit, []
    for node in (ends[0], ends[-1]):
        name = taken.free_part_name("R")
        values = (Value("resistance", 100.0), Value("power", 0.5))
        part = Part(name, "resistor", values=values, pins=(("1", node), ("2", common)))
        taken = taken.with_parts((*taken.parts, part))
        edits.append(FitPart(part))
    names = listed(edit.part.name for edit in edits)
    words = f"Fit two resistors of 100 ohm 1/2 W, {names}, from both ends of it to {common}."
    return (Remedy(words, tuple(edits)),)


def _raised(survey: Survey) -> set[str]:
    """Return the points where B+ comes in: at the cathode side of rectifiers and at chokes."""
    return {
        survey.point[node]
        for part in survey.of_kind("bridge", "diode", "selenium", "choke")
        for terminal, node in part.leads
        if terminal in ("plus", "cathode") or part.kind == "choke"
    }


def _raised_caution(part: str, winding: str, tubes: list[Part]) -> Caution:
    limits = [
        (figure.value, part_, figure.trust)
        for part_ in tubes
        if (tube := tube_of(part_)) is not None
        if (figure := tube.ratings.get("heater_cathode_volts"))
    ]
    least = min(limits, key=lambda limit: (limit[0], limit[1].name)) if limits else None
    reference = (
        f" The lowest heater-cathode limit is {least[0]:g} V, of {least[1].name} ({least[1].type};"
        f" {least[2]})."
        if least
        else " No heater-cathode limit of these tubes is known here."
    )
    return Caution(
        "heater-raised",
        f"A divider from B+ raises the {winding} winding of {part}.{reference}",
        part,
        winding,
        "",
        measure(
            f"Measure from the {winding} winding to every cathode, from switch-on until warm, and"
            " keep it within the limit."
        ),
        "mind",
    )

"""Ratings that need no solver: half-wave load on a transformer, and every pin of every tube
accounted for.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from rework.anatomy.feeding import Feeding
from rework.anatomy.rectifiers import rectifies, shares_bulb
from rework.circuit.edits import FitPart
from rework.circuit.parts import Part, strands
from rework.safety.cord import moved_leads, reconnected
from rework.safety.findings import Caution, Finding, Remedy, measure, write
from rework.safety.survey import Survey, listed
from rework.tubes import library

#: A resistor up to this many ohms between winding and rectifier is a surge resistor.
_SURGE_OHMS = 1000.0


def half_wave_load(survey: Survey) -> tuple[Finding, ...]:
    """Return a caution for every transformer winding that one rectifier loads in one direction
    only.

    The direct current magnetises the core; a small isolation transformer saturates on one
    half-cycle, hums and heats (antiqueradio.org, as quoted in published conversions:
    instructables.com, isolation transformer upgrade, step 8).
    """
    findings: list[Finding] = []
    windings = [
        (part, run)
        for part in survey.of_kind("transformer")
        for run in strands(part)
        if len(run) > 1 and not run[0].startswith("primary")
    ]
    rectifiers = _rectifiers(survey) if windings else {}
    for part, run in windings:
        loads = {
            (index, direction): name
            for index, terminal in enumerate(run)
            for name, direction in rectifiers.get(survey.rail[part.at(terminal)], ())
        }
        if len(loads) != 1:
            continue
        (((index, direction), rectifier),) = loads.items()
        others = [part.at(end) for end in run if end != run[index]]
        # a bridge loads an end both ways, whatever stands before its other one
        if direction != "both ways" and _may_return(survey, others):
            winding = run[0].split(".")[0]
            findings.append(
                Caution(
                    "half-wave",
                    f"{rectifier} is a half-wave rectifier on the {winding} winding of {part.name}:"
                    " its direct current magnetises the core, and a small transformer saturates,"
                    " hums and runs hot.",
                    part.name,
                    winding,
                    "",
                    measure(_for_half_wave(survey.circuit.by_name[rectifier])),
                    "mind",
                )
            )
    return tuple(findings)


def _may_return(survey: Survey, nodes: Iterable[str]) -> bool:
    """Return whether rectified current may come back to a winding by one of some nodes: on common,
    metal or a capacitor. One with heaters alone on its other end carries none.
    """
    body = survey.anatomy
    low = {*body.common, *body.b_minus, *body.chassis}
    low |= {node for part in survey.of_kind("capacitor", "electrolytic") for node in part.ends}
    return not {survey.rail[node] for node in low}.isdisjoint(survey.rail[node] for node in nodes)


def half_wave_primaries(survey: Survey) -> tuple[Finding, ...]:
    """Return a caution for every primary and motor of which one end is on the direct side of a
    rectifier: what an old line lead leaves on the minus of a new bridge.

    The winding gets half waves of one direction, whose direct current only its ohms limit.
    """
    poles = {
        survey.rail[node]
        for part in survey.of_kind("diode", "selenium", "bridge", "tube")
        if rectifies(part)
        for terminal, node in part.pins
        if not terminal.startswith("ac")
    }
    wound = [
        part
        for part in survey.of_kind("transformer", "autotransformer", "motor")
        if any(survey.rail[node] in poles for _, node in part.pins)
    ]
    if not wound:
        return ()
    feeding = Feeding(survey.anatomy)
    findings: list[Finding] = []
    for part in wound:
        rectifier, end = feeding.half_wave(part) or ("", "")
        if rectifier:
            findings.append(
                Caution(
                    "half-wave-primary",
                    f"{survey.pin(part, end)} is on the direct-current side of {rectifier}:"
                    f" half-wave direct current magnetises {part.name}, which hums and overheats.",
                    part.name,
                    end,
                    "",
                    tuple(_onto_the_inputs(survey, part, end, rectifier)),
                )
            )
    return tuple(findings)


def _onto_the_inputs(survey: Survey, part: Part, end: str, rectifier: str) -> Iterator[Remedy]:
    """Yield the end of a winding put on a node where the rectifier gets its alternating current."""
    by_name = survey.circuit.by_name
    taken = {survey.rail[node] for _, node in part.pins}
    for terminal, node in by_name[rectifier].pins:
        if terminal not in ("plus", "minus") and survey.rail[node] not in taken:
            edits = reconnected(part, {end: node})
            moved = next(edit.part for edit in edits if isinstance(edit, FitPart))
            yield Remedy(moved_leads(part, moved), edits)


def _for_half_wave(rectifier: Part) -> str:
    """Return what to do about a half-wave load; a bulb that holds the output tube too keeps its
    rectifier, for a bridge would give that tube too much.
    """
    if shares_bulb(rectifier):
        return "Take a transformer made for a half-wave load."
    return (
        f"Put a bridge in place of {rectifier.name}, or take a transformer made for a half-wave"
        " load."
    )


def _rectifiers(survey: Survey) -> dict[str, dict[tuple[str, str], None]]:
    """Return the (rectifier, direction) pairs on every rail, those behind a surge resistor with
    them.
    """
    at: dict[str, dict[tuple[str, str], None]] = {}
    for part in survey.of_kind("diode", "selenium", "bridge", "tube"):
        for terminal, node in part.pins:
            if direction := _direction(part, terminal):
                at.setdefault(survey.rail[node], {})[part.name, direction] = None
    rectifiers = {rail: dict(pairs) for rail, pairs in at.items()}
    for part in survey.of_kind("resistor", "thermistor") if at else ():
        if (part.value("resistance") or 0) <= _SURGE_OHMS:
            rails = [survey.rail[node] for node in part.ends]
            for near, far in (rails, rails[::-1]) if len(rails) == 2 else ():
                if far in at:
                    rectifiers.setdefault(near, {}).update(at[far])
    for part in survey.of_kind("tube"):
        for tap, end in _through_its_heater(part):
            if behind := rectifiers.get(survey.rail[tap]):
                rectifiers.setdefault(survey.rail[end], {}).update(behind)
    return rectifiers


def _through_its_heater(part: Part) -> list[tuple[str, str]]:
    """Return (tap, end) nodes of the heater of a rectifier whose anode is on the pilot-lamp tap,
    through a surge resistor or straight: its current comes through the heater.
    """
    known = library.find(part.type)
    if known is None or not known.is_rectifier:
        return []
    taps = [node for pin in known.pins_of("lamp-tap") if (node := part.node(pin))]
    ends = [node for pin in known.pins_of("heater") if (node := part.node(pin))]
    return [(tap, end) for tap in taps for end in ends]


def _direction(part: Part, terminal: str) -> str:
    if part.kind in ("diode", "selenium"):
        return terminal
    if part.kind == "bridge":
        return "both ways" if terminal in ("ac1", "ac2") else ""
    known = library.find(part.type) if part.kind == "tube" else None
    if known is None or not known.has_rectifier_unit:
        return ""
    units = ("", "rectifier") if not known.is_rectifier else known.units or ("",)
    for name in known.elements_of(terminal):
        unit, _, element = name.rpartition(".")
        if unit in units and element.rstrip("0123456789") == "plate":
            return "anode"
    return ""


def tube_pins(survey: Survey) -> tuple[Finding, ...]:
    """Return cautions for tubes of unknown type and for pins of tubes that are neither wired nor
    said to be unused.
    """
    findings: list[Finding] = []
    for part in survey.of_kind("tube"):
        known = library.find(part.type)
        if known is None:
            findings.append(_unknown_tube(part))
            continue
        bound = {terminal for terminal, _ in part.pins} | set(part.unused)
        reached = {element for pin in bound for element in known.elements_of(pin)}
        loose = [
            pin
            for pin in known.socket_pins
            if pin not in bound and not _may_be_loose(known.elements_of(pin), reached)
        ]
        if loose:
            named = listed(f"{pin} ({known.element(pin)})" for pin in loose)
            findings.append(
                Caution(
                    "tube-pins",
                    f"Of {part.name} ({part.type}) the netlist does not say where"
                    f" pin{'s' if len(loose) > 1 else ''} {named}"
                    f" {'go' if len(loose) > 1 else 'goes'}.",
                    part.name,
                    loose[0],
                    "",
                    write(f"Connect {listed(loose)}, or write unused {' '.join(loose)}."),
                )
            )
    return tuple(findings)


def _unknown_tube(part: Part) -> Caution:
    """Return the caution for a tube whose pins are unknown."""
    bare = library.without_basing(part.type) is not None
    why = (
        "whose pins the tube library does not know" if bare else "which is not in the tube library"
    )
    near = () if bare else library.nearest(part.type, 1)
    return Caution(
        "tube-unknown",
        f"{part.name} is a {part.type or 'tube of no stated type'}, {why}: its pins count as"
        " joined, and its heater and ratings were not checked.",
        part.name,
        "",
        "",
        measure(
            "Look the type up in a manual"
            + (f"; the nearest name in the library is {near[0]}." if near else ".")
        ),
        "mind" if "unlisted" in part.words else "must",
    )


def _may_be_loose(elements: tuple[str, ...], reached: set[str]) -> bool:
    """Return whether a pin needs no word: nothing is on it, or its elements are wired at another
    pin; a heater pin always does.
    """
    if any(name in ("none", "absent", "internal") for name in elements):
        return True
    return not any(name.startswith("heater") for name in elements) and set(elements) <= reached

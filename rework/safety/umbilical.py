"""Metal that loses its earth when an umbilical is pulled, with the line still beside it."""

from __future__ import annotations

from collections.abc import Iterable

from rework.circuit.circuit import Circuit
from rework.circuit.edits import FitPart, RunWire
from rework.circuit.graph import Merged
from rework.circuit.parts import Part, strands
from rework.safety.cord import moved_leads, reconnected
from rework.safety.earthing import metal
from rework.safety.findings import Caution, Finding, Remedy, measure
from rework.safety.net import State
from rework.safety.survey import Survey, listed

#: A piece of metal: its node, and a part with its terminal there.
_Metal = tuple[str, Part, str]


def earth_through_umbilical(survey: Survey) -> tuple[Finding, ...]:
    """Return cautions where metal loses its earth with an umbilical pulled; it must not while the
    line is still beside it.
    """
    if not survey.ties.earthed:
        return ()
    findings: list[Finding] = []
    for name, _ in survey.mated:
        state = State(connectors=((name, "pulled"),))
        still = survey.earthed_pulled(state)
        lost = [
            piece
            for piece in metal(survey)
            if piece[0] in survey.ties.earthed and piece[0] not in still
        ]
        if lost:
            findings += _lost(survey, name, lost, still)
    return tuple(findings)


def _lost(survey: Survey, name: str, lost: list[_Metal], still: frozenset[str]) -> list[Finding]:
    """Return what is reported of metal that one connector takes the earth from."""
    names = list(dict.fromkeys(node for node, _, _ in lost))
    nodes, have = listed(names), "has" if len(names) == 1 else "have"
    tied = survey.ties_pulled(State(connectors=((name, "pulled"),))).tied
    near = _line_beside(survey, lost, (node for node in tied if node not in survey.ties.earthed))
    findings: list[Finding] = []
    if near:
        findings.append(
            Caution(
                "earth-lost",
                f"With {name} unplugged, {nodes} {have} no earth while the line is still at"
                f" {listed(near)}.",
                name,
                "",
                lost[0][0],
                _bonds_to_kept(survey, lost, still),
            )
        )
    else:
        findings.append(
            Caution(
                "earth-lost",
                f"With {name} unplugged, {nodes} {have} no earth.",
                name,
                "",
                lost[0][0],
                measure(
                    "Use a connector whose earth contact opens last, and run no other line"
                    " conductor to that chassis."
                ),
                "mind",
            )
        )
    if any(
        node in survey.ties.tied and node not in survey.ties.earthed
        for _, node in survey.circuit.by_name[name].pins
    ):
        findings.append(
            Caution(
                "line-and-earth",
                f"{name} carries both the line and the earth of {nodes}.",
                name,
                "",
                lost[0][0],
                measure("Use a connector whose earth contact opens last."),
                "mind",
            )
        )
    return findings


def _bonds_to_kept(survey: Survey, lost: list[_Metal], still: frozenset[str]) -> tuple[Remedy, ...]:
    """Return what joins the metal that loses its earth to metal that keeps it: a bond in the same
    case; else a core of a cable between the cases that is on the kept metal with both its ends;
    else a wire along such a cable.
    """
    apart = list(dict.fromkeys(survey.point[node] for node, _, _ in lost))
    if len(apart) != 1:
        return ()
    here = lost[0][0]
    for node, _, _ in metal(survey):
        if node in still and _shares_case(survey, node, here):
            words = f"Bond {here} to {node} by a green-yellow wire: {node} keeps its earth."
            return (Remedy(words, (RunWire(_wire(survey, here, node)),)),)
    for cable in survey.of_kind("shielded cable"):
        kept = [end for end, node in cable.pins if node in still]
        if not kept:
            continue
        idle = next((run for run in strands(cable) if len(run) == 2 and {*run} <= {*kept}), None)
        if idle:
            edits = reconnected(cable, {idle[1]: here})
            moved = next(edit.part for edit in edits if isinstance(edit, FitPart))
            return (Remedy(moved_leads(cable, moved), edits),)
        far = cable.at(kept[0])
        words = f"Run a green-yellow wire along {cable.name}, from {here} to {far}."
        return (Remedy(words, (RunWire(_wire(survey, here, far)),)),)
    return ()


def _wire(survey: Survey, first: str, second: str) -> Part:
    name = survey.circuit.free_part_name("W")
    return Part(name, "wire", words=("green-yellow",), pins=(("1", first), ("2", second)))


def _line_beside(survey: Survey, lost: list[_Metal], tied: Iterable[str]) -> list[str]:
    """Return the parts with line on them that are in the same case as metal without earth.

    Which case a part is in the netlist does not say. Where circuits were attached, what comes from
    one file is one case. Else parts belong together that anything but a shielded cable or a
    connector joins, or of which one is mounted on the other.
    """
    case = _cases(survey.circuit)
    bare = {
        case[part.name]
        for node, _, _ in lost
        for part, _ in survey.circuit.at[node]
        if not _leads(part)
    }
    near = {
        part.name
        for node in tied
        for part, _ in survey.circuit.at.get(node, ())
        if not _leads(part) and case[part.name] in bare
    }
    return sorted(near)


def _shares_case(survey: Survey, first: str, second: str) -> bool:
    case = _cases(survey.circuit)
    cases = [
        {case[part.name] for part, _ in survey.circuit.at[node] if not _leads(part)}
        for node in (first, second)
    ]
    return bool(cases[0] & cases[1])


def _leads(part: Part) -> bool:
    return part.kind in ("trace", "wire", "shielded cable", "connector", "earth")


def _cases(circuit: Circuit) -> dict[str, str]:
    """Return every part with the case it is taken to be in: the name it was attached under, else
    what it is joined with.
    """
    merged = Merged()
    attached = any("/" in part.name for part in circuit.parts)
    for part in circuit.parts:
        prefix = part.name.rpartition("/")[0]
        if attached:
            merged.join(f"case {prefix}", f"part {part.name}")
        elif part.kind not in ("shielded cable", "connector", "earth"):
            for _, node in part.pins:
                merged.join(f"part {part.name}", f"node {node}")
        if part.setting("on"):
            merged.join(f"part {part.name}", f"part {part.setting('on')}")
    return {part.name: merged.find(f"part {part.name}") for part in circuit.parts}

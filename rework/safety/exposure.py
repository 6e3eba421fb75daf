"""Which tied nodes are only live and which are hazards, and what joins them to the line."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from rework.circuit.edits import FitPart, LiftPin, RemovePart
from rework.circuit.parts import Part
from rework.safety.findings import Finding, Hazard, Live, Remedy
from rework.safety.survey import Survey, listed
from rework.safety.ties import Ties

#: More parts than this on one node are counted and not all named in a sentence.
_MOST_NAMED = 6


def tied_nodes(survey: Survey) -> tuple[Finding, ...]:
    """Return every tied node as a hazard (within reach, or with more than primary-side parts on it)
    or as live.
    """
    exposed = {hazard.node: hazard for hazard in exposed_contacts(survey)}
    bridges = _bridges(survey)
    findings: list[Finding] = []
    for node in sorted(survey.ties.tied):
        parts = _pins_at(survey, node)
        if is_hazard(survey, node):
            findings.append(
                Hazard(
                    node,
                    parts,
                    node in survey.circuit.within_reach,
                    survey.ties.tied[node],
                    survey.heat.path(node),
                    survey.heat.when(node),
                    bridges.get(survey.point[node], ()),
                )
            )
        elif node in exposed:
            findings.append(exposed[node])
        else:
            findings.append(Live(node, parts, _where(survey, node)))
    return tuple(findings)


def is_hazard(survey: Survey, node: str) -> bool:
    """Return whether a tied node is in reach of a hand, or carries a part that has no business on
    the mains.
    """
    return node in survey.circuit.within_reach or bool(survey.strangers(node))


def hazard_nodes(survey: Survey) -> frozenset[str]:
    """Return the nodes of every hazard that :func:`tied_nodes` tells."""
    tied = {node for node in survey.ties.tied if is_hazard(survey, node)}
    return frozenset(tied | {node for node, _, _, _, _ in _bare(survey)})


def exposed_contacts(survey: Survey) -> Iterator[Hazard]:
    """Return hazards for the contacts of connector halves that can be touched while tied to the
    mains.

    The contacts of a half that is not said to be a socket count as bare pins. A half with a mate is
    judged pulled; one without a mate in the netlist, as it stands.
    """
    for node, part, terminal, ties, umbilical in _bare(survey):
        yield Hazard(
            node,
            _pins_at(survey, node),
            True,
            ties.tied[node],
            ties.path(node),
            survey.heat.when(node, pulled=umbilical),
            remedies=_bare_remedies(survey, part, terminal),
        )


def _bare(survey: Survey) -> Iterator[tuple[str, Part, str, Ties, str]]:
    """Return (node, part, terminal, ties, umbilical) of every bare contact on the mains, a node
    once a connector half.
    """
    mate_of = {name: pair for pair in survey.mated for name in pair}
    for part in survey.of_kind("connector"):
        if "socket" in part.words:
            continue
        pair = mate_of.get(part.name)
        states = [
            state
            for state in survey.pulled_states
            if pair and dict(state.connectors)[pair[0]] == "pulled"
        ]
        seen: set[str] = set()
        for ties in [survey.ties_pulled(state) for state in states] if pair else [survey.ties]:
            for terminal, node in part.pins:
                if node in ties.tied and node not in seen:
                    seen.add(node)
                    yield node, part, terminal, ties, pair[0] if pair else ""


def _bare_remedies(survey: Survey, part: Part, terminal: str) -> tuple[Remedy, ...]:
    """Return plug and socket exchanged, or the line taken off a bare contact."""
    lifted = Remedy(
        f"Disconnect contact {terminal} of {part.name} from {part.at(terminal)}: the contacts are"
        " bare.",
        (LiftPin(part.name, terminal),),
    )
    mate = survey.circuit.part(part.setting("mates")) or next(
        (other for other in survey.of_kind("connector") if other.setting("mates") == part.name),
        None,
    )
    if mate is None:
        return (lifted,)
    socket, plug = _as(part, "socket"), _as(mate, "plug")
    edits = (RemovePart(part.name), RemovePart(mate.name), FitPart(socket), FitPart(plug))
    words = (
        f"Make {part.name} the socket and {mate.name} the plug: the side that carries the line must"
        " not have bare contacts."
    )
    return (Remedy(words, edits), lifted)


def _as(part: Part, word: str) -> Part:
    """Return a connector half as a plug or a socket."""
    words = tuple(other for other in part.words if other not in ("plug", "socket"))
    return replace(part, words=(*words, word))


def _pins_at(survey: Survey, node: str) -> tuple[str, ...]:
    return tuple(f"{part.name}.{terminal}" for part, terminal in survey.circuit.at.get(node, ()))


def _where(survey: Survey, node: str) -> str:
    at = survey.circuit.at.get(node, ())
    pins = [survey.pin(part, terminal) for part, terminal in at if not part.is_conductor]
    return "at " + listed(cut(pins or [survey.pin(part, terminal) for part, terminal in at]))


def cut(names: list[str]) -> list[str]:
    """Return a list of names that is short enough for a sentence."""
    if len(names) <= _MOST_NAMED:
        return names
    return [*names[: _MOST_NAMED - 1], f"{len(names) - _MOST_NAMED + 1} more"]


def _bridges(survey: Survey) -> dict[str, tuple[str, ...]]:
    """Return, for every point off the line conductors, the parts that by themselves join it to one
    of them.
    """
    net, line = survey.net, survey.primary.line
    bridging: dict[str, dict[str, None]] = {}
    for number in sorted({number for node in line for number in net.at.get(node, ())}):
        if net.is_closed(number) or net.is_insulation(number):
            continue
        for _, node in net.pins[number]:
            held = number in net.held and node in survey.always_earthed
            if node not in line and node in survey.ties.tied and not held:
                bridging.setdefault(survey.point[node], {})[net.part[number].name] = None
    return {point: tuple(names) for point, names in bridging.items()}

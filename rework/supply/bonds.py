"""Metal that nothing bonds, and the circuit's own negative."""

from __future__ import annotations

from rework.circuit.circuit import Circuit
from rework.circuit.place import Problem
from rework.rules.facts import Facts
from rework.solve.network import CannotSolve
from rework.supply.feed import Feed


def unbonded(circuit: Circuit) -> tuple[str, ...]:
    """Return a node of every piece of metal that a hand can reach and no conductor joins to earth;
    the leads of a speaker are left floating.
    """
    facts = Facts(circuit)
    loose: dict[str, str] = {}
    for node in sorted(circuit.within_reach):
        if (
            node in circuit.at
            and facts.point(node) in facts.metal - facts.earthed
            and not _is_speaker(circuit, node)
        ):
            end = _still_end(circuit, node, facts)
            loose.setdefault(facts.point(end), end)
    return tuple(loose.values())


#: Kinds through which the leads of speakers go.
_SPEAKER_LEADS = frozenset(
    {"speaker", "output transformer", "transformer", "switch", "wire", "jack"}
)


def _still_end(circuit: Circuit, node: str, facts: Facts) -> str:
    """Return the node to bond for the lead of a speaker that a switch changes over or a jack leads
    out: the common where a lead is on it, else the busiest of the floating leads that is at no
    contact, so that no position grounds the signal; else ``node``.
    """
    kinds = {part.kind for part, _ in circuit.at[node]}
    if not _is_contact(circuit, node) or not kinds <= _SPEAKER_LEADS:
        return node
    leads, waiting = {node}, [node]
    while waiting:
        at = waiting.pop()
        for part, terminal in circuit.at[at]:
            if part.kind not in _SPEAKER_LEADS:
                continue
            winding = terminal.partition(".")[0] if part.windings or "." in terminal else ""
            for other, end in part.pins:
                same = not winding or other.partition(".")[0] == winding
                if same and end not in leads and other not in ("frame", "core"):
                    leads.add(end)
                    waiting.append(end)
    still = [
        lead
        for lead in sorted(leads)
        if not _is_contact(circuit, lead)
        and all(part.kind in _SPEAKER_LEADS for part, _ in circuit.at[lead])
    ]
    common = sorted(lead for lead in leads if facts.point(lead) in facts.common)
    if common:
        return common[0]
    return max(still, key=lambda lead: len(circuit.at[lead]), default=node)


def _is_contact(circuit: Circuit, node: str) -> bool:
    """Return whether a contact is on a node, of a switch or a jack's but its sleeve, so that it
    carries the signal in some position.
    """
    return any(
        part.kind == "switch" or (part.kind == "jack" and terminal != "sleeve")
        for part, terminal in circuit.at[node]
    )


def floating_windings(circuit: Circuit) -> tuple[tuple[str, str], ...]:
    """Return start and finish of every secondary of an output transformer that no conductor joins
    to common or earth.
    """
    facts = Facts(circuit)
    still = facts.common | facts.earthed
    ends = (
        (part.node(f"{name}.start"), part.node(f"{name}.finish"))
        for part in circuit.parts
        if part.kind == "output transformer"
        for name in dict.fromkeys(terminal.partition(".")[0] for terminal, _ in part.pins)
        if not name.startswith("primary")
    )
    return tuple(
        (start, finish)
        for start, finish in ends
        if start and finish and not {facts.point(start), facts.point(finish)} & still
    )


def _is_speaker(circuit: Circuit, node: str) -> bool:
    return all(
        part.kind in ("speaker", "output transformer", "wire") for part, _ in circuit.at[node]
    )


def common_of(circuit: Circuit, feed: Feed | None) -> str:
    """Return the node of the circuit's own negative, by its name where it has one; without any that
    to which B+ returns, by ``feed``.

    Raises CannotSolve where neither is known.
    """
    facts = Facts(circuit)
    named = sorted(node for node in circuit.nodes if facts.point(node) in facts.common)
    common = next((node for node in named if node.upper() == "COMMON"), None)
    if common is None and not named and feed is None:
        raise CannotSolve(
            Problem("the circuit has no common", hint="write one, as in join COMMON CHASSIS")
        )
    return common or (named[0] if named else feed.back if feed else "")

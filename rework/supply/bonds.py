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
            loose.setdefault(facts.point(node), node)
    return tuple(loose.values())


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

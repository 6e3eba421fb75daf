"""Which chassis a part is drawn on: its own, but a connector with what it is wired to."""

from __future__ import annotations

from collections import Counter

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part


def chassis_of(name: str) -> str:
    """Return the name under which a part's circuit was attached; nothing for one of its own."""
    return name.rpartition("/")[0]


def by_chassis(circuit: Circuit) -> dict[str, tuple[Part, ...]]:
    """Return the parts of every chassis, the circuit's own chassis, called "", first.

    A connector at the end of an umbilical belongs where its pins are wired.
    """
    found: dict[str, list[Part]] = {"": []}
    for part in circuit.parts:
        found.setdefault(_home(circuit, part), []).append(part)
    return {name: tuple(found[name]) for name in sorted(found)}


def _home(circuit: Circuit, part: Part) -> str:
    own = chassis_of(part.name)
    if part.kind != "connector":
        return own
    near = Counter(
        chassis_of(other.name)
        for _, node in part.pins
        for other, _ in circuit.at[node]
        if other.name != part.name
    )
    if not near or near[own] >= near.total() / 2:
        return own
    return min(near, key=lambda name: (-near[name], name))

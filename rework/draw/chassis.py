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
    by_name: dict[str, list[Part]] = {"": []}
    for part in circuit.parts:
        by_name.setdefault(_home(circuit, part), []).append(part)
    return {name: tuple(by_name[name]) for name in sorted(by_name)}


def _home(circuit: Circuit, part: Part) -> str:
    chassis = chassis_of(part.name)
    if part.kind != "connector":
        return chassis
    near = Counter(
        chassis_of(other.name)
        for _, node in part.pins
        for other, _ in circuit.at[node]
        if other.name != part.name
    )
    if not near or near[chassis] >= near.total() / 2:
        return chassis
    return min(near, key=lambda name: (-near[name], name))

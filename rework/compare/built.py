"""A set as it was wired, held against the plan: what is missing, extra, on another pin, of another
value. Names do not count; wires, traces and cables count by what they connect.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

from rework.circuit.circuit import Circuit
from rework.circuit.graph import contracted
from rework.circuit.parts import Part
from rework.compare.entries import Attribute, Difference, PartChange
from rework.compare.match import likeness

#: What a first value may differ from the plan where the plan states no tolerance: the widest usual
#: tolerance of resistors and paper capacitors (common practice, no source).
WIDEST_TOLERANCE = 0.20
#: Ratings of which more is never less.
_MORE_WILL_DO = frozenset({"power", "voltage"})


@dataclass(frozen=True, slots=True)
class AsBuilt:
    """What differs between a plan and the set as it was wired.

    Attributes
    ----------
    plan, built
        Both circuits without conductors; ``built`` with the names of the plan for its parts.
    difference
        What is wired otherwise than planned; title and conductors do not count, and a port only
        where both files name it.
    within
        First values that differ, but within the tolerance of the part.
    better
        Ratings higher, and tolerances closer, than planned.
    unstated
        What only one of the files states of a part (the text of the other is empty): not compared.
    parts, nodes
        What parts and nodes of the plan are called in the file of the set as wired.
    undecided
        Parts so alike that they could not be distinguished; nothing is known then.
    """

    plan: Circuit
    built: Circuit
    difference: Difference
    within: tuple[PartChange, ...]
    better: tuple[PartChange, ...]
    unstated: tuple[PartChange, ...]
    parts: dict[str, str]
    nodes: dict[str, str]
    undecided: tuple[str, ...]

    @property
    def is_as_planned(self) -> bool:
        """True where nothing is wired otherwise, as far as both files state it."""
        return self.difference.is_empty and not self.undecided


def as_built(plan: Circuit, built: Circuit) -> AsBuilt:
    """Return how the set as wired differs from the plan."""
    ports = {*dict(plan.ports)} & {*dict(built.ports)}
    plan, built = (_without_conductors(circuit, ports) for circuit in (plan, built))
    compared = likeness(plan, built)
    names = {other: name for name, other in compared.parts.items()}
    called = built.with_parts(tuple(replace(part, name=names[part.name]) for part in built.parts))
    sorts: dict[str, list[PartChange]] = {"counts": [], "within": [], "better": [], "unstated": []}
    for change in compared.difference.changed:
        part, other = plan.by_name[change.part], called.by_name[change.part]
        kept: dict[str, list[Attribute]] = {}
        for attribute in change.attributes:
            kept.setdefault(_sort(part, other, attribute), []).append(attribute)
        for sort, attributes in kept.items():
            sorts[sort].append(PartChange(change.part, tuple(attributes)))
    difference = replace(compared.difference, changed=tuple(sorts["counts"]), title=None)
    return AsBuilt(
        plan,
        called,
        difference,
        tuple(sorts["within"]),
        tuple(sorts["better"]),
        tuple(sorts["unstated"]),
        compared.parts,
        compared.nodes,
        compared.undecided,
    )


def _without_conductors(circuit: Circuit, ports: Collection[str]) -> Circuit:
    """Return the circuit with its conductors contracted, and with the named ports alone. What
    conductors hold together has the name that most pins are on.
    """
    groups: dict[str, list[str]] = {}
    for node, point in contracted(circuit).items():
        groups.setdefault(point, []).append(node)
    points = {
        node: max(group, key=lambda name: len(circuit.at[name]))
        for group in groups.values()
        for node in group
    }
    named = dict.fromkeys(points.get(node, node) for node in circuit.touchable)
    return replace(
        circuit,
        parts=tuple(part.rebound(points) for part in circuit.parts if not part.is_conductor),
        touchable=tuple(named),
        ports=tuple(
            (port, points.get(node, node)) for port, node in circuit.ports if port in ports
        ),
    )


def _sort(part: Part, other: Part, attribute: Attribute) -> str:
    """Return whether a property that differs counts, or why not."""
    first = part.traits.dimensions[:1]
    if not attribute.before or not attribute.after:
        main = (attribute.what,) == first and not attribute.after
        return "counts" if main else "unstated"
    if attribute.what == "words":
        said = set(attribute.before.split()), set(attribute.after.split())
        return "unstated" if said[0] < said[1] or said[0] > said[1] else "counts"
    values = part.value(attribute.what), other.value(attribute.what)
    if values[0] is None or values[1] is None:
        return "counts"
    if (attribute.what,) == first and first[0] in ("resistance", "capacitance", "inductance"):
        tolerance = part.value("fraction") or WIDEST_TOLERANCE
        if abs(values[1] - values[0]) <= tolerance * values[0] * (1 + 1e-9):
            return "within"
    rated = attribute.what in _MORE_WILL_DO and (attribute.what,) != first
    if attribute.what == "fraction":
        return "better" if values[1] < values[0] else "counts"
    return "better" if rated and values[1] > values[0] else "counts"

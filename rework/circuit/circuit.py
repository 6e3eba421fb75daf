"""The circuit as a value: immutable, compared by content, looked up by part, pin and node."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

from rework.circuit.kinds import KINDS
from rework.circuit.parts import Part


@dataclass(frozen=True, slots=True)
class Mains:
    """The line as the set was made for it: RMS volts and hertz."""

    volts: float
    hertz: float


#: The terminals a hand can reach, of every kind that has one.
_TOUCHED = {name: kind.touched for name, kind in KINDS.items() if kind.touched}


class PinsAt(Mapping[str, tuple[tuple[Part, str], ...]]):
    """Every node with the (part, terminal) pairs on it, in the order of the file; those of a node
    are put together when asked for.
    """

    def __init__(self, parts: tuple[Part, ...]) -> None:
        self._parts: dict[str, list[Part]] = {}
        self._pins: dict[str, tuple[tuple[Part, str], ...]] = {}
        for part in parts:
            for _, node in part.pins:
                on = self._parts.get(node)
                if on is None:
                    self._parts[node] = [part]
                elif on[-1] is not part:
                    on.append(part)

    def __getitem__(self, node: str) -> tuple[tuple[Part, str], ...]:
        if node not in self._pins:
            self._pins[node] = tuple(
                (part, terminal)
                for part in self._parts[node]
                for terminal, at in part.pins
                if at == node
            )
        return self._pins[node]

    def __iter__(self) -> Iterator[str]:
        return iter(self._parts)

    def __len__(self) -> int:
        return len(self._parts)

    def __contains__(self, node: object) -> bool:
        return node in self._parts


@dataclass(frozen=True)
class Circuit:
    """A title, the mains, the parts in the order of the file, and what the file says of nodes.

    ``touchable`` are nodes within reach of a hand (beyond those every kind adds), ``open_nodes``
    nodes meant to end in the air, ``blank_nodes`` nodes that are not traced yet, ``ports`` pairs of
    port name and node, ``aliases`` pairs of a joined name and the node it names.
    """

    title: str = ""
    mains: Mains | None = None
    parts: tuple[Part, ...] = ()
    touchable: tuple[str, ...] = ()
    ports: tuple[tuple[str, str], ...] = ()
    open_nodes: tuple[str, ...] = ()
    blank_nodes: tuple[str, ...] = ()
    aliases: tuple[tuple[str, str], ...] = ()
    file: str = field(default="", compare=False)

    @cached_property
    def by_name(self) -> dict[str, Part]:
        """Every part by its name. Read only."""
        return {part.name: part for part in self.parts}

    @cached_property
    def at(self) -> PinsAt:
        """Every node with the (part, terminal) pairs on it, in the order of the file. Read only."""
        return PinsAt(self.parts)

    @cached_property
    def nodes(self) -> tuple[str, ...]:
        """The nodes that carry at least one pin, sorted."""
        return tuple(sorted(self.at))

    def part(self, name: str) -> Part | None:
        """Return the part of that name, or None."""
        return self.by_name.get(name)

    def node_named(self, name: str) -> str:
        """Return the node a joined name stands for; any other name stands for itself."""
        return self._alias.get(name, name)

    @cached_property
    def _alias(self) -> dict[str, str]:
        return dict(self.aliases)

    @cached_property
    def within_reach(self) -> frozenset[str]:
        """Nodes a hand can reach: those the file names and those a jack, chassis, shaft, frame or
        core adds.
        """
        reached = set(self.touchable)
        for part in self.parts:
            if part.kind in _TOUCHED:
                reached.update(
                    node for terminal, node in part.pins if terminal in _TOUCHED[part.kind]
                )
        return frozenset(reached)

    @cached_property
    def untraced(self) -> tuple[str, ...]:
        """The blank nodes that still lead nowhere: all pins on them are of one part."""
        return tuple(
            node
            for node in self.blank_nodes
            if len({part.name for part, _ in self.at.get(node, ())}) == 1
        )

    def with_parts(self, parts: tuple[Part, ...]) -> Circuit:
        """Return the circuit with other parts and all else the same."""
        return replace(self, parts=parts)

    def free_part_name(self, stem: str) -> str:
        """Return ``stem`` with the lowest number that no part has: ``W`` gives ``W1``, or ``W7``
        after W6.
        """
        number = 1
        while f"{stem}{number}" in self.by_name:
            number += 1
        return f"{stem}{number}"

    def free_node_name(self, wanted: str) -> str:
        """Return ``wanted``, or where a node or a joined name already has it, ``wanted`` with a
        letter after it.
        """
        taken = self.at.keys() | self._alias.keys()
        if wanted not in taken:
            return wanted
        number = 1
        while f"{wanted}_{number}" in taken:
            number += 1
        return f"{wanted}_{number}"

"""A circuit in one state as groups of joined terminals: what every search through it walks on."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Literal

from rework.anatomy.links import Y_CLASSES, closed_contacts, contacts_of, groups, joints_of, mated
from rework.circuit.circuit import Circuit
from rework.circuit.graph import Merged
from rework.circuit.kinds import KINDS, METALWORK
from rework.circuit.parts import Part

#: What a group does, the better conductor first.
CONDUCTOR, CONDUCTS, CAPACITOR, INSULATION = range(4)
_CODES = {
    "conductor": CONDUCTOR,
    "conducts": CONDUCTS,
    "unproved": CONDUCTS,
    "capacitor": CAPACITOR,
}
#: Kinds of two terminals that need no closer look: what they do follows from the kind alone.
_PLAIN = {
    name: _CODES[kind.passes]
    for name, kind in KINDS.items()
    if kind.form == "two" and kind.passes in _CODES
}


@dataclass(frozen=True, slots=True)
class State:
    """One state of plug, switches and umbilicals.

    A switch that is not named is closed in every position at once, a connector that is not named is
    mated. ``plug`` says which blade meets the hot conductor of the outlet; it does not change what
    is tied, for both blades count.
    """

    plug: Literal["as drawn", "reversed"] = "as drawn"
    switches: tuple[tuple[str, str], ...] = ()
    connectors: tuple[tuple[str, str], ...] = ()


class Points:
    """Nodes that are one electrically: ``points[node]`` is one name for all of them. Read only."""

    def __init__(self, merged: Merged) -> None:
        self._merged = merged

    def __getitem__(self, node: str) -> str:
        return self._merged.find(node)


class Net:
    """A circuit in one state as groups of joined terminals, numbered, with the numbers at each
    node.
    """

    def __init__(self, circuit: Circuit, state: State | None = None) -> None:
        self.part: list[Part] = []
        self.pins: list[tuple[tuple[str, str], ...]] = []
        self.how: list[int] = []
        self.held: set[int] = (
            set()
        )  # no tie while the far end is earthed: Y capacitors and insulation to metalwork
        self.mate: dict[int, str] = {}
        self.moving: set[int] = set()  # contacts of switches and connectors
        self.at: defaultdict[str, list[int]] = defaultdict(list)
        set_to = dict(state.switches) if state else {}
        part_list, pin_list, how_list, at, plain = self.part, self.pins, self.how, self.at, _PLAIN
        number = 0
        for part in circuit.parts:
            code, pins = plain.get(part.kind), part.pins
            if code is not None and len(pins) == 2 and pins[1][0] not in METALWORK:
                part_list.append(part)
                pin_list.append(pins)
                how_list.append(code)
                at[pins[0][1]].append(number)
                at[pins[1][1]].append(number)
                if code == CAPACITOR and part.settings and part.setting("class") in Y_CLASSES:
                    self.held.add(number)
                number += 1
            else:
                self._add(part, set_to.get(part.name))
                number = len(how_list)
        self._shafts(circuit)
        pulled = (
            {name for name, where in state.connectors if where == "pulled"}
            if state
            else frozenset()
        )
        for pair in mated(circuit):
            if pulled.isdisjoint(pair):
                for near, here, other, there in joints_of(circuit, pair):
                    part = circuit.by_name[near]
                    self.mate[len(how_list)] = other
                    self.moving.add(len(how_list))
                    self._group(
                        part,
                        CONDUCTOR,
                        ((here, part.at(here)), (there, circuit.by_name[other].at(there))),
                    )

    def _add(self, part: Part, position: str | None) -> None:
        contacts: set[tuple[str, ...]] = set()
        if part.traits.is_switch:
            sets = contacts_of(part) if position is None else closed_contacts(part, position)
            contacts = set(contacts_of(part))
            for terminals in sets:
                self.moving.add(len(self.how))
                self._group(
                    part, CONDUCTS, tuple((terminal, part.at(terminal)) for terminal in terminals)
                )
        for group in groups(part):
            if group.terminals in contacts:
                continue
            pins = tuple(pin for pin in part.pins if pin[0] in group.terminals)
            code = INSULATION if group.metal else _CODES[group.how]
            if code == CAPACITOR and part.setting("class") in Y_CLASSES:
                self.held.add(len(self.how))
            self._group(part, code, pins)

    def _shafts(self, circuit: Circuit) -> None:
        """Add the insulation between a switch and the metal shaft of the pot it sits on."""
        for part in circuit.parts:
            pot = (
                circuit.by_name.get(part.setting("on"))
                if part.kind == "switch" and part.settings
                else None
            )
            if (
                pot is not None
                and pot.kind == "pot"
                and "plastic-shaft" not in pot.words
                and pot.node("shaft")
            ):
                self._group(part, INSULATION, (*part.pins, ("shaft", pot.at("shaft"))))

    def _group(self, part: Part, how: int, pins: tuple[tuple[str, str], ...]) -> None:
        number = len(self.how)
        if how == INSULATION:
            self.held.add(number)
        self.part.append(part)
        self.pins.append(pins)
        self.how.append(how)
        for node in dict.fromkeys(node for _, node in pins):
            self.at[node].append(number)

    def crossed(self, number: int) -> tuple[tuple[str, str], ...]:
        """Return the pins a tie comes out of a group by: of insulation the metalwork only, of all
        else every pin.
        """
        pins = self.pins[number]
        return (
            pins
            if self.how[number] != INSULATION
            else tuple(pin for pin in pins if pin[0] in METALWORK)
        )

    def enters(self, number: int, node: str) -> bool:
        """Return whether a tie gets into a group at a node: into insulation from inside the part
        only.
        """
        return self.how[number] != INSULATION or any(
            at == node and terminal not in METALWORK for terminal, at in self.pins[number]
        )

    def conductor_reach(self, seeds: Iterable[str]) -> frozenset[str]:
        """Return the nodes joined to the seeds by wires, traces, cables and mated contacts only."""
        return frozenset(self.reach(seeds, self.is_conductor))

    def reach(self, seeds: Iterable[str], wanted: Callable[[int], bool]) -> tuple[str, ...]:
        """Return the seeds and the nodes that the wanted joints lead to from them."""
        reached = dict.fromkeys(seeds)
        line = list(reached)
        while line:
            for number in self.at.get(line.pop(), ()):
                if wanted(number):
                    for _, node in self.pins[number]:
                        if node not in reached:
                            reached[node] = None
                            line.append(node)
        return tuple(reached)

    def joined(self, *, closed: bool) -> Points:
        """Return the points that conductors make of the nodes; ``closed``: with fuses and all
        contacts of switches counted in.
        """
        merged = Merged()
        for number, how in enumerate(self.how):
            if how == CONDUCTOR or (
                closed and (number in self.moving or self._is_fuse_link(number))
            ):
                first, *others = (node for _, node in self.pins[number])
                for other in others:
                    merged.join(first, other)
        return Points(merged)

    def is_direct(self, number: int) -> bool:
        """Return whether a group stands still and drops no voltage to speak of: a conductor or a
        fuse.
        """
        return number not in self.moving and (
            self.how[number] == CONDUCTOR or self._is_fuse_link(number)
        )

    def _is_fuse_link(self, number: int) -> bool:
        """Return whether a group is what opens in a fuse or breaker, and not its metal."""
        return self.how[number] != INSULATION and self.part[number].traits.is_overcurrent

    def is_conductor(self, number: int) -> bool:
        """Return whether a group is a wire, a trace, a cable or mated contacts."""
        return self.how[number] == CONDUCTOR

    def is_closed(self, number: int) -> bool:
        """Return whether a group is a conductor, a fuse, or contacts of a switch or connector."""
        return self.how[number] == CONDUCTOR or number in self.moving or self._is_fuse_link(number)

    def is_conducting(self, number: int) -> bool:
        """Return whether a group stands still and is neither a capacitor nor insulation."""
        return number not in self.moving and self.how[number] < CAPACITOR

    def is_capacitor(self, number: int) -> bool:
        """Return whether a group is a capacitor."""
        return self.how[number] == CAPACITOR

    def is_insulation(self, number: int) -> bool:
        """Return whether a group is insulation between what is inside a part and its metalwork."""
        return self.how[number] == INSULATION

    def groups_of(self, nodes: Iterable[str], wanted: Callable[[int], bool]) -> dict[str, int]:
        """Return every one of the nodes with the number of the group that the wanted joints make it
        a member of.
        """
        group_of: dict[str, int] = dict.fromkeys(nodes, -1)
        seen, count = bytearray(len(self.how)), 0
        for first, known in group_of.items():
            if known >= 0:
                continue
            group_of[first] = count
            line = [first]
            while line:
                for number in self.at.get(line.pop(), ()):
                    if seen[number]:
                        continue
                    seen[number] = 1
                    if wanted(number):
                        for _, node in self.pins[number]:
                            if group_of.get(node) == -1:
                                group_of[node] = count
                                line.append(node)
            count += 1
        return group_of

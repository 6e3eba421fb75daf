"""The ten primitive edits.

Everything above (diff, work order, wire list, provenance) is read off these.

An action says what is done to what; ``Edit`` adds by which rule and why. ``apply_edit`` makes a new
circuit and leaves the old one as it was; replaying a list of edits on the same circuit gives the
same circuit.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from rework.circuit.circuit import Circuit, Mains
from rework.circuit.kinds import Form
from rework.circuit.parts import Part, Value, in_order
from rework.circuit.place import Place

#: What the part is called that a bridge puts in, with a number after it.
BRIDGE = "BRIDGE"


class EditError(ValueError):
    """An edit that cannot be made on this circuit; the message names the part and the pin."""


@dataclass(frozen=True, slots=True)
class CutConductor:
    """Cut a trace or take out a wire."""

    name: str


@dataclass(frozen=True, slots=True)
class LiftPin:
    """Take one terminal of a part off its node and leave it on nothing."""

    part: str
    terminal: str


@dataclass(frozen=True, slots=True)
class RemovePart:
    """Take a part out."""

    name: str


@dataclass(frozen=True, slots=True)
class FitPart:
    """Fit a new part."""

    part: Part


@dataclass(frozen=True, slots=True)
class RunWire:
    """Run a conductor; each end is a node, or ``PART.terminal`` for a pin that may still be on
    nothing.
    """

    part: Part


@dataclass(frozen=True, slots=True)
class ExchangeTube:
    """Put another tube in, its elements carried to the pins where the new tube has them.

    ``moves`` lists (element, old pins, new pins) for the work order; ``pins`` and ``unused`` are
    the result.
    """

    name: str
    type: str
    pins: tuple[tuple[str, str], ...]
    unused: tuple[str, ...]
    moves: tuple[tuple[str, tuple[str, ...], tuple[str, ...]], ...] = ()


@dataclass(frozen=True, slots=True)
class SetValue:
    """Exchange a part for one of the same kind with another value (or other words)."""

    name: str
    values: tuple[Value, ...]
    words: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class AttachCircuit:
    """Set another circuit beside this one, every name in it led by ``prefix/``; its ports are not
    yet connected.
    """

    circuit: Circuit
    prefix: str


@dataclass(frozen=True, slots=True)
class MoveLead:
    """Put one terminal of a part on another node, which may be one of its own: a lead off its lug,
    or on the wrong one.
    """

    part: str
    terminal: str
    node: str


@dataclass(frozen=True, slots=True)
class Bridge:
    """Join two nodes by so many ohms, or by a wire where it has none: solder across two lugs, a
    leak, a short inside a part.
    """

    a: str
    b: str
    ohms: float = 0.0


#: Settings that name another part.
REFERRING = ("on", "mates", "ganged")

Action = (
    CutConductor
    | LiftPin
    | RemovePart
    | FitPart
    | RunWire
    | ExchangeTube
    | SetValue
    | AttachCircuit
    | MoveLead
    | Bridge
)


@dataclass(frozen=True, slots=True)
class Edit:
    """One action with its reason, the rule that asked for it, and where in a file that was."""

    action: Action
    rule: str = ""
    reason: str = ""
    place: Place | None = None


def subject(action: Action) -> str:
    """Return the name of the part an action is about; of an attached circuit, its prefix."""
    match action:
        case FitPart(part) | RunWire(part):
            return part.name
        case LiftPin(name, _) | MoveLead(name, _) | CutConductor(name) | RemovePart(name):
            return name
        case Bridge():
            return BRIDGE
        case ExchangeTube() | SetValue():
            return action.name
        case AttachCircuit(_, prefix):
            return prefix


def apply_edit(circuit: Circuit, action: Action) -> Circuit:
    """Return the circuit after one action.

    Raises EditError where the part, pin or node is not there, or a name is taken already.
    """
    match action:
        case CutConductor(name):
            if not _known(circuit, name).is_conductor:
                raise EditError(
                    f"{name} is not a trace, wire or cable, so it cannot be cut; remove it instead"
                )
            return _without(circuit, name)
        case RemovePart(name):
            _known(circuit, name)
            return _without(circuit, name)
        case LiftPin(name, terminal):
            return _lift(circuit, _known(circuit, name), terminal)
        case FitPart(part):
            return _add(circuit, part)
        case RunWire(part):
            return _run(circuit, part)
        case ExchangeTube(name, type_, pins, unused):
            old = _known(circuit, name)
            return _swap(
                circuit, replace(old, type=type_, pins=pins, unused=unused, values=(), place=None)
            )
        case SetValue(name, values, words):
            return _swap(
                circuit, replace(_known(circuit, name), values=values, words=words, place=None)
            )
        case AttachCircuit(other, prefix):
            return _attach(circuit, other, prefix)
        case MoveLead(name, terminal, node):
            return _move(circuit, _known(circuit, name), terminal, node)
        case Bridge(a, b, ohms):
            return _bridge(circuit, a, b, ohms)


def replay(circuit: Circuit, edits: Iterable[Edit]) -> Circuit:
    """Return the circuit after all edits, in order. Raises EditError like ``apply_edit``."""
    for edit in edits:
        circuit = apply_edit(circuit, edit.action)
    return circuit


def as_left(circuit: Circuit) -> Circuit:
    """Return a circuit as a job leaves it on the bench: a node that one pin is left on is an open
    one.

    Ports lead on to another circuit, a blank node is not traced, and a chassis or an earth needs no
    second pin: these are not open.
    """
    ports = {node for _, node in circuit.ports}
    alone = [
        node
        for node, on in circuit.at.items()
        if len(on) == 1
        and node not in ports
        and node not in circuit.blank_nodes
        and on[0][0].traits.form is not Form.ONE
    ]
    return replace(circuit, open_nodes=tuple(dict.fromkeys((*circuit.open_nodes, *sorted(alone)))))


def _known(circuit: Circuit, name: str) -> Part:
    part = circuit.part(name)
    if part is None:
        raise EditError(f"there is no part {name} in the circuit")
    return part


def _without(circuit: Circuit, name: str) -> Circuit:
    left = tuple(_parted_from(part, name) for part in circuit.parts if part.name != name)
    return _swept(circuit.with_parts(left))


def _parted_from(part: Part, gone: str) -> Part:
    """Return a part that no longer says that it is on, ganged with or mated to one that is gone."""
    if all(argument != gone for _, argument in part.settings):
        return part
    settings = tuple(
        (word, argument)
        for word, argument in part.settings
        if word not in REFERRING or argument != gone
    )
    return replace(part, settings=settings)


def _swap(circuit: Circuit, part: Part) -> Circuit:
    return _swept(
        circuit.with_parts(tuple(part if old.name == part.name else old for old in circuit.parts))
    )


def _swept(circuit: Circuit) -> Circuit:
    """Drop what the circuit says of nodes that no pin is on any more."""
    alive = circuit.at.keys()
    return replace(
        circuit,
        touchable=tuple(node for node in circuit.touchable if node in alive),
        open_nodes=tuple(node for node in circuit.open_nodes if node in alive),
        blank_nodes=tuple(node for node in circuit.blank_nodes if node in alive),
        ports=tuple((port, node) for port, node in circuit.ports if node in alive),
        aliases=tuple((alias, node) for alias, node in circuit.aliases if node in alive),
    )


def _lift(circuit: Circuit, part: Part, terminal: str) -> Circuit:
    if part.node(terminal) is None:
        raise EditError(f"{part.name} has nothing on pin {terminal}, so there is nothing to lift")
    pins = tuple(pin for pin in part.pins if pin[0] != terminal)
    return _swap(circuit, replace(part, pins=pins, unused=(*part.unused, terminal)))


def _move(circuit: Circuit, part: Part, terminal: str, node: str) -> Circuit:
    if part.node(terminal) is None:
        raise EditError(f"{part.name} has nothing on pin {terminal}, so there is nothing to move")
    pins = tuple((t, node if t == terminal else at) for t, at in part.pins)
    return _swap(circuit, replace(part, pins=pins))


def _bridge(circuit: Circuit, a: str, b: str, ohms: float) -> Circuit:
    for node in (a, b):
        if node not in circuit.at:
            raise EditError(f"there is no node {node} in the circuit")
    if a == b:
        raise EditError(f"{a} is one node, so there is nothing to bridge")
    name, pins = circuit.free_part_name(BRIDGE), (("1", a), ("2", b))
    if not ohms:
        return _add(circuit, Part(name, "wire", pins=pins))
    return _add(circuit, Part(name, "resistor", values=(Value("resistance", ohms),), pins=pins))


def _add(circuit: Circuit, part: Part) -> Circuit:
    if part.name in circuit.by_name:
        raise EditError(f"there is a part {part.name} already; give the new one another name")
    return circuit.with_parts((*circuit.parts, part))


def _run(circuit: Circuit, part: Part) -> Circuit:
    ends = []
    for terminal, end in part.pins:
        circuit, node = _reach(circuit, end)
        ends.append((terminal, node))
    return _add(circuit, replace(part, pins=tuple(ends)))


def _reach(circuit: Circuit, end: str) -> tuple[Circuit, str]:
    """Return the node an end of a wire is on; a pin on nothing, or metalwork of which nothing was
    said, gets a node of its own first.
    """
    name, _, terminal = end.partition(".")
    part = circuit.part(name) if terminal else None
    if part is None:
        return circuit, circuit.node_named(end)
    node = part.node(terminal)
    if node is not None:
        return circuit, node
    if terminal not in part.unused and terminal not in part.traits.optional:
        raise EditError(f"{name} has no pin {terminal}")
    node = circuit.free_node_name(f"{name}-{terminal}".replace("/", "-").replace(".", "-"))
    pins = tuple(in_order(part.kind, part.words, (*part.pins, (terminal, node))))
    bound = replace(part, pins=pins, unused=tuple(t for t in part.unused if t != terminal))
    return _swap(circuit, bound), node


def _fed_from(circuit: Circuit, other: Circuit) -> Mains | None:
    """Return the mains of a circuit with another beside it: its own, or those of the other where
    only that has a plug.
    """
    if any(part.kind == "plug" for part in circuit.parts):
        return circuit.mains or other.mains
    plugged = any(part.kind == "plug" for part in other.parts)
    return other.mains or circuit.mains if plugged else circuit.mains or other.mains


def _attach(circuit: Circuit, other: Circuit, prefix: str) -> Circuit:
    def led(name: str) -> str:
        return f"{prefix}/{name}"

    def led_part(part: Part) -> Part:
        settings = tuple(
            (word, led(arg) if word in REFERRING else arg) for word, arg in part.settings
        )
        pins = tuple((terminal, led(node)) for terminal, node in part.pins)
        return replace(part, name=led(part.name), pins=pins, settings=settings)

    new = tuple(led_part(part) for part in other.parts)
    taken = [part.name for part in new if part.name in circuit.by_name]
    if taken:
        raise EditError(
            f"{taken[0]} is there already; attach the circuit under another name than {prefix}"
        )
    return replace(
        circuit,
        mains=_fed_from(circuit, other),
        parts=circuit.parts + new,
        touchable=circuit.touchable + tuple(map(led, other.touchable)),
        open_nodes=circuit.open_nodes + tuple(map(led, other.open_nodes)),
        blank_nodes=circuit.blank_nodes + tuple(map(led, other.blank_nodes)),
        ports=circuit.ports + tuple((led(port), led(node)) for port, node in other.ports),
        aliases=circuit.aliases + tuple((led(alias), led(node)) for alias, node in other.aliases),
    )

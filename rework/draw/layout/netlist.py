"""The circuit as things to draw: one piece a symbol, one net a node, and how each net is shown.

Conductors stay in the drawing as marks on a wire, so each node of the file is a net of its own. A
net is a ``wire`` (lines only), a ``rail`` (B+: a line across the top) or a ``sign``: common,
chassis or earth, shown by the sign at every pin.
"""

from __future__ import annotations

from collections.abc import Collection, Container, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Literal

from rework.anatomy.rectifiers import rectifies
from rework.circuit.circuit import Circuit
from rework.circuit.kinds import METALWORK
from rework.circuit.parts import Part, strands
from rework.draw.colours import Role
from rework.draw.symbols import bulb

Shown = Literal["wire", "rail", "sign"]
Sign = Literal["", "common", "chassis", "earth"]

#: The unit of a piece that is no part: where a net goes on elsewhere.
FLAG = "flag"
#: A return with at least this many pins is told by a sign of its own.
_RETURN_PINS = 4
#: Before the number of the sheet on which a net goes on.
_ON_SHEET = "\N{RIGHTWARDS ARROW} "


@dataclass(frozen=True, slots=True)
class Piece:
    """One symbol of a part: the part, which unit, and its terminals with their nodes."""

    key: str
    part: Part
    unit: str
    pins: tuple[tuple[str, str], ...]
    bulb_unit: bulb.Unit | None = None

    @property
    def kind(self) -> str:
        """The kind of the part; ``heater`` for the heater of a tube, ``flag`` for a flag."""
        return self.unit if self.unit in (bulb.HEATER_UNIT, FLAG) else self.part.kind

    def node(self, terminal: str) -> str | None:
        """Return the node at a terminal, or None."""
        return dict(self.pins).get(terminal)

    @property
    def nodes(self) -> tuple[str, ...]:
        """The nodes the piece is on, each once, in the order of its pins; that of its case, which
        hangs on no wire, left out.
        """
        return tuple(dict.fromkeys(node for _, node in self._ends))

    @property
    def is_two_ended(self) -> bool:
        """True for a symbol with two leads on one axis, beside a lead of its case."""
        return len(self._ends) == 2 and (
            self.kind in TWO_ENDED or self.part.is_conductor or self.kind == bulb.HEATER_UNIT
        )

    @property
    def _ends(self) -> tuple[tuple[str, str], ...]:
        if self.kind not in CASED:
            return self.pins
        return tuple(pin for pin in self.pins if pin[0] not in METALWORK)


def flag(node: str, word: str) -> Piece:
    """Return the flag at which a net goes on elsewhere: on another sheet, or at a port."""
    part = Part(f"{FLAG} {node}", "connector", type=word, pins=(("1", node),))
    return Piece(part.name, part, FLAG, part.pins)


#: Kinds of two leads on one axis with a case that can be tied to the chassis.
CASED = frozenset({"capacitor", "electrolytic", "choke", "fuse", "breaker"})
#: Kinds whose symbol has two leads on one axis.
TWO_ENDED = frozenset(
    {
        "resistor",
        "thermistor",
        "varistor",
        "barretter",
        "lamp",
        "capacitor",
        "electrolytic",
        "choke",
        "fuse",
        "breaker",
        "dummy load",
        "battery",
        "gas regulator",
        "trace",
        "wire",
        "diode",
        "selenium",
        "zener",
        "light-emitting diode",
        "led",
        "switch",
        "motor",
    }
)


@dataclass(frozen=True, slots=True)
class DrawnNet:
    """One node: how it is shown, which sign, its role, and its pins as (piece, terminal)."""

    name: str
    shown: Shown
    sign: Sign
    role: Role
    pins: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Netlist:
    """Pieces and nets by name.

    ``letters`` has one for each net shown by a sign that another net of the circuit has too;
    ``words`` and ``old`` say of parts what became of them and what they were.
    """

    circuit: Circuit
    pieces: Mapping[str, Piece]
    nets: Mapping[str, DrawnNet]
    letters: Mapping[str, str] = field(default_factory=dict)
    words: Mapping[str, str] = field(default_factory=dict)
    old: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    @cached_property
    def on(self) -> Mapping[str, tuple[Piece, ...]]:
        """The pieces on every net, each once, sorted by key."""
        return {
            name: tuple(self.pieces[key] for key in sorted({key for key, _ in net.pins}))
            for name, net in self.nets.items()
        }

    def net_role(self, node: str) -> Role:
        """Return what a node is for."""
        return self.nets[node].role

    def shown(self, node: str) -> Shown:
        """Return how a node is shown."""
        return self.nets[node].shown

    def drawn_as_wires(self, nodes: Collection[str]) -> Netlist:
        """Return the netlist with rails that are drawn as wires of the supply."""
        wires = {
            name: replace(net, shown="wire")
            for name, net in self.nets.items()
            if name in nodes and net.shown == "rail"
        }
        return replace(self, nets={**self.nets, **wires}) if wires else self


def reservoirs(nets: Netlist) -> frozenset[str]:
    """Return the rails of an amplifier that nothing takes from but the filter: between a rectifier,
    capacitors and bleeders to a sign, and what leads to the next rail. They are drawn beside the
    rectifier.
    """
    units = (piece.bulb_unit for piece in nets.pieces.values())
    if not any(unit is not None and "grid" in unit.pins for unit in units):
        return frozenset()
    return frozenset(
        name for name, net in nets.nets.items() if net.shown == "rail" and _is_raw(nets, name)
    )


def _is_raw(nets: Netlist, name: str) -> bool:
    filters = fed = False
    for piece in nets.on[name]:
        fars = [node for node in piece.nodes if node != name]
        if piece.unit == "rectifier" or rectifies(piece.part):
            fed = True
        elif piece.kind == bulb.HEATER_UNIT or piece.kind == "transformer":
            continue  # of a rectifier that is its own cathode
        elif not piece.is_two_ended or not fars:
            return False
        elif nets.shown(fars[0]) == "rail" and not piece.part.is_conductor:
            filters = filters or piece.kind in ("resistor", "choke")
        elif nets.shown(fars[0]) != "sign":
            return False
    return fed and filters


def _letter(number: int) -> str:
    """Return A to Z, then A1 to Z1 and so on."""
    letter = chr(ord("A") + number % 26)
    return letter + (str(number // 26) if number >= 26 else "")


def pieces_of(part: Part) -> tuple[Piece, ...]:
    """Return the symbols a part takes: units and heater of a tube, cores of a cable, else one."""
    if part.kind == "tube":
        units = bulb.units(part)
        if units:
            return tuple(
                Piece(
                    f"{part.name}#{unit.name}" if unit.name else part.name,
                    part,
                    unit.name,
                    tuple((pin, node) for pin, node in part.pins if pin in unit.terminals),
                    unit,
                )
                for unit in units
            )
    if part.kind == "shielded cable":
        return tuple(
            Piece(
                f"{part.name}#{number}" if number else part.name,
                part,
                run[0].partition(".")[0],
                tuple((pin, node) for pin, node in part.pins if pin in run),
            )
            for number, run in enumerate(strands(part))
        )
    return (Piece(part.name, part, "", tuple(sorted(part.pins, key=_is_metal))),)


def _is_metal(pin: tuple[str, str]) -> bool:
    return pin[0] in METALWORK


@dataclass(frozen=True)
class PieceSides:
    """The circuits that share a drawing, and which parts of each (None for all) are drawn."""

    circuits: tuple[Circuit, ...]
    parts: tuple[tuple[Part, ...] | None, ...]

    def pieces(self, number: int) -> dict[str, Piece]:
        """Return the pieces of one circuit by key, whatever sheet they are on.

        A part that is another than the one of its name in the circuit before has a key of its own.
        """
        parts = self.parts[number]
        chosen = self.circuits[number].parts if parts is None else parts
        pieces = {
            piece.key: piece
            for part in sorted(chosen, key=lambda part: part.name)
            for piece in pieces_of(part)
        }
        return set_apart(pieces, self.pieces(number - 1)) if number else pieces


def netlist(
    circuit: Circuit,
    role_of: Mapping[str, Role],
    pieces: Mapping[str, Piece] | None = None,
    only: Container[str] | None = None,
    goes_on: Mapping[str, str] | None = None,
) -> Netlist:
    """Return what is to be drawn of a circuit: all of it, or some ``pieces``.

    ``role_of`` says what every node is for (``rework.draw.graph.roles``). Nets that go on with
    parts that are not drawn here, and ports of the circuit itself or with one pin, get a flag;
    ``goes_on`` has for a net the sheets on which it does. ``only`` are the keys of the pieces of
    one sheet of several.
    """
    every = PieceSides((circuit,), (None,)).pieces(0) if pieces is None else pieces
    here = {key: piece for key, piece in every.items() if only is None or key in only}
    on_sheet = {
        (piece.part.name, terminal) for piece in here.values() for terminal, _ in piece.pins
    }
    away = {
        node
        for part in circuit.parts
        for terminal, node in part.pins
        if (part.name, terminal) not in on_sheet
    }
    return from_pieces(circuit, role_of, here, away, goes_on or {})


def is_another(part: Part, other: Part) -> bool:
    """True where two parts share nothing but their name: of another kind (a socket that a tube left
    is none), or of another value between other nodes.
    """
    if {part.kind, other.kind} == {"tube", "socket"}:
        return False
    if part.kind != other.kind:
        return True
    nodes = {node for _, node in part.pins}, {node for _, node in other.pins}
    return part.values != other.values and nodes[0] != nodes[1] and len(part.pins) < 3


def set_apart(pieces: dict[str, Piece], others: Mapping[str, Piece]) -> dict[str, Piece]:
    """Return pieces, with a key of its own for each that ``others`` has another part under."""
    islands = {}
    for key, piece in pieces.items():
        other = others.get(key)
        apart = other is not None and is_another(other.part, piece.part)
        islands[f"{key}~" if apart else key] = replace(piece, key=f"{key}~") if apart else piece
    return islands


def from_pieces(
    circuit: Circuit,
    role_of: Mapping[str, Role],
    pieces: dict[str, Piece],
    away: set[str],
    goes_on: Mapping[str, str],
) -> Netlist:
    """Return the netlist of some pieces, flags added to them at nodes that are ``away`` too."""
    pins: dict[str, list[tuple[str, str]]] = {}
    for key, piece in pieces.items():
        for terminal, node in piece.pins:
            pins.setdefault(node, []).append((key, terminal))
    every = _all_pins(circuit)
    signs = _signs(list(circuit.parts), every, role_of)
    for node, word in _flags(circuit, pins, away, goes_on).items():
        if node not in signs:
            port = flag(node, word)
            pieces[port.key] = port
            pins[node].append((port.key, "1"))
    nets = {}
    for name in sorted(pins):
        sign = signs.get(name, "")
        role = role_of.get(name, "signal")
        shown: Shown = "sign" if sign else "rail" if role == "b-plus" else "wire"
        nets[name] = DrawnNet(name, shown, sign, role, tuple(sorted(pins[name])))
    return Netlist(circuit, pieces, nets, _letters(signs, every))


def _letters(
    signs: Mapping[str, Sign], pins: Mapping[str, list[tuple[str, str]]]
) -> dict[str, str]:
    """Return a letter for each net shown by a sign that another net has too."""
    letters: dict[str, str] = {}
    for sign in ("common", "chassis", "earth"):
        same = sorted(
            (name for name in signs if signs[name] == sign),
            key=lambda name: (-len(pins[name]), name),
        )
        if len(same) > 1:
            letters |= {name: _letter(number) for number, name in enumerate(same)}
    return letters


def _all_pins(circuit: Circuit) -> dict[str, list[tuple[str, str]]]:
    all_pins: dict[str, list[tuple[str, str]]] = {}
    for part in circuit.parts:
        for terminal, node in part.pins:
            all_pins.setdefault(node, []).append((part.name, terminal))
    return all_pins


def _flags(
    circuit: Circuit,
    pins: Mapping[str, list[tuple[str, str]]],
    away: set[str],
    goes_on: Mapping[str, str],
) -> dict[str, str]:
    """Return the nodes that need a flag, each with its word; ``away`` are those of other sheets."""
    ports: dict[str, str] = {}
    for port, node in circuit.ports:
        ports[node] = f"{ports[node]}, {port}" if node in ports else port
    flags = {
        node: ports[node]
        for node, on in pins.items()
        if node in ports and (len(on) == 1 or "/" not in ports[node])
    }
    return flags | {
        node: f"{own(node)} {_ON_SHEET}{goes_on[node]}" if node in goes_on else own(node)
        for node in sorted(away)
        if node in pins
    }


def own(name: str) -> str:
    """Return a name without the name of the circuit it was attached as."""
    return name.rpartition("/")[2] or name


def _signs(
    parts: list[Part], pins: Mapping[str, list[tuple[str, str]]], role_of: Mapping[str, Role]
) -> dict[str, Sign]:
    """Return the nets that signs tell, each with its sign."""
    signs: dict[str, Sign] = {}
    for part in parts:
        if part.kind in ("chassis", "earth"):
            for _, node in part.pins:
                signs[node] = part.kind  # type: ignore[assignment]  # the kind names its sign
    minus = {
        part.node("minus")
        for part in parts
        if part.kind == "electrolytic" and role_of.get(part.node("plus") or "") == "b-plus"
    }
    known = "common" in role_of.values()
    returns = {part.node("sleeve") for part in parts if part.kind == "jack"}
    for node, on in pins.items():
        if node in signs:
            continue
        role = role_of.get(node)
        if node in returns and len(on) > (_RETURN_PINS if known else 2):
            signs[node] = "common"
        if (role == "common" and len(on) > 2) or (
            len(on) >= _RETURN_PINS and (role == "chassis" or node in minus)
        ):
            signs[node] = "common"
    return signs

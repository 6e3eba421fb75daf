"""What can be wrong with a tube, with its socket, and with the string that its heater is in."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache
from itertools import pairwise

from rework.anatomy.amplifier import of
from rework.circuit.circuit import Circuit
from rework.circuit.edits import Action, Bridge, ExchangeTube, MoveLead
from rework.circuit.parts import Part
from rework.faultfinding.leads import alone, exchanged, lead_off
from rework.faultfinding.trouble import Emission, Gas, Law, SingleTrouble, TroubleKind
from rework.solve.points import points
from rework.solve.rows import units_of
from rework.tubes import library
from rework.tubes.tubetype import TubeType

#: Ohms of a short inside a part, the least and the most, and from heater to cathode (our guess).
SHORTS, HEATER_LEAKS = (0.05, 20.0), (30e3,)
#: What is left of the emission of a weak tube, and the share of its plate current that gas drives
#: into the grid (our guess).
WEAK, GASSY = (0.5, 0.25), (5e-5, 3e-4)
#: Other types that may be in a socket by mistake, at most (our guess).
MISTAKEN = 5
#: Electrodes that touch inside a tube, neighbours from cathode to plate.
_NEIGHBOURS = (
    ("grid", "cathode"),
    ("screen", "grid"),
    ("plate", "screen"),
    ("plate", "cathode"),
)


def of_tube(circuit: Circuit, part: Part) -> Iterator[SingleTrouble]:
    """Yield every trouble of a tube and its socket; none of a type that is not known."""
    tube = library.find(part.type)
    if tube is None:
        return
    yield from _bulb(part, tube)
    yield from _heater(circuit, part, tube)
    yield from _touching(circuit, part, tube)
    yield from _socket(circuit, part, tube)
    yield from _wrong_types(circuit, part, tube)


def _bulb(part: Part, tube: TubeType) -> Iterator[SingleTrouble]:
    units = units_of(tube) if not tube.is_rectifier else ("",)
    for unit in units:
        at = (unit,) if unit else ()
        laws: list[tuple[TroubleKind, str, float, Law]] = [
            (TroubleKind.TUBE_WEAK, f"x{times:g}", times, Emission(part.name, unit, times))
            for times in WEAK
        ]
        laws.append((TroubleKind.TUBE_DEAD, "", 0.0, Emission(part.name, unit, 0.0)))
        if not tube.is_rectifier:
            laws += [
                (TroubleKind.TUBE_GASSY, f"{share:.2%}", share, Gas(part.name, unit, share))
                for share in GASSY
            ]
        for kind, severity, level, law in laws:
            yield SingleTrouble(
                kind, part.name, at, severity, level, laws=(law,), weight=1 / len(units)
            )


def _heater(circuit: Circuit, part: Part, tube: TubeType) -> Iterator[SingleTrouble]:
    ends = [pin for name in ("heater1", "heater2") for pin in tube.pins_of(name) if part.node(pin)]
    tapped = any(part.node(pin) for name in _TAPS for pin in tube.pins_of(name))
    for pin in ends if tapped else ends[:1]:
        for trouble in lead_off(circuit, part, pin, TroubleKind.HEATER_OPEN, inside=True):
            yield replace(trouble, weight=1 / (len(ends) if tapped else 1))
    cathodes = [pin for pin, _ in part.pins if tube.element(pin).rpartition(".")[2] == "cathode"]
    if tube.heater.directly_heated:
        return
    for cathode in cathodes:
        for pin in ends:
            for ohms in HEATER_LEAKS:
                if part.at(pin) != part.at(cathode):
                    action = Bridge(part.at(pin), part.at(cathode), ohms)
                    yield SingleTrouble(
                        TroubleKind.HEATER_CATHODE,
                        part.name,
                        (pin, cathode),
                        f"{ohms / 1e3:g} kohm",
                        ohms,
                        (action,),
                        weight=1 / (len(cathodes) * len(ends)),
                    )


#: Taps of a heater.
_TAPS = ("heater-tap", "lamp-tap")


def _touching(circuit: Circuit, part: Part, tube: TubeType) -> Iterator[SingleTrouble]:
    point = points(circuit)
    units = tube.units or ("",)
    for unit in units:
        prefix = f"{unit}." if unit else ""
        for pair in _NEIGHBOURS:
            pins = [
                next((pin for pin in tube.pins_of(prefix + name) if part.node(pin)), None)
                for name in pair
            ]
            screened = bool(tube.pins_of(f"{prefix}screen"))
            if None in pins or (
                pair == ("plate", "cathode") and (screened or _has_grid(tube, unit))
            ):
                continue
            nodes = [part.at(str(pin)) for pin in pins]
            if point[nodes[0]] != point[nodes[1]]:
                at = (str(pins[0]), str(pins[1]))
                yield from shorted(TroubleKind.ELECTRODES_TOUCH, part, nodes[0], nodes[1], at)


def shorted(
    kind: TroubleKind, part: Part, first: str, second: str, at: tuple[str, ...] = ()
) -> Iterator[SingleTrouble]:
    """Yield a short between two nodes of a part, dead and not quite."""
    for ohms in SHORTS:
        action = Bridge(first, second, ohms)
        yield SingleTrouble(kind, part.name, at, f"{ohms:g} ohm", ohms, (action,))


def _has_grid(tube: TubeType, unit: str) -> bool:
    return bool(tube.pins_of(f"{unit}.grid" if unit else "grid"))


def _socket(circuit: Circuit, part: Part, tube: TubeType) -> Iterator[SingleTrouble]:
    """Yield what goes wrong at the lugs of a socket."""
    point = points(circuit)
    for pin, _ in part.pins:
        yield from lead_off(circuit, part, pin, TroubleKind.PIN_OPEN)
    lugs = [pin for pin in tube.socket_pins if pin.isdigit()]
    for first, second in pairwise(lugs):
        nodes = part.node(first), part.node(second)
        if nodes[0] is not None and nodes[1] is not None and point[nodes[0]] != point[nodes[1]]:
            yield exchanged(part, first, second, TroubleKind.PINS_SWAPPED)
            action = Bridge(nodes[0], nodes[1])
            yield SingleTrouble(
                TroubleKind.PINS_BRIDGED, part.name, (first, second), actions=(action,)
            )
        for pin, lug in ((first, second), (second, first)):
            yield from _one_off(circuit, part, pin, lug)


def _one_off(circuit: Circuit, part: Part, pin: str, lug: str) -> Iterator[SingleTrouble]:
    """Yield the leads of a pin on the neighbouring lug, the pin left with nothing."""
    node, there = part.node(pin), part.node(lug)
    if node is None or len(circuit.at[node]) < 2 or node == there:
        return
    actions: list[Action] = [MoveLead(part.name, pin, alone(circuit, part.name, pin))]
    if there is not None:
        actions.append(Bridge(node, there))
    yield SingleTrouble(
        TroubleKind.ONE_PIN_OFF, part.name, (pin, lug), actions=tuple(actions), weight=0.5
    )


def _wrong_types(circuit: Circuit, part: Part, tube: TubeType) -> Iterator[SingleTrouble]:
    """Yield other types of the same base in the socket: those of the other sockets of the set, what
    is taken for this type by mistake, the same tube behind another heater, and what else of that
    base the heater supply lights, those of its own kind first.
    """
    seats = (part.type for part in circuit.parts if part.kind == "tube")
    alike = (lookalike.type for lookalike in tube.lookalikes)
    names = (*seats, *alike, *(kin.type for kin in tube.relatives), *_lit_alike(tube))
    types = {tube.type: tube for tube in map(library.find, names) if tube is not None}
    bound = {pin for pin, _ in part.pins}
    fits = [
        type_
        for type_ in types.values()
        if type_ is not tube and type_.base == tube.base and bound <= set(type_.socket_pins)
    ]
    for number, type_ in enumerate(fits[:MISTAKEN], 1):
        unused = tuple(pin for pin in type_.socket_pins if pin not in bound)
        yield SingleTrouble(
            TroubleKind.WRONG_TUBE,
            part.name,
            severity=type_.type,
            level=number,
            actions=(ExchangeTube(part.name, type_.type, part.pins, unused),),
            weight=1 / min(len(fits), MISTAKEN),
        )


@cache
def _lit_alike(tube: TubeType) -> tuple[str, ...]:
    """Return the types of a base that the same heater supply lights: at as many volts, or in a
    string at as many amps.
    """

    def is_lit(other: TubeType) -> bool:
        volts, amps = other.heater.volts.value, other.heater.amps.value
        return volts == tube.heater.volts.value or amps == tube.heater.amps.value

    types = [type_ for name in library.types() if (type_ := library.find(name)) is not None]
    lit = [type_ for type_ in types if type_.base == tube.base and is_lit(type_)]
    return tuple(type_.type for type_ in sorted(lit, key=lambda type_: type_.kind != tube.kind))


def of_strings(circuit: Circuit) -> Iterator[SingleTrouble]:
    """Yield every heater string of two parts and more fed at its wrong end."""
    heaters = of(circuit).heaters
    for string in heaters.strings:
        if len(string.elements) < 2 or string.ends[0] == string.ends[1]:
            continue
        first, last = string.elements[0].part, string.elements[-1].part
        at = _lead_at(heaters.point, first, string.ends[0])
        to = _lead_at(heaters.point, last, string.ends[1])
        if at is not None and to is not None:
            moves = (
                MoveLead(first.name, at, last.at(to)),
                MoveLead(last.name, to, first.at(at)),
            )
            yield SingleTrouble(
                TroubleKind.STRING_TURNED, first.name, (at, last.name, to), actions=moves
            )


def _lead_at(point: Callable[[str], str], part: Part, end: str) -> str | None:
    return next((terminal for terminal, node in part.pins if point(node) == end), None)

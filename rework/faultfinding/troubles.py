"""Every single thing that can be wrong with a circuit, by kind of part."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from dataclasses import replace
from itertools import pairwise

from rework.circuit.circuit import Circuit
from rework.circuit.edits import Action, Bridge, CutConductor, MoveLead, RemovePart, SetValue
from rework.circuit.kinds import Law as KindLaw
from rework.circuit.parts import Part, Value, strands
from rework.faultfinding.trouble import (
    OF_WIRING,
    Emission,
    Gas,
    Law,
    SingleTrouble,
    TroubleKind,
    weights,
)
from rework.solve.points import points
from rework.solve.rows import units_of
from rework.tubes import library
from rework.tubes.tubetype import TubeType

#: How far a resistor is off, and slips of its multiplier (our guess). What lies between two levels
#: of a trouble counts as it (``expect.expected``).
OFF, DECADES = (0.5, 1.4, 2.2), (10.0, 0.1)
#: Ohms of a leaky capacitor, of a short inside a part, and from heater to cathode (our guess).
LEAKS, SHORT, HEATER_LEAKS = (30e3, 200e3, 1.5e6, 10e6), 1.0, (30e3,)
#: What is left of a dry electrolytic, of the emission of a weak tube, and the share of its plate
#: current that gas drives into the grid (our guess).
DRY, WEAK, GASSY = 0.1, (0.5, 0.25), (5e-5, 3e-4)
#: Shorted turns put this share of its load across a winding (our guess).
TURNS = 0.05
#: A pin, wire or part that the job worked on is so many times as likely to be wired wrong, and a
#: part that it fitted this many times as likely to have aged (our guess).
TOUCHED, FRESH = 10.0, 0.2
#: Kinds that come with age.
_AGED = frozenset(
    {
        TroubleKind.RESISTOR_OFF,
        TroubleKind.RESISTOR_OPEN,
        TroubleKind.CAPACITOR_OPEN,
        TroubleKind.CAPACITOR_DRY,
        TroubleKind.CAPACITOR_LEAKY,
        TroubleKind.CAPACITOR_SHORT,
        TroubleKind.TUBE_WEAK,
    }
)
#: Two-ended parts that may be open.
_OPENS = (KindLaw.LAMP, KindLaw.MOTOR, KindLaw.THERMISTOR, KindLaw.COIL)
#: Parts whose first lead may be off.
_LED = ("speaker", "dummy load", "jack", "pickup", "microphone")
#: Electrodes that touch inside a tube, neighbours from cathode to plate.
_NEIGHBOURS = (
    ("grid", "cathode"),
    ("screen", "grid"),
    ("plate", "screen"),
    ("plate", "cathode"),
)


def troubles(
    circuit: Circuit, *, touched: Collection[str] = (), fresh: Collection[str] = ()
) -> tuple[SingleTrouble, ...]:
    """Return every single trouble that the parts of a circuit can have, each severity on its own,
    with their weights.

    ``touched`` names the parts that a job worked on, ``fresh`` those that it fitted.
    """
    bare = [one for part in circuit.parts for one in _of_part(circuit, part)]
    severities: dict[str, int] = {}
    for one in bare:
        severities[one.key] = severities.get(one.key, 0) + 1
    return tuple(
        replace(one, weight=_weight(one, touched, fresh) / severities[one.key]) for one in bare
    )


def _weight(trouble: SingleTrouble, touched: Collection[str], fresh: Collection[str]) -> float:
    weight = trouble.weight * weights()[trouble.kind].weight
    if trouble.kind in OF_WIRING and trouble.part in touched:
        weight *= TOUCHED
    if trouble.kind in _AGED and trouble.part in fresh:
        weight *= FRESH
    return weight


def _of_part(circuit: Circuit, part: Part) -> Iterator[SingleTrouble]:
    for applies, made in _MAKERS:
        if applies(part):
            yield from made(circuit, part)
            return


def alone(circuit: Circuit, part: str, terminal: str) -> str:
    """Return a node of its own for a terminal that is taken off."""
    return circuit.free_node_name(f"{part}-{terminal}-off".replace("/", "-").replace(".", "-"))


def _lead_off(
    circuit: Circuit, part: Part, terminal: str, kind: TroubleKind, *, inside: bool = False
) -> Iterator[SingleTrouble]:
    """Yield one terminal of a part on a node of its own."""
    node = part.node(terminal)
    if node is not None and len(circuit.at[node]) > 1:
        move = MoveLead(part.name, terminal, alone(circuit, part.name, terminal))
        yield SingleTrouble(kind, part.name, (terminal,), actions=(move,), inside=inside)


def _with_value(part: Part, dimension: str, times: float) -> SetValue:
    values = tuple(
        Value(value.dimension, value.amount * times, value.role)
        if (value.dimension, value.role) == (dimension, "")
        else value
        for value in part.values
    )
    return SetValue(part.name, values, part.words)


def _conductor(_: Circuit, part: Part) -> Iterator[SingleTrouble]:
    yield SingleTrouble(TroubleKind.WIRE_MISSING, part.name, actions=(CutConductor(part.name),))


def _fuse(_: Circuit, part: Part) -> Iterator[SingleTrouble]:
    yield SingleTrouble(TroubleKind.FUSE_BLOWN, part.name, actions=(RemovePart(part.name),))


def _pot(circuit: Circuit, part: Part) -> Iterator[SingleTrouble]:
    for terminal in ("wiper", "ccw", "cw"):
        yield from _lead_off(circuit, part, terminal, TroubleKind.POT)


def _open(_: Circuit, part: Part) -> Iterator[SingleTrouble]:
    yield SingleTrouble(
        TroubleKind.PART_OPEN, part.name, actions=(RemovePart(part.name),), inside=True
    )


def _first_lead(circuit: Circuit, part: Part) -> Iterator[SingleTrouble]:
    for terminal, _ in part.pins[:1]:
        yield from _lead_off(circuit, part, terminal, TroubleKind.PART_OPEN)


def _contacts(circuit: Circuit, part: Part) -> Iterator[SingleTrouble]:
    if part.setting("mates"):
        for terminal, _ in part.pins:
            yield from _lead_off(circuit, part, terminal, TroubleKind.CONTACT_OPEN)


def _resistor(_: Circuit, part: Part) -> Iterator[SingleTrouble]:
    yield SingleTrouble(
        TroubleKind.RESISTOR_OPEN, part.name, actions=(RemovePart(part.name),), inside=True
    )
    for kind, factors in ((TroubleKind.RESISTOR_OFF, OFF), (TroubleKind.WRONG_VALUE, DECADES)):
        for times in factors:
            action = _with_value(part, "resistance", times)
            yield SingleTrouble(kind, part.name, (), f"x{times:g}", times, (action,))


def _capacitor(_: Circuit, part: Part) -> Iterator[SingleTrouble]:
    if len(part.pins) < 2:
        return
    ends = part.pins[0][1], part.pins[-1][1]
    yield SingleTrouble(
        TroubleKind.CAPACITOR_OPEN, part.name, actions=(RemovePart(part.name),), inside=True
    )
    if part.traits.polar:
        action = _with_value(part, "capacitance", DRY)
        yield SingleTrouble(TroubleKind.CAPACITOR_DRY, part.name, (), f"x{DRY:g}", DRY, (action,))
    if ends[0] == ends[1]:
        return
    yield SingleTrouble(TroubleKind.CAPACITOR_SHORT, part.name, actions=(Bridge(*ends, SHORT),))
    for ohms in LEAKS:
        leak = Bridge(*ends, ohms)
        yield SingleTrouble(
            TroubleKind.CAPACITOR_LEAKY, part.name, (), f"{ohms / 1e3:g} kohm", ohms, (leak,)
        )


def _junction(_: Circuit, part: Part) -> Iterator[SingleTrouble]:
    yield SingleTrouble(
        TroubleKind.RECTIFIER_OPEN, part.name, actions=(RemovePart(part.name),), inside=True
    )
    for ends in part.traits.junctions:
        nodes = [part.node(end) for end in ends]
        if None not in nodes and nodes[0] != nodes[1]:
            action = Bridge(str(nodes[0]), str(nodes[1]), SHORT)
            yield SingleTrouble(TroubleKind.RECTIFIER_SHORT, part.name, ends, actions=(action,))
    if len(part.pins) == 2:
        yield _exchanged(part, part.pins[0][0], part.pins[1][0], TroubleKind.LEADS_SWAPPED)


def _exchanged(part: Part, one: str, other: str, kind: TroubleKind) -> SingleTrouble:
    moves = (MoveLead(part.name, one, part.at(other)), MoveLead(part.name, other, part.at(one)))
    return SingleTrouble(kind, part.name, (one, other), actions=moves)


def _wound(circuit: Circuit, part: Part) -> Iterator[SingleTrouble]:
    for place, run in enumerate(strands(part)):
        if len(run) < 2:
            continue
        winding = run[0].split(".")[0]
        leads = run if len(run) > 2 else run[-1:]
        for terminal in leads:
            yield from _lead_off(circuit, part, terminal, TroubleKind.WINDING_OPEN, inside=True)
        ends = part.at(run[0]), part.at(run[-1])
        if ends[0] == ends[1]:
            continue
        ohms = _turns_ohms(part, winding)
        if ohms is not None:
            action = Bridge(*ends, ohms)
            yield SingleTrouble(TroubleKind.TURNS_SHORTED, part.name, (winding,), actions=(action,))
        if place > 0:
            yield _exchanged(part, run[0], run[-1], TroubleKind.LEADS_SWAPPED)


def _turns_ohms(part: Part, winding: str) -> float | None:
    """Return the ohms that shorted turns put across a winding; None where it states no size."""
    values = {(v.dimension, v.role): v.amount for v in dict(part.windings).get(winding, ())}
    if load := values.get(("resistance", "load")):
        return TURNS * load
    volts, amps = values.get(("voltage", "")), values.get(("current", ""))
    watts = part.value("apparent-power") or part.value("power")
    if volts and (amps or watts):
        return volts / (2 * amps) if amps else volts**2 / (2 * (watts or 1.0))
    return None


def _tube(circuit: Circuit, part: Part) -> Iterator[SingleTrouble]:
    tube = library.find(part.type)
    if tube is None:
        return
    yield from _bulb(part, tube)
    yield from _heater(circuit, part, tube)
    yield from _touching(circuit, part, tube)
    yield from _socket(circuit, part, tube)


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
        for one in _lead_off(circuit, part, pin, TroubleKind.HEATER_OPEN, inside=True):
            yield replace(one, weight=1 / (len(ends) if tapped else 1))
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
                action = Bridge(nodes[0], nodes[1], SHORT)
                yield SingleTrouble(TroubleKind.ELECTRODES_TOUCH, part.name, at, actions=(action,))


def _has_grid(tube: TubeType, unit: str) -> bool:
    return bool(tube.pins_of(f"{unit}.grid" if unit else "grid"))


def _socket(circuit: Circuit, part: Part, tube: TubeType) -> Iterator[SingleTrouble]:
    """Yield what goes wrong at the lugs of a socket."""
    point = points(circuit)
    for pin, _ in part.pins:
        yield from _lead_off(circuit, part, pin, TroubleKind.PIN_OPEN)
    lugs = [pin for pin in tube.socket_pins if pin.isdigit()]
    for one, other in pairwise(lugs):
        nodes = part.node(one), part.node(other)
        if nodes[0] is not None and nodes[1] is not None and point[nodes[0]] != point[nodes[1]]:
            yield _exchanged(part, one, other, TroubleKind.PINS_SWAPPED)
            action = Bridge(nodes[0], nodes[1])
            yield SingleTrouble(
                TroubleKind.PINS_BRIDGED, part.name, (one, other), actions=(action,)
            )
        for pin, lug in ((one, other), (other, one)):
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


#: What can be wrong with a part, by the first that applies to it.
_MAKERS: tuple[
    tuple[Callable[[Part], bool], Callable[[Circuit, Part], Iterator[SingleTrouble]]], ...
] = (
    (lambda part: part.is_conductor, _conductor),
    (lambda part: part.kind == "resistor", _resistor),
    (lambda part: part.is_capacitor, _capacitor),
    (lambda part: part.kind == "tube", _tube),
    (lambda part: part.traits.is_wound, _wound),
    (lambda part: part.traits.is_overcurrent, _fuse),
    (lambda part: part.traits.law is KindLaw.JUNCTION, _junction),
    (lambda part: part.traits.law is KindLaw.TRACK, _pot),
    (lambda part: part.traits.law in _OPENS, _open),
    (lambda part: part.traits.law is KindLaw.MATED_CONTACTS, _contacts),
    (lambda part: part.traits.is_switch or part.kind in _LED, _first_lead),
)

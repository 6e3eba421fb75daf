"""Every single thing that can be wrong with a circuit, by kind of part."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from dataclasses import replace

from rework.anatomy.links import closed_contacts, positions
from rework.circuit.circuit import Circuit
from rework.circuit.edits import Action, Bridge, CutConductor, MoveLead, RemovePart, SetValue
from rework.circuit.kinds import Law as KindLaw
from rework.circuit.parts import Part, Value, drawn_position, strands
from rework.faultfinding.leads import alone, exchanged, lead_off
from rework.faultfinding.trouble import (
    OF_WIRING,
    SingleTrouble,
    TroubleKind,
    weights,
)
from rework.faultfinding.tube_troubles import of_strings, of_tube, shorted

#: How far a resistor is off, and slips of its multiplier (our guess). What lies between two levels
#: of a trouble counts as it (``expect.expected``).
OFF, DECADES = (0.03, 0.2, 0.5, 1.4, 2.2, 5.0, 25.0), (10.0, 0.1)
#: Ohms of a leaky capacitor and of an electrolytic fitted the wrong way round, and what is left of
#: a dry electrolytic (our guess).
LEAKS, REVERSED, DRY = (300.0, 3e3, 30e3, 200e3, 1.5e6, 10e6), (100.0, 2e3), 0.1
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


def troubles(
    circuit: Circuit, *, touched: Collection[str] = (), fresh: Collection[str] = ()
) -> tuple[SingleTrouble, ...]:
    """Return every single trouble that the parts of a circuit can have, each severity on its own,
    with their weights.

    ``touched`` names the parts that a job worked on, ``fresh`` those that it fitted.
    """
    bare = [trouble for part in circuit.parts for trouble in _of_part(circuit, part)]
    bare += of_strings(circuit)
    severities: dict[str, int] = {}
    for trouble in bare:
        severities[trouble.key] = severities.get(trouble.key, 0) + 1
    return tuple(
        replace(trouble, weight=_weight(trouble, touched, fresh) / severities[trouble.key])
        for trouble in bare
    )


def _weight(trouble: SingleTrouble, touched: Collection[str], fresh: Collection[str]) -> float:
    weight = trouble.weight * weights()[trouble.kind].weight
    if trouble.kind in OF_WIRING and trouble.part in touched:
        weight *= TOUCHED
    if trouble.kind in _AGED and trouble.part in fresh:
        weight *= FRESH
    return weight


def _of_part(circuit: Circuit, part: Part) -> Iterator[SingleTrouble]:
    for applies, of_part in _MAKERS:
        if applies(part):
            yield from of_part(circuit, part)
            return


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
    for terminal in ("wiper", "ccw", "cw", "tap"):
        yield from lead_off(circuit, part, terminal, TroubleKind.POT)


def _open(_: Circuit, part: Part) -> Iterator[SingleTrouble]:
    yield SingleTrouble(
        TroubleKind.PART_OPEN, part.name, actions=(RemovePart(part.name),), inside=True
    )


def _first_lead(circuit: Circuit, part: Part) -> Iterator[SingleTrouble]:
    for terminal, _ in part.pins[:1]:
        yield from lead_off(circuit, part, terminal, TroubleKind.PART_OPEN)


def _switch(circuit: Circuit, part: Part) -> Iterator[SingleTrouble]:
    """Yield every pole open, and the switch stuck in each position that it is not drawn in."""
    drawn = closed_contacts(part, drawn_position(part))
    for pole in drawn:
        yield from lead_off(circuit, part, pole[-1], TroubleKind.PART_OPEN)
    for position in positions(part):
        there = closed_contacts(part, position)
        opened = [pole for pole in drawn if pole not in there]
        closed = [pole for pole in there if pole not in drawn]
        if not opened or not closed:
            continue
        actions: list[Action] = [
            MoveLead(part.name, pole[-1], alone(circuit, part.name, pole[-1])) for pole in opened
        ]
        actions += [
            Bridge(part.at(pole[0]), part.at(other))
            for pole in closed
            for other in pole[1:]
            if part.at(pole[0]) != part.at(other)
        ]
        yield SingleTrouble(
            TroubleKind.SWITCH_STUCK, part.name, (position,), actions=tuple(actions)
        )


def _contacts(circuit: Circuit, part: Part) -> Iterator[SingleTrouble]:
    if part.setting("mates"):
        for terminal, _ in part.pins:
            yield from lead_off(circuit, part, terminal, TroubleKind.CONTACT_OPEN)


def _resistor(_: Circuit, part: Part) -> Iterator[SingleTrouble]:
    yield SingleTrouble(
        TroubleKind.RESISTOR_OPEN, part.name, actions=(RemovePart(part.name),), inside=True
    )
    for kind, factors in ((TroubleKind.RESISTOR_OFF, OFF), (TroubleKind.WRONG_VALUE, DECADES)):
        for times in factors:
            action = _with_value(part, "resistance", times)
            yield SingleTrouble(kind, part.name, (), f"x{times:g}", times, (action,))
    if len(part.ends) == 2 and part.ends[0] != part.ends[1]:
        yield from shorted(TroubleKind.RESISTOR_SHORT, part, *part.ends)


def _capacitor(_: Circuit, part: Part) -> Iterator[SingleTrouble]:
    if len(part.ends) < 2:
        return
    ends = part.ends[0], part.ends[-1]
    yield SingleTrouble(
        TroubleKind.CAPACITOR_OPEN, part.name, actions=(RemovePart(part.name),), inside=True
    )
    if part.traits.polar:
        action = _with_value(part, "capacitance", DRY)
        yield SingleTrouble(TroubleKind.CAPACITOR_DRY, part.name, (), f"x{DRY:g}", DRY, (action,))
    if ends[0] == ends[1]:
        return
    yield from shorted(TroubleKind.CAPACITOR_SHORT, part, *ends)
    if part.traits.polar and len(part.ends) == 2:
        for ohms in REVERSED:
            leak = Bridge(*ends, ohms)
            yield SingleTrouble(
                TroubleKind.CAPACITOR_REVERSED, part.name, (), f"{ohms:g} ohm", ohms, (leak,)
            )
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
            yield from shorted(
                TroubleKind.RECTIFIER_SHORT, part, str(nodes[0]), str(nodes[1]), ends
            )
    if len(leads := part.leads) == 2:
        yield exchanged(part, leads[0][0], leads[1][0], TroubleKind.LEADS_SWAPPED)


def _wound(circuit: Circuit, part: Part) -> Iterator[SingleTrouble]:
    for place, run in enumerate(strands(part)):
        if len(run) < 2:
            continue
        winding = run[0].split(".")[0]
        leads = run if len(run) > 2 else run[-1:]
        for terminal in leads:
            yield from lead_off(circuit, part, terminal, TroubleKind.WINDING_OPEN, inside=True)
        ends = part.at(run[0]), part.at(run[-1])
        if ends[0] == ends[1]:
            continue
        ohms = _turns_ohms(part, winding)
        if ohms is not None:
            action = Bridge(*ends, ohms)
            yield SingleTrouble(TroubleKind.TURNS_SHORTED, part.name, (winding,), actions=(action,))
        if place > 0:
            yield exchanged(part, run[0], run[-1], TroubleKind.LEADS_SWAPPED)


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


#: What can be wrong with a part, by the first that applies to it.
_MAKERS: tuple[
    tuple[Callable[[Part], bool], Callable[[Circuit, Part], Iterator[SingleTrouble]]], ...
] = (
    (lambda part: part.is_conductor, _conductor),
    (lambda part: part.kind == "resistor", _resistor),
    (lambda part: part.is_capacitor, _capacitor),
    (lambda part: part.kind == "tube", of_tube),
    (lambda part: part.traits.is_wound, _wound),
    (lambda part: part.traits.is_overcurrent, _fuse),
    (lambda part: part.traits.law is KindLaw.JUNCTION, _junction),
    (lambda part: part.traits.law is KindLaw.TRACK, _pot),
    (lambda part: part.traits.law in _OPENS, _open),
    (lambda part: part.traits.law is KindLaw.MATED_CONTACTS, _contacts),
    (lambda part: part.traits.is_switch, _switch),
    (lambda part: part.kind in _LED, _first_lead),
)

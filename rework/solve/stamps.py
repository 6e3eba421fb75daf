"""What every kind of part puts into the equations, by the law of its row in the table of kinds."""

from __future__ import annotations

from collections.abc import Callable

from rework.anatomy.amplifier import of
from rework.anatomy.defaults import (
    POWER_FACTOR,
    SPEAKER_OHMS,
    SPREAD,
    choke_henries,
    choke_ohms,
    motor,
)
from rework.anatomy.motor_taps import MotorTap, motor_tap
from rework.circuit.kinds import Law
from rework.circuit.parts import Part
from rework.circuit.taps import TRACK_TAP, track, track_tap
from rework.solve import holding_stamps
from rework.solve.devices import GERMANIUM, SELENIUM, SILICON, Rectifier
from rework.solve.draft import LEAST_OHMS, Current, Stamp, StampDraft
from rework.solve.network import Coil
from rework.solve.positions import turned
from rework.solve.tube_stamps import tube
from rework.solve.windings import MOST_HENRIES, WINDING_TOLERANCE, windings

#: Ohms of a motor's tapped winding for each volt on it (own choice, no source: at the 0.1 A of a
#: small heater its volts fall by a hundredth), and henries that hold it; what the motor itself
#: takes is in the coil beside.
TAP_SAG, TAP_HENRIES = 0.1, 1e3
#: Middle of a control as a share of its track: an audio taper stands at a tenth (common practice,
#: no source).
MIDDLE = {"audio": 0.1, "reverse-audio": 0.9}
#: Ohms left between a wiper and the end it is turned to, as a share of the track and at least.
END_SHARE, END_OHMS = 1e-4, 1.0
#: Tolerance of capacitors where the file gives none (common practice, no source).
CAPACITOR_TOLERANCE = 0.20
#: A capacitor as large as this is taken for a slip of the multiplier, farads.
MOST_FARADS = 1.0
#: Ohms of a pickup or microphone whose file states none (common practice, no source).
SOURCE_OHMS = 1e6


def _resistor(draft: StampDraft, part: Part) -> None:
    """A resistor, a speaker or a dummy load."""
    load = part.kind in ("speaker", "dummy load")
    ohms = part.value("resistance")
    if load and ohms is None:
        ohms = SPEAKER_OHMS
        draft.notes.append(f"{part.name} has no ohms in the file: taken as {ohms:g} ohm")
    draft.resistance(part, (part.node("1"), part.node("2")), ohms, spread=0.0 if load else None)


def _thermistor(draft: StampDraft, part: Part) -> None:
    """Hot where there is a line, cold where there is none."""
    ohms = (
        part.value("resistance", role="hot" if draft.condition.powered else "cold")
        or part.value("resistance")
        or part.value("resistance", role="hot")
    )
    draft.resistance(part, (part.node("1"), part.node("2")), ohms)


def _pot(draft: StampDraft, part: Part) -> None:
    ohms = part.value("resistance")
    if ohms is None:
        draft.fault(
            part, f"{part.name} has no resistance in the file", "write its ohms, as in pot 500k"
        )
        return
    share = wiper(part, draft.condition.rotation.get(part.name))
    least = max(ohms * END_SHARE, END_OHMS)
    if part.node("tap") is not None and track_tap(part) is None:
        middle = TRACK_TAP * ohms
        draft.notes.append(
            f"the tap of {part.name} does not state its place: taken as {middle:g} ohm from ccw;"
            " write it, as in tap 250k"
        )
    for piece in track(part, share):
        draft.resistance(
            part,
            (part.node(piece.first), part.node(piece.second)),
            max(piece.share * ohms, least),
            name=f"{part.name}.{piece.name}",
        )


def wiper(part: Part, turn: float | None) -> float:
    """Return the share of a pot's track between ccw and its wiper, turned 0 at ccw to 1 at cw; as
    the file says where ``turn`` is None, or else in the middle.

    A taper is two straight lines that meet in the middle.
    """
    if turn is None:
        turn = turned(part)
    if turn is None:
        turn = 0.5
    middle = next((MIDDLE[word] for word in part.words if word in MIDDLE), 0.5)
    return 2 * turn * middle if turn <= 0.5 else middle + (2 * turn - 1) * (1 - middle)


def _capacitor(draft: StampDraft, part: Part) -> None:
    ends = part.ends
    if len(ends) < 2:  # an empty can left in its place
        return
    farads = part.value("capacitance")
    if farads is None:
        draft.fault(part, f"{part.name} has no capacitance in the file", "write its microfarads")
    elif not 0 < farads < MOST_FARADS:
        draft.fault(
            part, f"{part.name} has an absurd capacitance ({farads:g} F)", "look at its multiplier"
        )
    else:
        tolerance = part.value("fraction") or CAPACITOR_TOLERANCE
        draft.tie(part, "c", (ends[0], ends[1]), farads, tolerance)


def _lamp(draft: StampDraft, part: Part) -> None:
    if "neon" in part.words:
        return
    volts, amps, watts = part.value("voltage"), part.value("current"), part.value("power")
    if not volts or not (amps or watts):
        draft.fault(
            part,
            f"{part.name} has no volts and amps in the file",
            "write both, as in lamp pilot 6.3 V 150 mA",
        )
        return
    ohms = volts / amps if amps else volts * volts / (watts or 1.0)
    draft.resistance(part, (part.node("1"), part.node("2")), ohms, spread=0.0)


def _motor(draft: StampDraft, part: Part) -> None:
    """A motor as the ohms and henries in series that it is on its line."""
    mains = draft.circuit.mains
    volts = part.value("voltage") or (mains.volts if mains else 0.0)
    watts, amps, ohms = part.value("power"), part.value("current"), part.value("resistance")
    ends = part.node("1"), part.node("2")
    if not volts or ends[0] is None or ends[1] is None:
        return
    series, henries = motor(volts, amps, watts, ohms, mains.hertz if mains else 0.0)
    draft.notes.append(
        f"{part.name} is taken as {series:.3g} ohm and {henries:.2g} H in series"
        + ("" if watts and amps else f" (power factor {POWER_FACTOR:g}, from memory)")
    )
    _coil(draft, part, series, henries, SPREAD)
    tap = motor_tap(of(draft.circuit).wiring, part)
    if tap is not None:
        _tapped(draft, part, tap)


def _tapped(draft: StampDraft, part: Part, tap: MotorTap) -> None:
    """The winding of a motor as the autotransformer that its tap makes of it."""
    if tap.heater:
        draft.notes.append(
            f"the tap of {part.name} does not state its volts: taken as the {tap.volts:g} V of the"
            f" heater of {tap.heater}; write them, as in tap {tap.volts:g} V"
        )
    core = Current(f"{part.name}.core")
    draft.rows[core.row] = [Stamp("g", core, core, -1.0)]
    for name, first, second, turns in (
        ("front", tap.front, tap.tap, 1.0 - tap.share),
        ("tap", tap.tap, tap.back, tap.share),
    ):
        row, ohms = f"{part.name}.{name}", TAP_SAG * turns * tap.whole
        draft.winding(row, first, second, ohms)
        draft.rows[row].append(Stamp("g", Current(row), core, -turns))
        draft.rows[core.row].append(Stamp("c", core, Current(row), TAP_HENRIES * turns))
        draft.coils.append(Coil(part.name, row, ohms, SPREAD))


def _coil(draft: StampDraft, part: Part, ohms: float, henries: float, tolerance: float) -> None:
    """Put in ohms and henries in series; nothing where an end is not connected."""
    first, second, current = part.node("1"), part.node("2"), Current(part.name)
    if first is None or second is None:
        return
    draft.winding(part.name, first, second, ohms)
    draft.rows[part.name].append(Stamp("c", current, current, -henries))
    draft.coils.append(Coil(part.name, part.name, ohms, tolerance, henries))


def _signal_source(draft: StampDraft, part: Part) -> None:
    ohms = part.value("resistance")
    draft.resistance(
        part, (part.node("signal"), part.node("shield")), ohms or SOURCE_OHMS, spread=0.0
    )
    if not ohms:
        draft.notes.append(f"{part.name} has no resistance in the file: taken as 1 Mohm")


def _choke(draft: StampDraft, part: Part) -> None:
    henries, amps = part.value("inductance"), part.value("current")
    ohms = part.value("resistance")
    assumed = []
    if henries is None:
        henries = choke_henries(ohms, amps, field="field-coil" in part.words)
        assumed.append(f"{henries:.2g} H")
    if not 0 < henries <= MOST_HENRIES:
        draft.fault(
            part, f"{part.name} has an absurd inductance ({henries:g} H)", "look at its multiplier"
        )
        return
    if ohms is None:
        ohms = choke_ohms(henries, amps)
        assumed.append(f"{ohms:.3g} ohm")
    if assumed:
        draft.notes.append(
            f"{part.name}: the file does not say all of it; taken as {' and '.join(assumed)}, as"
            " chokes of its size have"
        )
    _coil(draft, part, ohms, henries, SPREAD if assumed else WINDING_TOLERANCE)


def _transformer(draft: StampDraft, part: Part) -> None:
    """Windings with their resistance around one core: v = r i + N e, sum of N i = magnetising
    current, L di/dt = e.
    """
    mains = draft.circuit.mains
    wound, henries = windings(part, mains.hertz if mains else 60.0, draft.fault, draft.notes.append)
    draft.windings += wound
    for winding in wound:
        core, current = Current(winding.core), Current(winding.row)
        draft.rows.setdefault(winding.core, [Stamp("g", core, core, -1.0)])
        draft.winding(winding.row, winding.a, winding.b, winding.ohms)
        draft.rows[winding.row].append(Stamp("g", current, core, -winding.turns))
        draft.rows[winding.core].append(Stamp("c", core, current, henries * winding.turns))
        draft.coils.append(Coil(part.name, winding.row, winding.ohms, winding.tolerance))


def _junction(draft: StampDraft, part: Part) -> None:
    law = draft.condition.overrides.get(part.name, junction_law(part))
    pairs = part.traits.junctions
    for number, (anode, cathode) in enumerate(pairs, 1):
        draft.device(part, str(number) if len(pairs) > 1 else "", law, (anode,), cathode)


def junction_law(part: Part) -> Rectifier:
    """Return the law of a diode, bridge or selenium stack."""
    if part.kind == "selenium" or "selenium" in part.words:
        return SELENIUM
    return GERMANIUM if "germanium" in part.words else SILICON


def _plug(draft: StampDraft, part: Part) -> None:
    line, neutral = part.node("line"), part.node("neutral")
    if line is None or neutral is None or not draft.condition.powered:
        return
    ends = (draft.point[line], draft.point[neutral])
    if ends[0] == ends[1]:
        draft.fault(
            part,
            f"the two blades of {part.name} are joined by wires: a short across the line",
            "take out the wire that joins them",
        )
        return
    if draft.sources and set(ends) != set(draft.sources[0][1:]):
        draft.notes.append(f"{part.name} is fed from the same line as {draft.sources[0][0]}")
    if draft.circuit.mains is not None and not draft.circuit.mains.hertz:
        draft.notes.append(
            f"DC mains: the line blade of {part.name} is taken as the positive one; with the plug"
            " turned over, nothing behind a rectifier gets volts"
        )
    name = "line" if not draft.sources else f"line.{part.name}"
    draft.sources.append((part.name, *ends))
    draft.winding(name, line, neutral, LEAST_OHMS)


#: The stamp of every law that has an equation.
STAMPS: dict[Law, Callable[[StampDraft, Part], None]] = {
    Law.BLADES: _plug,
    Law.RESISTANCE: _resistor,
    Law.THERMISTOR: _thermistor,
    Law.TRACK: _pot,
    Law.LAMP: _lamp,
    Law.MOTOR: _motor,
    Law.SIGNAL_SOURCE: _signal_source,
    Law.CAPACITANCE: _capacitor,
    Law.COIL: _choke,
    Law.WINDINGS: _transformer,
    Law.JUNCTION: _junction,
    Law.TUBE: tube,
    Law.RELAY: holding_stamps.coil,
    Law.VARISTOR: holding_stamps.varistor,
    Law.INDICATOR: holding_stamps.indicator,
    Law.HOLDS_VOLTS: holding_stamps.holds_volts,
}
#: What has no equation of its own: it joins nodes, or does nothing to a current.
UNSTAMPED = frozenset(
    {
        Law.CONDUCTOR,
        Law.POLES,
        Law.LINK,
        Law.BREAK_CONTACT,
        Law.MATED_CONTACTS,
        Law.EARTH,
        Law.FILTER,
        Law.NOTHING,
    }
)

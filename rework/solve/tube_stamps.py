"""What a tube puts into the equations: its heater, its units, the drop of a rectifier."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from rework.circuit.parts import Part
from rework.solve.devices import GERMANIUM, DeviceLaw, Rectifier
from rework.solve.draft import StampDraft
from rework.solve.fit import Fit, NoData, fitted
from rework.solve.network import TUBE_SPREAD
from rework.solve.rows import screened, units_of
from rework.tubes import library
from rework.tubes.tubetype import TubeType

#: Hot over cold resistance of a heater: 7 from one source, 4 from another (radiomuseum.org, A.
#: Steinmetz, Heizkreisregelroehren; republished).
COLD_RATIO = 7.0
#: A drop of more volts or amps than these is taken for a slip of the multiplier.
MOST_DROP_VOLTS, MOST_DROP_AMPS = 1e3, 100.0
#: The sections a rectifier may have: unit, plate, cathode.
SECTIONS = (
    ("", "plate", "cathode"),
    ("1", "plate1", "cathode"),
    ("2", "plate2", "cathode"),
    ("diode1", "diode1.plate", "diode1.cathode"),
    ("diode2", "diode2.plate", "diode2.cathode"),
    ("rectifier", "rectifier.plate", "rectifier.cathode"),
)
#: Perveance of a rectifier's plate for each amp of its rated direct current, A/V^1.5 per A: over
#: eleven types with a heater (x/1.31), over five with a filament (x/1.12). Most of their drops are
#: from memory.
HEATER_KIN, FILAMENT_KIN = 0.0199, 0.0049
#: One standard deviation of the perveance of such an estimate: the volts of the drop are within
#: some 30 % of it. Taken for the emission of an amplifying unit whose row is its kin's too.
KIN_SPREAD = 0.3
#: Rated direct current of a rectifier whose rating is not known, for each watt of its heater: the
#: 35W4, 35Z5, UY85, 6X4 and EZ80 have 0.018 to 0.029.
HEATER_AMPS = 0.02
#: A detector diode in a bulb with other units: from memory, for a few milliamps at a few volts.
SMALL_DIODE = GERMANIUM


@dataclass(frozen=True, slots=True)
class Drop:
    """The law of a rectifier, and one standard deviation of its perveance."""

    law: DeviceLaw
    spread: float


def tube(draft: StampDraft, part: Part) -> None:
    """Put in a tube: its heater always, its units where they emit."""
    type_ = library.find(part.type)
    if type_ is None:
        why = (
            f"of the {part.type} of {part.name} the library has the heater alone, no pins and no"
            if library.without_basing(part.type)
            else f"{part.type} of {part.name} is not in the tube library, so it has no pins and no"
        )
        draft.fault(
            part,
            f"{why} curves: no numbers (the mains check needs none)",
            "write a tube file of your own from its sheet: rework new TYPE.toml, then rework"
            " fit-tube",
        )
        return
    _heater(draft, part, type_)
    if part.name in draft.condition.cold:
        return
    if type_.is_rectifier:
        if draft.condition.powered:
            _rectifier(draft, part, type_)
        return
    if type_.has_rectifier_unit and draft.condition.powered:
        _rectifier(draft, part, type_)
    if draft.condition.emission and draft.condition.powered:
        for unit in units_of(type_):
            _unit(draft, part, type_, unit)
        _diodes(draft, part, type_)


def _pin(part: Part, type_: TubeType, *elements: str) -> str | None:
    """Return the first pin of these elements that is connected."""
    pins = (pin for element in elements for pin in type_.pins_of(element))
    return next((pin for pin in pins if part.node(pin)), None)


def _unit(draft: StampDraft, part: Part, type_: TubeType, unit: str) -> None:
    """Put in one unit that amplifies; one without a plate connected does nothing."""
    prefix = f"{unit}." if unit else ""
    electrodes = ("plate", "screen", "grid") if screened(type_, unit) else ("plate", "grid")
    pins = {name: _pin(part, type_, prefix + name) for name in (*electrodes, "cathode")}
    bound = [pin for pin in pins.values() if pin is not None]
    if len(bound) < len(pins):
        if pins["plate"] is not None:
            lost = next(name for name, pin in pins.items() if pin is None)
            draft.fault(
                part,
                f"{part.name} has nothing on its {lost}{' of ' + unit if unit else ''}",
                f"connect the {lost}",
            )
        return
    law, spread = draft.condition.overrides.get(part.name), TUBE_SPREAD
    try:
        if law is None:
            kept = fitted(part.type, unit)
            law, spread = kept.law, _known(draft, part, type_, kept)
    except NoData as error:
        draft.fault(
            part,
            f"{part.name}: {error} (the mains check needs none)",
            "fit a type with printed rows, see rework tubes",
        )
        return
    draft.device(part, unit, law, tuple(bound[:-1]), bound[-1], spread=spread)


def _known(draft: StampDraft, part: Part, type_: TubeType, kept: Fit) -> float:
    """Return one standard deviation of a unit's emission by what its law stands on; a note where
    that is kin alone, or where the unit is a converter.
    """
    prefix = f"{kept.unit}." if kept.unit else ""
    if type_.pins_of(f"{prefix}signal-grid"):
        draft.notes.append(
            f"{part.name}: the {prefix.replace('.', ' ')}currents of the {part.type} are those of a"
            " converter whose oscillator runs; its gain is that of conversion, and its two control"
            " grids count as one"
        )
    if not all(miss.grade == "estimated" for miss in kept.misses):
        return TUBE_SPREAD
    draft.notes.append(
        f"{part.name}: no row of the {part.type} is known, no sheet seen; its currents are"
        " estimated from its kin, give or take 30 %: its volts depend on them"
    )
    return KIN_SPREAD


def _diodes(draft: StampDraft, part: Part, type_: TubeType) -> None:
    """Put in the detector diodes of a bulb, but one whose plate is joined to its cathode."""
    for name in ("diode1", "diode2", "diode3"):
        anode = _pin(part, type_, name, f"{name}.plate")
        cathode = _pin(part, type_, f"{name}.cathode", "cathode")
        if (
            anode is not None
            and cathode is not None
            and draft.point[part.at(anode)] != draft.point[part.at(cathode)]
        ):
            draft.device(part, name, SMALL_DIODE, (anode,), cathode)


def _rectifier(draft: StampDraft, part: Part, type_: TubeType) -> None:
    sections = list(_sections(part, type_))
    whole = [(unit, a, k) for unit, a, k in sections if a is not None and k is not None]
    if not whole:
        if any(pin is not None for _, *pins in sections for pin in pins):
            # with neither, it is left in for its heater alone
            draft.fault(part, f"{part.name} has no plate or no cathode connected", "connect both")
        return
    device_law = draft.condition.overrides.get(part.name)
    drop = Drop(device_law, TUBE_SPREAD) if device_law is not None else _drop(draft, part, type_)
    if drop is None:
        return
    for unit, plate, cathode in whole:
        draft.device(part, unit, drop.law, (plate,), cathode, spread=drop.spread)


def _sections(part: Part, type_: TubeType) -> Iterator[tuple[str, str | None, str | None]]:
    """Yield the sections of a rectifier: unit, the pins of plate and cathode that are connected."""
    for unit, plate, cathode in SECTIONS:
        yield unit, _pin(part, type_, plate), _pin(part, type_, cathode)


def _drop(draft: StampDraft, part: Part, type_: TubeType) -> Drop | None:
    """Return the three-halves law through the drop the file states, or else through the library's,
    or else as its kin have it; a note where no sheet was seen.
    """
    volts, amps = part.value("voltage", role="drop"), part.value("current")
    if volts is not None and amps is not None:
        if not (0 < volts < MOST_DROP_VOLTS and 0 < amps < MOST_DROP_AMPS):
            draft.fault(
                part,
                f"{part.name} has an absurd drop ({volts:g} V at {amps:g} A)",
                "write volts and amps as read, as in drop 18 V 200 mA",
            )
            return None
        draft.notes.append(
            f"{part.name}: the drop of the {part.type} is the one the file states, {volts:g} V at"
            f" {amps * 1e3:g} mA"
        )
        return Drop(Rectifier(amps / volts**1.5), TUBE_SPREAD)
    try:
        law = fitted(part.type).law if type_.is_rectifier else None
    except NoData:
        law = None
    if not isinstance(law, Rectifier):
        return _estimated(draft, part, type_)
    figure = type_.ratings.get("tube_drop_volts")
    if (
        figure is not None
        and figure.grade == "memory"
        and not any(curve.columns == ("drop_volts", "plate_amps") for curve in type_.curves)
    ):
        draft.notes.append(
            f"{part.name}: the drop of the {part.type} ({figure.value:g} V) is from memory, no"
            " sheet was seen; B+ depends on it"
        )
    return Drop(law, TUBE_SPREAD)


def _estimated(draft: StampDraft, part: Part, type_: TubeType) -> Drop:
    """Return the drop that kin of a rectifier have: the perveance of a plate goes with its rated
    direct current.
    """
    rated = type_.ratings.get("rectifier.dc_amps") or type_.ratings.get("dc_amps")
    heater = type_.heater.volts.value * type_.heater.amps.value
    amps = rated.value if rated is not None else HEATER_AMPS * heater
    plates = 2 if type_.pins_of("plate2") else 1
    filament = type_.heater.directly_heated
    law = Rectifier((FILAMENT_KIN if filament else HEATER_KIN) * amps / plates)
    draft.notes.append(
        f"{part.name}: no drop of the {part.type} is known, no sheet seen; estimated from its kin,"
        f" {(amps / law.perveance) ** (2 / 3):.0f} V at {amps * 1e3:.0f} mA, give or take 30 %: B+"
        f" depends on it. State one that was measured, as in {part.name} tube {part.type} drop 18 V"
        " 200 mA"
    )
    return Drop(law, KIN_SPREAD)


def _heater(draft: StampDraft, part: Part, type_: TubeType) -> None:
    """The heater as resistances between its ends and taps: hot, or cold where the tubes are."""
    heater = type_.heater
    ohms = heater.volts.value / heater.amps.value
    if not draft.condition.powered:
        ohms /= COLD_RATIO
    first, last = (next(iter(type_.pins_of(name)), None) for name in ("heater1", "heater2"))
    if first is None or last is None:
        return
    tap = next((p for name in ("heater-tap", "lamp-tap") for p in type_.pins_of(name)), None)
    middle = part.node(tap) if tap is not None else None
    if tap is None or middle is None:
        draft.resistance(
            part, (part.node(first), part.node(last)), ohms, name=f"{part.name}.heater", spread=0.0
        )
        return
    share = 0.5
    for section in heater.sections:
        if tap in section.between:
            share = section.volts.value / heater.volts.value
            if last in section.between:
                share = 1 - share
    for name, ends, piece in (
        ("heater1", (part.node(first), middle), share),
        ("heater2", (middle, part.node(last)), 1 - share),
    ):
        draft.resistance(part, ends, ohms * piece, name=f"{part.name}.{name}", spread=0.0)

"""Heaters: whether each one is fed, and with the volts and amperes of its printed rating.

Heater volts within 10 % either way: M. J. Darby, The Radio Constructor, April 1962, and the common
rule of tube manuals (the figures of the tubes are the library's, each with its source). How the
current of a string divides is not computed here: where the wiring is no plain string and no plain
rail, the caution says so.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from rework.anatomy.heaters import (
    HEATER_LIMIT,
    HeaterElement,
    Heaters,
    HeaterSource,
    HeaterString,
    WiredHeater,
)
from rework.anatomy.links import positions
from rework.anatomy.units import tube_of
from rework.circuit.edits import FitPart, RemovePart, SetValue
from rework.circuit.parts import Part, Value, drawn_position
from rework.safety.findings import Caution, Finding, Remedy, measure, write
from rework.safety.survey import Survey, listed
from rework.tubes.tubetype import TubeType

#: The sort of finding of volts that are more than 10 % off.
_VOLTS = "heater-volts"
#: Heater currents that differ by less than this fraction agree; printed currents of one string do
#: not differ at all.
AGREE = 0.05


def heater_volts(survey: Survey) -> tuple[Finding, ...]:
    """Return cautions for heaters that are not fed, strings whose currents differ, volts more than
    10 % off, and windings that give less than is drawn.
    """
    heaters = survey.anatomy.heaters
    findings: list[Finding] = []
    for part in survey.of_kind("tube"):
        tube, wired = tube_of(part), heaters.wired.get(part.name)
        if tube is None or wired is None:
            continue
        if wired.way is None:
            findings.append(_not_wired(heaters, part, tube, wired))
        else:
            findings += _half_shorted(part, wired)
    if not findings and not heaters.wired:
        return ()
    for string in heaters.strings:
        findings += _string(survey, heaters, string)
    findings = _by_selectors(survey, findings)
    return (*findings, *_winding_amps(survey, heaters))


def _by_selectors(survey: Survey, findings: list[Finding]) -> list[Finding]:
    """Return findings with what the other positions of voltage selectors change: the position that
    fits as the remedy of volts that are off, and volts that are off elsewhere as a thing to know.
    """
    drawn = {f.part for f in findings if isinstance(f, Caution) and f.key == _VOLTS}
    for switch in survey.of_kind("switch"):
        if "OFF" in positions(switch):
            continue
        for position in positions(switch):
            if position == drawn_position(switch):
                continue
            heaters = Heaters(survey.anatomy.wiring, {switch.name: position})
            there = [
                caution
                for string in heaters.strings
                for caution in _string(survey, heaters, string)
                if isinstance(caution, Caution) and caution.key == _VOLTS
            ]
            off = {caution.part for caution in there}
            findings = [_set(f, switch, position) if _fits(f, off) else f for f in findings]
            findings += [
                Caution(
                    "heater-volts-elsewhere",
                    f"With {switch.name} at {position}: {caution.message}",
                    caution.part,
                    position,
                    "",
                    measure(f"Set {switch.name} to the volts of the line before you switch on."),
                    "mind",
                )
                for caution in there
                if caution.part not in drawn
            ]
    return findings


def _fits(finding: Finding, off: set[str]) -> bool:
    """Return whether volts that are off fit where only the parts of ``off`` do not."""
    return isinstance(finding, Caution) and finding.key == _VOLTS and finding.part not in off


def _set(finding: Finding, switch: Part, position: str) -> Finding:
    """Return a caution with a switch set to a position as its remedy."""
    kept = tuple(setting for setting in switch.settings if setting[0] != "in")
    fitted = replace(switch, settings=(*kept, ("in", position)))
    words = f"Set {switch.name} to {position}: there the heater volts fit the line."
    edits = (RemovePart(switch.name), FitPart(fitted))
    return (
        replace(finding, remedies=(Remedy(words, edits),))
        if isinstance(finding, Caution)
        else finding
    )


def _not_wired(heaters: Heaters, part: Part, tube: TubeType, wired: WiredHeater) -> Caution:
    ends = listed(
        (
            f"{'+'.join(sorted(feed.between[0]))} to {'+'.join(sorted(feed.between[1]))} for"
            f" {feed.volts.value:g} V"
            for feed in tube.heater.ways
        ),
        last="or",
    )
    pins = [pin for feed in tube.heater.ways for side in feed.between for pin in sorted(side)]
    points = {heaters.point(node) for pin, node in part.pins if pin in pins}
    if wired.loose:
        many = len(wired.loose) > 1
        what = f"pin{'s' if many else ''} {listed(wired.loose)} {'are' if many else 'is'} open"
    elif len(points) == 1:
        what = "both ends are on one point"
    else:
        what = "its pins are connected in no printed way"
    return Caution(
        "heater-not-fed",
        f"The heater of {part.name} ({part.type}) is not fed: {what}.",
        part.name,
        (*wired.loose, *pins)[0],
        "",
        measure(f"Wire the heater of {part.name} between pins {ends}."),
    )


def _half_shorted(part: Part, wired: WiredHeater) -> Iterator[Caution]:
    for pin, point in wired.taps:
        if wired.ends is not None and point in wired.ends:
            yield Caution(
                "heater-half-shorted",
                f"Half of the heater of {part.name} is shorted: its tap, pin {pin}, is connected to"
                " one end.",
                part.name,
                pin,
                part.at(pin),
                measure(
                    f"Disconnect pin {pin} from {part.at(pin)}, or wire {part.name} for half the"
                    " volts."
                ),
            )


def _string(survey: Survey, heaters: Heaters, string: HeaterString) -> list[Finding]:
    tubes, names = string.tubes, listed(element.part.name for element in string.tubes)
    amps = [element.amps for element in tubes if element.amps is not None]
    if max(amps) - min(amps) > AGREE * max(amps):
        return [_currents_differ(tubes)]
    source = heaters.source_of(string.ends)
    if source is None:
        return [_unclear(survey, heaters, string, names)]
    drops = [(element, _volts(element, amps[0])) for element in string.elements]
    unknown = [element.part.name for element, drop in drops if drop is None]
    if unknown:
        return [
            Caution(
                "heater-unknown",
                f"The heater string {names} includes {listed(unknown)}, whose volts are not stated:"
                " the total is not computed.",
                unknown[0],
                "",
                "",
                write(
                    f"State the hot resistance of {listed(unknown)}, or measure the heater volts."
                ),
                "mind",
            )
        ]
    total = sum(drop for _, drop in drops if drop is not None)
    single = len(string.elements) == 1
    if abs(total - source.volts) <= HEATER_LIMIT * (total if single else source.volts) + 1e-9:
        return []
    if single:
        return [_single_off(tubes[0].part, total, source)]
    return [_string_off(string, source, total, amps[0], names)]


def _currents_differ(tubes: tuple[HeaterElement, ...]) -> Caution:
    each = listed(f"{e.part.name} {e.amps * 1000:g} mA" for e in tubes if e.amps is not None)
    return Caution(
        "heater-currents",
        f"The heaters in one string do not have the same current: {each}.",
        tubes[0].part.name,
        "",
        "",
        measure(
            "Fit tubes of one heater current in the string, or a resistor across each heater that"
            " takes less."
        ),
    )


def _single_off(part: Part, total: float, source: HeaterSource) -> Caution:
    return Caution(
        _VOLTS,
        f"The heater of {part.name} ({part.type}), wired for {total:g} V, is on"
        f" {_named(source)} with {source.volts:g} V: more than 10 % off.",
        part.name,
        "",
        "",
        measure(
            f"Feed {part.name} from {total:g} V, or fit a relative with a heater for"
            f" {source.volts:g} V."
        ),
    )


def _string_off(
    string: HeaterString, source: HeaterSource, total: float, amps: float, names: str
) -> Caution:
    wanted = source.volts - sum(e.way.volts.value for e in string.tubes if e.way is not None)
    return Caution(
        _VOLTS,
        f"The heater string {names} adds up to {total:.1f} V at {amps * 1000:g} mA and is on"
        f" {_named(source)} with {source.volts:g} V: more than 10 % off.",
        string.tubes[0].part.name,
        "",
        "",
        _series_resistor(string, wanted / amps),
    )


def _series_resistor(string: HeaterString, ohms: float) -> tuple[Remedy, ...]:
    """Return the one series resistor of a string at another value."""
    resistors = [e.part for e in string.elements if e.part.kind == "resistor"]
    if len(resistors) != 1 or ohms <= 0 or len(string.elements) != len(string.tubes) + 1:
        return ()
    part, ohms = resistors[0], float(f"{ohms:.3g}")
    kept = tuple(value for value in part.values if value.dimension != "resistance")
    edits = (SetValue(part.name, (Value("resistance", ohms), *kept), part.words),)
    return (Remedy(f"Change {part.name} to {ohms:g} ohm, with watts to suit.", edits),)


def _volts(element: HeaterElement, amps: float) -> float | None:
    if element.way:
        return element.way.volts.value
    part = element.part
    if part.kind == "lamp":
        return part.value("voltage")
    role = "hot" if part.kind == "thermistor" else ""
    ohms = part.value("resistance", role=role)
    return None if ohms is None else ohms * amps


def _named(source: HeaterSource) -> str:
    if source.part is None:
        return "the line"
    half = "half of " if source.span == "half" else ""
    return f"{half}the {source.winding} winding of {source.part.name}"


def _unclear(survey: Survey, heaters: Heaters, string: HeaterString, names: str) -> Caution:
    first = string.tubes[0].part
    taps = _taps_at(heaters, string)
    if not set(string.ends) <= _fed(survey, heaters, string) | taps.keys():
        return Caution(
            "heater-not-fed",
            f"The heater of {names} is not fed: one end is connected to nothing else.",
            first.name,
            "",
            "",
            measure(f"Connect both ends of {names} to the heater winding."),
        )
    if taps:
        tap = next(iter(taps.values()))
        message = f"The heater of {names} is fed from the tap {tap}; its volts are not computed."
    else:
        message = (
            f"The heater of {names} is on more than a plain string or winding, or the volts of the"
            " winding are not stated; its volts are not computed."
        )
    return Caution(
        "heater-unclear",
        message,
        first.name,
        "",
        "",
        measure(f"Measure the heater volts of {names} with all tubes in."),
        "mind",
    )


def _taps_at(heaters: Heaters, string: HeaterString) -> dict[str, str]:
    """Return the ends of a string that are on the heater tap of a tube outside it, with the tap."""
    inside = {element.part.name for element in string.elements}
    return {
        point: f"of {name}, pin {pin}"
        for name, wired in heaters.wired.items()
        if name not in inside and wired.ends is not None
        for pin, point in wired.taps
        if point in string.ends
    }


def _fed(survey: Survey, heaters: Heaters, string: HeaterString) -> set[str]:
    """Return the points that anything but a tube, or another heater, brings current to."""
    heated = {element.part.name for element in string.elements}
    net = survey.net
    fed = {
        heaters.point(node)
        for number, pins in enumerate(net.pins)
        if net.part[number].kind != "tube"
        and net.part[number].name not in heated
        and not net.is_capacitor(number)
        and not net.is_insulation(number)
        and not net.is_closed(number)
        for _, node in pins
    }
    fed |= {heaters.point(node) for node in survey.ties.blades}
    return fed | {
        end
        for element in heaters.elements
        if element.part.name not in heated
        for end in element.ends
    }


def _winding_amps(survey: Survey, heaters: Heaters) -> tuple[Finding, ...]:
    """Return cautions for windings that give less than is drawn, or do not say what they give."""
    if not heaters.strings:
        return ()
    drawn: dict[tuple[str, str], list[tuple[str, float]]] = {}
    limit: dict[tuple[str, str], float | None] = {}
    for source, name, amps in _loads(survey, heaters):
        if source.part is not None:
            key = source.part.name, source.winding
            drawn.setdefault(key, []).append((name, amps))
            limit[key] = source.amps
    findings: list[Finding] = []
    for (part, winding), loads in sorted(drawn.items()):
        most, total = limit[part, winding], sum(amps for _, amps in loads)
        if most is None:
            message = (
                f"{part} does not state the current of its {winding} winding; {total:.3g} A are"
                " drawn."
            )
            remedies = write(f"State the current of the {winding} winding of {part}.")
            sort = "heater-winding-unrated"
            findings.append(Caution(sort, message, part, winding, "", remedies, "mind"))
        elif total > most * (1 + 1e-9):
            message = (
                f"The {winding} winding of {part} supplies {most:g} A and"
                f" {listed(name for name, _ in loads)} draw {total:.3g} A."
            )
            remedies = measure(f"Fit a transformer with at least {total:.3g} A on that winding.")
            findings.append(Caution("heater-winding-amps", message, part, winding, "", remedies))
    return tuple(findings)


def _loads(survey: Survey, heaters: Heaters) -> Iterator[tuple[HeaterSource, str, float]]:
    """Return (source, names, amperes) of every string and lamp on a source."""
    for string in heaters.strings:
        source, amps = heaters.source_of(string.ends), string.tubes[0].amps
        if source is not None and amps is not None:
            yield source, listed(element.part.name for element in string.tubes), amps
    for part in survey.of_kind("lamp"):
        ends = tuple(heaters.point(node) for _, node in part.pins)
        source = heaters.source_of((ends[0], ends[1])) if len(ends) == 2 else None
        lamp = _lamp_amps(part)
        if source is not None and lamp:
            yield source, part.name, lamp


def _lamp_amps(part: Part) -> float | None:
    amps, watts, volts = part.value("current"), part.value("power"), part.value("voltage")
    return amps if amps is not None else watts / volts if watts and volts else None

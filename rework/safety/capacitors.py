"""Capacitors on the line: their class, the largest value from line to earthed metal, and what
discharges them once the plug is pulled.

Y capacitors to earth, X across the line: EMI-suppressor guide, studylib.net 18667623. Touch current
0.5 mA rms: leakage limit of audio service manuals and of the US appliance standard
(mail-archive.com emc-pstc msg22769; manualshive.com LT-952 p. 5). Discharge: IEC 60950-1 2.1.1.7,
over 0.1 uF a time constant of at most 1 s with the switch in either position
(bbs.angui.org/thread-124570-1-1.html). TV practice: a bleeder of 1.0 to 2.2 megohm
(psma.com newsletter 2020 Q1 p. 13).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

from rework.anatomy.links import Y_CLASSES
from rework.circuit.circuit import Circuit
from rework.circuit.edits import FitPart, RemovePart
from rework.circuit.parts import Part, Value
from rework.safety.discharge import Charged, charged_plugs
from rework.safety.findings import Caution, Finding, Remedy, measure
from rework.safety.survey import Survey, listed
from rework.safety.upper_line import upper_line

#: Touch current from line to metal, in amperes rms.
TOUCH_LIMIT = 0.5e-3
#: Nominal values of class Y capacitors that are proposed, the largest first, in farads.
_Y_VALUES = (4.7e-9, 3.3e-9, 2.2e-9, 1.5e-9, 1e-9, 470e-12)
#: A capacitor that states no tolerance may be this much larger (common practice, no source).
_TOLERANCE = 0.2
#: Values of a bleeder, the largest first, in ohms.
_BLEEDERS = (2.2e6, 1.5e6, 1e6, 680e3, 470e3, 330e3, 220e3, 100e3, 47e3)


def line_capacitors(survey: Survey) -> tuple[Finding, ...]:
    """Return cautions for capacitors between the line and earthed metal: not of class Y, or of
    class Y and together over the touch current; and where to measure.
    """
    findings: list[Finding] = []
    of_class_y: list[tuple[Part, str]] = []
    for part in survey.of_kind("capacitor", "electrolytic"):
        nodes = [node for _, node in part.pins]
        earthed = [node for node in nodes if node in survey.ties.earthed]
        if not earthed or not any(node in survey.before_earth for node in nodes):
            continue
        if survey.conduction_tied(earthed[0]) and _is_past(survey, nodes, earthed[0]):
            continue
        if part.setting("class") in Y_CLASSES:
            of_class_y.append((part, earthed[0]))
        else:
            findings.append(_wrong_class(survey, part, earthed[0]))
    return (*findings, *_too_large(survey, of_class_y))


def _is_past(survey: Survey, nodes: list[str], earthed: str) -> bool:
    """Return whether a capacitor is not what ties an earthed node: one of the filter or a bypass,
    or one across the line in a set whose earth a conductor joins to it.
    """
    live = [node for node in nodes if node not in survey.ties.earthed]
    line = survey.primary.line
    return line.isdisjoint(live or nodes) or earthed in line


def largest_y(circuit: Circuit) -> float:
    """Return the farads that pass just the touch current at the upper tolerance of the line."""
    mains = circuit.mains
    volts, hertz, _ = upper_line(mains.volts if mains else None, mains.hertz if mains else None)
    return TOUCH_LIMIT / (2 * math.pi * hertz * volts)


def _wrong_class(survey: Survey, part: Part, earthed: str) -> Caution:
    class_ = f"is of class {part.setting('class')}" if part.setting("class") else "states no class"
    return Caution(
        "not-class-y",
        f"{part.name} connects the line to {earthed} and {class_}. Only class Y may do that.",
        part.name,
        "",
        earthed,
        (
            Remedy(f"Take out {part.name}.", (RemovePart(part.name),)),
            *_fitted(part, largest_y(survey.circuit)),
        ),
    )


def _fitted(part: Part, most: float) -> tuple[Remedy, ...]:
    """Return the exchange of a capacitor for one of class Y2 of the largest usual value."""
    farads = next((value for value in _Y_VALUES if value * (1 + _TOLERANCE) <= most), None)
    if farads is None or part.kind != "capacitor":
        return ()
    settings = (*(s for s in part.settings if s[0] != "class"), ("class", "Y2"))
    values = (
        Value("capacitance", farads),
        Value("voltage", 250.0),
        Value("fraction", _TOLERANCE),
    )
    fitted = replace(part, values=values, settings=settings, words=())
    words = f"Fit a capacitor of class Y2, {_farads(farads)} 250 V, in place of {part.name}."
    return (Remedy(words, (RemovePart(part.name), FitPart(fitted))),)


def _too_large(survey: Survey, parts: list[tuple[Part, str]]) -> list[Finding]:
    """Return what is reported of the class Y capacitors of a set: their currents add when earth and
    neutral are open.
    """
    if not parts:
        return []
    most = largest_y(survey.circuit)
    worst = {part.name: _most_farads(part) for part, _ in parts}
    total = sum(worst.values())
    largest, earthed = max(parts, key=lambda row: worst[row[0].name])
    cautions = [_to_measure(part, node) for part, node in parts]
    if total <= most:
        return list(cautions)
    mains = survey.circuit.mains
    volts, hertz, _ = upper_line(mains.volts if mains else None, mains.hertz if mains else None)
    left = most - (total - worst[largest.name])
    amps = 2 * math.pi * hertz * volts * total
    nominal = left / (1 + _tolerance(largest))
    allowed = (
        f"The largest value that may be there at {volts:g} V {hertz:g} Hz is {_farads(nominal)}."
        if nominal > 0
        else f"The other capacitors already pass the limit at {volts:g} V {hertz:g} Hz."
    )
    names = listed(part.name for part, _ in parts)
    message = (
        f"{names} connect{'s' if len(parts) == 1 else ''} the line to {earthed} with"
        f" {_farads(total)} at the most. If the earth opens, {amps * 1e3:.3g} mA flow through"
        f" a person who touches the metal (limit {TOUCH_LIMIT * 1e3:g} mA). {allowed}"
    )
    remedies = (
        *_fitted(largest, left),
        Remedy(f"Take out {largest.name}.", (RemovePart(largest.name),)),
    )
    others = [caution for caution in cautions if caution.part != largest.name]
    return [Caution("y-too-large", message, largest.name, "", earthed, remedies), *others]


def _to_measure(part: Part, earthed: str) -> Caution:
    return Caution(
        "class-y",
        f"{part.name}, class {part.setting('class')}, connects the line to {earthed}. If the earth"
        " opens, its current flows through a person who touches the metal.",
        part.name,
        "",
        earthed,
        measure(
            "Measure the touch current with the earth lifted: plug both ways round, switch on and"
            " off."
        ),
        "mind",
    )


def _tolerance(part: Part) -> float:
    stated = part.value("fraction")
    return _TOLERANCE if stated is None else stated


def _most_farads(part: Part) -> float:
    """Return the farads of a capacitor at its upper tolerance; one without a value is too large."""
    farads = part.value("capacitance")
    return math.inf if farads is None else farads * (1 + _tolerance(part))


def discharge(survey: Survey) -> tuple[Finding, ...]:
    """Return a caution for every plug whose pins stay charged once it is pulled."""
    return tuple(_stays_charged(survey, charged) for charged in charged_plugs(survey))


def _stays_charged(survey: Survey, charged: Charged) -> Caution:
    capacitor = max(charged.capacitors, key=lambda part: part.value("capacitance") or 0.0)
    names = listed(part.name for part in charged.capacitors)
    where = f"With {charged.where}, the" if charged.where else "The"
    seconds = charged.seconds
    size = f"{names} ({_farads(charged.farads)})"
    how = (
        f"nothing discharges {size}"
        if math.isinf(seconds)
        else f"the time constant of {size} is {seconds:.3g} s"
    )
    return Caution(
        "stays-charged",
        f"{where} pins of {charged.plug.name} stay charged after it is pulled: {how}. Limit: 1 s"
        " above 0.1 uF, switch in either position (IEC 60950-1 2.1.1.7).",
        capacitor.name,
        "",
        charged.plug.at("line") if charged.plug.node("line") else "",
        tuple(_bleeder(survey, capacitor, charged.farads)),
    )


def _bleeder(survey: Survey, capacitor: Part, farads: float) -> Iterable[Remedy]:
    ohms = next((ohms for ohms in _BLEEDERS if ohms * farads <= _MOST_SECONDS), None)
    if ohms is None:
        return
    name = survey.circuit.free_part_name("R")
    nodes = capacitor.ends
    values = (Value("resistance", ohms), Value("power", 0.5), Value("voltage", 500.0))
    pins = (("1", nodes[0]), ("2", nodes[-1]))
    fitted = Part(name, "resistor", values=values, words=("bleeder",), pins=pins)
    text = f"{ohms / 1e6:g} megohm" if ohms >= 1e6 else f"{ohms / 1e3:g} kilohm"
    words = f"Fit a bleeder {name}, {text} 1/2 W 500 V, across {capacitor.name}."
    yield Remedy(words, (FitPart(fitted),))


#: Time constant of a bleeder that is proposed, with its tolerance and that of the capacitor in
#: hand.
_MOST_SECONDS = 0.7


def _farads(farads: float) -> str:
    if math.isinf(farads):
        return "an unstated value"
    return f"{farads * 1e6:.3g} uF" if farads >= 0.0999e-6 else f"{farads * 1e9:.3g} nF"

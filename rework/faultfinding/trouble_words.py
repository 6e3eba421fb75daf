"""Troubles, points and figures in plain English."""

from __future__ import annotations

from math import isinf

from rework.circuit.circuit import Circuit
from rework.faultfinding.figures import off_scale, size_on_scale
from rework.faultfinding.live_work import Peril, Reason
from rework.faultfinding.points import BenchFigure, ProbePoint
from rework.faultfinding.trouble import SingleTrouble, TroubleKind
from rework.language.bench import BenchState, Noticed, Quantity
from rework.report.figures import shown, volts
from rework.rules.run import JobRun
from rework.rules.words import edit_words, pin_words

#: Ranges of a digital meter in volts and ohms (common practice).
VOLT_RANGES = (2.0, 20.0, 200.0, 600.0)
OHM_RANGES = (200.0, 2e3, 20e3, 200e3, 2e6, 20e6)
#: Chances from which a trouble is called certain and likely.
CERTAIN, LIKELY = 0.95, 0.6


def sureness(chance: float) -> str:
    """Return how sure a chance is, in words."""
    if chance > CERTAIN:
        return "almost certain"
    return "likely" if chance > LIKELY else "possible" if chance > 0.1 else "unlikely"


def trouble_words(trouble: SingleTrouble, run: JobRun, circuit: Circuit) -> str:
    """Return a trouble without its severity as a phrase: ``R11 open``."""
    if trouble.step >= 0:
        return _step_words(trouble, run)
    part = circuit.part(trouble.part)
    type_ = part.type if part is not None else ""
    pins = [pin_words(trouble.part, type_, terminal) for terminal in trouble.at]
    bare = [pin.removeprefix(f"{trouble.part} ").removeprefix("pin ") for pin in pins]
    template = _WORDS.get(trouble.kind, "{part} open") if trouble.at else _PLAIN.get(trouble.kind)
    return (template or _WORDS.get(trouble.kind, "{part} open")).format(
        part=trouble.part,
        unit=" ".join((trouble.part, *trouble.at[:1])),
        pin=next(iter(pins), ""),
        one=next(iter(bare), ""),
        other=bare[-1] if bare else "",
        severity=trouble.severity,
    )


_WORDS = {
    TroubleKind.SOUND: "nothing wrong",
    TroubleKind.RESISTOR_OFF: "{part} out of tolerance",
    TroubleKind.RESISTOR_SHORT: "{part} shorted, or bridged",
    TroubleKind.WRONG_VALUE: "{part}: wrong value fitted, a decade off",
    TroubleKind.CAPACITOR_DRY: "{part} dried out",
    TroubleKind.CAPACITOR_LEAKY: "{part} leaky",
    TroubleKind.CAPACITOR_SHORT: "{part} shorted",
    TroubleKind.TUBE_WEAK: "{unit} weak",
    TroubleKind.TUBE_DEAD: "{unit} without emission",
    TroubleKind.TUBE_GASSY: "{unit} gassy",
    TroubleKind.HEATER_OPEN: "{part}: heater open at {one}",
    TroubleKind.HEATER_CATHODE: "{part}: leak between pins {one} and {other}",
    TroubleKind.ELECTRODES_TOUCH: "{part}: {one} and {other} touch inside",
    TroubleKind.WRONG_TUBE: "{part}: a wrong type in the socket, such as {severity}",
    TroubleKind.CAPACITOR_REVERSED: "{part} the wrong way round",
    TroubleKind.STRING_TURNED: "heater string of {part} fed at its wrong end",
    TroubleKind.SWITCH_STUCK: "{part} stuck at {one}",
    TroubleKind.PIN_OPEN: "{pin}: no contact, or its joint is open",
    TroubleKind.PINS_SWAPPED: "{part}: leads of pins {one} and {other} exchanged",
    TroubleKind.PINS_BRIDGED: "{part}: pins {one} and {other} bridged",
    TroubleKind.ONE_PIN_OFF: "{part}: leads of pin {one} are on pin {other}",
    TroubleKind.WINDING_OPEN: "{part}: winding open at {one}",
    TroubleKind.CONTACT_OPEN: "{part}: no contact at {one}",
    TroubleKind.POT: "{part}: open at {one}",
    TroubleKind.PART_OPEN: "{part}: open at {one}",
    TroubleKind.TURNS_SHORTED: "{part}: shorted turns in the {one}",
    TroubleKind.LEADS_SWAPPED: "{part}: leads {one} and {other} exchanged",
    TroubleKind.RECTIFIER_SHORT: "{part} shorted from {one} to {other}",
    TroubleKind.WIRE_MISSING: "{part} missing, or one of its ends off",
    TroubleKind.FUSE_BLOWN: "{part} blown or out",
}
#: Where nothing of the part is named.
_PLAIN = {TroubleKind.PART_OPEN: "{part} open"}


def _step_words(trouble: SingleTrouble, run: JobRun) -> str:
    says = edit_words(run.edits[trouble.step])
    match trouble.kind:
        case TroubleKind.NOT_DONE:
            return f"not done: {says}"
        case TroubleKind.HALF_DONE:
            return f"half done ({trouble.at[0]}): {says}"
        case _:
            neighbour = " ".join(trouble.at[:-1])
            return f"done at the neighbour ({neighbour}): {says}"


def probe_words(circuit: Circuit, probe: ProbePoint) -> str:
    """Return a place to hold a probe: ``V3 pin 2 (cathode)``, or a node."""
    part = circuit.part(probe.part)
    return pin_words(part.name, part.type, probe.terminal) if part is not None else probe.node


def figure_words(circuit: Circuit, figure: BenchFigure, common: str) -> str:
    """Return where a figure is read, between which points, and what is out of the set meanwhile."""
    at, state = probe_words(circuit, figure.at), state_words(figure.state)
    if figure.of is Quantity.AMPS:
        return f"current in {at}{state}"
    if figure.to.part == figure.at.part and figure.to.part:
        return f"across {figure.at.part}, {figure.at.terminal} to {figure.to.terminal}{state}"
    to = "common" if figure.to.node == common else probe_words(circuit, figure.to)
    return f"{at} to {to}{state}"


def state_words(state: BenchState) -> str:
    """Return what is not as in the whole set, with a comma before it: ``, V2 out``."""
    out = f", {' and '.join(state.without)} out" if state.without else ""
    return out + (f", behind a {shown(state.lamp, 'W')} lamp" if state.lamp else "")


def what_words(figure: BenchFigure) -> str:
    """Return what is read: direct volts, ohms and so on."""
    match figure.of:
        case Quantity.DC:
            return "DC volts"
        case Quantity.OHMS:
            return "ohms"
        case Quantity.SIGNAL:
            tone, drive = shown(figure.hertz, "Hz"), shown(figure.drive, "V")
            return f"AC volts with {tone}, {drive} at the input"
        case Quantity.AMPS:
            return "amps"
        case _:
            return "AC volts, nothing at the input"


def amount_words(figure: BenchFigure, value: float) -> str:
    """Return a value on the scale of its figure as a meter shows it."""
    amount = off_scale(figure, value)
    if figure.of is Quantity.OHMS:
        return "open" if isinf(amount) else "0 ohm" if amount < 0.05 else shown(amount, "ohm")
    if figure.of is Quantity.DC:
        return volts(amount)
    if figure.of is Quantity.AMPS:
        return shown(amount, "A") if amount > 1e-6 else "0 A"
    return f"{shown(amount, 'V') if amount > 1e-4 else '0 V'} AC"


def range_words(figure: BenchFigure, largest: float) -> str:
    """Return the range to set the meter to for at most ``largest``, on the scale of the figure."""
    amount = size_on_scale(figure, largest)
    if figure.of is Quantity.OHMS:
        fits = next(
            (full_scale for full_scale in OHM_RANGES if full_scale >= amount), OHM_RANGES[-1]
        )
        return shown(fits, "ohm")
    ranges = figure.meter.ranges if figure.meter.per_volt else VOLT_RANGES
    fits = next((range_ for range_ in sorted(ranges) if range_ >= amount), max(ranges))
    return f"{fits:g} V {'DC' if figure.of is Quantity.DC else 'AC'}"


def sign_words(sign: Noticed) -> str:
    """Return a sign as its line says it: ``V2 dark``, ``hum 120 Hz``."""
    tone = f" {shown(sign.hertz, 'Hz')}" if sign.hertz else ""
    return f"{sign.part} {sign.sign.value}{tone}".strip()


def peril_words(reason: Reason, words: str) -> str:
    """Return why the set stays unplugged; ``words`` name the trouble."""
    what = ", ".join(reason.what[:3]) + (" and more" if len(reason.what) > 3 else "")
    match reason.peril:
        case Peril.TIED:
            return (
                f"The set itself is connected to the mains at {what}. Measure it unplugged, or"
                " behind an isolation transformer: then write line 117 V isolated in the job."
            )
        case Peril.HAZARD:
            return f"{words} ({reason.chance:.0%}) would connect {what} to the mains."
        case Peril.FUSE:
            return f"{words} ({reason.chance:.0%}) would open {what}."
        case _:
            return f"{words} ({reason.chance:.0%}) would overload {what}."

"""Whether the line fuse protects what is behind it: transformer, switch, plug and wire.

A fuse of more than three times the primary current is far too large: NEC table 450.3(B), primary
protection of a transformer under 2 A, 300 % (from memory). A smaller one still ends shorts only and
does not protect against a lasting overload. Sizes of fuses: IEC 60127 preferred ratings. Amperes of
a cord: 18 AWG 10 A for two conductors, 17 AWG 12, 16 AWG 13, 14 AWG 18, 12 AWG 25 (UL 11.1.7, table
11.1, bbs.angui.org/thread-1137-2-1.html); metric 0.5 mm2 3 A, 0.75 mm2 6 A, 1 mm2 10 A, 1.5 mm2
16 A (IEC 60335-1, from memory).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from rework.circuit.edits import Action, FitPart, RemovePart
from rework.circuit.parts import Part, Value
from rework.language.mistakes import a_or_an
from rework.safety.conductors import section
from rework.safety.findings import Caution, Finding, Remedy, write
from rework.safety.survey import Survey, listed

#: A line fuse of more than so many times the primary current is far too large.
MOST_TIMES = 3.0
#: A fuse that is proposed is at least this many times the primary current (valvewizard.co.uk/fuses
#: .html, M. Blencowe: 1.5 to 2).
LEAST_TIMES = 1.5
#: A part of the line is for at least so much of the line's nominal volts: 110 V is said of 117 V
#: (common practice, no source), and up to so many volts the usual rating is 125 V.
_RATED_SHARE, _LOW_LINE = 0.9, 127.0
#: Preferred ratings of fuses in amperes.
RATINGS = (
    *(0.063, 0.08, 0.1, 0.125, 0.16, 0.2, 0.25, 0.315, 0.4, 0.5, 0.63, 0.8),
    *(1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0, 10.0),
)
#: The power factor of a small motor, at the low end (common practice, no source: shaded-pole motors
#: have 0.5 to 0.6).
MOTOR_FACTOR = 0.5
#: Amperes that a cord may carry, by its gauge and by its section in square metres.
_GAUGE_AMPS = {18.0: 10.0, 17.0: 12.0, 16.0: 13.0, 14.0: 18.0, 12.0: 25.0}
#: Sizes are stated rounded.
_ROUNDED = 0.999
_AREA_AMPS = ((0.5e-6, 3.0), (0.75e-6, 6.0), (1.0e-6, 10.0), (1.5e-6, 16.0))


def fuses(survey: Survey) -> tuple[Finding, ...]:
    """Return cautions for line fuses without a rating, and for those far above what is behind them
    bears.
    """
    findings: list[Finding] = []
    for fuse in survey.of_kind("fuse"):
        if not all(node in survey.primary.line for node in fuse.ends):
            continue
        amps = fuse.value("current")
        if amps is None:
            findings.append(
                Caution(
                    "fuse-unrated",
                    f"The netlist states no current for the line fuse {fuse.name}, so it is not"
                    " known to protect anything.",
                    fuse.name,
                    "rating",
                    "",
                    _rated(survey, fuse),
                )
            )
            continue
        weaker = [(name, most) for name, most in _bears(survey) if amps > most]
        if weaker:
            too_large = [
                f"{name} {'bear' if ' and ' in name else 'bears'} {most:.3g} A"
                for name, most in weaker
            ]
            is_large = any(name not in survey.circuit.by_name for name, _ in weaker)
            protects = "is too large" if is_large else "does not protect all of the line"
            findings.append(
                Caution(
                    "fuse-too-large",
                    f"The line fuse {fuse.name}, {amps:g} A, {protects}: {listed(too_large)}.",
                    fuse.name,
                    "rating",
                    "",
                    _rated(survey, fuse),
                )
            )
    return tuple(findings)


def line_volts(survey: Survey) -> tuple[Finding, ...]:
    """Return cautions for plugs, switches, fuses and breakers of the line that are rated for fewer
    volts than it has: their contacts and wires go on burning in an arc.
    """
    mains = survey.circuit.mains
    findings: list[Finding] = []
    for part in survey.of_kind("plug", "switch", "fuse", "breaker", "inlet filter"):
        rated = part.value("voltage")
        if mains is None or rated is None or rated >= _RATED_SHARE * mains.volts:
            continue
        if any(node in survey.primary.line for node in part.ends):
            volts = 125.0 if mains.volts <= _LOW_LINE else 250.0
            kept = tuple(value for value in part.values if value.dimension != "voltage")
            fitted = replace(part, values=(*kept, Value("voltage", volts)))
            findings.append(
                Caution(
                    "line-volts",
                    f"{part.name} is rated {rated:g} V and is on the line of {mains.volts:g} V.",
                    part.name,
                    "rating",
                    "",
                    (
                        Remedy(
                            f"Fit {a_or_an(part.kind)} for {volts:g} V at {part.name}.",
                            (RemovePart(part.name), FitPart(fitted)),
                        ),
                    ),
                )
            )
    return tuple(findings)


def _rated(survey: Survey, fuse: Part) -> tuple[Remedy, ...]:
    """Return the fuse that protects what is behind it, or what the netlist must state first."""
    amps = _proposed(survey)
    if amps is None:
        return _with_stronger_parts(survey, fuse) or _stated(survey, fuse)
    return (Remedy(f"Fit a slow fuse of {amps:g} A at {fuse.name}.", _exchanged(fuse, amps)),)


def _stated(survey: Survey, fuse: Part) -> tuple[Remedy, ...]:
    """Return what the netlist must state before a fuse can be chosen."""
    missing = [] if fuse.value("current") else [f"the current of {fuse.name}"]
    missing += [
        f"the {'watts' if part.kind == 'motor' else 'VA'} of {part.name}"
        for part, amps in _loads(survey)
        if amps is None
    ]
    return write(f"State {listed(missing)} in the netlist.") if missing else ()


def _exchanged(fuse: Part, amps: float) -> tuple[Action, ...]:
    """Return the exchange of a fuse for a slow one of so many amperes."""
    kept = tuple(value for value in fuse.values if value.dimension != "current")
    words = tuple(word for word in fuse.words if word != "fast")
    fitted = replace(
        fuse,
        values=(Value("current", amps), *kept),
        words=(*words, *(() if "slow" in words else ("slow",))),
    )
    return RemovePart(fuse.name), FitPart(fitted)


def _with_stronger_parts(survey: Survey, fuse: Part) -> tuple[Remedy, ...]:
    """Return the exchange of switches, plugs and connectors that bear less than the least fuse for
    the transformers, or nothing where these do not say what they draw.
    """
    total = _total(survey)
    if total is None:
        return ()
    stated, least = fuse.value("current"), _least_rating(total)
    if least is None:
        return ()
    keeps = stated is not None and total <= stated <= MOST_TIMES * total
    amps = stated if keeps and stated is not None else least
    weak = [
        survey.circuit.by_name[name]
        for name, most in _bears(survey)
        if most < amps and name in survey.circuit.by_name
    ]
    if not weak or any(part.kind == "wire" for part in weak):
        return ()
    edits: list[Action] = [] if keeps else list(_exchanged(fuse, amps))
    for part in weak:
        kept = tuple(value for value in part.values if value.dimension != "current")
        edits.append(RemovePart(part.name))
        edits.append(FitPart(replace(part, values=(Value("current", amps), *kept))))
    stronger = listed(f"a {part.kind} for at least {amps:g} A at {part.name}" for part in weak)
    also = "" if keeps else f"a slow fuse of {amps:g} A at {fuse.name} and "
    return (Remedy(f"Fit {also}{stronger}.", tuple(edits)),)


def fuse_amps_for(survey: Survey, plug: Part) -> float | None:
    """Return the amperes of a line fuse for what one plug feeds, or None where the netlist does not
    say enough.
    """
    return _proposed(survey) if survey.plugs == (plug,) else None


def _proposed(survey: Survey) -> float | None:
    total = _total(survey)
    amps = None if total is None else _least_rating(total)
    most = min((most for _, most in _bears(survey)), default=0.0)
    return amps if amps is not None and amps <= most else None


def _total(survey: Survey) -> float | None:
    """Return the amperes of all loads of the line; None where the netlist does not say."""
    each = [amps for _, amps in _loads(survey)]
    known = [amps for amps in each if amps is not None]
    return sum(known) if known and len(known) == len(each) else None


def _least_rating(total: float) -> float | None:
    """Return the least usual fuse for so many amperes of primary current."""
    return next((rating for rating in RATINGS if rating >= LEAST_TIMES * total), None)


def _loads(survey: Survey) -> Iterator[tuple[Part, float | None]]:
    """Return the transformers and motors on the line with the current of each at full load; none
    where the line feeds anything else, for then the fuse must carry that as well.
    """
    mains = survey.circuit.mains
    if any(survey.strangers(node) for node in survey.primary.line):
        return
    for part in survey.of_kind("transformer", "autotransformer", "motor"):
        coil = ("1", "2") if part.kind == "motor" else ("primary",)
        if any(pin.startswith(coil) and survey.conduction_tied(node) for pin, node in part.pins):
            power = part.value("apparent-power") or part.value("power")
            factor = MOTOR_FACTOR if part.kind == "motor" else 1.0
            volts = mains.volts if mains else None
            yield part, power / factor / volts if power and volts else None


def _bears(survey: Survey) -> Iterator[tuple[str, float]]:
    """Return what is on the line with the largest fuse that protects it, in amperes."""
    total = _total(survey)
    if total is not None:
        names = listed(part.name for part, _ in _loads(survey))
        yield f"{names} ({MOST_TIMES:g} times the current at full load)", MOST_TIMES * total
    for part in survey.of_kind("plug", "inlet filter", "switch", "connector"):
        amps = part.value("current")
        if amps is not None and any(node in survey.primary.line for node in part.ends):
            yield part.name, amps
    for part in survey.of_kind("wire"):
        amps = _wire_amps(part)
        if amps is not None and all(node in survey.primary.line for _, node in part.pins):
            yield part.name, amps


def _wire_amps(wire: Part) -> float | None:
    """Return the amperes a wire may carry, or None where it states no size."""
    size, gauge = section(wire), wire.value("gauge")
    if gauge in _GAUGE_AMPS:
        return _GAUGE_AMPS[gauge]
    if size is None:
        return None
    return next((amps for area, amps in reversed(_AREA_AMPS) if size >= area * _ROUNDED), 1.0)

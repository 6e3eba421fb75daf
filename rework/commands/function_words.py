"""Whether a set works, in words: a sentence a row, for ``check`` and ``summary``."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from rework.anatomy.function_row import Aspect, FunctionRow, Working
from rework.language.mistakes import a_or_an
from rework.report.figures import shown

#: What a stress is called, by its key in the table of kinds.
_STRESS = {
    "plate_watts": "plate dissipation",
    "screen_watts": "screen dissipation",
    "plate_volts": "plate voltage",
    "screen_volts": "screen voltage",
    "heater_volts": "heater",
    "heater_cathode_volts": "heater to cathode",
    "cold_volts": "at switch-on",
    "watts": "power",
    "volts": "voltage",
    "amps": "current",
    "dc_amps": "direct current",
    "inverse_volts": "inverse voltage",
    "volt_amperes": "apparent power",
    "ripple_amps": "ripple current",
}


def sentence(row: FunctionRow) -> str:
    """Return what is wrong, or not known, about one row."""
    if row.working is Working.UNKNOWN and row.aspect is not Aspect.NUMBERS:
        return f"{row.subject}: not known ({row.aspect})"
    return _SENTENCES[row.aspect](row)


def _at(row: FunctionRow) -> str:
    return f" (pin {row.place})" if row.place else ""


def _primary(row: FunctionRow) -> str:
    if row.part:
        return f"{row.subject} gets half-wave direct current: {row.place} is behind {row.part}"
    if row.place == "direct":
        return f"{row.subject} is a transformer on direct current"
    return f"{row.subject} is not connected to the line"


def _warmth(row: FunctionRow) -> str:
    if not row.value or row.rated is None or row.value < 0.01 * row.rated:
        return f"{row.subject} gets no voltage ({row.aspect})"
    half = "half-wave, " if row.place else ""
    how = f": {half}through {row.part}" if row.part else ""
    return f"{row.subject} gets {shown(row.value, 'V')}, rated {shown(row.rated, 'V')}{how}"


def _rectifier(row: FunctionRow) -> str:
    if row.place == "shorted":
        return f"{row.subject} is wired to itself: two of its ends are joined"
    if row.place == "turned":
        return f"{row.subject} is the wrong way round"
    if row.working is Working.NOTE:
        return f"{row.subject} no longer does anything"
    return f"no alternating current reaches {row.subject}"


def _return(row: FunctionRow) -> str:
    if row.value is None:
        return f"{row.subject} has no way back to the supply"
    return f"{row.subject} reaches the supply only through {shown(row.value, 'ohm')}"


def _lost(row: FunctionRow) -> str:
    return f"{row.subject}: {row.place} missing (was {row.part})"


def _rating(row: FunctionRow) -> str:
    what = _STRESS.get(row.place, row.place.replace("_", " "))
    of = f" {row.part}" if row.part else ""
    if row.place == "watts" and row.value and row.rated and row.value < row.rated / 2:
        return f"{row.subject}: {what} {shown(row.value, 'W')}, made for {shown(row.rated, 'W')}"
    return (
        f"{row.subject}{of}: {what} {shown(row.value, row.unit)}, rated"
        f" {shown(row.rated, row.unit)}"
    )


def _odd_value(row: FunctionRow) -> str:
    of = f" for {a_or_an(row.place)}" if row.place else ""
    return f"{row.subject}: {shown(row.value, row.unit)} is unusual{of}; check value and unit"


def _fuse(row: FunctionRow) -> str:
    return f"{row.subject} carries {shown(row.value, 'A')}, rated {shown(row.rated, 'A')}"


def _fallen(row: FunctionRow) -> str:
    why = f"; {row.part} was not put back" if row.part else ""
    return f"{row.aspect} {amount(row.value, row)}, was {amount(row.rated, row)}{why}"


def amount(value: float | None, row: FunctionRow) -> str:
    """Return gain as a bare number, anything else with its unit."""
    if value is None:
        return "–"
    return shown(value, row.unit) if row.unit else f"{value:.3g}" if value < 1e3 else f"{value:.0f}"


_SENTENCES: dict[Aspect, Callable[[FunctionRow], str]] = {
    Aspect.PRIMARY: _primary,
    Aspect.POSITION: lambda row: f"{row.subject} is off while {row.part} is at {row.place}",
    Aspect.RECTIFIER: _rectifier,
    Aspect.HEATER: _warmth,
    Aspect.LAMP: _warmth,
    Aspect.MOTOR: _warmth,
    Aspect.PLATE: lambda row: f"no B+ at the plate of {row.subject}{_at(row)}",
    Aspect.SCREEN: lambda row: f"no B+ at the screen of {row.subject}{_at(row)}",
    Aspect.CATHODE: lambda row: f"cathode of {row.subject}{_at(row)} has no way back to B-",
    Aspect.GRID: lambda row: f"grid of {row.subject}{_at(row)} has no return",
    Aspect.BIAS: lambda row: (
        f"{row.subject} has no bias: its grid{_at(row)} is at the voltage of its cathode"
    ),
    Aspect.RETURN: _return,
    Aspect.SIGNAL: lambda row: f"no signal path from {row.subject} to a load",
    Aspect.INPUT_RETURN: lambda row: f"return of {row.subject} ({row.place}) is not on common",
    Aspect.LOAD: lambda row: f"no signal reaches {row.subject}",
    Aspect.POLARITY: lambda row: (
        f"{row.subject} is the wrong way round: its minus is on {row.place}"
    ),
    Aspect.STAGE: lambda row: (
        f"no input reaches the grid of {row.subject}"
        if row.place == "input"
        else f"the plate of {row.subject} leads to no other stage and no load"
    ),
    Aspect.CONTROL: lambda row: f"{row.subject} is loudest at its left stop",
    Aspect.MATCH: lambda row: (
        f"{row.subject} is for {shown(row.value, 'ohm')}; the sheet of {row.part} prints"
        f" {shown(row.rated, 'ohm')}"
    ),
    Aspect.VALUE: _odd_value,
    Aspect.POINT: lambda row: (
        f"plate of {row.subject} at {shown(row.value, 'V')} of {shown(row.rated, 'V')}: check its"
        " resistors"
    ),
    Aspect.LOST: _lost,
    Aspect.PORT: lambda row: f"port {row.subject} of {row.part} is not connected",
    Aspect.HANGING: lambda row: f"{row.subject} is open at terminal {row.place}",
    Aspect.IDLE: lambda row: f"{row.subject} no longer does anything",
    Aspect.NAME: lambda row: f"{row.subject} names a part that was taken out and a new part",
    Aspect.RATING: _rating,
    Aspect.CURRENT: lambda row: f"{row.subject} draws no plate current",
    Aspect.FUSE: _fuse,
    Aspect.NUMBERS: lambda row: f"no numbers: {row.place}",
    Aspect.GAIN: _fallen,
    Aspect.WATTS: _fallen,
}


def told(rows: Iterable[FunctionRow]) -> tuple[FunctionRow, ...]:
    """Return the rows that a person has to hear of, the worst first."""
    order = list(_RANK)
    bad = (row for row in rows if row.working is not Working.WORKS)
    return tuple(sorted(bad, key=lambda row: order.index(row.working)))


_RANK = (Working.FAULT, Working.UNKNOWN, Working.NOTE, Working.WORKS)


def function_text(rows: Iterable[FunctionRow]) -> str:
    """Return whether a set works as far as its wiring shows, for the end of a check."""
    every = tuple(rows)
    lines = [f"  {row.working}: {sentence(row)}" for row in told(every)]
    head = f"Does it work, as far as the wiring shows: {len(every)} points looked at"
    return "\n".join([head, *(lines or ["  nothing missing found"])])

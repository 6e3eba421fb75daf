"""What stays charged once the plug is out, as tables and sentences for terminal, page and paper."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from rework.language.quantity import write_value
from rework.report.figures import shown
from rework.report.table import Cell, Column, Table
from rework.touch.bleeder import Bleeder
from rework.touch.stored import (
    MOST_SECONDS,
    AfterUnplugging,
    DischargePosition,
    Pins,
    Stored,
)

NOT_DISCHARGED = (
    "Where nothing discharges a capacitor, it stays charged. Discharge it through a resistor with"
    " one hand, and measure 0 V before you touch anything."
)
SOLVED = "Volts: the most in use or with the tubes cold, line 10 % high, as rework volts has them."
ESTIMATED = (
    "Volts: the peak that the rectifiers can reach, an estimate on the high side: the circuit could"
    " not be solved."
)
ELSEWHERE = (
    " Of {}: the peak that the rectifiers can reach with the switches in another position than in"
    " the file, an estimate on the high side."
)
TIMES = (
    "Times: nominal, and at most with every resistor and capacitor at the end of its tolerance that"
    " takes longer."
)


def stored_table(stored: Sequence[Stored]) -> Table:
    """Return what the capacitors hold after the plug is out, a row for each way they discharge."""
    rows = [row for charge in stored for row in _rows(charge)]
    sized = [charge for charge in stored if math.isfinite(charge.farads)]
    apart = [charge.part for charge in sized if not charge.solved]
    from_solver = ESTIMATED if len(apart) == len(sized) else SOLVED
    if apart and from_solver == SOLVED:
        from_solver += ELSEWHERE.format(", ".join(apart))
    return Table(
        "stored",
        "Stored charge after the plug is out",
        f"{from_solver} {TIMES} Discharge every capacitor, then measure: these figures are"
        " computed, not measured.",
        (
            Column("capacitor", "name"),
            Column("charge", "figure", "stored", "V"),
            Column("energy", "figure", "stored", "J"),
            Column("to 60 V", "text", "stored"),
            Column("at most", "text", "stored"),
            Column("to 34 V", "text", "stored"),
            Column("at most", "text", "stored"),
            Column("through", "text", "stored"),
            Column("position"),
        ),
        tuple(rows),
        why="No capacitor keeps a charge worth reporting.",
    )


def _rows(charge: Stored) -> Iterator[tuple[Cell, ...]]:
    """Return the rows of one capacitor, one for positions in which it discharges alike."""
    if math.isinf(charge.farads):
        unknown = "no capacitance in the netlist: assume that it is charged. Discharge it."
        yield (charge.part, "not known", "", unknown, "", "", "", "", "")
        return
    for place, words in _alike(charge):
        fall = place.fall
        times: tuple[Cell, ...] = ("nothing discharges it", "", "", "", "")
        if math.isfinite(fall.late_34):
            each = (fall.to_60, fall.late_60, fall.to_34, fall.late_34)
            times = (*map(seconds, each), ohms_words(place.ohms))
        yield (charge.part, f"{charge.volts:.0f}", f"{charge.joules:.3g}", *times, words)


def charge_words(after: AfterUnplugging) -> Iterator[str]:
    """Return the sentences below the table: ratings, what stays charged, pins and contacts."""
    for charge in after.capacitors:
        if charge.over_rating:
            yield f"{charge.part}: {charge.volts:.0f} V is over its rating of {charge.rating:g} V."
    falls = (place.fall for charge in after.capacitors for place in charge.positions)
    if any(math.isinf(fall.late_34) for fall in falls):
        yield NOT_DISCHARGED
    yield from map(pins_words, after.pins)


def pins_words(pins: Pins) -> str:
    """Return what a person finds at the pins of a plug or connector that was just pulled."""
    at = f"{pins.part} {pins.one} to {pins.other}, {pins.words}: {pins.volts:.0f} V"
    falls = (
        "nothing discharges it"
        if math.isinf(pins.fall.late_34)
        else f"60 V {within(pins.fall.late_60)}, 34 V {within(pins.fall.late_34)}"
    )
    if pins.kind == "connector":
        return f"Bare contacts of a pulled connector: {at}, {falls}{_contacts_words(pins)}"
    limit = (
        "OVER the limit of IEC 60950-1 (more than 0.1 uF: a time constant of 1 s at most, switch in"
        " either position)"
        if pins.over_limit
        else "within the limit of IEC 60950-1 (a time constant of 1 s)"
    )
    return f"Pins of the pulled plug: {at}, {falls}: {limit}."


def _contacts_words(pins: Pins) -> str:
    """Return how bare contacts stand against their limit, and what to fit or to write there."""
    if pins.needs_label:
        wait = math.ceil(pins.fall.late_60)
        return (
            f": within the limit of IEC 60204-1 (60 V within {MOST_SECONDS:g} s). Put a label at"
            f" the connector: wait {wait} s after pulling it, then measure."
        )
    if not pins.over_limit:
        return "."
    return (
        f": OVER the limit of IEC 60204-1 (60 V within {MOST_SECONDS:g} s)."
        f" {bleeder_words(pins.bleeder)}"
    )


def bleeder_words(bleeder: Bleeder | None) -> str:
    """Return the bleeder to fit, which was tried, with the line of a job that fits it."""
    if bleeder is None:
        return "No bleeder that was tried discharges it in that time."
    figures = " ".join(map(write_value, bleeder.part.values))
    node, common = bleeder.nodes
    return (
        f"Fit a bleeder of {figures} from {node} to {common}: 60 V"
        f" {within(bleeder.seconds)}, tried. In a job: apply fit-bleeder : node={node},"
        f" common={common}, resistor={figures}"
    )


def seconds(value: float) -> str:
    """Return seconds with three figures, or that it is at once."""
    return "at once" if value < _AT_ONCE else f"{value:.3g} s"


def within(value: float) -> str:
    """Return within how many seconds, or that it is at once."""
    return seconds(value) if value < _AT_ONCE else f"within {seconds(value)}"


#: Less time, in seconds, is at once.
_AT_ONCE = 1e-3


def ohms_words(ohms: float) -> str:
    """Return a discharge resistance; a dash where there is none."""
    return "–" if math.isinf(ohms) else shown(ohms, "ohm")


def _alike(charge: Stored) -> Iterator[tuple[DischargePosition, str]]:
    """Return the positions of a capacitor with their words, those in which it discharges alike
    together.
    """
    alike: dict[tuple[float, ...], list[DischargePosition]] = {}
    for place in charge.positions:
        fall = place.fall
        figures = (place.ohms, fall.to_60, fall.to_34, fall.late_60, fall.late_34)
        alike.setdefault(tuple(float(f"{value:.3g}") for value in figures), []).append(place)
    every = [place.words for place in charge.positions]
    for places in alike.values():
        words = [place.words for place in places]
        yield places[0], "any position" if len(alike) == 1 else _places(words, every)


def _places(some: Sequence[str], every: Sequence[str]) -> str:
    """Return some of the positions as a phrase; switches are left out where they make no
    difference.
    """

    def pulled(words: str) -> str:
        return (
            ", ".join(word for word in words.split(", ") if word.endswith(" pulled"))
            or "umbilical in place"
        )

    places: dict[str, None] = {}
    for words in some:
        whole = {other for other in every if pulled(other) == pulled(words)} <= set(some)
        places[pulled(words) if whole else words] = None
    return " or ".join(places)

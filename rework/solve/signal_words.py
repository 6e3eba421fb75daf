"""Ohms and signals as tables and sentences: what terminal, page and paper say of them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from rework.report.figures import band, shown
from rework.report.table import Cell, Column, Mark, Table
from rework.solve.ohms import OhmsReading
from rework.solve.power import Power
from rework.solve.remedies import StabilityRemedy
from rework.solve.response import Hum, Response
from rework.solve.signal import Signal
from rework.solve.stability import MOTORBOATING

COLD = (
    "Plug out, switch on, controls in the middle, capacitors discharged and measured to be so,"
    " tubes in and cold. Wait for capacitors to charge from the meter. B+ is read at its reservoir"
    " capacitor, with the node in brackets. One way round is where a meter that turns a"
    " semiconductor on reads lower."
)
#: What a meter shows as nothing.
LEAST_OHMS = 0.05
ORDINALS = ("2nd", "3rd", "4th", "5th")


def ohms_table(readings: Sequence[OhmsReading]) -> Table:
    """Return what an ohmmeter should read."""
    return Table(
        "ohms",
        "What an ohmmeter should read",
        "",
        (
            Column("at", "name"),
            Column(""),
            Column("against"),
            Column("reading", "figure", "ohms"),
            Column("band", "text", "band"),
            Column("one way round", "figure", "ohms"),
        ),
        tuple(
            (
                row.place,
                row.what,
                row.against,
                ohms_text(row.ohms),
                ohms_band(row),
                "" if row.forward is None else ohms_text(row.forward),
            )
            for row in readings
        ),
        parts=tuple(row.place.partition(".")[0].partition(" ")[0] for row in readings),
    )


def ohms_text(value: float | None) -> str:
    """Return a resistance; None is an open circuit."""
    return "open" if value is None else "0 ohm" if value < LEAST_OHMS else shown(value, "ohm")


def ohms_band(row: OhmsReading) -> str:
    """Return the band of a reading; nothing for an open circuit and for what has no width."""
    if row.low is None or (row.high is not None and row.high < LEAST_OHMS):
        return ""
    if row.high is None:
        return f"{ohms_text(row.low)} to open"
    return band(row.low, row.high, "ohm")


def signal_tables(signal: Signal) -> tuple[Table, ...]:
    """Return the tables of a signal: figures, then the response at each stop of the controls."""
    return figures(signal), responses(signal.responses)


def figures(signal: Signal) -> Table:
    """Return gain, watts, distortion, hum and stability, a row each."""
    bands = signal.bands
    rows: list[tuple[str, str, Mark]] = [
        ("Gain, input to load", gain_text(signal.gain), ""),
        *_band_row(bands.gain if bands else None, ""),
        ("Output impedance at the load", impedance_text(signal), ""),
        *_band_row(bands.output_ohms if bands else None, "ohm"),
        ("Onset of clipping (10 % distortion or 1 dB)", _level(signal.full), ""),
        *_band_row(bands.watts if bands else None, "W"),
        ("  distortion", bent(signal.full), ""),
        ("Half of that power", _level(signal.half), ""),
        ("  distortion", bent(signal.half), ""),
        *hum_rows(signal.hum, bands.hum if bands else None),
        *stability_rows(signal),
    ]
    return Table(
        "figures",
        f"From {signal.input} into {signal.speaker}, {signal.load_ohms:g} ohm, 1 kHz",
        _controls(signal),
        (Column("", "name"), Column("")),
        tuple((name, words) for name, words, _ in rows),
        marks=tuple(mark for _, _, mark in rows),
    )


def _controls(signal: Signal) -> str:
    words = "Every control is where it is loudest."
    if signal.held:
        held = ", ".join(f"{position.part} {position.at}" for position in signal.held)
        words = f"As stated: {held}. Every other control is where it is loudest."
    if signal.bands is None:
        return words
    return (
        f"{words} Band: 5 to 95 % of {signal.bands.samples:,} draws of part tolerance, tube spread"
        " and line ±10 %."
    )


def responses(of: Iterable[Response]) -> Table:
    """Return the response at each stop of the controls; one that changes nothing has one row."""
    by_control: dict[str, list[Response]] = {}
    for response in of:
        by_control.setdefault(response.control, []).append(response)
    rows: list[tuple[Cell, ...]] = []
    for control, stops in by_control.items():
        idle = len(stops) > 1 and all(
            abs(there / here - 1) < 1e-3
            for stop in stops[1:]
            for there, here in zip(stop.gain, stops[0].gain, strict=True)
        )
        rows += [
            (
                control,
                "any: it does not change the response" if idle else stop.position,
                gain_text(stop.at_tone),
                shown(stop.low, "Hz") if stop.low else "below 10 Hz",
                shown(stop.high, "Hz") if stop.high else "above 100 kHz",
            )
            for stop in (stops[:1] if idle else stops)
        ]
    return Table(
        "response",
        "Response at each stop of the controls",
        "",
        (
            Column("control", "name"),
            Column("position"),
            Column("gain at 1 kHz", "figure", "levels"),
            Column("-3 dB low", "figure", "levels"),
            Column("-3 dB high", "figure", "levels"),
        ),
        tuple(rows),
    )


def gain_text(value: float) -> str:
    """Return a gain to three figures."""
    return f"{value:,.0f}" if value >= 99.5 else f"{value:.3g}"


def impedance_text(signal: Signal) -> str:
    """Return the output impedance; where positive feedback makes its resistance negative, that."""
    if signal.output_resistance >= 0:
        return shown(signal.output_ohms, "ohm")
    return f"negative, {shown(signal.output_resistance, 'ohm')}: the feedback is positive"


def _level(power: Power) -> str:
    return (
        f"{shown(power.watts, 'W')}, {shown(power.load_volts, 'V')} RMS at the load, for"
        f" {shown(power.input_volts, 'V')} RMS at the input"
    )


def bent(power: Power) -> str:
    """Return a distortion with its harmonics."""
    parts = ", ".join(
        f"{name} {share:.1%}" for name, share in zip(ORDINALS, power.harmonics, strict=False)
    )
    return f"{power.distortion:.1%}: {parts}".replace("%", " %")


def _band_row(ends: tuple[float, float] | None, unit: str) -> list[tuple[str, str, Mark]]:
    """Return the row of a band, below what it is the band of; none where there is no band."""
    if ends is None or not (words := band(*ends, unit)):
        return []
    return [("  band", words, "")]


def hum_rows(hum: Hum, ends: tuple[float, float] | None = None) -> list[tuple[str, str, Mark]]:
    """Return the hum at the load with its band, and what heater leakage would add to it."""
    name = "Hum at the load from the supply, input shorted"
    if not hum.volts:
        return [(name, "none: the supply is direct current", "")]
    below = "" if hum.below_full_db is None else f", {hum.below_full_db:.0f} dB below clipping"
    rows: list[tuple[str, str, Mark]] = [
        (
            name,
            f"{shown(hum.volts, 'V')} RMS ({_part(hum.line_volts, hum.volts)} at the line's"
            f" frequency, {_part(hum.double_volts, hum.volts)} at twice it){below}",
            "",
        )
    ]
    rows += _band_row(ends, "V RMS")
    if hum.leak_part and hum.leak_ohms is not None:
        rows.append(
            (
                "  leakage from heater to cathode, not included",
                f"each microamp at {hum.leak_part}, the most sensitive tube, adds"
                f" {shown(hum.leak_ohms * 1e-6, 'V')}; no data sheet prints the leakage",
                "",
            )
        )
    return rows


def _part(volts: float, total: float) -> str:
    return "none" if volts < 1e-6 * total else shown(volts, "V")


def stability_rows(signal: Signal) -> list[tuple[str, str, Mark]]:
    """Return whether the amplifier oscillates, where, and what was tried against it."""
    rows = [*_feedback(signal), *_meant(signal)]
    if signal.grows:
        return [*rows, *_oscillation(signal)]
    return [*rows, *_stable(signal)]


def _meant(signal: Signal) -> list[tuple[str, str, Mark]]:
    return [
        ("Oscillator", f"oscillates as meant, at {mode.node}, near {shown(mode.hertz, 'Hz')}", "")
        for mode in signal.meant
    ]


def _feedback(signal: Signal) -> list[tuple[str, str, Mark]]:
    """Return a row on every loop whose leads are reversed, and the cures of one that is stable."""
    rows: list[tuple[str, str, Mark]] = [
        (
            f"Feedback through {loop.part}",
            f"reversed: it raises the gain from {gain_text(loop.without_it)} to"
            f" {gain_text(loop.with_it)}"
            if loop.with_it > loop.without_it
            else "reversed: it adds to the input, and the loop oscillates",
            "bad",
        )
        for loop in signal.feedback
        if loop.is_reversed
    ]
    if rows and not signal.grows:
        rows += [
            (
                "  a cure, solved",
                f"{remedy_words(remedy)} (least damping then {remedy.damping:.2f})",
                "",
            )
            for remedy in signal.remedies
        ]
    return rows


def _stable(signal: Signal) -> list[tuple[str, str, Mark]]:
    at_stops: list[tuple[str, str, Mark]] = [
        (
            f"{stop.control} at {stop.position}",
            f"it oscillates, strongest at {stop.grows.node}, starting near"
            f" {shown(stop.grows.hertz, 'Hz')}"
            if stop.grows.hertz
            else f"it runs away at {stop.grows.node}",
            "bad",
        )
        for stop in signal.responses
        if stop.grows
    ]
    least = signal.least_damped
    if at_stops:
        where = "as stated" if signal.held else "where they are loudest"
        return [*at_stops, ("Stability", f"stable with the controls {where}", "")]
    which = "all other modes decay" if signal.meant else "all modes decay"
    words = f"{which}, with each control at its stops and in the middle"
    if least:
        words += (
            f"; the least damped is at {shown(least.hertz, 'Hz')} (damping {least.damping:.2f}),"
            f" strongest at {least.node}"
        )
    return [("Stability", f"stable: {words}", "")]


def _oscillation(signal: Signal) -> list[tuple[str, str, Mark]]:
    worst = signal.grows[0]
    if signal.swing:
        words = (
            f"{_name(signal.swing.hertz)} at {shown(signal.swing.hertz, 'Hz')}, strongest at"
            f" {worst.node}, {shown(signal.swing.volts, 'V')} peak to peak there"
        )
    elif worst.hertz:
        words = (
            f"{_name(worst.hertz)}, strongest at {worst.node}, starting near"
            f" {shown(worst.hertz, 'Hz')}; its final amplitude was not computed"
        )
    else:
        words = f"it runs away at {worst.node} and settles elsewhere"
    rows: list[tuple[str, str, Mark]] = [("It oscillates", words, "bad")]
    rows += [
        (
            "  a cure, solved",
            f"{remedy_words(remedy)} (least damping then {remedy.damping:.2f})",
            "",
        )
        for remedy in signal.remedies
    ]
    if signal.remedies:
        rows.append(("  note", "the figures of this table are with the first cure fitted", ""))
    else:
        rows.append(
            (
                "  no cure found",
                "tried: a larger filter capacitor, another decoupling section, output transformer"
                " leads exchanged, a change in the feedback",
                "",
            )
        )
    return rows


def _name(hertz: float) -> str:
    return "motorboating" if hertz < MOTORBOATING else "squeal"


def remedy_words(remedy: StabilityRemedy) -> str:
    """Return what to do, in the words of the bench."""
    match remedy.kind:
        case "decouple":
            return (
                f"{shown(remedy.ohms, 'ohm')} between {remedy.node} and {remedy.part}, and"
                f" {shown(remedy.farads, 'F')} from their joint to common"
            )
        case "capacitor":
            return f"{remedy.part} at {remedy.node} changed to {shown(remedy.farads, 'F')}"
        case "across":
            return f"{shown(remedy.farads, 'F')} across {remedy.part}"
        case "resistor":
            return f"{remedy.part} changed to {shown(remedy.ohms, 'ohm')}"
        case _:
            lead = (
                f", and {shown(remedy.farads, 'F')} across {remedy.node}" if remedy.farads else ""
            )
            return f"exchange the two secondary leads of {remedy.part}{lead}"

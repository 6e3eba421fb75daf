"""What the long sums say, as tables of the page: a block a sum and side, ``computing``, ``ready``,
or ``none`` and why.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any

from rework.circuit.place import Problem
from rework.page.pieces import table
from rework.report.figures import band, shown, volts
from rework.rules.run import JobRun
from rework.solve.chart import Chart
from rework.solve.ohms import Reading
from rework.solve.signal import FREQUENCIES, Signal
from rework.touch.faults import FaultReport
from rework.touch.stored import Stored
from rework.touch.touch import TouchReport

#: The sums, the most wanted first: name, and what the page calls it.
SUMS = {
    "volts": "Volts",
    "ohms": "Ohms",
    "signal": "Signal",
    "touch": "Touch current",
    "faults": "Faults",
}
#: Less than this many RMS volts is not worth a column.
_LEAST_AC = 0.05
_LIVE = (
    "Measuring these is work on a live chassis: bench isolation transformer, one hand, insulated"
    " probe. They are the volts of the netlist as written."
)
_COLD = (
    "Plug out, switch on, controls in the middle, capacitors discharged and measured to be so,"
    " tubes in and cold."
)


def computing() -> dict:
    """Return the block of a sum that is still being done."""
    return {"state": "computing", "why": [], "tables": [], "notes": []}


def missing(why: Sequence[Problem]) -> dict:
    """Return the block of a sum that could not be done, and why."""
    told = [
        one.message + (f" {one.hint[0].upper()}{one.hint[1:]}." if one.hint else "") for one in why
    ]
    return {
        "state": "none",
        "why": told or ["The sum did not come to an end."],
        "tables": [],
        "notes": [],
    }


def block(name: str, result: Any, run: JobRun) -> dict:
    """Return the block of a sum that was done."""
    return {"state": "ready", "why": [], **_BLOCKS[name](result, run)}


def _volts(chart: Chart, run: JobRun) -> dict:
    read = readings(run)
    pins = [
        {
            "part": one.part,
            "pin": one.pin,
            "node": one.node,
            "volts": one.volts,
            "low": one.low,
            "high": one.high,
            "read": read.get(
                f"{one.part}.{one.pin}", read.get(f"{one.part}.{one.element}", read.get(one.node))
            ),
        }
        for one in chart.pins
    ]
    rows = [
        (
            one.part,
            one.pin,
            one.element,
            one.node,
            volts(one.volts),
            band(one.low, one.high),
            shown(one.ac_volts, "V") if one.ac_volts >= _LEAST_AC else "",
            _read(at),
            _held(at),
        )
        for one, at in zip(chart.pins, pins, strict=True)
    ]
    tables = [
        table(
            "Volts at the tube pins, DC against common",
            ("tube", "pin", "element", "node", "expected", "band", "AC", "read", ""),
            rows,
            parts=[one.part for one in chart.pins],
            marks=["bad" if row[-1] == "outside" else "" for row in rows],
            note=_LIVE,
        )
    ]
    tables[0]["bars"] = pins
    pinned = {one.node for one in chart.pins}
    others = [one for one in chart.nodes if one.node not in pinned and "." not in one.node]
    tables.append(
        table(
            "Volts at the other nodes",
            ("node", "expected", "band", "to chassis", "ripple"),
            [
                (
                    one.node,
                    volts(one.volts),
                    band(one.low, one.high),
                    volts(one.chassis_volts),
                    shown(one.ripple, "V") if one.ripple >= 0.0005 else "",
                )
                for one in others
            ],
        )
    )
    tables.append(
        table(
            "Tubes, volts to their own cathode",
            ("tube", "plate", "screen", "grid", "plate mA", "plate W", "of", "screen W", "of"),
            [
                (
                    f"{one.part} {one.type} {one.unit}".strip(),
                    volts(one.plate_volts),
                    volts(one.screen_volts),
                    volts(one.grid_volts),
                    _milli(one.plate_amps),
                    _plain(one.plate_watts),
                    _plain(one.plate_watts_rating),
                    _plain(one.screen_watts),
                    _plain(one.screen_watts_rating),
                )
                for one in chart.tubes
            ],
            parts=[one.part for one in chart.tubes],
        )
    )
    stressed = [one for one in chart.capacitors if max(one.volts, one.cold_volts) > 20]
    tables.append(
        table(
            "Capacitors",
            ("capacitor", "peak in use", "at switch-on", "rated"),
            [
                (one.part, volts(one.volts), volts(one.cold_volts), volts(one.rating))
                for one in stressed
            ],
            parts=[one.part for one in stressed],
            marks=[
                (
                    "bad"
                    if one.rating is not None and max(one.volts, one.cold_volts) > one.rating
                    else ""
                )
                for one in stressed
            ],
        )
    )
    return {
        "tables": [one for one in tables if one["rows"]],
        "flags": list(chart.flags),
        "notes": list(chart.notes),
        "at": (
            {one.node: [one.volts, one.low, one.high] for one in chart.nodes}
            | {one.node: [one.volts, one.low, one.high] for one in chart.pins}
        ),
    }


def readings(run: JobRun) -> dict[str, float]:
    """Return the volts that the job file says were read, by what it calls the place."""
    return {
        one.at: one.value.amount for one in run.job.readings if one.value.dimension == "voltage"
    }


def _read(at: dict) -> str:
    return "" if at["read"] is None else volts(at["read"])


def _held(at: dict) -> str:
    return (
        ""
        if at["read"] is None
        else "inside"
        if at["low"] <= at["read"] <= at["high"]
        else "outside"
    )


def _ohms(found: Sequence[Reading], _: JobRun) -> dict:
    rows = [
        (
            one.place,
            one.what,
            one.against,
            _ohm(one.ohms),
            _ohm(one.forward) if one.forward is not None else "",
        )
        for one in found
    ]
    return {
        "tables": [
            table(
                "What an ohmmeter should read",
                ("at", "", "against", "ohms", "one way round"),
                rows,
                parts=[one.place.partition(".")[0].partition(" ")[0] for one in found],
                note=_COLD,
            )
        ],
        "notes": [
            "Wait for capacitors to charge from the meter. One way round is where a meter that"
            " turns a semiconductor on reads lower."
        ],
    }


def _signal(found: Signal, _: JobRun) -> dict:
    full, half, hum = found.full, found.half, found.hum
    rows = [
        ("Gain, input to load", _gain(found.gain)),
        ("Output impedance at the load", shown(found.output_ohms, "ohm")),
        (
            "At the onset of clipping",
            (
                f"{shown(full.watts, 'W')}, {shown(full.load_volts, 'V')} RMS,"
                f" {full.distortion:.1%} distortion, for {shown(full.input_volts, 'V')} RMS at the"
                " input"
            ),
        ),
        (
            "At half of that",
            (
                f"{shown(half.watts, 'W')}, {shown(half.load_volts, 'V')} RMS,"
                f" {half.distortion:.1%} distortion"
            ),
        ),
        (
            "Hum at the load, input shorted",
            f"{shown(hum.volts, 'V')} RMS"
            + (
                f", {hum.below_full_db:.0f} dB below clipping"
                if hum.below_full_db is not None
                else ""
            ),
        ),
    ]
    for mode in found.grows:
        rows.append(
            (
                "It oscillates",
                (
                    f"{shown(mode.hertz, 'Hz')}, strongest at {mode.node}"
                    if mode.hertz
                    else f"it runs away at {mode.node}"
                ),
            )
        )
    if not found.grows:
        rows.append(("Stability", "every motion dies away"))
    controls = table(
        "Response at each stop of the controls",
        ("control", "position", "gain at 1 kHz", "-3 dB low", "-3 dB high"),
        [
            (
                one.control,
                one.position,
                _gain(one.at_tone),
                shown(one.low, "Hz") if one.low else "below the sweep",
                shown(one.high, "Hz") if one.high else "above the sweep",
            )
            for one in found.responses
        ],
    )
    figures = table(
        f"From {found.input} into {found.speaker}, {found.load_ohms:g} ohm, 1 kHz",
        ("", ""),
        rows,
        marks=["bad" if name == "It oscillates" else "" for name, _ in rows],
    )
    curves = [
        {
            "name": f"{one.control} {one.position}",
            "gain": [float(f"{gain:.4g}") for gain in one.gain],
        }
        for one in found.responses
    ]
    return {
        "tables": [figures, controls],
        "notes": list(found.notes),
        "curves": {"hertz": [float(f"{hertz:.5g}") for hertz in FREQUENCIES], "of": curves},
    }


def _touch(report: TouchReport, _: JobRun) -> dict:
    order = sorted(
        report.touches,
        key=lambda one: (
            one.verdict == "under",
            bool(one.other),
            -round(one.reading, 9),
            one.node,
            one.other,
        ),
    )
    told = [one for one in order if one.verdict != "under" or not one.other]
    rows = [
        (
            one.node,
            one.other or "earth",
            _touched(one.reading),
            volts(one.volts),
            one.verdict,
            f"{one.state}; {one.condition}",
        )
        for one in told
    ]
    made = table(
        "A hand from one to the other",
        ("from", "to", "reading", "open volts", "limit", "worst when"),
        rows,
        marks=["" if one.verdict == "under" else "bad" for one in told],
        note=(
            f"Limit {report.limit_words}. {report.line}; {report.states} states; measured through"
            f" {report.network.words}."
        ),
    )
    unknown = [f"Missing: {words}" for words in report.unknown]
    return {"tables": [made], "notes": [*unknown, *report.notes]}


def _faults(found: tuple[FaultReport, Sequence[Stored]], _: JobRun) -> dict:
    report, kept = found
    worse = [one for one in report.outcomes if one.adds]
    rows = [
        (
            one.fault.what,
            f"{one.node} to {one.other or 'earth'}",
            _touched(one.reading),
            one.verdict,
            one.cleared,
            one.prevented,
        )
        for one in worse
    ]
    heading = (
        f"Single faults that raise a touch current over the limit: {len(worse)} of"
        f" {len(report.outcomes)} tried"
    )
    tables = [
        table(
            heading,
            ("fault", "between", "reading", "verdict", "cleared by", "prevented by"),
            rows,
            parts=[one.fault.part for one in worse],
            marks=["" if one.verdict in ("under", "cleared") else "bad" for one in worse],
            note=(
                "Without a fault"
                f" {_touched(report.healthy)}{', which is over the limit already' if report.healthy > report.limit_amps else ''}."
                f" {report.line}"
            ),
        )
    ]
    tables.append(
        table(
            "What the capacitors keep when the plug is out",
            ("capacitor", "volts", "joules", "to 60 V", "to 34 V"),
            [
                (
                    (one.part, "not known", "no capacitance written", "", "")
                    if math.isinf(one.farads)
                    else (
                        one.part,
                        volts(one.volts),
                        f"{one.joules:.2g} J",
                        _seconds(one, 2),
                        _seconds(one, 3),
                    )
                )
                for one in kept
            ],
            parts=[one.part for one in kept],
            note="Discharge, then measure; these are sums, not readings.",
        )
    )
    return {
        "tables": [one for one in tables if one["rows"] or one is tables[0]],
        "notes": [*(f"Missing: {words}" for words in report.unknown), *report.notes],
    }


def _seconds(one: Stored, which: int) -> str:
    if one.volts <= 34:
        return "under 34 V"
    worst = max((position[which] for position in one.positions), default=0.0)
    return "nothing discharges it" if math.isinf(worst) else f"{worst:.2g} s"


def _touched(amps: float) -> str:
    return f"{amps * 1e3:.3g} mA" if amps >= 1e-6 else "under 0.001 mA"


def _gain(value: float) -> str:
    return f"{value:.0f}" if value >= 99.5 else f"{value:.3g}"


def _milli(amps: float | None) -> str:
    return "" if amps is None else f"{amps * 1e3:.3g}"


def _plain(value: float | None) -> str:
    return "" if value is None else f"{value:.3g}"


def _ohm(value: float | None) -> str:
    return "open" if value is None else "0 ohm" if value < 0.05 else shown(value, "ohm")


_BLOCKS: dict[str, Callable[[Any, JobRun], dict]] = {
    "volts": _volts,
    "ohms": _ohms,
    "signal": _signal,
    "touch": _touch,
    "faults": _faults,
}

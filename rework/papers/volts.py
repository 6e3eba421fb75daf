"""The volts to expect, with a blank for the reading, and each reading of the job file held against its band.

The bands are those of ``rework.solve.chart``; without a chart every one of them is ``not computed``.
"""

from __future__ import annotations

from dataclasses import dataclass

from rework.papers.lists import NOT_COMPUTED
from rework.papers.places import pin_words
from rework.rules.run import JobRun
from rework.solve.chart import Chart

#: Less than this many RMS volts is not worth a column on paper.
_LEAST_AC = 0.05


@dataclass(frozen=True, slots=True)
class Expected:
    """One pin: DC volts to common, the band, RMS volts of line and hum there, and what the job file says was read."""

    at: str
    node: str
    volts: str
    band: str
    ac: str
    read: str


@dataclass(frozen=True, slots=True)
class Read:
    """One reading of the job file against its band; ``verdict`` is inside, outside, or not computed."""

    at: str
    value: str
    band: str
    verdict: str
    remark: str


def expected(run: JobRun, chart: Chart | None) -> tuple[Expected, ...]:
    """Return a row for every tube pin of the finished set that has numbers."""
    if chart is None:
        return ()
    read = {one.at: one.value.text for one in run.job.readings}
    return tuple(Expected(pin_words(run.after.by_name[pin.part], pin.pin), pin.node, _v(pin.volts), _band(pin.low, pin.high),
                          _v(pin.ac_volts) if pin.ac_volts >= _LEAST_AC else "",
                          next((read[key] for key in (f"{pin.part}.{pin.pin}", f"{pin.part}.{pin.element}", pin.node) if key in read), ""))
                 for pin in chart.pins)


def readings(run: JobRun, chart: Chart | None) -> tuple[Read, ...]:
    """Return the readings of the job file, each at its pin, held against the band there."""
    rows = []
    for one in run.job.readings:
        band = _band_at(one.at, chart) if one.value.dimension == "voltage" else None
        name, _, terminal = one.at.partition(".")
        part = run.after.by_name.get(name)
        verdict = NOT_COMPUTED if band is None else "inside" if band[0] <= one.value.amount <= band[1] else "OUTSIDE"
        rows.append(Read(pin_words(part, terminal) if part is not None and terminal else one.at, one.value.text,
                         NOT_COMPUTED if band is None else _band(*band), verdict, one.remark))
    return tuple(rows)


def b_plus(run: JobRun, chart: Chart | None) -> str:
    """Return the volts at the B+ port of the new supply, or that they are not computed."""
    nodes = [node for port, node in run.after.ports if port.endswith("/bplus")]
    found = [row for row in chart.nodes if row.node in nodes] if chart is not None else []
    return f"{_v(found[0].volts)}, band {_band(found[0].low, found[0].high)}" if found else NOT_COMPUTED


def _band_at(at: str, chart: Chart | None) -> tuple[float, float] | None:
    if chart is None:
        return None
    pins = [(pin.low, pin.high) for pin in chart.pins if at in (f"{pin.part}.{pin.pin}", f"{pin.part}.{pin.element}")]
    return next(iter([*pins, *((row.low, row.high) for row in chart.nodes if row.node == at)]), None)


def _v(volts: float) -> str:
    """Return volts to three figures, and never a negative nothing."""
    rounded = round(volts, 0 if abs(volts) >= 100 else 1 if abs(volts) >= 10 else 2) + 0.0
    return f"{rounded:g} V"


def _band(low: float, high: float) -> str:
    return f"{_v(low)} to {_v(high)}"

"""What each part stands: watts, volts and amps out of the sums, beside its rating; and which kept
parts stand more than before.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from rework.circuit.parts import Part
from rework.papers.numbers import Side
from rework.report.figures import share, shown
from rework.solve.chart import Chart
from rework.tubes import library

#: A kept part is told of where something on it has grown by more than this share.
MORE = 0.05
#: Volts, amps and watts below these are nothing to a part.
_LEAST = {"V": 2.0, "A": 1e-4, "W": 0.01, "VA": 0.1}


@dataclass(frozen=True, slots=True)
class Load:
    """One thing a part stands: ``what`` in words, the amount and its unit, and the rating (None
    where the netlist gives none).
    """

    what: str
    amount: float
    unit: str
    rating: float | None = None

    @property
    def words(self) -> str:
        """Return it as a phrase, as ``0.36 W of 1 W (36 %)``."""
        amount = shown(self.amount, self.unit)
        if not self.rating:
            return f"{self.what} {amount}, no rating stated"
        over = "OVER: " if self.amount > self.rating else ""
        return (
            f"{over}{self.what} {amount} of {shown(self.rating, self.unit)}"
            f" ({share(self.amount / self.rating)})"
        )


def loads(part: Part, side: Side) -> tuple[Load, ...]:
    """Return what a part stands in a circuit, of each unit what is nearest to its rating, rated
    first; empty where there are no numbers.
    """
    told: dict[str, Load] = {}
    for load in _all(part, side):
        worse = told.get(load.unit)
        if worse is None or _nearness(load) > _nearness(worse):
            told[load.unit] = load
    found = [load for load in told.values() if load.amount >= _LEAST[load.unit]]
    return tuple([load for load in found if load.rating] or found)


def _nearness(load: Load) -> tuple[bool, float]:
    return bool(load.rating), load.amount / (load.rating or 1.0)


def _all(part: Part, side: Side) -> list[Load]:
    return [] if side.chart is None or part.is_conductor else list(_loads(part, side, side.chart))


def _loads(part: Part, side: Side, chart: Chart) -> Iterator[Load]:
    match part.kind:
        case "resistor" | "thermistor":
            yield from (
                Load("takes", one.watts, "W", one.rating)
                for one in chart.resistors
                if one.part == part.name
            )
            yield from _across(part, chart, part.value("voltage"))
        case "capacitor" | "electrolytic":
            for one in chart.capacitors:
                if one.part == part.name:
                    yield Load("peak", one.volts, "V", one.rating)
                    yield Load("at switch-on", one.cold_volts, "V", one.rating)
                    yield Load("ripple", one.ripple_amps, "A")
        case "tube":
            yield from _tube(part, chart)
        case "diode" | "bridge" | "selenium":
            for one in chart.rectifiers:
                if one.part == part.name:
                    yield Load("inverse", one.inverse_volts, "V", part.value("voltage"))
                    yield Load("mean", one.mean_amps, "A", part.value("current"))
        case "transformer" | "autotransformer" | "choke" | "output transformer":
            yield from _wound(part, side, chart)
        case "fuse":
            yield Load("carries", chart.line_amps, "A", part.value("current"))
        case "speaker" | "dummy load" if side.signal is not None:
            yield Load("where it clips", side.signal.full.watts, "W", part.value("power"))
        case "connector":
            yield from _across(part, chart, part.value("voltage"))
        case "pot" | "switch" | "plug" | "jack":
            yield from _across(part, chart, part.value("voltage"))


def _across(part: Part, chart: Chart, rating: float | None) -> Iterator[Load]:
    at = {row.node: row.volts for row in chart.nodes}
    there = [at[node] for _, node in part.pins if node in at]
    if len(there) > 1:
        yield Load("across it, DC", max(there) - min(there), "V", rating)


def _tube(part: Part, chart: Chart) -> Iterator[Load]:
    for one in chart.tubes:
        if one.part != part.name:
            continue
        unit = f" {one.unit}" if one.unit else ""
        yield Load(f"plate{unit} takes", one.plate_watts, "W", one.plate_watts_rating)
        yield Load(f"plate{unit} stands at", one.plate_volts, "V", one.plate_volts_rating)
        if one.screen_watts is not None and one.screen_volts is not None:
            yield Load(f"screen{unit} takes", one.screen_watts, "W", one.screen_watts_rating)
            yield Load(f"screen{unit} stands at", one.screen_volts, "V", one.screen_volts_rating)
    rows = [row for row in chart.rectifiers if row.part == part.name]
    tube = library.find(part.type)
    if rows and tube is not None:
        rated = {name: figure.value for name, figure in tube.ratings.items()}
        yield Load("gives", sum(row.mean_amps for row in rows), "A", rated.get("dc_amps"))
        yield Load("peaks at", max(row.peak_amps for row in rows), "A", rated.get("peak_amps"))
        yield Load(
            "inverse", max(row.inverse_volts for row in rows), "V", rated.get("inverse_volts")
        )


def _wound(part: Part, side: Side, chart: Chart) -> Iterator[Load]:
    rows = [row for row in chart.windings if row.part == part.name]
    stated = dict(part.windings)
    for row in rows:
        values = stated.get(row.winding, part.values if part.kind == "choke" else ())
        rating = next((value.amount for value in values if value.dimension == "current"), None)
        yield Load(f"{row.winding} carries".strip(), row.rms_amps, "A", rating)
    if part.kind in ("transformer", "autotransformer"):
        drawn = [row.volt_amps for row in rows if row.winding.startswith("primary")]
        if drawn:
            yield Load("primary takes", sum(drawn), "VA", part.value("apparent-power"))
    if part.kind == "output transformer" and side.signal is not None:
        yield Load("where it clips", side.signal.full.watts, "W", part.value("power"))


def why_rating(part: Part, side: Side) -> str:
    """Return why a part has its rating: what it stands against it."""
    return "; ".join(load.words for load in loads(part, side))


@dataclass(frozen=True, slots=True)
class Grown:
    """One thing that a kept part stands more of than before, or whose before is not known (then
    ``before`` is None).
    """

    part: str
    load: Load
    before: float | None


def grown(old: Part, part: Part, before: Side, after: Side) -> tuple[Grown, ...]:
    """Return what of a part kept, as it was and as it is, has grown; every rated figure where
    nothing was computed before.
    """
    now = loads(part, after)
    if before.chart is None:
        return tuple(Grown(part.name, load, None) for load in now if load.rating)
    was = {load.what: load.amount for load in _all(old, before)}
    return tuple(
        Grown(part.name, load, was.get(load.what, 0.0))
        for load in now
        if load.amount > (1 + MORE) * was.get(load.what, 0.0)
        and load.amount - was.get(load.what, 0.0) >= _LEAST[load.unit]
    )

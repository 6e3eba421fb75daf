"""The computed stress of each part beside its rating, and which retained parts have more of it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from rework.circuit.parts import Part
from rework.papers.numbers import Side
from rework.report.figures import share, shown
from rework.solve.chart import Chart

#: A retained part is listed where a stress of it has grown by more than this share.
MORE = 0.05
#: Volts, amps and watts below these are nothing to a part.
_LEAST = {"V": 2.0, "A": 1e-4, "W": 0.01, "VA": 0.1}


@dataclass(frozen=True, slots=True)
class StressRow:
    """One stress of a part: ``what`` in words, the amount and its unit, and the rating (None where
    the netlist gives none). ``key`` says which stress it is, whatever it is called.
    """

    key: tuple[str, str]
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


def loads(part: Part, side: Side) -> tuple[StressRow, ...]:
    """Return the stresses of a part in a circuit, of each unit the one nearest to its rating, rated
    first; empty where there are no numbers.
    """
    by_unit: dict[str, StressRow] = {}
    for load in _all(part, side):
        worse = by_unit.get(load.unit)
        if worse is None or _nearness(load) > _nearness(worse):
            by_unit[load.unit] = load
    stress_rows = [load for load in by_unit.values() if load.amount >= _LEAST[load.unit]]
    return tuple([load for load in stress_rows if load.rating] or stress_rows)


def _nearness(load: StressRow) -> tuple[bool, float]:
    # Rounded: which of two equal halves of a track comes first is not left to the last digit.
    return bool(load.rating), float(f"{load.amount / (load.rating or 1.0):.6g}")


def _all(part: Part, side: Side) -> list[StressRow]:
    if side.chart is None or part.is_conductor:
        return []
    return [*_held(part, side.chart), *_beside(part, side, side.chart)]


#: What a stress is called on paper, by its key.
_CALLED = {
    "plate_watts": "plate{of} dissipates",
    "plate_volts": "plate{of}",
    "screen_watts": "screen{of} dissipates",
    "screen_volts": "screen{of}",
    "dc_amps": "mean",
    "peak_amps": "peaks at",
    "inverse_volts": "inverse",
    "watts": "dissipates{of}",
    "volts": "peak",
    "cold_volts": "at switch-on",
    "ripple_amps": "ripple",
    "amps": "{of} carries",
    "volt_amperes": "primary takes",
}
#: Stresses of these kinds go by another word.
_CALLED_OF = {
    ("tube", "dc_amps"): "supplies",
    ("choke", "dc_amps"): "carries",
    ("lamp", "volts"): "has",
    ("pot", "amps"): "track{of} carries",
    ("motor", "volts"): "has",
    ("resistor", "volts"): "across it",
}


def _held(part: Part, chart: Chart) -> Iterator[StressRow]:
    """Yield the stresses that the chart has."""
    for stress in chart.stresses:
        called = _CALLED_OF.get((stress.kind, stress.key)) or _CALLED.get(stress.key)
        if stress.part == part.name and called is not None and stress.kind != "speaker":
            of = f" {stress.of}" if stress.of else ""
            what = called.format(of=of).strip()
            yield StressRow(
                (stress.key, stress.of), what, stress.amount, stress.unit, stress.rating
            )


def _beside(part: Part, side: Side, chart: Chart) -> Iterator[StressRow]:
    """Yield those that the chart does not have."""
    match part.kind:
        case "fuse":
            yield StressRow(
                ("line_amps", ""), "carries", chart.line_amps, "A", part.value("current")
            )
        case "speaker" | "dummy load" | "output transformer" if side.signal is not None:
            yield StressRow(
                ("clip_watts", ""),
                "where it clips",
                side.signal.full.watts,
                "W",
                part.value("power"),
            )
        case "resistor" | "thermistor" | "connector" | "pot" | "switch" | "plug" | "jack":
            yield from _across(part, chart, part.value("voltage"))


def _across(part: Part, chart: Chart, rating: float | None) -> Iterator[StressRow]:
    at = {row.node: row.volts for row in chart.nodes}
    there = [at[node] for _, node in part.pins if node in at]
    if len(there) > 1:
        yield StressRow(("across", ""), "across it, DC", max(there) - min(there), "V", rating)


def why_rating(part: Part, side: Side) -> str:
    """Return the stresses of a part beside their ratings, as one phrase."""
    return "; ".join(load.words for load in loads(part, side))


@dataclass(frozen=True, slots=True)
class Grown:
    """A stress of a retained part that has grown, or whose amount before is not known (None)."""

    part: str
    load: StressRow
    before: float | None


def grown(old: Part, part: Part, before: Side, after: Side) -> tuple[Grown, ...]:
    """Return what of a part kept, as it was and as it is, has grown; every rated figure where
    nothing was computed before.
    """
    now = loads(part, after)
    if before.chart is None:
        return tuple(Grown(part.name, load, None) for load in now if load.rating)
    was = {load.key: load.amount for load in _all(old, before)}
    return tuple(
        Grown(part.name, load, was.get(load.key, 0.0))
        for load in now
        if load.amount > (1 + MORE) * was.get(load.key, 0.0)
        and load.amount - was.get(load.key, 0.0) >= _LEAST[load.unit]
    )

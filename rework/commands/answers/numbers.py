"""The answers of ``volts``, ``ohms``, ``signal`` and ``fit-tube``."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from typing import TypeVar

from rework.commands.answers.shape import Sides, Trouble, extended, shaped
from rework.commands.subject import SolvedSide, Unsolved
from rework.report.problems import problems_json
from rework.solve.chart import Chart
from rework.solve.fit import Fit
from rework.solve.ohms import OhmsReading
from rework.solve.response import FREQUENCIES
from rework.solve.rows import Miss
from rework.solve.signal import Signal
from rework.solve.stress_words import stress_words

__all__ = ["FitAnswer", "OhmsReading", "ResponseAnswer", "Sides", "Volts"]
Result = TypeVar("Result")
Side = TypeVar("Side")


@dataclass(frozen=True, slots=True)
class Volts(Chart):
    """The voltage chart; ``unrated`` are parts whose ratings are not known, ``flags`` sentences on
    what is over or close to its rating.
    """

    unrated: tuple[str, ...] = ()
    flags: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ResponseAnswer(Signal):
    """What the amplifier does with a signal, and the hertz that its gains belong to."""

    hertz: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Missed:
    """A printed figure beside the computed one; ``error`` is the relative difference."""

    row: int
    figure: str
    printed: float
    computed: float
    grade: str
    error: float


@dataclass(frozen=True, slots=True)
class FitAnswer:
    """A law with its constants, the rows it was fitted to, and how it meets them."""

    unit: str
    law: str
    constants: dict[str, float]
    rows_of: str
    misses: tuple[Missed, ...]
    foretold_from_row_1: tuple[Missed, ...]


def sides(
    results: Mapping[str, SolvedSide[Result] | Unsolved], of: Callable[[Result], Side]
) -> Sides[Side]:
    """Return the answer of each side that has numbers, and the problems of one that has none."""
    solved = {key: of(side.result) for key, side in results.items() if isinstance(side, SolvedSide)}
    unsolved = {
        key: tuple(shaped(problem, Trouble) for problem in problems_json(side.problems))
        for key, side in results.items()
        if isinstance(side, Unsolved)
    }
    return Sides(**solved, unsolved=unsolved)


def volts_answer(chart: Chart) -> Volts:
    """Return the answer of one chart."""
    return extended(
        chart,
        Volts,
        unrated=tuple(dict.fromkeys(stress.part for stress in chart.without_rating)),
        flags=tuple(map(stress_words, chart.flagged)),
    )


def signal_answer(signal: Signal) -> ResponseAnswer:
    """Return the answer of one signal."""
    return extended(signal, ResponseAnswer, hertz=tuple(float(f"{at:.5g}") for at in FREQUENCIES))


def fitted_answer(fit: Fit, foretold: tuple[Miss, ...]) -> FitAnswer:
    """Return the answer of one unit's fit."""
    return FitAnswer(
        fit.unit,
        type(fit.law).__name__,
        asdict(fit.law),
        fit.type,
        tuple(shaped(miss, Missed) for miss in fit.misses),
        tuple(shaped(miss, Missed) for miss in foretold),
    )

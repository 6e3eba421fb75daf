"""Device laws fitted to the printed rows of the tube library by one procedure for all types, and
how well they meet them.

Triode: offset from gm/Ip, mu and perveance from the first row, then least squares over every row
and curve point. Pentode: the same, with the screen's share from Is, the slope from rp and the knee
from the printed watts, and points of curves and of push-pull rows seen in print for what is near
cut-off. What the rows leave open is held near a prior that is the same for every tube: exponent 1.4
(Koren 1996 takes 1.3 to 1.4), knee 9 volts of Vp b for each volt of Vs (between the 8.5 and 10.3 of
two sheets), as much of one form of knee as of the other, offset 0.6 V.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from functools import cache
from math import exp, log
from pathlib import Path
from typing import Any

import numpy as np

from rework.solve.arrays import Floats
from rework.solve.devices import ROW_OVER_SOFTNESS, Pentode, Rectifier, Triode
from rework.solve.rows import (
    Miss,
    answers,
    bias_of,
    compare,
    idle_pairs,
    rows_for,
    screened,
    units_of,
)
from rework.tubes import library
from rework.tubes.tubetype import PrintedRow, TubeType

DATA = Path(__file__).parent / "data" / "fits.json"
EXPONENT, OFFSET, KNEE_VOLTS, SHARPNESS = 1.4, 0.6, 0.15, 9.0
#: Limits of the exponent of a fit.
LEAST_EXPONENT, MOST_EXPONENT = 1.1, 1.8
#: A printed curve is read to this share of its largest current (own choice, no source).
READ_SHARE = 0.003
#: Rounds of the least squares at most.
ROUNDS = 60
#: The laws by the names they are kept under.
LAWS: dict[str, type[Triode | Pentode | Rectifier]] = {
    "triode": Triode,
    "pentode": Pentode,
    "rectifier": Rectifier,
}


class NoData(ValueError):
    """A tube whose rows do not suffice for a model; the message says what it lacks."""


@dataclass(frozen=True, slots=True)
class Fit:
    """A law, the type whose rows it was fitted to, and every figure of those rows beside the law's
    own.
    """

    law: Triode | Pentode | Rectifier
    type: str
    unit: str
    misses: tuple[Miss, ...]

    def worst(self, figure: str) -> float | None:
        """Return the largest relative error in one figure, or None where no row prints it."""
        return max((abs(m.error) for m in self.misses if m.figure == figure), default=None)


def fit(
    tube: TubeType,
    unit: str = "",
    *,
    rows: Sequence[PrintedRow] | None = None,
    without: PrintedRow | None = None,
    step: Callable[[int], None] | None = None,
) -> Fit:
    """Return the law of one unit of a tube fitted to its rows, and to what is printed of it between
    them: points of its curves, and of a pentode the idle currents of push-pull rows seen in print.
    Where ``rows`` are given they are all; a push-pull row ``without`` which it is to be fitted is
    left out.

    Raises NoData where they do not suffice.

    ``step`` is called with 1 after each round of the least squares, at most ``ROUNDS`` times.
    """
    if tube.has_rectifier_unit and not tube.pins_of("grid"):
        return _fit_rectifier(tube)
    origin, printed = rows_for(tube, unit)
    chosen = tuple(rows) if rows is not None else printed
    if not chosen:
        raise NoData(
            f"the library has no row of {tube.type}{' ' + unit if unit else ''} with plate volts,"
            " plate current, transconductance and bias, so it has no numbers"
        )
    law: Triode | Pentode
    if screened(tube, unit):
        if not all("screen_volts" in row and "screen_amps" in row for row in chosen[:1]):
            raise NoData(f"the rows of {tube.type} print no screen current, so it has no numbers")
        points = screen_points(origin, unit, without) if rows is None else []
        law = _fit_pentode(
            [row for row in chosen if "screen_volts" in row and "screen_amps" in row], points, step
        )
    else:
        law = _fit_triode(chosen, curve_points(origin) if rows is None else [], step)
    misses = (miss for n, row in enumerate(chosen, 1) for miss in compare(law, row, n))
    return Fit(law, origin, unit, tuple(misses))


def curve_points(type_: str) -> list[tuple[float, ...]]:
    """Return the points of a type's plate curves: plate volts, grid volts, plate amps."""
    tube = library.find(type_)
    return [
        point
        for curve in (tube.curves if tube is not None else ())
        if curve.columns == ("plate_volts", "grid_volts", "plate_amps")
        for point in curve.points
    ]


def screen_points(type_: str, unit: str, without: PrintedRow | None) -> list[tuple[float, ...]]:
    """Return what is printed of a pentode's plate current between its rows: volts of plate, screen
    and grid, amps, and the residual's spread in amps.

    A curve is read to a twentieth and a part of its scale; all its points weigh as one.
    """
    tube = library.find(type_)
    if tube is None:
        return []
    curves = [
        (vp, curve.fixed["screen_volts"].value, vg, amps)
        for curve in tube.curves
        if curve.columns == ("plate_volts", "grid_volts", "plate_amps")
        and "screen_volts" in curve.fixed
        for vp, vg, amps in curve.points
    ]
    scale = max((amps for *_, amps in curves), default=0.0)
    weight = len(curves) ** 0.5
    points: list[tuple[float, ...]] = [
        (*point, weight * (0.05 * point[-1] + READ_SHARE * scale)) for point in curves
    ]
    points += [
        (*idle.volts, idle.amps, 0.02 * idle.amps)
        for idle in idle_pairs(tube, unit)
        if idle.row is not without and idle.row.grade == "seen"
    ]
    return points


def foretold(tube: TubeType, unit: str = "") -> tuple[Miss, ...]:
    """Return the figures of every row but the first beside those of a law fitted to the first
    alone; empty with fewer than two rows.
    """
    if tube.has_rectifier_unit and not tube.pins_of("grid"):
        return ()
    rows = rows_for(tube, unit)[1]
    if len(rows) < 2:
        return ()
    law = fit(tube, unit, rows=rows[:1]).law
    return tuple(
        miss
        for number, row in enumerate(rows[1:], 2)
        if not isinstance(law, Pentode) or "screen_volts" in row
        for miss in compare(law, row, number)
    )


def _fit_rectifier(tube: TubeType) -> Fit:
    """Return the three-halves law through a printed curve, or through a printed drop."""

    def miss(law: Rectifier, number: int, volts: float, amps: float, grade: str) -> Miss:
        computed = float(law.currents(np.array([volts]))[0][0])
        return Miss(number, "plate_amps", amps, computed, grade)

    for curve in tube.curves:
        if curve.columns == ("drop_volts", "plate_amps"):
            volts, amps = np.array(curve.points).T
            slope, start = np.polyfit(volts, amps ** (2 / 3), 1, w=amps ** (1 / 3))
            law = Rectifier(float(slope**1.5), float(-start / slope))
            points = zip(volts.tolist(), amps.tolist(), strict=True)
            misses = (miss(law, n, v, i, curve.grade) for n, (v, i) in enumerate(points, 1))
            return Fit(law, tube.type, "", tuple(misses))
    drop, at = tube.ratings.get("tube_drop_volts"), tube.ratings.get("tube_drop_amps")
    if drop is None or at is None:
        raise NoData(
            f"the library has no voltage drop of {tube.type} at a known current, so it has no"
            " numbers"
        )
    law = Rectifier(at.value / drop.value**1.5)
    return Fit(law, tube.type, "", (miss(law, 1, drop.value, at.value, at.grade),))


def _triode_start(first: PrintedRow) -> tuple[Floats, float]:
    """Return the parameters that meet a triode's first row, shape (6,), and its rounding at
    cut-off in volts.
    """
    amps, gm, vp = (first[name].value for name in ("plate_amps", "gm_siemens", "plate_volts"))
    drive = EXPONENT * amps / gm
    if "mu" in first:
        mu = first["mu"].value
    elif "rp_ohms" in first:
        mu = gm * first["rp_ohms"].value
    else:
        mu = vp / max(drive - bias_of(first) - OFFSET, 1e-3)
    width = drive / ROW_OVER_SOFTNESS
    start: Floats = np.array(
        [
            log(amps / drive**EXPONENT),
            log(mu),
            drive - vp / mu - bias_of(first),
            EXPONENT,
            log(KNEE_VOLTS * mu),
            log(width / vp),
        ]
    )
    return start, width


def _fit_triode(
    rows: Sequence[PrintedRow],
    points: Sequence[tuple[float, ...]],
    step: Callable[[int], None] | None,
) -> Triode:
    start, width = _triode_start(rows[0])
    spots = np.array(points).reshape(-1, 3)

    def law_of(p: Floats) -> Triode:
        perveance, mu, offset, exponent, knee, widening = p.tolist()
        return Triode(
            exp(perveance), exp(mu), offset, exponent, width / 4, exp(widening), exp(knee)
        )

    def residuals(p: Floats) -> Floats:
        law = law_of(p)
        out = [
            (p[3] - EXPONENT) / 0.05,
            (p[4] - start[4]) / 0.7,
            (p[1] - start[1]) / 0.05,
            (p[5] - start[5]) / 0.7,
        ]
        for row in rows:
            got = answers(law, row)
            out += [
                _off(row, got, "plate_amps", 0.02),
                _off(row, got, "gm_siemens", 0.04),
                _off(row, got, "mu", 0.05),
                _off(row, got, "rp_ohms", 0.1),
            ]
        if len(spots):
            amps = law.currents(spots[:, :2])[0][:, 0]
            out += list((amps - spots[:, 2]) / (0.05 * spots[:, 2] + 7e-5) / len(spots) ** 0.5)
        return np.array(out)

    return law_of(_least(residuals, start, step))


def _pentode_start(rows: Sequence[PrintedRow]) -> tuple[Floats, float]:
    """Return the parameters that meet a pentode's first row, shape (8,), and its rounding at
    cut-off in volts; the screen's mu and the plate resistance may be of a later row.
    """
    first = rows[0]
    vp, vs, vg = first["plate_volts"].value, first["screen_volts"].value, bias_of(first)
    amps, screen, gm = (first[name].value for name in ("plate_amps", "screen_amps", "gm_siemens"))
    drive = EXPONENT * amps / gm
    mu = _printed_mu(rows) or vs / max(drive - vg - OFFSET, 1e-3)
    rp = next((row["rp_ohms"].value for row in rows if "rp_ohms" in row), 20 * vp / amps)
    share = screen / (amps + screen)
    slope = min(1 / (rp * (amps + screen)), 0.3 / vp)
    width = drive / ROW_OVER_SOFTNESS
    start: Floats = np.array(
        [
            log((amps + screen) / (1 + slope * vp) / drive**EXPONENT),
            log(mu),
            drive - vs / mu - vg,
            EXPONENT,
            log(share / (1 - share)),
            log(slope),
            log(SHARPNESS / vs),
            0.0,
        ]
    )
    return start, width


def _printed_mu(rows: Sequence[PrintedRow]) -> float | None:
    """Return the amplification factor from grid to screen, None where no row prints it."""
    return next((row["mu_screen"].value for row in rows if "mu_screen" in row), None)


def _fit_pentode(
    rows: Sequence[PrintedRow],
    points: Sequence[tuple[float, ...]],
    step: Callable[[int], None] | None,
) -> Pentode:
    """Return the law; its rounding at cut-off is fitted only where there are points, which alone
    tell it.
    """
    start, width = _pentode_start(rows)
    start = np.append(start, log(width)) if points else start
    mu_spread = 0.03 if _printed_mu(rows) else 0.3
    spots = np.array(points).reshape(-1, 5)

    def law_of(p: Floats) -> Pentode:
        perveance, mu, offset, exponent, share, slope, sharpness, tail = p[:8].tolist()
        return Pentode(
            exp(perveance),
            exp(mu),
            offset,
            exponent,
            exp(p[8]) if points else width,
            1 / (1 + exp(-share)),
            exp(slope),
            exp(sharpness),
            1 / (1 + exp(-tail)),
        )

    def residuals(p: Floats) -> Floats:
        law = law_of(p)
        out = [
            (p[3] - EXPONENT) / 0.05,
            (p[6] - start[6]) / 0.5,
            (p[5] - start[5]) / 0.5,
            (p[1] - start[1]) / mu_spread,
            (p[2] - OFFSET) / 1.0,
            p[7] / 1.5,
        ]
        for row in rows:
            got = answers(law, row)
            out += [
                _off(row, got, "plate_amps", 0.02),
                _off(row, got, "gm_siemens", 0.04),
                _off(row, got, "screen_amps", 0.05),
                _off(row, got, "rp_ohms", 0.3),
                _off(row, got, "watts", 0.07),
                _off(row, got, "screen_amps_full_signal", 0.2),
            ]
        if points:
            amps = law.currents(spots[:, :3])[0][:, 0]
            out += [(p[8] - start[8]) / 0.7, *((amps - spots[:, 3]) / spots[:, 4])]
        return np.array(out)

    return law_of(_least(residuals, start, step))


def _off(row: PrintedRow, got: dict[str, float], name: str, spread: float) -> float:
    if name not in row or name not in got:
        return 0.0
    return log(max(got[name], 1e-12) / row[name].value) / spread


def _least(
    residuals: Callable[[Floats], Floats], start: Floats, step: Callable[[int], None] | None
) -> Floats:
    """Return the parameters of least squares, the fourth (an exponent) within its limits."""
    # here, since it takes as long to load as all else, and the fits of the library are kept
    from scipy.optimize import least_squares

    low, high = np.full((2, len(start)), np.inf)
    low *= -1
    low[3], high[3] = LEAST_EXPONENT, MOST_EXPONENT

    def progress(_: object) -> None:
        if step:
            step(1)

    result: Floats = least_squares(
        residuals,
        start,
        bounds=(low, high),
        x_scale="jac",
        ftol=1e-10,
        xtol=1e-10,
        max_nfev=ROUNDS,
        callback=progress,
    ).x
    return result


@cache
def fitted(type_: str, unit: str = "") -> Fit:
    """Return the kept fit of one unit of a type.

    Raises NoData where the library has no rows for it or no such type.
    """
    tube = library.find(type_)
    if tube is None:
        raise NoData(f"{type_} is not in the tube library, so it has no numbers")
    kept = _kept().get(tube.type, {}).get(unit)
    if kept is None:
        return fit(tube, unit)
    law = LAWS[kept["law"]](**kept["with"])
    return Fit(law, kept["rows_of"], unit, tuple(Miss(*miss) for miss in kept["misses"]))


@cache
def _kept() -> dict[str, dict[str, dict[str, Any]]]:
    kept: dict[str, dict[str, dict[str, Any]]] = json.loads(DATA.read_text(encoding="utf-8"))
    return kept


def fit_all() -> dict[str, dict[str, dict[str, Any]]]:
    """Return every fit of the library as plain values, the form in which they are kept."""
    kept: dict[str, dict[str, dict[str, Any]]] = {}
    for name in library.types():
        tube = library.find(name)
        if tube is None:
            continue
        for unit in units_of(tube):
            try:
                new = fit(tube, unit)
            except NoData:
                continue
            kept.setdefault(tube.type, {})[unit] = {
                "law": type(new.law).__name__.lower(),
                "with": {key: float(f"{value:.7g}") for key, value in asdict(new.law).items()},
                "rows_of": new.type,
                "misses": [
                    [m.row, m.figure, m.printed, float(f"{m.computed:.5g}"), m.grade]
                    for m in new.misses
                ],
            }
    return kept


def keep() -> None:
    """Fit the whole library afresh and write the kept fits: to be run after a row was added or the
    procedure changed.
    """
    DATA.write_text(json.dumps(fit_all(), indent=1, sort_keys=True) + "\n", encoding="utf-8")

"""Device laws fitted to the printed rows of the tube library by one procedure for all types, and
how well they meet them.

Triode: offset from gm/Ip, mu and perveance from the first row, then least squares over every row
and curve point. Pentode: the same, with the screen's share from Is, the slope from rp and the knee
from the printed watts. What the rows leave open is held near a prior that is the same for every
tube: exponent 1.4 (Koren 1996 takes 1.3 to 1.4), knee 9 volts of Vp b for each volt of Vs (between
the 8.5 and 10.3 of two sheets), as much of one form of knee as of the other, offset 0.6 V.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from functools import cache
from math import exp, log
from pathlib import Path

from rework.solve.devices import GERMANIUM, ROW_OVER_SOFTNESS, Pentode, Rectifier, Triode
from rework.tubes import library
from rework.tubes.figure import Figure
from rework.tubes.tubetype import Row, TubeType

DATA = Path(__file__).parent / "data" / "fits.json"
EXPONENT, OFFSET, KNEE_VOLTS, SHARPNESS = 1.4, 0.6, 0.15, 9.0
#: Rounds of the least squares at most.
ROUNDS = 60
_NEEDED = ("plate_volts", "plate_amps", "gm_siemens")


class NoData(ValueError):
    """A tube whose rows do not suffice for a model; the message names the type and what is missing."""


@dataclass(frozen=True, slots=True)
class Miss:
    """One printed figure beside what the law gives: ``row`` counts from 1, ``figure`` is the row's
    own name for it.
    """

    row: int
    figure: str
    printed: float
    computed: float
    grade: str

    @property
    def error(self) -> float:
        """The relative error, computed over printed less one."""
        return self.computed / self.printed - 1


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
        found = [abs(miss.error) for miss in self.misses if miss.figure == figure]
        return max(found, default=None)


def rows_for(tube: TubeType, unit: str) -> tuple[str, tuple[Row, ...]]:
    """Return the rows of one unit that a law can be fitted to, and the type that prints them: the
    tube's own or a relative's.
    """
    for one in (
        tube,
        *(library.find(kin.type) for kin in tube.relatives if kin.how == "same curves"),
    ):
        if one is None:
            continue
        rows = tuple(
            row
            for row in map(_completed, one.typical)
            if all(name in row for name in _NEEDED)
            and ("grid_volts" in row or "cathode_ohms" in row)
            and _is_for(row, unit, one)
        )
        if rows:
            return one.type, tuple(sorted(rows, key=_order))
    return tube.type, ()


def _completed(row: Row) -> Row:
    """Return a row that states a stage with what follows from it: plate volts left by the load, and
    mu over rp where gm is not printed.
    """
    figures = dict(row.figures)

    def add(name: str, unit: str, value: float) -> None:
        figures.setdefault(name, Figure(value, unit, row.source, "derived"))

    if {"supply_volts", "plate_load_ohms", "plate_amps"} <= figures.keys():
        load = figures["plate_load_ohms"].value + (
            figures["cathode_ohms"].value if "cathode_ohms" in figures else 0.0
        )
        add("plate_volts", "V", figures["supply_volts"].value - load * figures["plate_amps"].value)
    if {"mu", "rp_ohms"} <= figures.keys():
        add("gm_siemens", "S", figures["mu"].value / figures["rp_ohms"].value)
    return Row(row.use, row.unit, figures, row.source, row.grade, row.note)


def _is_for(row: Row, unit: str, tube: TubeType) -> bool:
    if unit.startswith("triode"):
        return row.unit in (unit, "triode", "") and "screen_volts" not in row
    return row.unit in (unit, "")


def _order(row: Row) -> tuple[bool, int]:
    """Seen rows first; among them those that print most."""
    return (row.grade != "seen", -len(tuple(row)))


def screened(tube: TubeType, unit: str = "") -> bool:
    """Return whether a unit has a screen."""
    return bool(tube.pins_of(f"{unit}.screen" if unit else "screen"))


def fit(
    tube: TubeType,
    unit: str = "",
    *,
    rows: Sequence[Row] | None = None,
    step: Callable[[int], None] | None = None,
) -> Fit:
    """Return the law of one unit of a tube fitted to its rows.

    Raises NoData where they do not suffice.

    ``step`` is called with 1 after each round of the least squares, at most ``ROUNDS`` times.
    """
    if tube.has_rectifier_unit and not tube.pins_of("grid"):
        return _fit_rectifier(tube)
    origin, found = rows_for(tube, unit)
    found = tuple(rows) if rows is not None else found
    if not found:
        raise NoData(
            f"the library has no row of {tube.type}{' ' + unit if unit else ''} with plate volts,"
            " plate current, transconductance and bias, so it has no numbers"
        )
    if screened(tube, unit):
        if not all("screen_volts" in row and "screen_amps" in row for row in found[:1]):
            raise NoData(f"the rows of {tube.type} print no screen current, so it has no numbers")
        law = _fit_pentode(
            [row for row in found if "screen_volts" in row and "screen_amps" in row], step
        )
    else:
        curves = (
            []
            if rows is not None
            else [
                point
                for curve in (tube if origin == tube.type else library.find(origin)).curves
                if curve.columns == ("plate_volts", "grid_volts", "plate_amps")
                for point in curve.points
            ]
        )
        law = _fit_triode(found, curves, step)
    return Fit(
        law,
        origin,
        unit,
        tuple(miss for n, row in enumerate(found, 1) for miss in compare(law, row, n)),
    )


def foretold(tube: TubeType, unit: str = "") -> tuple[Miss, ...]:
    """Return the figures of every row but the first beside those of a law fitted to the first
    alone; empty with fewer than two rows.
    """
    rows = (
        rows_for(tube, unit)[1]
        if not (tube.has_rectifier_unit and not tube.pins_of("grid"))
        else ()
    )
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
    import numpy as np

    for curve in tube.curves:
        if curve.columns == ("drop_volts", "plate_amps"):
            volts, amps = np.array(curve.points).T
            root = amps ** (2 / 3)
            slope, start = np.polyfit(volts, root, 1, w=amps ** (1 / 3))
            law = Rectifier(float(slope**1.5), float(-start / slope))
            misses = tuple(
                Miss(n, "plate_amps", i, float(law.currents(np.array([v]))[0][0]), curve.grade)
                for n, (v, i) in enumerate(curve.points, 1)
            )
            return Fit(law, tube.type, "", misses)
    volts, amps = tube.ratings.get("tube_drop_volts"), tube.ratings.get("tube_drop_amps")
    if volts is None or amps is None:
        raise NoData(
            f"the library has no voltage drop of {tube.type} at a known current, so it has no"
            " numbers"
        )
    law = Rectifier(amps.value / volts.value**1.5)
    return Fit(
        law,
        tube.type,
        "",
        (
            Miss(
                1,
                "plate_amps",
                amps.value,
                float(law.currents(np.array([volts.value]))[0][0]),
                amps.grade,
            ),
        ),
    )


def bias_of(row: Row) -> float:
    """Return the grid volts of a row: printed, or the drop of its currents in its cathode resistor."""
    if "grid_volts" in row:
        return row["grid_volts"].value
    amps = row["plate_amps"].value + (row["screen_amps"].value if "screen_amps" in row else 0.0)
    return -row["cathode_ohms"].value * amps


def compare(law, row: Row, number: int = 1) -> tuple[Miss, ...]:
    """Return every figure of a row that the law can answer, beside its answer."""
    return tuple(
        Miss(number, name, row[name].value, value, row[name].grade)
        for name, value in answers(law, row).items()
        if name in row
    )


def answers(law, row: Row) -> dict[str, float]:
    """Return what the law gives at a row's volts: amps, siemens, ohms, and watts and distortion
    into a printed load.
    """
    import numpy as np

    vp, vg = row["plate_volts"].value, bias_of(row)
    if isinstance(law, Pentode):
        vs = row["screen_volts"].value
        out, jac = law.currents(np.array([vp, vs, vg]))
        found = {
            "plate_amps": out[0],
            "screen_amps": out[1],
            "gm_siemens": jac[0, 2],
            "rp_ohms": 1 / max(jac[0, 0], 1e-12),
        }
        if "load_ohms" in row and "watts" in row:
            drive = row["drive_rms_volts"].value * 2**0.5 if "drive_rms_volts" in row else -vg
            printed = (
                row["distortion"].value
                if "distortion" in row and "drive_rms_volts" not in row
                else None
            )
            found |= class_a(law, vp, vs, vg, row["load_ohms"].value, drive, distortion=printed)
    else:
        out, jac = law.currents(np.array([vp, vg]))
        found = {
            "plate_amps": out[0],
            "gm_siemens": jac[0, 1],
            "rp_ohms": 1 / max(jac[0, 0], 1e-12),
            "mu": jac[0, 1] / max(jac[0, 0], 1e-12),
        }
    return {name: float(value) for name, value in found.items()}


def class_a(
    law: Pentode,
    vp: float,
    vs: float,
    vg: float,
    load: float,
    drive: float,
    *,
    distortion: float | None = None,
) -> dict[str, float]:
    """Return watts, distortion and the full-signal currents of a single output stage at a sine of
    ``drive`` volts peak.

    The load is seen through an ideal transformer, so that the mean plate voltage stays where it is.
    Where a printed ``distortion`` is passed before the full drive, the drive at which it is reached
    counts.
    """
    import numpy as np

    angle = 2 * np.pi * (np.arange(48) + 0.5) / 48
    drives = drive * np.linspace(0.3, 1, 11)[:, None] if distortion else np.array([[drive]])
    volts = np.empty((len(drives), 48, 3))
    volts[..., 1], volts[..., 2] = vs, vg + drives * np.cos(angle)
    plate = np.full(volts.shape[:2], vp)
    for _ in range(30):
        volts[..., 0] = plate
        out, jac = law.currents(volts)
        wrong = out[..., 0] + (plate - vp) / load - out[..., 0].mean(-1, keepdims=True)
        own = jac[..., 0, 0]
        plain, unit = wrong / (own + 1 / load), 1 / (own + 1 / load)
        step = plain + unit * (own * plain).mean(-1, keepdims=True) / (
            1 - (own * unit).mean(-1, keepdims=True)
        )
        moved = np.minimum(plate - step, plate + vp / 2)
        plate = np.where(
            moved > 0, moved, plate / 2
        )  # past the knee Newton would run off to where no current flows
        if np.abs(step).max() < 1e-5:
            break
    size = np.abs(np.fft.rfft(out[..., 0]))[:, 1:12]
    bent = np.sqrt((size[:, 1:] ** 2).sum(-1)) / size[:, 0]
    found = np.stack(
        [out[..., 0].var(-1) * load, bent, out[..., 0].mean(-1), out[..., 1].mean(-1)], -1
    )
    at = 1.0 * (len(drives) - 1)
    past = np.nonzero(bent > distortion)[0] if distortion else ()
    if len(past):
        at = (
            max(
                0.0,
                past[0]
                - 1
                + (distortion - bent[past[0] - 1]) / (bent[past[0]] - bent[past[0] - 1]),
            )
            if past[0]
            else 0.0
        )
    low = min(int(at), max(len(drives) - 2, 0))
    high = min(low + 1, len(drives) - 1)
    value = found[low] + (at - low) * (found[high] - found[low])
    return dict(
        zip(
            ("watts", "distortion", "plate_amps_full_signal", "screen_amps_full_signal"),
            map(float, value),
            strict=True,
        )
    )


def _fit_triode(rows: Sequence[Row], points, step) -> Triode:
    import numpy as np

    first = rows[0]
    amps, gm = first["plate_amps"].value, first["gm_siemens"].value
    mu = (
        first["mu"].value
        if "mu" in first
        else gm * first["rp_ohms"].value
        if "rp_ohms" in first
        else None
    )
    drive = EXPONENT * amps / gm
    if mu is None:
        mu = first["plate_volts"].value / max(drive - bias_of(first) - OFFSET, 1e-3)
    offset = drive - first["plate_volts"].value / mu - bias_of(first)
    width = drive / ROW_OVER_SOFTNESS
    start = np.array(
        [
            log(amps / drive**EXPONENT),
            log(mu),
            offset,
            EXPONENT,
            log(KNEE_VOLTS * mu),
            log(width / first["plate_volts"].value),
        ]
    )

    def made(p) -> Triode:
        return Triode(
            exp(p[0]), exp(p[1]), p[2], min(max(p[3], 1.1), 1.8), width / 4, exp(p[5]), exp(p[4])
        )

    spots = np.array(points).reshape(-1, 3)

    def wrong(p):
        law = made(p)
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

    return made(_least(wrong, start, step))


def _fit_pentode(rows: Sequence[Row], step) -> Pentode:
    import numpy as np

    first = rows[0]
    vp, vs, vg = first["plate_volts"].value, first["screen_volts"].value, bias_of(first)
    amps, screen, gm = (
        first["plate_amps"].value,
        first["screen_amps"].value,
        first["gm_siemens"].value,
    )
    drive = EXPONENT * amps / gm
    mu = next((row["mu_screen"].value for row in rows if "mu_screen" in row), None)
    known = mu is not None
    mu = mu or vs / max(drive - vg - OFFSET, 1e-3)
    rp = next((row["rp_ohms"].value for row in rows if "rp_ohms" in row), 20 * vp / amps)
    share = screen / (amps + screen)
    slope = min(1 / (rp * (amps + screen)), 0.3 / vp)
    width = drive / ROW_OVER_SOFTNESS
    start = np.array(
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

    def made(p) -> Pentode:
        return Pentode(
            exp(p[0]),
            exp(p[1]),
            p[2],
            min(max(p[3], 1.1), 1.8),
            width,
            1 / (1 + exp(-p[4])),
            exp(p[5]),
            exp(p[6]),
            1 / (1 + exp(-p[7])),
        )

    def wrong(p):
        law = made(p)
        out = [
            (p[3] - EXPONENT) / 0.05,
            (p[6] - start[6]) / 0.5,
            (p[5] - start[5]) / 0.5,
            (p[1] - start[1]) / (0.03 if known else 0.3),
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
        return np.array(out)

    return made(_least(wrong, start, step))


def _off(row: Row, got: dict[str, float], name: str, spread: float) -> float:
    return (
        log(max(got[name], 1e-12) / row[name].value) / spread
        if name in row and name in got
        else 0.0
    )


def _least(wrong, start, step):
    """Return the parameters of least squares: Levenberg 1944, Marquardt 1963, with differences for
    the slopes.
    """
    import numpy as np

    p, weight = start, 1e-2
    r = wrong(p)
    for _ in range(ROUNDS):
        if step:
            step(1)
        jac = np.array([(wrong(p + 1e-5 * unit) - r) / 1e-5 for unit in np.eye(len(p))]).T
        normal, slope = jac.T @ jac, jac.T @ r
        for _ in range(8):
            trial = p - np.clip(
                np.linalg.solve(normal + weight * np.diag(np.diag(normal) + 1e-9), slope), -0.5, 0.5
            )
            s = wrong(trial)
            if s @ s < r @ r:
                break
            weight *= 5
        else:
            return p
        done = r @ r - s @ s < 1e-10 * (1 + r @ r)
        p, r, weight = trial, s, max(weight / 5, 1e-9)
        if done:
            return p
    return p


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
    laws = {"triode": Triode, "pentode": Pentode, "rectifier": Rectifier}
    return Fit(
        laws[kept["law"]](**kept["with"]),
        kept["rows_of"],
        unit,
        tuple(Miss(*miss) for miss in kept["misses"]),
    )


@cache
def _kept() -> dict:
    return json.loads(DATA.read_text(encoding="utf-8")) if DATA.exists() else {}


def units_of(tube: TubeType) -> tuple[str, ...]:
    """Return the units of a tube that a law is fitted to; one without a name for a bulb with a
    single one.
    """
    found = tuple(unit for unit in tube.units if unit.startswith(("triode", "pentode", "beam")))
    return found or ("",)


def fit_all() -> dict:
    """Return every fit of the library as plain values, the form in which they are kept."""
    kept: dict = {}
    for name in library.types():
        tube = library.find(name)
        for unit in units_of(tube):
            try:
                made = fit(tube, unit)
            except NoData:
                continue
            kept.setdefault(tube.type, {})[unit] = {
                "law": type(made.law).__name__.lower(),
                "with": {key: float(f"{value:.7g}") for key, value in asdict(made.law).items()},
                "rows_of": made.type,
                "misses": [
                    [m.row, m.figure, m.printed, float(f"{m.computed:.5g}"), m.grade]
                    for m in made.misses
                ],
            }
    return kept


def keep() -> None:
    """Fit the whole library afresh and write the kept fits: to be run after a row was added or the
    procedure changed.
    """
    DATA.write_text(json.dumps(fit_all(), indent=1, sort_keys=True) + "\n", encoding="utf-8")


def small_diode() -> Rectifier:
    """Return the law of a detector diode in a bulb with other units: from memory, for a few
    milliamps at a few volts.
    """
    return GERMANIUM

"""The printed rows of a tube, and what a law gives at their volts."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from rework.solve.arrays import Floats
from rework.solve.devices import DeviceLaw, Pentode
from rework.tubes import library
from rework.tubes.figure import Figure
from rework.tubes.tubetype import PrintedRow, TubeType

_NEEDED = ("plate_volts", "plate_amps", "gm_siemens")
#: Instants of a sine, shares of the full drive that are tried where a distortion is printed, Newton
#: steps at most, and the volts within which they end.
INSTANTS, SHARES, STEPS, ALIKE = 48, np.linspace(0.3, 1, 11), 30, 1e-5
#: Distortion is summed from the second harmonic to this one.
HARMONICS = 11


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


def kin_of(tube: TubeType) -> Iterator[TubeType]:
    """Yield a type and those with the same curves."""
    yield tube
    for relative in tube.relatives:
        if relative.how == "same curves" and (kin := library.find(relative.type)) is not None:
            yield kin


def rows_for(tube: TubeType, unit: str) -> tuple[str, tuple[PrintedRow, ...]]:
    """Return the rows of one unit that a law can be fitted to, and the type that prints them: the
    tube's own or a relative's.
    """
    for kin in kin_of(tube):
        rows = tuple(
            row
            for row in map(_completed, kin.typical)
            if all(name in row for name in _NEEDED)
            and ("grid_volts" in row or "cathode_ohms" in row)
            and _is_for(row, unit)
        )
        if rows:
            return kin.type, tuple(sorted(rows, key=_order))
    return tube.type, ()


@dataclass(frozen=True, slots=True)
class Idle:
    """One tube of a printed push-pull row without signal: its volts against the cathode (plate,
    screen, grid), its plate current in amperes, and the row.
    """

    volts: tuple[float, float, float]
    amps: float
    row: PrintedRow


def idle_pairs(tube: TubeType, unit: str = "") -> tuple[Idle, ...]:
    """Return the push-pull rows of a pentode at idle, a tube each."""
    pairs = []
    for row in tube.typical:
        if "push-pull" not in row.use or "triode" in row.use or row.unit not in (unit, ""):
            continue
        if not {"plate_volts", "screen_volts", "plate_amps", "screen_amps"} <= set(row):
            continue
        tubes = 1 if "per tube" in row.use else 2
        plate, screen = (row[key].value / tubes for key in ("plate_amps", "screen_amps"))
        raised = 2 * (plate + screen) * row["cathode_ohms"].value if "cathode_ohms" in row else 0.0
        grid = row["grid_volts"].value if "grid_volts" in row else -raised
        vp, vs = (row[key].value - raised for key in ("plate_volts", "screen_volts"))
        pairs.append(Idle((vp, vs, grid), plate, row))
    return tuple(pairs)


def _completed(row: PrintedRow) -> PrintedRow:
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
    return PrintedRow(row.use, row.unit, figures, row.source, row.grade, row.note)


def _is_for(row: PrintedRow, unit: str) -> bool:
    if unit.startswith("triode"):
        return row.unit in (unit, "triode", "") and "screen_volts" not in row
    return row.unit in (unit, "")


def _order(row: PrintedRow) -> tuple[bool, int]:
    """Seen rows first; among them those that print most."""
    return (row.grade != "seen", -len(tuple(row)))


def screened(tube: TubeType, unit: str = "") -> bool:
    """Return whether a unit has a screen."""
    return bool(tube.pins_of(f"{unit}.screen" if unit else "screen"))


def units_of(tube: TubeType) -> tuple[str, ...]:
    """Return the units of a tube that a law is fitted to; one without a name for a bulb with a
    single one.
    """
    units = tuple(
        unit for unit in tube.units if unit.startswith(("triode", "pentode", "beam", "heptode"))
    )
    return units or ("",)


def bias_of(row: PrintedRow) -> float:
    """Return the grid volts of a row: printed, or its currents times the cathode's ohms."""
    if "grid_volts" in row:
        return row["grid_volts"].value
    amps = row["plate_amps"].value + (row["screen_amps"].value if "screen_amps" in row else 0.0)
    return -row["cathode_ohms"].value * amps


def compare(law: DeviceLaw, row: PrintedRow, number: int = 1) -> tuple[Miss, ...]:
    """Return every figure of a row that the law can answer, beside its answer."""
    return tuple(
        Miss(number, name, row[name].value, value, row[name].grade)
        for name, value in answers(law, row).items()
        if name in row
    )


def answers(law: DeviceLaw, row: PrintedRow) -> dict[str, float]:
    """Return what the law gives at a row's volts: amps, siemens, ohms, and watts and distortion
    into a printed load.
    """
    vp, vg = row["plate_volts"].value, bias_of(row)
    if not isinstance(law, Pentode):
        out, jac = law.currents(np.array([vp, vg]))
        return {
            "plate_amps": float(out[0]),
            "gm_siemens": float(jac[0, 1]),
            "rp_ohms": float(1 / max(jac[0, 0], 1e-12)),
            "mu": float(jac[0, 1] / max(jac[0, 0], 1e-12)),
        }
    vs = row["screen_volts"].value
    out, jac = law.currents(np.array([vp, vs, vg]))
    figures = {
        "plate_amps": float(out[0]),
        "screen_amps": float(out[1]),
        "gm_siemens": float(jac[0, 2]),
        "rp_ohms": float(1 / max(jac[0, 0], 1e-12)),
    }
    if "load_ohms" in row and "watts" in row:
        stated = "drive_rms_volts" in row
        drive = row["drive_rms_volts"].value * 2**0.5 if stated else -vg
        printed = row["distortion"].value if "distortion" in row and not stated else None
        figures |= class_a(law, vp, vs, vg, row["load_ohms"].value, drive, distortion=printed)
    return figures


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
    drives = drive * (SHARES if distortion else np.ones(1))
    plate, screen = _swing(law, vp, vs, vg, load, drives)
    size = np.abs(np.fft.rfft(plate))[:, 1 : HARMONICS + 1]
    bent = np.sqrt((size[:, 1:] ** 2).sum(-1)) / size[:, 0]
    table = np.stack([plate.var(-1) * load, bent, plate.mean(-1), screen.mean(-1)], -1)
    at = float(len(drives) - 1)
    past = np.nonzero(bent > distortion)[0] if distortion else np.zeros(0, int)
    if distortion and len(past):
        first = int(past[0])
        inside = (distortion - bent[first - 1]) / (bent[first] - bent[first - 1])
        at = max(0.0, first - 1 + float(inside)) if first else 0.0
    watts, bent_there, plate_amps, screen_amps = (
        float(np.interp(at, np.arange(len(drives)), column)) for column in table.T
    )
    return {
        "watts": watts,
        "distortion": bent_there,
        "plate_amps_full_signal": plate_amps,
        "screen_amps_full_signal": screen_amps,
    }


def _swing(
    law: Pentode, vp: float, vs: float, vg: float, load: float, drives: Floats
) -> tuple[Floats, Floats]:
    """Return plate and screen amps (drives, instants) over a sine of each of ``drives`` volts."""
    angle = 2 * np.pi * (np.arange(INSTANTS) + 0.5) / INSTANTS
    volts = np.empty((len(drives), INSTANTS, 3))
    volts[..., 1], volts[..., 2] = vs, vg + drives[:, None] * np.cos(angle)
    plate = np.full(volts.shape[:2], vp)
    out = np.zeros_like(volts)
    for _ in range(STEPS):
        volts[..., 0] = plate
        out, jac = law.currents(volts)
        excess = out[..., 0] + (plate - vp) / load - out[..., 0].mean(-1, keepdims=True)
        slope = jac[..., 0, 0]
        plain, unit = excess / (slope + 1 / load), 1 / (slope + 1 / load)
        step = plain + unit * (slope * plain).mean(-1, keepdims=True) / (
            1 - (slope * unit).mean(-1, keepdims=True)
        )
        moved = np.minimum(plate - step, plate + vp / 2)
        # past the knee Newton would run off to where no current flows
        plate = np.where(moved > 0, moved, plate / 2)
        if np.abs(step).max() < ALIKE:
            break
    return out[..., 0], out[..., 1]

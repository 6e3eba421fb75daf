"""What the tube laws miss, by held-out row: ``python tests/bench/misses.py``.

Each printed row is left out in turn, the law is fitted to the other rows of its unit, and what it
then gives at the row's volts is held against print. A row that is repeated, by the same type or by
a relative, counts once. Rows without a cathode resistor count, and so do rows without a
transconductance, which no fit uses. Rows that are the only one of their unit cannot be held out and
are counted apart. Prints the tables of DEVELOPERS.md in a minute or two of one core.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from statistics import median, quantiles

import numpy as np

from rework.solve.devices import Pentode
from rework.solve.fit import NoData, curve_points, fit
from rework.solve.rows import compare, idle_pairs, rows_for, screened, units_of
from rework.tubes import library
from rework.tubes.tubetype import PrintedRow, TubeType

#: The figures in the table, their heading, and the error beyond which a row is named.
GATES = {
    "plate_amps": ("plate current", 0.10),
    "gm_siemens": ("transconductance", 0.15),
    "screen_amps": ("screen current", 0.25),
    "rp_ohms": ("plate resistance", 0.30),
    "watts": ("watts", 0.20),
}


@dataclass(frozen=True, slots=True)
class HeldOut:
    """One figure of a row that its law was not fitted to; ``fitted`` where rows like it are."""

    type: str
    unit: str
    row: PrintedRow
    figure: str
    error: float
    fitted: bool


def _volts(row: PrintedRow) -> frozenset[tuple[str, float]]:
    """Return what tells a row from another: its operating point, not its source."""
    names = ("plate_volts", "screen_volts", "grid_volts", "cathode_ohms", "plate_amps")
    return frozenset((name, row[name].value) for name in names if name in row)


def rows_of(tube: TubeType, unit: str) -> tuple[tuple[PrintedRow, ...], tuple[PrintedRow, ...]]:
    """Return the rows a fit is made from, and further rows that can only be compared."""
    origin, printed = rows_for(tube, unit)
    known = {_volts(row) for row in printed}
    more = tuple(
        row
        for row in tube.typical
        if row.unit in (unit, "")
        and {"plate_volts", "plate_amps"} <= set(row)
        and ("grid_volts" in row or "cathode_ohms" in row)
        and _volts(row) not in known
        and (not unit.startswith("triode") or "screen_volts" not in row)
        and "push-pull" not in row.use
    )
    return (printed if origin == tube.type else ()), more


def held_out(tube: TubeType, unit: str, counted: set[object]) -> Iterator[HeldOut | str]:
    """Yield every figure of every row with the law of the other rows; the name of a row that
    is the only one.
    """
    printed, more = rows_of(tube, unit)
    for row in (*printed, *more):
        if _volts(row) in counted:
            continue
        counted.add(_volts(row))
        others = [other for other in printed if _volts(other) != _volts(row)]
        try:
            law = fit(tube, unit, rows=others).law if others else None
        except NoData:
            law = None
        if law is None:
            yield f"{tube.type} {unit}".strip()
            continue
        if ("screen_volts" in row) != isinstance(law, Pentode):
            continue
        for miss in compare(law, row):
            if miss.figure in GATES:
                yield HeldOut(tube.type, unit, row, miss.figure, miss.error, row in printed)


def idle_of_pairs() -> Iterator[str]:
    """Yield a line of the table of push-pull rows at idle: the plate current of one tube in print
    and by the law of all else, the row itself left out.
    """
    for name in library.types():
        tube = library.find(name)
        if tube is None or tube.type != name:
            continue
        for idle in (idle for unit in units_of(tube) for idle in idle_pairs(tube, unit)):
            law = fit(tube, idle.row.unit, without=idle.row).law
            told = float(law.currents(np.array(idle.volts))[0][0])
            plate = idle.row["plate_amps"]
            yield (
                f"| {tube.type} | {idle.row['plate_volts'].value:g} V, grid {idle.volts[2]:.1f} V"
                f" | {1e3 * idle.amps:.1f} mA, {plate.grade} | {1e3 * told:.1f} mA"
                f" | {told / idle.amps - 1:+.0%} |"
            )


def triode_curves() -> Iterator[str]:
    """Yield a line for every type with printed triode curves: how far their points are from the law
    of the rows alone.
    """
    for name in library.types():
        points = curve_points(name)
        tube = library.find(name)
        if not points or tube is None or screened(tube, units_of(tube)[0]):
            continue
        law = fit(tube, units_of(tube)[0], rows=rows_for(tube, units_of(tube)[0])[1]).law
        off = [
            abs(float(law.currents(np.array([vp, vg]))[0][0]) / amps - 1) for vp, vg, amps in points
        ]
        yield f"| {name} | {len(points)} | {median(off):.1%} | {max(off):.0%} |"


def main() -> None:
    """Print the tables."""
    print("| pair at idle | at | print, a tube | law | miss |")
    print("|---|---|---|---|---|")
    for line in idle_of_pairs():
        print(line)
    print()
    print("| curves of | points | median | worst |")
    print("|---|---|---|---|")
    for line in triode_curves():
        print(line)
    print()
    counted: set[object] = set()
    alone: list[str] = []
    found: dict[tuple[str, bool], list[HeldOut]] = defaultdict(list)
    for name in library.types():
        tube = library.find(name)
        if tube is None or (tube.has_rectifier_unit and not tube.pins_of("grid")):
            continue
        for unit in units_of(tube):
            for miss in held_out(tube, unit, counted):
                if isinstance(miss, str):
                    alone.append(miss)
                else:
                    found[miss.figure, miss.row.grade == "seen"].append(miss)
    print("| figure | rows | median | nine of ten within | beyond the gate |")
    print("|---|---|---|---|---|")
    for (figure, seen), misses in sorted(found.items()):
        errors = [abs(miss.error) for miss in misses]
        title, gate = GATES[figure]
        grade = "seen in print" if seen else "second hand or from memory"
        tenth = quantiles(errors, n=10)[-1] if len(errors) > 1 else errors[0]
        past = sum(error > gate for error in errors)
        print(
            f"| {title}, {grade} | {len(errors)} | {median(errors):.1%} | {tenth:.0%}"
            f" | {past} of {len(errors)} beyond {gate:.0%} |"
        )
    print(f"\nRows that are alone and cannot be held out: {len(alone)}")
    worst = sorted(
        (
            miss
            for misses in found.values()
            for miss in misses
            if abs(miss.error) > GATES[miss.figure][1]
        ),
        key=lambda miss: (miss.row.grade != "seen", miss.figure, -abs(miss.error)),
    )
    for miss in worst:
        volts = ", ".join(
            f"{key} {miss.row[key].value:g}"
            for key in ("plate_volts", "grid_volts")
            if key in miss.row
        )
        print(
            f"{miss.type} {miss.unit} ({volts}; {miss.row.grade} {miss.row.source}): {miss.figure}"
            f" {miss.error:+.0%}{'' if miss.fitted else ', a row that no fit uses'}"
        )


if __name__ == "__main__":
    main()

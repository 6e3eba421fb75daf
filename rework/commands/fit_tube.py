"""``rework fit-tube``: the model of a tube type from its printed rows, and how well it meets every one of them."""

from __future__ import annotations

import argparse
import json
from dataclasses import asdict, fields

from rework.circuit.place import Problem
from rework.commands.files import Refusal, read_bytes
from rework.commands.numbers import shown
from rework.report import styled, table
from rework.tubes import library
from rework.tubes.figure import TRUST, unit_of


def run(asked: argparse.Namespace) -> int:
    """Print the fit of each unit of a type. Raises Refusal where the library has no rows for it."""
    from rework.solve.fit import NoData, fit, units_of

    tube = _from_file(asked.type) if asked.type.endswith(".toml") else library.find(asked.type)
    if tube is None:
        near = library.nearest(asked.type)
        raise Refusal(Problem(f"{asked.type} is not in the tube library", hint="did you mean " + " or ".join(near) + "?" if near else "see rework tubes"))
    try:
        fits = [fit(tube, unit) for unit in units_of(tube)]
    except NoData as error:
        raise Refusal(Problem(str(error), hint=f"add a printed row with its source to the file of {tube.type} in rework/tubes/data")) from error
    if asked.json:
        print(json.dumps({tube.type: [{"unit": one.unit, "law": type(one.law).__name__, "with": asdict(one.law), "rows_of": one.type,
                                       "misses": [asdict(miss) | {"error": miss.error} for miss in one.misses]} for one in fits]}, indent=2))
        return 0
    for one in fits:
        print(_text(tube.type, one))
    if asked.plot:
        _plot(tube.type, fits[0], asked.plot)
    return 0


def _from_file(path: str) -> library.TubeType:
    """Return the type a file of one's own describes, written as those in rework/tubes/data. Raises Refusal where it cannot be read."""
    import tomllib

    try:
        return library.read_type(tomllib.loads(read_bytes(path).decode("utf-8")), path)
    except (ValueError, KeyError, TypeError) as error:
        raise Refusal(Problem(f"{path} does not describe a tube: {error}", expected="a file such as those in rework/tubes/data")) from error


def _text(type_: str, one) -> str:
    law = one.law
    first = (law.__doc__ or "").splitlines()[0]
    out = [styled(f"{type_} {one.unit}".strip(), "bold") + (f", from the rows of its relative {one.type}" if one.type != type_ else ""), f"  {first}",
           "  " + ", ".join(f"{field.name.replace('_', ' ')} {getattr(law, field.name):.4g}" for field in fields(law))]
    rows = [("  row", "figure", "printed", "computed", "off by", "")]
    rows += [(f"  {miss.row}", miss.figure.replace("_", " "), shown(miss.printed, unit_of(miss.figure)) if unit_of(miss.figure) != "1" else f"{miss.printed:.3g}",
              shown(miss.computed, unit_of(miss.figure)) if unit_of(miss.figure) != "1" else f"{miss.computed:.3g}", f"{miss.error:+.1%}", TRUST[miss.grade]) for miss in one.misses]
    return "\n".join([*out, table(rows), ""])


def _plot(type_: str, one, path: str) -> None:
    """Draw the plate curves, with the printed points on them."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt
    import numpy as np

    from rework.solve.fit import rows_for

    known = library.find(one.type)
    rows = rows_for(known, one.unit)[1] if known else ()
    top = 2 * max((row["plate_volts"].value for row in rows), default=50.0)
    deep = 2.5 * max((abs(row["grid_volts"].value) for row in rows if "grid_volts" in row), default=2.0) or 2.0
    volts = np.linspace(0, top, 200)
    figure, axes = plt.subplots(figsize=(8, 5))
    if one.law.controls == 1:
        volts = np.linspace(0, 50, 200)
        axes.plot(volts, 1e3 * one.law.currents(volts[:, None])[0][:, 0])
    screen = rows[0]["screen_volts"].value if rows and one.law.controls == 3 else 100.0
    for grid in np.linspace(0, -deep, 6) if one.law.controls > 1 else ():
        given = [volts, np.full(200, screen)] if one.law.controls == 3 else [volts]
        axes.plot(volts, 1e3 * one.law.currents(np.stack([*given, np.full(200, grid)], -1))[0][:, 0], label=f"{grid:.1f} V")
    for row in rows:
        axes.plot(row["plate_volts"].value, 1e3 * row["plate_amps"].value, "ko")
    axes.set_xlabel("plate V")
    axes.set_ylabel("plate mA")
    axes.set_title(f"{type_} {one.unit}: the fitted law; dots are printed rows")
    axes.grid(alpha=0.3)
    if one.law.controls > 1:
        axes.legend(title="grid")
    figure.savefig(path, dpi=120)
    plt.close(figure)

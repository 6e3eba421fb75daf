"""``rework fit-tube``: the model of a tube type from its printed rows, and how well it meets every
one of them.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import fields
from statistics import median
from typing import TYPE_CHECKING

import numpy as np

from rework.circuit.place import Problem
from rework.commands.arguments import takes_force, takes_json, takes_plot
from rework.commands.pictures import blank, keep, label_end, wanted_picture
from rework.commands.tube_file import read_tube_file
from rework.language.files import Refusal
from rework.report import terminal
from rework.report.figures import shown
from rework.report.terminal import printable, progress, styled, table
from rework.solve.fit import Fit
from rework.solve.rows import Miss, bias_of, rows_for
from rework.tubes import library
from rework.tubes.figure import TRUST, unit_of
from rework.tubes.tubetype import PrintedRow, TubeType

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


#: What is told of a fit in one line: figure, and what people call it.
TOLD = (("plate_amps", "plate current"), ("gm_siemens", "transconductance"), ("watts", "watts"))

EXAMPLE = "rework fit-tube 6AQ5"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments to its parser."""
    parser.add_argument(
        "type", help="a tube type, or a .toml file of one, written as those of the library"
    )
    takes_plot(parser)
    takes_json(parser)
    takes_force(parser)


def run(asked: argparse.Namespace) -> int:
    """Print the fit of each unit of a type. Raises Refusal where there are no rows to fit."""
    from rework.solve.fit import ROUNDS, NoData, fit, fitted, foretold
    from rework.solve.rows import units_of

    wanted_picture(asked.plot, force=asked.force)
    is_file = asked.type.endswith(".toml")
    tube = read_tube_file(asked.type) if is_file else library.find(asked.type)
    if tube is None:
        near = library.nearest(asked.type)
        raise Refusal(
            Problem(
                f"{asked.type} is not in the tube library",
                hint=(
                    "did you mean " + " or ".join(near) + "?"
                    if near
                    else (
                        "see rework tubes, or write a file of your own (rework new TYPE.toml) and"
                        " name that"
                    )
                ),
            )
        )
    try:
        with progress("fitting", ROUNDS * len(units_of(tube))) as bar:
            fits = [
                (
                    fit(tube, unit, step=bar.update) if is_file else fitted(tube.type, unit),
                    foretold(tube, unit),
                )
                for unit in units_of(tube)
            ]
    except NoData as error:
        where = asked.type if is_file else f"the file of {tube.type} in rework/tubes/data"
        raise Refusal(
            Problem(str(error), hint=f"add a printed row with its source to {where}")
        ) from error
    if asked.json:
        from rework.commands.answers.numbers import fitted_answer
        from rework.commands.answers.shape import json_text

        print(json_text({tube.type: [fitted_answer(fit, others) for fit, others in fits]}))
    else:
        for fit_, others in fits:
            print(terminal.fitted(_text(tube.type, fit_, others)))
        if is_file:
            print(terminal.fitted(_use(asked.type, tube.type)))
    if asked.plot:
        keep(_drawn(tube, fits[0][0]), asked.plot, force=asked.force)
    return 0


def _use(path: str, type_: str) -> str:
    if library.is_known(type_) and (tube := library.find(type_)) is not None:
        return (
            f"{tube.type} is in the library, which this file does not change: circuits use the"
            " library's figures."
        )
    return (
        f"To use it: put {printable(path)} in a folder and name that folder in the environment"
        f" variable {library.OWN}; a circuit may then say tube {printable(type_)},\nand its pins,"
        " heater and ratings count in every check, so look at them twice."
    )


def _text(type_: str, fit: Fit, others: Sequence[Miss]) -> str:
    law = fit.law
    first = " ".join((law.__doc__ or "").partition("\n\n")[0].split())
    out = [
        styled(f"{printable(type_)} {fit.unit}".strip(), "bold")
        + (f", from the rows of its relative {fit.type}" if fit.type != type_ else ""),
        f"  {first}",
        "  "
        + ", ".join(
            f"{field.name.replace('_', ' ')} {getattr(law, field.name):.4g}"
            for field in fields(law)
        ),
    ]
    rows = [("  row", "figure", "printed", "computed", "off by", "")]
    rows += [
        (
            f"  {miss.row}",
            miss.figure.replace("_", " "),
            (
                shown(miss.printed, unit_of(miss.figure))
                if unit_of(miss.figure) != "1"
                else f"{miss.printed:.3g}"
            ),
            (
                shown(miss.computed, unit_of(miss.figure))
                if unit_of(miss.figure) != "1"
                else f"{miss.computed:.3g}"
            ),
            f"{miss.error:+.1%}",
            TRUST[miss.grade],
        )
        for miss in fit.misses
    ]
    out.append(table(rows))
    out.append(f"  It meets its rows within: {_worst(fit.misses)}.")
    if others:
        out.append(f"  From row 1 alone it would foretell the others within: {_worst(others)}.")
    return "\n".join([*out, ""])


def _worst(misses: Sequence[Miss]) -> str:
    worst = []
    for figure, name in TOLD:
        errors = sorted(abs(miss.error) for miss in misses if miss.figure == figure)
        if errors:
            worst.append(
                f"{name} {max(errors):.1%}"
                + (f" (median {median(errors):.1%})" if len(errors) > 2 else "")
            )
    return ", ".join(worst).replace("%", " %")


def _drawn(tube: TubeType, fit: Fit) -> Figure:
    """Return the plate curves, with the printed points on them."""
    rows = rows_for(tube, fit.unit)[1]
    figure = blank(8, 5.2)
    axes = figure.subplots()
    if fit.law.controls == 1:
        points = [
            (volts, amps)
            for curve in tube.curves
            if curve.columns == ("drop_volts", "plate_amps")
            for volts, amps in curve.points
        ]
        if not points and {"tube_drop_volts", "tube_drop_amps"} <= tube.ratings.keys():
            points = [(tube.ratings["tube_drop_volts"].value, tube.ratings["tube_drop_amps"].value)]
        volts = np.linspace(0, 1.3 * max((volts for volts, _ in points), default=40.0), 200)
        axes.plot(volts, 1e3 * fit.law.currents(volts[:, None])[0][:, 0], "k-")
        axes.plot([volts for volts, _ in points], [1e3 * amps for _, amps in points], "ko")
        axes.set(
            xlabel="drop, V",
            ylabel="mA",
            title=f"{printable(tube.type)}: the fitted law; dots are printed",
            ylim=(0, None),
            xlim=(0, None),
        )
    else:
        _curves(axes, tube, fit, rows)
    axes.grid(alpha=0.4, linewidth=0.4)
    return figure


def _curves(axes: Axes, tube: TubeType, fit: Fit, rows: Sequence[PrintedRow]) -> None:
    volts = np.linspace(
        0, 1.6 * max((row["plate_volts"].value for row in rows), default=250.0), 200
    )
    screens = [row["screen_volts"].value for row in rows if "screen_volts" in row]
    screen = max(set(screens), key=lambda volt: (screens.count(volt), volt)) if screens else None
    shown_rows = [
        row
        for row in rows
        if screen is None or ("screen_volts" in row and row["screen_volts"].value == screen)
    ]
    step = (max((abs(bias_of(row)) for row in shown_rows), default=2.0) or 2.0) / 4
    curves = []
    for grid in 0.0 - step * np.arange(9):
        given = [volts, np.full(200, screen)] if screen is not None else [volts]
        curves.append(
            (grid, 1e3 * fit.law.currents(np.stack([*given, np.full(200, grid)], -1))[0][:, 0])
        )
    top = 1.15 * max(float(amps[len(amps) // 2]) for _, amps in curves)
    for grid, amps in curves:
        axes.plot(volts, amps, color="0.35", linewidth=1)
        label_end(axes, volts, amps, f"{grid:.3g} V", top)
    for row in shown_rows:
        at = (row["plate_volts"].value, 1e3 * row["plate_amps"].value)
        axes.plot(*at, "ko")
        axes.annotate(
            f"{bias_of(row):.3g} V",
            at,
            fontsize=8,
            fontweight="bold",
            xytext=(6, 6),
            textcoords="offset points",
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 1},
        )
    axes.set(
        xlabel="plate V",
        ylabel="plate mA",
        xlim=(0, volts[-1]),
        ylim=(0, top),
        title=(
            f"{printable(tube.type)} {fit.unit}: the fitted law, grid volts at the curves".replace(
                " :", ":"
            )
        )
        + (f", screen {screen:g} V" if screen is not None else "")
        + "; dots are printed rows",
    )

"""The plot of ``rework signal``: response, load line on the plate curves, distortion against watts,
hum; distinguished without colour.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rework.commands.pictures import STYLES, blank, label_end
from rework.commands.subject import SolvedSide
from rework.report.terminal import printable
from rework.solve.fit import fitted
from rework.solve.response import FREQUENCIES
from rework.solve.signal import Signal

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.axis import Axis
    from matplotlib.figure import Figure


#: The least that the response plot shows below the loudest, decibels.
DEPTH = 50


def _plain(axis: Axis) -> None:
    """Write the decades as plain numbers."""
    axis.set_major_formatter(lambda value, _: f"{value / 1e3:g}k" if value >= 1e3 else f"{value:g}")


def drawn(side: SolvedSide[Signal]) -> Figure:
    """Return the figure of a circuit that was solved."""
    figure = blank(11.7, 8.3)
    (response, line), (bent, hum) = figure.subplots(2, 2)
    _response(response, side.result)
    _load_line(line, side)
    _distortion(bent, side.result)
    _hum(hum, side.result)
    figure.suptitle(
        printable((side.heading + ": " if side.heading else "") + side.result.title),
        fontweight="bold",
    )
    return figure


def _response(axes: Axes, s: Signal) -> None:
    controls = list(dict.fromkeys(r.control for r in s.responses if r.control != "all"))
    levels = {r: 20 * np.log10(np.maximum(r.gain, 1e-30)) for r in s.responses}
    loudest = levels[s.responses[0]]
    top = max(float(level.max()) for level in levels.values())
    axes.semilogx(FREQUENCIES, loudest, "k-", linewidth=2.2, label=s.responses[0].position)
    for r in s.responses[1:]:
        level = levels[r]
        if level.max() < top - DEPTH or np.abs(level - loudest).max() < 0.1:
            continue
        grey = str(0.55 * controls.index(r.control) / max(len(controls) - 1, 1))
        axes.semilogx(
            FREQUENCIES,
            level,
            color=grey,
            linestyle=STYLES[1 + ("ccw", "middle", "cw").index(r.position)],
            label=f"{r.control} {r.position}",
        )
    axes.set(
        xlabel="Hz",
        ylabel="gain from input to load, dB",
        title="Response",
        ylim=(top - DEPTH, top + 5),
        xlim=(FREQUENCIES[0], FREQUENCIES[-1]),
    )
    axes.grid(alpha=0.4, which="both", linewidth=0.4)
    _plain(axes.xaxis)
    axes.legend(fontsize=8)


def _load_line(axes: Axes, side: SolvedSide[Signal]) -> None:
    orbit = side.result.orbit
    if orbit is None:
        axes.set_axis_off()
        return
    type_ = side.circuit.by_name[orbit.part].type
    law = fitted(type_, orbit.unit).law
    volts = np.linspace(0, 1.1 * max(orbit.plate_volts), 150)
    top = 1.4e3 * max(*orbit.plate_amps, orbit.rest_amps)
    for grid in np.linspace(*orbit.grid_swing, 7):
        given = [volts] + ([np.full(150, orbit.screen_volts)] if law.controls == 3 else [])
        amps = 1e3 * law.currents(np.stack([*given, np.full(150, grid)], -1))[0][:, 0]
        axes.plot(volts, amps, color="0.45", linewidth=0.9)
        label_end(axes, volts, amps, f"{grid:.1f} V", top)
    closed = [*range(len(orbit.plate_volts)), 0]
    axes.plot(
        [orbit.plate_volts[k] for k in closed],
        [1e3 * orbit.plate_amps[k] for k in closed],
        "k-",
        linewidth=2,
        label="at the onset of clipping, 1 kHz",
    )
    axes.plot(
        orbit.rest_volts,
        1e3 * orbit.rest_amps,
        "ko",
        label=f"at rest: {orbit.rest_volts:.0f} V, {1e3 * orbit.rest_amps:.1f} mA",
    )
    screen = f", screen {orbit.screen_volts:.0f} V" if orbit.screen_volts is not None else ""
    axes.title.set_fontsize(11)
    axes.set(
        xlabel="plate to cathode, V",
        ylabel="plate mA",
        title=f"{orbit.part} {type_}: load line (grid volts at the curves{screen})",
        xlim=(0, volts[-1]),
        ylim=(0, top),
    )
    axes.grid(alpha=0.4, linewidth=0.4)
    axes.legend(fontsize=8, loc="upper right")


def _distortion(axes: Axes, s: Signal) -> None:
    watts = [power.watts for power in s.sweep]
    axes.loglog(
        watts,
        [100 * power.distortion for power in s.sweep],
        "k-o",
        markersize=4,
        linewidth=2,
        label="all harmonics",
    )
    for number, (name, style) in enumerate((("2nd", "--"), ("3rd", "-."))):
        axes.loglog(
            watts,
            [max(100 * power.harmonics[number], 1e-3) for power in s.sweep],
            color="0.35",
            linestyle=style,
            label=name,
        )
    axes.axvline(s.full.watts, color="k", linewidth=0.8, linestyle=":")
    axes.annotate(
        "onset of clipping",
        (s.full.watts, 0.03),
        xycoords=("data", "axes fraction"),
        rotation=90,
        fontsize=7,
        ha="right",
        va="bottom",
    )
    axes.set(
        xlabel="watts into the load",
        ylabel="distortion, %",
        title="Distortion at 1 kHz",
        ylim=(max(0.01, 50 * min(power.distortion for power in s.sweep)), 50),
    )
    axes.grid(alpha=0.4, which="both", linewidth=0.4)
    _plain(axes.xaxis)
    _plain(axes.yaxis)
    axes.legend(fontsize=8, loc="upper left")


def _hum(axes: Axes, s: Signal) -> None:
    wave = 1e3 * np.array((*s.hum.wave, s.hum.wave[0]))
    axes.plot(np.linspace(0, 1, len(wave)), wave, "k-")
    axes.set(
        xlabel="periods of the line",
        ylabel="mV",
        title="Hum at the load, input shorted",
        xlim=(0, 1),
    )
    axes.grid(alpha=0.4, linewidth=0.4)

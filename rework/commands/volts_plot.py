"""The picture of ``rework volts --plot``: supply and ripple over a line period, B+ from the switch,
the output tube's curves.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rework.commands.pictures import blank
from rework.commands.subject import SolvedSide
from rework.report.figures import shown
from rework.report.terminal import printable
from rework.solve.assemble import assemble
from rework.solve.bias import bias
from rework.solve.chart import Chart
from rework.solve.linear import Linear, linearised
from rework.solve.network import CannotSolve, Device
from rework.solve.switch_on import rise
from rework.solve.tables import TubeRow

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


def drawn(side: SolvedSide[Chart]) -> Figure:
    """Return the figure: the supply's ripple over one line period, B+ from the switch, and the
    output tube's curves with its load line.
    """
    rest = bias(assemble(side.circuit))
    network, steady = rest.network, rest.steady
    chosen = side.result.supply[:4]
    figure = blank(16, 4.8)
    ripple, start, curves = figure.subplots(1, 3)
    time = 1e3 * steady.period * np.arange(len(steady.x)) / len(steady.x)
    for row in chosen:
        wave = network.volts(steady.x, row.node)
        ripple.plot(
            time,
            wave - wave.mean() + 0 * time,
            label=f"{row.node}: {shown(row.volts, 'V', 4)} DC, {shown(row.ripple, 'V')} RMS",
        )
    ripple.set(
        xlabel="ms of one line period", ylabel="V around its mean", title="Ripple under load"
    )
    try:
        rising = rise(side.circuit)
        for row in chosen:
            start.plot(
                1e3 * rising.seconds,
                rising.network.volts(rising.x, row.node) + 0 * rising.seconds,
                label=f"{row.node}, under load {shown(row.volts, 'V', 4)}",
            )
    except CannotSolve as error:
        start.text(0.05, 0.5, str(error), transform=start.transAxes, wrap=True)
    start.set(
        xlabel="ms after the switch",
        ylabel="V against common",
        title="B+ from the switch, tubes cold",
    )
    for axes in (ripple, start):
        if chosen:
            axes.margins(y=0.25)
            axes.legend(fontsize=8, loc="upper left")
    hot = max(side.result.tubes, key=lambda tube: tube.plate_watts, default=None)
    if hot is not None:
        device = next(
            device
            for device in network.devices
            if (device.name, device.unit) == (hot.part, hot.unit)
        )
        _load_line(curves, device, hot, linearised(rest))
    for axes in (ripple, start, curves):
        axes.grid(alpha=0.3)
    title = (side.heading + ": " if side.heading else "") + side.result.title
    figure.suptitle(printable(title), fontweight="bold")
    return figure


def _load_line(axes: Axes, device: Device, hot: TubeRow, linear: Linear) -> None:
    plate = np.linspace(0, 2.2 * hot.plate_volts, 150)
    for grid in np.linspace(0, 2.2 * hot.grid_volts, 6):
        given = [plate, np.full(150, hot.screen_volts)] if device.law.controls == 3 else [plate]
        axes.plot(
            plate,
            1e3 * device.law.currents(np.stack([*given, np.full(150, grid)], -1))[0][:, 0],
            label=f"{grid:.1f} V",
        )
    at = (
        [hot.plate_volts, hot.grid_volts]
        if device.law.controls == 2
        else [hot.plate_volts, hot.screen_volts, hot.grid_volts]
    )
    plate_amps = device.law.currents(np.array(at))[1][0, 0]
    into = np.zeros(len(linear.g))
    into[device.from_[0]] = 1.0
    if device.to >= 0:
        into[device.to] = -1.0
    load = 1 / (1 / abs(complex(linear.transfer(into, into, (1000.0,))[0])) - plate_amps)
    amps = hot.plate_amps - (plate - hot.plate_volts) / load
    axes.plot(plate, 1e3 * amps, "k--", label=f"load {load:.0f} ohm")
    axes.plot(hot.plate_volts, 1e3 * hot.plate_amps, "ko")
    axes.set(
        xlabel="plate V to cathode",
        ylabel="plate mA",
        title=f"{hot.part} {hot.type}: load line at 1 kHz",
        ylim=(0, 3.2e3 * hot.plate_amps),
    )
    axes.legend(title="grid", fontsize=8, loc="upper left", bbox_to_anchor=(1.0, 1.0))

"""``rework volts``: the voltage chart of a circuit, or of a job before and after."""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import asdict

from rework.circuit.place import Problem
from rework.commands.files import Refusal
from rework.commands.numbers import Solved, solved
from rework.report import printable, problems_text, styled, table

CAUTION = ("These are the volts of the netlist as written. Measuring them is work on a live chassis: isolation transformer, one hand, insulated probe;\n"
           "unplug and discharge before anything else.")


def run(asked: argparse.Namespace) -> int:
    """Print the voltage chart; with --plot, draw B+ and ripple over one line period."""
    from rework.solve.chart import volts

    if not 20 <= asked.samples <= 100_000:
        raise Refusal(Problem(f"a band from {asked.samples} draws says nothing, or takes for ever", expected="20 to 100000 samples"))
    found = solved(asked.file, lambda circuit: volts(circuit, samples=asked.samples, seed=asked.seed))
    if asked.json:
        charts = {one.heading.lower() or "circuit": asdict(one.result) for one in found if one.result is not None}
        print(json.dumps(charts, indent=2, ensure_ascii=False))
    else:
        for one in found:
            if one.result is None:
                print(problems_text(one.problems, stream=sys.stderr) + f"\n{one.heading}: no numbers.\n", file=sys.stderr)
            else:
                print(_text(one) + "\n")
        print(CAUTION)
    if asked.plot:
        _plot(found[-1], asked.plot)
    return 0


def _text(one: Solved) -> str:
    chart = one.result
    out = [f"{styled(one.heading + ': ' if one.heading else '', 'bold')}{styled(printable(chart.title), 'bold')}",
           f"DC volts against common ({chart.common}); band: 5 to 95 % of {chart.samples - chart.failed} draws of part tolerance, tube spread and line +-10 %."]
    if chart.failed:
        out.append(f"{chart.failed} of {chart.samples} draws did not settle and are left out.")
    rows = [("tube", "pin", "element", "node", "V DC", "band", "V AC")]
    last = ""
    for pin in chart.pins:
        rows.append((f"{pin.part} {pin.type}" if pin.part != last else "", pin.pin, pin.element, pin.node, _v(pin.volts), _band(pin), _v(pin.ac_volts) if pin.ac_volts >= 0.05 else "-"))
        last = pin.part
    out += ["", table(rows), ""]
    pinned = {pin.node for pin in chart.pins}
    rows = [("node", "V DC", "band", "V against chassis", "V AC")]
    rows += [(node.node, _v(node.volts), _band(node), "-" if node.chassis_volts is None else _v(node.chassis_volts), _v(node.ripple) if node.ripple >= 0.0005 else "-")
             for node in chart.nodes if node.node not in pinned and "." not in node.node]
    out += [table(rows), ""]
    rows = [("tube", "plate V", "screen V", "grid V", "plate mA", "screen mA", "plate W", "of", "screen W", "of", "hangs on")]
    rows += [(f"{t.part} {t.type} {t.unit}".strip(), _v(t.plate_volts), _v(t.screen_volts), _v(t.grid_volts), _m(t.plate_amps), _m(t.screen_amps), _w(t.plate_watts),
              _w(t.plate_watts_rating), _w(t.screen_watts), _w(t.screen_watts_rating), ", ".join(f"{name} {share:.0%}" for name, share in t.hangs_on)) for t in chart.tubes]
    out += ["Volts to the cathode:", table(rows), ""]
    rows = [("rectifier", "mean mA", "RMS mA", "peak mA", "peak inverse V")]
    rows += [(f"{r.part} {r.unit}".strip(), _m(r.mean_amps), _m(r.rms_amps), _m(r.peak_amps), f"{r.inverse_volts:.0f}") for r in chart.rectifiers]
    out += [table(rows), ""] if chart.rectifiers else []
    rows = [("winding", "RMS mA", "RMS V", "VA", "mean mA")]
    rows += [(f"{w.part} {w.winding}".strip(), _m(w.rms_amps), _v(w.rms_volts), f"{w.volt_amps:.3g}", _m(w.mean_amps) if abs(w.mean_amps) > 1e-6 else "0") for w in chart.windings]
    out += [table(rows), ""] if chart.windings else []
    rows = [("capacitor", "V peak", "switch-on V", "rated V", "ripple mA")]
    rows += [(c.part, _v(c.volts), _v(c.cold_volts), "-" if c.rating is None else f"{c.rating:g}", _m(c.ripple_amps) if c.ripple_amps > 5e-6 else "-")
             for c in chart.capacitors if max(c.volts, c.cold_volts) > 20]
    out += [table(rows), ""] if len(rows) > 1 else []
    out += [f"From the line: {chart.line_watts:.3g} W, {chart.line_amps:.3g} A RMS; {chart.rush_amps:.3g} A RMS at the switch, heaters cold. Energy balance {abs(chart.balance):.1e}, largest node error {chart.residual:.1e} A."]
    out += ["", "Over, or close to it:"] + [f"  {styled(flag, 'yellow')}" for flag in chart.flags] if chart.flags else ["", "Nothing found over its rating."]
    out += ["", "Taken for granted:"] + [f"  {note}" for note in chart.notes] if chart.notes else []
    return "\n".join(out)


def _v(value: float | None) -> str:
    return "-" if value is None else f"{value + 0.0:.1f}" if abs(value) >= 10 else f"{value + 0.0:.2f}" if abs(value) >= 0.005 else "0"


def _m(value: float | None) -> str:
    return "-" if value is None else f"{value * 1e3:.3g}"


def _w(value: float | None) -> str:
    return "-" if value is None else f"{value:.3g}"


def _band(row) -> str:
    return "" if abs(row.high - row.low) < 0.005 else f"{_v(row.low)} to {_v(row.high)}"


def _plot(one: Solved, path: str) -> None:
    """Draw the supply over one line period, B+ from the switch, and the output tube's curves with its load line."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt
    import numpy as np

    from rework.solve.assemble import assemble
    from rework.solve.bias import bias
    from rework.solve.linear import linearised
    from rework.solve.network import CannotSolve
    from rework.solve.switch_on import rise

    found = bias(assemble(one.circuit))
    network, steady = found.network, found.steady
    distinct = {network.node_of[row.node]: row.node for row in reversed(one.result.nodes) if row.volts > 20}
    chosen = sorted(distinct.values(), key=lambda node: -float(network.volts(steady.mean, node)))[:6]
    figure, (ripple, start, curves) = plt.subplots(1, 3, figsize=(16, 4.8))
    time = 1e3 * steady.period * np.arange(len(steady.x)) / len(steady.x)
    for node in chosen:
        ripple.plot(time, network.volts(steady.x, node) + 0 * time, label=node)
    ripple.set(xlabel="ms of one line period", ylabel="V against common", title="Supply under load")
    ripple.legend(fontsize=8)
    try:
        rising = rise(one.circuit)
        for node in chosen:
            start.plot(1e3 * rising.seconds, rising.network.volts(rising.x, node) + 0 * rising.seconds, label=node)
    except CannotSolve as error:
        start.text(0.05, 0.5, str(error), transform=start.transAxes, wrap=True)
    start.set(xlabel="ms after the switch", ylabel="V against common", title="B+ from the switch, tubes cold")
    hot = max(one.result.tubes, key=lambda tube: tube.plate_watts, default=None)
    if hot is not None:
        device = next(device for device in network.devices if (device.name, device.unit) == (hot.part, hot.unit))
        _load_line(curves, device, hot, linearised(found))
    for axes in (ripple, start, curves):
        axes.grid(alpha=0.3)
    figure.suptitle(one.result.title)
    figure.tight_layout()
    figure.savefig(path, dpi=110)
    plt.close(figure)


def _load_line(axes, device, hot, linear) -> None:
    import numpy as np

    plate = np.linspace(0, 2.2 * hot.plate_volts, 150)
    for grid in np.linspace(0, 2.2 * hot.grid_volts, 6):
        given = [plate, np.full(150, hot.screen_volts)] if device.law.controls == 3 else [plate]
        axes.plot(plate, 1e3 * device.law.currents(np.stack([*given, np.full(150, grid)], -1))[0][:, 0], label=f"{grid:.1f} V")
    at = [hot.plate_volts, hot.grid_volts] if device.law.controls == 2 else [hot.plate_volts, hot.screen_volts, hot.grid_volts]
    own = device.law.currents(np.array(at))[1][0, 0]
    into = np.zeros(len(linear.g))
    into[device.from_[0]] = 1.0
    if device.to >= 0:
        into[device.to] = -1.0
    load = 1 / (1 / abs(complex(linear.transfer(into, into, (1000.0,))[0])) - own)
    amps = hot.plate_amps - (plate - hot.plate_volts) / load
    axes.plot(plate, 1e3 * amps, "k--", label=f"load {load:.0f} ohm")
    axes.plot(hot.plate_volts, 1e3 * hot.plate_amps, "ko")
    axes.set(xlabel="plate V to cathode", ylabel="plate mA", title=f"{hot.part} {hot.type}: load line at 1 kHz", ylim=(0, 3.2e3 * hot.plate_amps))
    axes.legend(title="grid", fontsize=8)

"""``rework volts``: the voltage chart of a circuit, or of a job before and after."""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import asdict

from rework.commands.numbers import Solved, solved
from rework.report import printable, problems_text, styled, table

CAUTION = ("These are the volts of the netlist as written. Measuring them is work on a live chassis: isolation transformer, one hand, insulated probe;\n"
           "unplug and discharge before anything else.")


def run(asked: argparse.Namespace) -> int:
    """Print the voltage chart; with --plot, draw B+ and ripple over one line period."""
    from rework.solve.chart import volts

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
    out += [f"From the line: {chart.line_watts:.3g} W, {chart.line_amps:.3g} A RMS. Energy balance {abs(chart.balance):.1e}, largest node error {chart.residual:.1e} A."]
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
    """Draw the volts of the most rippled supply nodes over one line period."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    from rework.solve.assemble import assemble
    from rework.solve.periodic import mains_steady

    network = assemble(one.circuit)
    steady = mains_steady(network)
    time = [1e3 * steady.period * k / len(steady.x) for k in range(len(steady.x))]
    chosen = sorted((row for row in one.result.nodes if row.volts > 20), key=lambda row: -row.volts)[:6]
    figure, axes = plt.subplots(figsize=(8, 4.5))
    for row in chosen:
        axes.plot(time, network.volts(steady.x, row.node), label=row.node)
    axes.set_xlabel("ms of one line period")
    axes.set_ylabel("V against common")
    axes.set_title(one.result.title)
    axes.grid(alpha=0.3)
    axes.legend()
    figure.savefig(path, dpi=120)
    plt.close(figure)

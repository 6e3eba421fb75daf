"""``rework volts``: the voltage chart of a circuit, or of a job before and after."""

from __future__ import annotations

import argparse
import json
from dataclasses import asdict
from textwrap import wrap
from typing import TYPE_CHECKING

from rework.circuit.place import Problem
from rework.commands.arguments import takes_force, takes_json, takes_netlist, takes_plot
from rework.commands.numbers import factor, shown
from rework.commands.pictures import keep, wanted_picture
from rework.commands.subject import Solved, last_of, print_each, solved, subject
from rework.language.files import Refusal
from rework.report.terminal import printable, progress, styled, table

if TYPE_CHECKING:
    from rework.solve.chart import Chart

CAUTION = (
    "These are the volts of the netlist as written. Measuring them is work on a live chassis:"
    " isolation transformer, one hand, insulated probe;\nunplug and discharge before anything else."
)
#: Capacitors that never see so many volts are left out of the text; --json has them all.
LEAST_VOLTS = 20.0
#: The same of corners of tubes that take less than so many watts.
LEAST_WATTS = 0.2
#: Letters in a line of node names.
WIDE = 70

EXAMPLE = "rework volts pager.job"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments to its parser."""
    takes_netlist(parser)
    parser.add_argument(
        "--samples", type=int, default=1000, help="draws for the band (default: 1000)"
    )
    parser.add_argument("--seed", type=int, default=1, help="which draws (default: 1)")
    takes_plot(parser)
    takes_json(parser)
    takes_force(parser)


def run(asked: argparse.Namespace) -> int:
    """Print the voltage chart; with --plot, draw B+ and ripple over one line period."""
    from rework.solve.chart import volts
    from rework.solve.over import unrated

    if not 20 <= asked.samples <= 100_000:
        raise Refusal(
            Problem(
                f"a band from {asked.samples} draws says nothing, or takes for ever",
                expected="20 to 100000 samples",
            )
        )
    about = subject(asked.file)
    wanted_picture(asked.plot, force=asked.force, sources=about.sources)
    with progress("voltage chart", asked.samples * len(about.circuits)) as bar:
        charts = solved(
            about,
            lambda circuit: volts(circuit, samples=asked.samples, seed=asked.seed, step=bar.update),
        )
    if asked.json:
        answer = {
            key: asdict(chart.result) | {"unrated": unrated(chart.result)}
            for key, chart in charts.items()
            if isinstance(chart, Solved)
        }
        print(json.dumps(answer, indent=2, ensure_ascii=False))
    else:
        print_each(charts, _text)
        print(CAUTION)
    if asked.plot:
        from rework.commands.volts_plot import drawn

        keep(drawn(last_of(charts)), asked.plot, force=asked.force)
    return 0


def _text(one: Solved[Chart]) -> str:
    from rework.solve.over import unrated

    chart = one.result
    out = [
        (
            f"{styled(one.heading + ': ' if one.heading else '', 'bold')}{styled(printable(chart.title), 'bold')}"
        ),
        (
            f"DC volts against common ({chart.common}); band: 5 to 95 % of"
            f" {chart.samples - chart.failed} draws of part tolerance, tube spread and line ±10 %."
        ),
    ]
    if chart.failed:
        out.append(f"{chart.failed} of {chart.samples} draws did not settle and are left out.")
    if chart.warnings:
        out += ["", "Look at the netlist:"] + [
            f"  {styled(printable(warning), 'yellow')}" for warning in chart.warnings
        ]
    for title, rows in (
        ("", _pins(chart)),
        ("", _nodes(chart)),
        ("Supply, loaded and with the tubes cold:", _supply(chart)),
        ("Volts to the cathode:", _tubes(chart)),
        ("", _heaters(chart)),
        ("", _resistors(chart)),
        ("", _rectifiers(chart)),
        ("", _windings(chart)),
        ("", _capacitors(chart)),
        (
            (
                "Corners: the parts that matter most all off at once, the one way and the other (a"
                " tube by the current it passes):"
            ),
            _corners(chart),
        ),
    ):
        if len(rows) > 1:
            out += ["", *([title] if title else []), table(rows)]
    out += [
        "",
        (
            f"From the line {shown(chart.line_watts, 'W')}, {shown(chart.line_amps, 'A')} RMS;"
            f" {shown(chart.rush_amps, 'A')} RMS at the switch, heaters cold. Energy balance"
            f" {abs(chart.balance):.1e}, largest node error {chart.residual:.1e} A."
        ),
    ]
    out += (
        ["", "Over, or close to it:"] + [f"  {styled(flag, 'yellow')}" for flag in chart.flags]
        if chart.flags
        else ["", "Nothing found over its rating."]
    )
    without = unrated(chart)
    out += (
        [
            "",
            *wrap(
                "No rating of theirs is written or known, so these were held to nothing:"
                f" {', '.join(without)}.",
                2 * WIDE,
            ),
        ]
        if without
        else []
    )
    out += ["", "Taken for granted:"] + [f"  {note}" for note in chart.notes] if chart.notes else []
    return "\n".join(out)


def _pins(chart: Chart) -> list[tuple[str, ...]]:
    rows, last = [("tube", "pin", "element", "node", "V DC", "band", "V AC")], ""
    for pin in chart.pins:
        rows.append(
            (
                f"{pin.part} {pin.type}" if pin.part != last else "",
                pin.pin,
                pin.element,
                pin.node,
                _v(pin.volts),
                _band(pin.low, pin.high),
                _v(pin.ac_volts) if pin.ac_volts >= 0.05 else "-",
            )
        )
        last = pin.part
    return rows


def _nodes(chart: Chart) -> list[tuple[str, ...]]:
    """Nodes that no tube pin and no line of the supply table has told of; those that read alike
    share a line.
    """
    told = {pin.node for pin in chart.pins} | {row.node for row in chart.supply}
    alike: dict[tuple[str, ...], list[str]] = {}
    for node in chart.nodes:
        if node.node not in told and "." not in node.node:
            cells = (
                _v(node.volts),
                _band(node.low, node.high),
                "-" if node.chassis_volts is None else _v(node.chassis_volts),
                _v(node.ripple) if node.ripple >= 0.0005 else "-",
            )
            alike.setdefault(cells, []).append(node.node)
    rows = [("V DC", "band", "V against chassis", "V AC", "node")]
    for cells, names in sorted(alike.items(), key=lambda pair: pair[1]):
        lines = wrap(", ".join(names), WIDE, break_long_words=False, break_on_hyphens=False)
        rows += [(*cells, lines[0]), *((*("",) * len(cells), line) for line in lines[1:])]
    return rows


def _supply(chart: Chart) -> list[tuple[str, ...]]:
    return [("node", "V DC", "band", "ripple V", "band", "tubes cold V", "and line +10 % V")] + [
        (
            row.node,
            _v(row.volts),
            _band(row.low, row.high),
            f"{row.ripple:.3g}",
            f"{row.ripple_low:.3g} to {row.ripple_high:.3g}",
            _v(row.unloaded),
            _v(row.unloaded_high),
        )
        for row in chart.supply
    ]


def _tubes(chart: Chart) -> list[tuple[str, ...]]:
    return [
        (
            "tube",
            "plate V",
            "screen V",
            "grid V",
            "plate mA",
            "screen mA",
            "plate W",
            "of",
            "screen W",
            "of",
            "hangs on",
        )
    ] + [
        (
            f"{t.part} {t.type} {t.unit}".strip(),
            _v(t.plate_volts),
            _v(t.screen_volts),
            _v(t.grid_volts),
            _m(t.plate_amps),
            _m(t.screen_amps),
            _g(t.plate_watts),
            _g(t.plate_watts_rating),
            _g(t.screen_watts),
            _g(t.screen_watts_rating),
            ", ".join(f"{name} {share:.0%}" for name, share in t.hangs_on),
        )
        for t in chart.tubes
    ]


def _heaters(chart: Chart) -> list[tuple[str, ...]]:
    return [("heater", "V RMS", "of")] + [
        (f"{one.part} {one.type}", f"{one.volts:.3g}", f"{one.rated:g}") for one in chart.heaters
    ]


def _resistors(chart: Chart) -> list[tuple[str, ...]]:
    """Resistors that take more than a hundredth of a watt, or have a rating they come near."""
    return [("resistor", "mA RMS", "W", "of")] + [
        (one.part, _m(one.amps), _g(one.watts), _g(one.rating))
        for one in chart.resistors
        if one.watts > 0.01 or (one.rating and one.watts > 0.2 * one.rating)
    ]


def _rectifiers(chart: Chart) -> list[tuple[str, ...]]:
    return [
        ("rectifier", "mean mA", "RMS mA", "peak mA", "peak inverse V", "peak A at the switch")
    ] + [
        (
            f"{r.part} {r.unit}".strip(),
            _m(r.mean_amps),
            _m(r.rms_amps),
            _m(r.peak_amps),
            f"{r.inverse_volts:.0f}",
            _g(r.switch_on_amps),
        )
        for r in chart.rectifiers
    ]


def _windings(chart: Chart) -> list[tuple[str, ...]]:
    return [("winding", "RMS mA", "of", "RMS V", "VA", "mean mA")] + [
        (
            f"{w.part} {w.winding}".strip(),
            _m(w.rms_amps),
            _m(w.rating),
            _v(w.rms_volts),
            f"{w.volt_amps:.3g}" if w.volt_amps > 1e-3 else "0",
            _m(w.mean_amps) if abs(w.mean_amps) > 1e-6 else "0",
        )
        for w in chart.windings
    ]


def _capacitors(chart: Chart) -> list[tuple[str, ...]]:
    return [("capacitor", "V peak", "switch-on V", "rated V", "ripple mA")] + [
        (
            c.part,
            _v(c.volts),
            _v(c.cold_volts),
            "-" if c.rating is None else f"{c.rating:g}",
            _m(c.ripple_amps) if c.ripple_amps > 5e-6 else "-",
        )
        for c in chart.capacitors
        if max(c.volts, c.cold_volts) > LEAST_VOLTS
    ]


def _corners(chart: Chart) -> list[tuple[str, ...]]:
    return [("", "low", "as drawn", "high", "high with these, low with the opposite")] + [
        (
            f"{one.what} {one.unit}",
            _g(one.low, 4),
            _g(one.nominal, 4),
            _g(one.high, 4),
            ", ".join(f"{name} {share:+.0%}" for name, share in one.parts),
        )
        for one in chart.corners
        if one.unit != "W" or one.high > LEAST_WATTS
    ]


def _v(value: float | None) -> str:
    return (
        "-"
        if value is None
        else (
            f"{value + 0.0:.1f}"
            if abs(value) >= 10
            else f"{value + 0.0:.2f}"
            if abs(value) >= 0.005
            else "0"
        )
    )


def _m(amps: float | None) -> str:
    return (
        "-"
        if amps is None
        else (
            f"{amps * factor('A', 'mA'):.3g}"
            if abs(amps) < 0.9995
            else f"{amps * factor('A', 'mA'):.0f}"
        )
    )


def _g(value: float | None, digits: int = 3) -> str:
    return "-" if value is None else f"{value:.{digits}g}"


def _band(low: float, high: float) -> str:
    return "" if abs(high - low) < 0.005 else f"{_v(low)} to {_v(high)}"

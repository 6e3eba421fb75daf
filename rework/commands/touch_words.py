"""Touch currents, faults and stored energy as text and as plain values for a machine.

The JSON of ``rework touch``: ``title``, ``line``, ``network`` (name, words, mark, source), ``limit_amps``, ``limit``,
``states``, ``unknown``, ``notes`` and ``touches``, each with the fields of ``touch.Touch``. ``rework faults``: ``title``,
``line``, ``limit_amps``, ``healthy``, ``unknown``, ``notes``, ``outcomes`` with the fields of ``faults.Outcome`` (``fault``
as its words, with ``part`` and ``kind``), and ``stored``. Amperes, volts, ohms, seconds, joules; infinite is null.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict

from rework.report import printable, table
from rework.safety.current.faults import FaultReport, Outcome
from rework.safety.current.person import assumed, why_assumed
from rework.safety.current.stored import Stored
from rework.safety.current.touch import Touch, TouchReport

#: Faults told one by one; the rest are counted.
MOST_TOLD = 25
FELT = ("0.5 mA is a convention: some people feel less (medians of about 0.25 mA have been measured), and a start at a small shock can hurt as well. "
        "Above some 5 mA not everybody can let go.")


def milliamperes(amps: float) -> str:
    """Return amperes as milliamperes with three figures."""
    return f"{amps * 1e3:.3g} mA" if amps >= 1e-6 else "under 0.001 mA"


def touch_text(report: TouchReport, *, heading: str, every: bool = False) -> str:
    """Return the table of one circuit: what is over first, and pairs that carry next to nothing only where asked for."""
    held = f"{report.network.words} ({report.network.mark}); limit {report.limit_words}"
    out = [f"{heading}: {printable(report.title)}", f"{report.line}; {report.states} states", held]
    shown = sorted(report.touches, key=lambda one: (one.verdict == "under", bool(one.other), -round(one.reading, 9), one.node, one.other))
    told = [one for one in shown if every or one.verdict != "under" or not one.other]
    if not report.touches:
        return "\n".join([*out, "The netlist names nothing that a hand can reach. Write touchable NODE, or a chassis, and ask again."])
    rows = [("from", "to", "reading", "network", "volts", "DC", "body", "verdict"), *(_touch_row(one) for one in told)]
    out += ["", table(rows)]
    for one in told:
        out += [f"  {_between(one)}: {one.state}; {one.condition}", f"      way {one.path}"]
    if len(told) < len(shown):
        out.append(f"  {len(shown) - len(told)} pairs under the limit; --all prints them")
    out += [f"  missing: {words}" for words in report.unknown]
    if every:
        out += ["", "Assumed, where the netlist does not say:", *_assumptions()]
    return "\n".join([*out, "", FELT, *report.notes])


def _assumptions() -> list[str]:
    return [f"  {name} = {value:g}: {why_assumed(name)}" for name, value in assumed().items()]


def _touch_row(one: Touch) -> tuple[str, ...]:
    return (one.node, one.other or "earth", milliamperes(one.reading), milliamperes(one.amps), f"{one.volts:.3g} V", milliamperes(one.dc_amps),
            f"{milliamperes(one.body_amps)} at {one.body_volts:.3g} V", one.verdict.upper() if one.verdict != "under" else one.verdict)


def _between(one: Touch | Outcome) -> str:
    return f"{one.node} to {one.other or 'earth'}"


def side_by_side(before: TouchReport, after: TouchReport) -> str:
    """Return the worst reading of every node to earth before and after."""
    then, now = ({one.node: one for one in report.touches if not one.other} for report in (before, after))
    rows = [("node to earth", "before", "after")]
    for node in sorted(then.keys() | now.keys()):
        rows.append((node, *(f"{milliamperes(at[node].reading)} {at[node].verdict}" if node in at else "not there" for at in (then, now))))
    return table(rows)


def faults_text(report: FaultReport, stored: Sequence[Stored], *, heading: str, every: bool = False) -> str:
    """Return the faults worst first, what clears each and what would prevent it, then what the capacitors keep."""
    worse = [one for one in report.outcomes if one.verdict != "under" and one.lasting > report.healthy * 1.001 or one.reading > report.limit_amps
             and one.reading > one.before * 1.001]
    told = list(report.outcomes) if every else worse[:MOST_TOLD]
    count = f"{len(report.outcomes)} single faults in {report.states} states"
    out = [f"{heading}: {printable(report.title)}", f"{report.line}; {count}; without a fault {milliamperes(report.healthy)}"]
    if report.healthy > report.limit_amps:
        out.append("OVER THE LIMIT WITHOUT ANY FAULT: see rework touch.")
    for one in told:
        out += [f"  {one.fault.what}: {_between(one)} {milliamperes(one.reading)}, {one.volts:.3g} V; {one.verdict.upper()}",
                f"      when     {one.state}; {one.condition}", f"      clears   {one.cleared}", f"      prevent  {one.prevented}"]
    left = len(report.outcomes) - len(told)
    if left:
        out.append(f"  {left} more faults" + (" that add nothing" if len(worse) <= MOST_TOLD else "") + "; --all prints them")
    out += ["", "After the plug is out:", *(f"  {one.words()}" for one in stored)] if stored else []
    out += [f"  missing: {words}" for words in report.unknown]
    return "\n".join([*out, "", *report.notes])


def touch_json(report: TouchReport) -> dict:
    """Return a touch report as plain values."""
    return {"title": report.title, "line": report.line, "limit_amps": report.limit_amps, "limit": report.limit_words, "states": report.states,
            "network": {name: getattr(report.network, name) for name in ("name", "words", "mark", "source")},
            "unknown": list(report.unknown), "notes": list(report.notes), "touches": [asdict(one) for one in report.touches]}


def faults_json(report: FaultReport, stored: Sequence[Stored]) -> dict:
    """Return a fault report as plain values."""
    outcomes = [{**{name: value for name, value in asdict(one).items() if name != "fault"}, "fault": one.fault.what, "part": one.fault.part,
                 "kind": one.fault.kind} for one in report.outcomes]
    kept = [{"part": one.part, "farads": one.farads, "volts": one.volts, "joules": one.joules,
             "positions": [{"state": words, "ohms": _finite(ohms), "seconds_to_60_volts": _finite(sixty), "seconds_to_34_volts": _finite(low)}
                           for words, ohms, sixty, low in one.positions]} for one in stored]
    return {"title": report.title, "line": report.line, "limit_amps": report.limit_amps, "healthy": report.healthy, "states": report.states,
            "unknown": list(report.unknown), "notes": list(report.notes), "outcomes": outcomes, "stored": kept}


def _finite(value: float) -> float | None:
    return None if math.isinf(value) else value


def touch_plot(reports: Sequence[tuple[str, TouchReport]], file: str) -> None:
    """Write a picture of the worst reading of every node to earth, one bar a report, on a logarithmic axis with the limit drawn."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    worst = [(name, {one.node: one.reading for one in report.touches if not one.other}) for name, report in reports]
    nodes = sorted({node for _, at in worst for node in at}, key=lambda node: (-max(at.get(node, 0.0) for _, at in worst), node))
    figure = Figure(figsize=(9, 1.6 + 0.45 * max(len(nodes), 1)), layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.add_subplot()
    height = 0.8 / len(worst)
    for number, ((name, at), hatch) in enumerate(zip(worst, ("", "///"), strict=False)):
        places = [place + (number - (len(worst) - 1) / 2) * height for place in range(len(nodes))]
        axes.barh(places, [max(at.get(node, 0.0) * 1e3, 1e-3) for node in nodes], height, label=name, hatch=hatch, edgecolor="black",
                  color=("#d95f02", "#1b9e77")[number % 2])
    axes.axvline(reports[0][1].limit_amps * 1e3, color="black", linewidth=2, linestyle="--", label=f"limit {reports[0][1].limit_amps * 1e3:g} mA")
    axes.set(xscale="log", yticks=range(len(nodes)), yticklabels=nodes, xlabel="worst reading to earth, mA rms",
             title="Computed from the netlist as written")
    axes.set_xlim(left=1e-3)
    axes.invert_yaxis()
    axes.grid(axis="x", alpha=0.4)
    figure.legend(loc="outside lower center", ncols=3)
    figure.savefig(file, metadata={"Date": None} if file.endswith(".svg") else None)

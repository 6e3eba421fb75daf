"""Touch currents as text, as a picture and as plain values for a machine.

The JSON of ``rework touch``: ``title``, ``line``, ``network`` (name, words, mark, source, caution),
``limit_amps``, ``limit``, ``states``, ``tried``, ``varied``, ``assumed`` (by name, SI), ``body``,
``unknown``, ``unproved``, ``notes`` and ``touches``, each with the fields of ``touch.Touch`` and
``feels``. Amperes, volts, ohms.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict

from rework.report.terminal import printable, table
from rework.touch.person import feels, limits, why_assumed
from rework.touch.touch import Touch, TouchReport

FELT = (
    "What it feels like differs from person to person and with every contact: some feel less than"
    " 0.5 mA (medians of about 0.25 mA have been measured), a start at a small shock can hurt as"
    " well, and above some 5 mA not everybody can let go. The words follow the larger of the"
    " currents printed."
)
#: Direct current for the same effect, over alternating: about four times (IEC 60479-1, from
#: memory).
DIRECT_IS_MILDER = 4.0
#: Columns of a terminal that running text is set to.
WIDTH = 118


def milliamperes(amps: float) -> str:
    """Return amperes as milliamperes with three figures."""
    return f"{amps * 1e3:.3g} mA" if amps >= 1e-6 else "under 0.001 mA"


def direct_words(amps: float, volts: float) -> str:
    """Return a direct current, with its volts where they are worth telling."""
    if amps < 1e-6:
        return "-"
    return f"{milliamperes(amps)} from {volts:.0f} V" if volts > 60 else milliamperes(amps)


def wrapped(text: str, indent: str = "") -> str:
    """Return running text in lines of a terminal's width."""
    return textwrap.fill(
        text,
        WIDTH,
        initial_indent=indent,
        subsequent_indent=indent + ("  " if indent else ""),
        break_long_words=False,
        break_on_hyphens=False,
    )


def named(verdict: str) -> str:
    """Return a verdict as a table shows it: in capitals where something is to be done."""
    return verdict if verdict in ("under", "cleared") else verdict.upper()


def touch_text(report: TouchReport, *, heading: str, every: bool = False) -> str:
    """Return the table of one circuit: what is over first, and pairs that carry next to nothing
    only where asked for.
    """
    out = [
        f"{heading}: {printable(report.title)}",
        f"{report.line}; {report.states} states tried",
        f"read with {report.network.words} ({report.network.mark})",
        wrapped(f"limit {report.limit_words}"),
    ]
    shown = sorted(
        report.touches,
        key=lambda one: (
            one.verdict == "under",
            bool(one.other),
            -round(one.reading, 9),
            one.node,
            one.other,
        ),
    )
    told = [one for one in shown if every or one.verdict != "under" or not one.other]
    if not report.touches:
        return "\n".join(
            [
                *out,
                (
                    "The netlist names nothing that a hand can reach. Write touchable NODE, or a"
                    " chassis, and ask again."
                ),
            ]
        )
    rows = [
        (
            "from",
            "to",
            "reading",
            "through it",
            "open volts",
            "DC",
            f"body of {report.body}",
            "insulated",
            "feels like",
            "verdict",
        ),
        *(map(_touch_row, told)),
    ]
    out += ["", table(rows), "", *_when(told)]
    if len(told) < len(shown):
        out.append(f"  pairs under the limit: {len(shown) - len(told)}; --all prints them")
    out += [wrapped(f"missing: {words}", "  ") for words in report.unknown]
    out += _unproved(report)
    if every:
        out += [
            "",
            wrapped(report.varied),
            "",
            (
                "Limits known (--limit takes the first of them; direct current and volts always"
                " count):"
            ),
            *_limits(),
            "",
            *assumptions(report.assumed),
        ]
    return "\n".join(
        [*out, "", wrapped(FELT), wrapped(report.network.caution), *map(wrapped, report.notes)]
    )


def _limits() -> list[str]:
    return table(
        [
            (
                f"  {one.amps * 1e3:g} mA" if one.amps else f"  {one.volts:g} V",
                one.kind,
                one.standard,
                one.case,
                one.mark,
            )
            for one in limits()
        ]
    ).splitlines()


def assumptions(assumed: Mapping[str, float]) -> list[str]:
    """Return what was assumed, and why, a line each."""
    return [
        "Assumed, where the netlist does not say (--assume NAME=VALUE changes it):",
        *(
            wrapped(f"{name} = {value:g}: {why_assumed(name)}", "  ")
            for name, value in assumed.items()
        ),
    ]


def _touch_row(one: Touch) -> tuple[str, ...]:
    return (
        one.node,
        one.other or "earth",
        milliamperes(one.reading),
        milliamperes(one.amps),
        f"{one.volts:.3g} V",
        direct_words(one.dc_amps, one.dc_volts),
        f"{milliamperes(one.body_amps)} at {one.body_volts:.3g} V",
        "" if one.other else milliamperes(one.insulated_amps),
        _feels(one),
        named(one.verdict),
    )


def _feels(one: Touch) -> str:
    return feels(max(one.amps, one.body_amps, one.dc_amps / DIRECT_IS_MILDER))


def _when(told: Sequence[Touch]) -> Iterable[str]:
    """Return the worst states, the places that share one together, and the way the current takes to
    the first of them.
    """
    alike: dict[tuple[str, str], list[Touch]] = {}
    for one in told:
        alike.setdefault((one.state, one.condition), []).append(one)
    for (state, condition), ones in alike.items():
        yield wrapped(
            f"{', '.join(map(_between, ones))}: {state}{'; ' + condition if condition else ''}",
            "  ",
        )
        yield wrapped(f"way {ones[0].path}", "    ")


def _unproved(report: TouchReport) -> list[str]:
    """Return what is to be said of insulation nobody vouches for."""
    worse = [
        one
        for one in report.touches
        if one.unproved_reading > max(report.limit_amps, one.reading * 1.01)
    ]
    if not worse:
        return []
    most = max(worse, key=lambda one: one.unproved_reading)
    return [
        wrapped(
            "These figures hold only while this insulation does, which nothing written vouches"
            f" for: {', '.join(report.unproved)}. Without it: {_between(most)}"
            f" {milliamperes(most.unproved_reading)}.",
            "  ",
        )
    ]


def _between(one: Touch) -> str:
    return f"{one.node} to {one.other}" if one.other else one.node


def side_by_side(before: TouchReport, after: TouchReport) -> str:
    """Return the worst reading of every node to earth before and after."""
    then, now = (
        {one.node: one for one in report.touches if not one.other} for report in (before, after)
    )
    rows = [("node to earth", "before", "", "after", "")]
    for node in sorted(then.keys() | now.keys()):
        rows.append(
            (
                node,
                *(
                    cell
                    for at in (then, now)
                    for cell in (
                        (milliamperes(at[node].reading), named(at[node].verdict))
                        if node in at
                        else ("not there", "")
                    )
                ),
            )
        )
    return table(rows)


def touch_json(report: TouchReport) -> dict:
    """Return a touch report as plain values."""
    return {
        "title": report.title,
        "line": report.line,
        "limit_amps": report.limit_amps,
        "limit": report.limit_words,
        "states": report.states,
        "tried": report.tried,
        "varied": report.varied,
        "assumed": dict(report.assumed),
        "body": report.body,
        "network": {
            name: getattr(report.network, name)
            for name in ("name", "words", "mark", "source", "caution")
        },
        "unknown": list(report.unknown),
        "unproved": list(report.unproved),
        "notes": [FELT, *report.notes],
        "touches": [{**asdict(one), "feels": _feels(one)} for one in report.touches],
    }


def touch_drawn(reports: Sequence[tuple[str, TouchReport]]):
    """Return a figure of the worst reading of every node to earth, one bar a report, on a
    logarithmic axis with the limit drawn.
    """
    from rework.commands.pictures import blank

    worst = [
        (name, {one.node: one.reading for one in report.touches if not one.other})
        for name, report in reports
    ]
    nodes = sorted(
        {node for _, at in worst for node in at},
        key=lambda node: (-max(at.get(node, 0.0) for _, at in worst), node),
    )
    limit = reports[0][1].limit_amps * 1e3
    figure = blank(9, 1.8 + 0.55 * max(len(nodes), 1))
    axes = figure.add_subplot()
    height = 0.8 / len(worst)
    for number, ((name, at), hatch, colour) in enumerate(
        zip(worst, ("", "////"), ("#b2440d", "#d8efe6"), strict=False)
    ):
        places = [
            place + (number - (len(worst) - 1) / 2) * height
            for place, node in enumerate(nodes)
            if node in at
        ]
        values = [max(at[node] * 1e3, LEAST_DRAWN) for node in nodes if node in at]
        axes.barh(places, values, height, label=name, hatch=hatch, edgecolor="black", color=colour)
        for place, value in zip(places, values, strict=True):
            axes.annotate(
                f"{value:.3g} mA" if value > LEAST_DRAWN else f"under {LEAST_DRAWN:g} mA",
                (value, place),
                (4, 0),
                textcoords="offset points",
                va="center",
                fontsize=8,
            )
    axes.axvline(limit, color="black", linewidth=2, linestyle="--", label=f"limit {limit:g} mA")
    axes.set(
        xscale="log",
        yticks=range(len(nodes)),
        yticklabels=nodes,
        xlabel="worst reading to earth, mA RMS",
        title="Touch current, computed from the netlist as written",
    )
    axes.set_xlim(
        LEAST_DRAWN, 10 * max([limit, *(value * 1e3 for _, at in worst for value in at.values())])
    )
    axes.xaxis.set_major_formatter("{x:g}")
    axes.invert_yaxis()
    axes.grid(axis="x", alpha=0.4)
    axes.set_axisbelow(True)
    figure.legend(loc="outside lower center", ncols=3)
    return figure


#: Milliamperes at the left end of the picture.
LEAST_DRAWN = 1e-3

"""Touch currents as tables and sentences: what terminal, page and paper say of them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from rework.report.table import Cell, Column, Mark, Table
from rework.touch.outcomes import FaultReport
from rework.touch.person import feels, limit, limits, why_assumed
from rework.touch.touch import Touch, TouchReport

FELT = (
    "What a current feels like differs from person to person and with every contact. Some people"
    " feel less than 0.5 mA (medians of about 0.25 mA have been measured). A start at a small shock"
    " can also cause injury. Above about 5 mA some people cannot let go. The words follow the"
    " largest of the currents printed."
)
NOTHING_TOUCHABLE = (
    "The netlist names nothing that a person can touch. Write touchable NODE, or a chassis, and run"
    " this again."
)
BOTH_TOLD = (
    "The measuring network is a standard load for readings that are compared. It represents"
    " a person only while the current is small: more volts across a body give it less impedance."
    " The column through a body is by the table of IEC 60479-1."
)
TOLERANCES = (
    "Resistors, pots, chokes and capacitors are at the end of their tolerance that is worse for the"
    " person, by the sign of their sensitivity."
)
#: Direct current for the same effect, over alternating: about four times (IEC 60479-1, from
#: memory).
DIRECT_IS_MILDER = 4.0
#: Less current than this is not worth a figure, amperes.
LEAST_AMPS = 1e-6
#: Nor are fewer volts: what is left of them is rounding.
LEAST_VOLTS = 1e-3
#: Less direct volts than this are not shown beside their current (IEC 61140: extra-low voltage).
LEAST_DC_VOLTS = 60.0


def milliamperes(amps: float) -> str:
    """Return amperes as milliamperes with three figures."""
    return f"{amps * 1e3:.3g} mA" if amps >= LEAST_AMPS else "under 0.001 mA"


def direct_words(amps: float, volts: float) -> str:
    """Return a direct current, with its volts where they matter."""
    if amps < LEAST_AMPS:
        return "–"
    return (
        f"{milliamperes(amps)} from {volts:.0f} V" if volts > LEAST_DC_VOLTS else milliamperes(amps)
    )


def verdict_words(verdict: str) -> str:
    """Return a verdict as a table shows it: in capitals where something has to be done."""
    return verdict if verdict in ("under", "cleared") else verdict.upper()


def touch_table(report: TouchReport, *, every: bool = False) -> Table:
    """Return the worst of every node and pair, what is over its limit first; pairs under the limit
    only with ``every``.
    """
    rows = listed_touches(report, every=every)
    return Table(
        "touch",
        "Touch current",
        "",
        (
            Column("from", "name"),
            Column("to"),
            Column("reading", "figure", "touch", "mA"),
            Column("network", "figure", "touch", "mA"),
            Column("open", "figure", "touch", "V"),
            Column("DC", "text", "touch"),
            Column(f"through a body ({report.body})", "figure", "touch", "mA"),
            Column("strays", "figure", "touch", "mA"),
            Column("feels like"),
            Column("verdict"),
        ),
        tuple(map(_touch_row, rows)),
        why=NOTHING_TOUCHABLE,
        marks=tuple(map(_mark, rows)),
    )


def listed_touches(report: TouchReport, *, every: bool = False) -> list[Touch]:
    """Return the touches in the order of the table."""
    ordered = sorted(
        report.touches,
        key=lambda touch: (
            touch.verdict == "under",
            bool(touch.other),
            -round(touch.reading, 9),
            touch.node,
            touch.other,
        ),
    )
    return [touch for touch in ordered if every or touch.verdict != "under" or not touch.other]


def _touch_row(touch: Touch) -> tuple[Cell, ...]:
    return (
        touch.node,
        touch.other or "earth",
        _milli(touch.reading),
        _milli(touch.amps),
        f"{touch.volts:.3g}" if touch.volts >= LEAST_VOLTS else "<0.001",
        direct_words(touch.dc_amps, touch.dc_volts),
        _milli(touch.body_amps),
        "" if touch.other else _milli(touch.insulated_amps),
        feeling(touch),
        verdict_words(touch.verdict),
    )


def _milli(amps: float) -> Cell:
    return amps * 1e3 if amps >= LEAST_AMPS else "<0.001"


def _mark(touch: Touch) -> Mark:
    return "" if touch.verdict == "under" else "bad"


def feeling(touch: Touch) -> str:
    """Return what the largest of a touch's currents feels like."""
    return feels(max(touch.amps, touch.body_amps, touch.dc_amps / DIRECT_IS_MILDER))


def worst_states(touches: Sequence[Touch]) -> Iterable[tuple[str, str]]:
    """Return for the places that share a worst state that state, and the path of the current to the
    first of them; those to others where they come through other parts. What passes no current has
    no path to tell.
    """
    alike: dict[str, list[Touch]] = {}
    for touch in touches:
        if max(touch.amps, touch.body_amps, touch.dc_amps) < LEAST_AMPS:
            continue
        alike.setdefault(_state_words(touch), []).append(touch)
    for state, places in alike.items():
        where = ", ".join(map(between, places))
        paths = {touch.path.rpartition(" > ")[0]: touch.path for touch in reversed(places)}
        ways = sorted(paths.values(), key=[touch.path for touch in places].index)
        yield f"{where}: {state}", f"path {'; '.join(ways)}"


def _state_words(touch: Touch) -> str:
    """Return the worst state of a touch, with the parts that are at the other end of their
    tolerance; that of the direct current too where it matters.
    """
    if touch.only_together:
        share = f"AC and DC together are {touch.together:.2g} times the limit"
        return f"{touch.together_state}: {share}"
    words = touch.state + (f"; {touch.condition}" if touch.condition else "") + _ends(touch.less)
    if touch.dc_volts > LEAST_DC_VOLTS and touch.dc_amps > limit("2 DC").amps:
        words += f"; DC: {touch.dc_state}{_ends(touch.dc_less)}"
    return words


def _ends(less: Sequence[tuple[str, str]]) -> str:
    """Return the parts that are at the end of their tolerance which passes less."""
    ends = ", ".join(f"{part} {end}" for part, end in less)
    return f"; tolerances: {ends}" if ends else ""


def between(touch: Touch) -> str:
    """Return the node, or the pair of nodes."""
    return f"{touch.node} to {touch.other}" if touch.other else touch.node


def gap_words(report: TouchReport | FaultReport) -> list[str]:
    """Return a sentence for every value that is not written, and for every part that is taken as
    parts of its size are.
    """
    missing = [f"Missing: {words}" for words in report.unknown]
    return missing + [f"Assumed: {words}" for words in report.usual]


def unproved_words(report: TouchReport) -> str:
    """Return what depends on insulation that nothing in the netlist specifies; "" for nothing."""
    worse = [
        touch
        for touch in report.touches
        if touch.unproved_reading > max(report.limit_amps, touch.reading * 1.01)
    ]
    if not worse:
        return ""
    most = max(worse, key=lambda touch: touch.unproved_reading)
    return (
        "These figures are true only while this insulation holds, which nothing in the netlist"
        f" specifies: {', '.join(report.unproved)}. If it breaks down: {between(most)}"
        f" {milliamperes(most.unproved_reading)}."
    )


def limits_table() -> Table:
    """Return every limit that is known, with its standard."""
    return Table(
        "limits",
        "Limits (--limit takes the first column; direct current and volts always count)",
        "",
        (
            Column("limit", "name"),
            Column("kind"),
            Column("standard"),
            Column("case"),
            Column("known"),
        ),
        tuple(
            (
                f"{entry.amps * 1e3:g} mA" if entry.amps else f"{entry.volts:g} V",
                entry.kind,
                entry.standard,
                entry.case,
                entry.mark,
            )
            for entry in limits()
        ),
    )


def assumed_table(assumed: Mapping[str, float]) -> Table:
    """Return what was assumed, and why."""
    return Table(
        "assumed",
        "Assumptions where the netlist does not say (--assume NAME=VALUE changes one)",
        "",
        (Column("name", "name"), Column("value, SI", "figure"), Column("why")),
        tuple((name, f"{value:g}", why_assumed(name)) for name, value in assumed.items()),
    )


def side_by_side(before: TouchReport, after: TouchReport) -> Table:
    """Return the worst reading of every node to earth before and after."""
    then, now = (
        {touch.node: touch for touch in report.touches if not touch.other}
        for report in (before, after)
    )
    nodes = sorted(then.keys() | now.keys())
    return Table(
        "sides",
        "Before and after",
        "",
        (
            Column("node to earth", "name"),
            Column("before", "figure", "touch", "mA"),
            Column(""),
            Column("after", "figure", "touch", "mA"),
            Column(""),
        ),
        tuple(
            (
                node,
                *(
                    cell
                    for side in (then, now)
                    for cell in (
                        (_milli(side[node].reading), verdict_words(side[node].verdict))
                        if node in side
                        else ("not there", "")
                    )
                ),
            )
            for node in nodes
        ),
        marks=tuple(_mark(now[node]) if node in now else "" for node in nodes),
    )

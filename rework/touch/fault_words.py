"""Single faults and stored charge as tables and sentences for terminal, page and paper."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from rework.report.figures import shown
from rework.report.table import Cell, Column, Table
from rework.touch.outcomes import VERDICTS, Ended, FaultReport, Outcome, seconds_words
from rework.touch.stored import Stored
from rework.touch.words import direct_words, milliamperes

#: Faults of one kind told one by one; the rest are counted.
MOST_TOLD = 8
#: What the faults of one kind are, for the head of their table.
KINDS = {
    "open": "a joint or a part open",
    "earth": "an earth joint open",
    "supply": "a supply conductor open",
    "short": "a part short",
    "bridging": "a part short on the line or on what a hand can reach",
    "leak": "a capacitor leaking tenfold",
    "insulation": "insulation broken down",
    "metalwork": "insulation to a shaft or frame broken down",
    "heater": "heater shorted to cathode",
    "lead": "a line lead off its lug and onto metal",
    "umbilical": "an umbilical pulled",
    "contact": "a contact of an umbilical open",
    "electrodes": "electrodes of a tube shorted",
    "contacts": "neighbouring contacts of a connector bridged",
    "pins": "neighbouring pins of a socket bridged",
    "tube": "a tube out of its socket",
    "outlet": "an outlet wired the wrong way round",
}
HEADS = {
    "over": "OVER THE LIMIT, AND NOTHING ENDS IT",
    "not known": "NOT KNOWN: under the limit as far as it goes, but a value is missing",
    "breaker": (
        "LEFT TO THE BREAKER OF THE BUILDING: metal stands at volts until it trips; nothing in the"
        " set can be faster"
    ),
    "cleared": "Cleared by a fuse of the set: metal stands at volts until it has blown",
}
SHORT = {
    "over": "stay over the limit, and nothing ends them",
    "not known": "are not known, for want of a value",
    "breaker": "are left to the breaker of the building",
    "cleared": "are cleared by a fuse of the set",
    "under": "never pass the limit",
}
BUILDING = (
    "Not a fault of the set, and not counted in the exit status: with hot and neutral swapped and"
    " the earth tied to that neutral, all earthed metal is at line volts while nothing looks wrong."
    " No fuse or switch in a set can end it."
)
NOT_DISCHARGED = (
    "Where nothing discharges a capacitor, it stays charged. Short it through a resistor with one"
    " hand, and measure 0 V before you touch it."
)
#: At so few volts a charge is not followed further (``to 34 V``).
HARMLESS = 34.0


def by_verdict(report: FaultReport, *, every: bool = False) -> Iterator[tuple[str, list[Outcome]]]:
    """Return for each verdict but ``under``, the worst first, the faults that add to what is there
    without them; with ``every`` all of them.
    """
    for verdict in VERDICTS[:-1]:
        yield (
            verdict,
            [
                outcome
                for outcome in report.outcomes
                if outcome.verdict == verdict
                and (
                    every
                    or outcome.adds
                    or (verdict == "not known" and outcome.reading > report.limit_amps)
                )
            ],
        )


def kind_tables(outcomes: Sequence[Outcome], *, every: bool = False) -> Iterator[Table]:
    """Return a table a kind of fault, what prevents them all said once; the first few rows of each,
    or with ``every`` all.
    """
    kinds: dict[str, list[Outcome]] = {}
    for outcome in outcomes:
        kinds.setdefault(outcome.fault.kind, []).append(outcome)
    for kind, same in kinds.items():
        listed = same if every else same[:MOST_TOLD]
        hidden = len(same) - len(listed)
        lead = f"Prevented by {same[0].prevented}."
        if hidden:
            lead += f" {hidden:,} more; --all prints them."
        columns, rows = fault_rows(listed)
        yield Table(
            f"faults-{kind}",
            f"{KINDS[kind]}: {len(same):,}",
            lead,
            columns,
            rows,
            parts=tuple(outcome.fault.part for outcome in listed),
            marks=tuple("" if one.verdict in ("cleared", "breaker") else "bad" for one in listed),
        )


def fault_rows(
    outcomes: Sequence[Outcome],
) -> tuple[tuple[Column, ...], tuple[tuple[Cell, ...], ...]]:
    """Return columns and rows for faults of one verdict."""
    ended = outcomes[0].verdict in ("breaker", "cleared")
    direct = any(outcome.dc_is_over for outcome in outcomes)
    columns = [
        Column("fault", "name"),
        Column("touched"),
        Column("through a person", "figure", "touch", "mA"),
        *([Column("direct current", "text", "touch")] if direct else []),
        Column("metal at" if ended else "open circuit", "figure", "touch"),
        *([Column("ended by")] if ended else []),
        Column("worst state"),
    ]
    rows: list[tuple[Cell, ...]] = []
    for one in outcomes:
        only_direct = one.dc_is_over and not one.adds_alternating
        bond = one.bond_volts if ended and one.bond_volts else one.volts
        rows.append(
            (
                _what(one),
                where(one.dc_node, one.dc_other) if only_direct else where(one.node, one.other),
                one.reading * 1e3 if one.reading >= 1e-6 else "–",
                *([direct_words(one.dc_amps, one.dc_volts)] if direct else []),
                f"{one.dc_volts:.0f} V DC" if only_direct else f"{bond:.3g} V",
                *([_ended_by(one)] if ended else []),
                one.state + (f"; {one.condition}" if one.condition else ""),
            )
        )
    return tuple(columns), tuple(rows)


def _ended_by(outcome: Outcome) -> str:
    if outcome.verdict == "cleared":
        return cleared_words(outcome.ended)
    return f"building, {outcome.ended.line_amps:.3g} A"


def cleared_words(ended: Ended) -> str:
    """Return the fuse that opens, within which time, and what it carries."""
    if math.isinf(ended.seconds) or ended.is_beyond_breaking:
        return "a fuse of the set"
    return (
        f"{ended.fuse} within {seconds_words(ended.seconds)} ({ended.amps:.3g} A, rating"
        f" {ended.rating:g} A)"
    )


def where(node: str, other: str) -> str:
    """Return a node, or a pair of nodes."""
    return f"{node} to {other}" if other else node


def _what(one: Outcome) -> str:
    """Return a fault without what the head of its table says already."""
    return {
        "lead": one.fault.what.removeprefix("line lead ").replace(" off its lug and", ""),
        "insulation": one.fault.what.removesuffix(" broken down"),
        "metalwork": one.fault.what.removesuffix(" broken down"),
        "leak": one.fault.what.removesuffix(" leaking tenfold"),
    }.get(one.fault.kind, one.fault.what)


def under_table(report: FaultReport) -> Table:
    """Return the faults that never pass the limit."""
    under = [outcome for outcome in report.outcomes if outcome.verdict == "under"]
    return Table(
        "faults-under",
        "Never over the limit",
        "",
        (
            Column("fault", "name"),
            Column("touched"),
            Column("reading", "figure", "touch"),
            Column("direct current", "text", "touch"),
        ),
        tuple(
            (
                one.fault.what,
                where(one.node, one.other),
                milliamperes(one.reading),
                direct_words(one.dc_amps, one.dc_volts),
            )
            for one in under
        ),
        parts=tuple(one.fault.part for one in under),
    )


def faults_table(report: FaultReport) -> Table:
    """Return every fault that raises a touch current over the limit, in one table, worst first."""
    worse = [outcome for outcome in report.outcomes if outcome.adds]
    over = ", which is over the limit already" if report.healthy > report.limit_amps else ""
    return Table(
        "faults",
        f"Single faults that raise a touch current over the limit: {len(worse):,} of"
        f" {len(report.outcomes):,} tried",
        f"Without a fault {milliamperes(report.healthy)}{over}. {report.line}",
        (
            Column("fault", "name"),
            Column("between"),
            Column("reading", "figure", "touch"),
            Column("verdict"),
            Column("cleared by"),
            Column("prevented by"),
        ),
        tuple(
            (
                one.fault.what,
                where(one.node, one.other or "earth"),
                milliamperes(one.reading),
                one.verdict,
                one.cleared,
                one.prevented,
            )
            for one in worse
        ),
        parts=tuple(one.fault.part for one in worse),
        marks=tuple("" if one.verdict in ("under", "cleared") else "bad" for one in worse),
    )


def stored_table(stored: Sequence[Stored]) -> Table:
    """Return what the capacitors hold after the plug is out, a row for each way they discharge."""
    rows: list[tuple[Cell, ...]] = []
    for one in stored:
        if math.isinf(one.farads):
            unknown = "no capacitance in the netlist: assume that it is charged. Discharge it."
            rows.append((one.part, "not known", "", unknown, "", "", ""))
            continue
        for words, ohms, sixty, low in _alike(one):
            discharge: tuple[Cell, ...] = (
                ("nothing discharges it", "", "")
                if math.isinf(ohms) and one.volts > HARMLESS
                else (seconds(sixty), seconds(low), ohms_words(ohms))
            )
            rows.append((one.part, f"{one.volts:.0f}", f"{one.joules:.3g}", *discharge, words))
    return Table(
        "stored",
        "Stored charge after the plug is out",
        "Discharge every capacitor, then measure: these figures are computed, not measured.",
        (
            Column("capacitor", "name"),
            Column("charge", "figure", "stored", "V"),
            Column("energy", "figure", "stored", "J"),
            Column("to 60 V", "text", "stored"),
            Column("to 34 V", "text", "stored"),
            Column("through", "text", "stored"),
            Column("position"),
        ),
        tuple(rows),
        parts=tuple(str(row[0]) for row in rows),
    )


def keeps_charge(stored: Sequence[Stored]) -> bool:
    """Return whether a capacitor keeps its charge in some position."""
    return any(math.isinf(ohms) for one in stored for _, ohms, _, _ in one.positions)


def seconds(value: float) -> str:
    """Return seconds with three figures, or that it is at once."""
    return "at once" if value < 1e-3 else f"{value:.3g} s"


def ohms_words(ohms: float) -> str:
    """Return a discharge resistance; a dash where there is none."""
    return "–" if math.isinf(ohms) else shown(ohms, "ohm")


def _alike(one: Stored) -> Iterator[tuple[str, float, float, float]]:
    """Return the positions of a capacitor, those in which it discharges alike together."""
    alike: dict[tuple[float, ...], list[str]] = {}
    for words, ohms, sixty, low in one.positions:
        alike.setdefault(tuple(float(f"{value:.3g}") for value in (ohms, sixty, low)), []).append(
            words
        )
    every = [position[0] for position in one.positions]
    for (ohms, sixty, low), same in alike.items():
        yield "any position" if len(alike) == 1 else _places(same, every), ohms, sixty, low


def _places(some: Sequence[str], every: Sequence[str]) -> str:
    """Return some of the positions as a phrase; switches are left out where they make no
    difference.
    """

    def pulled(words: str) -> str:
        return (
            ", ".join(word for word in words.split(", ") if word.endswith(" pulled"))
            or "umbilical in place"
        )

    places: dict[str, None] = {}
    for words in some:
        whole = {other for other in every if pulled(other) == pulled(words)} <= set(some)
        places[pulled(words) if whole else words] = None
    return " or ".join(places)

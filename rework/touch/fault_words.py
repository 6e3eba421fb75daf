"""Single faults as tables and sentences for terminal, page and paper."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from rework.report.table import Cell, Column, Table
from rework.touch.fuses import Overload
from rework.touch.outcomes import (
    VERDICTS,
    Ended,
    FaultReport,
    Outcome,
    beyond_words,
    seconds_words,
)
from rework.touch.words import LEAST_AMPS, direct_words, milliamperes

#: Faults of one kind told one by one; the rest are counted.
MOST_TOLD = 8
#: What the faults of one kind are, for the head of their table.
KINDS = {
    "open": "a joint or a part open",
    "earth": "an earth joint open",
    "supply": "a supply conductor open",
    "short": "a part short",
    "bridging": "a part short on the line or on touchable parts",
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
    "not known": "NOT KNOWN: under the limit as far as it was computed, but a value is missing",
    "breaker": (
        "LEFT TO THE BREAKER OF THE BUILDING: the metal is live until it trips; nothing in the set"
        " can be faster"
    ),
    "cleared": "Cleared by a fuse of the set: the metal is live until the fuse has opened",
}
SHORT = {
    "over": "stay over the limit, and nothing ends them",
    "not known": "are not known, because a value is missing",
    "breaker": "are left to the breaker of the building",
    "cleared": "are cleared by a fuse of the set",
    "under": "never pass the limit",
}
BUILDING = (
    "Not a fault of the set, and not counted in the exit status. With hot and neutral swapped and"
    " the earth contact joined to that neutral, all earthed metal is at line volts while nothing"
    " looks wrong. No fuse or switch in a set can end it."
)
#: A fuse that surely carries more than so many times the current of a transformer is reported.
OVERLOADED = 1.1


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
            marks=tuple(
                "" if outcome.verdict in ("cleared", "breaker") else "bad" for outcome in listed
            ),
        )


def fault_rows(
    outcomes: Sequence[Outcome],
) -> tuple[tuple[Column, ...], tuple[tuple[Cell, ...], ...]]:
    """Return columns and rows for faults of one verdict."""
    ended = outcomes[0].verdict in ("breaker", "cleared")
    direct = any(outcome.dc_is_over or outcome.only_together for outcome in outcomes)
    columns = [
        Column("fault", "name"),
        Column("touched"),
        Column("reading", "figure", "touch", "mA"),
        Column("through a body", "figure", "touch", "mA"),
        *([Column("direct current", "text", "touch")] if direct else []),
        Column("metal at" if ended else "open circuit", "figure", "touch"),
        *([Column("ended by")] if ended else []),
        Column("worst state"),
    ]
    rows: list[tuple[Cell, ...]] = []
    for result in outcomes:
        only_direct = result.dc_is_over and not result.adds_alternating
        bond = result.bond_volts if ended and result.bond_volts else result.volts
        state = result.state + (f"; {result.condition}" if result.condition else "")
        rows.append(
            (
                _what(result),
                where(result.dc_node, result.dc_other)
                if only_direct
                else where(result.node, result.other),
                _milli(result.reading),
                _milli(result.body_amps),
                *([direct_words(result.dc_amps, result.dc_volts)] if direct else []),
                f"{result.dc_volts:.0f} V DC" if only_direct else f"{bond:.3g} V",
                *([_ended_by(result)] if ended else []),
                state if ended else state + _limit_words(result),
            )
        )
    return tuple(columns), tuple(rows)


def _milli(amps: float) -> Cell:
    return amps * 1e3 if amps >= LEAST_AMPS else "–"


def _limit_words(outcome: Outcome) -> str:
    """Return what keeps a fuse from ending it, or that only both currents together are over."""
    if outcome.ended.is_beyond_breaking:
        return f"; {beyond_words(outcome.ended)}"
    if outcome.only_together:
        return f"; AC and DC together are {outcome.together:.2g} times the limit"
    return ""


def _ended_by(outcome: Outcome) -> str:
    if outcome.verdict == "cleared":
        return cleared_words(outcome.ended)
    beyond = f"; {beyond_words(outcome.ended)}" if outcome.ended.is_beyond_breaking else ""
    return f"building, {outcome.ended.line_amps:.3g} A{beyond}"


def cleared_words(ended: Ended) -> str:
    """Return the fuse that opens, within which time, and what it carries."""
    if math.isinf(ended.seconds) or ended.is_beyond_breaking:
        return "a fuse of the set"
    return (
        f"{ended.fuse} within {seconds_words(ended.seconds)} ({ended.amps:.3g} A, rating"
        f" {ended.rating:g} A)"
    )


def overload_words(overload: Overload) -> str:
    """Return what a primary fuse does not protect from, and what does."""
    rule, wound, amps = overload.rule, overload.transformer, overload.primary_amps
    return (
        f"{rule.part} ({rule.rating:g} A, {rule.standard}) protects from shorts, not {wound} from"
        f" overload: it carries {rule.holds:.3g} A for an hour or more, {overload.times:.2g} times"
        f" the {amps:.3g} A of {wound} at full load. Fit a thermal fuse on the windings of {wound},"
        f" or a time-delay fuse to UL 248-14 of not much over {amps:.2g} A: it opens within an hour"
        " at 1.35 times its rating. A fuse to IEC 60127-2 carries 1.5 times its rating for an hour."
    )


def building_words(outcome: Outcome) -> str:
    """Return what an outlet wired the wrong way round does to the metal of a set."""
    return (
        f"{where(outcome.node, outcome.other)}: reading {milliamperes(outcome.reading)}, through a"
        f" body {milliamperes(outcome.body_amps)}, {outcome.volts:.3g} V. Prevented by"
        f" {outcome.prevented}."
    )


def where(node: str, other: str) -> str:
    """Return a node, or a pair of nodes."""
    return f"{node} to {other}" if other else node


def _what(outcome: Outcome) -> str:
    """Return a fault without what the head of its table says already."""
    return {
        "lead": outcome.fault.what.removeprefix("line lead ").replace(" off its lug and", ""),
        "insulation": outcome.fault.what.removesuffix(" broken down"),
        "metalwork": outcome.fault.what.removesuffix(" broken down"),
        "leak": outcome.fault.what.removesuffix(" leaking tenfold"),
    }.get(outcome.fault.kind, outcome.fault.what)


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
                outcome.fault.what,
                where(outcome.node, outcome.other),
                milliamperes(outcome.reading),
                direct_words(outcome.dc_amps, outcome.dc_volts),
            )
            for outcome in under
        ),
        parts=tuple(outcome.fault.part for outcome in under),
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
            Column("ended by"),
            Column("prevented by"),
        ),
        tuple(
            (
                outcome.fault.what,
                where(outcome.node, outcome.other or "earth"),
                milliamperes(outcome.reading),
                outcome.verdict,
                outcome.cleared,
                outcome.prevented,
            )
            for outcome in worse
        ),
        parts=tuple(outcome.fault.part for outcome in worse),
        marks=tuple("" if outcome.verdict in ("under", "cleared") else "bad" for outcome in worse),
    )

"""The options as a table, as one page to print, and as plain values for a machine."""

from __future__ import annotations

from collections.abc import Callable

from rework.language.job import Money
from rework.report.figures import shown
from rework.report.terminal import printable, styled, table
from rework.supply.findings import Findings
from rework.supply.options import Options

CAUTION = (
    "Every column is a circuit made by rules and solved as written. It does not replace the"
    " measurements. Unplug, discharge, one hand, isolation transformer on the bench. Local"
    " electrical codes and licensed practice take precedence over this page."
)
NOT_COMPUTED = "not computed"
#: Kinds of rows that are set in bold where their cell shouts.
LOUD = ("OVER", "HAZARD", "GROWS", "unfinished")

#: What ends a fault, behind its figure.
_ENDS = {"cleared": " until a fuse opens", "breaker": " until the breaker opens"}

#: Seconds that the job states, and what an hour costs.
Labour = tuple[float | None, Money | None]


def _amps(findings: Findings, value: float | None, over: bool, direct: bool = False) -> str:
    if value is None:
        return ""
    if findings.unknown and not over:
        return "not known"
    amps = (
        "under 0.01 mA"
        if value < 1e-5
        else f"{value * 1e3:.2g} mA"
        if value < 0.1
        else f"{value * 1e3:.0f} mA"
    )
    return amps + (" DC" if direct else "") + (" OVER" if over else "")


def _ties(findings: Findings) -> str:
    return "none" if not findings.hazards else f"{findings.hazards}, {findings.reach} in reach"


def _check(findings: Findings) -> str:
    if findings.hazards:
        return "HAZARD"
    return f"unfinished: {len(findings.mend)} to fix" if findings.mend else "nothing found"


def _hum(findings: Findings) -> str:
    return (
        ""
        if findings.hum is None
        else shown(findings.hum, "V")
        + (f", {findings.hum_below:.0f} dB below" if findings.hum_below is not None else "")
    )


def _margin(findings: Findings) -> str:
    if findings.damping is None:
        return ""
    if findings.grows:
        return "GROWS at " + ", ".join(shown(hertz, "Hz", 2) for hertz, _ in findings.grows)
    return (
        f"damping {findings.damping:.2f} at {shown(findings.swings_at, 'Hz', 2)}"
        if findings.swings_at
        else "nothing slow swings"
    )


def _loads(findings: Findings) -> str:
    if findings.missing.get("loads"):
        return ""
    return (
        ", ".join(
            (
                f"{load.volt_amps:.0f} of {load.rated:g} VA"
                if load.rated
                else f"{load.volt_amps:.0f} VA"
            )
            for load in findings.loads
        )
        or "none"
    )


def _heat(findings: Findings) -> str:
    if findings.heat is None:
        return ""
    away = findings.option.supply and findings.heat_old is not None
    return f"{findings.heat:.0f} W" + (
        f", {findings.heat_old:.0f} in the old cabinet" if away else ""
    )


def _price(findings: Findings) -> str:
    if not findings.bought:
        return "0"
    return f"{findings.price:.2f}" + (
        f" + {len(findings.unpriced)} not listed" if findings.unpriced else ""
    )


def _count(number: int, word: str) -> str:
    return f"{number} {word}" + ("" if number == 1 else "s")


#: The rows: label, the row of ``Findings`` it hangs on, the words.
ROWS: tuple[tuple[str, str, Callable[[Findings], str]], ...] = (
    ("mains ties", "hazards", _ties),
    ("mains check", "hazards", _check),
    (
        "touch current, worst state",
        "touch",
        lambda findings: _amps(findings, findings.touch, findings.touch_over),
    ),
    (
        "touch current, single fault",
        "fault",
        lambda findings: (
            _amps(findings, findings.fault, findings.fault_over, findings.fault_direct)
            + _ENDS.get(findings.fault_verdict, "")
        ),
    ),
    ("B+", "bplus", lambda findings: "" if findings.bplus is None else f"{findings.bplus:.0f} V"),
    (
        "watts at clipping",
        "watts",
        lambda findings: "" if findings.watts is None else f"{findings.watts:.2g} W",
    ),
    ("hum at the speaker", "hum", _hum),
    ("margin to motorboating", "damping", _margin),
    ("line transformer", "loads", _loads),
    ("heat", "heat", _heat),
    (
        "heater volts on the board",
        "string_volts",
        lambda findings: (
            "" if findings.string_volts is None else f"{findings.string_volts:.0f} V RMS"
        ),
    ),
    (
        "parts over their rating",
        "over",
        lambda findings: (
            ""
            if findings.bplus is None
            else _count(len({limit.stress.part for limit in findings.over}), "part")
            if findings.over
            else "none"
        ),
    ),
    ("parts to buy", "bought", lambda findings: str(len(findings.bought))),
    ("their price", "price", _price),
    (
        "holes in the old chassis",
        "holes",
        lambda findings: (
            f"{len(findings.holes)}: {', '.join(findings.holes)}" if findings.holes else "none"
        ),
    ),
    ("pins moved, wires run", "pins", lambda findings: f"{findings.pins}, {findings.wires}"),
    ("traces cut", "cut", lambda findings: ", ".join(sorted(findings.cut)) or "none"),
    ("stays original", "kept", lambda findings: f"{findings.kept} of {findings.of} parts"),
    ("can be undone", "reversible", lambda findings: findings.reversible),
)


def cell(findings: Findings, words: Callable[[Findings], str]) -> str:
    """Return the words of one cell: a figure, that it is not computed, or a dash where the option
    is not to be had.
    """
    if findings.option.circuit is None:
        return "-"
    return words(findings) or NOT_COMPUTED


def labour_words(findings: Findings, labour: Labour) -> str:
    """Return the bench hours of an option: the job states those of its own conversion and of
    nothing else.
    """
    seconds, rate = labour
    if findings.option.kind == "leave":
        return "0 h"
    if findings.option.circuit is None:
        return "-"
    if seconds is None:
        return "not stated"
    if not findings.option.supply:
        return "not in the job"
    hours = seconds / 3600
    return f"{hours:g} h" + (f", {hours * rate.amount:.0f} {rate.currency}" if rate else "")


def grid(options: Options, labour: Labour) -> list[list[str]]:
    """Return the table: a row of headings, then the rows."""
    rows = [["", *(findings.option.title for findings in options.findings)]]
    rows += [
        [label, *(cell(findings, words) for findings in options.findings)]
        for label, row, words in ROWS
    ]
    at = next(number for number, row in enumerate(rows) if row[0] == "their price")
    rows.insert(
        at + 1, ["labour", *(labour_words(findings, labour) for findings in options.findings)]
    )
    return rows


def remarks(options: Options) -> list[tuple[str, list[str], list[str]]]:
    """Return for every option its title, what it is made of and what was assumed or not computed,
    and what speaks against it.
    """
    out = []
    for findings, against in zip(options.findings, options.against, strict=True):
        steps = [", ".join(findings.option.steps)] if findings.option.steps else []
        steps += [*findings.option.notes, *findings.assumed]
        why: dict[str, list[str]] = {}
        for row, reason in findings.missing.items():
            why.setdefault(reason, []).append(
                {row: label for label, row, _ in reversed(ROWS)}.get(row, row)
            )
        steps += [f"not computed ({', '.join(rows)}): {reason}" for reason, rows in why.items()]
        steps += [f"missing for touch and faults: {words}" for words in findings.unknown]
        steps += (
            [f"not on the stock list: {', '.join(findings.unpriced)}"] if findings.unpriced else []
        )
        out.append((findings.option.title, steps, list(against)))
    return out


def heading(options: Options, shelf: str, labour: Labour) -> list[str]:
    """Return what stands above the table."""
    told = [
        (
            f"Stock list: {shelf}."
            if shelf
            else (
                "No stock list: nothing is priced, and no supply can be designed. Name one with"
                " --shelf."
            )
        )
    ]
    if options.drafted and options.job is not None:
        told.append(
            "There is no job for this amplifier: the new supplies are computed with a drafted one;"
            " --draft OUT.job writes it."
        )
    if labour[0] is None:
        told.append(
            "No hours are stated: a line such as labour 6 h in the job states those of its new"
            " supply."
        )
    elif any(findings.option.isolator for findings in options.findings):
        told.append(
            "The hours of the job are for its new supply; what the isolation transformer takes is"
            " yours to estimate."
        )
    return [*told, *options.notes]


def options_text(options: Options, shelf: str, labour: Labour) -> str:
    """Return the options for a terminal."""
    out = [
        styled(printable(options.title), "bold"),
        *heading(options, printable(shelf), labour),
        "",
        table(grid(options, labour)),
    ]
    for title, steps, against in remarks(options):
        if steps or against:
            out += [
                "",
                styled(title, "bold"),
                *(f"  {line}" for line in steps),
                *(f"  against: {line}" for line in against),
            ]
    return "\n".join([*out, "", CAUTION])

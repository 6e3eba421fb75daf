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


def _amps(one: Findings, value: float | None, over: bool, direct: bool = False) -> str:
    if value is None:
        return ""
    if one.unknown and not over:
        return "not known"
    told = (
        "under 0.01 mA"
        if value < 1e-5
        else f"{value * 1e3:.2g} mA"
        if value < 0.1
        else f"{value * 1e3:.0f} mA"
    )
    return told + (" DC" if direct else "") + (" OVER" if over else "")


def _ties(one: Findings) -> str:
    return "none" if not one.hazards else f"{one.hazards}, {one.reach} in reach"


def _check(one: Findings) -> str:
    if one.hazards:
        return "HAZARD"
    return f"unfinished: {len(one.mend)} to fix" if one.mend else "nothing found"


def _hum(one: Findings) -> str:
    return (
        ""
        if one.hum is None
        else shown(one.hum, "V")
        + (f", {one.hum_below:.0f} dB below" if one.hum_below is not None else "")
    )


def _margin(one: Findings) -> str:
    if one.damping is None:
        return ""
    if one.grows:
        return "GROWS at " + ", ".join(shown(hertz, "Hz", 2) for hertz, _ in one.grows)
    return (
        f"damping {one.damping:.2f} at {shown(one.swings_at, 'Hz', 2)}"
        if one.swings_at
        else "nothing slow swings"
    )


def _loads(one: Findings) -> str:
    if one.missing.get("loads"):
        return ""
    return (
        ", ".join(
            (
                f"{load.volt_amps:.0f} of {load.rated:g} VA"
                if load.rated
                else f"{load.volt_amps:.0f} VA"
            )
            for load in one.loads
        )
        or "none"
    )


def _heat(one: Findings) -> str:
    if one.heat is None:
        return ""
    away = one.option.supply and one.heat_old is not None
    return f"{one.heat:.0f} W" + (f", {one.heat_old:.0f} in the old cabinet" if away else "")


def _price(one: Findings) -> str:
    if not one.bought:
        return "0"
    return f"{one.price:.2f}" + (f" + {len(one.unpriced)} not listed" if one.unpriced else "")


def _count(number: int, word: str) -> str:
    return f"{number} {word}" + ("" if number == 1 else "s")


#: The rows: label, the row of ``Findings`` it hangs on, the words.
ROWS: tuple[tuple[str, str, Callable[[Findings], str]], ...] = (
    ("mains ties", "hazards", _ties),
    ("mains check", "hazards", _check),
    ("touch current, worst state", "touch", lambda one: _amps(one, one.touch, one.touch_over)),
    (
        "touch current, single fault",
        "fault",
        lambda one: (
            _amps(one, one.fault, one.fault_over, one.fault_direct)
            + _ENDS.get(one.fault_verdict, "")
        ),
    ),
    ("B+", "bplus", lambda one: "" if one.bplus is None else f"{one.bplus:.0f} V"),
    ("watts at clipping", "watts", lambda one: "" if one.watts is None else f"{one.watts:.2g} W"),
    ("hum at the speaker", "hum", _hum),
    ("margin to motorboating", "damping", _margin),
    ("line transformer", "loads", _loads),
    ("heat", "heat", _heat),
    (
        "heater volts on the board",
        "string_volts",
        lambda one: "" if one.string_volts is None else f"{one.string_volts:.0f} V RMS",
    ),
    (
        "parts over their rating",
        "over",
        lambda one: (
            ""
            if one.bplus is None
            else _count(len({limit.stress.part for limit in one.over}), "part")
            if one.over
            else "none"
        ),
    ),
    ("parts to buy", "bought", lambda one: str(len(one.bought))),
    ("their price", "price", _price),
    (
        "holes in the old chassis",
        "holes",
        lambda one: f"{len(one.holes)}: {', '.join(one.holes)}" if one.holes else "none",
    ),
    ("pins moved, wires run", "pins", lambda one: f"{one.pins}, {one.wires}"),
    ("traces cut", "cut", lambda one: ", ".join(sorted(one.cut)) or "none"),
    ("stays original", "kept", lambda one: f"{one.kept} of {one.of} parts"),
    ("can be undone", "reversible", lambda one: one.reversible),
)


def cell(one: Findings, words: Callable[[Findings], str]) -> str:
    """Return the words of one cell: a figure, that it is not computed, or a dash where the option
    is not to be had.
    """
    if one.option.circuit is None:
        return "-"
    return words(one) or NOT_COMPUTED


def labour_words(one: Findings, labour: Labour) -> str:
    """Return the bench hours of an option: the job states those of its own conversion and of
    nothing else.
    """
    seconds, rate = labour
    if one.option.kind == "leave":
        return "0 h"
    if one.option.circuit is None:
        return "-"
    if seconds is None:
        return "not stated"
    if not one.option.supply:
        return "not in the job"
    hours = seconds / 3600
    return f"{hours:g} h" + (f", {hours * rate.amount:.0f} {rate.currency}" if rate else "")


def grid(found: Options, labour: Labour) -> list[list[str]]:
    """Return the table: a row of headings, then the rows."""
    rows = [["", *(one.option.title for one in found.findings)]]
    rows += [[label, *(cell(one, words) for one in found.findings)] for label, row, words in ROWS]
    at = next(number for number, row in enumerate(rows) if row[0] == "their price")
    rows.insert(at + 1, ["labour", *(labour_words(one, labour) for one in found.findings)])
    return rows


def remarks(found: Options) -> list[tuple[str, list[str], list[str]]]:
    """Return for every option its title, what it is made of and what was assumed or not computed,
    and what speaks against it.
    """
    out = []
    for one, against in zip(found.findings, found.against, strict=True):
        made = [", ".join(one.option.steps)] if one.option.steps else []
        made += [*one.option.notes, *one.assumed]
        why: dict[str, list[str]] = {}
        for row, reason in one.missing.items():
            why.setdefault(reason, []).append(
                {row: label for label, row, _ in reversed(ROWS)}.get(row, row)
            )
        made += [f"not computed ({', '.join(rows)}): {reason}" for reason, rows in why.items()]
        made += [f"missing for touch and faults: {words}" for words in one.unknown]
        made += [f"not on the stock list: {', '.join(one.unpriced)}"] if one.unpriced else []
        out.append((one.option.title, made, list(against)))
    return out


def heading(found: Options, shelf: str, labour: Labour) -> list[str]:
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
    if found.drafted and found.job is not None:
        told.append(
            "There is no job for this amplifier: the new supplies are computed with a drafted one;"
            " --draft OUT.job writes it."
        )
    if labour[0] is None:
        told.append(
            "No hours are stated: a line such as labour 6 h in the job states those of its new"
            " supply."
        )
    elif any(one.option.isolator for one in found.findings):
        told.append(
            "The hours of the job are for its new supply; what the isolation transformer takes is"
            " yours to estimate."
        )
    return [*told, *found.notes]


def options_text(found: Options, shelf: str, labour: Labour) -> str:
    """Return the options for a terminal."""
    out = [
        styled(printable(found.title), "bold"),
        *heading(found, printable(shelf), labour),
        "",
        table(grid(found, labour)),
    ]
    for title, made, against in remarks(found):
        if made or against:
            out += [
                "",
                styled(title, "bold"),
                *(f"  {line}" for line in made),
                *(f"  against: {line}" for line in against),
            ]
    return "\n".join([*out, "", CAUTION])

"""The options as a table, as one page to print, and as plain values for a machine."""

from __future__ import annotations

from collections.abc import Callable

from rework.language.job import Money
from rework.report.cells import Amount, ShownFigure
from rework.report.figures import counted, shown
from rework.report.story import Block, Headline, Story, lines
from rework.report.table import Cell, Column, Table, written
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


def _amps(findings: Findings, value: float | None, over: bool, direct: bool = False) -> Cell:
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
    words = amps + (" DC" if direct else "") + (" OVER" if over else "")
    return ShownFigure(words, Amount(value, "A"))


def _fault(findings: Findings) -> Cell:
    amps = _amps(findings, findings.fault, findings.fault_over, findings.fault_direct)
    ended = _ENDS.get(findings.fault_verdict, "")
    return ShownFigure(amps + ended, *amps.amounts) if isinstance(amps, ShownFigure) else amps


def _ties(findings: Findings) -> Cell:
    if not findings.hazards:
        return ShownFigure("none", Amount(0, ""), Amount(0, "", "in reach"))
    return ShownFigure(
        f"{findings.hazards}, {findings.reach} in reach",
        Amount(findings.hazards, ""),
        Amount(findings.reach or 0, "", "in reach"),
    )


def _check(findings: Findings) -> Cell:
    if findings.hazards:
        return "HAZARD"
    return f"unfinished: {len(findings.mend)} to fix" if findings.mend else "nothing found"


def _plain(value: float | None, unit: str, words: str) -> Cell:
    """Return words with the one amount in them; nothing where there is none."""
    return "" if value is None else ShownFigure(words, Amount(value, unit))


def _hum(findings: Findings) -> Cell:
    if findings.hum is None:
        return ""
    below = findings.hum_below
    return ShownFigure(
        shown(findings.hum, "V") + ("" if below is None else f", {below:.0f} dB below"),
        Amount(findings.hum, "V"),
        *(() if below is None else (Amount(below, "dB", "below full power"),)),
    )


def _margin(findings: Findings) -> Cell:
    if findings.damping is None:
        return ""
    if findings.grows:
        return "GROWS at " + ", ".join(shown(hertz, "Hz", 2) for hertz, _ in findings.grows)
    if not findings.swings_at:
        return "nothing slow swings"
    return ShownFigure(
        f"damping {findings.damping:.2f} at {shown(findings.swings_at, 'Hz', 2)}",
        Amount(findings.damping, "", "damping"),
        Amount(findings.swings_at, "Hz"),
    )


def _loads(findings: Findings) -> Cell:
    if findings.missing.get("loads"):
        return ""
    if not findings.loads:
        return "none"
    words = ", ".join(
        f"{load.volt_amps:.0f} of {load.rated:g} VA" if load.rated else f"{load.volt_amps:.0f} VA"
        for load in findings.loads
    )
    if len(findings.loads) > 1:
        return words
    [load] = findings.loads
    rated = (Amount(load.rated, "VA", "rated"),) if load.rated else ()
    return ShownFigure(words, Amount(load.volt_amps, "VA"), *rated)


def _heat(findings: Findings) -> Cell:
    if findings.heat is None:
        return ""
    away = findings.option.supply and findings.heat_old is not None
    old = findings.heat_old if away else findings.heat
    return ShownFigure(
        f"{findings.heat:.0f} W"
        + (f", {findings.heat_old:.0f} in the old cabinet" if away else ""),
        Amount(findings.heat, "W"),
        *(() if old is None else (Amount(old, "W", "in the old cabinet"),)),
    )


def _price(findings: Findings) -> Cell:
    if not findings.bought:
        return ShownFigure("0", Amount(0, ""))
    missing = len(findings.unpriced)
    return ShownFigure(
        f"{findings.price:.2f}" + (f" + {missing} not listed" if missing else ""),
        Amount(findings.price, ""),
        Amount(missing, "", "parts not listed"),
    )


def _over(findings: Findings) -> Cell:
    if findings.bplus is None:
        return ""
    parts = len({limit.stress.part for limit in findings.over})
    return ShownFigure(counted(parts, "part") if parts else "none", Amount(parts, ""))


def _pins(findings: Findings) -> Cell:
    return ShownFigure(
        f"{findings.pins}, {findings.wires}",
        Amount(findings.pins, "", "(pins)"),
        Amount(findings.wires, "", "(wires)"),
    )


def _kept(findings: Findings) -> Cell:
    return ShownFigure(
        f"{findings.kept} of {findings.of} parts",
        Amount(findings.kept, "", "(parts)"),
        Amount(findings.of, "", "of"),
    )


#: The columns of an option: label, the row of ``Findings`` it comes from, the words.
ROWS: tuple[tuple[str, str, Callable[[Findings], Cell]], ...] = (
    ("mains ties", "hazards", _ties),
    ("mains check", "hazards", _check),
    (
        "touch current, worst state",
        "touch",
        lambda findings: _amps(findings, findings.touch, findings.touch_over),
    ),
    ("touch current, single fault", "fault", _fault),
    ("B+", "bplus", lambda findings: _plain(findings.bplus, "V", f"{findings.bplus or 0:.0f} V")),
    (
        "watts at clipping",
        "watts",
        lambda findings: _plain(findings.watts, "W", f"{findings.watts or 0:.2g} W"),
    ),
    ("hum at the speaker", "hum", _hum),
    ("margin to motorboating", "damping", _margin),
    ("line transformer", "loads", _loads),
    ("heat", "heat", _heat),
    (
        "heater volts on the board",
        "string_volts",
        lambda findings: _plain(
            findings.string_volts, "V", f"{findings.string_volts or 0:.0f} V RMS"
        ),
    ),
    ("parts over their rating", "over", _over),
    ("parts to buy", "bought", lambda findings: str(len(findings.bought))),
    ("their price", "price", _price),
    (
        "holes in the old chassis",
        "holes",
        lambda findings: (
            f"{len(findings.holes)}: {', '.join(findings.holes)}" if findings.holes else "none"
        ),
    ),
    ("pins moved, wires run", "pins", _pins),
    ("traces cut", "cut", lambda findings: ", ".join(sorted(findings.cut)) or "none"),
    ("stays original", "kept", _kept),
    ("can be undone", "reversible", lambda findings: findings.reversible),
)


_WORDS = {row: words for _, row, words in ROWS}


def cell(findings: Findings, words: Callable[[Findings], Cell]) -> Cell:
    """Return one cell: a figure, that it is not computed, or a dash where the option is not
    possible.
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


def options_table(options: Options, labour: Labour, title: str = "", lead: str = "") -> Table:
    """Return the options, a row each; people read them side by side."""
    at = next(number for number, (label, _, _) in enumerate(ROWS) if label == "their price") + 1
    labels = [label for label, _, _ in ROWS]
    rows = []
    for findings in options.findings:
        cells = [cell(findings, words) for _, _, words in ROWS]
        rows.append(
            (findings.option.title, *cells[:at], labour_words(findings, labour), *cells[at:])
        )
    return Table(
        "options",
        title,
        lead,
        (Column("option", "name"), *map(Column, (*labels[:at], "labour", *labels[at:]))),
        tuple(rows),
        turned=True,
    )


def owner_table(options: Options, labour: Labour, title: str) -> Table:
    """Return what the owner of a set is shown of the options that are possible, in his words."""
    possible = [findings for findings in options.findings if findings.option.circuit is not None]
    rows: tuple[tuple[str, Callable[[Findings], Cell]], ...] = (
        ("connected to the mains within reach", _reached),
        (
            "worst current through a person",
            lambda findings: _amps(findings, findings.touch, findings.touch_over),
        ),
        ("output power", _WORDS["watts"]),
        ("price of new parts", _price),
        ("labour", lambda findings: labour_words(findings, labour)),
        ("original parts kept", _kept),
        ("can be undone", _WORDS["reversible"]),
    )
    return Table(
        "options",
        title,
        "Each was computed from the wiring as it was found.",
        (Column("option", "name"), *(Column(label) for label, _ in rows)),
        tuple(
            (findings.option.title, *(words(findings) or NOT_COMPUTED for _, words in rows))
            for findings in possible
        ),
        turned=True,
    )


def _reached(findings: Findings) -> Cell:
    return counted(findings.reach, "place") if findings.reach else "nothing"


def grid(options: Options, labour: Labour) -> list[list[str]]:
    """Return the table as people read it: a row of headings, then the rows."""
    table = written(options_table(options, labour))
    return [[column.heading for column in table.columns], *([*map(str, row)] for row in table.rows)]


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
    columns = [
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
        columns.append(
            "There is no job for this amplifier: the new supplies are computed with a drafted one;"
            " --draft OUT.job writes it."
        )
    if labour[0] is None:
        columns.append(
            "No hours are stated: a line such as labour 6 h in the job states those of its new"
            " supply."
        )
    elif any(findings.option.isolator for findings in options.findings):
        columns.append(
            "The hours of the job are for its new supply; what the isolation transformer takes is"
            " yours to estimate."
        )
    return [*columns, *options.notes]


def options_story(options: Options, shelf: str, labour: Labour) -> Story:
    """Return the options with what each is made of and its drawbacks."""
    story: list[Block] = [
        Headline(options.title),
        *lines(heading(options, shelf, labour)),
        options_table(options, labour, "Side by side"),
    ]
    for title, steps, against in remarks(options):
        if steps or against:
            drawbacks = (f"drawback: {line}" for line in against)
            story += [Headline(title), *lines(steps, drawbacks, look="list")]
    return (*story, Headline("Limits of these figures"), *lines(CAUTION))

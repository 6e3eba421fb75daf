"""A designed supply in words and tables: needs, candidates in a table, the
chosen one with its reasons, what to order.
"""

from __future__ import annotations

from rework.circuit.preferred import VOLTS, rating
from rework.commands.chosen_words import chosen_story, every_figure
from rework.commands.mark_words import (
    amount,
    amps_words,
    item_words,
    merged_unmet,
    missed_words,
)
from rework.report.cells import Amount, ShownFigure
from rework.report.story import Block, Headline, Story, lines
from rework.report.table import Cell, Column, Table
from rework.solve.cold import HIGH_LINE
from rework.supply.design import Design
from rework.supply.evaluate import Candidate
from rework.supply.mark_names import mark_name
from rework.supply.needs import ANY_HUM, Needs
from rework.supply.order import COLOUR_CAUTION, Order, Ordered
from rework.supply.states import LOW_LINE
from rework.supply.stock import kind_of

ABOUT = (
    "Solved with the amplifier as its load. Not included: the surge that magnetises a core at"
    " switch-on, leakage between windings, saturation, hum that heaters and wiring add. Volts of"
    " windings are those of the list, unloaded. Iron loss is counted only where the list states it."
)
CAUTION = (
    "These figures are computed, not measured. Building the supply is work on the mains: local"
    " codes and licensed practice come first. Before you connect it to the amplifier, test earth"
    " continuity and the insulation of the transformer, then B+ on a dummy load through a lamp"
    " limiter. Work with one hand. Discharge before you touch."
)


def design_story(
    design: Design,
    number: int | None,
    verdict: str,
    wanted: Order,
    *,
    title: str,
    shelf: str,
    every: bool = False,
) -> Story:
    """Return the whole answer: needs, table, the candidate of that number with reasons, or what
    fails and what to order.

    ``every`` adds each figure of that candidate against its limit.
    """
    needs, count = design.needs, len(design.candidates)
    story: list[Block] = [
        Headline(f"{title}: a supply for it"),
        _needs(needs),
        Headline("Candidates"),
        *lines(_sieved(design, shelf)),
        *(_candidates(design.candidates, needs) if count else ()),
        *lines([f"Left out: {reason}." for reason in design.left_out]),
    ]
    if number is None:
        story += _none(design)
    else:
        story += chosen_story(design, number, verdict)
        story += [every_figure(design.candidates[number - 1])] if every else []
    story += [Headline("Limits of these figures"), *lines(ABOUT, CAUTION)]
    if number is None or any(
        not item.listed for item in design.candidates[number - 1].choice.items()
    ):
        story += _orders(design, number, wanted, needs)
    return tuple(story)


def _sieved(design: Design, shelf: str) -> str:
    """Return how many pairs were tried."""
    count = len(design.candidates)
    pairs = f"{design.pairs:,} pairs of transformer and filter from {shelf} were sieved"
    if not count:
        return f"{pairs}; none could be solved."
    solved = f"the {count} best of their forms were" if count > 1 else "the best was"
    return f"{pairs} by ideal rectifiers; {solved} solved exactly."


def _needs(needs: Needs) -> Table:
    why = dict(needs.why)
    rows = [
        ("B+", f"{needs.bplus:.0f} V ({needs.low:.0f} to {needs.high:.0f})", why["bplus"]),
        ("current", f"{1e3 * needs.idle_amps:.1f} mA idle", why["idle"]),
        ("", f"{1e3 * needs.full_amps:.1f} mA full signal", why["full"]),
        ("heaters", f"{needs.heater_volts:g} V {needs.heater_amps:.3g} A", why["heaters"]),
        (
            "hum",
            f"{amount(needs.hum, 'V')} at the speaker" if needs.hum < ANY_HUM else "-",
            why["hum"],
        ),
        ("line", f"{needs.mains.volts:g} V {needs.mains.hertz:g} Hz", why["line"]),
        ("old parts", f"{needs.ceiling:.0f} V at most", why["ceiling"]),
    ]
    if needs.open_limit < 1e8:
        rows.append(
            (
                "",
                f"{needs.open_limit:.0f} V, tubes cold",
                "voltage on its capacitors with no load, line 10 % high",
            )
        )
    cells = []
    for name, value, reason in rows:
        first, *more = reason.split("; ")
        cells += [(name, value, first), *(("", "", line) for line in more)]
    columns = (Column("need", "name"), Column("amount"), Column("from"))
    return Table("needs", "What it needs", "", columns, tuple(cells))


def _candidates(candidates: tuple[Candidate, ...], needs: Needs) -> list[Block]:
    """Return the candidates as a table, and what each misses."""
    line = needs.mains.volts
    under = []
    if any(candidate.choice.second for candidate in candidates):
        under.append(
            "* two transformers back to back: the voltage drops twice, so B+ and heaters sag more;"
            " the second is connected in reverse"
        )
    for number, candidate in enumerate(candidates, 1):
        if candidate.unmet:
            names = dict.fromkeys(mark_name(mark) for mark in candidate.unmet)
            under.append(f"{number} misses: {', '.join(names)}")
    table = Table(
        "candidates",
        "",
        f"B+ in volts on {LOW_LINE * line:.0f}/{line:.0f}/{HIGH_LINE * line:.0f} V of line; cold:"
        " the most there while the tubes are cold.",
        _COLUMNS,
        tuple(_candidate(number, each, needs) for number, each in enumerate(candidates, 1)),
        marks=tuple("bad" if candidate.unmet else "" for candidate in candidates),
    )
    return [table, *lines(under, look="list")]


_COLUMNS = (
    Column("#", "name"),
    *map(Column, ("form", "transformer", "rectifier", "B+", "cold", "hum", "heater", "load")),
    Column("price", "figure"),
    Column("fits"),
)


def _candidate(number: int, candidate: Candidate, needs: Needs) -> tuple[Cell, ...]:
    """Return the row of a candidate."""
    figures, choice = candidate.figures, candidate.choice
    bplus = (figures.bplus_low, figures.bplus, figures.bplus_high)
    return (
        str(number),
        choice.form.replace(", back to back", "*").partition(",")[0],
        " + ".join(iron.item.name for iron in choice.iron()),
        choice.valve.name,
        ShownFigure(
            "/".join(f"{volts:.0f}" for volts in bplus),
            *map(Amount, bplus, "VVV", ("low line", "", "high line")),
        ),
        ShownFigure(f"{figures.bplus_cold:.0f}", Amount(figures.bplus_cold, "V")),
        ShownFigure(amount(figures.hum, "V", 2), Amount(figures.hum, "V"))
        if needs.hum < ANY_HUM
        else "-",
        ShownFigure(f"{figures.heater:.2f} V", Amount(figures.heater, "V")),
        ShownFigure(
            f"{figures.volt_amps:.0f} of {choice.transformer.va:g} VA",
            Amount(figures.volt_amps, "VA"),
            Amount(choice.transformer.va, "VA", "rated"),
        ),
        "-"
        if choice.price is None
        else ShownFigure(f"{choice.price:.2f}", Amount(choice.price, "")),
        "no" if candidate.unmet else "yes",
    )


def _none(design: Design) -> list[Block]:
    if not design.candidates:
        return [Headline("No supply"), *lines("Nothing on the list comes near.", look="bad")]
    best = design.candidates[0]
    return [
        Headline("No supply meets everything"),
        *lines(
            "No candidate meets every need and rating. The nearest is 1; it misses:", look="bad"
        ),
        *lines([missed_words(mark) for mark in merged_unmet(best)], look="list"),
        *lines(_stronger(best)),
        *lines("See it in full, or write it all the same, with --choose 1."),
    ]


def _stronger(best: Candidate) -> list[str]:
    """Return the lines of a job with which the capacitors stand a supply that misses nothing but
    their volts; none where it misses more, or where there are none for so many volts.
    """
    ratings = {mark.part: rating(mark.value, VOLTS) for mark in best.unmet}
    if any(mark.key != "capacitor_volts" for mark in best.unmet) or None in ratings.values():
        return []
    said = "Candidate 1 fits with these lines in the job:"
    return [
        said,
        *(
            f"    apply change-value : part={part}, value={volts:g} V"
            for part, volts in ratings.items()
        ),
    ]


def _orders(design: Design, number: int | None, wanted: Order, needs: Needs) -> list[Block]:
    """Return what to order: parts that are not on the list, or a transformer and what goes with
    it.
    """
    if number is not None:
        items = design.candidates[number - 1].choice.items()
        missing = [f"{kind_of(item)} {item_words(item)}" for item in items if not item.listed]
        return [Headline("To order"), *lines(missing, look="list")]
    windings = Table(
        "order",
        "Windings of the transformer to order",
        f"{wanted.va:g} VA, {needs.mains.hertz:g} Hz, regulation at most {wanted.regulation:.0%} at"
        f" full load, insulation class {wanted.insulation}, primary and secondaries on separate"
        " sections or with an earthed screen. Lead colours of the North American code:"
        f" {COLOUR_CAUTION}",
        (
            Column("winding", "name"),
            Column("volts", "figure"),
            Column("amps RMS", "figure"),
            *map(Column, ("tap", "lead colours")),
        ),
        tuple(_winding(ordered) for ordered in wanted.windings),
    )
    return [
        Headline("To order"),
        windings,
        *lines(
            f"for it: {wanted.rectifier}, at least {wanted.inverse_volts:.0f} V inverse; two"
            f" electrolytics of {1e6 * wanted.capacitor_farads:g} uF {wanted.capacitor_volts:g} V;"
            f" a choke of {wanted.choke_henries:g} H {1e3 * wanted.choke_amps:.0f} mA,"
            f" {wanted.choke_ohms:g} ohm; bleeder {wanted.bleeder_ohms / 1e3:g}k; fuse"
            f" {amps_words(wanted.fuse_amps)} slow",
            f"computed with ideal rectifiers, that gives {wanted.bplus:.0f} V of B+ and"
            f" {amount(wanted.hum, 'V', 2)} of hum: write it into the list when you have it, then"
            " run this command again",
            look="list",
        ),
    ]


def _winding(ordered: Ordered) -> tuple[Cell, ...]:
    primary = ordered.name == "primary"
    volts = f"{ordered.volts:g} V" if primary else f"{ordered.volts:.3g} V unloaded"
    return (
        ordered.name,
        ShownFigure(volts, Amount(ordered.volts, "V")),
        ShownFigure(f"{ordered.amps:.3g} A", Amount(ordered.amps, "A")) if ordered.amps else "",
        "middle tap" if ordered.tapped else "",
        ordered.colours,
    )

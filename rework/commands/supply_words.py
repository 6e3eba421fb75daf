"""A designed supply as text for the bench and as plain values: needs, candidates in a table, the
chosen one with its reasons, what to order.
"""

from __future__ import annotations

from rework.commands.chosen_words import chosen_text, every_figure
from rework.commands.mark_words import (
    amount,
    amps_words,
    item_words,
    merged_unmet,
    missed_words,
)
from rework.report.terminal import printable, styled, table
from rework.solve.cold import HIGH_LINE
from rework.supply.design import Design
from rework.supply.evaluate import Candidate
from rework.supply.mark_names import mark_name
from rework.supply.needs import ANY_HUM, Needs
from rework.supply.order import COLOUR_CAUTION, Order
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


def design_text(
    design: Design,
    number: int | None,
    verdict: str,
    wanted: Order,
    *,
    title: str,
    shelf: str,
    every: bool = False,
) -> str:
    """Return the whole answer: needs, table, the candidate of that number with reasons, or what
    fails and what to order.

    ``every`` adds each figure of that candidate against its limit.
    """
    needs = design.needs
    out = [
        styled(f"{printable(title)}: a supply for it", "bold"),
        "",
        styled("What it needs", "bold"),
        _needs(needs),
        "",
    ]
    count = len(design.candidates)
    out.append(
        f"{design.pairs:,} pairs of transformer and filter from {printable(shelf)} were sieved by"
        " ideal rectifiers; "
        + (
            f"the {count} best of their forms were solved exactly."
            if count > 1
            else "the best was solved exactly."
        )
        if count
        else (
            f"{design.pairs:,} pairs of transformer and filter from {printable(shelf)} were sieved;"
            " none could be solved."
        )
    )
    if count:
        out += ["", _candidates(design.candidates, needs), ""]
    out += [f"Left out: {printable(reason)}." for reason in design.left_out]
    if number is not None:
        out += chosen_text(design, number, verdict)
        out += every_figure(design.candidates[number - 1]) if every else []
    else:
        out += _none(design)
    out += ["", ABOUT, CAUTION]
    if number is None or any(
        not item.listed for item in design.candidates[number - 1].choice.items()
    ):
        out += ["", *_orders(design, number, wanted, needs)]
    return "\n".join(out)


def _needs(needs: Needs) -> str:
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
    told = []
    for name, value, reason in rows:
        first, *more = printable(reason).split("; ")
        told += [(f"  {name}", printable(value), first), *(("", "", line) for line in more)]
    return table(told)


def _candidates(candidates: tuple[Candidate, ...], needs: Needs) -> str:
    head = (
        "  #",
        "form",
        "transformer",
        "rectifier",
        "B+, V",
        "cold",
        "hum",
        "heater",
        "load",
        "price",
        "fits",
    )
    rows = [head]
    for number, candidate in enumerate(candidates, 1):
        figures, choice = candidate.figures, candidate.choice
        both = " + ".join(iron.item.name for iron in choice.iron())
        rows.append(
            (
                f"  {number}",
                choice.form.replace(", back to back", "*").partition(",")[0],
                printable(both),
                printable(choice.valve.name),
                f"{figures.bplus_low:.0f}/{figures.bplus:.0f}/{figures.bplus_high:.0f}",
                f"{figures.bplus_cold:.0f}",
                amount(figures.hum, "V", 2) if needs.hum < ANY_HUM else "-",
                f"{figures.heater:.2f} V",
                f"{figures.volt_amps:.0f} of {choice.transformer.va:g} VA",
                "-" if choice.price is None else f"{choice.price:.2f}",
                "no" if candidate.unmet else "yes",
            )
        )
    line = needs.mains.volts
    lines = [
        f"B+ on {LOW_LINE * line:.0f}/{line:.0f}/{HIGH_LINE * line:.0f} V of line; cold: the most"
        " there while the tubes are cold.",
        table(rows, gap=" "),
    ]
    if any(candidate.choice.second for candidate in candidates):
        lines.append(
            "  * two transformers back to back: volts fall twice, so B+ and heaters sag more; the"
            " second is connected in reverse"
        )
    for number, candidate in enumerate(candidates, 1):
        if candidate.unmet:
            names = dict.fromkeys(mark_name(mark) for mark in candidate.unmet)
            lines.append(f"  {number} misses: {', '.join(names)}")
    return "\n".join(lines)


def _none(design: Design) -> list[str]:
    if not design.candidates:
        return ["", styled("Nothing on the list comes near.", "red")]
    best = design.candidates[0]
    return [
        styled("No candidate meets every need and rating. The nearest is 1; it misses:", "red"),
        *(f"  {missed_words(mark)}" for mark in merged_unmet(best)),
        "See it in full, or write it all the same, with --choose 1.",
    ]


def _orders(design: Design, number: int | None, wanted: Order, needs: Needs) -> list[str]:
    out = [styled("To order", "bold")]
    if number is not None:
        return out + [
            f"  {kind_of(item)} {item_words(item)}"
            for item in design.candidates[number - 1].choice.items()
            if not item.listed
        ]
    out.append(
        f"  transformer, {wanted.va:g} VA, {needs.mains.hertz:g} Hz, regulation at most"
        f" {wanted.regulation:.0%} at full load, insulation class {wanted.insulation}, primary and"
        " secondaries on separate sections or with an earthed screen:"
    )
    rows = [
        (
            f"    {ordered.name}",
            f"{ordered.volts:.3g} V unloaded"
            if ordered.name != "primary"
            else f"{ordered.volts:g} V",
            f"{ordered.amps:.3g} A RMS" if ordered.amps else "",
            "middle tap" if ordered.tapped else "",
            ordered.colours,
        )
        for ordered in wanted.windings
    ]
    out += [
        table(rows),
        f"    lead colours of the North American code: {COLOUR_CAUTION}",
        (
            f"  for it: {wanted.rectifier}, at least {wanted.inverse_volts:.0f} V inverse; two"
            f" electrolytics of {1e6 * wanted.capacitor_farads:g} uF {wanted.capacitor_volts:g} V;"
            f" a choke of {wanted.choke_henries:g} H {1e3 * wanted.choke_amps:.0f} mA,"
            f" {wanted.choke_ohms:g} ohm; bleeder {wanted.bleeder_ohms / 1e3:g}k; fuse"
            f" {amps_words(wanted.fuse_amps)} slow"
        ),
        (
            f"    by ideal rectifiers that gives {wanted.bplus:.0f} V of B+ and"
            f" {amount(wanted.hum, 'V', 2)} of hum: write it into the list when it is there, and"
            " solve it"
        ),
    ]
    return out

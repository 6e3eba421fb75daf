"""The chosen supply in words and tables: its figures, what it is close to, its parts."""

from __future__ import annotations

from rework.commands.mark_words import amount, item_words, merged, missed_words, near_words
from rework.report.cells import Amount, ShownFigure
from rework.report.story import Block, Headline, LineLook, lines
from rework.report.table import Cell, Column, Table
from rework.solve.cold import HIGH_LINE
from rework.supply.design import Design
from rework.supply.evaluate import CLOSE, Candidate
from rework.supply.forms import FILTERS, RECTIFIERS, back_to_back_ohms
from rework.supply.mark_names import mark_words
from rework.supply.marks import CABINET, Figures
from rework.supply.needs import ANY_HUM, Needs
from rework.supply.states import LOW_LINE
from rework.supply.stock import StockItem, kind_of

Rows = list[tuple[str, str]]


def chosen_story(design: Design, number: int, verdict: str) -> list[Block]:
    """Return the candidate of that number with its reasons, figures and parts."""
    candidate = design.candidates[number - 1]
    name = candidate.choice.transformer.name
    rows = [
        *_output_rows(candidate.figures, design.needs),
        *_choke_rows(candidate.figures),
        *_line_rows(candidate.figures),
    ]
    close = [near_words(mark) for mark in merged(candidate.close)]
    notes = _notes(candidate)
    return [
        Headline(f"Chosen: {number}, {candidate.choice.form} with {name}"),
        *lines(
            _reasons(design, number),
            f"in the job, the check says: {verdict}",
            look="list",
        ),
        Table(
            "chosen",
            "Figures of the chosen supply",
            "",
            (Column("figure", "name"), Column("computed")),
            tuple(rows),
        ),
        *_under(
            "Misses:", [missed_words(mark) for mark in candidate.unmet], "bad", heading_look="bad"
        ),
        *_under("Close to a rating or limit:", close, "close"),
        *([] if close else lines(f"No figure is within {1 - CLOSE:.0%} of its rating.")),
        *_under("Notes:", notes, "list"),
        _parts(candidate),
    ]


def _under(
    title: str, sentences: list[str], look: LineLook, *, heading_look: LineLook = ""
) -> list[Block]:
    """Return sentences under a title; nothing where there are none."""
    if not sentences:
        return []
    return [*lines(title, look=heading_look), *lines(sentences, look=look)]


def _output_rows(figures: Figures, needs: Needs) -> Rows:
    return [
        (
            "B+ at the umbilical",
            (
                f"{figures.bplus:.1f} V at {1e3 * figures.bplus_amps:.1f} mA, ripple"
                f" {amount(figures.ripple, 'V')} RMS; {figures.bplus_full:.1f} V at full signal"
            ),
        ),
        (
            "",
            (
                f"{figures.bplus_low:.0f} V on {LOW_LINE:.0%} of the line, {figures.bplus_high:.0f}"
                f" V on {HIGH_LINE:.0%}; {figures.bplus_cold:.0f} V there with the tubes cold"
            ),
        ),
        (
            "hum at the speaker",
            (
                f"{amount(figures.hum, 'V', 2)} of ripple, {amount(needs.hum, 'V', 2)} wanted"
                if needs.hum < ANY_HUM
                else "not looked at"
            ),
        ),
        (
            "rectifier",
            (
                f"{1e3 * figures.rectifier_mean:.1f} mA mean, {1e3 * figures.rectifier_peak:.0f} mA"
                f" peak, {figures.rectifier_inverse:.0f} V inverse on the high line"
            ),
        ),
        (
            "transformer",
            f"{figures.volt_amps:.1f} VA, {figures.copper_watts:.2g} W in its copper"
            + (
                f", about {figures.rise_kelvin:.0f} K over the air around it"
                if figures.rise_kelvin is not None
                else "; temperature rise not computed: the list has no size or no-load watts"
            ),
        ),
    ]


def _choke_rows(figures: Figures) -> Rows:
    if figures.choke_mean is None:
        return []
    least = figures.choke_least or 0.0
    dry = (
        f", never under {1e3 * least:.0f} mA" if least > 1e-4 else ", zero in part of every period"
    )
    critical = f"; critical {figures.choke_critical:.2g} H" if figures.choke_critical else ""
    return [("choke", f"{1e3 * figures.choke_mean:.1f} mA{dry}{critical}")]


def _line_rows(figures: Figures) -> Rows:
    return [
        (
            "from the line",
            (
                f"{figures.line_watts:.1f} W, {1e3 * figures.line_amps:.0f} mA; cold heaters at the"
                f" switch {figures.rush_amps:.2g} A; I²t {figures.rush_i2t:.2g} A²s in the first"
                " periods"
            ),
        ),
        (
            "discharge",
            (
                f"{figures.seconds:.0f} s to 60 V with the umbilical pulled (the aim of a minute is"
                f" this tool's own); bleeder {amount(figures.bleeder_watts, 'W', 2)}"
            ),
        ),
        (
            "heat",
            (
                f"{figures.supply_watts:.1f} W in the supply, {figures.amplifier_watts:.1f} W in"
                " the amplifier"
            ),
        ),
    ]


def every_figure(candidate: Candidate) -> Table:
    """Return every figure of a candidate against its limit."""
    return Table(
        "figures",
        "Every figure against its limit",
        "",
        (
            Column("figure", "name"),
            *(Column(heading, "figure") for heading in ("computed", "at least", "at most")),
            Column("share"),
        ),
        tuple(
            (
                mark_words(mark),
                _amount(mark.value, mark.unit),
                _amount(mark.least, mark.unit),
                _amount(mark.most, mark.unit),
                f"{mark.share:.0%}" + ("" if mark.met else " over"),
            )
            for mark in candidate.marks
        ),
        marks=tuple("" if mark.met else "bad" for mark in candidate.marks),
    )


def _amount(value: float | None, unit: str) -> Cell:
    return "" if value is None else ShownFigure(amount(value, unit), Amount(value, unit))


def _reasons(design: Design, number: int) -> list[str]:
    candidate = design.candidates[number - 1]
    choice, needs = candidate.choice, design.needs
    said = [f"{RECTIFIERS[choice.rectifier]}; {FILTERS[choice.filter]}"]
    if not candidate.unmet:
        said.append(
            "meets every need and rating; B+ is"
            f" {abs(candidate.figures.bplus / needs.bplus - 1):.1%}"
            f" {'over' if candidate.figures.bplus > needs.bplus else 'under'} its aim"
        )
    others = [other for other in design.candidates if other is not candidate and not other.unmet]
    if others and number == 1:
        said.append(
            f"first of {len(others) + 1} that do: one full-wave transformer before the rest, then"
            " B+ (steps of 5 %), then ratings nearly reached, price, hum"
        )
    elif others:
        said.append("asked for; the table's first is what it would have taken")
    return said


def _notes(candidate: Candidate) -> list[str]:
    """Return what the builder must know about this form."""
    choice = candidate.choice
    tube = choice.rectifier == "tube"
    shared = tube and choice.rectifier_winding == choice.heater_winding
    notes = (
        (
            choice.rectifier == "half-wave",
            "half-wave: direct current magnetises the core. A small transformer saturates, hums and"
            " runs hot. The volts here do not include this.",
        ),
        (
            shared,
            "the rectifier's heater is on the amplifier's heater winding: B+ is across the"
            " insulation from its heater to its cathode",
        ),
        (
            tube and not shared,
            "the rectifier's heater winding is at B+: it must be insulated for that from the core"
            " and from every other winding",
        ),
        (
            choice.filter == "L-C",
            "choke input: with the tubes cold B+ rises to the peak; every capacitor here was"
            " checked for that",
        ),
        (
            choice.balance == "elevated",
            "heaters are about 40 V above common: check the heater-cathode limit of every tube",
        ),
        (
            choice.bplus_fuse is not None,
            "the B+ fuse must be rated for direct current at these volts; another may not break"
            " the arc",
        ),
        (
            candidate.figures.rise_kelvin is not None,
            "the temperature rise is computed for the surface of the transformer at 12 W/m²K (from"
            f" memory), in a cabinet at {CABINET:.0f} °C: measure it after an hour",
        ),
        (
            choice.fuse.i2t is None,
            "the list has no I²t of the fuse: it is not known whether it survives switching on",
        ),
    )
    return [*_back_to_back(candidate), *(words for holds, words in notes if holds)]


def _back_to_back(candidate: Candidate) -> list[str]:
    choice = candidate.choice
    if choice.second is None:
        return []
    hv, low = choice.hv(), choice.second.secondaries[0]
    alone = hv.ohms + low.ohms * (hv.volts / low.volts) ** 2
    through = back_to_back_ohms(choice.transformer, choice.heater, choice.second)
    return [
        f"back to back: the bridge sees {through:.0f} ohm, {through - alone:.0f} of them the"
        " first transformer's through the second: B+ sags by that much more",
        "the line winding of the second transformer supplies B+: mark its leads as B+ at once",
    ]


def _parts(candidate: Candidate) -> Table:
    """Return what to buy for a candidate."""
    rows: dict[StockItem, int] = {}
    for item in candidate.choice.items():
        rows[item] = rows.get(item, 0) + 1
    in_all = "in all" + ("" if candidate.choice.price is not None else ", without unpriced parts")
    bought = [(str(count), *_bought(item, count)) for item, count in rows.items()]
    total = sum(item.price or 0.0 for item in candidate.choice.items())
    return Table(
        "parts",
        "Parts",
        "",
        (Column("count", "figure"), Column("part"), Column("type"), Column("price", "figure")),
        (*bought, ("", "", in_all, _price(total))),
    )


def _bought(item: StockItem, count: int) -> tuple[Cell, ...]:
    price: Cell = "-" if item.price is None else _price(count * item.price)
    return kind_of(item), item_words(item), "to order" if not item.listed else price


def _price(price: float) -> Cell:
    return ShownFigure(f"{price:.2f}", Amount(price, ""))

"""A designed supply as text for the bench and as plain values: needs, candidates in a table, the
chosen one with its reasons, what to order.
"""

from __future__ import annotations

from rework.report.terminal import printable, styled, table
from rework.solve.cold import HIGH_LINE
from rework.supply.design import Design
from rework.supply.evaluate import CLOSE, Candidate
from rework.supply.forms import FILTERS, RECTIFIERS, back_to_back_ohms
from rework.supply.marks import CABINET, Mark
from rework.supply.needs import ANY_HUM, Needs
from rework.supply.order import COLOUR_CAUTION, Order
from rework.supply.states import LOW_LINE
from rework.supply.stock import (
    StockCapacitor,
    StockChoke,
    StockConnector,
    StockFuse,
    StockItem,
    StockPot,
    StockResistor,
    StockSilicon,
    StockSwitch,
    StockThermistor,
    StockTransformer,
    kind_of,
)

ABOUT = (
    "Solved with the amplifier as its load. Not in it: the surge that magnetises a core at the"
    " switch, leakage between windings, saturation, hum that\nheaters and wiring bring. Volts of"
    " windings are those of the list, with nothing connected; iron loss is counted only where the"
    " list states it."
)
CAUTION = (
    "What stands here is worked out, not measured. Building it is work on the mains: local codes"
    " and licensed practice come first. Before it meets the\namplifier: earth continuity,"
    " insulation of the transformer, then B+ on a dummy load through a lamp limiter, one hand, and"
    " discharge before touching."
)
#: What figures are shown with: unit, factor, digits.
UNITS = {
    "V": ("V", 1.0),
    "A": ("mA", 1e3),
    "F": ("uF", 1e6),
    "H": ("H", 1.0),
    "ohm": ("ohm", 1.0),
    "VA": ("VA", 1.0),
    "W": ("W", 1.0),
    "s": ("s", 1.0),
    "degC": ("°C", 1.0),
    "A2s": ("A²s", 1.0),
}


def design_text(
    found: Design,
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
    needs = found.needs
    out = [
        styled(f"{printable(title)}: a supply for it", "bold"),
        "",
        styled("What it needs", "bold"),
        _needs(needs),
        "",
    ]
    count = len(found.candidates)
    out.append(
        f"{found.pairs:,} pairs of transformer and filter from {printable(shelf)} were sieved by"
        " ideal rectifiers; "
        + (
            f"the {count} best of their forms were solved exactly."
            if count > 1
            else "the best was solved exactly."
        )
        if count
        else (
            f"{found.pairs:,} pairs of transformer and filter from {printable(shelf)} were sieved;"
            " none could be solved."
        )
    )
    if count:
        out += ["", _candidates(found.candidates, needs), ""]
    out += [f"Left out: {printable(one)}." for one in found.left_out]
    if number is not None:
        out += _chosen(found, number, verdict)
        out += _every(found.candidates[number - 1]) if every else []
    else:
        out += _none(found)
    out += ["", ABOUT, CAUTION]
    if number is None or any(
        not item.listed for item in found.candidates[number - 1].choice.items()
    ):
        out += ["", *_orders(found, number, wanted, needs)]
    return "\n".join(out)


def amount(value: float, unit: str, digits: int = 3) -> str:
    """Return a figure with its unit as the bench writes it: small volts in mV or µV, large ohms in
    k.
    """
    if unit == "V" and 0 < abs(value) < 0.1:
        return f"{1e3 * value:.2g} mV" if abs(value) >= 1e-4 else f"{1e6 * value:.2g} µV"
    if unit == "A" and abs(value) >= 1:
        return f"{value:.{digits}g} A"
    if unit == "ohm" and abs(value) >= 1000:
        return f"{value / 1e3:.{digits}g}k"
    name, factor = UNITS[unit]
    size = value * factor
    return f"{size:.0f} {name}" if 100 <= abs(size) < 1e5 else f"{size:.{digits}g} {name}"


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
                "what its capacitors stand while nothing draws current, line 10 % high",
            )
        )
    told = []
    for name, value, reason in rows:
        first, *more = printable(reason).split("; ")
        told += [(f"  {name}", printable(value), first), *(("", "", one) for one in more)]
    return table(told)


def _candidates(found: tuple[Candidate, ...], needs: Needs) -> str:
    line = needs.mains.volts
    head = (
        "  #",
        "form",
        "transformer",
        "rectifier",
        f"B+ at {LOW_LINE * line:.0f}/{line:.0f}/{HIGH_LINE * line:.0f} V",
        "full",
        "cold",
        "hum",
        "heater",
        "load",
        "fuse",
        "price",
        "misses",
    )
    rows = [head]
    for number, one in enumerate(found, 1):
        figures, choice = one.figures, one.choice
        both = " + ".join(iron.item.name for iron in choice.iron())
        rows.append(
            (
                f"  {number}",
                choice.form.replace(", back to back", "*").partition(",")[0],
                printable(both),
                printable(choice.valve.name),
                f"{figures.bplus_low:.0f}/{figures.bplus:.0f}/{figures.bplus_high:.0f}",
                f"{figures.bplus_full:.0f}",
                f"{figures.bplus_cold:.0f}",
                amount(figures.hum, "V", 2) if needs.hum < ANY_HUM else "-",
                f"{figures.heater:.2f} V",
                f"{figures.volt_amps:.0f} of {choice.transformer.va:g} VA",
                _amps(choice.fuse.amps) if choice.fuse else "-",
                "-" if choice.price is None else f"{choice.price:.2f}",
                (
                    "nothing"
                    if not one.unmet
                    else ", ".join(dict.fromkeys(_short(mark) for mark in one.unmet))
                ),
            )
        )
    told = table(rows)
    if any(one.choice.second for one in found):
        told += (
            "\n  * two transformers back to back: volts fall twice, so B+ and heaters sag more; the"
            " second stands the wrong way round"
        )
    return told


def _short(mark: Mark) -> str:
    return mark.what.split(",")[0].removesuffix(" at idle")


def _amps(value: float) -> str:
    return f"{value:g} A" if value >= 1 else f"{1e3 * value:g} mA"


def _chosen(found: Design, number: int, verdict: str) -> list[str]:
    one, needs = found.candidates[number - 1], found.needs
    figures, choice = one.figures, one.choice
    out = [
        styled(f"Chosen: {number}, {choice.form} with {printable(choice.transformer.name)}", "bold")
    ]
    out += [f"  {sentence}" for sentence in _reasons(found, number)]
    out += [f"  in the job, the check says: {verdict}", ""]
    rows = [
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
                else "; its warmth is not known without size and no-load watts"
            ),
        ),
    ]
    if figures.choke_mean is not None:
        dry = (
            f", never under {1e3 * (figures.choke_least or 0.0):.0f} mA"
            if (figures.choke_least or 0.0) > 1e-4
            else ", and runs dry in every period"
        )
        rows.append(
            (
                "choke",
                f"{1e3 * figures.choke_mean:.1f} mA{dry}"
                + (f"; critical {figures.choke_critical:.2g} H" if figures.choke_critical else ""),
            )
        )
    rows += [
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
    out.append(table([(f"  {name}", value) for name, value in rows]))
    if one.unmet:
        out += ["", styled("Misses:", "red"), *(f"  {missed_words(mark)}" for mark in one.unmet)]
    out += (
        [
            "",
            styled("Close to its rating, or to be minded:", "yellow"),
            *(f"  {_near(mark)}" for mark in _merged(one.close)),
        ]
        if one.close
        else ["", f"No rating is nearer than {1 - CLOSE:.0%}."]
    )
    notes = _notes(one)
    out += ["", "Mind:", *(f"  {note}" for note in notes)] if notes else []
    out += [
        "",
        "Parts:",
        table([("  " + name, printable(says), price) for name, says, price in _parts(one)]),
    ]
    return out


def _every(one: Candidate) -> list[str]:
    rows = [("  figure", "", "at least", "at most", "share")]
    rows += [
        (
            f"  {mark.what}",
            amount(mark.value, mark.unit),
            "" if mark.least is None else amount(mark.least, mark.unit),
            "" if mark.most is None else amount(mark.most, mark.unit),
            f"{mark.share:.0%}" + ("" if mark.met else " over"),
        )
        for mark in one.marks
    ]
    return ["", "Every figure against its limit:", table(rows)]


def _reasons(found: Design, number: int) -> list[str]:
    one = found.candidates[number - 1]
    choice, needs = one.choice, found.needs
    said = [f"{RECTIFIERS[choice.rectifier]}; {FILTERS[choice.filter]}"]
    if not one.unmet:
        said.append(
            f"meets every need and rating; B+ is {abs(one.figures.bplus / needs.bplus - 1):.1%}"
            f" {'over' if one.figures.bplus > needs.bplus else 'under'} its aim"
        )
    others = [other for other in found.candidates if other is not one and not other.unmet]
    if others and number == 1:
        said.append(
            f"first of {len(others) + 1} that do: one full-wave transformer before the rest, then"
            " B+ (steps of 5 %), then ratings nearly reached, price, hum"
        )
    elif others:
        said.append("asked for; the table's first is what it would have taken")
    return said


def missed_words(mark: Mark) -> str:
    """Return by how much a figure misses its limit."""
    if mark.most is not None and mark.value > mark.most:
        return (
            f"{mark.what}: {amount(mark.value, mark.unit)},"
            f" {amount(mark.value - mark.most, mark.unit, 2)} over the"
            f" {amount(mark.most, mark.unit)} allowed"
        )
    least = mark.least or 0.0
    return (
        f"{mark.what}: {amount(mark.value, mark.unit)},"
        f" {amount(least - mark.value, mark.unit, 2)} under the"
        f" {amount(least, mark.unit)} wanted"
    )


def _near(mark: Mark) -> str:
    end = mark.most if mark.most is not None else mark.least
    return f"{mark.what}: {amount(mark.value, mark.unit)} of {amount(end or 0.0, mark.unit)}"


def _merged(marks: tuple[Mark, ...]) -> list[Mark]:
    """Return marks by what they share, fullest first; capacitors of the amplifier that are at the
    same volts of the same rating as one.
    """
    groups: dict[tuple[object, ...], list[Mark]] = {}
    for mark in sorted(marks, key=lambda mark: -mark.share):
        key: tuple[object, ...] = (
            (round(mark.value), mark.most)
            if mark.what.startswith("volts on C") and "supply" not in mark.what
            else (mark.what,)
        )
        groups.setdefault(key, []).append(mark)
    merged = []
    for group in groups.values():
        names = ", ".join(
            mark.what.removeprefix("volts on ").removesuffix(", worst state") for mark in group
        )
        what = group[0].what if len(group) == 1 else f"volts on {names}, worst state"
        merged.append(
            Mark(what, group[0].value, group[0].unit, group[0].most, group[0].least, group[0].kind)
        )
    return merged


def _notes(one: Candidate) -> list[str]:
    choice, said = one.choice, []
    if choice.rectifier == "half-wave":
        said.append(
            "half-wave: direct current magnetises the core, and a small transformer saturates, hums"
            " and runs hot; the volts here are without that"
        )
    if choice.second is not None:
        hv, low = choice.hv(), choice.second.secondaries[0]
        alone = hv.ohms + low.ohms * (hv.volts / low.volts) ** 2
        through = back_to_back_ohms(choice.transformer, choice.heater, choice.second)
        said.append(
            f"back to back: the bridge sees {through:.0f} ohm, {through - alone:.0f} of them the"
            " first transformer's through the second: B+ sags by that much more"
        )
        said.append(
            "the second transformer's line winding gives B+: its leads carry it and are marked at"
            " once"
        )
    if choice.rectifier == "tube" and choice.rectifier_winding == choice.heater_winding:
        said.append(
            "the rectifier's heater hangs on the amplifier's heater winding: B+ stands between its"
            " heater and cathode"
        )
    if choice.rectifier == "tube" and choice.rectifier_winding != choice.heater_winding:
        said.append(
            "the rectifier's heater winding stands at B+: it must be insulated for that from the"
            " core and from every other winding"
        )
    if choice.filter == "L-C":
        said.append(
            "choke input: with the tubes cold B+ rises to the peak; every capacitor here was held"
            " against that"
        )
    if choice.balance == "elevated":
        said.append(
            "heaters are held some 40 V above common: check the heater-cathode limit of every tube"
        )
    if choice.bplus_fuse is not None:
        said.append(
            "the B+ fuse must be made for direct current of these volts; one that is not may not"
            " break the arc"
        )
    if one.figures.rise_kelvin is not None:
        said.append(
            "the warmth is a sum over the outside of the transformer at 12 W/m²K from memory, in a"
            f" cabinet at {CABINET:.0f} °C: feel for it after an hour"
        )
    if choice.fuse is not None and choice.fuse.i2t is None:
        said.append("the list has no I²t of the fuse: whether it stands the switch is not known")
    return said


def _parts(one: Candidate) -> list[tuple[str, str, str]]:
    rows: dict[StockItem, int] = {}
    for item in one.choice.items():
        rows[item] = rows.get(item, 0) + 1
    out = [
        (
            f"{count} x {kind_of(item)}" if count > 1 else kind_of(item),
            item_words(item),
            (
                "to order"
                if not item.listed
                else "-"
                if item.price is None
                else f"{count * item.price:.2f}"
            ),
        )
        for item, count in rows.items()
    ]
    return [
        *out,
        (
            "",
            "in all" + ("" if one.choice.price is not None else ", without what has no price"),
            f"{sum(item.price or 0.0 for item in one.choice.items()):.2f}",
        ),
    ]


def item_words(item: StockItem) -> str:
    """Return an item as a person would ask for it over the counter."""
    said = [item.name] if item.name and item.listed else []
    said += _values(item)
    return ", ".join(
        [*said[:1], *(each for each in dict.fromkeys(said[1:]) if each not in said[0])]
    )


def _values(item: StockItem) -> list[str]:
    match item:
        case StockTransformer():
            return [f"{item.va:g} VA"]
        case StockChoke():
            return [amount(item.henries, "H"), _amps(item.amps), f"{item.ohms:g} ohm"]
        case StockCapacitor():
            return [amount(item.farads, "F"), f"{item.volts:g} V"]
        case StockFuse():
            return [f"{item.volts:g} V", _amps(item.amps), item.speed]
        case StockResistor():
            volts = [f"{item.volts:g} V"] if item.volts else []
            return [amount(item.ohms, "ohm"), *volts, f"{item.watts:g} W"]
        case StockPot():
            return [amount(item.ohms, "ohm"), f"{item.watts:g} W"]
        case StockThermistor():
            return [amount(item.cold_ohms, "ohm"), _amps(item.amps)]
        case StockSilicon() | StockConnector() | StockSwitch():
            return [f"{item.volts:g} V", _amps(item.amps)]
    return []


def _none(found: Design) -> list[str]:
    if not found.candidates:
        return ["", styled("Nothing on the list comes near.", "red")]
    best = found.candidates[0]
    return [
        styled("No candidate meets every need and rating. The nearest is 1; it misses:", "red"),
        *(f"  {missed_words(mark)}" for mark in _merged_unmet(best)),
        "See it in full, or write it all the same, with --choose 1.",
    ]


def _merged_unmet(one: Candidate) -> list[Mark]:
    needs = [mark for mark in one.unmet if mark.kind == "need"]
    return [*needs, *_merged(tuple(mark for mark in one.unmet if mark.kind != "need"))]


def _orders(found: Design, number: int | None, wanted: Order, needs: Needs) -> list[str]:
    out = [styled("To order", "bold")]
    if number is not None:
        return out + [
            f"  {kind_of(item)} {item_words(item)}"
            for item in found.candidates[number - 1].choice.items()
            if not item.listed
        ]
    out.append(
        f"  transformer, {wanted.va:g} VA, {needs.mains.hertz:g} Hz, volts falling by no more than"
        f" {wanted.regulation:.0%} at full load, insulation class {wanted.insulation}, primary and"
        " secondaries on separate sections or with an earthed screen:"
    )
    rows = [
        (
            f"    {one.name}",
            f"{one.volts:.3g} V unloaded" if one.name != "primary" else f"{one.volts:g} V",
            f"{one.amps:.3g} A RMS" if one.amps else "",
            "middle tap" if one.tapped else "",
            one.colours,
        )
        for one in wanted.windings
    ]
    out += [
        table(rows),
        f"    lead colours of the North American code: {COLOUR_CAUTION}",
        (
            f"  for it: {wanted.rectifier}, at least {wanted.inverse_volts:.0f} V inverse; two"
            f" electrolytics of {1e6 * wanted.capacitor_farads:g} uF {wanted.capacitor_volts:g} V;"
            f" a choke of {wanted.choke_henries:g} H {1e3 * wanted.choke_amps:.0f} mA,"
            f" {wanted.choke_ohms:g} ohm; bleeder {wanted.bleeder_ohms / 1e3:g}k; fuse"
            f" {_amps(wanted.fuse_amps)} slow"
        ),
        (
            f"    by ideal rectifiers that gives {wanted.bplus:.0f} V of B+ and"
            f" {amount(wanted.hum, 'V', 2)} of hum: write it into the list when it is there, and"
            " solve it"
        ),
    ]
    return out

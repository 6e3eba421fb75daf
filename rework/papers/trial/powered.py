"""Parts B and C of the test plan: the supply alone, then the amplifier, each in a solved state."""

from __future__ import annotations

import math

from rework.anatomy.rectifiers import is_rectifier_tube
from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part
from rework.papers.numbers import Side
from rework.papers.places import plain
from rework.papers.states import States, output_tubes
from rework.papers.trial.plan import PlannedTest, TrialPart
from rework.papers.trial.reach import heater_rows, pin_rows, winding_rows
from rework.report.figures import NOT_COMPUTED, shown, volts
from rework.solve.chart import Chart
from rework.touch.stored import Pins

_LAMP_SOURCE = (
    "solved with the filament's ohms, V ~ I^1.9: Arecchi, Messadi, Koshel, Field Guide to"
    " Illumination, SPIE Press 2007, p. 21; a lamp well above the set's watts: PRR, Hoffman"
    " amplifiers forum, topic 5380"
)
#: Volts under which a capacitor counts as discharged for who works on it; IEC 60335 line, see the
#: stored-charge table.
_TOUCHED = 34.0
#: A capacitor of fewer volts is not in the B+ supply.
_SUPPLY_VOLTS = 60.0
_HOUR = 3600.0


def supply_alone(circuit: Circuit, known: Side, solved: States) -> tuple[PlannedTest, ...]:
    """Return the tests of the supply without the amplifier."""
    parted = "Umbilical unplugged" if _umbilical(circuit) else "Amplifier tubes out"
    return (
        _dark(circuit, solved, parted),
        _b_plus(circuit, known, solved, parted),
    )


def _dark(circuit: Circuit, solved: States, parted: str) -> PlannedTest:
    lamp = f"{solved.lamp:.0f} W" if solved.lamp else "of twice the watts of the set"
    rows = ["lamp" + (f": {solved.dark.lamp_volts:.2g} V AC" if solved.dark else "")]
    return PlannedTest(
        "dark",
        TrialPart.SUPPLY,
        "Series lamp, every tube out",
        f"{parted}, every tube out, the fuse in. Bench isolation transformer, then the lamp, then"
        " the set. The lamp flashes at switch-on, then is dark. Read the lamp, then every winding.",
        f"Incandescent lamp for the line, {lamp} (not an LED or electronic lamp); AC voltmeter,"
        " 1000 V range first.",
        "lamp dark; windings within 10 % of the volts below",
        _LAMP_SOURCE,
        "The lamp stays bright: a short. 0 V on the lamp: the primary is open. A winding that is"
        " missing. Smoke, heat, loud hum.",
        (*rows, *winding_rows(solved.dark.chart if solved.dark else None, circuit)),
        hows=("states",),
    )


def _b_plus(circuit: Circuit, known: Side, solved: States, parted: str) -> PlannedTest:
    tube = any(part.kind == "tube" and is_rectifier_tube(part) for part in circuit.parts)
    rising = _supply_rows(circuit, solved.alone)
    high = _cold_high(circuit, known)
    seconds = _seconds(circuit, known)
    return PlannedTest(
        "b-plus",
        TrialPart.SUPPLY,
        "B+ without load, full line",
        f"Unplug. Remove the lamp. {parted}{', rectifier tube in' if tube else ''}. Meter on B+"
        " before you switch on. Watch it rise, then unplug and watch it fall.",
        "DC voltmeter, 1000 V range; clock.",
        f"as below; never above {_lowest(circuit)}"
        + (f"; computed at most {high} with the line 10 % high" if high else "")
        + f"; {seconds}",
        "solved without load; ratings as written in the netlist",
        "B+ passes a rating, or does not fall after the plug is out.",
        (*rising, f"seconds from off to {_TOUCHED:.0f} V"),
        hows=("ratings", "stored", "states"),
    )


def amplifier(circuit: Circuit, known: Side, solved: States) -> tuple[PlannedTest, ...]:
    """Return the tests with the amplifier on the supply."""
    tests = [_behind_lamp(circuit, solved)]
    if (small := _small(circuit, solved)) is not None:
        tests.insert(0, small)
    return (*tests, _full_line(circuit, known), *_contacts(known))


def _small(circuit: Circuit, solved: States) -> PlannedTest | None:
    """Return the test without output tubes; none where a part would pass its rating in it."""
    if solved.small is None or solved.small.flagged:
        return None
    output = output_tubes(circuit)
    names = frozenset(row.part for row in solved.small.pins if row.part not in output)
    return PlannedTest(
        "small",
        TrialPart.AMPLIFIER,
        "Small tubes, output tube out",
        f"Supply discharged{', umbilical in' if _umbilical(circuit) else ''}. Every tube in but"
        f" {', '.join(sorted(output))}. Full line. B+ is higher than in use, so the bands below are"
        " those of this state.",
        "AC voltmeter 20 V; DC voltmeter 1000 V, 10 Mohm.",
        "each within its band",
        "solved in this state",
        "A reading outside its band. A grid that is positive beyond its band.",
        (*heater_rows(solved.small), *pin_rows(circuit, solved.small, names)),
        hows=("band", "states"),
    )


def _behind_lamp(circuit: Circuit, solved: States) -> PlannedTest:
    whole = solved.whole
    names = frozenset(part.name for part in circuit.parts if part.kind == "tube")
    share = (
        f" The set gets {whole.set_volts:.0f} V of the line, so every reading is lower than in use."
        if whole
        else ""
    )
    return PlannedTest(
        "lamp",
        TrialPart.AMPLIFIER,
        "All tubes, behind the lamp",
        "Unplug. Connect the speaker or a dummy load first: never run the output stage without it."
        f" Every tube in, the lamp in series, the fuse in.{share} Read the output cathode at once,"
        " then the others.",
        "Dummy load of the speaker's ohms, 10 W; AC voltmeter 20 V; DC voltmeter 1000 V, 10 Mohm.",
        "lamp dim; each reading within its band for this state",
        _LAMP_SOURCE,
        "The lamp is bright. A plate glows. Cathode volts climb and do not stop. A reading outside"
        " its band.",
        (
            *((f"lamp: {whole.lamp_volts:.3g} V AC",) if whole else ("lamp",)),
            *heater_rows(whole.chart if whole else None),
            *pin_rows(circuit, whole.chart if whole else None, names),
        ),
        hows=("band", "states"),
    )


def _full_line(circuit: Circuit, known: Side) -> PlannedTest:
    names = frozenset(part.name for part in circuit.parts if part.kind == "tube")
    fuses = ", ".join(
        f"{part.name}, {plain(part)}" for part in circuit.parts if part.traits.is_overcurrent
    )
    current = shown(known.chart.line_amps, "A") if known.chart else NOT_COMPUTED
    return PlannedTest(
        "full",
        TrialPart.AMPLIFIER,
        "All tubes, full line",
        "Unplug. Remove the lamp. Dummy load on. Read every pin again at the full line, then let"
        " the set run for ten minutes beside you.",
        "As before; AC ammeter or wattmeter in the line.",
        f"each within its band; line current {current}, below the fuse ({fuses or 'none'})",
        "solved in use; the netlist",
        "A reading outside its band, hum that grows, smoke, a transformer too hot to touch.",
        (
            "line current",
            *heater_rows(known.chart),
            *pin_rows(circuit, known.chart, names),
        ),
        hows=("band", "currents"),
    )


def _contacts(known: Side) -> tuple[PlannedTest, ...]:
    """Return the test of what is left at the bare contacts of a pulled umbilical; none where
    nothing is.
    """
    bare = [
        pins for pins in (known.stored.pins if known.stored else ()) if pins.kind == "connector"
    ]
    if not bare:
        return ()
    slow = max(pins.fall.late_60 for pins in bare)
    wait = f"{math.ceil(slow)} s" if slow <= _HOUR else ""
    limit = (
        f"60 V or less {wait} after pulling"
        if wait
        else "nothing discharges the contacts: discharge them through the resistor of the first"
        " step, then under 5 V"
    )
    return (
        PlannedTest(
            "contacts",
            TrialPart.AMPLIFIER,
            "Charge at the pulled umbilical",
            "Switch off and unplug. Pull the umbilical and touch none of its contacts. "
            + (f"Wait {wait} by the clock, then read" if wait else "Read")
            + " between the contacts below, with one hand. Discharge and measure before you put"
            " the umbilical back.",
            "DC voltmeter, 1000 V range, 10 Mohm; clock.",
            limit,
            "60 V within 5 s at the contacts of a pulled connector: IEC 60204-1 6.2.4 as quoted at"
            " cmph-safety.tech/?p=933; solved with the umbilical pulled, from the most volts, at"
            " the slow end of tolerances",
            "More than 60 V: the bleeder is open, missing or of another value. Treat the contacts"
            " as charged.",
            tuple(map(_contact_row, bare)),
            ("reading",),
            ("stored",),
        ),
    )


def _contact_row(pins: Pins) -> str:
    fall = pins.fall
    falls = (
        f"60 V after {fall.to_60:.2g} s nominal, {fall.late_60:.2g} s at most"
        if fall.late_60 <= _HOUR
        else "nothing discharges it"
    )
    return (
        f"{pins.part} {pins.one} to {pins.other}: {pins.volts:.0f} V at most when pulled, {falls}"
    )


def _umbilical(circuit: Circuit) -> bool:
    return any(part.kind == "connector" and part.setting("mates") for part in circuit.parts)


def _supply_rows(circuit: Circuit, chart: Chart | None) -> tuple[str, ...]:
    """Return the filter capacitors of the supply to read across, with the volts of the state."""
    nodes = {row.node: row for row in chart.nodes} if chart else {}
    rows = []
    for part in _filters(circuit):
        plus, minus = nodes.get(part.at("plus")), nodes.get(part.at("minus"))
        if plus is None or minus is None:
            continue
        low, high = plus.low - minus.high, plus.high - minus.low
        rows.append(f"across {part.name}: {volts(low).removesuffix(' V')} to {volts(high)}")
    return tuple(rows) or ("B+ without load",)


def _filters(circuit: Circuit) -> list[Part]:
    """Return the filter capacitors on the supply's chassis; in a set of one chassis, all."""
    rated = [
        part
        for part in circuit.parts
        if part.kind == "electrolytic"
        and (part.value("voltage") or 0) > _SUPPLY_VOLTS
        and part.node("plus")
        and part.node("minus")
    ]
    return [part for part in rated if "/" in part.name] or rated


def _cold_high(circuit: Circuit, known: Side) -> str:
    rows = known.chart.capacitors if known.chart else ()
    filters = {part.name for part in _filters(circuit)}
    high = [row.cold_volts for row in rows if row.part in filters]
    return volts(max(high)) if high else ""


def _lowest(circuit: Circuit) -> str:
    """Return the filter capacitor with the lowest rating, with its volts."""
    rated = [(part.value("voltage") or 0.0, part.name, plain(part)) for part in _filters(circuit)]
    return f"the rating of {min(rated)[1]}, {min(rated)[2]}" if rated else "a rating (none stated)"


def _seconds(circuit: Circuit, known: Side) -> str:
    """Return how long the filter capacitors take to 34 V, or that they do not discharge."""
    filters = {part.name for part in _filters(circuit)}
    lasting = [
        stored
        for stored in (known.stored.capacitors if known.stored else ())
        if stored.volts > _TOUCHED and stored.part in filters
    ]
    slow = max((stored.slowest_34 for stored in lasting), default=0.0)
    if known.stored is None or not lasting:
        return f"time to fall {NOT_COMPUTED}"
    if slow > _HOUR:
        return "some capacitors do not discharge by themselves: discharge them"
    return f"under {_TOUCHED:.0f} V in {slow:.0f} s at most"

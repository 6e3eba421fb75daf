"""The test plan: in which order the converted set is measured, with what, within which limit, and
what stops the job.

A limit carries where it was seen, or ``common practice, no source``. Where a limit depends on the
set (volts, amperes), the plan says what the netlist says, or ``not computed``.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from rework.circuit.circuit import Circuit
from rework.circuit.kinds import KINDS
from rework.circuit.parts import Part
from rework.papers.numbers import Side
from rework.papers.places import one_point, pin_words
from rework.papers.work import plain
from rework.report.figures import NOT_COMPUTED, band, shown, volts
from rework.rules.run import JobRun

_COMMON = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Trial:
    """One measurement: how, instrument and range, limit and its source, what stops the job.

    ``rows`` are the places to read, ``columns`` the readings taken at each; ``hows`` the methods
    its computed figures come from.
    """

    number: int
    title: str
    how: str
    instrument: str
    limit: str
    source: str
    stop: str
    rows: tuple[str, ...] = ()
    columns: tuple[str, ...] = ("reading",)
    hows: tuple[str, ...] = ()


def trial(run: JobRun, known: Side) -> tuple[Trial, ...]:
    """Return the tests in their order; volts, amps and watts come from ``known``, the sums of the
    finished set.
    """
    after = run.after
    metal = _metal(after)
    switched = any(part.kind == "switch" for part in after.parts)
    positions = ("switch ON", "switch OFF") if switched else ("ON",)
    has = _Has(after)
    chart = "each within its band, see Volts to expect" if known.chart else f"volts {NOT_COMPUTED}"
    current = (
        f"about {shown(known.chart.line_amps, 'A')}"
        if known.chart
        else f"line current {NOT_COMPUTED}"
    )
    worst = known.touch.worst if known.touch else None
    leak = (
        f"; by the sums at most {shown(worst.reading, 'A')}, neutral and earth open"
        if worst
        else ""
    )
    tests = (
        Trial(
            0,
            "Earth continuity",
            "Unplugged. From the earth pin of the plug to each place below. Flex the"
            f" cord{has.and_umbilical} while you read.",
            "Low-ohm meter or four-wire, lowest range; take off the reading of its own leads.",
            "0.1 ohm or less, plus the cord",
            "bond of 0.1 ohm, UL/CSA 60065 as quoted at bbs.angui.org (thread 50406); in service"
            " 0.1 ohm plus cord, pswservices.co.uk/electrical-tests.asp",
            "Any place above the limit, or a reading that jumps. Nothing is plugged in before this"
            " is mended.",
            _earthed(after) or metal,
        ),
        Trial(
            0,
            "Cold resistance, blades to metal",
            "Unplugged, both blades joined by a"
            f" clip{', switch ON; then again with the switch OFF' if switched else ''}. From the"
            " clip to each place below. An autotransformer, a capacitor's leak or a forgotten wire"
            " shows here.",
            "Ohmmeter, highest range.",
            f"above 1 Mohm{' in both switch positions' if switched else ''}",
            "cold check of 1 Mohm or more, repairfaq.cis.upenn.edu (TV and monitor repair)",
            "Any reading that is not far above the"
            f" limit{', or that is not the same ON and OFF' if switched else ''}.",
            metal,
            positions,
        ),
        Trial(
            0,
            "Insulation at 500 V",
            f"Unplugged, tubes out{', umbilical pulled' if has.umbilical else ''}. Blades joined,"
            " switch ON: to the earth pin, then to B- and to a heater pin of the supply.",
            "Insulation tester, 500 V DC. Discharge what it charged.",
            "1 Mohm or more",
            "class I, 500 V DC, pswservices.co.uk/electrical-tests.asp and DIN VDE 0701/0702 as"
            " printed in a tester manual, manualslib.de/manual/255662",
            "Any reading under the limit, or one that sinks while you watch.",
            ("blades to earth pin", "blades to B-", "blades to heater winding"),
        ),
        Trial(
            0,
            "Series lamp, no tubes",
            "Bench isolation transformer, then the series lamp, then the set. Tubes"
            f" out{', umbilical pulled' if has.umbilical else ''}. Start with a small lamp. One"
            " hand.",
            "Lamp of 40 to 60 W; AC voltmeter across it.",
            "lamp flashes and goes dark",
            _COMMON,
            "The lamp stays bright; anything smells, hums loudly or gets hot.",
            ("lamp",),
        ),
        Trial(
            0,
            "Windings, no tubes",
            "As before. Each winding of the new supply.",
            "AC voltmeter, 1000 V range first.",
            "; ".join(_windings(after)) or NOT_COMPUTED,
            "the netlist; unloaded and behind a lamp they differ, so judge the ratio of one to"
            " another",
            "A winding that is missing, or out of proportion to the others.",
            _windings(after),
        ),
        Trial(
            0,
            "Rectifier",
            "Rectifier in (or connected), amplifier tubes out. Watch B+ as it comes up; then unplug"
            " and watch it fall.",
            "DC voltmeter, 1000 V range; clock.",
            _unloaded(after, known),
            "the sums; ratings in the netlist",
            "B+ passes a rating, or does not fall by itself after the plug is pulled.",
            ("B+ without load", "seconds from off to 34 V"),
            hows=("ratings", "stored"),
        ),
        Trial(
            0,
            "Small tubes",
            f"Supply discharged{', umbilical in' if has.umbilical else ''}, small tubes in. Heaters"
            " first, then plate and cathode of each.",
            "AC voltmeter 20 V; DC voltmeter 1000 V, 10 Mohm.",
            f"heaters {_heaters(after)}; {chart}",
            "heater volts: the netlist; within 10 percent from memory",
            "A heater outside its volts, a grid that is positive, a cathode at 0 V.",
            *_against(_tube_rows(after, small=True), after, known),
        ),
        Trial(
            0,
            "Output tube, with load",
            "Speaker or dummy load connected first, always. Output tube in. Cathode volts at once,"
            " then the others.",
            "DC voltmeter; dummy load of the speaker's ohms, 10 W.",
            chart,
            _COMMON,
            "The grid goes positive, a plate glows, cathode volts climb and do not stop. Never run"
            " it without a load.",
            *_against(_tube_rows(after, small=False), after, known),
        ),
        Trial(
            0,
            "Full line, lamp out",
            "Still behind the bench isolation transformer. Lamp out. Ten minutes with a hand near"
            " the switch.",
            "AC ammeter or wattmeter in the line.",
            f"{current}; below the fuse: {_fuses(after)}",
            "the sums; the netlist",
            "Hum that grows, smoke, a transformer you cannot keep a finger near.",
            ("line current",),
            hows=("currents",),
        ),
        Trial(
            0,
            "Leakage, on the wall outlet",
            "Now off the bench isolation transformer and on the wall outlet, checked first with an"
            " outlet tester. No hand on the set: clip on, then switch on. Earth pin lifted by an"
            " adaptor for this test only. Through the network to a known earth, both ways of the"
            " plug, switch ON and OFF, cold and warm.",
            "1.5 k 10 W with 0.15 uF across it; AC voltmeter of 1 Mohm or more across both.",
            f"below 0.75 V rms, which is 0.5 mA{leak}",
            "leakage check of service manuals, network 1500 ohm and 0.15 uF; history in"
            " incompliancemag.com/article/electric-shock-from-radios-a-review",
            "Any place at or above the limit in any position. Switch off, pull the plug, back to"
            " the bench.",
            metal,
            tuple(
                f"plug {way}, {position}"
                for way in ("as marked", "reversed")
                for position in positions
            ),
            ("touch",),
        ),
        Trial(
            0,
            "Earth restored",
            "Adaptor away and put away. Leakage once more with the earth in place.",
            "The same.",
            "no reading",
            _COMMON,
            "Any reading: the earth is not there.",
            metal,
        ),
        Trial(
            0,
            "Hum",
            "Input shorted, controls up, then down. Dummy load.",
            "AC millivoltmeter or scope across the load; the scope's earth to common only.",
            (
                f"{shown(known.signal.hum.volts, 'V')} by the sums; heaters, fields and wiring add"
                " to it"
                if known.signal
                else NOT_COMPUTED
            ),
            "twice line frequency points to the filter, line frequency to the heaters:"
            " puck.nether.net boatanchors list, June 1999",
            "Hum that was not there before the job.",
            ("controls up", "controls down"),
            hows=("hum",),
        ),
        Trial(
            0,
            "Power",
            "1 kHz into the input, up until the tops flatten. Dummy load.",
            "Generator, scope, AC voltmeter; watts are volts squared over ohms.",
            (
                f"{shown(known.signal.full.watts, 'W')} into {known.signal.load_ohms:g} ohm for"
                f" {shown(known.signal.full.input_volts, 'V')} at the input"
                if known.signal
                else NOT_COMPUTED
            ),
            _COMMON,
            "A waveform that clips on one side long before the other, or breaks into oscillation.",
            ("volts at first clipping", "watts"),
            hows=("signal",),
        ),
        Trial(
            0,
            "Soak",
            "Two hours in its case at low level, never left alone. B+, cathode volts and hum again"
            " at the end.",
            "The same.",
            "as at the start",
            _COMMON,
            "Anything drifts, smells or hums more.",
            ("B+", "output cathode", "hum"),
            ("at the start", "at the end"),
        ),
    )
    wanted = [one for one in tests if one.rows or one.title != "Small tubes"]
    return tuple(replace(one, number=number) for number, one in enumerate(wanted, 1))


class _Has:
    """What the plan speaks of only where the set has it."""

    def __init__(self, circuit: Circuit) -> None:
        self.umbilical = any(
            part.kind == "connector" and part.setting("mates") for part in circuit.parts
        )
        self.and_umbilical = " and the umbilical" if self.umbilical else ""


def _unloaded(circuit: Circuit, known: Side) -> str:
    """Return how high B+ may come with the tubes cold, the rating it must not pass, and how long
    the capacitors hold their charge.
    """
    supply = (
        [row for row in known.chart.capacitors if row.rating and row.rating > 60]
        if known.chart
        else []
    )
    most = max(supply, key=lambda row: row.cold_volts, default=None)
    comes = (
        f"B+ up to {volts(most.cold_volts)} (tubes cold, line 10 % high)"
        if most
        else f"B+ {NOT_COMPUTED}"
    )
    filters = {part.name for part in circuit.parts if part.kind == "electrolytic"}
    lasting = [one for one in known.stored or () if one.volts > 34 and one.part in filters]
    slow = max((seconds for one in lasting for _, _, _, seconds in one.positions), default=0.0)
    falls = (
        ""
        if known.stored is None
        else (
            "; something holds its charge: discharge it"
            if slow > 3600
            else f"; under 34 V in {slow:.0f} s"
            if lasting
            else ""
        )
    )
    return f"{comes}; never above the lowest rating: {_lowest(circuit)}{falls}"


def _against(
    rows: tuple[str, ...], circuit: Circuit, known: Side
) -> tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]]:
    """Return the rows with what to expect at each, the column of the reading, and the methods."""
    if known.chart is None:
        return rows, ("reading",), ()
    told = {
        pin_words(circuit.by_name[pin.part], pin.pin): band(pin.low, pin.high) or volts(pin.volts)
        for pin in known.chart.pins
    }
    return (
        tuple(f"{row}: {told[row]}" if row in told else row for row in rows),
        ("reading",),
        ("band",),
    )


def _metal(circuit: Circuit) -> tuple[str, ...]:
    """Return every place in reach of a hand: pins that every kind brings along, and what the file
    says.
    """
    found = [
        pin_words(part, terminal)
        for part in circuit.parts
        for terminal, _ in part.pins
        if _in_reach(part, terminal)
    ]
    named = [
        f"point {node}"
        for node in circuit.touchable
        if not any(_in_reach(part, terminal) for part, terminal in circuit.at.get(node, ()))
    ]
    return tuple(dict.fromkeys([*found, *named]))


def _earthed(circuit: Circuit) -> tuple[str, ...]:
    """Return the places in reach that conductors and mated connectors hold to the earth pin of a
    plug.
    """
    point = one_point(circuit)
    earth = {
        point[node]
        for part in circuit.parts
        if part.kind == "plug"
        for terminal, node in part.pins
        if terminal == "earth"
    }
    return tuple(
        dict.fromkeys(
            pin_words(part, terminal)
            for part in circuit.parts
            for terminal, node in part.pins
            if _in_reach(part, terminal) and point[node] in earth
        )
    )


def _in_reach(part: Part, terminal: str) -> bool:
    return terminal in KINDS[part.kind].touched


def _windings(circuit: Circuit) -> tuple[str, ...]:
    return tuple(
        f"{part.name} {name}"
        f" {next((v.text for v in values if v.dimension == 'voltage'), NOT_COMPUTED)}"
        for part in circuit.parts
        if part.kind == "transformer"
        for name, values in part.windings
    )


def _lowest(circuit: Circuit) -> str:
    """Return the supply capacitor with the least volts."""
    rated = [
        (part.value("voltage"), part.name, plain(part))
        for part in circuit.parts
        if part.kind == "electrolytic" and (part.value("voltage") or 0) > 60
    ]
    return f"{min(rated)[1]}, {min(rated)[2]}" if rated else "none stated"


def _heaters(circuit: Circuit) -> str:
    return (
        ", ".join(
            dict.fromkeys(
                next((v.text for v in values if v.dimension == "voltage"), NOT_COMPUTED)
                for part in circuit.parts
                if part.kind == "transformer"
                for name, values in part.windings
                if name.startswith("heater")
            )
        )
        or NOT_COMPUTED
    )


def _fuses(circuit: Circuit) -> str:
    return (
        ", ".join(f"{part.name}, {plain(part)}" for part in circuit.parts if part.kind == "fuse")
        or "none"
    )


def _tube_rows(circuit: Circuit, *, small: bool) -> tuple[str, ...]:
    """Return plate, screen, cathode and grid of the amplifier's tubes; an output tube is one whose
    plate is on an output transformer.
    """
    driven = {
        node
        for part in circuit.parts
        if part.kind == "output transformer"
        for terminal, node in part.pins
        if terminal.startswith("primary")
    }
    rows = []
    for part in circuit.parts:
        if part.kind != "tube" or "/" in part.name:
            continue
        pins = [(pin_words(part, terminal), node) for terminal, node in part.pins]
        output = any("plate" in words and node in driven for words, node in pins)
        if output != small:
            rows += [
                words
                for words, _ in pins
                if any(element in words for element in ("plate", "screen", "cathode", "grid"))
            ]
    return tuple(rows)

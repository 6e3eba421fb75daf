"""The test plan: in which order the converted set is measured, with what, within which limit, and what stops the job.

A limit carries where it was seen, or ``common practice, no source``. Where a limit depends on the set (volts, amperes),
the plan says what the netlist says, or ``not computed``.
"""

from __future__ import annotations

from dataclasses import dataclass

from rework.circuit.circuit import Circuit
from rework.circuit.graph import Merged, contracted
from rework.circuit.parts import KINDS, Part
from rework.papers.lists import NOT_COMPUTED
from rework.papers.places import pin_words
from rework.papers.work import plain
from rework.rules.run import JobRun
from rework.safety.links import joints
from rework.solve.chart import Chart

_COMMON = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Trial:
    """One measurement: how, instrument and range, limit and its source, what stops the job, and a row a place to read."""

    number: int
    title: str
    how: str
    instrument: str
    limit: str
    source: str
    stop: str
    rows: tuple[str, ...] = ()


def trial(run: JobRun, chart: Chart | None = None) -> tuple[Trial, ...]:
    """Return the tests in their order; volts come from the chart where there is one."""
    after = run.after
    metal = _metal(after)
    switch = "; then again with the switch OFF" if any(part.kind == "switch" for part in after.parts) else ""
    volts = "each within its band in the chart Volts to expect" if chart else f"volts {NOT_COMPUTED}"
    current = f"about {chart.line_amps * 1000:.0f} mA" if chart else f"line current {NOT_COMPUTED}"
    tests = (
        ("Earth continuity",
         "Unplugged. From the earth pin of the plug to each place below. Flex the cord and the umbilical while you read.",
         "Low-ohm meter or four-wire, lowest range; take off the reading of its own leads.",
         "0.1 ohm or less, plus the cord",
         "bond of 0.1 ohm, UL/CSA 60065 as quoted at bbs.angui.org (thread 50406); in service 0.1 ohm plus cord, pswservices.co.uk/electrical-tests.asp",
         "Any place above the limit, or a reading that jumps. Nothing is plugged in before this is mended.", _earthed(after) or metal),
        ("Cold resistance, blades to metal",
         f"Unplugged, both blades joined by a clip. Switch ON{switch}. From the clip to each place below. "
         "An autotransformer, a capacitor's leak or a forgotten wire shows here.",
         "Ohmmeter, highest range.", "above 1 Mohm in both switch positions", "cold check of 1 Mohm or more, repairfaq.cis.upenn.edu (TV and monitor repair)",
         "Any reading that is not far above the limit, or that is not the same ON and OFF.",
         tuple(f"{one}, {position}" for one in metal for position in (("ON", "OFF") if switch else ("ON",)))),
        ("Insulation at 500 V",
         "Unplugged, tubes out, umbilical pulled. Blades joined, switch ON: to the earth pin, then to B- and to a heater pin of the supply.",
         "Insulation tester, 500 V DC. Discharge what it charged.", "1 Mohm or more",
         "class I, 500 V DC, pswservices.co.uk/electrical-tests.asp and DIN VDE 0701/0702 as printed in a tester manual, manualslib.de/manual/255662",
         "Any reading under the limit, or one that sinks while you watch.", ("blades to earth pin", "blades to B-", "blades to heater winding")),
        ("Series lamp, no tubes",
         "Bench isolation transformer, then the series lamp, then the set. Tubes out, umbilical pulled. Start with a small lamp. One hand.",
         "Lamp of 40 to 60 W; AC voltmeter across it.", "lamp flashes and goes dark", _COMMON,
         "The lamp stays bright; anything smells, hums loudly or gets hot.", ("lamp",)),
        ("Windings, no tubes",
         "As before. Each winding of the new supply.", "AC voltmeter, 1000 V range first.",
         "; ".join(_windings(after)) or NOT_COMPUTED, "the netlist; unloaded and behind a lamp they differ, so judge the ratio of one to another",
         "A winding that is missing, or out of proportion to the others.", _windings(after)),
        ("Rectifier", "Rectifier in (or connected), amplifier tubes out. Watch B+ as it comes up; then unplug and watch it fall.",
         "DC voltmeter, 1000 V range; clock.", f"B+ {NOT_COMPUTED}; never above the lowest rating: {_lowest(after)}", "ratings in the netlist",
         "B+ passes a rating, or does not fall by itself after the plug is pulled.", ("B+ without load", "seconds from off to 5 V")),
        ("Small tubes", "Supply discharged, umbilical in, small tubes in. Heaters first, then plate and cathode of each.",
         "AC voltmeter 20 V; DC voltmeter 1000 V, 10 Mohm.", f"heaters {_heaters(after)}; {volts}", "heater volts: the netlist; within 10 percent from memory",
         "A heater outside its volts, a grid that is positive, a cathode at 0 V.", _tube_rows(after, small=True)),
        ("Output tube, with load", "Speaker or dummy load connected first, always. Output tube in. Cathode volts at once, then the others.",
         "DC voltmeter; dummy load of the speaker's ohms, 10 W.", volts, _COMMON,
         "The grid goes positive, a plate glows, cathode volts climb and do not stop. Never run it without a load.", _tube_rows(after, small=False)),
        ("Full line, lamp out", "Still behind the bench isolation transformer. Lamp out. Ten minutes with a hand near the switch.",
         "AC ammeter or wattmeter in the line.", f"{current}; below the fuse: {_fuses(after)}", "the netlist",
         "Hum that grows, smoke, a transformer you cannot keep a finger near.", ("line current",)),
        ("Leakage, on the wall outlet",
         "Now off the bench isolation transformer and on the wall outlet, checked first with an outlet tester. No hand on the set: clip on, then switch on. "
         "Earth pin lifted by an adaptor for this test only. Through the network to a known earth, both ways of the plug, switch ON and OFF, cold and warm.",
         "1.5 k 10 W with 0.15 uF across it; AC voltmeter of 1 Mohm or more across both.", "below 0.75 V rms, which is 0.5 mA",
         "leakage check of service manuals, network 1500 ohm and 0.15 uF; history in incompliancemag.com/article/electric-shock-from-radios-a-review",
         "Any place at or above the limit in any position. Switch off, pull the plug, back to the bench.",
         tuple(f"{one}, {way}, switch {position}" for one in metal for way in ("plug as marked", "plug reversed") for position in (("ON", "OFF") if switch else ("ON",)))),
        ("Earth restored", "Adaptor away and put away. Leakage once more with the earth in place.", "The same.", "no reading", _COMMON,
         "Any reading: the earth is not there.", metal),
        ("Hum", "Input shorted, controls up, then down. Dummy load.", "AC millivoltmeter or scope across the load; the scope's earth to common only.",
         NOT_COMPUTED, "twice line frequency points to the filter, line frequency to the heaters: puck.nether.net boatanchors list, June 1999",
         "Hum that was not there before the job.", ("controls up", "controls down")),
        ("Power", "1 kHz into the input, up until the tops flatten. Dummy load.", "Generator, scope, AC voltmeter; watts are volts squared over ohms.", NOT_COMPUTED, _COMMON,
         "A waveform that clips on one side long before the other, or breaks into oscillation.", ("volts at first clipping", "watts")),
        ("Soak", "Two hours in its case at low level, never alone. B+, cathode volts and hum again at the end.", "The same.", "as at the start", _COMMON,
         "Anything drifts, smells or hums more.", ("B+", "output cathode", "hum")),
    )
    return tuple(Trial(number, *row) for number, row in enumerate(tests, 1))


def _metal(circuit: Circuit) -> tuple[str, ...]:
    """Return every place in reach of a hand: pins that every kind brings along, and what the file says."""
    found = [pin_words(part, terminal) for part in circuit.parts for terminal, _ in part.pins if _in_reach(part, terminal)]
    named = [f"point {node}" for node in circuit.touchable if not any(_in_reach(part, terminal) for part, terminal in circuit.at.get(node, ()))]
    return tuple(dict.fromkeys([*found, *named]))


def _earthed(circuit: Circuit) -> tuple[str, ...]:
    """Return the places in reach that conductors and mated connectors hold to the earth pin of a plug."""
    group, merged = contracted(circuit), Merged()
    for one, first, other, second in joints(circuit):
        merged.join(group[circuit.by_name[one].node(first)], group[circuit.by_name[other].node(second)])
    earth = {merged.find(group[node]) for part in circuit.parts if part.kind == "plug" for terminal, node in part.pins if terminal == "earth"}
    return tuple(dict.fromkeys(pin_words(part, terminal) for part in circuit.parts for terminal, node in part.pins
                               if _in_reach(part, terminal) and merged.find(group[node]) in earth))


def _in_reach(part: Part, terminal: str) -> bool:
    return terminal in KINDS[part.kind].touched


def _windings(circuit: Circuit) -> tuple[str, ...]:
    return tuple(f"{part.name} {name} {next((v.text for v in values if v.dimension == 'voltage'), NOT_COMPUTED)}"
                 for part in circuit.parts if part.kind == "transformer" for name, values in part.windings)


def _lowest(circuit: Circuit) -> str:
    """Return the supply capacitor with the least volts."""
    rated = [(part.value("voltage"), part.name, plain(part)) for part in circuit.parts
             if part.kind == "electrolytic" and (part.value("voltage") or 0) > 60]
    return f"{min(rated)[1]}, {min(rated)[2]}" if rated else "none stated"


def _heaters(circuit: Circuit) -> str:
    return ", ".join(dict.fromkeys(next((v.text for v in values if v.dimension == "voltage"), NOT_COMPUTED) for part in circuit.parts if part.kind == "transformer"
                                   for name, values in part.windings if name.startswith("heater"))) or NOT_COMPUTED


def _fuses(circuit: Circuit) -> str:
    return ", ".join(f"{part.name}, {plain(part)}" for part in circuit.parts if part.kind == "fuse") or "none"


def _tube_rows(circuit: Circuit, *, small: bool) -> tuple[str, ...]:
    """Return plate, screen, cathode and grid of the amplifier's tubes; an output tube is one whose plate is on an output transformer."""
    driven = {node for part in circuit.parts if part.kind == "output transformer" for terminal, node in part.pins if terminal.startswith("primary")}
    rows = []
    for part in circuit.parts:
        if part.kind != "tube" or "/" in part.name:
            continue
        pins = [(pin_words(part, terminal), node) for terminal, node in part.pins]
        output = any("plate" in words and node in driven for words, node in pins)
        if output != small:
            rows += [words for words, _ in pins if any(element in words for element in ("plate", "screen", "cathode", "grid"))]
    return tuple(rows)

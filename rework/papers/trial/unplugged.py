"""Part A of the test plan: look, fuse, earth, primary, blades to metal, insulation."""

from __future__ import annotations

from rework.circuit.circuit import Circuit
from rework.papers.numbers import Side
from rework.papers.places import plain
from rework.papers.trial.plan import COMMON_PRACTICE, PlannedTest, TrialPart
from rework.papers.trial.reach import earthed, metal
from rework.report.figures import NOT_COMPUTED, shown

#: Said of a test that an open primary would pass as well.
_OPEN_PRIMARY = "An open primary passes this test as well: test {number} must have passed."


def unplugged(circuit: Circuit, known: Side) -> tuple[PlannedTest, ...]:
    """Return the tests with the plug out."""
    switches = [part.name for part in circuit.parts if part.kind == "switch"]
    positions = ("switch ON", "switch OFF") if switches else ("reading",)
    umbilical = any(part.kind == "connector" for part in circuit.parts)
    return (
        _look(circuit),
        _earth(circuit, umbilical=umbilical),
        _primary(circuit, known, positions),
        _blades(circuit, positions),
        _insulation(circuit, umbilical=umbilical),
    )


def _look(circuit: Circuit) -> PlannedTest:
    fuses = [part for part in circuit.parts if part.traits.is_overcurrent]
    return PlannedTest(
        "look",
        TrialPart.UNPLUGGED,
        "Look",
        "Compare every joint with the drawing. Pull and twist the line cord at its strain relief:"
        " it must not move. Look for loose strands, bare lugs at line voltage and reversed"
        " electrolytics."
        " Read the marking of every fuse and measure it.",
        "Your eyes; ohmmeter across each fuse, out of its holder.",
        "as drawn; each fuse as marked below and under 10 ohm",
        COMMON_PRACTICE,
        "A joint that you cannot see, a cord that moves, a fuse of another value or speed.",
        tuple(f"{part.name}: {plain(part)}" for part in fuses),
        ("marking read",),
    )


def _earth(circuit: Circuit, *, umbilical: bool) -> PlannedTest:
    return PlannedTest(
        "earth",
        TrialPart.UNPLUGGED,
        "Earth continuity",
        "From the earth pin of the plug to each place below. Bend the cord"
        f"{' and the umbilical' if umbilical else ''} while you read.",
        "Low-ohm meter with a test current of 0.2 A or more (10 A finds a damaged strand that 0.2 A"
        " does not). Subtract the test leads.",
        "0.3 ohm with a cord of up to 5 m; 0.1 ohm from the earth screw to each place",
        "0.3 ohm to 5 m: DIN VDE 0701-0702:2008 as printed in Gossen Metrawatt, SECUTEST PRO"
        " manual, p. 26 (test current 0.2 or 10 A: same page); 0.1 ohm: UL/CSA 60065 as quoted at"
        " bbs.angui.org (thread 50406)",
        "A place above the limit, or a reading that jumps when you bend the cord.",
        earthed(circuit) or metal(circuit),
    )


def _primary(circuit: Circuit, known: Side, positions: tuple[str, ...]) -> PlannedTest:
    rows = []
    for part in circuit.parts:
        if part.kind != "plug":
            continue
        between = next(
            (
                reading
                for reading in known.ohms or ()
                if reading.place == part.name
                and reading.what == "line"
                and reading.against == f"{part.name} neutral"
            ),
            None,
        )
        ohms = (
            NOT_COMPUTED
            if between is None
            else "open"
            if between.ohms is None
            else shown(between.ohms, "ohm")
        )
        rows.append(f"{part.name} line blade to neutral blade: {ohms}, open with the switch OFF")
    return PlannedTest(
        "primary",
        TrialPart.UNPLUGGED,
        "The primary is connected",
        "Blade to blade, the switch ON and OFF. This reading proves that the fuse, the switch and"
        " the primary are in the circuit. Several tests that follow would pass without them.",
        "Ohmmeter, lowest range.",
        "as computed, within 30 %; open with the switch OFF",
        "the netlist: ohms of the primary as written or assumed (rework ohms lists them)",
        "Open with the switch ON, a short, or the same reading ON and OFF.",
        tuple(rows),
        positions,
        ("ohms",),
    )


def _blades(circuit: Circuit, positions: tuple[str, ...]) -> PlannedTest:
    both = len(positions) > 1
    return PlannedTest(
        "blades",
        TrialPart.UNPLUGGED,
        "Blades to metal, cold",
        "Join both blades with a clip lead. Read from the clip to each place below"
        f"{', the switch ON and then OFF' if both else ''}. An autotransformer, a leaking capacitor"
        " or a forgotten wire shows here. Remove the clip afterwards. "
        + _OPEN_PRIMARY.format(number=3),
        "Ohmmeter, highest range.",
        f"above 1 Mohm{' in both positions' if both else ''}",
        "cold check of 1 Mohm or more: repairfaq.cis.upenn.edu, TV and monitor repair",
        "A reading that is not far above the limit"
        f"{', or that differs between ON and OFF' if both else ''}.",
        metal(circuit),
        positions,
    )


def _insulation(circuit: Circuit, *, umbilical: bool) -> PlannedTest:
    surge = any(part.kind in ("varistor", "inlet filter") for part in circuit.parts)
    volts = "250 V" if surge else "500 V"
    return PlannedTest(
        "insulation",
        TrialPart.UNPLUGGED,
        f"Insulation at {volts} DC",
        f"Tubes out{', umbilical unplugged' if umbilical else ''}, the switch ON. Join both blades"
        " with a clip lead. Read to the earth pin, then to B- and to a heater pin of the supply."
        " Discharge what the tester charged; remove the clip. " + _OPEN_PRIMARY.format(number=3),
        f"Insulation tester, {volts} DC"
        + (" (lower because of the surge part across the line)." if surge else "."),
        "1 Mohm or more",
        "class I, 500 V DC: pswservices.co.uk/electrical-tests.asp and DIN VDE 0701-0702 as printed"
        " in a tester manual, manualslib.de/manual/255662",
        "A reading under the limit, or one that falls while you watch.",
        ("blades to earth pin", "blades to B-", "blades to heater winding"),
    )

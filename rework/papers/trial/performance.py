"""Part E of the test plan: hum, power, soak."""

from __future__ import annotations

from rework.papers.numbers import Side
from rework.papers.trial.plan import COMMON_PRACTICE, PlannedTest, TrialPart
from rework.report.figures import NOT_COMPUTED, shown


def performance(known: Side) -> tuple[PlannedTest, ...]:
    """Return the tests of what the set does."""
    return (_hum(known), _power(known), _soak())


def _hum(known: Side) -> PlannedTest:
    computed = (
        f"{shown(known.signal.hum.volts, 'V')} computed; heaters, stray fields and wiring add to it"
        if known.signal
        else NOT_COMPUTED
    )
    return PlannedTest(
        "hum",
        TrialPart.PERFORMANCE,
        "Hum",
        "Input shorted. Controls fully up, then fully down.",
        "AC millivoltmeter or oscilloscope across the load; its earth clip on common only.",
        computed,
        "twice the line frequency points to the filter, the line frequency to the heaters:"
        " puck.nether.net boatanchors list, June 1999",
        "More hum than before the job.",
        ("controls up", "controls down"),
        hows=("hum",),
    )


def _power(known: Side) -> PlannedTest:
    computed = (
        f"{shown(known.signal.full.watts, 'W')} into {known.signal.load_ohms:g} ohm for"
        f" {shown(known.signal.full.input_volts, 'V')} at the input"
        if known.signal
        else NOT_COMPUTED
    )
    return PlannedTest(
        "power",
        TrialPart.PERFORMANCE,
        "Power",
        "1 kHz into the input. Raise it until the tops of the wave flatten.",
        "Generator, oscilloscope, AC voltmeter; watts are volts squared over ohms.",
        computed,
        COMMON_PRACTICE,
        "One side clips long before the other, or the wave breaks into oscillation.",
        ("volts at first clipping", "watts"),
        hows=("signal",),
    )


def _soak() -> PlannedTest:
    return PlannedTest(
        "soak",
        TrialPart.PERFORMANCE,
        "Soak",
        "Two hours in its case at low level. Never leave it alone. Read B+, cathode volts and hum"
        " again at the end.",
        "The same.",
        "as at the start",
        COMMON_PRACTICE,
        "Anything drifts, smells or hums more.",
        ("B+", "output cathode", "hum"),
        ("at the start", "at the end"),
    )

"""Part D of the test plan: the outlet, leakage with the earth open, leakage with it closed."""

from __future__ import annotations

from rework.circuit.circuit import Circuit
from rework.papers.numbers import Side
from rework.papers.trial.plan import COMMON_PRACTICE, PlannedTest, TrialPart
from rework.papers.trial.reach import metal
from rework.report.figures import shown

#: Ohms of the meter's network at the line's frequency; with 0.15 uF across it, 1496 ohm at 50 Hz
#: and 1495 ohm at 60 Hz: within half a per cent of the resistor alone.
_NETWORK_OHMS = 1500.0
_LIMIT_AMPS = 0.5e-3
#: The column of the leakage test that is filled in when the earth is back.
EARTH_CLOSED = "earth closed"


def on_the_outlet(circuit: Circuit, known: Side) -> tuple[PlannedTest, ...]:
    """Return the tests on the wall outlet; the earth is opened only where the plug has one."""
    switches = any(part.kind == "switch" for part in circuit.parts)
    positions = ("ON", "OFF") if switches else ("ON",)
    has_earth = any(part.kind == "plug" and part.node("earth") for part in circuit.parts)
    tests = [_outlet(), _leakage(circuit, known, positions, has_earth=has_earth)]
    if has_earth:
        tests.append(_restored())
    return tuple(tests)


def _outlet() -> PlannedTest:
    return PlannedTest(
        "outlet",
        TrialPart.OUTLET,
        "The outlet",
        "Before you plug in: read hot, neutral and earth of the outlet, each against an earth that"
        " does not come from this outlet. A three-lamp tester does not find an outlet with hot and"
        " neutral swapped and its earth on that neutral: it shows 'correct'.",
        "AC voltmeter; a contact-free voltage detector at the earth contact finds that fault too.",
        "hot at line volts; neutral and earth under 5 V",
        "M. Sokol, Failures in Outlet Testing Exposed, EC&M, 15 July 2013; 5 V: " + COMMON_PRACTICE,
        "Any other reading. Do not use the outlet; have it repaired.",
        ("hot", "neutral", "earth"),
    )


def _leakage(
    circuit: Circuit, known: Side, positions: tuple[str, ...], *, has_earth: bool
) -> PlannedTest:
    worst = known.touch.worst if known.touch else None
    computed = (
        f"; computed at most {_meter_volts(worst.reading)} ({shown(worst.reading, 'A')})"
        if worst
        else ""
    )
    earth = (
        " Open the earth with an adaptor, for this test only: that shows what a broken earth lead"
        " would leave."
        if has_earth
        else ""
    )
    return PlannedTest(
        "leakage",
        TrialPart.OUTLET,
        "Leakage, earth open" if has_earth else "Leakage",
        f"Network from each place to a known earth.{earth} Both plug positions, if the plug can be"
        " reversed; the switch ON and OFF; cold and after ten minutes.",
        "1.5 kohm 10 W with 0.15 uF across it; AC voltmeter of 1 Mohm or more across both.",
        f"below {_LIMIT_AMPS * _NETWORK_OHMS:.2f} V on the meter ({shown(_LIMIT_AMPS, 'A')})"
        + computed,
        "leakage check of service manuals, network 1500 ohm and 0.15 uF; history at"
        " incompliancemag.com/article/electric-shock-from-radios-a-review",
        "A place at or above the limit in any position. Unplug and go back to part A.",
        metal(circuit),
        (
            *(f"plug {turn}, {at}" for turn in ("as marked", "reversed") for at in positions),
            *((EARTH_CLOSED,) if has_earth else ()),
        ),
        ("touch",),
    )


def _restored() -> PlannedTest:
    return PlannedTest(
        "restored",
        TrialPart.OUTLET,
        "Leakage, earth closed",
        "Remove the adaptor and put it away. Remove every clip. Read each place once more and write"
        f" it in the column '{EARTH_CLOSED}' of the test before.",
        "The same.",
        "no reading",
        COMMON_PRACTICE,
        "Any reading means that the earth connection has failed.",
    )


def _meter_volts(amps: float) -> str:
    return shown(amps * _NETWORK_OHMS, "V")

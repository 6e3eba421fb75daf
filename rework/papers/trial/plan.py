"""The test plan as a value: its parts in order, each test with the state that it is made in.

A limit carries where it was seen, or ``common practice, no source``. What depends on the set
(volts, amperes, ohms) is solved in the state which that test creates, or given as not computed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

#: Marks of what was not read in print.
COMMON_PRACTICE = "common practice, no source"


class TrialPart(StrEnum):
    """The parts of the plan, in order; a part begins when all tests of the part before passed."""

    UNPLUGGED = "A"
    SUPPLY = "B"
    AMPLIFIER = "C"
    OUTLET = "D"
    PERFORMANCE = "E"


#: What each part is about, and what holds for all of it.
PART_WORDS: dict[TrialPart, tuple[str, str]] = {
    TrialPart.UNPLUGGED: (
        "Unplugged",
        "Keep the plug in sight on the bench. Filter capacitors are discharged and measured.",
    ),
    TrialPart.SUPPLY: (
        "The supply alone, under power",
        "Work behind the bench isolation transformer, with one hand. The isolation transformer does"
        " not protect you from B+. Unplug, discharge and measure before you touch or change"
        " anything.",
    ),
    TrialPart.AMPLIFIER: (
        "The amplifier, under power",
        "Work behind the bench isolation transformer, with one hand. It does not protect you from"
        " B+. Unplug, discharge and measure before you touch or change anything. Clip the negative"
        " lead of the meter to common first; then read with one probe.",
    ),
    TrialPart.OUTLET: (
        "On the wall outlet",
        "The bench isolation transformer hides leakage, so these tests need the wall outlet. Touch"
        " nothing while the plug is in. Clip on, plug in, switch on, read, unplug, move the clip.",
    ),
    TrialPart.PERFORMANCE: (
        "Performance",
        "Behind the bench isolation transformer again, with the dummy load or the speaker on.",
    ),
}


@dataclass(frozen=True, slots=True)
class PlannedTest:
    """One test: state and procedure, instrument, limit and its source, and what stops the job.

    ``rows`` are the places to read with what to expect, ``columns`` the readings taken at each;
    ``hows`` the keys of the methods that its computed figures come from. ``number`` counts through
    the plan; ``key`` names the test for whoever refers to it. ``result``, ``verdict`` (``pass``,
    ``fail`` or nothing) and ``signed`` are what the record has of it.
    """

    key: str
    part: TrialPart
    title: str
    how: str
    instrument: str
    limit: str
    source: str
    stop: str
    rows: tuple[str, ...] = ()
    columns: tuple[str, ...] = ("reading",)
    hows: tuple[str, ...] = ()
    number: int = 0
    result: str = ""
    verdict: str = ""
    signed: str = ""


@dataclass(frozen=True, slots=True)
class TrialGroup:
    """A part of the plan with its title, what holds for all of it, and its tests."""

    title: str
    lead: str
    tests: tuple[PlannedTest, ...]


def grouped(tests: tuple[PlannedTest, ...]) -> tuple[TrialGroup, ...]:
    """Return the tests by the parts of the plan."""
    return tuple(
        TrialGroup(f"{part.value}. {title}", lead, members)
        for part, (title, lead) in PART_WORDS.items()
        if (members := tuple(test for test in tests if test.part is part))
    )


def numbered(tests: tuple[PlannedTest, ...]) -> tuple[PlannedTest, ...]:
    """Return the tests with their numbers, in the order in which they are given."""
    return tuple(replace(test, number=number) for number, test in enumerate(tests, 1))

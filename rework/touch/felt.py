"""What a person feels at each port at the worst that was found there, and its verdict."""

from __future__ import annotations

import math
from dataclasses import dataclass

from rework.touch.person import Limit, MeasuringNetwork, limit
from rework.touch.port_state import Found, Worst
from rework.touch.ports import Port
from rework.touch.study import Study


@dataclass(frozen=True, slots=True)
class PortFelt:
    """What a person feels at one port, as ``Touch`` has it, without the words."""

    port: Port
    amps: float
    reading: float
    insulated_amps: float
    unproved: float
    dc_amps: float
    dc_volts: float
    together: float
    alone: bool
    verdict: str

    @property
    def place(self) -> str:
        """Where it is touched, as ``Touch`` has it."""
        return place_words(self.port.node, "" if self.port.to_earth else self.port.other)

    @property
    def is_shown(self) -> bool:
        """Whether it is reported: contacts of a connector where they matter only."""
        return self.verdict != "under" or not self.port.pulled


@dataclass(frozen=True, slots=True)
class TouchJudge:
    """Turns the worst found at a port into a verdict."""

    study: Study
    person: MeasuringNetwork
    least: Limit
    missing: bool

    def felt(self, port: Port, worst: Worst, found: Found | None, steady: Found | None) -> PortFelt:
        """Return what is felt at one port."""
        assert found is not None
        study, person = self.study, self.person
        farads, hertz = study.assumed["person_farad"], study.hertz
        stray = 1 / (2j * math.pi * hertz * farads) if farads else math.inf
        behind = found.ohms + person.impedance(hertz)
        amps, insulated = abs(found.volts / behind), abs(found.volts / (behind + stray))
        reading = person.reading(amps, hertz)
        counted = amps if counts(found.volts) else 0.0
        unproved = person.reading(max(worst.unproved, counted), hertz)
        dc_volts, dc_amps = (abs(steady.volts), self._direct_amps(steady)) if steady else (0.0, 0.0)
        together = max(worst.together, self._together(found, reading, steady, dc_amps))
        alone = (reading > self.least.rms_amps and counts(found.volts)) or is_direct_over(
            dc_amps, dc_volts
        )
        over = alone or together > 1
        open_ = self.missing or unproved > self.least.rms_amps or math.isnan(dc_amps)
        verdict = "over" if over else "not known" if open_ else "under"
        return PortFelt(
            port,
            amps,
            reading,
            insulated if port.to_earth else 0.0,
            unproved,
            dc_amps,
            dc_volts,
            together,
            bool(alone),
            verdict,
        )

    def _direct_amps(self, steady: Found) -> float:
        return abs(steady.volts) / (steady.ohms.real + self.person.impedance(0.0).real)

    def _together(
        self, worst: Found, reading: float, steady: Found | None, dc_amps: float
    ) -> float:
        """Return the sum of the shares of both limits at their corners, where they are in one
        state, and nothing where they are not.
        """
        if steady is None:
            return 0.0
        port_state, other = worst.state, steady.state
        if (port_state.row, port_state.feed) != (other.row, other.feed):
            return 0.0
        volts = abs(worst.volts) * math.sqrt(2) / limit("35 V peak").volts
        volts += abs(steady.volts) / limit("60 V DC").volts
        share = reading / self.least.rms_amps + dc_amps / limit("2 DC").amps
        return share if volts > 1 else 0.0


def place_words(node: str, other: str) -> str:
    """Return where it is touched: one node, or two."""
    return f"{node} and {other}" if other else node


def counts(volts: complex) -> bool:
    """Return whether so many volts rms open circuit are held to a current at all: more than 35 V
    peak (IEC 60065).
    """
    return abs(volts) * math.sqrt(2) > limit("35 V peak").volts


def is_direct_over(amps: float, volts: float) -> bool:
    """Return whether a direct current is over its limit: 2 mA, from more than 60 V (IEC 60065)."""
    return amps > limit("2 DC").amps and volts > limit("60 V DC").volts

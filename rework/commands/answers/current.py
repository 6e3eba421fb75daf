"""The answers of ``touch`` and ``faults``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields

from rework.commands.answers.shape import Sides, extended, shaped
from rework.language.writer import write_part
from rework.touch.fuses import Overload
from rework.touch.outcomes import VERDICTS, FaultReport, Outcome
from rework.touch.stored import AfterUnplugging, Pins, Stored
from rework.touch.touch import Touch, TouchReport
from rework.touch.words import BOTH_TOLD, FELT, feeling

__all__ = ["Faults", "Sides", "Touches"]


@dataclass(frozen=True, slots=True)
class Felt(Touch):
    """The worst of a node or pair, and what its largest current feels like."""

    feels: str = ""


@dataclass(frozen=True, slots=True)
class Instrument:
    """The measuring network."""

    name: str
    words: str
    mark: str
    source: str
    caution: str


@dataclass(frozen=True, slots=True)
class Touches:
    """Touch currents: amperes and volts RMS; ``at`` is where controls and switches were said to
    stand.
    """

    title: str
    line: str
    network: Instrument
    limit_amps: float
    limit: str
    states: int
    tried: str
    at: dict[str, str]
    varied: str
    assumed: dict[str, float]
    body: str
    unknown: tuple[str, ...]
    usual: tuple[str, ...]
    unproved: tuple[str, ...]
    notes: tuple[str, ...]
    touches: tuple[Felt, ...]
    pins: tuple[ChargedPins, ...]


@dataclass(frozen=True, slots=True)
class Ending:
    """What ends a fault: the fuse that carries most of its rating, and within how many seconds."""

    line_amps: float | None
    fuse: str
    amps: float | None
    rating: float
    seconds: float | None
    breaks: float
    standard: str
    beyond_breaking: bool


@dataclass(frozen=True, slots=True)
class Failure:
    """A single fault and what it does: amperes and volts RMS, direct ones apart."""

    fault: str
    part: str
    kind: str
    verdict: str
    adds: bool
    node: str
    other: str
    reading: float
    volts: float
    body_amps: float
    body_volts: float
    before: float
    bond_volts: float
    dc_amps: float
    dc_volts: float
    dc_node: str
    dc_other: str
    dc_is_over: bool
    adds_alternating: bool
    together: float
    state: str
    condition: str
    only_together: bool
    ended: Ending
    cleared: str
    prevented: str


@dataclass(frozen=True, slots=True)
class Discharge:
    """How a capacitor discharges in one position of switches and umbilicals."""

    state: str
    ohms: float | None
    seconds_to_60_volts: float | None
    seconds_to_34_volts: float | None
    late_seconds_to_60_volts: float | None
    late_seconds_to_34_volts: float | None


@dataclass(frozen=True, slots=True)
class Charge:
    """What a capacitor holds after the plug is out."""

    part: str
    farads: float | None
    volts: float | None
    joules: float | None
    rating: float | None
    solved: bool
    over_rating: bool
    positions: tuple[Discharge, ...]


@dataclass(frozen=True, slots=True)
class Falling:
    """Seconds to 60 V and to 34 V, with nominal parts and late with parts at their tolerance."""

    to_60: float | None
    to_34: float | None
    late_60: float | None
    late_34: float | None


@dataclass(frozen=True, slots=True)
class FittedBleeder:
    """A bleeder that was tried: ``part`` is its line in a netlist; the seconds to 60 V with it."""

    part: str
    seconds_to_60_volts: float


@dataclass(frozen=True, slots=True)
class ChargedPins:
    """Two pins of a plug, or bare contacts of a connector, that stay charged when it is pulled."""

    kind: str
    part: str
    one: str
    other: str
    words: str
    volts: float | None
    farads: float | None
    fall: Falling
    over_limit: bool
    bleeder: FittedBleeder | None


@dataclass(frozen=True, slots=True)
class Unprotected:
    """A transformer that a fuse protects from shorts only."""

    fuse: str
    standard: str
    holds_amps: float
    transformer: str
    primary_amps: float
    times: float


@dataclass(frozen=True, slots=True)
class Faults:
    """Single faults, worst first; ``count`` by verdict, ``building`` faults of the outlet, ``at``
    where controls and switches were said to stand.
    """

    title: str
    line: str
    limit_amps: float
    body: str
    healthy: float
    states: int
    open_conductors: bool
    at: dict[str, str]
    varied: str
    assumed: dict[str, float]
    unknown: tuple[str, ...]
    usual: tuple[str, ...]
    notes: tuple[str, ...]
    count: dict[str, int]
    outcomes: tuple[Failure, ...]
    building: tuple[Failure, ...]
    overloads: tuple[Unprotected, ...]
    stored: tuple[Charge, ...]
    pins: tuple[ChargedPins, ...]


def touch_answer(report: TouchReport, after: AfterUnplugging, at: Mapping[str, str]) -> Touches:
    """Return the answer of one report, with the charge that stays within reach."""
    return Touches(
        title=report.title,
        line=report.line,
        network=shaped(report.network, Instrument),
        limit_amps=report.limit_amps,
        limit=report.limit_words,
        states=report.states,
        tried=report.tried,
        at=dict(at),
        varied=report.varied,
        assumed=dict(report.assumed),
        body=report.body,
        unknown=report.unknown,
        usual=report.usual,
        unproved=report.unproved,
        notes=(FELT, BOTH_TOLD, *report.notes),
        touches=tuple(extended(touch, Felt, feels=feeling(touch)) for touch in report.touches),
        pins=tuple(map(_charged_pins, after.pins)),
    )


def faults_answer(report: FaultReport, after: AfterUnplugging, at: Mapping[str, str]) -> Faults:
    """Return the answer of one report, with what stays charged after the plug is out."""
    return Faults(
        title=report.title,
        line=report.line,
        limit_amps=report.limit_amps,
        body=report.body,
        healthy=report.healthy,
        states=report.states,
        open_conductors=report.open_conductors,
        at=dict(at),
        varied=report.varied,
        assumed=dict(report.assumed),
        unknown=report.unknown,
        usual=report.usual,
        notes=report.notes,
        count={
            verdict: sum(outcome.verdict == verdict for outcome in report.outcomes)
            for verdict in VERDICTS
        },
        outcomes=tuple(map(_failure, report.outcomes)),
        building=tuple(map(_failure, report.building)),
        overloads=tuple(map(_unprotected, report.overloads)),
        stored=tuple(map(_charge, after.capacitors)),
        pins=tuple(map(_charged_pins, after.pins)),
    )


def _charged_pins(pins: Pins) -> ChargedPins:
    bleeder = pins.bleeder
    fitted = None if bleeder is None else FittedBleeder(write_part(bleeder.part), bleeder.seconds)
    values = {field.name: getattr(pins, field.name) for field in fields(pins)}
    return shaped(values | {"bleeder": fitted}, ChargedPins)


def _charge(stored: Stored) -> Charge:
    positions = tuple(
        Discharge(
            position.words,
            position.ohms,
            position.fall.to_60,
            position.fall.to_34,
            position.fall.late_60,
            position.fall.late_34,
        )
        for position in stored.positions
    )
    values = {field.name: getattr(stored, field.name) for field in fields(stored)}
    return shaped(values | {"over_rating": stored.over_rating, "positions": positions}, Charge)


def _unprotected(overload: Overload) -> Unprotected:
    return Unprotected(
        overload.rule.part,
        overload.rule.standard,
        overload.rule.holds,
        overload.transformer,
        overload.primary_amps,
        overload.times,
    )


def _failure(outcome: Outcome) -> Failure:
    values = {field.name: getattr(outcome, field.name) for field in fields(outcome)}
    fault, ended = outcome.fault, outcome.ended
    of_fault = {"fault": fault.what, "part": fault.part, "kind": fault.kind}
    ending = extended(ended, Ending, beyond_breaking=ended.is_beyond_breaking)
    return shaped(values | of_fault | {"ended": ending}, Failure)

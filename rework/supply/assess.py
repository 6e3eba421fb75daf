"""The result of one option, read off its circuit and its edits: ties, touch, watts, hum, heat,
parts, holes, money. Nothing here is typed in.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

from rework.circuit.circuit import Circuit
from rework.safety.check import check
from rework.solve.network import CannotSolve
from rework.solve.signal import Loudest, loudest
from rework.supply.behaviour import over_ratings, solved_rows
from rework.supply.findings import Findings, Option
from rework.supply.stock import Shelf
from rework.supply.work import work_rows
from rework.touch.faults import faults
from rework.touch.outcomes import FaultReport
from rework.touch.touch import TouchReport, touch

#: Volts peak below which a node is no shock whatever its current (IEC 60065, hazardous live test;
#: see touch/limits.toml).
_FELT = 35.0
#: What may become of a fault, the worst last.
_ENDED = ("under", "cleared", "breaker", "not known", "over")
#: How often ``assess`` calls its ``step``.
STEPS = 3
#: The rows that need a solved circuit.
_SOLVED = ("bplus", "watts", "hum", "damping", "loads", "heat")


def assess(
    option: Option,
    before: Circuit,
    shelf: Shelf | None,
    *,
    safe: Callable[[], Findings],
    stops: Mapping[str, float] | None = None,
    step: Callable[[int], None] | None = None,
) -> tuple[Findings, Mapping[str, float] | None]:
    """Return the findings of an option and the loudest position of its controls, so that the next
    need not look for them; ``safe`` waits for its ``safe_findings``.
    """
    circuit = option.circuit
    if circuit is None:
        if step:
            step(STEPS)
        return Findings(option), stops
    played: Loudest | None = None
    missing: dict[str, str] = {}
    try:
        played = loudest(circuit, stops=stops)
        stops = played.stops
    except CannotSolve as error:
        missing = dict.fromkeys(_SOLVED, _why(error))
    if step:
        step(1)
    # It may come from another process, with a copy of the option.
    findings = replace(safe(), option=option)
    if played is not None:
        try:
            findings = solved_rows(findings, circuit, played)
            if findings.bplus:
                over = over_ratings(option, circuit, findings.bplus, played)
                findings = replace(findings, over=over)
        except CannotSolve as error:
            rows = _SOLVED if findings.bplus is None else ("over",)
            missing = dict.fromkeys(rows, _why(error))
    if step:
        step(1)
    findings = work_rows(findings, circuit, before, shelf)
    if step:
        step(1)
    return replace(findings, missing=missing), stops


def _why(error: CannotSolve) -> str:
    return "; ".join(problem.message for problem in error.problems)


def safe_findings(option: Option) -> Findings:
    """Return the findings of an option that its wiring alone decides: of the mains check, of touch
    and of faults.
    """
    findings, circuit = Findings(option), option.circuit
    if circuit is None:
        return findings
    report = check(circuit)
    hand, single = touch(circuit), faults(circuit)
    unknown = tuple(dict.fromkeys((*hand.unknown, *single.unknown)))
    findings = replace(
        findings,
        verdict=report.verdict,
        hazards=len(report.hazards),
        reach=sum(hazard.touchable for hazard in report.hazards),
        mend=tuple(each.message for each in report.cautions if each.weight == "must"),
        mind=tuple(each.message for each in report.cautions if each.weight != "must"),
        unknown=unknown,
    )
    return _with_fault(_with_touch(findings, hand), single)


def _with_touch(findings: Findings, hand: TouchReport) -> Findings:
    if not hand.touches:
        return findings
    worst = max(
        hand.touches,
        key=lambda each: (each.verdict != "under", each.volts * 2**0.5 > _FELT, each.reading),
    )
    return replace(
        findings,
        touch=worst.reading,
        touch_volts=worst.volts,
        touch_where=f"{worst.node} to {worst.other or 'earth'}, {worst.state}",
        touch_over=any(each.verdict == "over" for each in hand.touches),
    )


def _with_fault(findings: Findings, single: FaultReport) -> Findings:
    outcomes = [outcome for outcome in single.outcomes if outcome.fault.kind != "outlet"]
    if not outcomes:
        return findings
    fault = max(
        outcomes,
        key=lambda each: (
            _ENDED.index(each.verdict),
            max(each.reading, each.dc_amps * each.dc_is_over),
        ),
    )
    direct = fault.dc_is_over and fault.dc_amps > fault.reading
    return replace(
        findings,
        fault=fault.dc_amps if direct else fault.reading,
        fault_what=fault.fault.what,
        fault_direct=direct,
        fault_over=fault.verdict == "over",
        fault_verdict=fault.verdict,
    )

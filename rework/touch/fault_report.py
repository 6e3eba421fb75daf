"""The outcome of each fault: its verdict and the figures that are reported."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rework.touch.failures import PREVENTED, Fault
from rework.touch.fuses import overloads
from rework.touch.network import Floats
from rework.touch.notes import setting
from rework.touch.outcomes import VERDICTS, Ended, FaultReport, Outcome, Rank, ended_words
from rework.touch.person import body_amps
from rework.touch.ports import Port
from rework.touch.study import combination_words
from rework.touch.touch import varied_words
from rework.touch.verdicts import Judge
from rework.touch.worst import WorstOfFaults

#: By how much a fault must change a figure to be said to change it.
ADDS = 1.01
#: The body that is reported: not exceeded by so many percent of people, dry.
BODY_PERCENT = 5


@dataclass(frozen=True, slots=True)
class Ruling:
    """The outcome of one fault: the places of the ports at which its alternating and its direct
    current do most, whether each adds to what flows without it, and the verdict.
    """

    port: int
    steady: int
    alternates: bool
    dc_adds: bool
    rank: Rank
    verdict: str


def ruling(judge: Judge, number: int) -> Ruling:
    """Return the outcome of a fault by its number.

    It is judged by what it adds: in a set that is over its limit already, metal that a fault makes
    live until a fuse opens is no less news than elsewhere. What adds nothing has the verdict of the
    set.
    """
    port, alternates = _worst_port(judge.worst, number, judge.before)
    steady, dc_adds = _worst_port(judge.direct, number, judge.direct_before)
    rank = Rank(max(int(judge.worst.rank[number, port]), Rank.UNDER))
    direct = Rank(max(int(judge.direct.rank[number, steady]), Rank.UNDER))
    adding = [each for each, adds in ((rank, alternates), (direct, dc_adds)) if adds]
    most = max(adding or [rank, direct])
    verdict = "not known" if most is not Rank.OVER and judge.unknown else most.word
    return Ruling(port, steady, alternates, dc_adds, most, verdict)


def _worst_port(worst: WorstOfFaults, number: int, before: Floats) -> tuple[int, bool]:
    """Return the port at which a fault does most, and whether it adds anything: of those where it
    adds the one with the worst verdict, and of these the one with most current.
    """
    adds = (worst.rank[number] > Rank.UNDER) & (worst.amps[number] > before * ADDS)
    adding: list[int] = np.flatnonzero(adds).tolist()
    rank, amps = worst.rank[number].tolist(), worst.amps[number].tolist()
    ports = adding or range(len(rank))
    highest = max(rank[port] for port in ports)
    best = max((round(amps[port], 9), -port) for port in ports if rank[port] == highest)
    return -best[1], bool(adding)


def report(judge: Judge) -> FaultReport:
    """Return what was kept of every fault."""
    study = judge.study
    outcomes = [
        _outcome(judge, number, fault)
        for number, fault in enumerate(judge.every if judge.rows else ())
    ]
    outcomes.sort(
        key=lambda outcome: (
            VERDICTS.index(outcome.verdict),
            not outcome.adds,
            -round(outcome.reading, 9),
            -round(outcome.dc_amps, 9),
        )
    )
    return FaultReport(
        study.circuit.title,
        study.line_words,
        judge.person,
        judge.least.rms_amps,
        tuple(outcome for outcome in outcomes if outcome.fault.kind != "outlet"),
        tuple(outcome for outcome in outcomes if outcome.fault.kind == "outlet"),
        tuple(overloads(study.circuit)),
        judge.person.reading(float(judge.before.max(initial=0.0)), study.hertz),
        judge.unknown,
        sum(len(row.feeds()) for row in study.rows) * len(judge.combos),
        varied_words(study, judge.combos),
        study.assumed,
        study.open_conductors,
        setting(study),
        f"{BODY_PERCENT} %, dry",
        study.model.usual,
    )


def _outcome(judge: Judge, number: int, fault: Fault) -> Outcome:
    study, worst, direct = judge.study, judge.worst, judge.direct
    ruled = ruling(judge, number)
    port, steady = ruled.port, ruled.steady
    row, combo = judge.rows[worst.row[number, port]], judge.combos[worst.combo[number, port]]
    amps, volts = float(worst.amps[number, port]), float(worst.volts[number, port])
    dc_amps, dc_volts = float(direct.amps[number, steady]), float(direct.volts[number, steady])
    rank = Rank(max(int(worst.rank[number, port]), Rank.UNDER))
    direct_rank = Rank(max(int(direct.rank[number, steady]), Rank.UNDER))
    both = float(judge.together[number, port])
    ended, bond = _ended(judge, number, port), float(judge.bond[number])
    return Outcome(
        fault,
        ruled.verdict,
        ruled.alternates or ruled.dc_adds,
        *_ends(judge.probe.ports[port]),
        judge.person.reading(amps, study.hertz),
        volts,
        *body_amps(volts, complex(worst.ohms[number, port]), percent=BODY_PERCENT),
        judge.person.reading(float(judge.before[port]), study.hertz),
        bond,
        max(dc_amps, 0.0),
        dc_volts,
        *_ends(judge.probe.ports[steady]),
        direct_rank > Rank.UNDER,
        ruled.alternates,
        both,
        row.words(int(worst.feed[number, port]), study.earth_pin),
        combination_words(study.axes, combo),
        both > 1 and direct_rank is Rank.UNDER and amps <= judge.most,
        ended,
        ended_words(ruled.rank, rank, ended, bond),
        PREVENTED[fault.kind],
    )


def _ended(judge: Judge, number: int, port: int) -> Ended:
    """Return what ends a fault where a port is worst."""
    worst = judge.worst
    line, place = float(worst.line_amps[number, port]), int(worst.fuse[number, port])
    if place < 0:
        return Ended(line)
    rule, amps = judge.rules[place], float(worst.fuse_amps[number, port])
    return Ended(line, rule.part, amps, rule.rating, rule.seconds(amps), rule.breaks, rule.standard)


def _ends(port: Port) -> tuple[str, str]:
    return port.node, "" if port.to_earth else port.other

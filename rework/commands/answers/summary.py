"""The answer of ``summary``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from rework.commands.answers.check import Worked, worked
from rework.commands.answers.shape import Sides
from rework.commands.glance import Glance

__all__ = ["Sides", "Summed"]


@dataclass(frozen=True, slots=True)
class Summed:
    """One circuit at a glance: what the check found, the worst current without a fault and its
    limit (amperes RMS), single faults tried and over the limit, connectors that stay charged when
    they are pulled, the figures of the amplifier (null where it has no numbers), and whether each
    thing in it works; ``at`` is where controls and switches were said to stand.
    """

    title: str
    at: dict[str, str]
    works: bool
    exit_status: int
    verdict: str
    hazards: int
    must: int
    touch_amps: float
    limit_amps: float
    faults: int
    faults_over: int
    faults_unknown: int
    charged_connectors: tuple[str, ...]
    gain: float | None
    watts: float | None
    rail: str
    rail_volts: float | None
    function: tuple[Worked, ...]


def summary_answer(glance: Glance, at: Mapping[str, str]) -> Summed:
    """Return the answer of one circuit."""
    return Summed(
        glance.circuit.title,
        dict(at),
        glance.works,
        glance.exit_status,
        glance.check.verdict,
        len(glance.check.hazards),
        sum(caution.weight == "must" for caution in glance.check.cautions),
        glance.touched.amps,
        glance.touched.limit,
        glance.touched.faults,
        glance.touched.over,
        glance.touched.unknown,
        glance.touched.charged,
        glance.gain,
        glance.watts,
        glance.rail,
        glance.rail_volts,
        tuple(map(worked, glance.rows)),
    )

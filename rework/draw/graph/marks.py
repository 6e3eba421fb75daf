"""What a drawing points out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from rework.safety.findings import Report


@dataclass(frozen=True, slots=True)
class Marks:
    """What the drawing has to point out: node names that are hazards, live nodes, and the state of
    parts by name.
    """

    hazards: frozenset[str] = frozenset()
    live: frozenset[str] = frozenset()
    states: Mapping[str, str] = field(default_factory=dict)


def marks_of(report: Report) -> Marks:
    """Return what a check found, for the drawing: hazards within reach, and live nodes."""
    return Marks(
        frozenset(hazard.node for hazard in report.hazards if hazard.touchable),
        frozenset(live.node for live in report.live),
    )

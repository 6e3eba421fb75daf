"""Both reports of the check as sections of items, in words: the page prints what it is given.

A section has ``heading`` and ``items``; an item ``node`` or ``part`` (what to show when it is
chosen), ``words``, ``way`` (part by part), ``when`` (the states) and ``remedy``.
"""

from __future__ import annotations

from collections.abc import Iterable

from rework.page.board import Plain
from rework.page.hot import way_words
from rework.safety.findings import Caution, Hazard, Report, Weight

#: Hazards listed one by one, those within reach first; the rest are counted.
MOST_LISTED = 300
_WEIGHTS: dict[Weight, str] = {"must": "Fix first", "mind": "To know and to measure"}


def checked(before: Report, after: Report) -> Plain:
    """Return both reports of the check."""
    return {"before": _side("Before", before), "after": _side("After", after)}


def _side(heading: str, report: Report) -> Plain:
    listed = report.hazards[:MOST_LISTED]
    reached = [hazard for hazard in listed if hazard.touchable]
    others = [hazard for hazard in listed if not hazard.touchable]
    sections = [
        _section("Tied to the mains and within reach", map(_hazard, reached)),
        _section("Also tied to the mains, inside the set", map(_hazard, others)),
        _section(
            "Live with the plug in: do not touch",
            ({"node": live.node, "words": live.where} for live in report.live),
        ),
        *(
            _section(
                words,
                (_caution(caution) for caution in report.cautions if caution.weight == weight),
            )
            for weight, words in _WEIGHTS.items()
        ),
    ]
    left = len(report.hazards) - len(listed)
    return {
        "heading": heading,
        "verdict": report.verdict,
        "bad": bool(report.exit_status),
        "sections": [section for section in sections if section["items"]],
        "more": f"{left:,} more; rework check --all prints them" if left else "",
        "note": report.note,
    }


def _section(heading: str, items: Iterable[Plain]) -> Plain:
    blank = {"node": "", "part": "", "way": "", "when": [], "remedy": ""}
    listed = [{**blank, **item} for item in items]
    return {"heading": f"{heading}: {len(listed)}", "items": listed}


def _hazard(hazard: Hazard) -> Plain:
    return {
        "node": hazard.node,
        "words": f"tied by {hazard.through}",
        "way": way_words(hazard.path),
        "when": [when.words() for when in hazard.when],
        "remedy": hazard.remedy,
    }


def _caution(caution: Caution) -> Plain:
    return {
        "part": caution.part,
        "node": "" if caution.part else caution.node,
        "words": caution.message,
        "remedy": caution.remedies[0].words if caution.remedies else "",
    }

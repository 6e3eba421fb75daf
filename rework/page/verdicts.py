"""The strip over everything: mains, touch current, single faults and function, before and after.

A side of a verdict has ``words`` and ``state``: ``bad``, ``good``, ``open`` (not known) or
``wait`` (still being computed). ``tab`` is where the page says more.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from rework.anatomy.function import function
from rework.anatomy.function_row import Working
from rework.anatomy.lost import lost
from rework.page.board import Plain
from rework.rules.run import JobRun
from rework.safety.findings import Report
from rework.touch.outcomes import FaultReport
from rework.touch.touch import TouchReport
from rework.touch.words import milliamperes

_SIDES = ("before", "after")
_WAIT = {"words": "computing", "state": "wait"}
_NO_NUMBERS = {"words": "not computed", "state": "open"}
#: A long sum of one side: None while it is being done, and (None, why) where it cannot be.
Sums = Callable[[str, str], Any]


def strip(run: JobRun, before: Report, after: Report, sums: Sums) -> list[Plain]:
    """Return the verdicts; ``sums`` gives the result of a long sum by its name and side."""
    reports = {"before": before, "after": after}
    rows: tuple[tuple[str, str, Callable[[str], Plain]], ...] = (
        ("Mains", "check", lambda side: _mains(reports[side])),
        ("Touch current", "touch", lambda side: _summed(sums("touch", side), _touch)),
        ("Single faults", "faults", lambda side: _summed(sums("faults", side), _faults)),
        ("Function", "summary", lambda side: _function(run, side)),
    )
    return [
        {"name": name, "tab": tab, **{side: verdict(side) for side in _SIDES}}
        for name, tab, verdict in rows
    ]


def _summed(result: Any, words: Callable[[Any], Plain]) -> Plain:  # noqa: ANN401  of any sum
    if result is None:
        return _WAIT
    return _NO_NUMBERS if result[0] is None else words(result[0])


def _mains(report: Report) -> Plain:
    reached = sum(hazard.touchable for hazard in report.hazards)
    must = sum(caution.weight == "must" for caution in report.cautions)
    words = "nothing found"
    if report.hazards:
        words = f"HAZARD: {len(report.hazards)} tied, {reached} in reach"
    elif must:
        words = f"{must} to fix first"
    elif report.exit_status:
        words = report.verdict
    return {"words": words, "state": "bad" if report.exit_status else "good"}


def _touch(report: TouchReport) -> Plain:
    worst = report.worst
    if worst is None:
        return {"words": "nothing named to touch", "state": "open"}
    verdicts = {touch.verdict for touch in report.touches}
    state = "bad" if "over" in verdicts else "open" if "not known" in verdicts else "good"
    word = {"bad": "OVER", "open": "not all known,", "good": "under"}[state]
    return {
        "words": f"{milliamperes(worst.reading)}, {word} {milliamperes(report.limit_amps)}",
        "state": state,
    }


def _faults(result: tuple[FaultReport, object]) -> Plain:
    verdicts = [outcome.verdict for outcome in result[0].outcomes]
    over, unknown = verdicts.count("over"), verdicts.count("not known")
    more = f", {unknown} not known" if unknown else ""
    state = "bad" if over else "open" if unknown or not verdicts else "good"
    return {"words": f"{over} of {len(verdicts)} over the limit{more}", "state": state}


def _function(run: JobRun, side: str) -> Plain:
    rows = function(run.before if side == "before" else run.after)
    if side == "after":
        rows += lost(run.before, run.after, run.edits)
    bad = sum(row.working is Working.FAULT for row in rows)
    unknown = sum(row.working is Working.UNKNOWN for row in rows)
    if bad:
        return {"words": f"{bad} finding{'s' if bad > 1 else ''} in the wiring", "state": "bad"}
    if unknown:
        return {"words": f"wiring complete, {unknown} not known", "state": "open"}
    return {"words": "wiring complete", "state": "good"}

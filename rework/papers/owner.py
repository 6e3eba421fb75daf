"""The label for the inside of the cabinet and the page for the customer."""

from __future__ import annotations

from dataclasses import dataclass

from rework.papers.cover import Cover
from rework.papers.lists import NOT_COMPUTED, Lists
from rework.papers.volts import b_plus
from rework.papers.work import plain
from rework.rules.run import JobRun
from rework.solve.chart import Chart


@dataclass(frozen=True, slots=True)
class Owner:
    """What label and customer page say; a figure that nothing has computed says so."""

    fuses: tuple[str, ...]
    b_plus: str
    found: tuple[str, ...]
    said: tuple[str, ...]
    labour: str
    now: tuple[tuple[str, str], ...]


def owner(run: JobRun, front: Cover, parts: Lists, chart: Chart | None = None) -> Owner:
    """Return the facts for label and customer page."""
    fuses = tuple(f"{part.name}: {plain(part)}" for part in run.after.parts if part.kind == "fuse")
    reach = len(front.before.hazards)
    found = [f"{reach} place{'' if reach == 1 else 's'} within reach of a hand had a way to the mains: {', '.join(node for node, _, _ in front.before.hazards)}."
             if reach else "No tie to the mains within reach of a hand was found in the netlist as written.", *(message for message, _ in front.before.must)]
    hours = f"{run.job.labour / 3600:g} hours" if run.job.labour is not None else "not stated"
    now = (("Output power", NOT_COMPUTED), ("Hum", NOT_COMPUTED), ("Price of parts", NOT_COMPUTED), ("Worth against cost", NOT_COMPUTED),
           ("Parts fitted", str(len(parts.fit))), ("Parts taken out", str(len(parts.removed))))
    return Owner(fuses, b_plus(run, chart), tuple(found), run.job.customer, hours, now)

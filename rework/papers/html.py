"""All papers of a job on one HTML page that needs nothing else: no network, no script, drawings inside.

Drawings are put in as pictures (data of type image/svg+xml), so that nothing written in a netlist is ever markup here.
"""

from __future__ import annotations

import base64
from collections.abc import Sequence
from pathlib import Path

from rework.papers.cover import CAUTIONS, cover
from rework.papers.drawings import Drawing
from rework.papers.lists import lists
from rework.papers.owner import owner
from rework.papers.trial import trial
from rework.papers.volts import expected, readings
from rework.papers.work import work_order
from rework.rules.run import JobRun
from rework.solve.chart import Chart


def page(run: JobRun, sheets: Sequence[Drawing], *, date: str, chart: Chart | None = None) -> str:
    """Return the page of a job that was run to its end; ``date`` is printed as it is given.

    Without a voltage chart of the finished set every expected figure says that it is not computed.
    """
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    surroundings = Environment(loader=FileSystemLoader(Path(__file__).parent / "templates"), autoescape=True, undefined=StrictUndefined,
                               trim_blocks=True, lstrip_blocks=True, keep_trailing_newline=True)
    surroundings.filters["picture"] = _picture
    front, parts = cover(run), lists(run)
    return surroundings.get_template("papers.html").render(
        date=date, cover=front, cautions=CAUTIONS, sheets=sheets, groups=work_order(run), lists=parts, trial=trial(run, chart),
        chart=chart, expected=expected(run, chart), readings=readings(run, chart), owner=owner(run, front, parts, chart))


def _picture(svg: str) -> str:
    return "data:image/svg+xml;base64," + base64.b64encode(svg.encode()).decode()

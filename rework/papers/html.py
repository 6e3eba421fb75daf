"""All papers of a job on one HTML page that needs nothing else: no network, no script, drawings
inside.

Drawings are put in as pictures (data of type image/svg+xml), so that nothing written in a netlist
is ever markup here.
"""

from __future__ import annotations

import base64
from pathlib import Path

from rework.papers.whole import Papers


def page(papers: Papers, *, plot: str = "") -> str:
    """Return the page of a job's papers; ``plot`` is the SVG of the response, or nothing."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    surroundings = Environment(
        loader=FileSystemLoader(Path(__file__).parent / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    surroundings.filters["picture"] = _picture
    methods = {
        method_text.method.key: number for number, method_text in enumerate(papers.methods, 1)
    }
    return surroundings.get_template("papers.html").render(
        p=papers, cover=papers.cover, owner=papers.owner, plot=plot, methods=methods
    )


def _picture(svg: str) -> str:
    return "data:image/svg+xml;base64," + base64.b64encode(svg.encode()).decode()

"""The manual as one page that needs nothing else: styles, contents and search are in it."""

from __future__ import annotations

import re
from pathlib import Path

from jinja2 import Environment, FileSystemLoader
from markupsafe import Markup, escape

from rework import __version__
from rework.manual.book import TOPICS, page

_CODE = re.compile(r"`([^`]*)`")


def html_page() -> str:
    """Return the manual as HTML."""
    environment = Environment(
        loader=FileSystemLoader(Path(__file__).with_name("templates")),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["words"] = _words
    topics = [(topic, page(topic.name)) for topic in TOPICS]
    return environment.get_template("manual.html").render(
        topics=topics, kind_of=lambda block: type(block).__name__, version=__version__
    )


def _words(text: str) -> Markup:
    """Return text with what is between backticks as code."""
    pieces = _CODE.split(text)
    return Markup("").join(
        Markup("<code>{}</code>").format(piece) if at % 2 else escape(piece)
        for at, piece in enumerate(pieces)
    )

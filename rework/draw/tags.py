"""What stands for what: parts, pins and nodes by name in the SVG, for whoever follows one from a
list into the drawing.

graphviz lets through only an ``id``. What a piece stands for travels in it, and is spread over
attributes of its own once the drawing is an SVG: ``data-part`` (with ``data-unit`` for one unit or
the heater of a bulb, ``data-kind``, ``data-state``), ``data-node``, ``data-pin`` (``V1.plate`` by
pin number: ``V1.5``) and ``data-wire``, a wire shown on the pin it goes to.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from html import escape, unescape
from urllib.parse import parse_qsl, urlencode

#: A group as graphviz writes it: its id, its class, its title; a cell with an id has a leading
#: ``a_`` and no class.
_GROUP = re.compile(r'<g id="([^"]*)"( class="[^"]*")?>(\n<title>[^<]*</title>)?')


def tag(**facts: str) -> str:
    """Return an ``id`` for graphviz that holds what a piece stands for: part, unit, kind, state,
    node, pin, wire.
    """
    return urlencode({what: name for what, name in facts.items() if name}, errors="replace")


def spread(svg: str) -> str:
    """Return an SVG of graphviz in which every id made by ``tag`` is replaced by attributes, and by
    a title that can be read.
    """
    return _GROUP.sub(_told, svg)


def as_attributes(facts: Mapping[str, str]) -> str:
    """Return what a piece stands for as attributes of an SVG element."""
    return "".join(f' data-{what}="{plain(name)}"' for what, name in facts.items() if name)


def _told(group: re.Match[str]) -> str:
    identifier, kind, title = group[1], group[2] or "", group[3]
    facts = dict(parse_qsl(unescape(identifier).removeprefix("a_")))
    if not facts:
        return f"<g{kind}>" if title and "graph" not in kind else group[0]
    words = facts.get("pin") or facts.get("part") or facts.get("node", "")
    return f"<g{kind}{as_attributes(facts)}>" + (
        f"\n<title>{plain(words)}</title>" if title else ""
    )


def plain(raw: str) -> str:
    """Return a name as XML can hold it."""
    return escape(
        "".join(letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in raw),
        quote=True,
    )

"""The key of a sheet: its roles with the trade's colours, and its marks."""

from __future__ import annotations

from rework.draw.colours import PALETTES, STYLES, WIRE, Role, Theme, ink
from rework.draw.graph.sheet import Sheet

#: What a mark means, and what its absence does not.
_UNMARKED = (
    "A node without a mark can still be at line voltage: rework check lists all of them. Measure."
)
_MARKS = {
    "HAZARD": "!! and double outline: HAZARD, within reach and tied to the mains.",
    "LIVE": "LIVE: line side, not to be touched.",
}
_LEADS = "Transformer leads: US colour code, second-hand. A meter proves a winding."
#: The key: its place on the page, how many roles stand in a row, and their order.
KEY, _KEYS_A_ROW = "key", 4
_LEGEND: tuple[Role, ...] = (
    "line",
    "b-plus",
    "b-minus",
    "common",
    "chassis",
    "heater",
    "plate",
    "screen",
    "grid",
    "cathode",
    "signal",
)


def with_key(drawn: Sheet, theme: Theme) -> Sheet:
    """Return a sheet with a key of its roles, the trade's colour by name on the ink it is drawn
    with, and of its marks.
    """
    palette = PALETTES[theme]
    cells = [
        f'<TD BGCOLOR="{ink(role, theme)}"><FONT COLOR="{palette.on_strip}"> {_role_words(role)}'
        " </FONT></TD>"
        for role in _LEGEND
        if role in drawn.roles
    ]
    rows = [
        "".join(cells[start : start + _KEYS_A_ROW]) for start in range(0, len(cells), _KEYS_A_ROW)
    ]
    marks = " ".join(look["label"] for look in drawn.vertices.values())
    entries = [words for mark, words in _MARKS.items() if mark in marks]
    entries += [_UNMARKED] * bool(entries) + [_LEADS] * drawn.has_leads
    rows += [
        f'<TD COLSPAN="{_KEYS_A_ROW}" ALIGN="LEFT" BGCOLOR="{palette.paper}"><FONT'
        f' COLOR="{palette.ink}">{words}</FONT></TD>'
        for words in entries
    ]
    table = "".join(f"<TR>{row}</TR>" for row in rows)
    if rows:
        drawn.vertices[KEY] = {
            "shape": "plain",
            "label": (
                '<<TABLE BORDER="0" CELLBORDER="0" CELLSPACING="2"'
                f' CELLPADDING="1">{table}</TABLE>>'
            ),
        }
        drawn.area[KEY] = KEY
    return drawn


def _role_words(role: Role) -> str:
    """Return a role, the trade's colour for it, and how its line looks: ``B+ red, thick``."""
    style, width = STYLES[role]
    look = " ".join(
        word
        for word in (
            "thick" if width >= 2 else "thin" if width <= 1 else "",
            "" if style == "solid" else style,
        )
        if word
    )
    return (
        role.replace("b-plus", "B+").replace("b-minus", "B-")
        + f" {WIRE[role]}"
        + (f", {look}" if look else "")
    )

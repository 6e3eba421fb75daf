"""The colour of a transformer's lead on paper and screen: its name on a ground of it."""

from __future__ import annotations

from rework.draw.colours import Theme

_GROUNDS = {
    "light": {
        "black": "#1d1d1b",
        "red": "#c3191d",
        "yellow": "#e6c619",
        "green": "#1f7a3a",
        "brown": "#7b4a21",
        "slate": "#6b7076",
        "blue": "#1f4fa8",
    },
    "dark": {
        "black": "#000000",
        "red": "#ff6b6b",
        "yellow": "#e8cf4a",
        "green": "#63c787",
        "brown": "#c98d5a",
        "slate": "#a9b0b7",
        "blue": "#7fa8ff",
    },
    "print": {},
}


def chips_of(lead: str, theme: Theme) -> tuple[tuple[str, str, str], ...]:
    """Return name, ground and letters (``#rrggbb``) of a lead's colour and of its tracer; in print
    black on white.
    """
    grounds = _GROUNDS[theme]
    return tuple(
        (
            name,
            grounds.get(name, "#ffffff"),
            (
                "#ffffff"
                if (name == "black" and grounds) or (theme == "light" and name != "yellow")
                else "#000000"
            ),
        )
        for name in lead.split("/")
        if name
    )

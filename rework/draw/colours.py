"""Colours by the trade's chassis-wiring code, with a line style beside each, so that no role is
shown by colour alone.

The code: grounds black, heaters brown, B+ red, screens orange, cathodes yellow, control grids
green, plates blue, B- violet, AC power lines gray, everything else white. Source, seen: US Navy
training course NAVEDTRA 14040, figure 6-15, p. 6-17. That it is the code of RETMA, later EIA, is
second-hand (Popular Electronics, July 1958, by its title only). The colours here are inks for paper
and screen that keep that hue and can be read; white is drawn as slate on paper.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Role = Literal[
    "common",
    "heater",
    "b-plus",
    "screen",
    "cathode",
    "grid",
    "plate",
    "b-minus",
    "line",
    "signal",
    "chassis",
]
Theme = Literal["light", "dark", "print"]

#: What the trade's code calls the insulation of a wire in each role.
WIRE: dict[Role, str] = {
    "common": "black",
    "chassis": "black",
    "heater": "brown",
    "b-plus": "red",
    "screen": "orange",
    "cathode": "yellow",
    "grid": "green",
    "plate": "blue",
    "b-minus": "violet",
    "line": "gray",
    "signal": "white",
}

_INKS = {
    "light": {
        "common": "#1d1d1b",
        "chassis": "#1d1d1b",
        "heater": "#7b4a21",
        "b-plus": "#c3191d",
        "screen": "#d9730d",
        "cathode": "#a68a00",
        "grid": "#1f7a3a",
        "plate": "#1f4fa8",
        "b-minus": "#6f3fa0",
        "line": "#6b7076",
        "signal": "#48525c",
    },
    "dark": {
        "common": "#d8d8d4",
        "chassis": "#d8d8d4",
        "heater": "#c98d5a",
        "b-plus": "#ff6b6b",
        "screen": "#ffa04d",
        "cathode": "#e8cf4a",
        "grid": "#63c787",
        "plate": "#7fa8ff",
        "b-minus": "#c29aef",
        "line": "#a9b0b7",
        "signal": "#b9c4cf",
    },
}
_INKS["print"] = dict.fromkeys(_INKS["light"], "#000000")

#: How a line in each role is dashed and how many points thick it is, the same in every theme and in
#: no two colours alike.
STYLES = {
    "common": ("solid", 1.8),
    "chassis": ("solid", 1.8),
    "heater": ("dashed", 1.6),
    "b-plus": ("solid", 2.2),
    "screen": ("dashed", 1.0),
    "cathode": ("dotted", 1.4),
    "grid": ("solid", 1.0),
    "plate": ("solid", 1.4),
    "b-minus": ("dotted", 2.0),
    "line": ("solid", 2.8),
    "signal": ("solid", 0.6),
}


@dataclass(frozen=True, slots=True)
class Palette:
    """The colours of one theme: paper, ink, faint ink, block fill, hazard, removed, added, and ink
    on a filled strip.
    """

    paper: str
    ink: str
    faint: str
    block: str
    hazard: str
    removed: str
    added: str
    on_strip: str


PALETTES = {
    "light": Palette(
        "#fdfcf8", "#1d1d1b", "#6d6d68", "#ffffff", "#c3191d", "#6d6d68", "#1f7a3a", "#ffffff"
    ),
    "dark": Palette(
        "#16191d", "#eceae4", "#9a9d9f", "#21262c", "#ff6b6b", "#80868c", "#63c787", "#16191d"
    ),
    "print": Palette(
        "#ffffff", "#000000", "#000000", "#ffffff", "#000000", "#000000", "#000000", "#ffffff"
    ),
}


def ink(role: Role, theme: Theme) -> str:
    """Return the colour of a role in a theme as ``#rrggbb``."""
    return _INKS[theme][role]

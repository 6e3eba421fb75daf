"""The chassis-wiring colour code of the trade against two prints of it.

Seen: US Navy training course NAVEDTRA 14040 (Illustrator Draftsman), figure 6-15, p. 6-17, all ten
rows (draftingmanuals.tpub.com/14040/css/Block-Numbering-System-91.htm). Seen: the same code as S.
Ahola passed it on, 31 May 2000 (blueguitar.org/new/text/colorcode2.txt); it agrees in nine rows and
gives white to bias only. The code is that of RETMA, later EIA (Popular Electronics, July 1958, by
its title only); the standard itself and its number were not seen.
"""

import colorsys

import pytest

from rework.draw.colours import WIRE, ink

#: Our role, and the colour NAVEDTRA 14040 figure 6-15 prints for it.
PRINTED = {
    "common": "black",
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
#: Degrees of hue within which a person calls an ink by that name; our own reading, no source.
HUES = {
    "brown": (15, 40),
    "red": (-20, 15),
    "orange": (20, 42),
    "yellow": (42, 70),
    "green": (90, 165),
    "blue": (200, 245),
    "violet": (255, 300),
}


@pytest.mark.parametrize(("role", "colour"), PRINTED.items())
def test_navedtra_14040_figure_6_15(role, colour):
    assert WIRE[role] == colour


def test_chassis_is_wired_black_like_every_ground():
    assert WIRE["chassis"] == PRINTED["common"]


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize(("role", "colour"), PRINTED.items())
def test_the_ink_is_the_colour_it_is_called(role, colour, theme):
    red, green, blue = (int(ink(role, theme)[at : at + 2], 16) / 255 for at in (1, 3, 5))
    if colour in ("black", "gray", "white"):
        assert max(red, green, blue) - min(red, green, blue) < 0.1, (
            "no hue: black, gray and white differ by line, not by colour"
        )
        return
    hue = colorsys.rgb_to_hls(red, green, blue)[0] * 360
    low, high = HUES[colour]
    assert low <= (hue - 360 if hue > 330 else hue) <= high

"""Switches of any number of poles and positions, and the contacts of relays, by the trade's names.

``SPDT``, ``DP3T``, ``2P6T`` and the like: so many poles, each with so many throws. A pole is what
moves, a throw is a contact it can move to. A switch with one throw is OFF or ON; one with more is
in the position named for the throw its poles are on, or, with a centre-off position, OFF.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

#: Letters in a style for numbers of poles or throws.
_COUNTS = {"S": 1, "D": 2, "T": 3, "Q": 4}
_STYLE = re.compile(r"([SDTQ]|[1-9][0-9]?)P([SDTQ]|[1-9][0-9]?)T")
#: The word for a position in which every pole is on nothing.
CENTRE_OFF = "centre-off"
#: More poles have no letter, and no switch in a set has more throws.
MOST_POLES, MOST_THROWS = 12, 24
#: The style of a switch that states none.
PLAIN = "SPST"


@dataclass(frozen=True, slots=True)
class SwitchStyle:
    """How many poles a switch has, how many throws each, and whether its centre is off."""

    poles: int
    throws: int
    centre_off: bool = False

    @property
    def contacts(self) -> tuple[tuple[str, ...], ...]:
        """The terminals, one tuple a pole, in the order of writing: the pole, then its throws."""
        each: tuple[str, ...] = ("1", "2")
        if self.throws > 1:
            each = ("pole", *(f"throw{number}" for number in range(1, self.throws + 1)))
        if self.poles == 1:
            return (each,)
        letters = "abcdefghijkl"[: self.poles]
        return tuple(tuple(f"{letter}.{contact}" for contact in each) for letter in letters)

    @property
    def positions(self) -> tuple[str, ...]:
        """The names of its positions, OFF first where there is one."""
        if self.throws == 1:
            return ("OFF", "ON")
        named = tuple(f"throw{number}" for number in range(1, self.throws + 1))
        return ("OFF", *named) if self.centre_off else named

    def closed(self, position: str) -> tuple[tuple[str, str], ...]:
        """Return the pairs of contacts that are joined in a position, one a pole.

        Raises
        ------
        ValueError
            Where the switch has no such position.
        """
        if position not in self.positions:
            raise ValueError(f"no position {position}: one of {', '.join(self.positions)}")
        if position == "OFF":
            return ()
        throw = 1 if self.throws == 1 else int(position.removeprefix("throw"))
        return tuple((pole[0], pole[throw]) for pole in self.contacts)


@cache
def style_named(word: str) -> SwitchStyle | None:
    """Return the style that a word such as ``SPDT`` or ``2P6T`` names, or None."""
    match = _STYLE.fullmatch(word)
    if match is None:
        return None
    poles, throws = (_COUNTS.get(text) or int(text) for text in match.groups())
    if poles > MOST_POLES or throws > MOST_THROWS:
        return None
    return SwitchStyle(poles, throws)


@cache
def style_of(words: tuple[str, ...]) -> SwitchStyle:
    """Return the style of a switch by its words; one that states none is SPST."""
    style = next((style for word in words if (style := style_named(word))), SwitchStyle(1, 1))
    off = CENTRE_OFF in words and style.throws > 1
    return SwitchStyle(style.poles, style.throws, off) if off else style

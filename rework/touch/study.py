"""Every state a set may be in: plug, switches, umbilicals, open supply conductors, heaters; and
what varies part by part.

The first are rows of admittances, a matrix each. Plug ways and a neutral that is open change which
blade is fed, so they share a matrix; the line volts only scale. What varies part by part (tubes,
rectifiers, wipers, insulation nobody vouches for) is put in by low-rank updates: see ``updates``.
Until then it is there with a conductance midway, so that neither putting it in nor taking it out
loses digits.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import product
from typing import NamedTuple

import numpy as np

from rework.circuit.circuit import Circuit
from rework.safety.states import Tried, states_to_try
from rework.safety.ties import worst_ties
from rework.touch.element import Axis, Element, Variant
from rework.touch.model import Model, model
from rework.touch.network import BRANCH, MOST_DENSE, Frame, Patterns, Solved, solve
from rework.touch.parts import EARTH
from rework.touch.person import upper_line

#: Figures held at a time.
MOST_HELD = 2_000_000
#: Beyond so many things that vary part by part only the first so many are tried alone.
MOST_SINGLE = 24
#: Siemens of what may be there or not, until it is put in or taken out: midway between a conducting
#: tube and a stray capacitance.
MIDWAY = 1e-4
#: The supply conductors: which blade is connected (both, or one alone), and whether the earth pin
#: is.
BLADES = ("both", "line", "neutral")


class Feed(NamedTuple):
    """Which blade is hot, and whether the earth pin is hot as well: an outlet wired the wrong way
    round with its earth on the neutral.
    """

    hot: str
    earth_hot: bool = False


FEEDS = (Feed("line"), Feed("neutral"), Feed("line", True))


@dataclass(frozen=True, slots=True)
class Row:
    """One matrix: positions of everything that moves, blades connected, earth connected, heaters
    hot or cold, windings as written or turned.
    """

    switches: tuple[tuple[str, str], ...]
    umbilicals: tuple[tuple[str, str], ...]
    blades: str
    earth: bool
    hot: bool = True
    turned: bool = False

    def feeds(self) -> tuple[int, ...]:
        """Return the feeds that go with these blades: a blade alone is the hot one."""
        return tuple(number for number in (0, 1) if self.blades in ("both", FEEDS[number].hot))

    def words(self, feed: int, earth_pin: bool = True) -> str:
        """Return the state of plug, switches, umbilicals and conductors as a phrase for a person."""
        told = ["plug as drawn" if FEEDS[feed].hot == "line" else "plug reversed"]
        told += [f"{name} {where}" for name, where in self.switches]
        told += [f"{name} pulled" for name, where in self.umbilicals if where == "pulled"]
        if self.blades != "both":
            told.append("neutral open")
        if earth_pin and not self.earth:
            told.append("earth open")
        if not self.hot:
            told.append("heaters cold")
        if self.turned:
            told.append("secondaries the other way round")
        return ", ".join(told)


class Study:
    """A circuit ready to be solved in all its states.

    ``assumed`` is what the netlist does not say, by name (see ``person.assumed``).
    ``open_conductors`` adds the states with neutral, earth or both open; ``umbilicals`` those with
    connectors pulled.
    """

    def __init__(
        self,
        circuit: Circuit,
        assumed: Mapping[str, float],
        *,
        open_conductors: bool = True,
        umbilicals: bool = True,
    ) -> None:
        self.circuit, self.assumed = circuit, dict(assumed)
        self.model: Model = model(circuit, assumed)
        mains = circuit.mains
        self.volts, self.hertz, self.line_words = upper_line(
            mains.volts if mains else None, mains.hertz if mains else None
        )
        self.tried: Tried = states_to_try(circuit, worst_ties(circuit), every=True)
        self.earth_pin = any(element.gate[:1] == ("earth",) for element in self.elements)
        self.open_conductors, self._pulled = open_conductors, umbilicals
        branches = [
            number
            for number, element in enumerate(self.elements)
            if element.rectifies or max(element.siemens, element.cold) >= BRANCH
        ]
        branches += range(len(self.elements), len(self.elements) + len(self.variants))
        self.frame, self.turned = (
            Frame(
                (*circuit.nodes, EARTH),
                EARTH,
                [(element.nodes, weights(element)) for element in (*self.elements, *self.variants)],
                branches,
            )
            for weights in (_weights, _turned)
        )

    @property
    def elements(self) -> tuple[Element, ...]:
        """Every element, in the order of the file."""
        return self.model.elements

    @cached_property
    def tied_and_reached(self) -> frozenset[str]:
        """The nodes of either kind: tied to the mains, or within reach of a hand."""
        return frozenset(worst_ties(self.circuit).tied) | self.circuit.within_reach

    @cached_property
    def rows(self) -> tuple[Row, ...]:
        """Every matrix to solve."""
        placed: dict[tuple, None] = {}
        for row in self.tried.rows:
            state = self.tried.state(self.circuit, row)
            if self._pulled or all(where == "mated" for _, where in state.connectors):
                placed[state.switches, state.connectors] = None
        blades, earths = (
            (BLADES, (True, False) if self.earth_pin else (True,))
            if self.open_conductors
            else (("both",), (True,))
        )
        hot = (True, False) if any(element.cold for element in self.elements) else (True,)
        turned = (False, True) if any(element.turned for element in self.elements) else (False,)
        return tuple(
            Row(*where, *rest) for rest in product(blades, earths, hot, turned) for where in placed
        )

    @property
    def axes(self) -> tuple[Axis, ...]:
        """What varies part by part."""
        return self.model.axes

    @property
    def variants(self) -> tuple[Variant, ...]:
        """The paths that are there in one position of an axis only."""
        return self.model.variants

    def combinations(self, most: int, *, whole: bool) -> tuple[tuple[int, ...], ...]:
        """Return positions of all axes: every combination where that is no more than ``most``; else
        all in one position, and each alone.

        The first is nothing conducting and wipers at ccw. Insulation is whole throughout with
        ``whole``; else the combinations with it whole come first. Beyond ``MOST_SINGLE`` axes only
        the first so many are tried alone.
        """
        free = [
            place
            for place, axis in enumerate(self.axes)
            if not (whole and axis.kind == "insulation")
        ]
        count = len(free)
        if 2 ** min(count, 40) <= most:
            found = sorted(product((0, 1), repeat=count), key=lambda combo: (sum(combo), combo))
        else:
            singles = [
                tuple(base ^ (place == single) for place in range(count))
                for base in (0, 1)
                for single in range(min(count, MOST_SINGLE))
            ]
            found = list(dict.fromkeys(((0,) * count, (1,) * count, *singles)))
        placed = [
            {place: position for place, position in zip(free, combo, strict=True)}
            for combo in found
        ]
        combos = [tuple(at.get(place, 0) for place in range(len(self.axes))) for at in placed]
        return tuple(
            dict.fromkeys(
                (*filter(self.is_whole, combos), *(self.wholly(combo) for combo in combos), *combos)
            )
        )

    def is_whole(self, combo: tuple[int, ...]) -> bool:
        """Return whether all insulation holds in a combination."""
        return combo == self.wholly(combo)

    def wholly(self, combo: tuple[int, ...]) -> tuple[int, ...]:
        """Return a combination with all insulation whole."""
        return tuple(
            0 if axis.kind == "insulation" else position
            for axis, position in zip(self.axes, combo, strict=True)
        )

    def admittance(self, rows: tuple[Row, ...], *, hertz: float | None = None) -> np.ndarray:
        """Return the admittance of every element in every row, and of every variant midway, (rows,
        both), in siemens; real at 0 Hz.
        """
        hertz = self.hertz if hertz is None else hertz
        w = 2 * np.pi * hertz
        siemens = np.array(
            [[element.siemens, element.cold or element.siemens] for element in self.elements]
        ).T.reshape(2, len(self.elements))
        farads, henries = (
            np.array([getattr(element, name) for element in self.elements])
            for name in ("farads", "henries")
        )
        if w:
            siemens = siemens / (1 + 1j * w * henries * siemens) + 1j * w * farads
        found = siemens[[int(not row.hot) for row in rows]]
        gated = [
            (number, element.gate) for number, element in enumerate(self.elements) if element.gate
        ]
        for place, row in enumerate(rows):
            switches, pulled = (
                dict(row.switches),
                {name for name, where in row.umbilicals if where == "pulled"},
            )
            for number, gate in gated:
                if not _there(gate, row, switches, pulled):
                    found[place, number] = 0.0
        return np.concatenate(
            [found, np.full((len(rows), len(self.variants)), MIDWAY, found.dtype)], axis=1
        )

    def blocks(self, each: int = 1) -> Iterator[tuple[tuple[Row, ...], np.ndarray, Solved]]:
        """Return (rows, admittances, solution) a few rows at a time, so that what is made of them
        fits in memory.

        ``each`` is how many figures will be made of every row.
        """
        step = (
            max(1, MOST_HELD // max(each, (self.frame.size + 1) ** 2))
            if self.frame.size <= MOST_DENSE
            else 1
        )
        for turned in (False, True):
            rows = tuple(row for row in self.rows if row.turned == turned)
            for start in range(0, len(rows), step):
                some = rows[start : start + step]
                admittance = self.admittance(some)
                yield some, admittance, self.solved(some, admittance)

    def solved(self, rows: tuple[Row, ...], admittance: np.ndarray) -> Solved:
        """Return the network solved for rows of one polarity of windings."""
        return solve(self.turned if rows[0].turned else self.frame, admittance)

    @cached_property
    def rectifiers(self) -> list[int]:
        """The numbers of the elements from an anode to a cathode."""
        return [number for number, element in enumerate(self.elements) if element.rectifies]

    @cached_property
    def feeds(self) -> Patterns:
        """One volt in series with every supply conductor that each feed makes hot."""
        wanted = []
        for feed in FEEDS:
            hot = [
                number
                for number, element in enumerate(self.elements)
                if (element.gate[:1] == ("blade",) and _hot(element.gate[2], feed))
                or (element.gate[:1] == ("earth",) and feed.earth_hot)
            ]
            wanted.append((hot, [1.0] * len(hot)))
        return self.frame.currents(wanted)


def _weights(element: Element | Variant) -> tuple[float, ...]:
    return element.weights if isinstance(element, Element) else (1.0, -1.0)


def _turned(element: Element | Variant) -> tuple[float, ...]:
    return (isinstance(element, Element) and element.turned) or _weights(element)


def _hot(terminal: str, feed: Feed) -> bool:
    return terminal == "line" if feed.hot == "line" else terminal != "line"


def _there(gate: tuple[str, ...], row: Row, switches: Mapping[str, str], pulled: set[str]) -> bool:
    match gate[0]:
        case "switch":
            return switches.get(gate[1], gate[2]) in gate[2:]
        case "umbilical":
            return gate[1] not in pulled
        case "earth":
            return row.earth
        case "blade":
            return row.blades == "both" or (gate[2] == "line") == (row.blades == "line")
    return True


def combination_words(axes: tuple[Axis, ...], combo: tuple[int, ...]) -> str:
    """Return the position of everything that varies as a phrase, the usual positions left out."""
    at = dict(zip(axes, combo, strict=True))

    def named(kind: str, position: int = 1) -> list[str]:
        return [axis.name for axis, place in at.items() if axis.kind == kind and place == position]

    told = []
    if named("conducts") and not named("conducts", 0):
        told.append("every tube and rectifier conducting")
    elif named("conducts"):
        told.append(", ".join(named("conducts")) + " conducting")
    told += [f"{name} a short" for name in named("unknown")]
    told += [f"{', '.join(named('pot'))} at cw"] if named("pot") else []
    told += [f"insulation {name} broken down" for name in named("insulation")]
    return "; ".join(told)

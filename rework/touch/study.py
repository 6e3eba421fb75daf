"""Every state a set may be in: plug, switches, umbilicals, open supply conductors, heaters; and
what varies part by part.

The first are rows of admittances, a matrix each. Plug ways and a neutral that is open change which
blade is fed, so they share a matrix; the line volts only scale. What varies part by part (tubes,
rectifiers, wipers, insulation that is not proved) is put in by low-rank updates: see ``updates``.
Until then it is there with a conductance midway, so that neither putting it in nor taking it out
loses digits.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import product
from typing import NamedTuple

import numpy as np

from rework.circuit.circuit import Circuit
from rework.safety.states import Tried, states_to_try
from rework.safety.ties import worst_ties
from rework.safety.upper_line import upper_line
from rework.touch.element import EitherWay, Element, Variant
from rework.touch.model import Model, model
from rework.touch.network import BRANCH, MOST_DENSE, Frame, Numbers, Patterns, Solved, solve
from rework.touch.parts import EARTH

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

#: A position, 0 or 1, for every axis.
Combo = tuple[int, ...]


class OutletWiring(NamedTuple):
    """Which blade is hot, and whether the earth pin is hot as well: an outlet wired the wrong way
    round with its earth on the neutral.
    """

    hot: str
    earth_hot: bool = False


FEEDS = (OutletWiring("line"), OutletWiring("neutral"), OutletWiring("line", True))
#: The feeds of an outlet that is wired as it should be: either way of the plug.
PLUG_WAYS = (0, 1)


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
        return tuple(number for number in PLUG_WAYS if self.blades in ("both", FEEDS[number].hot))

    def words(self, feed: int, earth_pin: bool = True) -> str:
        """Return the state of plug, switches, umbilicals and conductors as a phrase."""
        words = ["plug as drawn" if FEEDS[feed].hot == "line" else "plug reversed"]
        words += [f"{name} {where}" for name, where in self.switches]
        words += [f"{name} pulled" for name, where in self.umbilicals if where == "pulled"]
        if self.blades != "both":
            words.append("neutral open")
        if earth_pin and not self.earth:
            words.append("earth open")
        if not self.hot:
            words.append("heaters cold")
        if self.turned:
            words.append("secondaries the other way round")
        return ", ".join(words)


class Study:
    """A circuit ready to be solved in all its states.

    ``assumed`` is what the netlist does not say, by name (see ``person.assumed``).
    ``open_conductors`` adds the states with neutral, earth or both open; ``umbilicals`` those with
    connectors pulled. Pots and switches that are ``held`` stay where they are drawn. What passes
    ``branch`` siemens and more can be opened without losing digits.
    """

    def __init__(
        self,
        circuit: Circuit,
        assumed: Mapping[str, float],
        *,
        open_conductors: bool = True,
        umbilicals: bool = True,
        branch: float = BRANCH,
        held: Collection[str] = (),
    ) -> None:
        self.circuit, self.assumed = circuit, dict(assumed)
        self.model: Model = model(circuit, assumed, held)
        mains = circuit.mains
        self.volts, self.hertz, self.line_words = upper_line(
            mains.volts if mains else None, mains.hertz if mains else None
        )
        self.tried: Tried = states_to_try(circuit, worst_ties(circuit), every=True, held=held)
        self.earth_pin = any(element.gate[:1] == ("earth",) for element in self.elements)
        self.open_conductors, self._pulled = open_conductors, umbilicals
        branches = [
            number
            for number, element in enumerate(self.elements)
            if element.rectifies
            or element.emf
            or element.gate
            or max(element.siemens, element.cold) >= branch
        ]
        branches += range(len(self.elements), len(self.elements) + len(self.variants))
        names = (*circuit.nodes, EARTH)
        paths: list[Element | Variant] = [*self.elements, *self.variants]
        #: The network with its windings as written, and with its secondaries reversed.
        self.frame = Frame(names, EARTH, [(path.nodes, path.weights) for path in paths], branches)
        self.turned = Frame(names, EARTH, [(path.nodes, _turned(path)) for path in paths], branches)

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
        states = [self.tried.state(self.circuit, row) for row in self.tried.rows]
        placed = dict.fromkeys(
            (state.switches, state.connectors)
            for state in states
            if self._pulled or all(where == "mated" for _, where in state.connectors)
        )
        blades = BLADES if self.open_conductors else ("both",)
        earths = (True, False) if self.open_conductors and self.earth_pin else (True,)
        hot = (True, False) if any(element.cold for element in self.elements) else (True,)
        turned = (False, True) if any(element.turned for element in self.elements) else (False,)
        return tuple(
            Row(switches, umbilicals, *rest)
            for rest in product(blades, earths, hot, turned)
            for switches, umbilicals in placed
        )

    @property
    def axes(self) -> tuple[EitherWay, ...]:
        """What varies part by part."""
        return self.model.axes

    @property
    def variants(self) -> tuple[Variant, ...]:
        """The paths that are there in one position of an axis only."""
        return self.model.variants

    @cached_property
    def exclusive(self) -> tuple[tuple[int, int], ...]:
        """The places of the axes of one tube of which no more than one is at 1: its plate conducts,
        or its grid.
        """
        place = {axis: number for number, axis in enumerate(self.axes)}
        return tuple(
            (place[EitherWay("conducts", axis.name)], number)
            for axis, number in place.items()
            if axis.kind == "grid" and EitherWay("conducts", axis.name) in place
        )

    def combinations(self, most: int, free: Sequence[int]) -> tuple[Combo, ...]:
        """Return positions of all axes: every combination of those in the places ``free`` where
        that is no more than ``most``; else all in one position, and each alone. All others are at
        0.

        The first is nothing conducting and wipers at ccw; the combinations with insulation whole
        come first. Beyond ``MOST_SINGLE`` axes only the first so many are tried alone.
        """
        count = len(free)
        if self.count_of(free) <= most:
            tried = sorted(product((0, 1), repeat=count), key=lambda combo: (sum(combo), combo))
            combos = [self._placed(free, combo) for combo in tried]
        else:
            grids = {grid for _, grid in self.exclusive}
            bases = [
                (0,) * count,
                tuple(int(place not in grids) for place in free),
                tuple(int(place in grids) for place in free),
            ]
            combos = [self._placed(free, base) for base in bases]
            combos += [
                self.flipped(combo, place)
                for combo in combos[:3]
                for place in free[: min(count, MOST_SINGLE)]
            ]
        combos = [
            combo
            for combo in combos
            if not any(combo[plate] and combo[grid] for plate, grid in self.exclusive)
        ]
        return tuple(
            dict.fromkeys(
                (*filter(self.is_whole, combos), *(self.wholly(combo) for combo in combos), *combos)
            )
        )

    @cached_property
    def but_insulation(self) -> tuple[int, ...]:
        """The places of all axes but those of insulation."""
        return tuple(n for n, axis in enumerate(self.axes) if axis.kind != "insulation")

    def count_of(self, places: Sequence[int]) -> int:
        """Return how many combinations of some axes there are, those that cannot be left out."""
        pairs = sum(plate in places and grid in places for plate, grid in self.exclusive)
        return int(3**pairs * 2 ** (len(places) - 2 * pairs))

    def _placed(self, places: Sequence[int], positions: Sequence[int]) -> Combo:
        at = dict(zip(places, positions, strict=True))
        return tuple(at.get(place, 0) for place in range(len(self.axes)))

    def flipped(self, combo: Combo, place: int) -> Combo:
        """Return a combination with one axis in its other position, and what that excludes at 0."""
        flipped = [*combo[:place], 1 - combo[place], *combo[place + 1 :]]
        for pair in self.exclusive:
            if place in pair and flipped[place]:
                flipped[sum(pair) - place] = 0
        return tuple(flipped)

    def turned_once(self, combos: Sequence[Combo]) -> dict[int, tuple[list[int], list[int]]]:
        """Return for every axis the places of those combinations that are there with it turned too,
        and the places of these.
        """
        place = {combo: number for number, combo in enumerate(combos)}
        both_of = {}
        for axis in range(len(self.axes)):
            turned = [place.get(self.flipped(combo, axis)) for combo in combos]
            both = {
                (min(first, second), max(first, second))
                for first, second in enumerate(turned)
                if second is not None
            }
            both_of[axis] = [side for side, _ in both], [second for _, second in both]
        return both_of

    def is_whole(self, combo: Combo) -> bool:
        """Return whether all insulation holds in a combination."""
        return combo == self.wholly(combo)

    def wholly(self, combo: Combo) -> Combo:
        """Return a combination with all insulation whole."""
        kept = len(self.but_insulation)
        return (*combo[:kept], *((0,) * (len(combo) - kept)))

    def admittance(self, rows: tuple[Row, ...], *, hertz: float | None = None) -> Numbers:
        """Return the admittance of every element in every row, and of every variant midway, (rows,
        both), in siemens; real at 0 Hz.
        """
        hertz = self.hertz if hertz is None else hertz
        w = 2 * np.pi * hertz
        hot_and_cold = [
            (element.siemens, element.cold or element.siemens) for element in self.elements
        ]
        farads = np.array([element.farads for element in self.elements])
        henries = np.array([element.henries for element in self.elements])
        siemens: Numbers = np.array(hot_and_cold, float).reshape(-1, 2).T
        if w:
            siemens = siemens / (1 + 1j * w * henries * siemens) + 1j * w * farads
        entries: Numbers = siemens[[int(not row.hot) for row in rows]]
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
                    entries[place, number] = 0.0
        return np.concatenate(
            [entries, np.full((len(rows), len(self.variants)), MIDWAY, entries.dtype)], axis=1
        )

    def settle(self, admittance: Numbers, combo: Combo) -> None:
        """Put the variants of one combination into admittances, (rows, elements and variants)."""
        at = dict(zip(self.axes, combo, strict=True))
        admittance[:, len(self.elements) :] = [
            variant.siemens if at[variant.axis] == variant.position else 0.0
            for variant in self.variants
        ]

    def blocks(
        self, wanted: Sequence[Row] | None = None, *, each: int = 1
    ) -> Iterator[tuple[tuple[Row, ...], Numbers, Solved]]:
        """Return (rows, admittances, solution) of the rows wanted, all where none are named, a few
        at a time, so that what is made of them fits in memory.

        ``each`` is how many figures will be made of every row.
        """
        step = (
            max(1, MOST_HELD // max(each, (self.frame.size + 1) ** 2))
            if self.frame.size <= MOST_DENSE
            else 1
        )
        for turned in (False, True):
            rows = tuple(row for row in wanted or self.rows if row.turned == turned)
            for start in range(0, len(rows), step):
                some = rows[start : start + step]
                admittance = self.admittance(some)
                yield some, admittance, self.solved(some, admittance)

    def solved(self, rows: tuple[Row, ...], admittance: Numbers) -> Solved:
        """Return the network solved for rows of one polarity of windings."""
        return solve(self.turned if rows[0].turned else self.frame, admittance)

    @cached_property
    def rectifiers(self) -> list[int]:
        """The numbers of the elements that give direct volts: from an anode to a cathode, and
        batteries.
        """
        return [
            number
            for number, element in enumerate(self.elements)
            if element.rectifies or element.emf
        ]

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


def _turned(path: Element | Variant) -> tuple[float, ...]:
    turned = path.turned if isinstance(path, Element) else ()
    return turned or path.weights


def _hot(terminal: str, feed: OutletWiring) -> bool:
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


def combination_words(axes: tuple[EitherWay, ...], combo: Combo) -> str:
    """Return the position of everything that varies as a phrase, the usual positions left out."""
    at = dict(zip(axes, combo, strict=True))

    def named(kind: str, position: int = 1) -> list[str]:
        return [axis.name for axis, place in at.items() if axis.kind == kind and place == position]

    words = []
    if named("conducts") and not named("conducts", 0):
        words.append("every tube and rectifier conducting")
    elif named("conducts"):
        words.append(", ".join(named("conducts")) + " conducting")
    words += [f"grid of {name} conducting" for name in named("grid")]
    words += [f"{name} a short" for name in named("unknown")]
    words += [f"{', '.join(named('pot'))} at cw"] if named("pot") else []
    words += [f"wiper of {name} at its tap" for name in named("tap")]
    words += [f"insulation {name} broken down" for name in named("insulation")]
    return "; ".join(words)

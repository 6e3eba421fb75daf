"""Every state a set may be in, as rows of admittances: plug, switches, umbilicals, open supply conductors, condition of parts.

Plug ways and a neutral that is open change which blade is fed, so they share a matrix; the line volts only scale.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import product
from typing import TYPE_CHECKING, NamedTuple

from rework.circuit.circuit import Circuit
from rework.safety.current.element import Element
from rework.safety.current.network import BRANCH, MOST_DENSE, Frame, Patterns, Solved, solve
from rework.safety.current.parts import CONDITIONS, EARTH, Condition, Model, model
from rework.safety.current.person import upper_line
from rework.safety.states import Tried, states_to_try
from rework.safety.ties import worst_ties

if TYPE_CHECKING:
    import numpy as np

#: Entries of the nodal matrices held at a time.
MOST_HELD = 4_000_000
#: The supply conductors: which blade is connected (both, or one alone), and whether the earth pin is.
BLADES = ("both", "line", "neutral")


class Feed(NamedTuple):
    """Which blade is hot, and whether the earth pin is hot as well: an outlet wired the wrong way round with its earth on the neutral."""

    hot: str
    earth_hot: bool = False


FEEDS = (Feed("line"), Feed("neutral"), Feed("line", True))


@dataclass(frozen=True, slots=True)
class Row:
    """One matrix: positions of everything that moves, blades connected, earth connected, condition of the parts."""

    switches: tuple[tuple[str, str], ...]
    umbilicals: tuple[tuple[str, str], ...]
    blades: str
    earth: bool
    condition: int

    def feeds(self) -> tuple[int, ...]:
        """Return the feeds that go with these blades: a blade alone is the hot one."""
        return tuple(number for number in (0, 1) if self.blades in ("both", FEEDS[number].hot))

    def words(self, feed: int, earth_pin: bool = True) -> str:
        """Return the state as a phrase for a person."""
        told = ["plug as drawn" if FEEDS[feed].hot == "line" else "plug reversed"]
        told += [f"{name} {where}" for name, where in self.switches]
        told += [f"{name} pulled" for name, where in self.umbilicals if where == "pulled"]
        if self.blades != "both":
            told.append("neutral open")
        if earth_pin and not self.earth:
            told.append("earth open")
        return ", ".join(told)


class Study:
    """A circuit ready to be solved in all its states.

    ``assumed`` is what the netlist does not say, by name (see ``person.assumed``). ``open_conductors`` adds the states
    with neutral, earth or both open; ``umbilicals`` those with connectors pulled.
    """

    def __init__(self, circuit: Circuit, assumed: Mapping[str, float], *, open_conductors: bool = True, umbilicals: bool = True) -> None:
        self.circuit, self.assumed = circuit, dict(assumed)
        self.model: Model = model(circuit, assumed)
        mains = circuit.mains
        self.volts, self.hertz, self.line_words = upper_line(mains.volts if mains else None, mains.hertz if mains else None)
        self.tried: Tried = states_to_try(circuit, worst_ties(circuit))
        self.earth_pin = any(element.gate[:1] == ("earth",) for element in self.elements)
        self._open, self._pulled = open_conductors, umbilicals
        branches = [number for number, element in enumerate(self.elements) if max(element.siemens) >= BRANCH]
        self.frame = Frame((*circuit.nodes, EARTH), EARTH, [(element.nodes, element.weights) for element in self.elements], branches)

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
        """Every matrix to solve. Conditions in which nothing differs are one."""
        placed: dict[tuple, None] = {}
        for row in self.tried.rows:
            state = self.tried.state(self.circuit, row)
            if self._pulled or all(where == "mated" for _, where in state.connectors):
                placed[state.switches, state.connectors] = None
        blades, earths = (BLADES, (True, False) if self.earth_pin else (True,)) if self._open else (("both",), (True,))
        unlike: dict[tuple, int] = {}
        for number in range(len(CONDITIONS)):
            unlike.setdefault(tuple(element.siemens[number] for element in self.elements), number)
        return tuple(Row(*where, blade, earth, condition)
                     for where, blade, earth, condition in product(placed, blades, earths, unlike.values()))

    def condition(self, row: Row) -> Condition:
        """Return the condition of the parts in one row."""
        return CONDITIONS[row.condition]

    def admittance(self, rows: tuple[Row, ...], *, hertz: float | None = None) -> np.ndarray:
        """Return the admittance of every element in every row, (rows, elements), in siemens; real at 0 Hz."""
        import numpy as np

        hertz = self.hertz if hertz is None else hertz
        w = 2 * np.pi * hertz
        siemens = np.array([element.siemens for element in self.elements]).T.reshape(len(CONDITIONS), len(self.elements))
        farads, henries = (np.array([getattr(element, name) for element in self.elements]) for name in ("farads", "henries"))
        if w:
            siemens = siemens / (1 + 1j * w * henries * siemens) + 1j * w * farads
        found = siemens[[row.condition for row in rows]]
        gated = [(number, element.gate) for number, element in enumerate(self.elements) if element.gate]
        for place, row in enumerate(rows):
            switches, pulled = dict(row.switches), {name for name, where in row.umbilicals if where == "pulled"}
            for number, gate in gated:
                if not _there(gate, row, switches, pulled):
                    found[place, number] = 0.0
        return found

    def blocks(self, rows: tuple[Row, ...] | None = None, *, hertz: float | None = None) -> Iterator[tuple[tuple[Row, ...], np.ndarray, Solved]]:
        """Return (rows, admittances, solution) a few rows at a time, so that large circuits fit in memory."""
        rows = self.rows if rows is None else rows
        step = max(1, MOST_HELD // (self.frame.size + 1) ** 2) if self.frame.size <= MOST_DENSE else 4
        for start in range(0, len(rows), step):
            some = rows[start : start + step]
            admittance = self.admittance(some, hertz=hertz)
            yield some, admittance, solve(self.frame, admittance)

    @cached_property
    def feeds(self) -> Patterns:
        """One volt in series with every supply conductor that each feed makes hot."""
        wanted = []
        for feed in FEEDS:
            hot = [number for number, element in enumerate(self.elements) if element.gate[:1] == ("blade",) and _hot(element.gate[2], feed)
                   or element.gate[:1] == ("earth",) and feed.earth_hot]
            wanted.append((hot, [1.0] * len(hot)))
        return self.frame.currents(wanted)


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

"""What is left in the capacitors after the plug is out, how long until it no longer matters, and
what of it is at the pins of the plug and at the bare contacts of a pulled connector.

Every capacitor starts from the volts that the solver says can be on it (high line, cold tubes),
where the caller has them; else from the peak that its rectifiers can reach, which is never less.
It is left to the resistances that remain with tubes cold and rectifiers blocking, nominal and at
the end of all tolerances that takes longer. Leakage is not relied on.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations

import numpy as np

from rework.circuit.circuit import Circuit
from rework.circuit.kinds import KINDS
from rework.circuit.parts import drawn_position
from rework.touch.bleeder import Bleeder, slowest_bleeder
from rework.touch.direct import Direct, driven
from rework.touch.discharge import course, seconds_below
from rework.touch.network import UNIT, Floats, Patterns, Solved, joined
from rework.touch.person import assumed
from rework.touch.ports import bare_contacts
from rework.touch.study import Row, Study
from rework.touch.updates import moving, spread

#: Joules below which a capacitor is not listed: less than any of the rules for accessible
#: capacitors reaches.
LEAST_JOULES = 1e-4
#: Beyond so many ohms only the anchors of the network are left, and they are not in the set.
MOST_OHMS = 1e8
#: Volts down to which times are given: hardly dangerous (60 V DC), and accessible (34 V peak).
DOWN_TO = (60.0, 34.0)
#: Pins may keep so many farads charged, or have so much of their volts left after so many seconds
#: (IEC 60950-1 2.1.1.7: 0.1 uF; one time constant of 1 s at most).
MOST_FARADS, LEFT_SHARE, LEFT_AFTER = 0.1e-6, math.exp(-1), 1.0
#: Bare contacts of a connector that was pulled: to 60 V within 5 s; more than 60 uC count. Within
#: 1 s they need no label that says how long to wait (IEC 60204-1 6.2.4, as quoted at
#: https://cmph-safety.tech/?p=933 and
#: https://www.sdev.dk/2011/05/04/protection-against-residual-voltage/).
MOST_SECONDS, UNLABELLED_SECONDS, MOST_COULOMBS = 5.0, 1.0, 60e-6
#: Another position of the switches counts where the peak there is so many times that as written.
MORE = 1.01
#: A capacitor counts at pins where they have at least this share of its volts.
LEAST_SHARE = 0.1


@dataclass(frozen=True, slots=True)
class Fall:
    """How long volts take to fall to 60 V and to 34 V: with nominal values, and at the end of all
    tolerances that takes longer (``late``). Seconds; infinite where nothing discharges.
    """

    to_60: float
    to_34: float
    late_60: float
    late_34: float


@dataclass(frozen=True, slots=True)
class DischargePosition:
    """One position of switches and umbilicals: its words, the ohms that discharge a capacitor by
    itself (nominal; infinite where nothing does), and how its volts fall with every other capacitor
    discharging through the same resistances: one in series with another may fall all the same.
    """

    words: str
    ohms: float
    fall: Fall


@dataclass(frozen=True, slots=True)
class Stored:
    """One capacitor: farads and joules nominal, the most volts on it, its rating, and what happens
    in each position of switches and umbilicals.

    ``solved`` is whether the volts are those of the solver; else they are an estimate on the high
    side, in the position of the switches that gives most. Of a capacitor whose farads are not
    written nothing is known: everything is infinite.
    """

    part: str
    farads: float
    volts: float
    joules: float
    positions: tuple[DischargePosition, ...]
    rating: float | None = None
    solved: bool = False

    @property
    def slowest(self) -> float:
        """Seconds to 60 V in the worst position, at the end of tolerances that takes longer."""
        return max((position.fall.late_60 for position in self.positions), default=0.0)

    @property
    def slowest_34(self) -> float:
        """Seconds to 34 V in the worst position, at the end of tolerances that takes longer."""
        return max((position.fall.late_34 for position in self.positions), default=0.0)

    @property
    def over_rating(self) -> bool:
        """Whether the volts on it are more than it is rated for."""
        return self.rating is not None and self.volts > self.rating


@dataclass(frozen=True, slots=True)
class Pins:
    """Two pins of a pulled plug, or two contacts of a pulled connector, that stay charged: in which
    position of the switches, the volts just after, and how they fall.

    ``kind`` is ``plug`` or ``connector``. ``over_limit`` is of a plug whether more than 0.1 uF
    keeps more than 37 % of its volts for 1 s (IEC 60950-1 2.1.1.7), of a connector whether more
    than 60 uC keep it over 60 V for more than 5 s (IEC 60204-1 6.2.4). ``nodes`` are those of the
    two; ``bleeder`` is the resistor, tried, with which a connector is no longer over its limit.
    """

    kind: str
    part: str
    one: str
    other: str
    words: str
    volts: float
    farads: float
    fall: Fall
    over_limit: bool
    nodes: tuple[str, str] = ("", "")
    bleeder: Bleeder | None = None

    @property
    def needs_label(self) -> bool:
        """Whether bare contacts within their limit need a label that says how long to wait."""
        late = self.fall.late_60
        return self.kind == "connector" and UNLABELLED_SECONDS < late <= MOST_SECONDS


@dataclass(frozen=True, slots=True)
class AfterUnplugging:
    """Everything that stays charged: the capacitors, the largest energy first, and the pins."""

    capacitors: tuple[Stored, ...]
    pins: tuple[Pins, ...]

    @property
    def is_over(self) -> bool:
        """Whether pins of a plug or bare contacts of a connector stay charged for longer than their
        limit.
        """
        return any(pins.over_limit for pins in self.pins)


def stored(
    circuit: Circuit,
    *,
    changes: tuple[tuple[str, float], ...] = (),
    volts: Mapping[str, float] | None = None,
) -> tuple[Stored, ...]:
    """Return every capacitor that is left with energy worth reporting, the largest first; see
    ``after_unplugging``.
    """
    return after_unplugging(circuit, changes=changes, volts=volts).capacitors


def after_unplugging(
    circuit: Circuit,
    *,
    changes: tuple[tuple[str, float], ...] = (),
    volts: Mapping[str, float] | None = None,
) -> AfterUnplugging:
    """Return what stays charged once the plug or a connector is pulled.

    ``changes`` are figures to assume otherwise; ``volts`` the most on each capacitor by its name,
    as the solver has them (see ``solve.charged``).
    """
    unsized = tuple(
        Stored(part.name, math.inf, math.inf, math.inf, (_never("as it is"),))
        for part in circuit.parts
        if KINDS[part.kind].is_capacitor and part.value("capacitance") is None
    )
    study = Study(circuit, assumed(changes), open_conductors=False)
    if not any(element.kind == "capacitor" and element.farads > 0 for element in study.elements):
        return AfterUnplugging(unsized, ())
    bank = _Bank(study, volts or {})
    kept = sorted(bank.capacitors(), key=lambda charge: (-charge.joules, charge.part))
    return AfterUnplugging((*unsized, *kept), tuple(map(bank.with_bleeder, bank.pins())))


def _never(words: str) -> DischargePosition:
    return DischargePosition(words, math.inf, Fall(math.inf, math.inf, math.inf, math.inf))


class _Bank:
    """The capacitors of a study, charged, and what discharges them in every position."""

    def __init__(
        self, study: Study, solved: Mapping[str, float], volts: Floats | None = None
    ) -> None:
        """``volts`` are those of every capacitor where they are known already."""
        self.study, self.steady = study, Direct(study)
        self.numbers = [
            number
            for number, element in enumerate(study.elements)
            if element.kind == "capacitor" and element.farads > 0
        ]
        self.parts = [study.elements[number].part for number in self.numbers]
        self.patterns = study.frame.elements.take(self.numbers)
        self.none = moving(study, ((0,) * len(study.axes),))
        most = np.array([study.elements[number].farads for number in self.numbers])
        #: Farads nominal and at the end that takes longer, (2, capacitors).
        self.farads: Floats = np.array([most / (1 + self._tolerances[self.numbers]), most])
        #: Volts on each at the start, with their signs, (capacitors).
        self.volts: Floats
        self.volts, self.solved = self._start(solved) if volts is None else (volts, [])

    def _start(self, solved: Mapping[str, float]) -> tuple[Floats, list[bool]]:
        """Return the volts on every capacitor with their signs, (capacitors), and whether they are
        those of the solver.
        """
        peaks, as_written = self._charged()
        # The solver has the switches as they are written: elsewhere the peak is all there is.
        least = np.array([solved.get(part, 0.0) for part in self.parts])
        alike = abs(peaks) <= np.maximum(abs(as_written) * MORE, least)
        followed = [
            part in solved and same for part, same in zip(self.parts, alike.tolist(), strict=True)
        ]
        volts: Floats = np.copysign(np.where(followed, least, np.maximum(abs(peaks), least)), peaks)
        return volts, followed

    @cached_property
    def _tolerances(self) -> Floats:
        """The tolerance of every element, from the share that is missing at its other end."""
        slack = np.array([element.slack for element in self.study.elements])
        tolerances: Floats = slack / (2 - slack)
        return tolerances

    def _charged(self) -> tuple[Floats, Floats]:
        """Return the most volts that an ideal charge leaves on every capacitor, with the sign of
        the direct ones, in any position of the switches and in the one written: no load but the
        resistances drawn, everything connected.
        """
        study, steady = self.study, self.steady
        most, as_written = np.zeros((2, len(self.numbers)))
        written = {
            (part.name, drawn_position(part))
            for part in study.circuit.parts
            if part.traits.is_switch
        }
        left = joined(self.patterns, steady.sources)
        for rows, _, solved in study.blocks():
            whole = spread(solved, self.none, self.patterns, study.feeds).across[:, 0]
            apart = steady.open(rows, steady.open_admittance(rows))
            seen = spread(apart, steady.charging, self.patterns, study.feeds).across
            alternating = np.maximum(abs(whole), abs(seen).max(axis=1))
            still = spread(
                steady.solved(steady.admittances(rows)[0]), self.none, left, steady.sources
            )
            seen, passed = np.split(still.across[:, 0], [len(self.numbers)], axis=1)
            alone = still.own[:, 0, : len(self.numbers)]
            direct = driven(
                seen, alone, passed, steady.peaks(rows, study.feeds), load=math.inf
            ).volts
            peak = abs(direct) + math.sqrt(2) * study.volts * alternating
            signed = np.where(direct < 0, -peak, peak)
            for number, row in enumerate(rows):
                if any(where == "pulled" for _, where in row.umbilicals):
                    continue  # charged while everything is connected
                for feed in row.feeds():
                    here = signed[number, :, feed]
                    most = np.where(abs(here) > abs(most), here, most)
                    if written.issuperset(row.switches):
                        as_written = np.where(abs(here) > abs(as_written), here, as_written)
        return most, as_written

    @cached_property
    def positions(self) -> tuple[tuple[Row, str], ...]:
        """A row and its words for every position of switches and umbilicals."""
        rows = {(row.switches, row.umbilicals): row for row in self.study.rows if row.hot}
        return tuple((row, _words(row)) for row in rows.values())

    def networks(self, row: Row) -> tuple[Solved, Solved]:
        """Return the resistances of one position with the plug out: nominal, and at their high
        ends.
        """
        study = self.study
        still = study.admittance((row,), hertz=0.0)
        for number, element in enumerate(study.elements):
            if element.gate[:1] in (("blade",), ("earth",)) or element.kind == "capacitor":
                still[0, number] = 0.0  # the plug is out, and leakage is not to be relied on
        still[0, len(study.elements) :] = 0.0
        nominal, high = still.copy(), still.copy()
        tolerances = self._tolerances
        nominal[0, : len(tolerances)] *= 1 - tolerances
        high[0, : len(tolerances)] *= (1 - tolerances) / (1 + tolerances)
        return self.steady.solved(nominal), self.steady.solved(high)

    def capacitors(self) -> Iterator[Stored]:
        """Return every capacitor that is left with energy worth reporting."""
        places = [(words, *self._falls(row)) for row, words in self.positions]
        for place, part in enumerate(self.parts):
            volts, farads = abs(float(self.volts[place])), float(self.farads[0, place])
            joules = farads * volts**2 / 2
            if joules >= LEAST_JOULES:
                yield Stored(
                    part,
                    farads,
                    volts,
                    joules,
                    tuple(
                        DischargePosition(words, ohms[place], falls[place])
                        for words, ohms, falls in places
                    ),
                    self.study.circuit.by_name[part].value("voltage"),
                    self.solved[place],
                )

    def _falls(self, row: Row) -> tuple[list[float], list[Fall]]:
        """Return the ohms across every capacitor and how its volts fall in one position."""
        seen = [
            np.real(solved.between(self.patterns, self.patterns)[0]) * UNIT
            for solved in self.networks(row)
        ]
        courses = [
            course(self.volts, farads, ohms, most_ohms=MOST_OHMS)
            for farads, ohms in zip(self.farads, seen, strict=True)
        ]
        ohms = [
            port_ohms if port_ohms < MOST_OHMS else math.inf
            for port_ohms in abs(seen[0].diagonal()).tolist()
        ]
        falls = [_fall(*both) for both in zip(*courses, strict=True)]
        return ohms, falls

    def with_bleeder(self, pins: Pins) -> Pins:
        """Return bare contacts that are over their limit with the resistor that ends it."""
        if pins.kind != "connector" or not pins.over_limit:
            return pins

        def seconds(circuit: Circuit) -> float:
            study = Study(circuit, self.study.assumed, open_conductors=False)
            bank = _Bank(study, {}, self.volts)
            return max((each.fall.late_60 for each in bank.pins(pins.part)), default=0.0)

        bleeder = slowest_bleeder(self.study.circuit, pins.nodes, pins.volts, MOST_SECONDS, seconds)
        return replace(pins, bleeder=bleeder)

    def pins(self, only: str = "") -> Iterator[Pins]:
        """Return the pins of plugs and bare contacts that stay charged, of all parts or of
        ``only`` one, each pair in the position in which it takes longest; of a connector the worst
        pair.
        """
        worst: dict[tuple[str, ...], Pins] = {}
        for kind, part, pulled, ends in self._ends():
            if only and part != only:
                continue
            for row, words in self.positions:
                out = {name for name, where in row.umbilicals if where == "pulled"}
                if kind == "connector" and pulled and pulled not in out:
                    continue
                for pins in self._charged_pins(kind, part, ends, row, words):
                    key = (part, pins.one, pins.other) if kind == "plug" else (part,)
                    known = worst.get(key)
                    if known is None or _longer(pins) > _longer(known):
                        worst[key] = pins
        yield from worst.values()

    def _ends(self) -> Iterator[tuple[str, str, str, tuple[tuple[str, str], ...]]]:
        """Return (kind, part, umbilical, terminals and nodes) of plugs and bare halves."""
        bare = {nodes: pulled for pulled, nodes in bare_contacts(self.study.circuit)}
        for part in self.study.circuit.parts:
            if part.kind == "plug":
                yield "plug", part.name, "", part.pins
            elif part.kind == "connector" and tuple(node for _, node in part.pins) in bare:
                yield "connector", part.name, bare[tuple(node for _, node in part.pins)], part.pins

    def _charged_pins(
        self, kind: str, part: str, ends: Sequence[tuple[str, str]], row: Row, words: str
    ) -> Iterator[Pins]:
        """Return the pairs of ends that have more than 34 V just after pulling, in one position."""
        pairs = [(near, lower) for near, lower in combinations(ends, 2) if near[1] != lower[1]]
        if not pairs:
            return
        ports = self.study.frame.patterns([((a, b), (1.0, -1.0)) for (_, a), (_, b) in pairs])
        nominal, late, feeds, ohms = self._read(ports, row)
        for place, ((upper, first), (lower, second)) in enumerate(pairs):
            volts = abs(float(nominal[place, 0]))
            if volts <= min(DOWN_TO) or ohms[place] > MOST_OHMS:
                continue
            feeding = abs(feeds[place]) > LEAST_SHARE
            farads = float(self.farads[1][feeding].sum())
            left = seconds_below(late[place], LEFT_SHARE * abs(float(late[place, 0])))
            fall = _fall(nominal[place], late[place])
            over = farads > MOST_FARADS and left > LEFT_AFTER
            if kind == "connector":
                over = farads * volts > MOST_COULOMBS and fall.late_60 > MOST_SECONDS
            yield Pins(kind, part, upper, lower, words, volts, farads, fall, over, (first, second))

    def _read(self, ports: Patterns, row: Row) -> tuple[Floats, Floats, Floats, Floats]:
        """Return what ports read while the capacitors discharge in one position.

        The volts, (ports, times), nominal and late; the share of each capacitor's volts in them,
        (ports, capacitors); and the ohms behind them with the capacitors charged, (ports).
        """
        courses, feeds, ohms = [], np.zeros(0), np.zeros(0)
        for farads, solved in zip(self.farads, self.networks(row), strict=True):
            inside = np.real(solved.between(self.patterns, self.patterns)[0])
            seen = np.real(solved.between(ports, self.patterns)[0])
            # Amperes out of the capacitors that leave their volts on them.
            feeds = np.linalg.solve(inside, seen.T).T
            courses.append(course(self.volts, farads, inside * UNIT, feeds, MOST_OHMS))
            alone = np.real(solved.between_and_own(ports, self.patterns)[1][0])
            ohms = (alone - (feeds * seen).sum(axis=1)) * UNIT
        return courses[0], courses[1], feeds, ohms


def _words(row: Row) -> str:
    places = [f"{name} {where}" for name, where in (*row.switches, *row.umbilicals)]
    return ", ".join(words for words in places if not words.endswith(" mated")) or "as it is"


def _fall(nominal: Floats, late: Floats) -> Fall:
    """Return how volts fall, (times) each."""
    sixty, low = DOWN_TO
    return Fall(
        seconds_below(nominal, sixty),
        seconds_below(nominal, low),
        seconds_below(late, sixty),
        seconds_below(late, low),
    )


def _longer(pins: Pins) -> tuple[float, float]:
    return pins.fall.late_34, pins.volts

"""Touch current: from every node in reach to earth and between every two of them, in every state,
the worst of each reported.

The person is a Thevenin load on the solved network (open-circuit volts over inside and body
impedance), so it never enters the matrix.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from rework.circuit.circuit import Circuit
from rework.touch.corners import ends
from rework.touch.element import AxisKind
from rework.touch.felt import PortFelt, TouchJudge, place_words
from rework.touch.network import STIFF
from rework.touch.notes import Setting, notes, setting
from rework.touch.person import Limit, MeasuringNetwork, assumed, body_amps, limit, networks
from rework.touch.port_state import Found, Worst
from rework.touch.ports import not_paired, touch_ports
from rework.touch.route import route
from rework.touch.search import Search
from rework.touch.study import MOST_SINGLE, Combo, Study, combination_words

#: The body that is reported: not exceeded by so many percent of people.
BODY_PERCENT = 5


@dataclass(frozen=True, slots=True)
class Touch:
    """The worst of one node to earth (``other`` is then empty) or of a pair: amperes rms, volts
    rms, ohms, and the state.

    ``amps`` flow through the person's network, ``reading`` is what the instrument makes of it,
    ``volts`` are open circuit, ``ohms`` is the impedance behind them; ``dc_amps`` and ``dc_volts``
    are the worst direct ones, found apart. ``together`` is the largest sum of the shares of both
    limits in one state, 1 at the limit; ``only_together`` is true where that is over it and neither
    current is alone. ``insulated_amps`` flow through a person who stands on an
    insulator, by stray capacitance alone. ``unproved_reading`` is the reading if no insulation held
    that no standard vouches for. ``body_amps`` flow through a body by the table of IEC 60479-1,
    with ``body_volts`` across it. ``less`` and ``dc_less`` are (part, ``high`` or ``low``) of those
    that are at the end of their tolerance which passes less, where that matters; all others are at
    the end that passes more. ``pulled`` is the
    umbilical that has to be pulled before the node can be reached.

    ``verdict`` is ``over``, ``under`` or ``not known`` (under, but a value is missing, or only
    because of that insulation); what has no more than 35 V peak open circuit, or 60 V DC, is under
    whatever its current (IEC 60065, hazardous live test).
    """

    node: str
    other: str
    amps: float
    reading: float
    volts: float
    ohms: float
    state: str
    condition: str
    path: str
    dc_amps: float
    dc_volts: float
    dc_state: str
    together: float
    only_together: bool
    together_state: str
    insulated_amps: float
    unproved_reading: float
    body_amps: float
    body_volts: float
    less: tuple[tuple[str, str], ...]
    dc_less: tuple[tuple[str, str], ...]
    pulled: str
    verdict: str

    @property
    def place(self) -> str:
        """Where it is touched: one node, or two."""
        return place_words(self.node, self.other)


@dataclass(frozen=True, slots=True)
class TouchReport:
    """All of it for one circuit.

    ``states`` is how many were tried; ``unknown`` says which values were missing.

    ``body`` says whose impedance the body has (not exceeded by so many percent of people),
    ``varied`` how what varies part by part was tried, ``unproved`` which insulation counts as
    broken down as well, ``usual`` which parts were taken at a figure usual for their size.
    """

    title: str
    line: str
    network: MeasuringNetwork
    limit_amps: float
    limit_words: str
    touches: tuple[Touch, ...]
    unknown: tuple[str, ...]
    states: int
    tried: str
    setting: Setting
    varied: str = ""
    unproved: tuple[str, ...] = ()
    assumed: Mapping[str, float] = field(default_factory=dict)
    body: str = ""
    usual: tuple[str, ...] = ()

    @property
    def worst(self) -> Touch | None:
        """The largest reading of all: the one figure of a set that every command and paper has."""
        return max(self.touches, key=lambda touch: touch.reading, default=None)

    @property
    def verdict(self) -> str:
        """The worst verdict of all; ``not known`` where nothing is said to be in reach."""
        return worst_verdict(touch.verdict for touch in self.touches)

    @property
    def notes(self) -> tuple[str, ...]:
        """What a person has to know before the figures are used, in sentences."""
        most = max((touch.body_amps for touch in self.touches), default=0.0)
        return notes(self.setting, most)

    @property
    def exit_status(self) -> int:
        """1 where anything is over its limit or cannot be said to be under, or where nothing is
        said to be in reach; else 0.
        """
        return int(self.verdict != "under")


def worst_verdict(verdicts: Iterable[str]) -> str:
    """Return the worst of some verdicts; ``not known`` without any."""
    each = {*verdicts} or {"not known"}
    return next(verdict for verdict in ("over", "not known", "under") if verdict in each)


def touch(
    circuit: Circuit,
    *,
    network: str = "iec",
    limit_name: str = "0.5",
    body: int = BODY_PERCENT,
    wet: bool = False,
    changes: tuple[tuple[str, float], ...] = (),
    held: Collection[str] = (),
    step: Callable[[float], None] | None = None,
) -> TouchReport:
    """Return the touch currents of a circuit: worst plug position, switch position, open conductor,
    condition of parts and corner of tolerances.

    Parameters
    ----------
    circuit
        The set on its outlet.
    network, limit_name
        Names in limits.toml: the measuring network, and the limit of its reading.
    body, wet
        The percentage of people of IEC 60479-1 whose body impedance is not more, and whether the
        skin is wet.
    changes
        Figures to assume otherwise, (name, SI value).
    held
        Pots and switches that stay where they are drawn; others are tried in every position.
    step
        Is given the share of the work done since the last call.

    Raises
    ------
    KeyError
        For a name that is not in the tables.
    """
    searched = _searched(circuit, network, limit_name, changes, held, step)
    study, search, person, least = searched
    touches = _touches(searched, search.turned() if search.ports else [], body, wet)
    states = sum(len(row.feeds()) * (search.tried[row] or 1) for row in study.rows)
    return TouchReport(
        circuit.title,
        study.line_words,
        person,
        least.rms_amps,
        f"{least.amps * 1e3:g} mA {least.kind}: {least.case} ({least.standard}; {least.mark})",
        touches,
        _unknown(searched),
        states,
        study.tried.words,
        setting(study),
        _searched_words(search),
        study.model.unproved,
        study.assumed,
        f"{body} %{', wet' if wet else ', dry'}",
        study.model.usual,
    )


@dataclass(frozen=True, slots=True)
class WorstTouch:
    """Of all touch currents of a circuit the largest ``reading`` and its ``place``, the limit,
    amperes RMS, and the worst verdict: the same as ``TouchReport`` has.
    """

    reading: float
    place: str
    limit_amps: float
    verdict: str


def worst_touch(circuit: Circuit, held: Collection[str] = ()) -> WorstTouch:
    """Return the worst of ``touch`` of a circuit, with tolerances turned only at the ports that
    decide it; ``held`` as there.
    """
    searched = _searched(circuit, "iec", "0.5", (), held)
    search = searched.search
    turned = search.turned(search.deciding()) if search.ports else []
    judge = TouchJudge(searched.study, searched.person, searched.least, bool(_unknown(searched)))
    every = [
        judge.felt(port, worst, *both)
        for port, worst, both in zip(search.ports, search.worst, turned, strict=True)
    ]
    shown = [each for each in every if each.is_shown]
    worst = max(shown, key=lambda each: each.reading, default=None)
    return WorstTouch(
        worst.reading if worst else 0.0,
        worst.place if worst else "",
        searched.least.rms_amps,
        worst_verdict(each.verdict for each in shown),
    )


class _Searched(NamedTuple):
    """A circuit with the worst states of its ports."""

    study: Study
    search: Search
    person: MeasuringNetwork
    least: Limit


def _searched(
    circuit: Circuit,
    network: str,
    limit_name: str,
    changes: tuple[tuple[str, float], ...],
    held: Collection[str] = (),
    step: Callable[[float], None] | None = None,
) -> _Searched:
    study = Study(circuit, assumed(changes), branch=STIFF, held=held)
    person, least = networks()[network], limit(limit_name)
    search = Search(study, touch_ports(circuit), person, least.rms_amps)
    if search.ports:
        search.run(step)
    return _Searched(study, search, person, least)


def _unknown(searched: _Searched) -> tuple[str, ...]:
    return (*searched.study.model.unknown, *not_paired(searched.search.ports))


def _touches(
    searched: _Searched,
    turned: Sequence[tuple[Found | None, Found | None]],
    body: int,
    wet: bool,
) -> tuple[Touch, ...]:
    """Return what is reported of every port; contacts of a connector where they matter only: they
    are many.
    """
    study, search, person, least = searched
    judge = TouchJudge(study, person, least, bool(_unknown(searched)))
    every = (
        (judge.felt(port, worst, *both), worst, both)
        for port, worst, both in zip(search.ports, search.worst, turned, strict=True)
    )
    return tuple(
        _reported(study, felt, worst, *both, body=body, wet=wet)
        for felt, worst, both in every
        if felt.is_shown
    )


_VARIES: dict[AxisKind, str] = {
    "conducts": "tube or rectifier conducting or not",
    "grid": "grid conducting or not",
    "unknown": "missing value open or short",
    "pot": "wiper at either end",
    "tap": "wiper at the tap of its track or not",
    "insulation": "unproved insulation whole or broken down",
}


def varied_words(study: Study, combos: Sequence[Combo]) -> str:
    """Return how what varies part by part was tried, in these combinations, as a sentence."""
    moved = [place for place in range(len(study.axes)) if any(combo[place] for combo in combos)]
    if not moved:
        return "Nothing varies part by part."
    if _are_all(study, combos):
        return f"Tried in all {len(combos)} combinations, each by itself: {_named(study, moved)}."
    alone = "each" if len(moved) <= MOST_SINGLE else f"the first {MOST_SINGLE} each"
    return (
        f"Tried all in one position, all in the other, and {alone} alone against the rest, not"
        f" every combination: {_named(study, moved)}."
    )


def _searched_words(search: Search) -> str:
    """Return how a search tried what varies, as one sentence or two."""
    words = varied_words(search.study, search.combos)
    if _are_all(search.study, search.combos):
        return words
    most = max(search.tried.values(), default=0)
    then = f"Then, in each state, all combinations of those that changed a current there: {most:,}"
    climbed = ", or from the worst found, one at a time until nothing got worse"
    return f"{words} {then} at most{climbed if search.climbed else ''}."


def _are_all(study: Study, combos: Sequence[Combo]) -> bool:
    """Return whether some combinations are all there are of what they move."""
    moved = [place for place in range(len(study.axes)) if any(combo[place] for combo in combos)]
    return len(combos) == study.count_of(moved)


def _named(study: Study, places: Sequence[int]) -> str:
    """Return what varies in some places, by kind and number."""
    numbers = {kind: sum(study.axes[place].kind == kind for place in places) for kind in _VARIES}
    return ", ".join(f"{_VARIES[kind]} ({number})" for kind, number in numbers.items() if number)


def _reported(
    study: Study,
    felt: PortFelt,
    worst: Worst,
    found: Found | None,
    steady: Found | None,
    *,
    body: int,
    wet: bool,
) -> Touch:
    """Return what is reported of one port."""
    assert found is not None
    port, state, ohms = felt.port, found.state, found.ohms
    return Touch(
        port.node,
        "" if port.to_earth else port.other,
        felt.amps,
        felt.reading,
        abs(found.volts),
        abs(ohms),
        state.row.words(state.feed, study.earth_pin),
        combination_words(study.axes, state.combo),
        route(study, state.row, state.combo, state.feed, port.nodes),
        felt.dc_amps,
        felt.dc_volts,
        steady.state.row.words(steady.state.feed, study.earth_pin) if steady else "",
        felt.together,
        felt.together > 1 and not felt.alone,
        worst.together_state,
        felt.insulated_amps,
        felt.unproved,
        *body_amps(abs(found.volts), ohms, percent=body, wet=wet),
        ends(study, found.less),
        ends(study, steady.less) if steady else (),
        port.pulled,
        felt.verdict,
    )

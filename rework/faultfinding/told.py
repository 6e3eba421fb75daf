"""A diagnosis as plain values with its English: for terminal, page and machine alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rework.faultfinding.diagnosis import Diagnosis, TroubleBoard
from rework.faultfinding.figures import off_scale, size_on_scale
from rework.faultfinding.next_reading import NextReading, ReadingOutcome
from rework.faultfinding.pairs import Pair
from rework.faultfinding.points import BenchFigure, ProbePoint
from rework.faultfinding.rank import MISFIT, Ranking, TroubleClass
from rework.faultfinding.signs import shows
from rework.faultfinding.trouble import SingleTrouble
from rework.faultfinding.trouble_words import (
    CERTAIN,
    amount_words,
    figure_words,
    peril_words,
    range_words,
    sign_words,
    sureness,
    trouble_words,
    what_words,
)
from rework.language.bench import Quantity
from rework.report.figures import counted, share
from rework.rules.run import JobRun

#: Explanations that are told at most, the chance all of them should come to, and pairs of troubles.
EXPLANATIONS, ENOUGH, PAIRS = 5, 0.95, 3
#: The least chance of what is told once that much has been, and the kind of what the list lacks.
UNLIKELY, UNLISTED_KIND = 0.02, "unlisted"
#: A reading speaks for a trouble where the sound set is this much further off, in standard
#: deviations, and against it where it is itself that far off.
FOR, AGAINST = 1.0, 2.0

UNPLUGGED = (
    "Unplug the set. Discharge every capacitor and measure that it is discharged. Then measure"
    " ohms."
)
POWERED = (
    "Work behind an isolation transformer on the bench. Clip the lead on with the set unplugged and"
    " discharged, switch on, read with one hand in your pocket, unplug, discharge."
)
LIMITS = (
    "Computed from the netlist. The project has no real bench data: how sure it is was tried on"
    " computed sets only. Local codes and licensed practice come first."
)


@dataclass(frozen=True, slots=True)
class PointTold:
    """A point of the set: part and pin ("" where it is a node) and its node."""

    part: str
    pin: str
    node: str


@dataclass(frozen=True, slots=True)
class Evidence:
    """One reading beside what a trouble would give, and the points it was read between; of what was
    noticed (``read`` "") the sign alone, as the trouble shows it or not.
    """

    at: PointTold
    to: PointTold
    where: str
    read: str
    expected: str
    deviations: float


@dataclass(frozen=True, slots=True)
class Member:
    """One trouble: its words, kind, part, pins, and chance from 0 to 1."""

    words: str
    kind: str
    part: str
    pins: tuple[str, ...]
    chance: float


@dataclass(frozen=True, slots=True)
class Explained:
    """Troubles that the readings cannot distinguish, the likeliest first, and what speaks for and
    against the first.
    """

    members: tuple[Member, ...]
    chance: float
    sureness: str
    speaks_for: tuple[Evidence, ...]
    speaks_against: tuple[Evidence, ...]


@dataclass(frozen=True, slots=True)
class Meaning:
    """One outcome of a reading: its range, its chance, and what it would then be."""

    range: str
    chance: float
    troubles: tuple[str, ...]
    more: int


@dataclass(frozen=True, slots=True)
class Next:
    """What to read next: where, what, on which range, powered or not, and what outcomes mean."""

    where: str
    what: str
    line: str
    at: PointTold
    to: PointTold
    range: str
    powered: bool
    bits: float
    sound: str
    outcomes: tuple[Meaning, ...]


@dataclass(frozen=True, slots=True)
class PairTold:
    """Two troubles at once, and their chance among the pairs that were tried."""

    words: tuple[str, str]
    parts: tuple[str, str]
    chance: float


@dataclass(frozen=True, slots=True)
class Nameless:
    """A trouble that could not be solved, and why."""

    words: str
    why: str


@dataclass(frozen=True, slots=True)
class Told:
    """Everything that ``rework trouble`` says.

    ``verdict`` is ``sound``, ``explained``, ``unexplained`` or ``unread``; ``again`` is the reading
    that fits nothing ("" for none); ``pairs`` are two troubles at once that explain what no single
    one does. ``perils`` say why nothing is to be read with the set on.
    """

    side: str
    verdict: str
    says: str
    readings: int
    suspects: int
    explanations: tuple[Explained, ...]
    again: str
    pairs: tuple[PairTold, ...]
    next: Next | None
    perils: tuple[str, ...]
    unsolved: tuple[Nameless, ...]
    cautions: tuple[str, ...]
    limits: str


def told(diagnosis: Diagnosis, run: JobRun) -> Told:
    """Return a diagnosis as values with its English."""
    board, ranking = diagnosis.board, diagnosis.ranking
    words = _TroubleWords(ranking, board, run)
    verdict = _verdict(diagnosis)
    again = words.reading(ranking, ranking.again) if ranking.again is not None else ""
    following = words.next(diagnosis.next) if diagnosis.next is not None else None
    cautions = [UNPLUGGED] if following and not following.powered else []
    cautions += [POWERED] if following and following.powered else []
    return Told(
        board.side,
        verdict,
        _says(verdict, diagnosis, again),
        len(board.readings) + len(board.noticed),
        len(board.expected.suspects),
        _explanations(ranking, words) if verdict != "unread" else (),
        again,
        tuple(words.pair(pair) for pair in diagnosis.pairs[:PAIRS] if pair.misfit >= MISFIT),
        following,
        tuple(
            peril_words(reason, words.key(reason.key) if reason.key else "")
            for reason in diagnosis.perils
        ),
        tuple(
            Nameless(
                trouble_words(unsolved.trouble, run, board.circuit), unsolved.problems[0].message
            )
            for unsolved in board.expected.unsolved
        ),
        tuple(cautions),
        LIMITS,
    )


def _verdict(diagnosis: Diagnosis) -> str:
    board, ranking = diagnosis.board, diagnosis.ranking
    if not board.readings and not board.noticed:
        return "unread"
    if not ranking.is_explained:
        return "unexplained"
    return "sound" if ranking.groups[0].suspect == 0 else "explained"


def _says(verdict: str, diagnosis: Diagnosis, again: str) -> str:
    ranking = diagnosis.ranking
    sentences = {
        "unread": "No readings yet. Type each into the job, as in reading V3.plate 241 V.",
        "unexplained": "Nothing on the list explains these readings. Look for two troubles at once,"
        " or read again.",
        "explained": "",
        "sound": "All readings agree with a sound set."
        + _unseen(len(ranking.groups[0].members) - 1),
    }
    odd = f" Read again: {again}. No trouble explains it." if again else ""
    return (sentences[verdict] + odd).strip()


def _unseen(count: int) -> str:
    """Return how many troubles the readings of a sound set do not show."""
    if not count:
        return ""
    does = "does" if count == 1 else "do"
    return f" They also agree with {counted(count, 'trouble')} that {does} not show in them."


class _TroubleWords:
    """The words of one board, a trouble of several severities by its likeliest."""

    def __init__(self, ranking: Ranking, board: TroubleBoard, run: JobRun) -> None:
        self.board, self.run = board, run
        self.by_key: dict[str, SingleTrouble] = {}
        order = np.argsort(-ranking.chance, kind="stable").tolist()
        for suspect in (board.expected.suspects[n] for n in order):
            for trouble in (suspect.trouble, *suspect.alike):
                self.by_key.setdefault(trouble.key, trouble)

    def key(self, key: str) -> str:
        """Return the words of a trouble by its key."""
        return trouble_words(self.by_key[key], self.run, self.board.circuit)

    def figure(self, figure: BenchFigure) -> str:
        """Return where a figure is read."""
        return figure_words(self.board.circuit, figure, self.board.common)

    def pair(self, pair: Pair) -> PairTold:
        """Return two troubles at once."""
        first, second = pair.keys
        return PairTold(
            (self.key(first), self.key(second)),
            (self.by_key[first].part, self.by_key[second].part),
            round(pair.chance, 4),
        )

    def reading(self, ranking: Ranking, place: int) -> str:
        """Return a reading that was taken, with its place in the set."""
        figure = ranking.expected.figures[ranking.columns[place]]
        return f"{self.figure(figure)}, {self.board.readings[place].value.text}"

    def members(self, group: TroubleClass) -> tuple[Member, ...]:
        """Return the troubles of a group, each with those that make the same circuit."""
        members = []
        suspects = {s.trouble.key: s for s in self.board.expected.suspects}
        for key, chance in group.members:
            trouble = self.by_key[key]
            also = [self.key(trouble.key) for trouble in suspects[key].alike if trouble.key != key][
                :2
            ]
            words = "; or ".join(dict.fromkeys((self.key(key), *also)))
            pins = tuple(at for at in trouble.at if trouble.step < 0)
            members.append(Member(words, trouble.kind.value, trouble.part, pins, round(chance, 4)))
        return tuple(members)

    def next(self, following: NextReading) -> Next:
        """Return what to read next."""
        expected = self.board.expected
        figure = expected.figures[following.column]
        column = expected.mean[:, following.column]
        sound = float(column[0])
        ends = (end for o in following.outcomes if o.chance > 0.02 for end in (o.low, o.high))
        largest = max((sound, *ends), key=lambda value: size_on_scale(figure, value))
        return Next(
            self.figure(figure),
            what_words(figure),
            reading_line(figure, self.board.common),
            _point(figure.at),
            _point(figure.to),
            range_words(figure, largest),
            figure.of is not Quantity.OHMS,
            round(following.bits, 3),
            amount_words(figure, sound),
            tuple(self._meaning(figure, outcome) for outcome in following.outcomes[:4]),
        )

    def _meaning(self, figure: BenchFigure, outcome: ReadingOutcome) -> Meaning:
        low, high = amount_words(figure, outcome.low), amount_words(figure, outcome.high)
        same = low == high or off_scale(figure, outcome.high) == off_scale(figure, outcome.low)
        return Meaning(
            low if same else f"{low} to {high}",
            round(outcome.chance, 4),
            tuple(
                self.key(key) + (f" ({share(weight / outcome.chance)})" if outcome.keys[1:] else "")
                for key, weight in outcome.keys[:3]
            ),
            max(len(outcome.keys) - 3, 0),
        )


def _point(at: ProbePoint) -> PointTold:
    return PointTold(at.part, at.terminal, at.node)


def reading_line(figure: BenchFigure, common: str) -> str:
    """Return the line of a job for a figure, without what was read."""

    def name(part: str, terminal: str, node: str) -> str:
        return f"{part}.{terminal}" if part else node

    at = name(figure.at.part, figure.at.terminal, figure.at.node)
    to = name(figure.to.part, figure.to.terminal, figure.to.node)
    unit = {
        Quantity.OHMS: "___ ohm off",
        Quantity.DC: "___ V",
        Quantity.SIGNAL: f"___ V AC {figure.hertz:g} Hz {figure.drive * 1e3:g} mV",
    }.get(figure.of, "___ V AC")
    between = "" if figure.to.node == common else f" to {to}"
    return f"reading {at}{between} {unit}"


def _explanations(ranking: Ranking, words: _TroubleWords) -> tuple[Explained, ...]:
    rows: list[Explained] = []
    total = ranking.unlisted
    for group in ranking.groups[:EXPLANATIONS]:
        if total > ENOUGH and len(rows) >= 1 and group.chance < UNLIKELY:
            break
        total += group.chance
        good, bad = _evidence(ranking, group.suspect, words)
        seen, unseen = _signs(ranking, group.suspect, words)
        rows.append(
            Explained(
                words.members(group),
                round(group.chance, 4),
                sureness_of(ranking, group),
                (*good, *seen),
                (*bad, *unseen),
            )
        )
    if ranking.unlisted >= UNLIKELY:
        rows.append(_not_on_the_list(ranking.unlisted))
    return tuple(sorted(rows, key=lambda row: -row.chance))


def sureness_of(ranking: Ranking, group: TroubleClass) -> str:
    """Return how sure a class is, in words: never almost certain where it takes one of the readings
    to be wrong.
    """
    again, chance = ranking.again, group.chance
    condition = ""
    if again is not None and ranking.fit.odd[group.suspect, again] > 0.5:
        chance, condition = min(chance, CERTAIN), ", if the reading to take again is wrong"
    return sureness(chance) + (" one of these" if len(group.members) > 1 else "") + condition


def _not_on_the_list(chance: float) -> Explained:
    member = Member("nothing on the list", UNLISTED_KIND, "", (), round(chance, 4))
    return Explained((member,), round(chance, 4), sureness(chance), (), ())


def _evidence(
    ranking: Ranking, suspect: int, words: _TroubleWords
) -> tuple[tuple[Evidence, ...], tuple[Evidence, ...]]:
    """Return the readings that speak for a suspect, against the sound set, and those against it."""
    deviations = ranking.fit.deviations[suspect]
    sound = np.abs(ranking.fit.deviations[0])

    def rows(places: Sequence[int]) -> tuple[Evidence, ...]:
        return tuple(_one(ranking, suspect, n, words) for n in places)

    fits = np.abs(deviations)
    against = [n for n in np.argsort(-fits).tolist() if fits[n] > AGAINST]
    gained = sound - fits
    favour = [n for n in np.argsort(-gained).tolist() if gained[n] > FOR and n not in against]
    if suspect == 0:
        favour = [n for n in range(len(deviations)) if fits[n] <= AGAINST]
    return rows(favour), rows(against)


def _signs(
    ranking: Ranking, suspect: int, words: _TroubleWords
) -> tuple[tuple[Evidence, ...], tuple[Evidence, ...]]:
    """Return the signs that a suspect shows, and those it does not."""
    cases = ranking.expected.cases
    shown, missing = list[Evidence](), list[Evidence]()
    for sign in words.board.noticed:
        part = words.board.circuit.part(sign.part)
        at = PointTold(part.name if part else "", "", "")
        good = shows(cases[suspect], cases[0], sign)
        said = f"{sign_words(sign)} " + ("as noticed" if good else "would not be noticed")
        (shown if good else missing).append(Evidence(at, at, said, "", "", 0.0))
    return tuple(shown), tuple(missing)


def _one(ranking: Ranking, suspect: int, place: int, words: _TroubleWords) -> Evidence:
    column = ranking.columns[place]
    figure = ranking.expected.figures[column]
    return Evidence(
        _point(figure.at),
        _point(figure.to),
        words.figure(figure),
        words.board.readings[place].value.text,
        amount_words(figure, float(ranking.expected.mean[suspect, column])),
        round(float(ranking.fit.deviations[suspect, place]), 2),
    )

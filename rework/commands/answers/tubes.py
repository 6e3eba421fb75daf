"""The answers of ``tubes`` and ``relatives``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from rework.commands.answers.rated import Rated, rated
from rework.commands.answers.shape import extended, shaped
from rework.solve.stress import Stress
from rework.supply import exchange, idle
from rework.supply.stage import ResistorToFit
from rework.tubes import relatives
from rework.tubes.figure import Figure
from rework.tubes.relatives import ElementMove, StandIn
from rework.tubes.tubetype import HeaterAlone, HeaterWay, PrintedRow, TubeType


@dataclass(frozen=True, slots=True)
class Nominal:
    """A heater's volts and amps."""

    volts: float
    amps: float


@dataclass(frozen=True, slots=True)
class TubeLine:
    """A type in the list; ``trust`` says how its pins and heater are known."""

    type: str
    aliases: tuple[str, ...]
    kind: str
    base: str
    heater: Nominal
    trust: str


@dataclass(frozen=True, slots=True)
class FeedAnswer:
    """One way to feed a heater: between which pins, with how many volts and amps."""

    between: tuple[tuple[str, ...], ...]
    volts: Figure
    amps: Figure


@dataclass(frozen=True, slots=True)
class HeaterAnswer:
    """A heater and the ways to feed it."""

    volts: Figure
    amps: Figure
    directly_heated: bool
    ways: tuple[FeedAnswer, ...]


@dataclass(frozen=True, slots=True)
class Operation:
    """A printed row: how the tube is used, which unit of it, and its figures."""

    use: str
    unit: str
    figures: dict[str, Figure]


@dataclass(frozen=True, slots=True)
class KinAnswer:
    """A related type."""

    type: str
    how: str
    pins_move: bool
    note: str
    source: str
    grade: str


@dataclass(frozen=True, slots=True)
class LookalikeAnswer:
    """A type that looks alike and is not the same."""

    type: str
    why: str
    source: str
    grade: str


@dataclass(frozen=True, slots=True)
class TubeCard:
    """Everything the library has of a type; every figure with its source and how it is known."""

    type: str
    aliases: tuple[str, ...]
    kind: str
    base: str
    heater: HeaterAnswer
    trust: str
    pins: dict[str, tuple[str, ...]]
    pins_source: str
    pins_grade: str
    ratings: dict[str, Figure]
    typical: tuple[Operation, ...]
    stages: tuple[Operation, ...]
    capacitances: tuple[Operation, ...]
    relatives: tuple[KinAnswer, ...]
    lookalikes: tuple[LookalikeAnswer, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PinsAnswer:
    """What moves at the socket; ``stay`` is true where nothing does."""

    moves: tuple[ElementMove, ...]
    missing: tuple[str, ...]
    added: tuple[str, ...]
    taken: tuple[str, ...]
    stay: bool


@dataclass(frozen=True, slots=True)
class RelativeAnswer:
    """How one type stands to another."""

    type: str
    curves: str
    why: str
    by_way_of: str | None
    heater: FeedAnswer
    socket: str
    socket_changes: bool
    pins: PinsAnswer
    ratings: dict[str, Figure]
    loads_of: str
    loads: tuple[dict[str, Figure], ...]


@dataclass(frozen=True, slots=True)
class Relatives:
    """The ranking from the library alone."""

    type: str
    relatives: tuple[RelativeAnswer, ...]


@dataclass(frozen=True, slots=True)
class LoadAnswer:
    """The load of the present output transformer, and what the type wants."""

    transformer: str
    presented: float
    printed: float | None
    at_volts: float | None
    of: str
    grade: str
    stage_watts: float | None
    best: float | None
    best_watts: float | None
    suits: bool | None


@dataclass(frozen=True, slots=True)
class Computed(RelativeAnswer):
    """A type in a tube's place, computed in the circuit at the new B+."""

    kept: tuple[idle.IdlePoint, ...] = ()
    chosen: tuple[idle.IdlePoint, ...] = ()
    fit: tuple[ResistorToFit, ...] = ()
    load: LoadAnswer | None = None
    grid_leaks: tuple[idle.Leak, ...] = ()
    fits: bool | None = None
    most_volts: float | None = None
    watts: float | None = None
    distortion: float | None = None
    gain: float | None = None
    unsolved: str = ""
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Socket:
    """A tube of the string with its candidates; ``job`` is the type that the job puts in."""

    part: str
    type: str
    output: bool
    why: str
    partners: tuple[str, ...]
    job: str | None
    candidates: tuple[Computed, ...]


@dataclass(frozen=True, slots=True)
class Exchanges:
    """Every tube of the string at the new B+."""

    title: str
    volts: float
    origin: str
    found_volts: float | None
    found_why: str
    watts_before: float | None
    gain_before: float | None
    watts_after: float | None
    heater_volts: float
    heater_amps: float
    tubes: tuple[Socket, ...]
    fitted: dict[str, str]
    most_volts_nothing_renewed: float
    looked_up_to: float
    limits: tuple[Rated, ...]
    unrated: tuple[Stress, ...]


def tube_line(tube: TubeType, trust: str) -> TubeLine:
    """Return a type for the list."""
    heater = Nominal(tube.heater.volts.value, tube.heater.amps.value)
    return TubeLine(tube.type, tube.aliases, tube.kind, tube.base, heater, trust)


def heater_line(known: HeaterAlone) -> TubeLine:
    """Return a type without a basing for the list."""
    heater = Nominal(known.volts.value, known.amps.value)
    trust = f"pins not known, heater {known.volts.trust}"
    return TubeLine(known.type, known.aliases, known.kind, known.base, heater, trust)


def tube_card(tube: TubeType, trust: str) -> TubeCard:
    """Return everything of a type."""
    heater = tube.heater
    return TubeCard(
        type=tube.type,
        aliases=tube.aliases,
        kind=tube.kind,
        base=tube.base,
        heater=HeaterAnswer(
            heater.volts, heater.amps, heater.directly_heated, tuple(map(_way, heater.ways))
        ),
        trust=trust,
        pins={pin: tuple(names) for pin, names in tube.elements},
        pins_source=tube.pins_source,
        pins_grade=tube.pins_grade,
        ratings=dict(tube.ratings),
        typical=tuple(map(_operation, tube.typical)),
        stages=tuple(map(_operation, tube.stages)),
        capacitances=tuple(map(_operation, tube.capacitances)),
        relatives=tuple(shaped(relative, KinAnswer) for relative in relatives.relatives(tube)),
        lookalikes=tuple(shaped(lookalike, LookalikeAnswer) for lookalike in tube.lookalikes),
        notes=tube.notes,
    )


def _way(feed: HeaterWay) -> FeedAnswer:
    return FeedAnswer(tuple(tuple(sorted(end)) for end in feed.between), feed.volts, feed.amps)


def _operation(row: PrintedRow) -> Operation:
    return Operation(row.use, row.unit, {name: row[name] for name in row})


def relatives_answer(tube: TubeType, stand_ins: tuple[StandIn, ...]) -> Relatives:
    """Return the ranking of a type's relatives."""
    return Relatives(tube.type, tuple(map(_relative, stand_ins)))


def _relative(stand_in: StandIn) -> RelativeAnswer:
    return RelativeAnswer(
        type=stand_in.new.type,
        curves=stand_in.standing.word,
        why=stand_in.standing.why,
        by_way_of=stand_in.by_way_of or None,
        heater=_way(stand_in.way),
        socket=stand_in.new.base,
        socket_changes=stand_in.socket_changes,
        pins=extended(stand_in.moves, PinsAnswer, stay=stand_in.moves.same_pins),
        ratings=dict(sorted(stand_in.new.ratings.items())),
        loads_of=stand_in.loads_of,
        loads=tuple({name: row[name] for name in row} for row in stand_in.loads),
    )


def exchanges_answer(string: exchange.Exchange, job: Mapping[str, str]) -> Exchanges:
    """Return the answer for a circuit; ``job`` has the type that the job puts in, by part."""
    return Exchanges(
        title=string.title,
        volts=string.volts,
        origin=string.origin,
        found_volts=string.found,
        found_why=string.found_why,
        watts_before=string.watts_before,
        gain_before=string.gain_before,
        watts_after=string.watts_after,
        heater_volts=string.heater_volts,
        heater_amps=string.heater_amps,
        tubes=tuple(
            Socket(
                place.part,
                place.type,
                place.output,
                place.why,
                place.partners,
                job.get(place.part),
                tuple(map(_computed, place.candidates)),
            )
            for place in string.places
        ),
        fitted=dict(string.fitted),
        most_volts_nothing_renewed=string.ratings.most_volts,
        looked_up_to=string.ratings.top,
        limits=tuple(map(rated, string.ratings.limits)),
        unrated=string.ratings.unrated,
    )


def _computed(candidate: exchange.TypeInPlace) -> Computed:
    return extended(
        _relative(candidate.stand_in),
        Computed,
        kept=candidate.kept,
        chosen=candidate.chosen,
        fit=candidate.fit,
        load=shaped(candidate.load, LoadAnswer) if candidate.load else None,
        grid_leaks=candidate.leaks,
        fits=candidate.fits if candidate.chosen else None,
        most_volts=candidate.most_volts,
        watts=candidate.watts,
        distortion=candidate.distortion,
        gain=candidate.gain,
        unsolved=candidate.unsolved,
        cautions=candidate.cautions,
    )

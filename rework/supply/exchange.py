"""Every tube of a series string exchanged for each of its relatives, in the circuit, at the B+ the
new supply will give.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from rework.anatomy.rectifiers import shares_bulb
from rework.anatomy.units import element_at
from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part
from rework.rules import catalogue
from rework.rules.facts import Facts
from rework.rules.rewrite import NothingToDo, Refused, plan
from rework.solve.network import CannotSolve
from rework.solve.signal import loudest
from rework.supply.bench import AmplifierBench, RatingLimit, Ratings, ratings
from rework.supply.feed import Feed
from rework.supply.idle import IdlePoint, Leak, leaks, points
from rework.supply.stage import (
    ResistorToFit,
    StageLoad,
    load_of,
    presented_ohms,
    resistors,
    with_resistors,
)
from rework.supply.surge import SurgeResistor, surge_resistors
from rework.tubes import library
from rework.tubes.relatives import PARALLEL_VOLTS, SAME_CURVES, StandIn, stand_ins
from rework.tubes.tubetype import TubeType


@dataclass(frozen=True, slots=True, eq=False)
class TypeInPlace:
    """One type in one tube's place at the new B+.

    ``kept`` is each unit with nothing else changed; ``chosen`` the same with the resistors of
    ``fit``. ``watts`` at the onset of clipping and ``gain`` to the speaker are of the whole
    amplifier with ``fit``; None with the reason in ``unsolved``. ``most_volts`` is the highest B+
    that keeps the tube inside its ratings so (None: above the range looked at).
    """

    stand_in: StandIn
    kept: tuple[IdlePoint, ...]
    chosen: tuple[IdlePoint, ...]
    fit: tuple[ResistorToFit, ...]
    load: StageLoad | None
    leaks: tuple[Leak, ...]
    most_volts: float | None
    watts: float | None
    distortion: float | None
    gain: float | None
    unsolved: str
    cautions: tuple[str, ...]

    @property
    def type(self) -> str:
        """The type that is put in."""
        return self.stand_in.new.type

    @property
    def fits(self) -> bool:
        """Whether it stays inside every rating that is known."""
        return not any(point.over for point in self.chosen) and not any(
            leak.most is not None and leak.ohms > 1.001 * leak.most for leak in self.leaks
        )

    @property
    def order(self) -> tuple[object, ...]:
        """What the rank goes by: curves, ratings, the transformer, pins, new parts, heater
        current.
        """
        misfit = self.load is not None and self.load.suits is False
        return (
            self.stand_in.standing.word != SAME_CURVES,
            not self.fits,
            misfit,
            *self.stand_in.order[2:4],
            len(self.fit),
            *self.stand_in.order[4:],
        )


@dataclass(frozen=True, slots=True, eq=False)
class StringPlace:
    """One tube of the string: what it is, whether it drives the output transformer, and its
    candidates, ranked; ``why`` says why there are none.

    ``partners`` are the tubes of the same type that drive the same output transformer: all of them
    are exchanged together. ``keeps_amps`` is what the heater of a tube takes that fits as it is.
    """

    part: str
    type: str
    output: bool
    candidates: tuple[TypeInPlace, ...]
    why: str = ""
    partners: tuple[str, ...] = ()
    keeps_amps: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Exchange:
    """All of it for one amplifier: ``volts`` of the new B+, where it was taken from, and what each
    part is at with the first of every rank in.

    ``found`` is the B+ as found (None with the reason in ``found_why``), ``watts_before`` the watts
    there, ``watts_after`` those of the finished job where there is one, ``ratings`` those of the
    amplifier with ``fitted`` in and nothing else renewed: for each tube the type the job puts in,
    else its first candidate. ``surge`` are the resistors with which silicon may take the place of
    selenium, or that it lacks.
    """

    title: str
    volts: float
    origin: str
    found: float | None
    found_why: str
    watts_before: float | None
    gain_before: float | None
    watts_after: float | None
    feed: Feed
    places: tuple[StringPlace, ...]
    fitted: tuple[tuple[str, str], ...]
    ratings: Ratings
    heater_volts: float
    heater_amps: float
    surge: tuple[SurgeResistor, ...] = ()

    @property
    def uprate(self) -> tuple[RatingLimit, ...]:
        """What is over its rating at the new B+ if nothing but the tubes is exchanged."""
        return self.ratings.over


def exchanges(
    circuit: Circuit,
    feed: Feed,
    volts: float,
    *,
    origin: str,
    bplus: float | None = None,
    found_why: str = "",
    heater: float = PARALLEL_VOLTS,
    choice: Mapping[str, str] | None = None,
    after: Circuit | None = None,
    step: Callable[[int], None] | None = None,
) -> Exchange:
    """Return what may go where each tube of the heater string is; ``choice`` is what a job puts in,
    ``after`` what it comes to.

    Raises CannotSolve where the amplifier has no numbers.
    """
    facts = Facts(circuit)
    bench = AmplifierBench(circuit, feed, volts)
    before = _loudest(circuit if bplus is not None else None)
    places: list[StringPlace] = []
    for part in circuit.parts:
        seen = any(part.name in place.partners for place in places)
        if part.kind == "tube" and not seen:
            kept = _kept(bench, facts, part, heater)
            places.append(kept or _place(bench, facts, part, heater))
        if part.kind == "tube" and step is not None:
            step(1)
    fitted, twins, amps = _fitted(circuit, places, choice or {})
    return Exchange(
        circuit.title,
        volts,
        origin,
        bplus,
        found_why,
        before[0],
        before[1],
        _loudest(after)[0],
        feed,
        tuple(places),
        fitted,
        ratings(AmplifierBench(twins, feed, volts)),
        heater,
        amps,
        _surge(circuit, feed) if bplus is not None else (),
    )


def _surge(circuit: Circuit, feed: Feed) -> tuple[SurgeResistor, ...]:
    """Return the resistors that silicon wants in this set, none where that has no numbers."""
    try:
        return surge_resistors(circuit, feed)
    except CannotSolve:
        return ()


def _fitted(
    circuit: Circuit, places: list[StringPlace], choice: Mapping[str, str]
) -> tuple[tuple[tuple[str, str], ...], Circuit, float]:
    """Return the type put in each place, the circuit with them, and the amps of their heaters: what
    the job chooses, else the first of every rank.
    """
    fitted: list[tuple[str, str]] = []
    amps = 0.0
    for place in places:
        chosen = [each for each in place.candidates if each.type == choice.get(place.part)]
        candidate = next(iter((*chosen, *place.candidates)), None)
        if candidate is None:
            amps += place.keeps_amps or 0.0
            continue
        for name in (place.part, *place.partners):
            fitted.append((name, candidate.type))
            circuit = _exchanged(circuit, (name,), candidate.type)[0]
            amps += candidate.stand_in.way.amps.value
    return tuple(fitted), circuit, amps


def _loudest(
    circuit: Circuit | None, cold: tuple[str, ...] | None = None
) -> tuple[float | None, float | None, float | None, str]:
    """Return watts, gain and distortion at the onset of clipping, or why there are none."""
    if circuit is None:
        return None, None, None, ""
    try:
        driven = loudest(circuit, cold=cold)
    except CannotSolve as error:
        return None, None, None, str(error)
    return driven.full.watts, driven.gain, driven.full.distortion, ""


def _exchanged(
    circuit: Circuit, names: tuple[str, ...], type_: str
) -> tuple[Circuit, tuple[str, ...], str]:
    """Return the circuit with another type in some places, by the rule exchange-tube, its cautions,
    and why it could not be done.
    """
    rule, problems = catalogue.load("exchange-tube")
    if rule is None:
        raise CannotSolve(*problems)
    cautions: tuple[str, ...] = ()
    for name in names:
        if library.find(circuit.by_name[name].type) is library.find(type_):
            continue
        outcome = plan(rule, circuit, {"tube": name, "type": type_, "accept": "yes"})
        if isinstance(outcome, Refused):
            return circuit, (), " ".join(outcome.reasons)
        if isinstance(outcome, NothingToDo):
            return circuit, (), outcome.reason
        circuit, cautions = outcome.after, (*cautions, *outcome.cautions)
    return circuit, cautions, ""


def _place(bench: AmplifierBench, facts: Facts, part: Part, heater: float) -> StringPlace:
    tube = library.find(part.type)
    if tube is None:
        return StringPlace(
            part.name,
            part.type,
            False,
            (),
            _not_known(part.type),
        )
    if tube.is_rectifier:
        return StringPlace(
            part.name,
            tube.type,
            False,
            (),
            "A rectifier: it is removed with the old supply; the new one has its own.",
        )
    output = _output_transformer(bench.circuit, facts, part)
    partners = tuple(
        other.name
        for other in bench.circuit.parts
        if output is not None
        and other.kind == "tube"
        and other.name != part.name
        and library.find(other.type) is tube
        and _output_transformer(bench.circuit, facts, other) is output
    )
    names = (part.name, *partners)
    candidates = [
        _candidate(bench, facts, names, stand_in, output)
        for stand_in in stand_ins(tube, volts=heater)
        if abs(stand_in.way.volts.value - heater) <= 0.1 * heater
    ]
    why = "" if candidates else _nothing_near(part, tube, heater)
    ranked = sorted(candidates, key=lambda candidate: candidate.order)
    return StringPlace(part.name, tube.type, output is not None, tuple(ranked), why, partners)


def _not_known(type_: str) -> str:
    """Return why nothing can be said to be related to a type that has no basing in the library."""
    if library.without_basing(type_) is not None:
        return f"The library has the heater of the {type_} alone, so its relatives are not known."
    return f"{type_} is not in the tube library, so its relatives are not known."


def _nothing_near(part: Part, tube: TubeType, heater: float) -> str:
    """Return that no type can go where a tube is, and what is done then."""
    if shares_bulb(part):
        return (
            f"The {tube.type} holds the rectifier and this tube in one bulb, and the library has"
            f" nothing of the kind with a heater for {heater:g} V. The usual way is to keep the set"
            " as it is behind an isolating transformer: apply isolate-keep-rectifier. Any other"
            " way is a new output stage, with a tube and a socket of its own."
        )
    return (
        f"The library has nothing near the {tube.type} with a heater for {heater:g} V."
        " Redesign the stage, or keep the tube on a heater winding of its own voltage."
    )


def _kept(bench: AmplifierBench, facts: Facts, part: Part, heater: float) -> StringPlace | None:
    """Return the place of a tube whose heater, as it is wired, is for the new volts already; None
    for any other.
    """
    tube, feed = library.find(part.type), facts.heaters.way(part)
    if tube is None or tube.is_rectifier or feed is None:
        return None
    if not facts.heaters.is_for(part, heater):
        return None
    why = (
        f"Its heater is for {feed.volts.value:g} V as it is wired: it stays, {feed.amps.value:g} A."
    )
    output = _output_transformer(bench.circuit, facts, part) is not None
    return StringPlace(part.name, tube.type, output, (), why, keeps_amps=feed.amps.value)


def _output_transformer(circuit: Circuit, facts: Facts, part: Part) -> Part | None:
    """Return the output transformer whose primary a plate of the tube is on."""
    plates = _plates(facts, part)
    return next(
        (
            other
            for other in circuit.parts
            if other.kind == "output transformer"
            and any(
                terminal.startswith("primary") and facts.point(node) in plates
                for terminal, node in other.pins
            )
        ),
        None,
    )


def _plates(facts: Facts, part: Part) -> set[str]:
    """Return the points of a tube's plates."""
    return {
        facts.point(node) for terminal, node in part.pins if element_at(part, terminal) == "plate"
    }


def _seen_by_each(
    circuit: Circuit, facts: Facts, names: tuple[str, ...], output: Part
) -> float | None:
    """Return the load that each of some tubes on one output transformer sees, in ohms.

    Tubes in parallel see so many times the load of the transformer; in push-pull class A each sees
    half the load from plate to plate (textbook).
    """
    presented = presented_ohms(circuit, output)
    if presented is None:
        return None
    plates = [_plates(facts, circuit.by_name[name]) for name in names]
    sides = {frozenset(points) for points in plates}
    return presented * len(names) / (len(sides) ** 2 if len(sides) > 1 else 1)


def _candidate(
    bench: AmplifierBench,
    facts: Facts,
    names: tuple[str, ...],
    stand_in: StandIn,
    output: Part | None,
) -> TypeInPlace:
    """Return one type in the place of the first of ``names`` and of its partners, which work as
    that does.
    """
    name = names[0]
    circuit, cautions, why = _exchanged(bench.circuit, names, stand_in.new.type)
    if why:
        return TypeInPlace(stand_in, (), (), (), None, (), None, None, None, None, why, ())
    try:
        own_bench = AmplifierBench(circuit, bench.feed, bench.volts)
    except CannotSolve as error:
        return TypeInPlace(
            stand_in, (), (), (), None, (), None, None, None, None, str(error), cautions
        )
    kept = points(own_bench, name)
    fit: tuple[ResistorToFit, ...] = ()
    same = stand_in.standing.word == SAME_CURVES
    load: StageLoad | None = None
    if output is not None:
        presented = _seen_by_each(circuit, facts, names, output)
        if not same or any(point.over for point in kept):
            fit = resistors(own_bench, facts, names, presented)
            own_bench = (
                AmplifierBench(with_resistors(circuit, name, fit), bench.feed, bench.volts)
                if fit
                else own_bench
            )
        if presented is not None:
            load = load_of(own_bench, name, stand_in, output, presented)
    chosen = points(own_bench, name)
    alone = same and not fit and output is None
    watts, gain, distortion, why = (None, None, None, "") if alone else _loudest(own_bench.fed, ())
    return TypeInPlace(
        stand_in,
        kept,
        chosen,
        fit,
        load,
        leaks(own_bench, facts, name),
        _most_volts(own_bench, name),
        watts,
        distortion,
        gain,
        why,
        cautions,
    )


def _most_volts(bench: AmplifierBench, name: str) -> float | None:
    return next(
        (
            limit.volts
            for limit in ratings(bench).limits
            if limit.stress.part == name and limit.volts is not None
        ),
        None,
    )

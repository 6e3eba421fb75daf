"""Every tube of a series string exchanged for each of its relatives, in the circuit, at the B+ the
new supply will give.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part
from rework.rules import catalogue
from rework.rules.facts import Facts
from rework.rules.rewrite import Applied, plan
from rework.solve.network import CannotSolve
from rework.solve.signal import loudest
from rework.supply.bench import Bench, Limit, Ratings, Work, rated, ratings
from rework.supply.feed import Feed
from rework.supply.stage import Fitted, Load, load_of, presented_ohms, resistors, with_resistors
from rework.tubes import library
from rework.tubes.relatives import PARALLEL_VOLTS, SAME_CURVES, StandIn, stand_ins


@dataclass(frozen=True, slots=True)
class Point:
    """A tube unit at idle: volts to the cathode, amps, watts; ``over`` lists (what, value, unit,
    rating), ``unrated`` what has no rating.
    """

    unit: str
    plate_volts: float
    screen_volts: float | None
    grid_volts: float
    plate_amps: float
    screen_amps: float | None
    plate_watts: float
    screen_watts: float | None
    plate_watts_rating: float | None
    screen_watts_rating: float | None
    screen_volts_rating: float | None
    over: tuple[tuple[str, float, str, float], ...]
    unrated: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Leak:
    """The grid's resistance to its return in ohms, the most that is allowed (None: not in the
    library), and which limit that is.
    """

    unit: str
    ohms: float
    most: float | None
    way: str


@dataclass(frozen=True, slots=True, eq=False)
class Candidate:
    """One type in one tube's place at the new B+.

    ``kept`` is each unit with nothing else changed; ``chosen`` the same with the resistors of
    ``fit``. ``watts`` at the onset of clipping and ``gain`` to the speaker are of the whole
    amplifier with ``fit``; None with the reason in ``unsolved``. ``most_volts`` is the highest B+
    that keeps the tube inside its ratings so (None: above the range looked at).
    """

    stand_in: StandIn
    kept: tuple[Point, ...]
    chosen: tuple[Point, ...]
    fit: tuple[Fitted, ...]
    load: Load | None
    leaks: tuple[Leak, ...]
    most_volts: float | None
    watts: float | None
    distortion: float | None
    gain: float | None
    unsolved: str
    cautions: tuple[str, ...]

    @property
    def fits(self) -> bool:
        """Whether it stays inside every rating that is known."""
        return not any(point.over for point in self.chosen) and not any(
            leak.most is not None and leak.ohms > 1.001 * leak.most for leak in self.leaks
        )

    @property
    def order(self) -> tuple:
        """Return what the rank goes by: curves, ratings, the transformer, pins, new parts, heater
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
class Place:
    """One tube of the string: what it is, whether it drives the output transformer, and its
    candidates, ranked; ``why`` says why there are none.

    ``partners`` are the tubes of the same type that drive the same output transformer: all of them
    are exchanged together.
    """

    part: str
    type: str
    output: bool
    candidates: tuple[Candidate, ...]
    why: str = ""
    partners: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Exchange:
    """All of it for one amplifier: ``volts`` of the new B+, where it was taken from, and what each
    part is at with the first of every rank in.

    ``found`` is the B+ as found (None with the reason in ``found_why``), ``watts_before`` the watts
    there, ``watts_after`` those of the finished job where there is one, ``ratings`` those of the
    amplifier with ``fitted`` in and nothing else renewed: for each tube the type the job puts in,
    else its first candidate.
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
    places: tuple[Place, ...]
    fitted: tuple[tuple[str, str], ...]
    ratings: Ratings
    heater_volts: float
    heater_amps: float

    @property
    def uprate(self) -> tuple[Limit, ...]:
        """What is over its rating at the new B+ if nothing but the tubes is exchanged."""
        return self.ratings.over


def exchanges(
    circuit: Circuit,
    feed: Feed,
    volts: float,
    *,
    origin: str,
    found: float | None = None,
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
    string = facts.heaters.parts
    bench = Bench(circuit, feed, volts)
    before = _loudest(circuit if found is not None else None)
    places = []
    for part in circuit.parts:
        if (
            part.kind == "tube"
            and part.name in string
            and not any(part.name in place.partners for place in places)
        ):
            places.append(_place(bench, facts, part, heater))
        if part.kind == "tube" and step is not None:
            step(1)
    fitted, twins, amps = [], circuit, 0.0
    for place in places:
        one = next(
            (
                one
                for one in place.candidates
                if one.stand_in.new.type == (choice or {}).get(place.part)
            ),
            next(iter(place.candidates), None),
        )
        for name in (place.part, *place.partners) if one is not None else ():
            fitted.append((name, one.stand_in.new.type))
            twins = _exchanged(twins, (name,), one.stand_in.new.type)[0]
            amps += one.stand_in.way.amps.value
    return Exchange(
        circuit.title,
        volts,
        origin,
        found,
        found_why,
        before[0],
        before[1],
        _loudest(after)[0],
        feed,
        tuple(places),
        tuple(fitted),
        ratings(Bench(twins, feed, volts)),
        heater,
        amps,
    )


def _loudest(circuit: Circuit | None) -> tuple[float | None, float | None, float | None, str]:
    """Return watts, gain and distortion at the onset of clipping, or why there are none."""
    if circuit is None:
        return None, None, None, ""
    try:
        one = loudest(circuit)
    except CannotSolve as error:
        return None, None, None, str(error)
    return one.full.watts, one.gain, one.full.distortion, ""


def _exchanged(
    circuit: Circuit, names: tuple[str, ...], type_: str
) -> tuple[Circuit, tuple[str, ...], str]:
    """Return the circuit with another type in some places, by the rule exchange-tube, its cautions,
    and why it could not be done.
    """
    rule, _ = catalogue.load("exchange-tube")
    cautions: tuple[str, ...] = ()
    for name in names:
        if library.find(circuit.by_name[name].type) is library.find(type_):
            continue
        outcome = plan(rule, circuit, {"tube": name, "type": type_, "accept": "yes"})
        if not isinstance(outcome, Applied):
            return (
                circuit,
                (),
                " ".join(outcome.reasons) if hasattr(outcome, "reasons") else outcome.reason,
            )
        circuit, cautions = outcome.after, (*cautions, *outcome.cautions)
    return circuit, cautions, ""


def _place(bench: Bench, facts: Facts, part: Part, heater: float) -> Place:
    tube = library.find(part.type)
    if tube is None:
        return Place(
            part.name,
            part.type,
            False,
            (),
            f"{part.type} is not in the tube library, so nothing says what could stand in for it.",
        )
    if tube.is_rectifier:
        return Place(
            part.name,
            tube.type,
            False,
            (),
            "A rectifier: it leaves with the old supply, and the new one brings its own.",
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
    near = [
        one
        for one in stand_ins(tube, volts=heater)
        if abs(one.way.volts.value - heater) <= 0.1 * heater
    ]
    found = [
        one
        for stand_in in near
        if (one := _candidate(bench, facts, (part.name, *partners), stand_in, output)) is not None
    ]
    why = (
        ""
        if found
        else (
            f"Nothing in the library with a heater for {heater:g} V stands near the {tube.type}:"
            " work the stage out anew."
        )
    )
    return Place(
        part.name,
        tube.type,
        output is not None,
        tuple(sorted(found, key=lambda one: one.order)),
        why,
        partners,
    )


def _output_transformer(circuit: Circuit, facts: Facts, part: Part) -> Part | None:
    """Return the output transformer whose primary a plate of the tube is on."""
    tube = library.find(part.type)
    plates = {
        facts.point(node)
        for terminal, node in part.pins
        if any(name.rpartition(".")[2] == "plate" for name in tube.elements_of(terminal))
    }
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


def _candidate(
    bench: Bench, facts: Facts, names: tuple[str, ...], stand_in: StandIn, output: Part | None
) -> Candidate | None:
    """Return one type in the place of the first of ``names`` and of its partners, which work as
    that does.
    """
    name = names[0]
    circuit, cautions, why = _exchanged(bench.circuit, names, stand_in.new.type)
    if why:
        return Candidate(stand_in, (), (), (), None, (), None, None, None, None, why, ())
    try:
        own = Bench(circuit, bench.feed, bench.volts)
    except CannotSolve as error:
        return Candidate(
            stand_in, (), (), (), None, (), None, None, None, None, str(error), cautions
        )
    kept = _points(own, name)
    fit: tuple[Fitted, ...] = ()
    presented = presented_ohms(circuit, output) if output is not None else None
    presented = (
        presented * len(names) if presented is not None else None
    )  # in parallel each of them sees so many times the load
    same = stand_in.standing.word == SAME_CURVES
    if output is not None and (not same or any(point.over for point in kept)):
        fit = resistors(own, facts, names, presented)
        own = Bench(with_resistors(circuit, name, fit), bench.feed, bench.volts) if fit else own
    chosen = _points(own, name)
    load = load_of(own, name, stand_in, output, presented) if presented is not None else None
    alone = same and not fit and output is None
    watts, gain, distortion, why = (None, None, None, "") if alone else _loudest(own.fed)
    return Candidate(
        stand_in,
        kept,
        chosen,
        fit,
        load,
        _leaks(own, facts, name),
        _most_volts(own, name),
        watts,
        distortion,
        gain,
        why,
        cautions,
    )


def _most_volts(bench: Bench, name: str) -> float | None:
    return next(
        (
            one.volts
            for one in ratings(bench).limits
            if one.part.partition(" ")[0] == name and one.volts is not None
        ),
        None,
    )


def _points(bench: Bench, name: str) -> tuple[Point, ...]:
    return tuple(_point(one) for one in bench.work(bench.point[None]) if one.part == name)


def _point(one: Work) -> Point:
    loads = [(what, float(values[0]), unit, limit) for what, values, unit, limit in one.loads]
    limits = {what: limit for what, _, _, limit in loads}
    found = {what: value for what, value, _, _ in loads}
    return Point(
        one.unit,
        float(one.plate_volts[0]),
        found.get("screen volts"),
        float(one.grid_volts[0]),
        float(one.plate_amps[0]),
        None if one.screen_amps is None else float(one.screen_amps[0]),
        found["plate watts"],
        found.get("screen watts"),
        limits["plate watts"],
        limits.get("screen watts"),
        limits.get("screen volts"),
        tuple(
            (what, value, unit, limit)
            for what, value, unit, limit in loads
            if limit is not None and value > limit
        ),
        tuple(what for what, _, _, limit in loads if limit is None and what != "cathode amps"),
    )


def _leaks(bench: Bench, facts: Facts, name: str) -> tuple[Leak, ...]:
    """Return each unit's grid leak against the limit for its way of bias; with back bias the
    stricter of the two counts.
    """
    backed = any(one.tube == name for one in facts.back_biased)
    found = []
    for one in bench.work(bench.point[None]):
        if one.part == name:
            ways = {
                "cathode bias": _most(one, "grid_leak_ohms_cathode_bias"),
                "fixed bias": _most(one, "grid_leak_ohms_fixed"),
            }
            way = "fixed bias" if backed and ways["fixed bias"] is not None else "cathode bias"
            found.append(Leak(one.unit, bench.grid_ohms(name, one.unit), ways[way], way))
    return tuple(found)


def _most(one: Work, name: str) -> float | None:
    return rated(one.tube, one.unit, name)

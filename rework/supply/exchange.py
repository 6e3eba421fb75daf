"""Every tube of a series string exchanged for each of its relatives, in the circuit, at the B+ the new supply will give."""

from __future__ import annotations

from dataclasses import dataclass, replace

from rework.circuit.circuit import Circuit
from rework.circuit.edits import FitPart, SetValue, apply_edit
from rework.circuit.parts import Part, Value, strands
from rework.rules import catalogue
from rework.rules.bias import Bias
from rework.rules.facts import Facts
from rework.rules.heaters import Heaters
from rework.rules.rewrite import Applied, plan
from rework.solve.devices import Pentode
from rework.solve.fit import class_a
from rework.solve.network import CannotSolve
from rework.solve.signal import loudest
from rework.supply.bench import Bench, Limit, Ratings, Work, ratings
from rework.supply.feed import Feed
from rework.supply.preferred import E12, E24, WATTS, nearest, rating
from rework.tubes import library
from rework.tubes.relatives import PARALLEL_VOLTS, SAME_CURVES, StandIn, nearest_row, stand_ins

#: A load between these shares of the printed one is near enough (common practice, no source: power changes slowly about its best).
LOAD_SUITS = (0.7, 1.4)
#: Ratio of the largest to the least resistor tried, about the one that is there.
SCAN = 3.3
#: Loads tried for the best, ohms: those that small output transformers are sold for (common practice, no source).
LOADS = (1500.0, 2000.0, 2500.0, 3000.0, 3500.0, 4000.0, 4500.0, 5000.0, 5600.0, 7000.0, 8000.0, 10000.0)
#: A new resistor takes at most this share of the watts it is made for (common practice, no source: twice the watts).
RESISTOR_SHARE = 0.5
#: The distortion at which the stage's watts are told, that at which clipping begins.
DISTORTION = 0.10


@dataclass(frozen=True, slots=True)
class Point:
    """A tube unit at idle: volts to the cathode, amps, watts; ``over`` lists (what, value, unit, rating), ``unrated`` what has no rating."""

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
class Fitted:
    """A resistor to fit: in place of ``part`` (or new, with ``old_ohms`` None), its preferred value and the watts it is made for."""

    part: str
    old_ohms: float | None
    ohms: float
    watts: float | None
    series: str


@dataclass(frozen=True, slots=True)
class Load:
    """The load that the present output transformer gives, and what the type wants.

    ``presented`` in ohms; ``printed`` is the load of the printed row nearest in plate volts (``at_volts``, of type ``of``, with its
    ``grade``); ``best`` the preferred load that gives most watts at this working point, and how many; None is not known.
    """

    transformer: str
    presented: float
    printed: float | None
    at_volts: float | None
    of: str
    grade: str
    stage_watts: float | None
    best: float | None
    best_watts: float | None

    @property
    def suits(self) -> bool | None:
        """Whether the transformer suits the printed load; None where no load is printed."""
        return None if self.printed is None else LOAD_SUITS[0] <= self.presented / self.printed <= LOAD_SUITS[1]


@dataclass(frozen=True, slots=True)
class Leak:
    """The grid's resistance to its return in ohms, the most that is allowed (None: not in the library), and which limit that is."""

    unit: str
    ohms: float
    most: float | None
    way: str


@dataclass(frozen=True, slots=True, eq=False)
class Candidate:
    """One type in one tube's place at the new B+.

    ``kept`` is each unit with nothing else changed; ``chosen`` the same with the resistors of ``fit``. ``watts`` at the onset of
    clipping and ``gain`` to the speaker are of the whole amplifier with ``fit``; None with the reason in ``unsolved``.
    ``most_volts`` is the highest B+ that keeps the tube inside its ratings so (None: above the range looked at).
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
        return not any(point.over for point in self.chosen) and not any(leak.most is not None and leak.ohms > 1.001 * leak.most for leak in self.leaks)

    @property
    def order(self) -> tuple:
        """Return what the rank goes by: curves, ratings, the transformer, pins, new parts, heater current."""
        misfit = self.load is not None and self.load.suits is False
        return (self.stand_in.standing.word != SAME_CURVES, not self.fits, misfit, *self.stand_in.order[2:4], len(self.fit), *self.stand_in.order[4:])


@dataclass(frozen=True, slots=True, eq=False)
class Place:
    """One tube of the string: what it is, whether it drives the output transformer, and its candidates, ranked; ``why`` says why there are none."""

    part: str
    type: str
    output: bool
    candidates: tuple[Candidate, ...]
    why: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Exchange:
    """All of it for one amplifier: ``volts`` of the new B+, where it was taken from, and what each part is at with the first of every rank in.

    ``found`` is the B+ as found (None with the reason in ``found_why``), ``watts_before`` the watts there, ``ratings`` those of the
    amplifier with the first candidate of every place in and nothing else renewed.
    """

    title: str
    volts: float
    origin: str
    found: float | None
    found_why: str
    watts_before: float | None
    gain_before: float | None
    feed: Feed
    places: tuple[Place, ...]
    ratings: Ratings
    heater_volts: float
    heater_amps: float

    @property
    def uprate(self) -> tuple[Limit, ...]:
        """What is over its rating at the new B+ if nothing but the tubes is exchanged."""
        return self.ratings.over


def exchanges(circuit: Circuit, feed: Feed, volts: float, *, origin: str, found: float | None = None, found_why: str = "",
              heater: float = PARALLEL_VOLTS, step=lambda count: None) -> Exchange:
    """Return what may go where each tube of the heater string is. Raises CannotSolve where the amplifier has no numbers."""
    facts = Facts(circuit)
    string = Heaters(facts).string
    bench = Bench(circuit, feed, volts)
    before = _loudest(bench.circuit if found is not None else None)
    places = []
    for part in circuit.parts:
        if part.kind == "tube" and part.name in string:
            places.append(_place(bench, facts, part, heater))
            step(1)
    twins = circuit
    for place in places:
        if place.candidates:
            twins = _exchanged(twins, place.part, place.candidates[0].stand_in.new.type)[0]
    amps = sum(place.candidates[0].stand_in.way.amps.value for place in places if place.candidates)
    return Exchange(circuit.title, volts, origin, found, found_why, before[0], before[1], feed, tuple(places), ratings(Bench(twins, feed, volts)), heater, amps)


def _loudest(circuit: Circuit | None) -> tuple[float | None, float | None, float | None, str]:
    """Return watts, gain and distortion at the onset of clipping, or why there are none."""
    if circuit is None:
        return None, None, None, ""
    try:
        one = loudest(circuit)
    except CannotSolve as error:
        return None, None, None, str(error)
    return one.full.watts, one.gain, one.full.distortion, ""


def _exchanged(circuit: Circuit, part: str, type_: str) -> tuple[Circuit, tuple[str, ...], str]:
    """Return the circuit with another tube in, by the rule exchange-tube, its cautions, and why it could not be done."""
    if library.find(circuit.by_name[part].type) is library.find(type_):
        return circuit, (), ""
    rule, _ = catalogue.load("exchange-tube")
    outcome = plan(rule, circuit, {"tube": part, "type": type_, "accept": "yes"})
    if isinstance(outcome, Applied):
        return outcome.after, outcome.cautions, ""
    return circuit, (), " ".join(outcome.reasons) if hasattr(outcome, "reasons") else outcome.reason


def _place(bench: Bench, facts: Facts, part: Part, heater: float) -> Place:
    tube = library.find(part.type)
    if tube is None:
        return Place(part.name, part.type, False, (), f"{part.type} is not in the tube library, so nothing says what could stand in for it.")
    if tube.is_rectifier:
        return Place(part.name, tube.type, False, (), "A rectifier: it leaves with the old supply, and the new one brings its own.")
    output = _output_transformer(bench.circuit, facts, part)
    near = [one for one in stand_ins(tube, volts=heater) if abs(one.way.volts.value - heater) <= 0.1 * heater]
    found = [one for stand_in in near if (one := _candidate(bench, facts, part.name, stand_in, output)) is not None]
    why = "" if found else f"Nothing in the library with a heater for {heater:g} V stands near the {tube.type}: work the stage out anew."
    return Place(part.name, tube.type, output is not None, tuple(sorted(found, key=lambda one: one.order)), why)


def _output_transformer(circuit: Circuit, facts: Facts, part: Part) -> Part | None:
    """Return the output transformer whose primary a plate of the tube is on."""
    tube = library.find(part.type)
    plates = {facts.point(node) for terminal, node in part.pins if any(name.rpartition(".")[2] == "plate" for name in tube.elements_of(terminal))}
    return next((other for other in circuit.parts if other.kind == "output transformer"
                 and any(terminal.startswith("primary") and facts.point(node) in plates for terminal, node in other.pins)), None)


def _candidate(bench: Bench, facts: Facts, name: str, stand_in: StandIn, output: Part | None) -> Candidate | None:
    circuit, cautions, why = _exchanged(bench.circuit, name, stand_in.new.type)
    if why:
        return Candidate(stand_in, (), (), (), None, (), None, None, None, None, why, ())
    try:
        own = Bench(circuit, bench.feed, bench.volts)
    except CannotSolve as error:
        return Candidate(stand_in, (), (), (), None, (), None, None, None, None, str(error), cautions)
    kept = _points(own, name)
    fit: tuple[Fitted, ...] = ()
    presented = presented_ohms(circuit, output) if output is not None else None
    same = stand_in.standing.word == SAME_CURVES
    if presented is not None and (not same or any(point.over for point in kept)):
        fit = _resistors(own, facts, name, presented)
        own = Bench(with_resistors(circuit, name, fit), bench.feed, bench.volts) if fit else own
    chosen = _points(own, name)
    load = _load(own, name, stand_in, output, presented) if presented is not None else None
    alone = same and not fit and output is None
    watts, gain, distortion, why = (None, None, None, "") if alone else _loudest(own.fed)
    return Candidate(stand_in, kept, chosen, fit, load, _leaks(own, facts, name), _most_volts(own, name), watts, distortion, gain, why, cautions)


def _most_volts(bench: Bench, name: str) -> float | None:
    return next((one.volts for one in ratings(bench).limits if one.part.partition(" ")[0] == name and one.volts is not None), None)


def _points(bench: Bench, name: str) -> tuple[Point, ...]:
    return tuple(_point(one) for one in bench.work(bench.point[None]) if one.part == name)


def _point(one: Work) -> Point:
    loads = [(what, float(values[0]), unit, limit) for what, values, unit, limit in one.loads]
    limits = {what: limit for what, _, _, limit in loads}
    found = {what: value for what, value, _, _ in loads}
    return Point(one.unit, float(one.plate_volts[0]), found.get("screen volts"), float(one.grid_volts[0]), float(one.plate_amps[0]),
                 None if one.screen_amps is None else float(one.screen_amps[0]), found["plate watts"], found.get("screen watts"),
                 limits["plate watts"], limits.get("screen watts"), limits.get("screen volts"),
                 tuple((what, value, unit, limit) for what, value, unit, limit in loads if limit is not None and value > limit),
                 tuple(what for what, _, _, limit in loads if limit is None and what != "cathode amps"))


# the load


def presented_ohms(circuit: Circuit, output: Part) -> float | None:
    """Return the load a single-ended output transformer gives with the speaker that is on it, in ohms; None where that cannot be told.

    Turns go as the square roots of the loads the windings are made for.
    """
    sizes = {name: next((v.amount for v in values if v.role == "load" and v.dimension == "resistance"), None) for name, values in output.windings}
    runs = {run[0].split(".")[0]: run for run in strands(output) if len(run) > 1}
    if len(runs.get("primary", ())) != 2 or sizes.get("primary") is None:
        return None
    group = Facts(circuit)
    admittance = 0.0
    for name, run in runs.items():
        if name != "primary" and sizes.get(name):
            ends = [group.point(output.node(end)) for end in (run[0], run[-1])]
            speakers = [part for part in circuit.parts if part.kind in ("speaker", "dummy load") and part.value("resistance")
                        and {group.point(node) for terminal, node in part.pins if terminal in ("1", "2")} == set(ends)]
            admittance += sum(sizes[name] / part.value("resistance") for part in speakers) / sizes["primary"]
    return 1 / admittance if admittance else None


def _load(bench: Bench, name: str, stand_in: StandIn, output: Part, presented: float) -> Load | None:
    one = next((one for one in bench.work(bench.point[None]) if one.part == name and one.screen_volts is not None), None)
    law = bench.device(name, one.unit).law if one is not None else None
    if not isinstance(law, Pentode):
        return None
    at = tuple(float(value[0]) for value in (one.plate_volts, one.screen_volts, one.grid_volts))
    watts = {ohms: _stage_watts(law, at, ohms) for ohms in LOADS}
    best = max(watts, key=lambda ohms: watts[ohms])
    row = nearest_row(stand_in.loads, at[0])
    return Load(output.name, presented, row["load_ohms"].value if row else None, row["plate_volts"].value if row else None, stand_in.loads_of,
                row["load_ohms"].grade if row else "", _stage_watts(law, at, presented), best, watts[best])


def _stage_watts(law: Pentode, at: tuple[float, float, float], ohms: float) -> float:
    """Return the watts of an output stage at 10 % distortion or at a grid driven to its cathode, whichever comes first."""
    drive = -at[2]
    while drive > 0.2:
        found = class_a(law, *at, ohms, drive, distortion=DISTORTION)
        if found["distortion"] <= 1.001 * DISTORTION:
            return found["watts"]
        drive *= 0.4
    return 0.0


# the resistors


def _resistors(bench: Bench, facts: Facts, name: str, presented: float) -> tuple[Fitted, ...]:
    """Return the cathode resistor, and where need be a screen resistor, that give most watts inside every rating; none where nothing does better.

    Where nothing keeps the tube inside its ratings the cathode resistor is the one that comes nearest.
    """
    import numpy as np

    bias = _bias_resistor(bench.circuit, facts, name)
    if bias is None:
        return ()
    old = bias.value("resistance")
    scan = sorted({nearest(float(ohms), E24) for ohms in np.geomspace(old / SCAN, old * SCAN, 60)} | {old})
    best = _best(bench, name, presented, bias.name, scan)
    if best is None:
        return ()
    ohms, over = best
    found = (_fitted(bench, bias, ohms),) if ohms != old else ()
    if over and any(what.startswith("screen") for what in over):
        found = _with_screen(bench, name, presented, bias, scan) or found
    return found


def _best(bench: Bench, name: str, presented: float, bias: str, scan: list[float]) -> tuple[float, tuple[str, ...]] | None:
    """Return the cathode resistor that gives most watts of those inside every rating, or that comes nearest, and what is over then."""
    work = next((one for one in bench.work(bench.solve(ohms={bias: scan})) if one.part == name and one.screen_volts is not None), None)
    law = bench.device(name, work.unit).law if work is not None else None
    if not isinstance(law, Pentode):
        return None
    far = [max([1.0, *(float(values[k]) / limit for _, values, _, limit in work.loads if limit is not None)]) for k in range(len(scan))]
    near = [k for k in range(len(scan)) if far[k] <= min(far) * 1.001]

    def watts(k: int) -> float:
        return _stage_watts(law, tuple(float(value[k]) for value in (work.plate_volts, work.screen_volts, work.grid_volts)), presented)

    chosen = near[0] if len(near) == 1 else max(near, key=lambda k: (round(watts(k), 3), scan[k]))
    return scan[chosen], tuple(what for what, values, _, limit in work.loads if limit is not None and values[chosen] > limit)


def _with_screen(bench: Bench, name: str, presented: float, bias: Part, scan: list[float]) -> tuple[Fitted, ...]:
    """Return a screen resistor with a cathode resistor that keep the screen inside its ratings, or nothing."""
    for ohms in (100.0, 220.0, 470.0, 1000.0, 1500.0, 2200.0, 3300.0, 4700.0, 6800.0, 10000.0, 15000.0, 22000.0):
        trial = Fitted(f"screen of {name}", None, ohms, None, "E12")
        own = Bench(with_resistors(bench.circuit, name, (trial,)), bench.feed, bench.volts)
        best = _best(own, name, presented, bias.name, scan)
        if best is not None and not any(what.startswith("screen") for what in best[1]):
            own = Bench(with_resistors(own.circuit, name, (_fitted(own, bias, best[0]),)), bench.feed, bench.volts)
            amps = next(one for one in own.work(own.point[None]) if one.part == name and one.screen_amps is not None).screen_amps[0]
            screen = replace(trial, watts=rating(float(amps) ** 2 * ohms / RESISTOR_SHARE, WATTS))
            return (*(() if best[0] == bias.value("resistance") else (_fitted(own, bias, best[0]),)), screen)
    return ()


def _fitted(bench: Bench, bias: Part, ohms: float) -> Fitted:
    volts = float(bench.across(bench.solve(ohms={bias.name: [ohms]}), bias.name)[0])
    made = rating(volts * volts / ohms / RESISTOR_SHARE, WATTS)
    return Fitted(bias.name, bias.value("resistance"), ohms, made, "E12" if nearest(ohms, E12) == ohms else "E24")


def _bias_resistor(circuit: Circuit, facts: Facts, name: str) -> Part | None:
    """Return the resistor that makes an output tube's bias: between its cathode and the common, or the one from there to B- with back bias."""
    stage = next((one for one in Bias(facts).stages if one.tube == name), None)
    part = circuit.by_name[name]
    tube = library.find(part.type)
    if stage is not None:
        cathodes, others = {stage.cathode}, stage.returns
    else:
        unit = next((f"{unit}." for unit in tube.units if tube.pins_of(f"{unit}.screen")), "")
        cathodes, others = {facts.point(node) for pin in tube.pins_of(f"{unit}cathode") if (node := part.node(pin))}, facts.common
    found = [other for other in circuit.parts if other.kind == "resistor" and len(other.pins) == 2 and other.value("resistance")
             and {facts.point(node) for _, node in other.pins} & cathodes and {facts.point(node) for _, node in other.pins} & set(others)]
    return found[0] if len(found) == 1 else None


def with_resistors(circuit: Circuit, name: str, fit: tuple[Fitted, ...]) -> Circuit:
    """Return the circuit with resistors exchanged or fitted; one before a screen comes with a capacitor from there to the cathode."""
    for one in fit:
        if one.old_ohms is not None:
            old = circuit.by_name[one.part]
            values = tuple(v for v in old.values if v.dimension not in ("resistance", "power"))
            watts = (Value("power", one.watts),) if one.watts else ()
            circuit = apply_edit(circuit, SetValue(one.part, (Value("resistance", one.ohms), *watts, *values), old.words))
        else:
            tube = circuit.by_name[name]
            known = library.find(tube.type)
            screens = [pin for pin, _ in tube.pins if any(element.rpartition(".")[2] == "screen" for element in known.elements_of(pin))]
            cathode = next(node for pin, node in tube.pins if any(element in ("cathode", "pentode.cathode") for element in known.elements_of(pin)))
            node, fresh = tube.node(screens[0]), circuit.free_node_name(f"{name}-SCREEN")
            moved = tuple((pin, fresh if pin in screens else on) for pin, on in tube.pins)
            circuit = circuit.with_parts(tuple(replace(part, pins=moved) if part.name == name else part for part in circuit.parts))
            circuit = apply_edit(circuit, FitPart(Part(circuit.free_part_name("R"), "resistor", values=(Value("resistance", one.ohms),), pins=(("1", node), ("2", fresh)))))
            circuit = apply_edit(circuit, FitPart(Part(circuit.free_part_name("C"), "electrolytic", values=(Value("capacitance", 10e-6),), pins=(("plus", fresh), ("minus", cathode)))))
    return circuit


def _leaks(bench: Bench, facts: Facts, name: str) -> tuple[Leak, ...]:
    """Return each unit's grid leak against the limit for its way of bias; with back bias the stricter of the two counts."""
    backed = any(one.tube == name for one in Bias(facts).stages)
    found = []
    for one in bench.work(bench.point[None]):
        if one.part == name:
            ways = {"cathode bias": _most(one, "grid_leak_ohms_cathode_bias"), "fixed bias": _most(one, "grid_leak_ohms_fixed")}
            way = "fixed bias" if backed and ways["fixed bias"] is not None else "cathode bias"
            found.append(Leak(one.unit, bench.grid_ohms(name, one.unit), ways[way], way))
    return tuple(found)


def _most(one: Work, name: str) -> float | None:
    from rework.supply.bench import rated

    return rated(one.tube, one.unit, name)

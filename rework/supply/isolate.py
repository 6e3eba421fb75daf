"""The string kept behind an isolating transformer: with the old rectifier, or with a bridge in its
place; the transformer from the shelf, or to order.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from rework.anatomy.grounds import to_earth
from rework.circuit.circuit import Circuit
from rework.circuit.edits import Edit, FitPart, RemovePart, SetValue, replay
from rework.circuit.parts import Value
from rework.circuit.place import Problem
from rework.circuit.preferred import VOLT_AMPS, rating
from rework.language.job import Apply, Attach, Job
from rework.rules import catalogue
from rework.rules.facts import Facts
from rework.rules.rewrite import Applied, Refused, plan
from rework.rules.run import JobRun
from rework.solve.assemble import assemble
from rework.solve.network import CannotSolve
from rework.solve.periodic import mains_steady
from rework.supply.bonds import common_of, floating_windings, unbonded
from rework.supply.feed import Feed, feed_of, is_fed_at_a_tap
from rework.supply.fusing import line_fuse
from rework.supply.stock import Shelf, StockFuse, StockTransformer, StockWinding

#: A winding serves for a line within this share of its volts (common practice, no source).
NEAR = 0.06
#: How far the volts of a transformer to order sag at full load, half of it in each winding (common
#: practice, no source).
REGULATION = 0.10
#: VA of the transformer that the load is first tried on.
FIRST_VA = 100.0


@dataclass(frozen=True)
class Isolated:
    """The set behind its isolating transformer: the edits, the circuit, the transformer and fuse,
    whether it is on the shelf, what was assumed.

    ``load`` is RMS amps of the secondary and volt-amperes at the line's own volts; None where that
    has no numbers. ``bonds`` are the nodes that were bonded to earth after it.
    """

    edits: tuple[Edit, ...]
    circuit: Circuit
    name: str
    transformer: StockTransformer
    fuse: StockFuse
    on_shelf: bool
    notes: tuple[str, ...]
    load: tuple[float, float] | None
    bonds: tuple[str, ...] = ()


def isolated(
    circuit: Circuit,
    feed: Feed | None,
    shelf: Shelf | None,
    *,
    bridge: bool,
    load: tuple[float, float] | None = None,
) -> Isolated:
    """Return the set behind an isolating transformer.

    Raises CannotSolve with the reasons of the rule where that cannot be done.

    ``feed`` is None where no rectifier of a known type is found: then the common is looked for.

    ``load`` is that of the same set with its old rectifier, where it is known: a bridge in its
    place draws no more RMS amps.
    """
    volts = _line_volts(circuit, feed, bridge=bridge)
    applied, chassis = _ruled(circuit, feed, bridge=bridge)
    parts = {
        edit.action.part.kind: edit.action.part.name
        for edit in applied.edits
        if isinstance(edit.action, FitPart)
    }
    name = parts["transformer"]
    applied, bonds = _bonded(applied, common_of(circuit, feed), chassis)
    notes: list[str] = []
    try:
        trial = _wound(applied, name, to_order(volts, FIRST_VA), parts["fuse"], None)[1]
        load = load or _volt_amps(trial, name, volts)
    except CannotSolve as error:
        notes = [
            f"the volt-amperes of {name} are not computed, {FIRST_VA:g} VA is assumed: {error}"
        ]
    listed = _from_shelf(shelf, volts, load)
    va = rating(load[1], VOLT_AMPS) if load else FIRST_VA
    item = listed or to_order(volts, va or VOLT_AMPS[-1])
    if listed is None:
        why = "no stock list was given" if shelf is None else "the stock list has none that does"
        notes.append(
            f"{name} is to be ordered ({why}): {volts:g} V to {volts:g} V, at least {item.va:g} VA,"
            " primary and secondary apart, screened; computed with windings that drop"
            f" {REGULATION:.0%} at full load (common practice, no source)"
        )
    primary = item.va / volts
    fuse = line_fuse(shelf, load[0] if load else primary, primary, volts)
    edits, after = _wound(applied, name, item, parts["fuse"], fuse)
    return Isolated(edits, after, name, item, fuse, listed is not None, tuple(notes), load, bonds)


def isolating_rule(job: Job) -> str:
    """Return the rule by which a job keeps the old supply behind an isolating transformer, "" where
    it attaches a new one or none.
    """
    if any(isinstance(step, Attach) and "bplus" in dict(step.ports) for step in job.steps):
        return ""
    rules = (step.rule for step in job.steps if isinstance(step, Apply))
    return next((rule for rule in rules if rule.startswith("isolate-")), "")


def isolated_by(run: JobRun, shelf: Shelf | None) -> Isolated:
    """Return the set of a job behind the transformer that its isolating rule wants.

    Raises CannotSolve where that has no numbers.
    """
    try:
        feed = feed_of(run.before)
    except CannotSolve:
        feed = None
    return isolated(run.before, feed, shelf, bridge=isolating_rule(run.job) == "isolate-only")


def _line_volts(circuit: Circuit, feed: Feed | None, *, bridge: bool) -> float:
    """Return the volts of the line; raises CannotSolve where no transformer can be put before the
    set.
    """
    if circuit.mains is None or not circuit.mains.hertz:
        raise CannotSolve(
            Problem(
                "the set is for direct current, and a transformer passes none"
                if circuit.mains
                else "the file does not say which line it is for",
                hint="write a line such as mains 117 V 60 Hz",
            )
        )
    if bridge and feed is not None and is_fed_at_a_tap(circuit, feed):
        raise CannotSolve(
            Problem(
                "the rectifier is on a tap of an autotransformer: a bridge in its place would have"
                " to be fed at the tap's volts, by a transformer made for them",
                hint="take the autotransformer out and design a new supply",
            )
        )
    return circuit.mains.volts


def _ruled(circuit: Circuit, feed: Feed | None, *, bridge: bool) -> tuple[Applied, str]:
    """Return the rule applied that puts the transformer in, and the node of the chassis.

    Raises CannotSolve with the reason of the rule where it refuses.
    """
    rule, problems = catalogue.load("isolate-only" if bridge else "isolate-keep-rectifier")
    if rule is None:
        raise CannotSolve(*problems)
    chassis = to_earth(circuit) or common_of(circuit, feed)
    common = feed.back if feed and Facts(circuit).back_biased else common_of(circuit, feed)
    known = {parameter.name for parameter in rule.parameters}
    arguments = {"common": common, "chassis": chassis}
    outcome = plan(rule, circuit, {name: arguments[name] for name in known & arguments.keys()})
    if isinstance(outcome, Refused):
        raise CannotSolve(*(Problem(reason) for reason in outcome.reasons[:1]))
    if not isinstance(outcome, Applied):
        raise CannotSolve(Problem(outcome.reason))
    return outcome, chassis


def _bonded(outcome: Applied, common: str, chassis: str) -> tuple[Applied, tuple[str, ...]]:
    """Return the work with metal in reach, the common and the floating windings of speakers bonded
    to the earth that came with the new cord, and the nodes that were bonded.
    """
    rule, problems = catalogue.load("bond-common")
    if rule is None:
        raise CannotSolve(*problems)
    bonds = []
    floating = (finish for _, finish in floating_windings(outcome.after))
    for node in (*unbonded(outcome.after), common, *floating):
        more = plan(rule, outcome.after, {"common": node, "chassis": chassis})
        if isinstance(more, Applied):
            shift = len(outcome.edits)
            outcome = Applied(
                (*outcome.edits, *more.edits),
                (*outcome.cautions, *more.cautions),
                more.after,
                (*outcome.about, *(shift + place for place in more.about)),
            )
            bonds.append(node)
    return outcome, tuple(bonds)


def to_order(volts: float, va: float) -> StockTransformer:
    """Return the specification of an isolating transformer for a line, its ohms by the sag that is
    assumed.
    """
    ohms = REGULATION / 2 * volts * volts / va
    amps = va / volts
    windings = (
        StockWinding("primary", volts, amps, ohms, False),
        StockWinding("secondary", volts, amps, ohms, False),
    )
    return StockTransformer(name="to order", va=va, screen=True, windings=windings)


def _from_shelf(
    shelf: Shelf | None, volts: float, load: tuple[float, float] | None
) -> StockTransformer | None:
    """Return the smallest transformer of the shelf with a secondary for the line's own volts that
    carries the load.
    """
    if shelf is None or load is None:
        return None
    amps, volt_amps = load
    fits = []
    for item in shelf.of(StockTransformer):
        secondary = item.winding("secondary")
        if secondary is None or item.va < volt_amps:
            continue
        near = all(abs(each.volts - volts) <= NEAR * volts for each in (item.primary, secondary))
        if near and (secondary.amps or item.va / secondary.volts) >= amps:
            fits.append(item)
    return min(fits, key=lambda item: (item.va, item.cost, item.name), default=None)


def _wound(
    outcome: Applied,
    name: str,
    item: StockTransformer,
    fuse_name: str,
    fuse: StockFuse | None,
) -> tuple[tuple[Edit, ...], Circuit]:
    """Return the rule's edits with the windings and the fuse that were chosen written in, and the
    circuit after them.
    """
    part = outcome.after.by_name[name]
    windings = tuple(
        (each.name, _values(each))
        for each in item.windings
        if each.name in ("primary", "secondary")
    )
    earth = outcome.after.by_name[_plug(outcome)].at("earth")
    screen = (("screen", earth),) if item.screen else ()
    chosen = replace(
        part,
        values=(Value("apparent-power", item.va),),
        windings=windings,
        pins=(*part.pins, *screen),
        remark=item.name,
    )
    last = outcome.edits[-1]
    more = [
        Edit(RemovePart(name), last.rule, last.reason, last.place),
        Edit(FitPart(chosen), last.rule, "The isolating transformer, as chosen", last.place),
    ]
    if fuse is not None:
        values = (Value("current", fuse.amps), Value("voltage", fuse.volts))
        change = SetValue(fuse_name, values, ("slow",))
        more.append(Edit(change, last.rule, "The fuse, as chosen", last.place))
    return (*outcome.edits, *more), replay(outcome.after, more)


def _values(winding: StockWinding) -> tuple[Value, ...]:
    """Return what a winding says in the netlist."""
    amps = (Value("current", winding.amps),) if winding.amps else ()
    volts, ohms = Value("voltage", winding.volts), Value("resistance", winding.ohms, "dcr")
    return (volts, *amps, ohms)


def _plug(outcome: Applied) -> str:
    return next(
        edit.action.part.name
        for edit in outcome.edits
        if isinstance(edit.action, FitPart) and edit.action.part.kind == "plug"
    )


def _volt_amps(circuit: Circuit, name: str, volts: float) -> tuple[float, float]:
    """Return RMS amps of the secondary and its volt-amperes at the line's own volts.

    Raises CannotSolve where the circuit has no numbers.
    """
    network = assemble(circuit)
    steady = mains_steady(network, instants=96)
    amps = float((steady.x[:, network.rows[f"{name}.secondary"]] ** 2).mean() ** 0.5)
    return amps, amps * volts

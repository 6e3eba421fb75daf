"""The string kept behind an isolating transformer: with the old rectifier, or with a bridge in its
place; the transformer from the shelf, or to order.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from rework.circuit.circuit import Circuit
from rework.circuit.edits import Edit, FitPart, RemovePart, SetValue
from rework.circuit.parts import Value
from rework.circuit.place import Problem
from rework.rules import catalogue
from rework.rules.facts import Facts
from rework.rules.rewrite import Applied, Refused, plan
from rework.solve.assemble import assemble
from rework.solve.network import CannotSolve
from rework.solve.periodic import mains_steady
from rework.supply.draft import common_of, unbonded
from rework.supply.feed import Feed
from rework.supply.preferred import FUSES, VOLT_AMPS, rating
from rework.supply.shelf import Item, Shelf, Winding

#: A winding serves for a line within this share of its volts (common practice, no source).
NEAR = 0.06
#: How far the volts of a transformer to order sag at full load, half of it in each winding (common
#: practice, no source).
REGULATION = 0.10
#: The fuse is this many times the current it carries: the rule of the new supplies (M. Blencowe,
#: valvewizard.co.uk/fuses.html).
FUSE_TIMES = 1.5
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
    transformer: Item
    fuse: Item
    on_shelf: bool
    notes: tuple[str, ...]
    load: tuple[float, float] | None
    bonds: tuple[str, ...] = ()


def isolated(
    circuit: Circuit,
    feed: Feed,
    shelf: Shelf | None,
    *,
    bridge: bool,
    load: tuple[float, float] | None = None,
) -> Isolated:
    """Return the set behind an isolating transformer.

    Raises CannotSolve with the reasons of the rule where that cannot be done.

    ``load`` is that of the same set with its old rectifier, where it is known: a bridge in its
    place draws no more RMS amps.
    """
    rule, problems = catalogue.load("isolate-only" if bridge else "isolate-keep-rectifier")
    if rule is None:
        raise CannotSolve(*problems)
    if circuit.mains is None or not circuit.mains.hertz:
        raise CannotSolve(
            Problem(
                "the file does not say which alternating line it is for",
                hint="write a line such as mains 117 V 60 Hz",
            )
        )
    facts = Facts(circuit)
    chassis = next(
        (node for part in circuit.parts if part.kind == "chassis" for _, node in part.pins),
        "CHASSIS",
    )
    common = feed.back if facts.back_biased else common_of(circuit, feed)
    known = {parameter.name for parameter in rule.parameters}
    outcome = plan(
        rule,
        circuit,
        {name: node for name, node in (("common", common), ("chassis", chassis)) if name in known},
    )
    if isinstance(outcome, Refused):
        raise CannotSolve(*(Problem(reason) for reason in outcome.reasons[:1]))
    if not isinstance(outcome, Applied):
        raise CannotSolve(Problem(outcome.reason))
    fitted = {
        edit.action.part.kind: edit.action.part.name
        for edit in outcome.edits
        if isinstance(edit.action, FitPart)
    }
    name = fitted["transformer"]
    volts = circuit.mains.volts
    outcome, bonds = _bonded(outcome, common_of(circuit, feed), chassis)

    def with_(item: Item, fuse: Item | None = None) -> tuple[tuple[Edit, ...], Circuit]:
        return _wound(outcome, name, item, fitted["fuse"], fuse)

    notes: list[str] = []
    try:
        load = load or _volt_amps(with_(to_order(volts, FIRST_VA))[1], name)
    except CannotSolve as error:
        notes = [
            f"the volt-amperes of {name} are not computed, {FIRST_VA:g} VA stands in for them:"
            f" {error}"
        ]
    found = _from_shelf(shelf, volts, load)
    va = rating(load[1], VOLT_AMPS) if load else FIRST_VA
    item = found or to_order(volts, va or VOLT_AMPS[-1])
    if found is None:
        why = (
            "no stock list was given"
            if shelf is None
            else "the stock list has none that carries it"
        )
        notes.append(
            f"{name} is to be ordered ({why}): {volts:g} V to {volts:g} V, {item.va:g} VA, primary"
            f" and secondary apart, screened; computed with windings that sag by {REGULATION:.0%}"
            " at full load (common practice, no source)"
        )
    amps = FUSE_TIMES * (load[0] if load else item.va / volts)
    fuse = next(
        iter(
            sorted(
                (
                    one
                    for one in (shelf.of("fuse") if shelf else ())
                    if one.insulation == "slow" and one.amps >= amps and one.volts >= volts
                ),
                key=lambda one: one.amps,
            )
        ),
        None,
    ) or Item(
        "fuse",
        "not on the list",
        volts=250.0,
        amps=rating(amps, FUSES) or FUSES[-1],
        insulation="slow",
    )
    edits, after = with_(item, fuse)
    return Isolated(edits, after, name, item, fuse, found is not None, tuple(notes), load, bonds)


def _bonded(outcome: Applied, common: str, chassis: str) -> tuple[Applied, tuple[str, ...]]:
    """Return the work with metal in reach and the common bonded to the earth that came with the new
    cord, and the nodes that were bonded.
    """
    rule, problems = catalogue.load("bond-common")
    if rule is None:
        raise CannotSolve(*problems)
    bonds = []
    for node in (*unbonded(outcome.after), common):
        more = plan(rule, outcome.after, {"common": node, "chassis": chassis})
        if isinstance(more, Applied):
            outcome = Applied(
                (*outcome.edits, *more.edits), (*outcome.cautions, *more.cautions), more.after
            )
            bonds.append(node)
    return outcome, tuple(bonds)


def to_order(volts: float, va: float) -> Item:
    """Return the specification of an isolating transformer for a line, its ohms by the sag that is
    assumed.
    """
    ohms = REGULATION / 2 * volts * volts / va
    amps = va / volts
    return Item(
        "transformer",
        "to order",
        va=va,
        screen=True,
        windings=(
            Winding("primary", volts, amps, ohms, False),
            Winding("secondary", volts, amps, ohms, False),
        ),
    )


def _from_shelf(shelf: Shelf | None, volts: float, load: tuple[float, float] | None) -> Item | None:
    """Return the smallest transformer of the shelf with a secondary for the line's own volts that
    carries the load.
    """
    found = []
    for item in shelf.of("transformer") if shelf and load else ():
        primary, secondary = item.winding("primary"), item.winding("secondary")
        if (
            primary
            and secondary
            and all(abs(one.volts - volts) <= NEAR * volts for one in (primary, secondary))
        ):
            found += (
                [item]
                if (item.va or 0) >= load[1]
                and (secondary.amps or item.va / secondary.volts) >= load[0]
                else []
            )
    return min(
        found,
        key=lambda item: (item.va, item.price if item.price is not None else 1e9, item.name),
        default=None,
    )


def _wound(
    outcome: Applied, name: str, item: Item, fuse_name: str, fuse: Item | None
) -> tuple[tuple[Edit, ...], Circuit]:
    """Return the rule's edits with the windings and the fuse that were chosen written in, and the
    circuit after them.
    """
    from rework.circuit.edits import replay

    part = outcome.after.by_name[name]
    windings = tuple(
        (
            winding.name,
            (
                Value("voltage", winding.volts),
                *((Value("current", winding.amps),) if winding.amps else ()),
                Value("resistance", winding.ohms, "dcr"),
            ),
        )
        for winding in item.windings
        if winding.name in ("primary", "secondary")
    )
    screen = (
        (
            (
                "screen",
                next(
                    node
                    for terminal, node in outcome.after.by_name[_plug(outcome)].pins
                    if terminal == "earth"
                ),
            ),
        )
        if item.screen
        else ()
    )
    made = replace(
        part,
        values=(Value("apparent-power", item.va),),
        windings=windings,
        pins=(*part.pins, *screen),
        remark=item.name,
    )
    last = outcome.edits[-1]
    more = [
        Edit(RemovePart(name), last.rule, last.reason, last.place),
        Edit(FitPart(made), last.rule, "The isolating transformer, as chosen", last.place),
    ]
    if fuse is not None:
        values = (
            Value("current", fuse.amps),
            *((Value("voltage", fuse.volts),) if fuse.volts else ()),
        )
        more.append(
            Edit(
                SetValue(fuse_name, values, ("slow",)), last.rule, "The fuse, as chosen", last.place
            )
        )
    return (*outcome.edits, *more), replay(outcome.after, more)


def _plug(outcome: Applied) -> str:
    return next(
        edit.action.part.name
        for edit in outcome.edits
        if isinstance(edit.action, FitPart) and edit.action.part.kind == "plug"
    )


def _volt_amps(circuit: Circuit, name: str) -> tuple[float, float]:
    """Return RMS amps of the secondary and its volt-amperes at the line's own volts.

    Raises CannotSolve where the circuit has no numbers.
    """
    network = assemble(circuit)
    steady = mains_steady(network, instants=96)
    amps = float((steady.x[:, network.rows[f"{name}.secondary"]] ** 2).mean() ** 0.5)
    return amps, amps * circuit.mains.volts

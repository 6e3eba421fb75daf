"""From a circuit as written to its equations: every part by its kind, one reference for each
island, what cannot be solved named.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace

import numpy as np

from rework.anatomy.amplifier import of
from rework.anatomy.grounds import COMMON_NAMES, common_name
from rework.circuit.circuit import Circuit, Mains
from rework.circuit.graph import Merged
from rework.circuit.place import Problem
from rework.language.mistakes import a_or_an
from rework.solve.devices import DeviceLaw
from rework.solve.draft import Condition, Current, StampDraft
from rework.solve.heated import unheated
from rework.solve.network import LEAK, Branch, CannotSolve, Device, Network
from rework.solve.points import points
from rework.solve.rings import rings
from rework.solve.stamps import STAMPS, UNSTAMPED
from rework.solve.suspects import unheld, warnings


def assemble(
    circuit: Circuit,
    *,
    rotation: Mapping[str, float] | None = None,
    emission: bool = True,
    powered: bool = True,
    overrides: Mapping[str, DeviceLaw] | None = None,
    cold: Collection[str] | None = None,
    reference: str = "",
) -> Network:
    """Return the equations of a circuit with every switch as it is drawn.

    ``rotation`` turns pots by name, 0 at ccw to 1 at cw, the middle otherwise. Without ``emission``
    every tube but the rectifiers is cold. Not ``powered``, there is no line and no emission, and
    heaters and thermistors are cold: what an ohmmeter meets. ``overrides`` puts a law of one's own
    in a part by name. ``cold`` names the tubes whose heaters are cold; where it is not given these
    are the ones whose heater has too few volts. Volts are counted from ``reference``, or where the
    circuit has no such node, from its common. Raises CannotSolve naming every part that stands in
    the way.
    """
    condition = Condition(
        rotation or {},
        emission and powered,
        powered,
        overrides or {},
        frozenset(cold or ()),
        reference,
    )
    network = _assembled(circuit, condition)
    if not powered or cold is not None or not (unfed := unheated(circuit, network)):
        return network
    network = _assembled(circuit, replace(condition, cold=frozenset(unfed)))
    notes = (
        f"the heater of {name} has {volts:.3g} V, so the tube is taken as cold"
        for name, volts in unfed.items()
    )
    return replace(network, notes=(*network.notes, *notes), cold=tuple(unfed))


def _assembled(circuit: Circuit, condition: Condition) -> Network:
    """Return the equations of a circuit looked at under one condition."""
    draft = StampDraft(circuit, points(circuit), condition)
    for part in circuit.parts:
        law = part.traits.law
        if not part.pins:
            continue  # a part that a job left with no wire on it carries nothing
        if law in STAMPS:
            STAMPS[law](draft, part)
        elif law not in UNSTAMPED:
            draft.fault(
                part,
                f"{part.name}: the volts around {a_or_an(part.kind)} are not computed",
                "for the numbers leave it out, or put resistors in its place; the mains check"
                " needs neither",
            )
    problems = [*draft.problems, *_obstacles(draft)]
    if problems:
        raise CannotSolve(*problems)
    return _network(draft)


def _obstacles(draft: StampDraft) -> tuple[Problem, ...]:
    """Return what is wrong with the circuit as a whole."""
    problems, mains = [], draft.circuit.mains
    powered = draft.condition.powered
    if powered and not draft.sources:
        problems.append(
            Problem(
                "no plug connects this circuit to the line, so it has no volts",
                hint="attach the supply, or add a plug and a line of mains",
            )
        )
    if powered and mains is None:
        problems.append(
            Problem(
                "the file does not say which line it is for",
                hint="write a line such as mains 117 V 60 Hz",
            )
        )
    if powered and mains is not None:
        line = draft.sources[0][1:] if draft.sources else None
        problems += rings(draft.windings, line, mains.volts, draft.point)
    if not (draft.point or problems or draft.problems):
        problems.append(
            Problem(
                "this circuit has no parts",
                hint="write its parts, one a line; rework new makes a start",
            )
        )
    return tuple(problems)


def _network(draft: StampDraft) -> Network:
    """Return the equations of a draft without problems."""
    circuit = draft.circuit
    reference, common = _reference(draft)
    names = sorted(set(draft.point.values()) - {reference})
    index = {point: n for n, point in enumerate(names)} | {reference: -1}
    rows = {name: len(names) + n for n, name in enumerate(draft.rows)}
    n = len(names) + len(rows)
    at: dict[str | Current, int] = {point: at for point, at in index.items()}  # noqa: C416  wider keys
    at |= {Current(name): row for name, row in rows.items()}
    fixed = {"g": np.zeros((n + 1, n + 1)), "c": np.zeros((n + 1, n + 1))}
    for stamps in draft.rows.values():
        for stamp in stamps:
            fixed[stamp.matrix][at[stamp.row], at[stamp.column]] += stamp.value
    afloat = _afloat(draft, reference)
    branches = [
        Branch(tie.name, tie.kind, index[tie.a], index[tie.b], tie.value, tie.tolerance)
        for tie in draft.ties
        if index[tie.a] != index[tie.b]
    ]
    branches += [Branch("leak", "r", index[point], -1, 1 / LEAK) for point in afloat]
    notes = [*draft.notes, *unheld(circuit, draft.point, afloat)]
    mains = circuit.mains or Mains(0.0, 0.0)
    return Network(
        names=(*names, *rows),
        node_of={node: index[point] for node, point in draft.point.items()},
        reference=common,
        branches=tuple(branches),
        devices=tuple(
            Device(
                valve.name,
                valve.unit,
                valve.law,
                tuple(index[end] for end in valve.ends),
                index[valve.to],
                valve.spread,
            )
            for valve in draft.valves
        ),
        fixed_g=fixed["g"][:n, :n],
        fixed_c=fixed["c"][:n, :n],
        rows=rows,
        sources=tuple(
            row for name, row in rows.items() if name == "line" or name.startswith("line.")
        ),
        volts_peak=mains.volts * (2**0.5 if mains.hertz else 1),
        hertz=mains.hertz,
        notes=tuple(dict.fromkeys(notes)),
        coils=tuple(draft.coils),
        warnings=warnings(circuit, draft.point) if draft.condition.powered else (),
    )


def _reference(draft: StampDraft) -> tuple[str, str]:
    """Return the point that volts are counted from, and what the circuit calls it."""
    if (wanted := draft.condition.reference) in draft.point:
        return draft.point[wanted], wanted
    anatomy = of(draft.circuit)
    called = common_name(anatomy.wiring, anatomy.common)
    if called is not None:
        return draft.point[called], called
    busy = dict.fromkeys(draft.point.values(), 0)
    for part in draft.circuit.parts:
        for _, node in part.pins:
            busy[draft.point[node]] += 1
    ends = [part.node("minus") for part in draft.circuit.parts]
    minus = {draft.point[end] for end in ends if end is not None}
    most = max(sorted(busy), key=lambda point: busy[point])
    filtered = max(sorted(minus), key=lambda point: busy[point], default=most)
    point = min({draft.point[point] for point in anatomy.common}, default=filtered)
    why = "on which most pins are" if point == most else "where the filter of B+ ends"
    names = ", ".join(name for known in COMMON_NAMES for name in known)
    draft.notes.append(
        f"no node is called {names}: volts are against {point}, {why}; write join COMMON {point}"
        " to say so"
    )
    return point, point


def _joined(draft: StampDraft) -> Merged:
    """Return the points joined where direct current gets through."""
    merged = Merged()
    for tie in draft.ties:
        if tie.kind == "r":
            merged.join(tie.a, tie.b)
    for valve in draft.valves:
        for end in valve.ends:
            merged.join(end, valve.to)
    for name, stamps in draft.rows.items():
        into = (stamp.row for stamp in stamps if stamp.column == Current(name))
        ends = sorted({row for row in into if isinstance(row, str)})
        for end in ends[1:]:
            merged.join(ends[0], end)
    return merged


def _afloat(draft: StampDraft, reference: str) -> list[str]:
    """Return one point of every island without a direct-current path to the reference: it gets a
    leak to it. Of the line's that is the neutral.
    """
    merged = _joined(draft)
    seen = {merged.find(reference)}
    neutrals = [
        draft.point[node]
        for part in draft.circuit.parts
        if part.kind == "plug" and (node := part.node("neutral")) is not None
    ]
    afloat = []
    for point in [*neutrals, *sorted(set(draft.point.values()))]:
        if merged.find(point) not in seen:
            seen.add(merged.find(point))
            afloat.append(point)
    return afloat

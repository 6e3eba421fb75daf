"""Windings of a transformer as turns around one core, and rings of windings that fight each other."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from math import pi

from rework.circuit.parts import Part, strands
from rework.circuit.place import Problem

#: Windings in a ring may differ by so much of the larger before their ring is refused: what two of
#: one kind differ by.
RING_SHARE = 0.03
#: Volts of a winding and henries beyond these are taken for a slip of the multiplier.
MOST_VOLTS, MOST_HENRIES = 2e4, 1e5


@dataclass(frozen=True, slots=True)
class Winding:
    """A winding, or a part of it between taps, from node ``a`` to ``b``: its row, the part's core,
    turns against the first winding, ohms.
    """

    part: Part
    row: str
    core: str
    a: str
    b: str
    turns: float
    ohms: float


def windings(
    part: Part, hertz: float, fault: Callable[[Part, str, str], None], note: Callable[[str], None]
) -> tuple[tuple[Winding, ...], float]:
    """Return the windings of a transformer and the magnetising henries of the first; ``fault`` is
    told of each that has no ratio.
    """
    runs = [run for run in strands(part) if len(run) > 1]
    sizes, resistances, load, lost = {}, {}, None, False
    for run in runs:
        name = run[0].split(".")[0]
        own = _values(part, name)
        size = own.get(("voltage", "")) or (
            own[("resistance", "load")] ** 0.5 if ("resistance", "load") in own else None
        )
        size = size or (own[("inductance", "")] ** 0.5 if ("inductance", "") in own else None)
        if size is None:
            lost = True
            fault(
                part,
                f"the {name} winding of {part.name} has neither volts nor a load, so its ratio is"
                " not known",
                f"write its volts, as in {name} 117 V, or the load it is for, as in {name} load 5k",
            )
            continue
        if (
            own.get(("voltage", ""), 0.0) > MOST_VOLTS
            or own.get(("inductance", ""), 0.0) > MOST_HENRIES
        ):
            lost = True
            fault(
                part,
                f"the {name} winding of {part.name} has an absurd value",
                "look at its multiplier",
            )
        ohms = own.get(("resistance", "")) or own.get(("resistance", "dcr"))
        if ohms is None:
            ohms = 0.01 * own.get(("resistance", "load"), 100.0)
            note(
                f"the {name} winding of {part.name} has no resistance in the file: taken as"
                f" {ohms:.3g} ohm, 1 % of its load where one is written"
            )
        sizes[run], resistances[run] = size, ohms
        load = load or own.get(("resistance", "load"))
    if lost or not runs:
        return (), 0.0
    scale = sizes[runs[0]]
    made = []
    for run in runs:
        name, pieces = run[0].split(".")[0], len(run) - 1
        for n in range(pieces):
            row = f"{part.name}.{name}" + (f".{n + 1}" if pieces > 1 else "")
            made.append(
                Winding(
                    part,
                    row,
                    f"{part.name}.core",
                    part.node(run[n]),
                    part.node(run[n + 1]),
                    sizes[run] / pieces / scale,
                    max(resistances[run] / pieces, 1e-3),
                )
            )
    return tuple(made), _magnetising(part, runs[0][0].split(".")[0], load, scale, hertz, note)


def _values(part: Part, winding: str) -> dict[tuple[str, str], float]:
    return {
        (value.dimension, value.role): value.amount
        for value in dict(part.windings).get(winding, ())
    }


def _magnetising(
    part: Part,
    first: str,
    load: float | None,
    size: float,
    hertz: float,
    note: Callable[[str], None],
) -> float:
    henries = _values(part, first).get(("inductance", ""))
    if henries is not None:
        return henries
    if part.kind == "output transformer":
        henries = (load or size**2) / (2 * pi * 80)
        note(
            f"{part.name} has no primary inductance in the file: taken as {henries:.2g} H, whose"
            " reactance equals the load at 80 Hz"
        )
    else:
        rated = part.value("apparent-power") or part.value("power") or 50.0
        henries = size**2 / (0.2 * rated) / (2 * pi * (hertz or 60.0))
        note(
            f"{part.name} has no magnetising inductance in the file: taken as {henries:.2g} H, a"
            " fifth of its rated current"
        )
    return henries


def rings(
    found: Sequence[Winding], line: tuple[str, str] | None, volts: float, point: Mapping[str, str]
) -> tuple[Problem, ...]:
    """Return a problem for every shorted winding and every ring of windings whose volts do not
    agree.

    ``line`` is the pair of nodes the line is on. Volts of a core are unknown until a ring with the
    line, or with a core already known, tells them; a ring that then tells otherwise has nothing but
    copper to limit its current.
    """
    problems, edges = [], [(line[0], line[1], {"": volts}, "the line", None)] if line else []
    for one in found:
        if point[one.a] == point[one.b]:
            problems.append(
                Problem(
                    f"both ends of {one.row} are on one point: a short circuit of the winding",
                    one.part.place,
                    hint=f"take one end of {one.row} off, or take the wire out that joins them",
                )
            )
        else:
            edges.append((one.a, one.b, {one.core: one.turns}, one.row, one.part))
    tree: dict[str, list[tuple[str, dict[str, float], str]]] = {}
    known: dict[str, dict[str, float]] = {}
    for a, b, form, name, part in edges:
        start, end = point[a], point[b]
        path = _path(tree, start, end)
        if path is None:
            tree.setdefault(start, []).append((end, form, name))
            tree.setdefault(end, []).append(
                (start, {core: -turns for core, turns in form.items()}, name)
            )
            continue
        names = [step for _, _, step in path]
        ring = dict(form)
        for _, step, _ in path:
            ring = _sum(ring, step, -1.0)
        for core in [core for core in ring if core in known]:
            turns = ring.pop(core)
            ring = _sum(ring, known[core], turns)
        cores = [core for core, turns in ring.items() if core and abs(turns) > 1e-9]
        if cores:
            core = cores[0]
            turns = ring.pop(core)
            known[core] = {other: -amount / turns for other, amount in ring.items()}
            known = {
                name: _sum(
                    {k: v for k, v in rest.items() if k != core}, known[core], rest.get(core, 0.0)
                )
                for name, rest in known.items()
            }
        elif part is not None and abs(ring.get("", 0.0)) > RING_SHARE * abs(
            sum(turns * known.get(core, {}).get("", 0.0) for core, turns in form.items())
        ):
            others = " and ".join(dict.fromkeys(names))
            problems.append(
                Problem(
                    f"{name} and {others} make a ring whose volts do not agree by"
                    f" {abs(ring['']):.3g} V: only their copper limits the current",
                    part.place,
                    hint=(
                        f"open the ring: take one end of {name} off, or turn it round if it is the"
                        " wrong way about"
                    ),
                )
            )
    return tuple(problems)


def _sum(one: Mapping[str, float], other: Mapping[str, float], times: float) -> dict[str, float]:
    return {key: one.get(key, 0.0) + times * other.get(key, 0.0) for key in {**one, **other}}


def _path(tree, start: str, end: str):
    """Return the steps from ``start`` to ``end`` in a forest, or None where there is no way."""
    stack, seen = [(start, ())], {start}
    while stack:
        at, steps = stack.pop()
        if at == end:
            return steps
        for step in tree.get(at, ()):
            if step[0] not in seen:
                seen.add(step[0])
                stack.append((step[0], (*steps, step)))
    return None

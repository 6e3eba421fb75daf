"""A sheet while it is drafted: pieces in their places, wires in the grid; and the wires as runs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from rework.draw.layout.netlist import Netlist
from rework.draw.layout.pose import Tag
from rework.draw.layout.sketch import PiecePlace, Spot
from rework.draw.layout.wording import Label
from rework.draw.routing.grid import Grid
from rework.draw.routing.router import Task
from rework.draw.schematic import At, Dot, Run
from rework.draw.symbols.pen import Side

#: How much longer than the shortest tree a net may be, u: a third of a sheet, as round its edge.
_ROUND_ABOUT = 48


@dataclass(slots=True)
class Draft:
    """A sheet before it is drawn: the plan, the places, the wires in the grid, labels and signs."""

    nets: Netlist
    spots: Mapping[str, Spot]
    place: Mapping[str, PiecePlace]
    grid: Grid
    tasks: list[Task]
    tags: list[Tag] = field(default_factory=list)
    labels: dict[str, Label] = field(default_factory=dict)
    failed: set[str] = field(default_factory=set)
    flags: list[tuple[str, tuple[int, int], Side]] = field(default_factory=list)
    ghosts: list[Spot] = field(default_factory=list)
    linkages: list[tuple[At, ...]] = field(default_factory=list)


def runs_of(draft: Draft, task: Task) -> list[Run]:
    """Return the straight runs of a net's wires between bends, ends and junctions."""
    grid = draft.grid
    arms = grid.wires[task.number].arms
    role = draft.nets.nets[task.name].role
    runs = []
    for point, mask in sorted(arms.items()):
        for direction in (0, 1):
            if not _wired_to(draft, task.number, point, direction):
                continue
            back = (direction + 2) % 4
            if _wired_to(draft, task.number, point, back) and mask.bit_count() == 2:
                continue
            last = point + grid.step[direction]
            while arms[last].bit_count() == 2 and _wired_to(draft, task.number, last, direction):
                last += grid.step[direction]
            runs.append(Run(grid.at(point), grid.at(last), task.name, role))
    return runs


def _wired_to(draft: Draft, number: int, point: int, direction: int) -> bool:
    """True where a wire of the net runs from a point to the next; a lead is no wire."""
    arms = draft.grid.wires[number].arms
    after = point + draft.grid.step[direction]
    return (
        bool(arms[point] >> direction & 1)
        and after in arms
        and bool(arms[after] >> (direction + 2) % 4 & 1)
    )


def dots_of(draft: Draft, task: Task) -> list[Dot]:
    """Return the points where three wires or leads of a net meet."""
    arms = draft.grid.wires[task.number].arms
    role = draft.nets.nets[task.name].role
    return [
        Dot(draft.grid.at(point), task.name, role)
        for point, mask in sorted(arms.items())
        if mask.bit_count() > 2
    ]


def detour(draft: Draft) -> int:
    """Return by how much, u, wires run further than they may: for each net the shortest tree that
    joins its ends (Prim 1957), and some way round what is between them.
    """
    further = 0
    for task in draft.tasks:
        if len(task.ends) > 1 and draft.nets.shown(task.name) != "sign":
            ends = [(end.x, end.y) for end in task.ends]
            further += max(0, draft.grid.length(task.number) - _tree(ends) - _ROUND_ABOUT)
    return further


def _tree(ends: list[tuple[int, int]]) -> int:
    """Return the length of the shortest tree of level and upright wires between points."""
    rest = {at: abs(at[0] - ends[0][0]) + abs(at[1] - ends[0][1]) for at in ends[1:]}
    total = 0
    while rest:
        nearest = min(rest, key=lambda at: (rest[at], at))
        total += rest.pop(nearest)
        for at in rest:
            away = abs(at[0] - nearest[0]) + abs(at[1] - nearest[1])
            rest[at] = min(rest[at], away)
    return total

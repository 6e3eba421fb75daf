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
from rework.draw.schematic import Dot, Run
from rework.draw.symbols.pen import Side


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

"""All nets of a sheet: rails first along their line, then the shortest, then again what crosses.

Every pin and every sign of a net is an end; ends are joined two groups at a time by the cheapest
way, nearest first. A net that crosses others is taken up and laid again when all the others lie
(rip-up and reroute).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from rework.draw.routing.grid import Grid
from rework.draw.routing.way import Costs, cheapest, fewest_bends, walled_in
from rework.draw.symbols.pen import Box, Side

#: The side on which a wire leaves a pin, by the number of the direction that its lead comes from.
_AWAY: tuple[Side, ...] = ("left", "up", "right", "down")
#: How often all nets that cross or failed are laid again.
_ROUNDS = 3
#: How far around the pins of a net that failed other wires give way, u.
_AROUND = 4
#: From so many points on, once is enough: a sheet of that size is cut into several.
_LARGE = 40_000


@dataclass(frozen=True, slots=True)
class End:
    """A point of a net that must be joined: where, and the direction its own lead comes from."""

    x: int
    y: int
    lead: int


@dataclass(slots=True)
class Task:
    """One net to lay: its number, its ends, those of them that are signs (what has a sign need not
    be joined to another), wires that are there already, and lines it is to lie on.
    """

    name: str
    number: int
    ends: list[End]
    signs: list[tuple[int, int]] = field(default_factory=list)
    laid: list[tuple[tuple[int, int], ...]] = field(default_factory=list)
    trunks: list[tuple[tuple[int, int], ...]] = field(default_factory=list)


@dataclass(slots=True)
class Router:
    """Lays the nets of one sheet into its grid."""

    grid: Grid
    costs: Costs = field(default_factory=Costs)
    base: dict[int, dict[int, int]] = field(default_factory=dict)
    failed: set[str] = field(default_factory=set)
    #: How many nets came to lie better than before; and of each net, how many had when it was last
    #: laid again: until another does, it would come to lie the same.
    improved: int = 0
    tried: dict[str, int] = field(default_factory=dict)

    def prepare(self, tasks: Sequence[Task]) -> None:
        """Take the points of all pins and of all wires that signs add."""
        for task in tasks:
            for end in task.ends:
                self.grid.hold(task.number, self.grid.point((end.x, end.y)), end.lead)
            for corners in task.laid:
                self.grid.lay(task.number, self._points(corners))
            self.base[task.number] = dict(self.grid.wires[task.number].arms)

    def route(self, tasks: Sequence[Task]) -> None:
        """Lay every net; names of those that could not be joined are in ``failed``."""
        order = sorted(tasks, key=lambda task: (not task.trunks, _span(task), task.name))
        for task in order:
            self._lay(task)
        for _ in range(_ROUNDS if len(self.grid.closed) < _LARGE else 1):
            again = [
                task
                for task in order
                if task.name in self.failed
                or self.grid.crossings(task.number)
                or self.grid.close_by(task.number)
                or (self.grid.bends(task.number) and self.cost(task) > _least(task, self.costs))
            ]
            better = sum(self._again(task) for task in again)
            for task in [task for task in order if task.name in self.failed]:
                better += self._make_way(task, order)
            if not better:
                break

    def _make_way(self, task: Task, order: Sequence[Task]) -> bool:
        """Lay a net that failed once more with the wires around its pins taken up, and those anew
        after it; keep that where fewer fail then, and say whether they do.
        """
        grid = self.grid
        near: set[int] = set()
        for end in task.ends:
            here = Box(end.x, end.y, end.x, end.y).grown(_AROUND)
            near |= {
                n for p in grid.inside(here) for n in (grid.level[p], grid.upright[p], grid.node[p])
            }
        lifted = [t for t in order if t.number in near and t is not task]
        before = {t.number: dict(grid.wires[t.number].arms) for t in (task, *lifted)}
        failed = set(self.failed)
        for other in lifted:
            grid.lift(other.number, self.base[other.number])
        for net in (task, *lifted):
            self._lay(net)
        if len(self.failed) < len(failed):
            self.improved += 1
            return True
        for number in before:
            grid.lift(number, self.base[number])
        for number, arms in before.items():
            grid.lift(number, arms)
        self.failed = failed
        return False

    def to_free_room(
        self, number: int, group: set[int], fits: Callable[[int, int], bool]
    ) -> tuple[int, int] | None:
        """Lay a wire from a group of a net to the nearest point where a flag fits, and return the
        point and the direction of arrival; None where there is no room at all.
        """
        everywhere = range(len(self.grid.closed))
        whole = (0, 0, self.grid.width, self.grid.height)
        line = cheapest(self.grid, number, sorted(group), everywhere, whole, self.costs, ends=fits)
        if line is None:
            return None
        direction = self.grid.step.index(line[-1] - line[-2])
        self.grid.lay(number, line)
        self.grid.hold(number, line[-1], direction)
        return line[-1], direction

    def groups(self, number: int) -> list[set[int]]:
        """Return the points of a net that wires hold together, as sets."""
        return self._groups(number)

    def cost(self, task: Task) -> float:
        """Return what a net costs as it lies."""
        number = task.number
        return (
            self.grid.length(number)
            + self.costs.bend * self.grid.bends(number)
            + self.costs.crossing * self.grid.crossings(number)
            + self.costs.beside * self.grid.close_by(number)
            + sum(self.grid.text[point] for point in self.grid.wires[number].arms)
            + (1000.0 if task.name in self.failed else 0.0)
        )

    def _again(self, task: Task) -> bool:
        """Lay a net anew; keep what is better, and say whether it is the new one."""
        if self.tried.get(task.name) == self.improved:
            return False
        before, cost, failed = (
            dict(self.grid.wires[task.number].arms),
            self.cost(task),
            task.name in self.failed,
        )
        self._lay(task)
        better = self.cost(task) < cost - 1e-6
        self.improved += better
        self.tried[task.name] = self.improved
        if better:
            return True
        self.grid.lift(task.number, before)
        if failed:
            self.failed.add(task.name)
        else:
            self.failed.discard(task.name)
        return False

    def _lay(self, task: Task) -> None:
        grid, number = self.grid, task.number
        grid.lift(number, self.base[number])
        self.failed.discard(task.name)
        for corners in task.trunks:
            self._trunk(number, self._points(corners))
        groups = self._groups(number)
        signs = {grid.point(at) for at in task.signs}
        while len(groups) > 1:
            groups.sort(key=lambda group: (_gap(grid, group, groups), len(group), min(group)))
            open_groups = [group for group in groups if not group & signs]
            if not open_groups:
                break
            if not self._join(number, groups, open_groups):
                self.failed.add(task.name)
                return
        self._prune(number)

    def _trunk(self, number: int, points: list[int]) -> None:
        """Lay the free runs of a trunk; of an upright one, which wires across would cut, all or
        nothing.
        """
        grid = self.grid
        runs: list[list[int]] = [[]]
        for point in points:
            node = grid.node[point]
            taken = grid.closed[point] or grid.level[point] or grid.upright[point]
            if taken or (node and node != number):
                runs.append([])
            else:
                runs[-1].append(point)
        is_upright = abs(points[-1] - points[0]) >= grid.width
        for run in runs if len(runs) == 1 or not is_upright else []:
            if len(run) > 1:
                grid.lay(number, run)

    def _join(self, number: int, groups: list[set[int]], chosen: list[set[int]]) -> bool:
        """Join the first of the chosen groups that can be to another."""
        for group in chosen:
            goal = set().union(*(other for other in groups if other is not group))
            if walled_in(self.grid, number, group, goal):
                continue
            line = cheapest(
                self.grid, number, sorted(group), goal, _around(self.grid, goal), self.costs
            )
            if line is None:
                continue
            self.grid.lay(number, line)
            met = next(other for other in groups if line[-1] in other)
            groups.remove(group)
            met |= group
            met.update(line)
            return True
        return False

    def _groups(self, number: int) -> list[set[int]]:
        """Return the points of a net that wires hold together, as sets."""
        grid, arms = self.grid, self.grid.wires[number].arms
        seen: set[int] = set()
        groups = []
        for start in sorted(arms):
            if start in seen:
                continue
            group, waiting = {start}, [start]
            while waiting:
                here = waiting.pop()
                for direction in range(4):
                    after = here + grid.step[direction]
                    if (
                        arms[here] >> direction & 1
                        and after in arms
                        and arms[after] >> (direction + 2) % 4 & 1
                        and after not in group
                    ):
                        group.add(after)
                        waiting.append(after)
            seen |= group
            groups.append(group)
        return groups

    def _prune(self, number: int) -> None:
        """Take up what of a trunk leads nowhere."""
        grid = self.grid
        wires = grid.wires[number]
        arms = dict(wires.arms)
        loose = [p for p, mask in arms.items() if mask.bit_count() == 1 and p not in wires.held]
        while loose:
            point = loose.pop()
            mask = arms.pop(point, 0)
            for direction in range(4):
                if mask >> direction & 1:
                    after = point + grid.step[direction]
                    arms[after] &= ~(1 << (direction + 2) % 4)
                    if arms[after].bit_count() == 1 and after not in wires.held:
                        loose.append(after)
        grid.lift(number, arms)

    def _points(self, corners: Sequence[tuple[int, int]]) -> list[int]:
        return [self.grid.point(at) for at in along(corners)]


def along(corners: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    """Return every point of a path given by its corners."""
    points = [corners[0]]
    for x, y in corners[1:]:
        while points[-1] != (x, y):
            ax, ay = points[-1]
            points.append((ax + (x > ax) - (x < ax), ay + (y > ay) - (y < ay)))
    return points


def _span(task: Task) -> int:
    xs, ys = [end.x for end in task.ends], [end.y for end in task.ends]
    return max(xs, default=0) - min(xs, default=0) + max(ys, default=0) - min(ys, default=0)


def _around(grid: Grid, points: set[int]) -> tuple[int, int, int, int]:
    xs, ys = [point % grid.width for point in points], [point // grid.width for point in points]
    return min(xs), min(ys), max(xs), max(ys)


def _gap(grid: Grid, group: set[int], groups: list[set[int]]) -> int:
    """Return the distance from a group to the box of the nearest other."""
    left, top, right, bottom = _around(grid, group)
    best = 10**6
    for other in groups:
        if other is not group:
            a, b, c, d = _around(grid, other)
            best = min(best, max(a - right, left - c, 0) + max(b - bottom, top - d, 0))
    return best


def _least(task: Task, costs: Costs) -> float:
    """Return what a net between two pins costs at least, as ``cost`` counts; 0 for others."""
    if len(task.ends) != 2 or task.laid:
        return 0.0
    end, other = task.ends
    across, down = other.x - end.x, other.y - end.y
    turns = fewest_bends(_AWAY[end.lead], _AWAY[other.lead], across, down)
    return abs(across) + abs(down) + 1 + costs.bend * turns + 1e-6

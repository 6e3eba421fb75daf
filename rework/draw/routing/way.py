"""The cheapest way of one net from a point to any of its own wires (A*, Hart, Nilsson and Raphael
1968, on points with the direction of the last step).
"""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable
from dataclasses import dataclass
from heapq import heappop, heappush

from rework.draw.routing.grid import Grid


@dataclass(frozen=True, slots=True)
class Costs:
    """What a way costs beside 1 a step: a bend, a crossing, a step close beside another wire."""

    bend: float = 3.0
    crossing: float = 90.0
    beside: float = 0.6
    most: float = 4000.0


def cheapest(
    grid: Grid,
    net: int,
    starts: Iterable[int],
    goal: Container[int],
    aim: tuple[int, int, int, int],
    costs: Costs,
    *,
    ends: Callable[[int, int], bool] | None = None,
) -> list[int] | None:
    """Return the points of the cheapest way from one of some points of a net to ``goal``, or None.

    ``aim`` is a box of points (left, top, right, bottom in columns and rows of the grid) that holds
    the goal. ``ends(point, direction)`` says whether the way may end where it arrives; without it
    the wires of the net there must have an arm free.
    """
    may_end = ends or _joins(grid, net)
    rest = _Rest(grid, aim)
    best: dict[int, float] = {}
    came: dict[int, int] = {}
    queue: list[tuple[float, float, int]] = []
    for start in starts:
        for direction, cost in _first_steps(grid, net, start, costs):
            state = start * 4 + direction
            best[state] = cost
            heappush(queue, (cost + rest.of(start), cost, state))
    while queue:
        _, cost, state = heappop(queue)
        if cost > best[state]:
            continue
        direction = state & 3
        after = (state >> 2) + grid.step[direction]
        if after in goal:
            if may_end(after, direction):
                return _path(came, state, after)
            if ends is None:
                continue
        toll, turns = _entry(grid, net, after, direction, costs)
        step = cost + 1.0 + toll
        if step > costs.most:
            continue
        ahead = rest.of(after)
        for turn in turns:
            total = step if turn == direction else step + costs.bend
            following = after * 4 + turn
            if total < best.get(following, costs.most):
                best[following] = total
                came[following] = state
                heappush(queue, (total + ahead, total, following))
    return None


class _Rest:
    """The distance from a point to the box that holds the goal: no way is shorter."""

    def __init__(self, grid: Grid, aim: tuple[int, int, int, int]) -> None:
        left, top, right, bottom = aim
        self._width = grid.width
        self._across = [max(left - x, x - right, 0) for x in range(grid.width)]
        self._down = [max(top - y, y - bottom, 0) for y in range(grid.height)]

    def of(self, point: int) -> int:
        """Return the distance of one point."""
        return self._across[point % self._width] + self._down[point // self._width]


#: The directions in which a way may go on, by the one it came in.
_TURNS = tuple((d, (d + 1) & 3, (d + 3) & 3) for d in range(4))


def _entry(
    grid: Grid, net: int, point: int, direction: int, costs: Costs
) -> tuple[float, tuple[int, ...]]:
    """Return what it costs to step onto a point beside the step itself, and the directions in which
    the way may go on: straight only over another wire, none where the point is taken.
    """
    along, across = (grid.upright, grid.level) if direction & 1 else (grid.level, grid.upright)
    crossed = across[point]
    if grid.closed[point] or grid.node[point] or along[point] or crossed == net:
        return 0.0, ()
    toll = grid.text[point]
    side = grid.step[direction ^ 1]
    one, other = along[point + side], along[point - side]
    if (one and one != net) or (other and other != net):
        toll += costs.beside
    return (toll + costs.crossing, (direction,)) if crossed else (toll, _TURNS[direction])


def _joins(grid: Grid, net: int) -> Callable[[int, int], bool]:
    arms = grid.wires[net].arms

    def ends(point: int, direction: int) -> bool:
        """True where a wire arriving makes no four-way junction and meets no crossing."""
        mask = arms.get(point, 0)
        if mask >> (direction + 2) % 4 & 1 or mask.bit_count() > 2:
            return False
        level, upright = grid.level[point], grid.upright[point]
        return not (level and upright and level != upright)

    return ends


def _first_steps(grid: Grid, net: int, start: int, costs: Costs) -> Iterable[tuple[int, float]]:
    """Yield the directions in which a wire may leave a point of the net, each with its cost."""
    mask = grid.wires[net].arms.get(start, 0)
    level, upright = grid.level[start], grid.upright[start]
    if mask.bit_count() > 2 or (level and upright and level != upright):
        return
    for direction in range(4):
        if not mask >> direction & 1:
            straight = mask == 1 << (direction + 2) % 4
            yield direction, 0.0 if straight or not mask else costs.bend


def _path(came: dict[int, int], state: int, last: int) -> list[int]:
    points = [last]
    while True:
        points.append(state >> 2)
        if state not in came:
            break
        state = came[state]
    return points[::-1]

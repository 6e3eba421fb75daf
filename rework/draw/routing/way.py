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
    closed, text = grid.closed, grid.text
    level, upright, node, steps = grid.level, grid.upright, grid.node, grid.step
    left, top, right, bottom = aim
    best: dict[int, float] = {}
    came: dict[int, int] = {}
    queue: list[tuple[float, float, int]] = []

    width = grid.width
    across_to = [max(left - x, x - right, 0) for x in range(width)]
    down_to = [max(top - y, y - bottom, 0) for y in range(grid.height)]
    for start in starts:
        for direction, cost in _first_steps(grid, net, start, costs):
            state = start * 4 + direction
            best[state] = cost
            heappush(
                queue, (cost + across_to[start % width] + down_to[start // width], cost, state)
            )
    while queue:
        _, cost, state = heappop(queue)
        if cost > best[state]:
            continue
        here, direction = state >> 2, state & 3
        after = here + steps[direction]
        if closed[after]:
            if after not in goal:
                continue
        step = cost + 1.0 + text[after]
        along, across = (level, upright) if direction & 1 == 0 else (upright, level)
        if after in goal:
            if may_end(after, direction):
                return _path(came, state, after)
            if ends is None:
                continue
        if node[after] or along[after]:
            continue
        crossed = across[after]
        if crossed:
            if crossed == net:
                continue
            step += costs.crossing
        side = steps[direction ^ 1]
        one, other = along[after + side], along[after - side]
        if (one and one != net) or (other and other != net):
            step += costs.beside
        if step > costs.most:
            continue
        ahead = across_to[after % width] + down_to[after // width]
        for turn in (
            (direction,) if crossed else (direction, (direction + 1) & 3, (direction + 3) & 3)
        ):
            total = step if turn == direction else step + costs.bend
            following = after * 4 + turn
            if total < best.get(following, 1e18):
                best[following] = total
                came[following] = state
                heappush(queue, (total + ahead, total, following))
    return None


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

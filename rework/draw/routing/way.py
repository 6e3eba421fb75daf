"""The cheapest way of one net from a point to any of its own wires (A*, Hart, Nilsson and Raphael
1968, on points with the direction of the last step).
"""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable
from dataclasses import dataclass
from heapq import heappop, heappush

from rework.draw.routing.grid import Grid
from rework.draw.symbols.pen import AHEAD, Side


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
    across, down = _distances(grid, aim)
    width, most, bend, step_of = grid.width, costs.most, costs.bend, grid.step
    entry = (_entry_of(grid, net, costs, 0), _entry_of(grid, net, costs, 1))
    best: dict[int, float] = {}
    came: dict[int, int] = {}
    queue: list[tuple[float, float, int]] = []
    for start in starts:
        for direction, cost in _first_steps(grid, net, start, costs):
            state = start * 4 + direction
            best[state] = cost
            heappush(queue, (cost + across[start % width] + down[start // width], cost, state))
    while queue:
        _, cost, state = heappop(queue)
        if cost > best[state]:
            continue
        direction = state & 3
        after = (state >> 2) + step_of[direction]
        if after in goal:
            if may_end(after, direction):
                return _path(came, state, after)
            if ends is None:
                continue
        toll, turns = entry[direction & 1](after)
        straight = cost + 1.0 + toll
        if straight > most:
            continue
        ahead = across[after % width] + down[after // width]
        for turn in turns[direction]:
            total = straight if turn == direction else straight + bend
            following = after * 4 + turn
            if total < best.get(following, most):
                best[following] = total
                came[following] = state
                heappush(queue, (total + ahead, total, following))
    return None


def _distances(grid: Grid, aim: tuple[int, int, int, int]) -> tuple[list[int], list[int]]:
    """Return the distances of every column and of every row to the box that holds the goal: no way
    is shorter than their sum.
    """
    left, top, right, bottom = aim
    return (
        [max(left - x, x - right, 0) for x in range(grid.width)],
        [max(top - y, y - bottom, 0) for y in range(grid.height)],
    )


#: The directions in which a way may go on, by the one it came in.
_TURNS = tuple((d, (d + 1) & 3, (d + 3) & 3) for d in range(4))


_STRAIGHT = tuple((d,) for d in range(4))
_NOWHERE: tuple[tuple[int, ...], ...] = ((),) * 4
_Entry = tuple[float, tuple[tuple[int, ...], ...]]


def _entry_of(grid: Grid, net: int, costs: Costs, upright: int) -> Callable[[int], _Entry]:
    """Return what tells of a point stepped on level (0) or upright (1) what it costs beside the
    step itself, and the directions in which the way may go on by the one it came in: straight only
    over another wire, none where the point is taken.
    """
    along, across = (grid.upright, grid.level) if upright else (grid.level, grid.upright)
    side = 1 if upright else grid.width
    closed, node, text = grid.closed, grid.node, grid.text
    beside, crossing = costs.beside, costs.crossing

    def entry(point: int) -> _Entry:
        crossed = across[point]
        if closed[point] or node[point] or along[point] or crossed == net:
            return 0.0, _NOWHERE
        toll = text[point]
        first, second = along[point + side], along[point - side]
        if (first and first != net) or (second and second != net):
            toll += beside
        return (toll + crossing, _STRAIGHT) if crossed else (toll, _TURNS)

    return entry


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


def fewest_bends(first: Side, second: Side, across: int, down: int) -> int:
    """Return the fewest bends of a wire between two leads, the second ``across`` to the right and
    ``down`` from the first, that leaves each on its side.
    """
    (ax, ay), (bx, by) = AHEAD[first], AHEAD[second]
    ahead = across * ax + down * ay
    aside = abs(across * ay) + abs(down * ax)
    back = -(across * bx + down * by)
    if (ax, ay) == (-bx, -by):  # they face one another, or stand back to back
        if ahead > 0:
            return 0 if not aside else 2
        return 4
    if (ax, ay) == (bx, by):
        return 2 if aside else 3
    return 1 if ahead > 0 and back > 0 else 3

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
    beside: float = 3.5
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
    the wires of the net there must have an arm free. A way goes straight only over another wire.

    A state is a point with the direction of the next step, as one number; its place in the queue is
    one whole number too: least cost of the whole way first, then least cost so far.
    """
    may_end = ends or _joins(grid, net)
    bend, crossing, beside = _whole(costs.bend), _whole(costs.crossing), _whole(costs.beside)
    across, down = _distances(grid, aim)
    width, step_of, closed, node, text = grid.width, grid.step, grid.closed, grid.node, grid.text
    planes = ((grid.level, grid.upright, width), (grid.upright, grid.level, 1))
    states = 4 * len(closed)
    best = [_whole(costs.most)] * states
    done = bytearray(states)
    came: dict[int, int] = {}
    queue: list[int] = []
    for state, cost in _first_steps(grid, net, starts, bend):
        best[state], came[state] = cost, -1
        ahead = across[(state >> 2) % width] + down[(state >> 2) // width]
        heappush(queue, ((cost + ahead) * _DEAR + cost) * states + state)
    while queue:
        state = heappop(queue) % states
        if done[state]:
            continue
        done[state] = 1
        direction, point = state & 3, (state >> 2) + step_of[state & 3]
        if point in goal and may_end(point, direction):
            return _path(came, state, point)
        along, others, side = planes[direction & 1]
        crossed = others[point]
        if closed[point] or node[point] or along[point] or crossed == net:
            continue
        first = along[point + side] or node[point + side]
        second = along[point - side] or node[point - side]
        close = (first and first != net) or (second and second != net)
        straight = best[state] + _STEP * (1 + text[point]) + (beside if close else 0)
        straight += crossing if crossed else 0
        ahead = across[point % width] + down[point // width]
        for turn in _STRAIGHT[direction] if crossed else _TURNS[direction]:
            following, after = point * 4 + turn, point + step_of[turn]
            cost = straight if turn == direction else straight + bend
            taken = (closed[after] or node[after]) and after not in goal
            if cost < best[following] and not taken:
                best[following], came[following] = cost, state
                heappush(queue, ((cost + ahead) * _DEAR + cost) * states + following)
    return None


#: What a step costs in the search, where costs are whole numbers: tenths.
_STEP = 10
#: More than the dearest way costs, in tenths.
_DEAR = 1 << 16
#: The directions in which a way may go on, by the one it came in.
_TURNS = tuple((d, (d + 1) & 3, (d + 3) & 3) for d in range(4))
_STRAIGHT = tuple((d,) for d in range(4))


#: So many states are followed back from a goal at most.
_POCKET = 400


def _whole(cost: float) -> int:
    return round(cost * _STEP)


def _distances(grid: Grid, aim: tuple[int, int, int, int]) -> tuple[list[int], list[int]]:
    """Return the distances of every column and of every row to the box that holds the goal, in
    tenths: no way is shorter than their sum.
    """
    left, top, right, bottom = aim
    return (
        [max(left - x, x - right, 0) * _STEP for x in range(grid.width)],
        [max(top - y, y - bottom, 0) * _STEP for y in range(grid.height)],
    )


def walled_in(grid: Grid, net: int, starts: Container[int], goal: Iterable[int]) -> bool:
    """True where so few states lead to ``goal`` that they were all followed back, and none of them
    leaves ``starts``: there is no way, which ``cheapest`` would find out only after all of the
    sheet.
    """
    may_end, step_of = _joins(grid, net), grid.step
    waiting = [(point, d) for point in goal for d in range(4) if may_end(point, d)]
    seen = set(waiting)
    while waiting and len(seen) < _POCKET:
        point, direction = waiting.pop()
        before = point - step_of[direction]
        if before in starts:
            return False
        if grid.closed[before] or grid.node[before]:
            continue
        for turn in _TURNS[direction]:
            along, crossed = grid.level[before], grid.upright[before]
            if turn & 1:
                along, crossed = crossed, along
            free = not along and crossed != net and (turn == direction or not crossed)
            if free and (before, turn) not in seen:
                seen.add((before, turn))
                waiting.append((before, turn))
    return not waiting


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


def _first_steps(
    grid: Grid, net: int, starts: Iterable[int], bend: int
) -> Iterable[tuple[int, int]]:
    """Yield the states in which a wire may leave some points of the net, each with its cost."""
    arms = grid.wires[net].arms
    for start in starts:
        mask = arms.get(start, 0)
        level, upright = grid.level[start], grid.upright[start]
        if mask.bit_count() > 2 or (level and upright and level != upright):
            continue
        for direction in range(4):
            if not mask >> direction & 1:
                straight = mask == 1 << (direction + 2) % 4
                yield start * 4 + direction, 0 if straight or not mask else bend


def _path(came: dict[int, int], state: int, last: int) -> list[int]:
    points = [last]
    while state >= 0:
        points.append(state >> 2)
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

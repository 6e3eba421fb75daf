"""The way of a hazard on a sheet: from the blade of the plug along wires and through parts to where
the hand is.
"""

from __future__ import annotations

from collections import deque
from itertools import pairwise

from rework.draw.overlay import Way
from rework.draw.routing.router import along
from rework.draw.schematic import At, Schematic
from rework.draw.symbols.pen import AHEAD

#: How far the way of a hazard goes into the plug and into what a hand touches, u, where that is so
#: deep.
_INSIDE = 5


def ways_of(sheet: Schematic, ways: tuple[Way, ...]) -> tuple[tuple[At, ...], ...]:
    """Return the corners of every way from the blade to the hand, along wires and through parts."""
    at: dict[str, list[At]] = {}
    inner: dict[At, At] = {}
    for placed in sheet.placed:
        for terminal, (x, y), side in placed.leads():
            at.setdefault(f"{placed.part}.{terminal}", []).append((x, y))
            dx, dy = AHEAD[side]
            body = placed.body
            deep = max(
                (x - body.left) * dx,
                (x - body.right) * dx,
                (y - body.top) * dy,
                (y - body.bottom) * dy,
            )
            inside = min(_INSIDE, int(deep))
            inner[x, y] = (x - inside * dx, y - inside * dy)
    lines: list[tuple[At, ...]] = []
    for way in sorted(ways, key=lambda way: (way.rank, len(way.steps)))[:1]:
        reached = ""
        for step in way.steps:
            into, out_of = f"{step.part}.{step.into}", f"{step.part}.{step.out_of}"
            pins = [at[pin][0] for pin in (into, out_of) if pin in at]
            if not step.into and pins:  # from the blade of the plug
                lines.append((inner[pins[0]], pins[0]))
            if reached in at and into in at:
                lines += _along_net(sheet, at[reached][0], at[into][0])
            elif step.into and (reached in at or into in at):  # the other end is on another sheet
                lines += _to_sign(sheet, at[reached if reached in at else into][0])
            if len(pins) == 2:
                lines.append(tuple(pins))
            reached = out_of
        touch = [
            point
            for placed in sheet.placed
            if placed.hazard
            for terminal, point, _ in placed.leads()
            for sign in sheet.signs
            if sign.net == way.node and sign.at == point
        ]
        if reached in at and touch:
            lines += _along_net(sheet, at[reached][0], touch[0])
            lines.append((touch[0], inner[touch[0]]))
    return tuple(dict.fromkeys(lines))


def _along_net(sheet: Schematic, start: At, stop: At) -> list[tuple[At, ...]]:
    """Return the way along wires between two points; by way of signs the way to each sign."""
    line = _walk(sheet, start, {stop})
    return [line] if line else [*_to_sign(sheet, start), *_to_sign(sheet, stop)]


def _to_sign(sheet: Schematic, end: At) -> list[tuple[At, ...]]:
    """Return the way along wires from a point to the nearest sign of its net, and into a sign."""
    kinds = {sign.at: sign.kind for sign in sheet.signs}
    line = (end,) if end in kinds else _walk(sheet, end, set(kinds))
    if not line:
        return []
    x, y = line[-1]
    return [line if kinds[x, y] == "flag" else (*line, (x, y + 2))]


def _walk(sheet: Schematic, start: At, goals: set[At]) -> tuple[At, ...]:
    """Return the points from a start to the nearest goal along the net's wires; empty if none."""
    net = next((run.net for run in sheet.runs if start in (run.start, run.stop)), None)
    steps: dict[At, set[At]] = {}
    for run in sheet.runs:
        if run.net == net:
            for first, second in pairwise(along((run.start, run.stop))):
                steps.setdefault(first, set()).add(second)
                steps.setdefault(second, set()).add(first)
    came: dict[At, At] = {start: start}
    waiting = deque([start])
    while waiting:
        here = waiting.popleft()
        if here in goals and (here != start or len(goals) > 1):
            path = [here]
            while came[path[-1]] != path[-1]:
                path.append(came[path[-1]])
            return tuple(path[::-1])
        for after in sorted(steps.get(here, ())):
            if after not in came:
                came[after] = here
                waiting.append(after)
    return ()

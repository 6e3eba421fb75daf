"""The grid of a sheet: what every point is taken by, so that no two nets ever touch.

A point is closed (a symbol or a sign covers it), or holds the wires of at most two nets, and of two
only where both run straight across one another.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import pairwise

from rework.draw.symbols.pen import Box

#: Directions by number: right, down, left, up; the opposite is two further on.
STEPS = ((1, 0), (0, 1), (-1, 0), (0, -1))
SIDE_NUMBER = {"right": 0, "down": 1, "left": 2, "up": 3}
#: Points kept free outside of everything drawn.
MARGIN = 6

At = tuple[int, int]


@dataclass(slots=True)
class Wires:
    """The wires of one net: the arms of every point, a bit a direction; ``held`` are its pins."""

    arms: dict[int, int] = field(default_factory=dict)
    held: set[int] = field(default_factory=set)


class Grid:
    """Points of a sheet from (left, top), numbered row by row."""

    def __init__(self, bounds: Box) -> None:
        self.left = int(bounds.left) - MARGIN
        self.top = int(bounds.top) - MARGIN
        self.width = int(bounds.right) + MARGIN - self.left + 1
        self.height = int(bounds.bottom) + MARGIN - self.top + 1
        size = self.width * self.height
        self.closed = bytearray(size)
        #: What a step onto a point costs more, in steps.
        self.text = [0] * size
        #: Net number of a wire that runs level or upright through a point, 0 for none.
        self.level = [0] * size
        self.upright = [0] * size
        #: Net number that has a bend, an end, a junction or a pin at a point.
        self.node = [0] * size
        self.wires: dict[int, Wires] = {}
        self.step = (1, self.width, -1, -self.width)
        for x in range(self.width):
            self.closed[x] = self.closed[(self.height - 1) * self.width + x] = 1
        for y in range(self.height):
            self.closed[y * self.width] = self.closed[(y + 1) * self.width - 1] = 1

    def point(self, at: At) -> int:
        """Return the number of a point."""
        return (at[1] - self.top) * self.width + at[0] - self.left

    def at(self, point: int) -> At:
        """Return the place of a point."""
        y, x = divmod(point, self.width)
        return x + self.left, y + self.top

    def inside(self, box: Box) -> Iterable[int]:
        """Yield the points in a box, edges included."""
        for y in range(_up(box.top), _down(box.bottom) + 1):
            for x in range(_up(box.left), _down(box.right) + 1):
                yield self.point((x, y))

    def close(self, box: Box) -> None:
        """Close the points in a box."""
        for point in self.inside(box):
            self.closed[point] = 1

    def write(self, box: Box, cost: int) -> None:
        """Make the points in a box dear: text is there."""
        for point in self.inside(box):
            self.text[point] = max(self.text[point], cost)

    def shun(self, box: Box, cost: int) -> None:
        """Make the points outside of a box dear: the sheet would grow by them."""
        left, right = _up(box.left) - self.left, _down(box.right) - self.left
        for y in range(self.height):
            row = range(y * self.width, (y + 1) * self.width)
            if _up(box.top) <= y + self.top <= _down(box.bottom):
                row_outside = (*row[:left], *row[right + 1 :])
            else:
                row_outside = tuple(row)
            for point in row_outside:
                self.text[point] = max(self.text[point], cost)

    # wires

    def lay(self, net: int, points: list[int]) -> None:
        """Lay a wire of a net through neighbouring points."""
        arms = self.wires.setdefault(net, Wires()).arms
        for here, after in pairwise(points):
            direction = self.step.index(after - here)
            arms[here] = arms.get(here, 0) | 1 << direction
            arms[after] = arms.get(after, 0) | 1 << (direction + 2) % 4
        for point in points:
            self._mark(net, point)

    def hold(self, net: int, point: int, direction: int) -> None:
        """Give a point to a net for a pin or a sign whose lead comes from a direction."""
        wires = self.wires.setdefault(net, Wires())
        wires.arms[point] = wires.arms.get(point, 0) | 1 << direction
        wires.held.add(point)
        self._mark(net, point)

    def lift(self, net: int, kept: dict[int, int]) -> None:
        """Take up the wires of a net but for those in ``kept``."""
        wires = self.wires[net]
        for point in wires.arms:
            self._clear(net, point)
        wires.arms = dict(kept)
        for point in kept:
            self._mark(net, point)

    def _clear(self, net: int, point: int) -> None:
        for taken in (self.node, self.level, self.upright):
            if taken[point] == net:
                taken[point] = 0

    def _mark(self, net: int, point: int) -> None:
        """Say how a net takes a point: straight through, or as a node no other may touch."""
        wires = self.wires[net]
        mask = wires.arms[point]
        self._clear(net, point)
        if mask == 5 and point not in wires.held:
            self.level[point] = net
        elif mask == 10 and point not in wires.held:
            self.upright[point] = net
        else:
            self.node[point] = net

    def crossings(self, net: int) -> int:
        """Return at how many points a net crosses another."""
        crossings = 0
        for point in self.wires[net].arms if net in self.wires else ():
            level, upright = self.level[point], self.upright[point]
            crossings += bool(level and upright and level != upright)
        return crossings

    def close_by(self, net: int) -> int:
        """Return at how many points a straight wire of a net runs beside one of another."""
        count = 0
        for point, mask in self.wires[net].arms.items() if net in self.wires else ():
            if mask in (5, 10):
                along, side = (self.level, self.width) if mask == 5 else (self.upright, 1)
                first = along[point + side] or self.node[point + side]
                second = along[point - side] or self.node[point - side]
                count += bool((first and first != net) or (second and second != net))
        return count

    def bends(self, net: int) -> int:
        """Return at how many points a net turns."""
        arms = self.wires[net].arms if net in self.wires else {}
        return sum(mask in (3, 6, 9, 12) for mask in arms.values())

    def length(self, net: int) -> int:
        """Return the length of a net's wires, u, the last step into every lead included."""
        arms = self.wires[net].arms if net in self.wires else {}
        return sum(mask.bit_count() for mask in arms.values()) // 2


def _up(number: float) -> int:
    return -int(-number // 1)


def _down(number: float) -> int:
    return int(number // 1)

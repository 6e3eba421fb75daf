"""The cheapest way of a wire, held to shortest paths that networkx finds on the same grid."""

import random

import networkx as nx
import pytest

from rework.draw.routing.grid import Grid
from rework.draw.routing.way import Costs, cheapest, walled_in
from rework.draw.symbols.pen import Box


def scattered(seed: int) -> tuple[Grid, nx.Graph, int, int]:
    """Return a grid with blocks strewn over it, its free points as a graph, and two pins."""
    rng = random.Random(seed)
    grid = Grid(Box(0, 0, 10, 10))
    start, stop = grid.point((0, 0)), grid.point((10, 10))
    for point in range(len(grid.closed)):
        if rng.random() < 0.36 and point not in (start, stop):
            grid.closed[point] = 1
    free = nx.Graph()
    free.add_nodes_from(point for point, taken in enumerate(grid.closed) if not taken)
    free.add_edges_from((p, p + s) for p in free for s in (1, grid.width) if p + s in free)
    for pin in (start, stop):  # their leads come from the left and from the right
        lead = 2 if pin == start else 0
        grid.hold(1, pin, lead)
        free.remove_edges_from([(pin, pin + grid.step[lead])])
    return grid, free, start, stop


@pytest.mark.parametrize("seed", range(30))
def test_a_way_without_cost_for_bends_is_as_long_as_the_shortest_path(seed):
    grid, free, start, stop = scattered(seed)
    x, y = stop % grid.width, stop // grid.width
    line = cheapest(grid, 1, [start], {stop}, (x, y, x, y), Costs(bend=0.0))
    if not nx.has_path(free, start, stop):
        assert line is None
        return
    assert line is not None
    assert len(line) - 1 == nx.shortest_path_length(free, start, stop)
    assert not walled_in(grid, 1, {start}, {stop})


def test_a_pin_in_a_small_pocket_is_walled_in_and_one_beside_a_wire_that_can_be_crossed_is_not():
    grid = Grid(Box(0, 0, 20, 20))
    start, stop = grid.point((2, 10)), grid.point((16, 10))
    grid.hold(1, start, 2)
    grid.hold(1, stop, 0)
    grid.lay(2, [grid.point((13, y)) for y in range(21)])
    assert not walled_in(grid, 1, {start}, {stop})
    for x in range(14, 19):
        for y in (8, 12):
            grid.closed[grid.point((x, y))] = 1
    for y in range(8, 13):
        grid.closed[grid.point((14, y))] = grid.closed[grid.point((18, y))] = 1
    assert walled_in(grid, 1, {start}, {stop})
    aim = (stop % grid.width, stop // grid.width) * 2
    assert cheapest(grid, 1, [start], {stop}, aim, Costs()) is None

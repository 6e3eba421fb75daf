"""The graph and network algorithms against networkx and numpy on random graphs."""

from __future__ import annotations

import random

import networkx
import numpy as np
import pytest
from each import each

from rework.anatomy.blocks import on_the_way
from rework.anatomy.direct import DirectWays
from rework.anatomy.resistive import DrivenWinding, Resistance, solved
from rework.anatomy.wiring import Wiring
from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part, Value


def edges(seed: int, points: int, count: int) -> list[tuple[str, str, str]]:
    rng = random.Random(seed)
    names = [f"N{number}" for number in range(points)]
    return [(f"E{number}", *rng.sample(names, 2)) for number in range(count)]


@each("seed", range(80))
def test_what_lies_on_a_simple_way_is_what_networkx_finds(seed):
    """networkx.all_simple_edge_paths, the brute force that the block search replaces."""
    listed = edges(seed, 6, 4 + seed % 6)
    graph = networkx.MultiGraph()
    graph.add_nodes_from(["N0", "N1"])
    for key, one, other in listed:
        graph.add_edge(one, other, key=key)
    ways = list(networkx.all_simple_edge_paths(graph, "N0", "N1"))
    parts, points = on_the_way(listed, "N0", "N1")
    assert parts == {key for way in ways for _, _, key in way}
    assert points == {point for way in ways for one, other, _ in way for point in (one, other)}


def test_nothing_lies_between_a_point_and_itself():
    assert on_the_way(edges(1, 5, 8), "N0", "N0") == (frozenset(), frozenset({"N0"}))


@each("seed", range(20))
def test_the_least_ohms_are_those_of_networkx(seed):
    rng = random.Random(seed)
    listed = edges(seed, 8, 12)
    ohms = {key: float(rng.randint(1, 1000)) for key, _, _ in listed}
    parts = tuple(
        Part(
            key,
            "resistor",
            values=(Value("resistance", ohms[key]),),
            pins=(("1", one), ("2", other)),
        )
        for key, one, other in listed
    )
    graph = networkx.MultiGraph()
    for key, one, other in listed:
        graph.add_edge(one, other, key=key, weight=ohms[key])
    start = listed[0][1]
    wanted = networkx.single_source_dijkstra_path_length(graph, start)
    assert DirectWays(Wiring(Circuit(parts=parts))).ohms_from((start,)) == pytest.approx(wanted)


@each("seed", range(20))
def test_the_heater_network_is_solved_as_numpy_solves_it(seed):
    """Node equations put together here once more, solved by numpy.linalg.solve (LAPACK gesv)."""
    rng = random.Random(seed)
    listed = edges(seed, 7, 10)
    resistances = [Resistance(one, other, rng.uniform(1, 500)) for _, one, other in listed]
    source = DrivenWinding("", listed[0][1], listed[0][2], 117.0, 0.5)
    names = sorted({p for edge in (*resistances, source) for p in (edge.start, edge.end)})
    row = {name: number for number, name in enumerate(names)}
    table, right = np.eye(len(names)) * 1e-9, np.zeros(len(names))
    for edge in (*resistances, source):
        incidence = np.zeros(len(names))
        incidence[row[edge.start]], incidence[row[edge.end]] = 1, -1
        table += np.outer(incidence, incidence) / edge.ohms
        if edge is source:
            right += incidence * source.volts / source.ohms
    wanted = np.linalg.solve(table, right)
    volts = solved(resistances, [source])
    base = names[0]
    assert [volts[name] - volts[base] for name in names] == pytest.approx(
        list(wanted - wanted[0]), abs=1e-5
    )

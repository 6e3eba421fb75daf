"""Random circuits: what the check says is tied against a graph built another way; and every path it
shows is really there.
"""

from __future__ import annotations

import random
from itertools import pairwise

import networkx as nx
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from tie_oracle import earth_of, graph_of, must_be_hazards, pools, sources, tied_by_oracle

from rework.circuit.circuit import Circuit
from rework.circuit.kinds import KINDS
from rework.circuit.parts import Part, chain_terminals
from rework.circuit.switches import style_of
from rework.safety.check import check
from rework.safety.findings import Hazard
from rework.safety.ties import bonded_to_earth, trace_ties
from rework.safety.ways import WayStep

TUBES = ("35W4", "50C5", "12AX7", "6AQ5", "UCL82", "6X4", "EF86", "999ZZ")
CLASSES = ((), (("class", "X2"),), (("class", "Y1"),), (("class", "Y2"),))
WINDINGS = ("primary", "primary2", "secondary", "hv", "heater", "screen")


def part_of(kind: str, name: str, rng: random.Random, nodes: list[str]) -> Part:
    """Return a part of some kind on random nodes."""
    words: tuple[str, ...] = ()
    settings_: tuple[tuple[str, str], ...] = ()
    type_ = ""
    if kind in ("switch", "relay"):
        words = (rng.choice(("SPST", "DPST", "SPDT", "DPDT")),)
        terminals = [*KINDS[kind].terminals]
        terminals += [t for pole in style_of(words).contacts for t in pole]
    elif KINDS[kind].form == "windings":
        heads = (
            ["winding", "winding2"]
            if kind == "autotransformer"
            else rng.sample(WINDINGS, rng.randint(1, 4))
        )
        terminals = [
            t
            for head in heads
            for t in chain_terminals(head, 1 if head == "screen" else rng.randint(2, 3))
        ]
        terminals += ["core"] if rng.random() < 0.3 else []
    elif KINDS[kind].form == "cores":
        terminals = [
            *chain_terminals("core1", 2, form="cores"),
            *chain_terminals("core2", 2, form="cores"),
            "shield",
        ]
    elif kind == "tube":
        type_ = rng.choice(TUBES)
        terminals = rng.sample(
            [str(pin) for pin in range(1, 10 if type_ in ("12AX7", "UCL82", "EF86") else 8)], 6
        )
    elif kind in ("socket", "connector", "unlisted part"):
        terminals = ["1", "2", "3"]
    elif kind == "module":
        terminals = ["in.line", "in.neutral", "out.plus", "out.minus"]
    else:
        terminals = [
            *KINDS[kind].terminals,
            *(t for t in KINDS[kind].optional if rng.random() < 0.5),
        ]
    if kind == "capacitor":
        settings_ = rng.choice(CLASSES)
    elif KINDS[kind].classes:
        settings_ = rng.choice(((), *((("class", one),) for one in KINDS[kind].classes)))
    if kind == "pot" and rng.random() < 0.5:
        words = ("plastic-shaft",)
    return Part(
        name,
        kind,
        type_,
        words=words,
        settings=settings_,
        pins=tuple((t, rng.choice(nodes)) for t in terminals),
    )


def random_circuit(seed: int, count: int, *, spread: float = 0.8) -> Circuit:
    """Return a circuit of about ``count`` parts on ``spread`` times as many nodes, with plugs,
    umbilicals and switches on pots.
    """
    rng = random.Random(seed)
    nodes = [f"N{number}" for number in range(max(4, int(count * spread)))]
    kinds = [kind for kind in KINDS if kind not in ("plug", "connector")]
    parts = [
        Part(
            "P0",
            "plug",
            words=("three-pin",),
            pins=(("line", nodes[0]), ("neutral", nodes[1]), ("earth", nodes[2])),
        )
    ]
    parts += [part_of(rng.choice(kinds), f"Q{number}", rng, nodes) for number in range(count)]
    pots = [part.name for part in parts if part.kind == "pot"]
    parts = [
        (
            Part(p.name, p.kind, words=p.words, pins=p.pins, settings=(("on", rng.choice(pots)),))
            if p.kind == "switch" and pots and rng.random() < 0.5
            else p
        )
        for p in parts
    ]
    for number in range(rng.randint(0, 2)):
        halves = [part_of("connector", f"X{number}{side}", rng, nodes) for side in "ab"]
        parts += [
            Part(
                halves[0].name,
                "connector",
                words=("socket",),
                settings=(("mates", halves[1].name),),
                pins=halves[0].pins,
            ),
            halves[1],
        ]
    return Circuit(parts=tuple(parts), touchable=tuple(rng.sample(nodes, 2)))


def disagreement(circuit: Circuit) -> str:
    """Return what check and oracle do not agree on, or nothing."""
    conduction, tied = tied_by_oracle(circuit)
    ties = trace_ties(circuit)
    said = {node for node, through in ties.tied.items() if through == "conduction"}
    if set(ties.tied) != tied:
        return (
            f"tied: only here {sorted(set(ties.tied) - tied)}, only the oracle"
            f" {sorted(tied - set(ties.tied))}"
        )
    if not conduction <= said:
        return f"conduction missed: {sorted(conduction - said)}"
    if bonded_to_earth(circuit) != earth_of(circuit):
        return "earth"
    return ""


@settings(max_examples=150)
@given(st.integers(0, 10**9), st.integers(1, 60), st.floats(0.3, 2.0))
def test_small_circuits_agree_with_the_oracle(seed, count, spread):
    circuit = random_circuit(seed, count, spread=spread)
    assert not disagreement(circuit), f"seed {seed}, {count} parts, spread {spread}"


@pytest.mark.parametrize(
    ("seed", "count", "spread"), [(1, 1000, 1.5), (2, 2000, 2.2), (3, 3000, 2.6), (4, 3000, 3.2)]
)
def test_circuits_of_thousands_of_parts_agree_with_the_oracle(seed, count, spread):
    assert not disagreement(random_circuit(seed, count, spread=spread))


@settings(max_examples=60)
@given(st.integers(0, 10**9), st.integers(1, 25), st.floats(0.8, 2.5))
def test_every_hazard_the_oracle_demands_is_told_and_no_node_off_the_mains_is(seed, count, spread):
    circuit = random_circuit(seed, count, spread=spread)
    report = check(circuit)
    told = {hazard.node for hazard in report.hazards}
    _, tied = tied_by_oracle(circuit)
    assert must_be_hazards(circuit) <= told, f"seed {seed}, {count} parts"
    assert {node for node in told if not node.endswith(".shaft")} <= tied
    assert {one.node for one in report.live} | (told & tied) == tied


def crossing(part: Part, step: WayStep) -> int:
    """Return the cost of one step: conductors and contacts before parts, primaries last."""
    if step.mate or part.kind in (
        *("wire", "trace", "shielded cable"),
        *("fuse", "breaker", "switch"),
    ):
        return 1
    return 10**12 if step.into.startswith("primary") else 10**6


def weighed(circuit: Circuit) -> nx.DiGraph:
    """Return the graph of what conducts with the cost of each crossing on the way in."""
    graph = graph_of(circuit, {"copper", "body"})
    for one, hub in graph.edges:
        weight = 0
        if one[0] == "node":
            part = circuit.by_name[hub[1]]
            terminals = pools(part)[hub[2]][1] if isinstance(hub[2], int) else []
            first = terminals[0] if terminals else ""
            weight = crossing(
                part, WayStep(part.name, first, first, "", "" if terminals else "mate")
            )
        graph.edges[one, hub]["weight"] = weight
    return graph


@settings(max_examples=60)
@given(st.integers(0, 10**9), st.integers(2, 40), st.floats(0.8, 2.0))
def test_every_path_is_there_and_none_is_more_direct(seed, count, spread):
    circuit = random_circuit(seed, count, spread=spread)
    assume(all(part.kind != "relay" for part in circuit.parts))  # the oracle has no contacts in it
    ties = trace_ties(circuit)
    graph = weighed(circuit)
    starts = sources(circuit)
    shortest = nx.multi_source_dijkstra_path_length(graph, starts)
    conduction, _ = tied_by_oracle(circuit)
    for node in ties.tied:
        path = ties.path(node)
        assert path[-1].node == node
        assert ("node", path[0].node) in starts
        for before, step in pairwise(path):
            part, out = circuit.by_name[step.part], circuit.by_name[step.mate or step.part]
            assert part.node(step.into) == before.node, f"{step} after {before}"
            assert (step.out_of == "shaft" and part.kind == "switch") or out.node(
                step.out_of
            ) == step.node
            if not step.mate and step.out_of not in ("shaft", "frame", "core", "can"):
                assert any(step.into in pool and step.out_of in pool for _, pool in pools(part))
        if node in conduction:
            cost = sum(crossing(circuit.by_name[step.part], step) for step in path[1:])
            assert cost == shortest["node", node], f"{node}: {path}"


def test_the_same_circuit_gives_the_same_findings_twice():
    circuit = random_circuit(7, 40)
    assert check(circuit) == check(circuit)
    assert all(isinstance(hazard, Hazard) for hazard in check(circuit).hazards)

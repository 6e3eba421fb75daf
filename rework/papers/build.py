"""The single pieces of a supply that is built on a chassis of its own, in the order of building."""

from __future__ import annotations

import networkx

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part
from rework.papers.mains_wires import in_regions_unit
from rework.papers.places import one_point, plain


def supply_lines(circuit: Circuit, prefix: str) -> tuple[str, ...]:
    """Return a line for each part of an attached circuit: its leads and where each of them goes.

    Protective earth comes first, then the parts from the plug on: each after the one that feeds it.
    """
    parts = [part for part in circuit.parts if part.name.startswith(f"{prefix}/")]
    distance = _distances(parts)
    earth = _earth_nodes(circuit)
    order = sorted(
        (part for part in parts if part.kind != "chassis"),
        key=lambda part: (
            not _is_earth(part, earth),
            distance.get(part.name, len(parts)),
            part.name,
        ),
    )
    return tuple(
        f"{part.name}, {plain(in_regions_unit(part, circuit))}: {_leads(part, prefix)}"
        for part in order
    )


def _leads(part: Part, prefix: str) -> str:
    """Return where each lead goes, by the names on the sheet of the supply itself."""
    return ", ".join(
        f"{terminal} to {node.removeprefix(prefix + '/')}" for terminal, node in part.pins
    )


def _is_earth(part: Part, earth: frozenset[str]) -> bool:
    return part.is_conductor and all(node in earth for _, node in part.pins)


def _earth_nodes(circuit: Circuit) -> frozenset[str]:
    """Return the nodes on one point with the earth pin of a plug."""
    point = one_point(circuit)
    at = {
        point[node]
        for part in circuit.parts
        if part.kind == "plug"
        for terminal, node in part.pins
        if terminal == "earth"
    }
    return frozenset(node for node in circuit.nodes if point[node] in at)


def _distances(parts: list[Part]) -> dict[str, int]:
    """Return how many parts lie between each part and the line pins of the plug."""
    graph = networkx.Graph()
    start = ("", "line")
    for part in parts:
        for terminal, node in part.pins:
            graph.add_edge(("part", part.name), ("node", node))
            if part.kind == "plug" and terminal != "earth":
                graph.add_edge(start, ("part", part.name))
    if start not in graph:
        return {}
    steps = networkx.single_source_shortest_path_length(graph, start)
    return {name: length for (kind, name), length in steps.items() if kind == "part"}

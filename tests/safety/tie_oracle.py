"""A second opinion on what is tied to the mains: networkx on a graph built here, from a table of
its own.

Nothing of ``rework.safety`` is used, so that one mistake cannot be in both.
"""

from __future__ import annotations

import itertools
from functools import cache

import networkx as nx

from rework.circuit.circuit import Circuit
from rework.circuit.kinds import KINDS
from rework.circuit.parts import Part
from rework.tubes import library

BODY = {
    "fuse",
    "thermistor",
    "resistor",
    "pot",
    "lamp",
    "choke",
    "diode",
    "selenium",
    "bridge",
    "pickup",
    "microphone",
    "speaker",
    "dummy load",
    "motor",
    "breaker",
    "varistor",
    "light-emitting diode",
    "zener diode",
    "gas regulator",
    "transistor",
    "battery",
    "headphones",
    "unlisted part",
}
#: Parts in which all is joined unless the file states a class of insulation that isolates.
PARTED = {
    "optocoupler": (("anode", "cathode"), ("collector", "emitter", "base")),
    "relay": (("coil1", "coil2"),),
    "module": (),
}
COPPER = {"trace", "wire"}
NOTHING = {"plug", "socket", "chassis", "earth", "connector", "outlet"}
METAL = {"shaft", "frame", "core", "can"}
#: Parts that may sit on the mains, and the terminals by which they may not.
PRIMARY = {
    "plug",
    "switch",
    "fuse",
    "thermistor",
    "transformer",
    "autotransformer",
    "motor",
    "connector",
    "trace",
    "wire",
    "shielded cable",
    "breaker",
    "varistor",
    "outlet",
    "inlet filter",
    "module",
}


def _parted(part: Part, inside: list[str]) -> list[tuple[str, list[str]]]:
    if dict(part.settings).get("class") not in ("double", "reinforced"):
        return [("body", inside)]
    apart = [("body", [t for t in inside if t in side]) for side in PARTED[part.kind]]
    named = {t for side in PARTED[part.kind] for t in side}
    rest: dict[str, list[str]] = {}
    for t in inside:
        if t not in named:
            rest.setdefault(t.split(".")[0] if "." in t else "", []).append(t)
    return [*apart, *(("body", pool) for pool in rest.values())]


@cache
def pools(part: Part) -> list[tuple[str, list[str]]]:
    """Return the pools of joined terminals of a part, each with copper, body or capacitor."""
    terminals = [terminal for terminal, _ in part.pins]
    inside = [terminal for terminal in terminals if terminal not in METAL]
    heads: dict[str, list[str]] = {}
    for terminal in inside:
        heads.setdefault(terminal.split(".")[0], []).append(terminal)
    if part.kind in COPPER:
        return [("copper", terminals)]
    if part.kind == "shielded cable":
        return [("copper", pool) for pool in heads.values()]
    if part.kind in BODY or part.kind == "autotransformer":
        return [("body", inside)]
    if part.kind in ("capacitor", "electrolytic"):
        return [("capacitor", inside)]
    if part.kind == "inlet filter":
        return [
            ("body", [t for t in inside if t.startswith("line")]),
            ("body", [t for t in inside if t.startswith("neutral")]),
            ("capacitor", inside),
        ]
    if part.kind in PARTED:
        return _parted(part, inside)
    if part.kind == "switch":
        terminals = inside
        return [
            ("body", [t for t in terminals if t.startswith("a.")]),
            ("body", [t for t in terminals if t.startswith("b.")]),
            ("body", [t for t in terminals if "." not in t]),
        ]
    if part.kind in ("transformer", "output transformer"):
        screens = {
            head for head, pool in heads.items() if head.startswith("screen") and len(pool) == 1
        }
        primary = [t for head, pool in heads.items() if head.startswith("primary") for t in pool]
        secondary = [
            t
            for head, pool in heads.items()
            if not head.startswith("primary") and head not in screens
            for t in pool
        ]
        return [("body", primary), ("body", secondary)] if primary else [("body", secondary)]
    if part.kind == "jack":
        return [("body", [t for t in terminals if t in ("tip", "break")])]
    if part.kind == "tube":
        return [("body", pool) for pool in tube_pools(part.type, terminals)]
    assert part.kind in NOTHING, f"the oracle does not know a {part.kind}"
    return []


def tube_pools(type_: str, wired: list[str]) -> list[list[str]]:
    known = library.find(type_)
    if known is None:
        return [wired]
    together = nx.Graph()
    together.add_nodes_from(wired)
    for group in known.groups():
        nx.add_path(together, [pin for pin in wired if pin in group])
    return [sorted(pool) for pool in nx.connected_components(together)]


def graph_of(
    circuit: Circuit,
    ways: set[str],
    pulled: frozenset[str] = frozenset(),
    earthed: frozenset[str] = frozenset(),
) -> nx.DiGraph:
    """Return nodes and pools as vertices; an edge is a way on.

    ``ways`` are copper, body, capacitor, insulation.
    """
    graph = nx.DiGraph()
    graph.add_nodes_from(("node", node) for node in circuit.at)
    for part in circuit.parts:
        at = dict(part.pins)
        for number, (kind, pool) in enumerate(pools(part)):
            if kind in ways:
                hub = ("pool", part.name, number)
                y_class = kind == "capacitor" and dict(part.settings).get("class") in ("Y1", "Y2")
                for terminal in pool:
                    graph.add_edge(("node", at[terminal]), hub)
                    if not (y_class and at[terminal] in earthed):
                        graph.add_edge(hub, ("node", at[terminal]))
        if "insulation" in ways:
            insulation(graph, circuit, part, earthed)
    if "copper" in ways:
        for name, other in {
            tuple(sorted((part.name, part.setting("mates"))))
            for part in circuit.parts
            if part.setting("mates")
        }:
            if other in circuit.by_name and name in circuit.by_name and not {name, other} & pulled:
                one, two = circuit.by_name[name], circuit.by_name[other]
                for contact in {t for t, _ in one.pins} & {t for t, _ in two.pins}:
                    hub = ("pool", name, other, contact)
                    for node in (one.node(contact), two.node(contact)):
                        graph.add_edge(("node", node), hub)
                        graph.add_edge(hub, ("node", node))
    return graph


def insulation(graph: nx.DiGraph, circuit: Circuit, part: Part, earthed: frozenset[str]) -> None:
    """Add the ways out of a part into its own metal, and out of a switch into the shaft of the pot
    it sits on.
    """
    if part.kind in BODY | {"autotransformer", "capacitor", "electrolytic", "switch", "relay"}:
        for terminal, node in part.pins:
            if (
                terminal in METAL
                and not (terminal == "shaft" and "plastic-shaft" in part.words)
                and node not in earthed
            ):
                graph.add_edges_from(
                    (("node", other), ("node", node))
                    for inside, other in part.pins
                    if inside not in METAL
                )
    pot = circuit.part(part.setting("on")) if part.kind == "switch" else None
    if (
        pot is not None
        and pot.kind == "pot"
        and "plastic-shaft" not in pot.words
        and pot.node("shaft")
        and pot.node("shaft") not in earthed
    ):
        graph.add_edges_from((("node", node), ("node", pot.node("shaft"))) for _, node in part.pins)


def sources(circuit: Circuit) -> list[tuple[str, str]]:
    return sorted(
        {
            ("node", node)
            for part in circuit.parts
            if part.kind == "plug"
            for terminal, node in part.pins
            if terminal != "earth"
        }
    )


def reach(graph: nx.DiGraph, starts: list[tuple[str, str]]) -> frozenset[str]:
    found = set(starts)
    for start in starts:
        found |= nx.descendants(graph, start)
    return frozenset(vertex[1] for vertex in found if vertex[0] == "node")


def earth_of(circuit: Circuit, pulled: frozenset[str] = frozenset()) -> frozenset[str]:
    copper = graph_of(circuit, {"copper"}, pulled)
    return reach(
        copper,
        [
            ("node", node)
            for part in circuit.parts
            if part.kind == "plug"
            for terminal, node in part.pins
            if terminal == "earth"
        ],
    )


def tied_by_oracle(circuit: Circuit) -> tuple[frozenset[str], frozenset[str]]:
    """Return (tied by conduction, tied at all) in the worst case, with every set of umbilicals
    pulled.
    """
    conduction = reach(graph_of(circuit, {"copper", "body"}), sources(circuit))
    names = sorted(
        {min(part.name, part.setting("mates")) for part in circuit.parts if part.setting("mates")}
    )
    tied: set[str] = set()
    for count in range(len(names) + 1):
        for chosen in itertools.combinations(names, count):
            pulled = frozenset(chosen)
            everything = graph_of(
                circuit,
                {"copper", "body", "capacitor", "insulation"},
                pulled,
                earth_of(circuit, pulled),
            )
            tied |= reach(everything, sources(circuit))
    return conduction, frozenset(tied)


#: What belongs on the mains where it leads to nothing but the primary side: bleeder, neon, choke.
PASSIVE = {"resistor", "lamp", "choke"}


def filters(circuit: Circuit, tied: frozenset[str], allowed) -> set[str]:
    """Return the names of resistors, lamps and chokes of networks on the line that hold nothing
    but themselves and what is ``allowed`` (part, terminal, node) on the mains.
    """
    leads = nx.Graph()
    leads.add_nodes_from(circuit.at)
    copper = graph_of(circuit, {"copper"})
    for part in circuit.parts:
        if part.kind in ("switch", "fuse", "thermistor"):
            for _, pool in pools(part):
                nx.add_path(leads, [part.node(terminal) for terminal in pool])
    for kind, *_ in list(copper):
        assert kind in ("node", "pool")
    for hub in [vertex for vertex in copper if vertex[0] == "pool"]:
        nx.add_path(leads, [vertex[1] for vertex in copper.successors(hub)])
    line: set[str] = set()
    for _, node in sources(circuit):
        line |= nx.node_connected_component(leads, node)
    inner = leads.subgraph(set(leads) - line).copy()
    network = nx.Graph()
    passives = [part for part in circuit.parts if part.kind in PASSIVE]
    for part in passives:
        network.add_node(("part", part.name))
        network.add_edges_from(
            (("part", part.name), ("node", node)) for _, node in part.pins if node in inner
        )
    network.add_edges_from(
        (("node", one), ("node", other)) for one, other in inner.edges if one != other
    )
    good: set[str] = set()
    for component in nx.connected_components(network):
        names = {name for kind, name in component if kind == "part"}
        nodes = {name for kind, name in component if kind == "node"}
        on_line = any(node in line for name in names for _, node in circuit.by_name[name].pins)
        pure = all(
            part.kind in PASSIVE or allowed(part, terminal, node)
            for node in nodes
            for part, terminal in circuit.at.get(node, ())
        )
        if on_line and pure and not nodes & circuit.within_reach and len(nodes) <= 60:
            good |= names
    return good


def must_be_hazards(
    circuit: Circuit, conduction: frozenset[str] | None = None, tied: frozenset[str] | None = None
) -> frozenset[str]:
    """Return the nodes that are tied and in reach, or carry a part that has no business on the
    mains.
    """
    if conduction is None or tied is None:
        conduction, tied = tied_by_oracle(circuit)
    earthed = earth_of(circuit)

    def allowed(part: Part, terminal: str, node: str) -> bool:
        others = [at for _, at in part.pins if at != node]
        class_ = part.setting("class")
        if part.kind == "capacitor" and class_ in ("X1", "X2", "Y1", "Y2"):
            across = node in conduction and all(other in conduction for other in others)
            return across or (
                class_[0] == "Y" and all(other in earthed and other not in tied for other in others)
            )
        return (
            part.kind in PRIMARY
            and terminal not in METAL
            and not terminal.startswith("shield")
            and not (part.kind == "transformer" and not terminal.startswith("primary"))
        )

    passive = filters(circuit, tied, allowed)
    found = set()
    for node in tied:
        for part, terminal in circuit.at.get(node, ()):
            belongs = part.name in passive or allowed(part, terminal, node)
            if not belongs or terminal in KINDS[part.kind].touched or node in circuit.touchable:
                found.add(node)
    return frozenset(found)

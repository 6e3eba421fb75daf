"""The equations of a circuit that differs in one resistor or capacitor from one that is known:
those of the known one with a branch more, less, or of another value.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from rework.circuit.circuit import Circuit
from rework.circuit.graph import Merged
from rework.circuit.parts import Part
from rework.solve.draft import LEAST_OHMS, MOST_OHMS, TOLERANCE
from rework.solve.network import Branch, Network

#: The dimension of a branch by its kind.
_OF = {"r": "resistance", "c": "capacitance"}


def patched(circuit: Circuit, known: Circuit, network: Network) -> Network | None:
    """Return the equations of ``circuit`` from the ``network`` of a ``known`` one; None where they
    differ in more than one such part, or in which points hang together for direct current.
    """
    before, after = known.by_name, circuit.by_name
    new = [part for part in circuit.parts if before.get(part.name) is not part]
    gone = [part for part in known.parts if part.name not in after]
    if not new and not gone:
        return network
    if len(new) + len(gone) > 1:
        return None
    if gone:
        return _less(circuit, gone[0], network)
    (part,) = new
    old = before.get(part.name)
    return _bridged(part, network) if old is None else _of_value(part, old, network)


def _of_value(part: Part, old: Part, network: Network) -> Network | None:
    place = _only(old, network)
    if place is None or replace(part, values=old.values) != old:
        return None
    branch = network.branches[place]
    was, now = old.value(_OF[branch.kind]), part.value(_OF[branch.kind])
    if was != branch.value or not now or not _is_sane(branch.kind, now):
        return None
    branches = list(network.branches)
    branches[place] = replace(branch, value=now)
    return replace(network, branches=tuple(branches))


def _bridged(part: Part, network: Network) -> Network | None:
    ohms = part.value("resistance")
    ends = [network.node_of.get(node) for _, node in part.pins]
    if part.kind != "resistor" or not ohms or None in ends or not _is_sane("r", ohms):
        return None
    a, b = (int(end) for end in ends if end is not None)
    if a == b:
        return network
    islands = _islands(network)
    if islands.find(str(a)) != islands.find(str(b)):
        return None
    tolerance = part.value("fraction")
    branch = Branch(
        part.name, "r", a, b, ohms, TOLERANCE[part.kind] if tolerance is None else tolerance
    )
    return replace(network, branches=(*network.branches, branch))


def _less(circuit: Circuit, part: Part, network: Network) -> Network | None:
    place = _only(part, network)
    if place is None or any(node not in circuit.at for _, node in part.pins):
        return None
    branch = network.branches[place]
    less = replace(network, branches=(*network.branches[:place], *network.branches[place + 1 :]))
    if branch.kind == "r":
        islands = _islands(less)
        if islands.find(str(branch.a)) != islands.find(str(branch.b)):
            return None
    return less


def _is_sane(kind: str, value: float) -> bool:
    return kind == "c" or LEAST_OHMS <= value <= MOST_OHMS


def _only(part: Part, network: Network) -> int | None:
    """Return the place of the one branch that a resistor or capacitor is; None for others."""
    if part.kind != "resistor" and not part.is_capacitor:
        return None
    places = [n for n, branch in enumerate(network.branches) if branch.name == part.name]
    return places[0] if len(places) == 1 else None


def _islands(network: Network) -> Merged:
    """Return the unknowns joined where direct current gets through, "-1" the reference."""
    merged = Merged()
    for branch in network.ohmic:
        if branch.name != "leak":
            merged.join(str(branch.a), str(branch.b))
    for device in network.devices:
        for end in device.from_:
            merged.join(str(end), str(device.to))
    nodes = set(network.node_at.tolist())
    for row in network.rows.values():
        on = [at for at in np.nonzero(network.fixed_g[:, row])[0].tolist() if at in nodes]
        for first, second in zip(on, [*on[1:], -1] if len(on) == 1 else on[1:], strict=False):
            merged.join(str(first), str(second))
    return merged

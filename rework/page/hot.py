"""The ties of a circuit in every state of plug, switches and umbilicals, as plain values for the page to look up.

``axes``: what moves, each with ``kind``, ``name``, ``names`` (a gang moves together) and ``values``. ``rows``: the states
tried, each as the number of a value on every axis. ``nodes``: every tied node with ``touchable``, ``live``, ``through``
and ``path`` (the worst case), and ``when``, the states in which it is connected to the hot conductor: ``sets`` (axis name
to the values in which that holds; an axis that is not named does not matter), ``how``, ``through`` and ``words``.
"""

from __future__ import annotations

from rework.circuit.circuit import Circuit
from rework.safety.findings import Report, When, path_words
from rework.safety.states import Heat
from rework.safety.ties import trace_ties


class Hot:
    """The ties of one circuit: ``ties`` for all states at once, ``way`` to one node in one of them."""

    def __init__(self, circuit: Circuit) -> None:
        self.heat = Heat(circuit, trace_ties(circuit))
        self.circuit = circuit

    def ties(self, report: Report) -> dict:
        """Return the ties as plain values. ``report`` is that of the same circuit."""
        live = {one.node for one in report.live}
        tied = self.heat.ties.tied
        axes = [{"kind": axis.kind, "name": axis.names[0], "names": list(axis.names), "values": list(axis.values)} for axis in self.heat.tried.axes]
        return {"axes": axes, "rows": [list(row) for row in self.heat.tried.rows], "tried": self.heat.tried.words,
                "nodes": {node: {"touchable": node in self.circuit.within_reach, "live": node in live, "through": tied[node],
                                 "path": path_words(self.heat.ties.path(node)), "when": [_when(one) for one in self.heat.when(node)]}
                          for node in sorted(tied)}}

    def way(self, node: str, row: tuple[int, ...]) -> dict | None:
        """Return the way from the hot blade to a node in one of the states tried: ``words``, ``parts``, ``nodes``; None for no such state."""
        if row not in self.heat.tried.rows:
            return None
        steps = self.heat.way(node, self.heat.tried.state(self.circuit, row))
        return {"words": path_words(steps), "nodes": [step.node for step in steps],
                "parts": list(dict.fromkeys(name for step in steps for name in (step.part, step.mate) if name))}


def _when(when: When) -> dict:
    sets = {name: list(values) for name, values in (*when.switches, *when.connectors)} | ({"plug": list(when.plug)} if when.plug else {})
    return {"sets": sets, "how": when.how, "through": list(when.through), "words": when.words()}

"""The ties of a circuit in every state of plug, switches and umbilicals, as plain values for the
page to look up.

``axes``: what moves, each with ``kind``, ``name``, ``names`` (a gang moves together) and
``values``. ``rows``: the states tried, each as the number of a value on every axis. ``nodes``:
every tied node with ``touchable``, ``live`` and ``through`` (in the worst case), and ``when``, the
states in which it is connected to the hot conductor: ``sets`` (axis name to the values in which
that holds; an axis that is not named does not matter), ``how``, ``through`` and ``words``.
"""

from __future__ import annotations

from dataclasses import replace

from rework.circuit.circuit import Circuit
from rework.page.board import Plain
from rework.safety.findings import Report, When, path_words
from rework.safety.states import Heat
from rework.safety.ties import trace_ties
from rework.safety.ways import WayStep

#: Of a longer way only this many steps are told at either end, and so many parts of those in
#: between.
MOST_STEPS = 20


class Hot:
    """The ties of one circuit: ``ties`` in all states at once, ``way`` to one node in one."""

    def __init__(self, circuit: Circuit) -> None:
        self.heat = Heat(circuit, trace_ties(circuit))
        self.circuit = circuit

    def ties(self, report: Report) -> Plain:
        """Return the ties as plain values. ``report`` is that of the same circuit."""
        live = {live.node for live in report.live}
        tied = self.heat.ties.tied
        axes = [
            {
                "kind": axis.kind,
                "name": axis.names[0],
                "names": list(axis.names),
                "values": list(axis.values),
            }
            for axis in self.heat.tried.axes
        ]
        return {
            "axes": axes,
            "rows": [list(row) for row in self.heat.tried.rows],
            "tried": self.heat.tried.words,
            "nodes": {
                node: {
                    "touchable": node in self.circuit.within_reach,
                    "live": node in live,
                    "through": tied[node],
                    "when": [when_told(state) for state in self.heat.when(node)],
                }
                for node in sorted(tied)
            },
        }

    def way(self, node: str, row: tuple[int, ...]) -> Plain | None:
        """Return the way to a tied node; None for a node that is not tied, or a state that was not
        tried.

        ``words``, ``parts`` and ``nodes`` tell that from the hot blade in one state, nothing where
        there is none; ``worst`` is the shortest way from any blade.
        """
        if row not in self.heat.tried.rows or node not in self.heat.ties.tied:
            return None
        steps = self.heat.way(node, self.heat.tried.state(self.circuit, row))
        return {
            "words": way_words(steps),
            "worst": way_words(self.heat.path(node)),
            "nodes": [step.node for step in steps],
            "parts": list(
                dict.fromkeys(name for step in steps for name in (step.part, step.mate) if name)
            ),
        }


def way_words(steps: tuple[WayStep, ...]) -> str:
    """Return a way as one line; of a very long one both ends, and how much lies between."""
    left = len(steps) - 2 * MOST_STEPS
    if left <= 0:
        return path_words(steps)
    return (
        f"{path_words(steps[:MOST_STEPS])} > and {left} parts more >"
        f" {path_words(steps[-MOST_STEPS:])}"
    )


def when_told(when: When) -> Plain:
    """Return the states in which a node is hot as plain values."""
    sets = {name: list(values) for name, values in (*when.switches, *when.connectors)} | (
        {"plug": list(when.plug)} if when.plug else {}
    )
    left = len(when.through) - MOST_STEPS
    state = (
        when
        if left <= 0
        else replace(when, through=(*when.through[:MOST_STEPS], f"and {left} parts more"))
    )
    return {"sets": sets, "how": state.how, "through": list(state.through), "words": state.words()}

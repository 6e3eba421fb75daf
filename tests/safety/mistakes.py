"""Mistakes made on finished sets, and the test that every remedy told for them holds."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import replace

from tie_oracle import must_be_hazards

from rework.circuit.circuit import Circuit
from rework.circuit.edits import LiftPin, apply_edit
from rework.circuit.parts import Part
from rework.safety.check import check
from rework.safety.findings import Caution, Hazard, Remedy, Report
from rework.safety.trial import key_of


def line_nodes(circuit: Circuit) -> list[str]:
    """Return the nodes of the plug, and those of fuses and switches."""
    return sorted(
        {
            node
            for part in circuit.parts
            if part.kind in ("plug", "fuse", "switch")
            for terminal, node in part.pins
            if terminal != "earth"
        }
    )


def bridges(circuit: Circuit, rng: random.Random) -> Iterator[Circuit]:
    """Yield circuits with a wire, resistor or capacitor between any two nodes."""
    while True:
        one, other = rng.choice(circuit.nodes), rng.choice(circuit.nodes)
        kind = rng.choice(("wire", "wire", "resistor", "capacitor"))
        if one != other:
            mistake = Part("MISTAKE", kind, pins=(("1", one), ("2", other)))
            yield circuit.with_parts((*circuit.parts, mistake))


def moves(circuit: Circuit, rng: random.Random) -> Iterator[Circuit]:
    """Yield circuits with any pin of any part moved to a line node."""
    lines = line_nodes(circuit)
    while True:
        part = rng.choice([part for part in circuit.parts if part.pins])
        at = rng.randrange(len(part.pins))
        pins = tuple(
            (terminal, rng.choice(lines) if index == at else node)
            for index, (terminal, node) in enumerate(part.pins)
        )
        yield circuit.with_parts(
            tuple(replace(part, pins=pins) if other is part else other for other in circuit.parts)
        )


def shorted(circuit: Circuit) -> set[tuple[str, str]]:
    """Return the pins of one plug that copper, fuses and closed contacts join, by union of sets."""
    sets: list[set[str]] = []
    for part in circuit.parts:
        runs: list[list[str]] = []
        if part.kind in ("wire", "trace", "fuse"):
            runs = [[node for _, node in part.pins]]
        elif part.kind in ("switch", "shielded cable"):
            named: dict[str, list[str]] = {}
            for terminal, node in part.pins:
                named.setdefault(terminal.rpartition(".")[0], []).append(node)
            runs = list(named.values())
        elif part.kind == "connector" and part.setting("mates") in circuit.by_name:
            mate = circuit.by_name[part.setting("mates")]
            runs = [[node, mate.at(t)] for t, node in part.pins if mate.node(t) is not None]
        for run in runs:
            touching = [other for other in sets if other & set(run)]
            sets = [other for other in sets if not other & set(run)]
            sets.append(set(run).union(*touching))
    return {
        (one, other)
        for plug in circuit.parts
        if plug.kind == "plug"
        for one, here in plug.pins
        for other, there in plug.pins
        if one < other and (here == there or any({here, there} <= joined for joined in sets))
    }


def remedies_of(report: Report) -> Iterator[tuple[Hazard | Caution, Remedy]]:
    for finding in (*report.hazards, *report.cautions):
        for remedy in finding.remedies:
            if remedy.does == "edit":
                yield finding, remedy


def broken_promise(circuit: Circuit, report: Report | None = None) -> str:
    """Return what a remedy does that it must not, or nothing.

    Applied by the public edits, it clears its finding, adds none but one that its own words tell,
    and joins no blade to anything.
    """
    report = check(circuit) if report is None else report
    before = {key for one in (*report.hazards, *report.cautions) if (key := key_of(one))}
    reports: dict[object, tuple[Circuit, set]] = {}
    for finding, remedy in remedies_of(report):
        if remedy.edits not in reports:
            after = circuit
            for edit in remedy.edits:
                after = apply_edit(after, edit)
            seen = check(after)
            keys = {key for one in (*seen.hazards, *seen.cautions) if (key := key_of(one))}
            reports[remedy.edits] = after, keys
        after, keys = reports[remedy.edits]
        lifted = {edit.part for edit in remedy.edits if isinstance(edit, LiftPin)}
        if key_of(finding) in keys:
            return f"{remedy.words} does not clear {key_of(finding)}"
        if isinstance(finding, Hazard) and finding.node in must_be_hazards(after):
            return f"{remedy.words}: the oracle still finds {finding.node}"
        told = {key for key in keys - before if key[1] in lifted or key[1] in remedy.words}
        added = {key for key in keys - before if key[0] == "hazard" or key not in told}
        if added:
            return f"{remedy.words} adds {sorted(added)}"
        if shorted(after) - shorted(circuit):
            return f"{remedy.words} joins {shorted(after) - shorted(circuit)}"
    return ""

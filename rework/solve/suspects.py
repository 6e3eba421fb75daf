"""What in a netlist looks like a slip but still has numbers: ends that lead nowhere, a speaker that
is missing, nodes that nothing holds.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part, strands

#: Kinds whose open end stops their current altogether.
_TWO_ENDED = (
    "resistor",
    "thermistor",
    "capacitor",
    "electrolytic",
    "choke",
    "diode",
    "selenium",
    "lamp",
    "speaker",
    "dummy load",
    "fuse",
)

#: Terminals that are the body of a part, not an end of what passes current in it.
_BODY = ("shaft", "frame", "core")


def warnings(circuit: Circuit, point: Mapping[str, str]) -> tuple[str, ...]:
    """Return a sentence, the part first and the remedy last, on every end that leads nowhere and
    every output transformer without a load.
    """
    pins = Counter(
        point[node] for part in circuit.parts if not part.is_conductor for _, node in part.pins
    )
    waiting = {point[node] for _, node in circuit.ports}
    return (*_ends(circuit, point, pins, waiting), *_unloaded(circuit, point))


def _ends(
    circuit: Circuit, point: Mapping[str, str], pins: Mapping[str, int], waiting: Collection[str]
) -> Iterator[str]:
    for part in circuit.parts:
        is_wound = part.traits.is_wound
        if not is_wound and part.kind not in _TWO_ENDED:
            continue
        if all(pins[point[node]] > 1 for _, node in part.pins):
            continue
        runs: Iterable[tuple[str, ...]] = (
            strands(part) if is_wound else [tuple(terminal for terminal, _ in part.pins)]
        )
        for run in runs:
            nodes = [part.at(terminal) for terminal in run]
            alone = [node for node in nodes if pins[point[node]] == 1]
            if not alone or len(run) < 2 or (len(alone) == len(nodes) and is_wound):
                continue  # a winding that nothing is on is not used, and says so by itself
            name = f"the {run[0].split('.')[0]} winding of {part.name}" if is_wound else part.name
            remedy = (
                "attach the circuit it is the port for"
                if point[alone[0]] in waiting
                else f"connect {alone[0]}, or take {part.name} out"
            )
            yield (
                f"{name} has no path for its current: nothing else is on {' and '.join(alone)};"
                f" {remedy}"
            )


def _unloaded(circuit: Circuit, point: Mapping[str, str]) -> Iterator[str]:
    for part in circuit.parts:
        if part.kind != "output transformer":
            continue
        secondaries = [
            run
            for run in strands(part)
            if run[0].startswith(("secondary", "speaker")) and len(run) > 1
        ]
        ends = {point[part.at(terminal)] for run in secondaries for terminal in run}
        loads = [
            other
            for other in circuit.parts
            if other is not part
            and len({point[node] for _, node in other.pins} & ends) > 1
            and _is_load(other)
        ]
        if not loads:
            yield (
                f"{part.name} has no speaker and no load on its secondary: driven like this its"
                " volts have no limit; connect one, as in SP1 speaker 4 ohm :"
                f" {' -- '.join(sorted(ends)[:2]) or 'A -- B'}"
            )


def _is_load(part: Part) -> bool:
    return part.kind in (
        "speaker",
        "dummy load",
        "resistor",
        "output transformer",
        "transformer",
        "jack",
        "connector",
    )


def unheld(circuit: Circuit, point: Mapping[str, str], afloat: Iterable[str]) -> tuple[str, ...]:
    """Return a note on every point that no direct-current path holds, with the parts on it."""
    notes = []
    neutrals = {
        point[node]: node
        for part in circuit.parts
        if part.kind == "plug" and (node := part.node("neutral")) is not None
    }
    for at in afloat:
        if at in neutrals:
            notes.append(
                f"the line is isolated from common: its neutral ({neutrals[at]}) is taken to be at"
                " common's volts, as an earthed common has it"
            )
            continue
        parts = [
            part.name
            for part in circuit.parts
            if not part.is_conductor
            and part.kind not in ("chassis", "earth", "jack")
            and any(point[node] == at for terminal, node in part.pins if terminal not in _BODY)
        ]
        hangs = f" (it is connected to {', '.join(parts[:4])})" if parts else ""
        notes.append(
            f"no direct current reaches {at}{hangs}: its volts are those of 10 Gohm of insulation"
            " to common"
        )
    return tuple(notes)

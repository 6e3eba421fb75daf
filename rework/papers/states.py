"""The states of the set that the test plan makes, each solved as the circuit that it is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import TypeVar

from rework.anatomy.amplifier import of
from rework.anatomy.links import groups
from rework.anatomy.rectifiers import is_rectifier_tube
from rework.circuit.circuit import Circuit
from rework.circuit.graph import Merged
from rework.circuit.parts import Part
from rework.papers.places import pin_words
from rework.solve.bench import (
    BehindLamp,
    behind_lamp,
    lamp_for,
    umbilical_unplugged,
    without_tubes,
)
from rework.solve.chart import Chart, volts
from rework.solve.network import CannotSolve

#: Draws for the bands of a state; fewer than for the chart of the finished set.
SAMPLES = 200

_T = TypeVar("_T")


@dataclass(frozen=True, slots=True)
class States:
    """The solved states; None where a state has no numbers or is none of this set.

    ``lamp`` is the watts of the series lamp. ``dark``: no tube in any socket, amplifier parted from
    the supply, behind the lamp. ``alone``: the supply on the full line with its rectifier, the
    amplifier parted or without tubes. ``small``: every tube but the output tubes, full line.
    ``whole``: every tube, behind the lamp.
    """

    lamp: float = 0.0
    dark: BehindLamp | None = None
    alone: Chart | None = None
    small: Chart | None = None
    whole: BehindLamp | None = None


#: Where nothing was solved.
NO_STATES = States()


def states(circuit: Circuit, chart: Chart | None) -> States:
    """Return the states of a finished set; ``chart`` is that of the set in use."""
    if chart is None or circuit.mains is None or not circuit.mains.hertz:
        return States()
    lamp = lamp_for(chart.line_watts)
    bare = supply_alone(circuit)
    empty = without_tubes(bare, {part.name for part in circuit.parts if part.kind == "tube"})
    small = small_tubes(circuit)
    alone = _solved(lambda: volts(referenced(bare), samples=SAMPLES))
    unloaded = alone.line_amps if alone else None
    return States(
        lamp,
        _solved(lambda: behind_lamp(empty, lamp, samples=SAMPLES, amps=unloaded)),
        alone,
        _solved(lambda: volts(small, samples=SAMPLES)) if small else None,
        _solved(lambda: behind_lamp(circuit, lamp, samples=SAMPLES, amps=chart.line_amps)),
    )


def _solved(solve: Callable[[], _T]) -> _T | None:
    try:
        return solve()
    except CannotSolve:
        return None


def supply_alone(circuit: Circuit) -> Circuit:
    """Return the supply with its rectifier and no load: umbilical unplugged, other tubes out.

    Of an amplifier that is parted from its supply only what is on the line stays (the power switch
    and its lead, a motor) and the metal; nothing flows in the rest.
    """
    parted = umbilical_unplugged(circuit)
    if parted != circuit:
        anatomy = of(parted)
        parted = parted.with_parts(
            tuple(
                part
                for part in parted.parts
                if "/" in part.name
                or part.is_conductor
                or part.kind in ("connector", "chassis")
                or any(anatomy.wiring.point(node) in anatomy.line for _, node in part.pins)
            )
        )
    others = {
        part.name for part in parted.parts if part.kind == "tube" and not is_rectifier_tube(part)
    }
    return without_tubes(parted, others)


def referenced(circuit: Circuit) -> Circuit:
    """Return a supply with its B- on its metal: what is read across a capacitor does not change,
    and against a common that nothing ties to the meter there is nothing to read.
    """
    minus = next((part.at("minus") for part in circuit.parts if part.kind == "electrolytic"), None)
    metal = next((part.pins[0][1] for part in circuit.parts if part.kind == "chassis"), None)
    if minus is None or metal is None:
        return circuit
    joined = Merged()
    for part in circuit.parts:
        for group in groups(part):
            if group.how in ("conductor", "conducts"):
                for first, second in pairwise(group.terminals):
                    joined.join(part.at(first), part.at(second))
    if joined.find(minus) == joined.find(metal):
        return circuit
    bond = Part(circuit.free_part_name("W"), "wire", pins=(("1", minus), ("2", metal)))
    return circuit.with_parts((*circuit.parts, bond))


def small_tubes(circuit: Circuit) -> Circuit | None:
    """Return the circuit without its output tubes; None where no other tube of the set is left."""
    output = output_tubes(circuit)
    left = [
        part
        for part in circuit.parts
        if part.kind == "tube" and part.name not in output and not is_rectifier_tube(part)
    ]
    return without_tubes(circuit, output) if output and left else None


def output_tubes(circuit: Circuit) -> frozenset[str]:
    """Return the tubes with a plate on the primary of an output transformer."""
    driven = {
        node
        for part in circuit.parts
        if part.kind == "output transformer"
        for terminal, node in part.pins
        if terminal.startswith("primary")
    }
    return frozenset(
        part.name
        for part in circuit.parts
        if part.kind == "tube"
        and any(node in driven and "plate" in pin_words(part, at) for at, node in part.pins)
    )

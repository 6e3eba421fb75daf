"""Where a signal enters a circuit and where it is heard."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise

from rework.anatomy import amplifier
from rework.anatomy.heaters import closed_points
from rework.anatomy.units import tube_of
from rework.circuit.circuit import Circuit
from rework.circuit.graph import Merged
from rework.circuit.parts import Part
from rework.circuit.place import Problem
from rework.solve.network import CannotSolve

#: The kinds that bring a signal in, the likeliest first, with their two terminals.
INPUTS = (
    ("jack", "tip", "sleeve"),
    ("pickup", "signal", "shield"),
    ("microphone", "signal", "shield"),
)


#: The ends of what a switch may make a microphone of.
_ENDS = {"speaker": ("1", "2"), "jack": ("tip", "sleeve")}
#: The kinds through which a signal gets on to a grid.
_PASSING = frozenset(
    ("resistor", "pot", "capacitor", "electrolytic", "transformer", "choke", "thermistor")
)


@dataclass(frozen=True, slots=True)
class SignalPath:
    """From the nodes ``source`` and ``back`` of the input to the nodes ``ends`` of the speaker and
    its ohms.
    """

    source: str
    back: str
    ends: tuple[str, str]
    speaker: str
    load: float


def path_of(circuit: Circuit) -> SignalPath:
    """Return the way of the signal. Raises CannotSolve without an input or a speaker."""
    source, back = input_ends(circuit)
    speaker = speaker_of(circuit)
    return SignalPath(
        source,
        back,
        (speaker.at("1"), speaker.at("2")),
        speaker.name,
        speaker.value("resistance") or 0.0,
    )


def input_ends(circuit: Circuit) -> tuple[str, str]:
    """Return the two nodes of the input: a jack's, else a pickup's or microphone's, else those of
    the speaker or its jack that is the microphone with the switches as they are drawn. Of several
    it is the first that leads to a grid with the switches as they are drawn.

    Raises CannotSolve where there is none.
    """
    inputs = list(_inputs(circuit))
    if len(inputs) > 1:
        leads_on = _switched_in(circuit)
        return next((ends for ends in inputs if leads_on(ends[0])), inputs[0])
    if inputs:
        return inputs[0]
    driven = _driven(circuit)
    for part in circuit.parts:
        if _is_spoken_into(circuit, part) and part.name not in driven:
            hot, back = _ENDS[part.kind]
            return part.at(hot), part.at(back)
    raise CannotSolve(
        Problem(
            "the circuit has no input: no jack, pickup or microphone",
            hint="add the input jack, as in J1 jack input : tip=IN, sleeve=COMMON",
        )
    )


def _inputs(circuit: Circuit) -> Iterator[tuple[str, str]]:
    for kind, hot, back in INPUTS:
        for part in circuit.parts:
            ends = part.node(hot), part.node(back)
            other = part.kind != kind or {"speaker", "output"} & set(part.words)
            if not other and ends[0] is not None and ends[1] is not None:
                yield ends[0], ends[1]


def _switched_in(circuit: Circuit) -> Callable[[str], bool]:
    """Return what tells whether a node leads to a grid with the switches as they are drawn."""
    anatomy = amplifier.of(circuit)
    closed = closed_points(anatomy.wiring)
    still = {closed.get(point, point) for point in anatomy.still}

    def at(node: str) -> str:
        point = anatomy.wiring.point(node)
        return closed.get(point, point)

    ways = Merged()
    for part in circuit.parts:
        if part.kind in _PASSING:
            for first, second in pairwise({*map(at, part.ends)} - still):
                ways.join(first, second)
    grids = {
        at(part.at(pin))
        for part in circuit.parts
        if (tube := tube_of(part)) is not None
        for pin in tube.socket_pins
        if tube.element(pin).rpartition(".")[2] == "grid" and part.node(pin) is not None
    } - still
    reached = {*map(ways.find, grids)}
    return lambda node: ways.find(at(node)) in reached


def _is_spoken_into(circuit: Circuit, part: Part) -> bool:
    """Return whether a part is a speaker, or the jack of one, that a switch makes a microphone
    of.
    """
    return part.kind in _ENDS and any(
        port.part == part.name for port in amplifier.of(circuit).inputs
    )


def _driven(circuit: Circuit) -> frozenset[str]:
    """Return the speakers that an output transformer drives with the switches as they are drawn."""
    anatomy = amplifier.of(circuit)
    signal, wiring = anatomy.signal, anatomy.wiring
    closed = closed_points(wiring)
    driving = {
        closed.get(point, point)
        for part in signal.transformers
        if part.name in signal.output_transformers
        for point in signal.windings(part, primary=False)
    }
    return frozenset(
        port.part for port in anatomy.loads if closed.get(port.hot, port.hot) in driving
    )


def speaker_of(circuit: Circuit) -> Part:
    """Return the first speaker or dummy load; where a switch makes a microphone of it, the one that
    is driven with the switches as they are drawn.

    Raises CannotSolve where there is none or its ohms are not said.
    """
    loads = [part for part in circuit.parts if part.kind in ("speaker", "dummy load")]
    speaker = next(iter(loads), None)
    if speaker is None:
        raise CannotSolve(
            Problem(
                "the circuit has no speaker and no dummy load, so there is nowhere to read the"
                " output",
                hint="add one, as in SP1 speaker 4 ohm : SP -- COMMON",
            )
        )
    if len(loads) > 1 and _is_spoken_into(circuit, speaker):
        driven = _driven(circuit)
        speaker = next((part for part in loads if part.name in driven), speaker)
    if speaker.value("resistance") is None:
        raise CannotSolve(
            Problem(
                f"{speaker.name} has no ohms in the file",
                speaker.place,
                hint="write its ohms, as in speaker 4 ohm",
            )
        )
    return speaker

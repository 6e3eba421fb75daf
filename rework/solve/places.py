"""Where a signal enters a circuit and where it is heard."""

from __future__ import annotations

from dataclasses import dataclass

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part
from rework.circuit.place import Problem
from rework.solve.network import CannotSolve

#: The kinds that bring a signal in, the likeliest first, with their two terminals.
INPUTS = (
    ("jack", "tip", "sleeve"),
    ("pickup", "signal", "shield"),
    ("microphone", "signal", "shield"),
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
    """Return the two nodes of the input: a jack's, else a pickup's or microphone's.

    Raises CannotSolve where there is none.
    """
    for kind, hot, back in INPUTS:
        for part in circuit.parts:
            ends = part.node(hot), part.node(back)
            other = part.kind != kind or {"speaker", "output"} & set(part.words)
            if not other and ends[0] is not None and ends[1] is not None:
                return ends[0], ends[1]
    raise CannotSolve(
        Problem(
            "the circuit has no input: no jack, pickup or microphone",
            hint="add the input jack, as in J1 jack input : tip=IN, sleeve=COMMON",
        )
    )


def speaker_of(circuit: Circuit) -> Part:
    """Return the first speaker or dummy load.

    Raises CannotSolve where there is none or its ohms are not said.
    """
    speaker = next((p for p in circuit.parts if p.kind in ("speaker", "dummy load")), None)
    if speaker is None:
        raise CannotSolve(
            Problem(
                "the circuit has no speaker and no dummy load, so there is nowhere to read the"
                " output",
                hint="add one, as in SP1 speaker 4 ohm : SP -- COMMON",
            )
        )
    if speaker.value("resistance") is None:
        raise CannotSolve(
            Problem(
                f"{speaker.name} has no ohms in the file",
                speaker.place,
                hint="write its ohms, as in speaker 4 ohm",
            )
        )
    return speaker

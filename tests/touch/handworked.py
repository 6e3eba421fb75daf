"""Small circuits whose touch current can be worked out by hand."""

from __future__ import annotations

from rework.circuit.circuit import Circuit
from rework.language.resolve import read_circuit

#: No stray capacitance beside what is drawn.
BARE = (
    ("interwinding_farad", 0.0),
    ("core_farad", 0.0),
    ("metalwork_farad", 0.0),
    ("junction_farad", 0.0),
)


def read(text: str) -> Circuit:
    circuit, problems = read_circuit(text, file="bench.circuit")
    assert circuit is not None, [str(problem) for problem in problems]
    return circuit


def tied(
    *parts: str,
    mains: str = "120 V 60 Hz",
    touchable: str = "CHASSIS",
    plug: str = "two-blade",
    earth: str = "",
) -> Circuit:
    """Return a circuit on a plug with blades L and N and a touchable node."""
    lines = "\n".join(parts)
    return read(
        f'circuit "bench"\nmains {mains}\ntouchable {touchable}\nopen L, N, {touchable}\n'
        f"P1 plug {plug} : line=L, neutral=N{earth}\n{lines}\n"
    )

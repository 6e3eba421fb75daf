"""Where a signal comes into a set, and where it goes out."""

from __future__ import annotations

from dataclasses import dataclass

from rework.anatomy.signal import SignalWays, is_load, way_back
from rework.circuit.kinds import KINDS, Law
from rework.circuit.parts import Part


@dataclass(frozen=True, slots=True)
class SignalPort:
    """A part by which a signal comes in or goes out: its points, the one that carries the signal
    first, and the return (None where it is bound to nothing).
    """

    part: str
    hot: str
    back: str | None


def inputs(signal: SignalWays) -> tuple[SignalPort, ...]:
    """Return the jacks, pickups and microphones by which a signal comes in, and the speakers and
    jacks of speakers that a switch makes microphones of, in the order of the file.
    """
    ports = (_input(signal, part) for part in signal.wiring.circuit.parts)
    return tuple(port for port in ports if port is not None)


def loads(signal: SignalWays) -> tuple[SignalPort, ...]:
    """Return the speakers, dummy loads and output jacks, in the order of the file; a jack that the
    output transformer feeds is one whatever it says.
    """
    ports = []
    for part in signal.wiring.circuit.parts:
        hot, back = ("tip", "sleeve") if part.kind == "jack" else ("1", "2")
        if not is_load(part) and part.kind != "jack":
            continue
        port = _port(signal, part, hot, back)
        if port is not None and (is_load(part) or _is_driven(signal, port.hot)):
            ports.append(port)
    return tuple(ports)


def _input(signal: SignalWays, part: Part) -> SignalPort | None:
    if part.kind == "jack" and not is_load(part):
        port = _port(signal, part, "tip", "sleeve")
    elif KINDS[part.kind].law == Law.SIGNAL_SOURCE:
        port = _port(signal, part, "signal", "shield")
    elif part.kind == "speaker":
        port = _port(signal, part, "1", "2")
        port = port if port is not None and _drives_a_grid(signal, port.hot) else None
    elif part.kind == "jack":
        port = _port(signal, part, "tip", "sleeve")
        port = port if port is not None and _is_switched_to_a_grid(signal, port.hot) else None
    else:
        return None
    return None if port is None or _is_driven(signal, port.hot) else port


def _port(signal: SignalWays, part: Part, hot: str, back: str) -> SignalPort | None:
    first, second = signal.wiring.of(part, hot), signal.wiring.of(part, back)
    if first is None or first == second:
        return None
    if first in signal.still and second is not None and second not in signal.still:
        first, second = second, first
    return SignalPort(part.name, first, second)


def _drives_a_grid(signal: SignalWays, point: str) -> bool:
    if point in signal.still:
        return False
    return bool(signal.forward((point,)).keys() & signal.grids.keys())


def _is_switched_to_a_grid(signal: SignalWays, point: str) -> bool:
    reached = signal.forward((point,)) if point not in signal.still else {}
    ways = (way_back(reached, grid) for grid in signal.grids if grid in reached)
    parts = signal.wiring.circuit.by_name
    return any(parts[name].traits.is_switch for way in ways for name, _ in way)


def _is_driven(signal: SignalWays, point: str) -> bool:
    """Return whether the secondary of an output transformer is on the point itself."""
    return any(
        point in signal.windings(part, primary=False)
        for part in signal.transformers
        if part.name in signal.output_transformers
    )

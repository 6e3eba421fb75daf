"""Pins and places as the bench names them: ``V3 pin 7 (plate)``, and what else is there."""

from __future__ import annotations

from collections.abc import Collection

from rework.anatomy.links import joints
from rework.circuit.circuit import Circuit
from rework.circuit.graph import Merged, contracted
from rework.circuit.parts import Part, Value
from rework.compare.entries import value_text
from rework.tubes import library

#: More neighbours than this at one place are counted, not named.
_MOST_NAMED = 4
#: What a wire is best said to go to, the plainest landmark first.
_LANDMARKS = (
    "connector",
    "jack",
    "switch",
    "chassis",
    "tube",
    "socket",
    "output transformer",
    "transformer",
    "motor",
    "electrolytic",
)


def pin_words(part: Part, terminal: str) -> str:
    """Return a terminal by its part, pin and, at a tube that is known, its element."""
    if not terminal.isdigit():
        return f"{part.name} {terminal}"
    tube = library.find(part.type) if part.kind == "tube" else None
    element = (
        tube.element(terminal) if tube is not None and terminal in tube.socket_pins else "none"
    )
    return f"{part.name} pin {terminal}" + (f" ({element})" if element != "none" else "")


def neighbours(circuit: Circuit, node: str, but: Collection[str] = ()) -> tuple[str, ...]:
    """Return the words for every pin on a node but those of the parts named in ``but``, landmarks
    first.
    """
    on = [(part, terminal) for part, terminal in circuit.at.get(node, ()) if part.name not in but]
    return tuple(pin_words(part, terminal) for part, terminal in sorted(on, key=_rank))


def listed(words: tuple[str, ...], *, none: str = "nothing") -> str:
    """Return words as a phrase; beyond the fourth they are counted."""
    if not words:
        return none
    more = len(words) - _MOST_NAMED
    return ", ".join(words[:_MOST_NAMED]) + (f" and {more} more" if more > 0 else "")


def place_words(circuit: Circuit, node: str, but: Collection[str] = ()) -> str:
    """Return a node by its name with what is connected there."""
    return f"{node} [{listed(neighbours(circuit, node, but), none='nothing else there')}]"


def end_words(
    circuit: Circuit, part: Part, terminal: str, end: str, absent: Collection[str] = ()
) -> str:
    """Return where one end of a new conductor goes.

    ``end`` is the node, or ``PART.terminal``, that the edit named; ``absent`` are the parts that
    are not there yet.
    """
    name, _, pin = end.partition(".")
    if pin and name in circuit.by_name:
        return pin_words(circuit.by_name[name], pin)
    node = circuit.by_name[part.name].node(terminal) if part.name in circuit.by_name else None
    node = node or circuit.node_named(end)
    at = [
        (part, pin)
        for part, pin in circuit.at.get(node, ())
        if not part.is_conductor and part.name not in absent
    ]
    if not at:
        return f"tie point {node}"
    best = min(at, key=_rank)
    return f"{pin_words(*best)}, point {node}"


def one_point(circuit: Circuit) -> dict[str, str]:
    """Return for every node a name shared by all nodes that conductors and mated connectors make
    one point of.
    """
    group, merged = contracted(circuit), Merged()
    for near, first, other, second in joints(circuit):
        merged.join(
            group[circuit.by_name[near].at(first)], group[circuit.by_name[other].at(second)]
        )
    return {node: merged.find(group[node]) for node in circuit.nodes}


def _rank(pin: tuple[Part, str]) -> tuple[int, str, str]:
    part, terminal = pin
    return (
        _LANDMARKS.index(part.kind) if part.kind in _LANDMARKS else len(_LANDMARKS),
        part.name,
        terminal,
    )


def plain(part: Part) -> str:
    """Return what a part is without where it goes: ``resistor 220k 1/2 W``; a transformer with each
    of its windings.
    """
    what = " ".join(filter(None, (part.kind, part.type, *map(_worded, part.values), *part.words)))
    windings = (
        f"{name} {' '.join(map(_worded, values))}" for name, values in part.windings if values
    )
    return ", ".join([what, *windings])


def _worded(value: Value) -> str:
    text = value_text(value)
    return text if value.role in text else f"{value.role} {text}".strip()

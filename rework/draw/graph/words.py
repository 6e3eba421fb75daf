"""What is written of a part on its block: kind or type, values, what a pin is called."""

from __future__ import annotations

from rework.anatomy.units import element_at, tube_of
from rework.circuit.parts import Part
from rework.language.quantity import write_value

_WORDS = {"output transformer": "output transf.", "shielded cable": "shielded"}
#: A value and a rating of no more letters than this together share a line.
_ONE_LINE = 10


def chassis_of(part: Part) -> str:
    """Return the name under which a part's circuit was attached; nothing for a part of the
    circuit's own.
    """
    return part.name.rpartition("/")[0]


def own(name: str) -> str:
    """Return a name without the name of the circuit it was attached as."""
    return name.rpartition("/")[2] or name


def values(part: Part) -> tuple[str, ...]:
    """Return the lines under a part's name: type or kind, then its first value and rating."""
    lines = [part.type] if part.type else []
    if part.is_conductor:
        return (
            " ".join(
                [
                    _WORDS.get(part.kind, part.kind),
                    *(word for word in part.words if word == "twisted"),
                ]
            ),
        )
    if part.kind in (
        "tube",
        "resistor",
        "capacitor",
        "electrolytic",
        "fuse",
        "choke",
        "pot",
        "thermistor",
    ):
        first = [
            write_value(value)
            for value in part.values
            if value.dimension not in ("fraction", "power", "voltage") or part.kind == "fuse"
        ][:1]
        rating = (
            [
                write_value(value)
                for value in part.values
                if value.dimension in ("voltage", "power")
            ][:1]
            if part.kind not in ("pot", "fuse")
            else []
        )
        together = " ".join([*first, *rating])
        return (*lines, together) if 0 < len(together) <= _ONE_LINE else (*lines, *first, *rating)
    named = [" ".join([_WORDS.get(part.kind, part.kind), *lines])]
    if part.kind == "switch" and part.setting("on"):
        named.append(f"on {own(part.setting('on'))}")
    return (
        *named,
        *[
            write_value(value)
            for value in part.values
            if value.dimension in ("resistance", "apparent-power")
        ][:1],
    )


def pin_word(part: Part, terminal: str) -> str:
    """Return what a pin is called: number and element of a tube, + and - of a capacitor, nothing
    for a resistor's ends.
    """
    if part.kind == "tube":
        return f"{terminal} {element_word(part, terminal)}".strip()
    if part.kind == "electrolytic":
        return {"plus": "+", "minus": "-"}.get(terminal, terminal)
    if part.kind in ("chassis", "earth") or (
        terminal in ("1", "2")
        and part.kind not in ("socket", "connector", "switch", "motor", "speaker")
    ):
        return ""
    return (
        terminal.replace(".start", "")
        .replace(".finish", " end")
        .replace(".", " ")
        .replace("primary", "pri")
        .replace("secondary", "sec")
    )


def is_tie_point(part: Part, terminal: str) -> bool:
    """True for a socket pin that the tube has nothing on."""
    return part.kind == "tube" and element_at(part, terminal) in ("none", "absent", "internal")


def is_heater_pin(part: Part, terminal: str) -> bool:
    """True for the ends and taps of a tube's heater."""
    return part.kind == "tube" and element_at(part, terminal).startswith(("heater", "lamp-tap"))


def element_word(part: Part, terminal: str) -> str:
    """Return the element at a tube's pin in as few letters as can be read."""
    tube = tube_of(part)
    if tube is None or terminal not in tube.socket_pins:
        return ""
    name = tube.element(terminal).rpartition(".")[2]
    return {
        "heater1": "heater",
        "heater2": "heater",
        "suppressor": "suppr.",
        "none": "tie point",
        "absent": "tie point",
        "internal": "tie point",
        "heater-tap": "tap",
        "lamp-tap": "lamp tap",
    }.get(name, name)

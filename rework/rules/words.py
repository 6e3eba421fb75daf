"""Edits and pins as a person says them."""

from __future__ import annotations

from rework.circuit.edits import (
    Action,
    AttachCircuit,
    Bridge,
    CutConductor,
    Edit,
    ExchangeTube,
    FitPart,
    LiftPin,
    MoveLead,
    RemovePart,
    RunWire,
    SetValue,
)
from rework.circuit.parts import Part
from rework.compare.sentences import part_words
from rework.language.quantity import write_value
from rework.tubes import library


def edit_words(edit: Edit) -> str:
    """Return an edit as a sentence a person can work from."""
    action = edit.action
    match action:
        case CutConductor(name):
            return f"cut {name}"
        case LiftPin(part, terminal):
            return (
                f"lift {part} pin {terminal}" if terminal.isdigit() else f"lift {part} {terminal}"
            )
        case RemovePart(name):
            return f"take out {name}"
        case FitPart(part):
            return f"fit {_fitted(part)}"
        case RunWire(part):
            return f"run {_fitted(part)}"
        case ExchangeTube(name, type_, _, _, moves):
            settings = ", ".join(
                f"{element} from pin {'+'.join(old) or 'none'} to {'+'.join(new) or 'none'}"
                for element, old, new in moves
            )
            return f"put a {type_} in as {name}" + (
                f"; moved: {settings}" if settings else "; every pin stays"
            )
        case SetValue(name, values, _):
            return f"change {name} to {' '.join(write_value(value) for value in values)}"
        case AttachCircuit(circuit, prefix):
            return (
                f"set {circuit.title or 'the circuit'} beside it as {prefix}: {len(circuit.parts)}"
                " parts on a separate chassis"
            )
        case MoveLead(part, terminal, node):
            pin = f"pin {terminal}" if terminal.isdigit() else terminal
            return f"move {part} {pin} to {node}"
        case Bridge(a, b, ohms):
            return f"join {a} and {b}" + (f" by {ohms:g} ohm" if ohms else "")
    raise AssertionError("every action has words")


def edit_name(action: Action) -> str:
    """Return what sort of edit it is."""
    words = {
        CutConductor: "cut a conductor",
        LiftPin: "lift a pin",
        RemovePart: "remove a part",
        FitPart: "fit a part",
        RunWire: "run a wire",
        ExchangeTube: "exchange a tube",
        SetValue: "set a value",
        AttachCircuit: "attach a circuit",
        MoveLead: "move a lead",
        Bridge: "join two nodes",
    }
    return words[type(action)]


def _fitted(part: Part) -> str:
    return f"{part.name}, {part_words(part)}"


def pin_words(part: str, type_: str, terminal: str) -> str:
    """Return a pin as the bench calls it: ``V3 pin 7 (plate)``."""
    if terminal.isdigit() or terminal == "cap":
        tube = library.find(type_) if type_ else None
        element = tube.element(terminal) if tube and terminal in tube.socket_pins else ""
        return f"{part} pin {terminal}" + (f" ({element})" if element and element != "none" else "")
    return f"{part} {terminal}"

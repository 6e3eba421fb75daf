"""The input jacks that one fault inside a set puts at B+, before its supply is designed."""

from __future__ import annotations

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part, Value
from rework.touch.faults import faults


def shocking_jacks(circuit: Circuit, supply: str, volts: float) -> tuple[str, ...]:
    """Return the jacks on whose tip a single fault leaves more direct current than the limit.

    ``circuit`` has the stand-in of its supply under the name ``supply``, whose B+ is tried at
    ``volts``: those of the old supply with cold tubes on the high line, which a new one that keeps
    the old parts within their ratings does not give while it plays.
    """
    rail = f"{supply}/R1"
    stiff = circuit.by_name[rail]
    (_, plus), (_, minus) = stiff.pins
    source = Part(
        rail,
        "battery",
        values=(Value("voltage", volts),),
        pins=(("plus", plus), ("minus", minus)),
    )
    tried = circuit.with_parts(
        tuple(source if part.name == rail else part for part in circuit.parts)
    )
    shocked = {
        node
        for outcome in faults(tried).outcomes
        if outcome.dc_is_over
        for node in (outcome.dc_node, outcome.dc_other)
    }
    return tuple(
        part.name for part in circuit.parts if part.kind == "jack" and part.node("tip") in shocked
    )

"""What one fault inside a set puts at B+ within reach, before its supply is designed."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part, Value
from rework.touch import faults

#: Ohms of a small supply, its windings and its filter, up to B+ (common practice, no source).
SOURCE_OHMS = 100.0


def shocking_at_b_plus(
    circuit: Circuit, supply: str, volts: float, held: Collection[str]
) -> frozenset[str]:
    """Return the nodes at which a single fault leaves more direct current than the limit.

    ``circuit`` has the stand-in of its supply under the name ``supply``, whose B+ is tried at
    ``volts``: those of the old supply with cold tubes on the high line, which a new one that keeps
    the old parts within their ratings does not give while it plays. ``held`` are the switches that
    stay as they are drawn.
    """
    name = f"{supply}/R1"
    stiff = circuit.by_name[name]
    (_, plus), (_, minus) = stiff.pins
    inside = circuit.free_node_name(f"{supply}/SOURCE")
    ohms = replace(
        stiff, values=(Value("resistance", SOURCE_OHMS),), pins=(("1", inside), ("2", plus))
    )
    source = Part(
        circuit.free_part_name(f"{supply}/BT"),
        "battery",
        values=(Value("voltage", volts),),
        pins=(("plus", inside), ("minus", minus)),
    )
    parts = (ohms if part.name == name else part for part in circuit.parts)
    return faults.shocking_nodes(circuit.with_parts((*parts, source)), held)

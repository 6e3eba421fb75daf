"""A whole circuit on its outlet as elements: the parts, the contacts of its connectors, the
conductors of its plug.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import get_args

from rework.anatomy.links import joints_of, mated
from rework.circuit.circuit import Circuit
from rework.touch.builder import Builder
from rework.touch.element import AxisKind, EitherWay, Element, Variant
from rework.touch.parts import elements_of


@dataclass(frozen=True)
class Model:
    """A circuit as elements, what may be there beside them, and what had to be assumed because a
    value was not written.

    ``unproved`` names insulation that no standard vouches for: it is tried whole and broken down,
    whichever is worse. ``usual`` says which parts were taken at the figure that parts of their size
    have.
    """

    circuit: Circuit
    elements: tuple[Element, ...]
    variants: tuple[Variant, ...]
    unknown: tuple[str, ...]
    unproved: tuple[str, ...]
    usual: tuple[str, ...] = ()

    @cached_property
    def axes(self) -> tuple[EitherWay, ...]:
        """What may be in either of two positions, in the order of the file, insulation last."""
        every = list(dict.fromkeys(variant.axis for variant in self.variants))
        kinds = get_args(AxisKind)
        return tuple(sorted(every, key=lambda axis: (kinds.index(axis.kind), every.index(axis))))


def model(circuit: Circuit, assumed: Mapping[str, float], held: Collection[str] = ()) -> Model:
    """Return the elements of a circuit on its outlet: hot, neutral and earth conductors, parts,
    contacts. Pots that are ``held`` stay where they are drawn.
    """
    build = Builder(circuit, assumed, held)
    elements = (
        *(element for part in circuit.parts for element in elements_of(build, part)),
        *_contacts(build),
    )
    _note_plugs(build, elements)
    variants = tuple(variant for variant in build.variants if variant.nodes[0] != variant.nodes[1])
    return Model(
        circuit,
        elements,
        variants,
        tuple(build.unknown),
        tuple(build.unproved),
        tuple(build.usual),
    )


def _contacts(build: Builder) -> Iterator[Element]:
    """Return the contacts that meet in mated connectors."""
    for pair in mated(build.circuit):
        for first, here, second, there in joints_of(build.circuit, pair):
            nodes = (
                build.circuit.by_name[first].at(here),
                build.circuit.by_name[second].at(there),
            )
            if nodes[0] != nodes[1]:
                yield Element(
                    first,
                    f"{first}.{here} to {second}.{there}",
                    nodes,
                    1 / build.assumed["conductor_ohm"],
                    gate=("umbilical", pair[0]),
                    kind="contact",
                )


def _note_plugs(build: Builder, elements: tuple[Element, ...]) -> None:
    """Take note of a netlist that no plug drives, or more than one: then what is under a limit is
    under it by default.
    """
    fed = sorted({element.part for element in elements if element.kind == "blade"})
    if not fed:
        build.missing(
            "no blade of a plug is connected to anything, so no current was driven: attach the"
            " supply, or write the plug and where its blades go"
        )
    elif len(fed) > 1:
        build.missing(
            f"{' and '.join(fed)} were reversed in their outlets together: one of them reversed"
            " alone was not tried; leave one plug"
        )

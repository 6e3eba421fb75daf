"""What goes on a sheet, and where: one circuit, or two whose common parts share their places."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part
from rework.draw.draft import Draft
from rework.draw.graph.roles import roles
from rework.draw.layout import rails
from rework.draw.layout.columns import PLAIN_SPACING, Spacing, places
from rework.draw.layout.netlist import Netlist, PieceSides, netlist, reservoirs
from rework.draw.layout.plan import add_to, plan
from rework.draw.layout.sketch import PiecePlace, Sketch, Spot
from rework.draw.overlay import Overlay
from rework.draw.routing.way import Costs
from rework.draw.symbols.pen import Box, Style, around
from rework.draw.wiring import wired


@dataclass(frozen=True, slots=True)
class DrawnSubject:
    """What is drawn of a chassis: a circuit, or two of which the second came out of the first;
    the parts of each (None for all), and what to point out.
    """

    circuits: tuple[Circuit, ...]
    parts: tuple[tuple[Part, ...] | None, ...]
    overlays: tuple[Overlay, ...]
    style: Style


@dataclass(frozen=True, slots=True)
class Layout:
    """Pieces in their places: for each circuit its netlist and its spots; one place a piece.

    ``risers`` is the x at which rails come up from the supply, ``gone`` are spots of the first
    circuit that the second has nothing at.
    """

    nets: tuple[Netlist, ...]
    spots: tuple[Mapping[str, Spot], ...]
    place: Mapping[str, PiecePlace]
    every: tuple[Spot, ...]
    spacing: Spacing
    risers: Mapping[str, int] = field(default_factory=dict)
    gone: tuple[Spot, ...] = ()

    @property
    def box(self) -> Box:
        """What all pieces take up."""
        boxes = [
            spot.box.moved(self.place[spot.piece.key].x, self.place[spot.piece.key].y)
            for spot in self.every
        ]
        return around(boxes) if boxes else Box(0, 0, 1, 1)


@dataclass(frozen=True, slots=True)
class SheetCut:
    """One sheet of several: the keys of its pieces (None: all of them), and for each net that goes
    on elsewhere the numbers of the sheets where it does.
    """

    keys: frozenset[str] | None = None
    goes_on: Mapping[str, str] = field(default_factory=dict)


#: A chassis on one sheet.
WHOLE = SheetCut()


def netlists(subject: DrawnSubject, cut: SheetCut = WHOLE) -> tuple[Netlist, ...]:
    """Return the netlist of each circuit on a sheet."""
    lists: list[Netlist] = []
    sides = PieceSides(subject.circuits, subject.parts)
    for number, (circuit, overlay) in enumerate(
        zip(subject.circuits, subject.overlays, strict=True)
    ):
        nets = netlist(circuit, roles(circuit), sides.pieces(number), cut.keys, cut.goes_on)
        lists.append(overlay.on(nets))
    raw = frozenset().union(*(reservoirs(nets) for nets in lists))
    return tuple(nets.drawn_as_wires(raw) for nets in lists)


@dataclass(slots=True)
class Layouts:
    """The layouts of a subject, each made once: a cut is planned once for all spacings."""

    subject: DrawnSubject
    sketches: dict[object, _Planned] = field(default_factory=dict)
    layouts: dict[object, Layout] = field(default_factory=dict)

    def of(self, cut: SheetCut = WHOLE, spacing: Spacing = PLAIN_SPACING) -> Layout:
        """Return where everything is on a sheet."""
        sheet = (cut.keys, tuple(sorted(cut.goes_on.items())))
        if (sheet, spacing) not in self.layouts:
            if sheet not in self.sketches:
                self.sketches[sheet] = _planned(self.subject, cut)
            planned = self.sketches[sheet]
            place, risers = places(planned.sketch, spacing)
            every = (*planned.sketch.spots.values(), *planned.sketch.variants.values())
            self.layouts[sheet, spacing] = Layout(
                planned.nets, planned.spots, place, every, spacing, risers, planned.gone
            )
        return self.layouts[sheet, spacing]


@dataclass(frozen=True, slots=True)
class _Planned:
    """A sheet's plan before anything has an x: each circuit's netlist and spots."""

    nets: tuple[Netlist, ...]
    sketch: Sketch
    spots: tuple[Mapping[str, Spot], ...]
    gone: tuple[Spot, ...] = ()


def _planned(subject: DrawnSubject, cut: SheetCut) -> _Planned:
    """Return the plan of a sheet.

    The first circuit is planned as if it were alone; what only the second has takes the places of
    what went, or finds its own.
    """
    nets = netlists(subject, cut)
    sketch = plan(nets[0], subject.style, roles(subject.circuits[0]))
    first = dict(sketch.spots)
    if len(nets) == 1:
        return _Planned(nets, sketch, (first,))
    sketch.vary(nets[1])
    rails.loosen(sketch)
    add_to(sketch, first, nets[1], roles(subject.circuits[1]))
    second = {key: sketch.variants.get(key) or sketch.spots[key] for key in nets[1].pieces}
    gone = tuple(spot for key, spot in first.items() if key not in nets[1].pieces)
    return _Planned(nets, sketch, (first, second), gone)


def drafts(layout: Layout, costs: Costs) -> tuple[Draft, ...]:
    """Return each circuit of a layout with its wires; those whose net and pins are the same in both
    lie the same.
    """
    first = wired(
        layout.nets[0], layout.spots[0], layout.place, layout.every, costs, risers=layout.risers
    )
    if len(layout.nets) == 1:
        return (first,)
    second = wired(
        layout.nets[1],
        layout.spots[1],
        layout.place,
        layout.every,
        costs,
        first,
        layout.gone,
        layout.risers,
    )
    second.ghosts = [
        spot for spot in layout.gone if not taken_over(spot, layout.spots[1].values(), layout.place)
    ]
    return first, second


def taken_over(spot: Spot, spots: Iterable[Spot], place: Mapping[str, PiecePlace]) -> bool:
    """True where another piece has the place of one that went."""
    at = place[spot.piece.key]
    body = spot.symbol.body.moved(at.x, at.y)
    return any(
        other.symbol.body.moved(place[other.piece.key].x, place[other.piece.key].y).meets(body)
        for other in spots
    )

"""The schematics of a job, as found, after every step and finished, all in one layout.

Before and after are laid out together (``drawing.planned_pair``); what there is after a step stands
where it stands in one of the two. Circuits that differ from those laid out in figures alone (a
value, a rating, a remark) keep layout and wires; only words are set anew.
"""

from __future__ import annotations

from dataclasses import replace

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part, Value
from rework.draw.chassis import by_chassis
from rework.draw.draft import Draft
from rework.draw.drafting import taken_over
from rework.draw.drawing import Planned, Sheets, hold, marked, pair, planned_pair, title_of
from rework.draw.finishing import finished
from rework.draw.graph.roles import roles
from rework.draw.layout.netlist import PieceSides, is_another, netlist
from rework.draw.layout.sketch import Sketch
from rework.draw.overlay import PLAIN, Overlay
from rework.draw.readback import DrawingIsWrong
from rework.draw.routing.way import Costs
from rework.draw.schematic import Schematic
from rework.draw.sheeting import PAGE, Room
from rework.draw.wiring import wired

Overlays = tuple[Overlay, Overlay]


class _NoPlace(Exception):
    """A step has a piece that neither before nor after has a place for."""


class Series:
    """A job's circuit before and after, with their wires laid."""

    def __init__(
        self,
        before: Circuit,
        after: Circuit,
        overlays: Overlays = (PLAIN, PLAIN),
        room: Room = PAGE,
    ) -> None:
        self.before, self.after = before, after
        self._form, self._room = _form(before, after), room
        self._plans = planned_pair(before, after, overlays=overlays, room=room)
        self._sheets: dict[tuple[str, int], tuple[Draft, Overlay, str, Schematic]] = {}
        self._is_held = False

    def with_figures(self, before: Circuit, after: Circuit) -> Series | None:
        """Return the series of circuits that differ from these in figures alone, in the same
        layout; None where they differ in more.
        """
        if _form(before, after) != self._form:
            return None
        other = Series.__new__(Series)
        other.before, other.after = before, after
        other._form, other._room, other._plans = self._form, self._room, self._plans
        other._sheets, other._is_held = self._sheets, self._is_held
        return other

    def pair(self, overlays: Overlays) -> tuple[Sheets, Sheets]:
        """Return the sheets before and after, with what is found of each.

        Raises DrawingIsWrong where a sheet does not say what the netlist says.
        """
        circuits, marks = (self.before, self.after), marked(self.before, self.after, overlays)
        sheets: tuple[Sheets, Sheets] = ({}, {})
        for plan in self._plans:
            first = circuits[plan.there[0]]
            for at, number in enumerate(plan.there):
                overlay = (marks if len(plan.there) == 2 else overlays)[number]
                draft = _now(plan.drafts[at], circuits[number], first, overlay)
                title = title_of(circuits[number], plan.chassis)
                sheets[number][plan.sheet] = self._sheet(plan, at, draft, overlay, title)
        if not self._is_held:  # new words change nothing of what the lines say
            for circuit, drawn in zip(circuits, sheets, strict=True):
                hold(drawn, circuit)
            self._is_held = True
        return sheets

    def _sheet(
        self, plan: Planned, at: int, draft: Draft, overlay: Overlay, title: str
    ) -> Schematic:
        """Return a finished sheet: the last one where it says the same."""
        key = plan.sheet, plan.there[at]
        if (had := self._sheets.get(key)) and had[1:3] == (overlay, title):
            same = had[0].nets.pieces == draft.nets.pieces
            if same and had[0].ghosts == draft.ghosts:
                return had[3]
        sheet = finished(draft, overlay=overlay, title=title, condition=plan.words[at])
        self._sheets[key] = draft, overlay, title, sheet
        return sheet

    def between(self, circuit: Circuit, overlay: Overlay, word: str) -> Sheets:
        """Return the sheets of the circuit after a step, in the places of before and after.

        Where a piece has no place there, or no wiring is found, it is laid out beside the circuit
        as found alone.
        """
        try:
            sheets = self._placed(circuit, overlay, word)
            hold(sheets, circuit)
        except (_NoPlace, DrawingIsWrong):
            return pair(self.before, circuit, overlays=(PLAIN, PLAIN), room=self._room)[1]
        return sheets

    def _placed(self, circuit: Circuit, overlay: Overlay, word: str) -> Sheets:
        chassis = by_chassis(circuit)
        if chassis.keys() - {plan.chassis for plan in self._plans}:
            raise _NoPlace
        return {
            plan.sheet: finished(
                self._between(plan, circuit, chassis[plan.chassis], overlay),
                overlay=overlay,
                title=title_of(circuit, plan.chassis),
                condition=word,
            )
            for plan in self._plans
            if plan.chassis in chassis
        }

    def _between(
        self, plan: Planned, circuit: Circuit, parts: tuple[Part, ...], overlay: Overlay
    ) -> Draft:
        layout = plan.layout
        if layout is None:
            raise _NoPlace
        first = (self.before, self.after)[plan.there[0]]
        sides = PieceSides((first, circuit), (by_chassis(first)[plan.chassis], parts))
        nets = overlay.on(
            netlist(circuit, roles(circuit), sides.pieces(1), plan.cut.keys, plan.cut.goes_on)
        )
        known = {**layout.spots[-1], **layout.spots[0]}
        if nets.pieces.keys() - known.keys():
            raise _NoPlace
        sketch = Sketch(nets, plan.subject.style)
        spots = {key: sketch.like(piece, known[key]) for key, piece in nets.pieces.items()}
        gone = [spot for key, spot in layout.spots[0].items() if key not in spots]
        draft = wired(
            nets,
            spots,
            layout.place,
            layout.every,
            Costs(),
            plan.drafts[-1],
            gone,
            layout.risers,
        )
        draft.ghosts = [spot for spot in gone if not taken_over(spot, spots.values(), layout.place)]
        return draft


def _now(draft: Draft, circuit: Circuit, first: Circuit, overlay: Overlay) -> Draft:
    """Return a draft with the parts as they are in a circuit of the same form, and its marks."""
    pieces = {
        key: replace(piece, part=circuit.by_name.get(piece.part.name, piece.part))
        for key, piece in draft.nets.pieces.items()
    }
    return replace(
        draft,
        nets=overlay.on(replace(draft.nets, circuit=circuit, pieces=pieces)),
        spots={key: replace(spot, piece=pieces[key]) for key, spot in draft.spots.items()},
        ghosts=[
            replace(
                spot,
                piece=replace(
                    spot.piece, part=first.by_name.get(spot.piece.part.name, spot.piece.part)
                ),
            )
            for spot in draft.ghosts
        ],
    )


def _form(before: Circuit, after: Circuit) -> tuple[object, ...]:
    """Return all of two circuits that their layout comes from: everything but figures, remarks and
    titles.
    """
    return tuple(
        (
            circuit.mains,
            circuit.ports,
            circuit.touchable,
            tuple(map(_bare, circuit.parts)),
            tuple(
                part.name in before.by_name and is_another(before.by_name[part.name], part)
                for part in circuit.parts
            ),
        )
        for circuit in (before, after)
    )


def _bare(part: Part) -> Part:
    return replace(
        part,
        values=_blank(part.values),
        windings=tuple((name, _blank(values)) for name, values in part.windings),
        remark="",
    )


def _blank(values: tuple[Value, ...]) -> tuple[Value, ...]:
    return tuple(Value(value.dimension, 0.0, value.role) for value in values)

"""Schematics of a circuit or of two in the same places: a sheet a chassis, read back before anyone
sees them.

A chassis too large for one sheet in type that can be read has more of them. A sheet that does not
say what the netlist says is laid out anew with more room, and in the end in rows with names at
every lead: a drawing is never refused, and never leaves a part out.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from rework.circuit.circuit import Circuit
from rework.draw import measure, readback
from rework.draw.chassis import by_chassis
from rework.draw.draft import Draft, detour
from rework.draw.drafting import DrawnSubject, Layout, Layouts, SheetCut, drafts, netlists
from rework.draw.finishing import finished
from rework.draw.labelled import labelled
from rework.draw.layout.columns import PLAIN_SPACING, TIGHT_SPACING, Spacing
from rework.draw.overlay import PLAIN, Overlay, differences
from rework.draw.readback import DrawingIsWrong
from rework.draw.routing.way import Costs
from rework.draw.schematic import Schematic
from rework.draw.sheeting import PAGE, Room, sheets_of
from rework.draw.symbols.pen import Style
from rework.draw.symbols.table import style_of

#: Sheets by the name of their chassis; the circuit's own is called "". Of several sheets of one
#: chassis the second and later have their number behind it.
Sheets = dict[str, Schematic]
#: What goes on each sheet of a chassis, with its layout.
Cuts = list[tuple[SheetCut, Layout]]
_SYMBOLS = {"us": "symbols of IEEE 315", "iec": "symbols of IEC 60617"}
#: What wires cost where few may cross, where a long way round is left out, where they may rather
#: cross than go round, and where most run side by side.
_ROUND, _NEARER, _ACROSS = Costs(), Costs(crossing=36.0), Costs(crossing=15.0, bend=4.0)
_SUPPLY = Costs(crossing=22.0)
#: What is tried, with the spacing that fits, where a sheet bends or tangles more than it should:
#: pieces levelled or not, a step ahead of leads or none, columns for risers or none, and what wires
#: cost (None: as at first).
_OTHERS = (
    (False, True, True, _ROUND),
    (True, True, True, None),
    (False, True, False, None),
    (False, False, True, None),
    (False, True, True, _ACROSS),
    (True, True, True, _ACROSS),
)
#: What is tried where it does not say what it should, or words cover something.
_WIDER = (
    (TIGHT_SPACING, _ROUND),
    (Spacing(gap=3, bands=6), _ROUND),
    (Spacing(gap=5, bands=9, level=True), _ACROSS),
)
#: A crossing counts as so many bends.
_CROSSING = 5
#: So many units by which wires run far round what they could cross count as a bend.
_FURTHER = 4
#: A bend above what there may be counts as so many more.
_TOO_MANY = 2
#: From so many bends too many on nothing better is looked for: the parts have no order to be drawn
#: in.
_HOPELESS = 60
#: What is taken off the room a chassis is cut for, where a sheet came out too large for it, u.
_SMALLER = (2, 6, 14, 28)
#: The first so many of them are tried before wires may rather cross than go round.
_CLOSER = 2
#: Bends a pin, and crossings a pin, from which another spacing is tried.
_MOST_BENDS, _MOST_CROSSINGS = 0.45, 1 / 15


def schematic(
    circuit: Circuit,
    *,
    style: Style | None = None,
    whole: bool = False,
    overlay: Overlay = PLAIN,
    room: Room = PAGE,
) -> Sheets:
    """Return the sheets of a circuit, a chassis each, or ``whole`` as one; none larger than a room
    unless it holds a single part.
    """
    groups = {"": circuit.parts} if whole else by_chassis(circuit)
    sheets: Sheets = {}
    for name, parts in groups.items():
        some = None if len(groups) == 1 else parts
        subject = DrawnSubject((circuit,), (some,), (overlay,), style or style_of(circuit))
        words = (f"{_condition(circuit, style)}",)
        sheets |= {
            planned.sheet: planned.finished(0) for planned in _chassis(name, subject, words, room)
        }
    hold(sheets, circuit)
    return sheets


def pair(
    before: Circuit,
    after: Circuit,
    *,
    style: Style | None = None,
    whole: bool = False,
    overlays: tuple[Overlay, Overlay] = (PLAIN, PLAIN),
    room: Room = PAGE,
) -> tuple[Sheets, Sheets]:
    """Return the sheets of two circuits, what is in both in the same places, changes marked.

    ``overlays`` are what the check and the chart say of each. A chassis that only one of them has
    is drawn by itself; one that needs several sheets is cut at the same borders in both.
    """
    plans = planned_pair(before, after, style=style, whole=whole, overlays=overlays, room=room)
    sheets: tuple[Sheets, Sheets] = ({}, {})
    for planned in plans:
        for at, number in enumerate(planned.there):
            sheets[number][planned.sheet] = planned.finished(at)
    hold(sheets[0], before)
    hold(sheets[1], after)
    return sheets


def planned_pair(
    before: Circuit,
    after: Circuit,
    *,
    style: Style | None = None,
    whole: bool = False,
    overlays: tuple[Overlay, Overlay] = (PLAIN, PLAIN),
    room: Room = PAGE,
) -> tuple[Planned, ...]:
    """Return the sheets of two circuits with their wires laid, before their words are set."""
    old = {"": before.parts} if whole else by_chassis(before)
    new = {"": after.parts} if whole else by_chassis(after)
    marks = marked(before, after, overlays)
    circuits = (before, after)
    plans: list[Planned] = []
    for name in sorted(old.keys() | new.keys()):
        parts = (
            None if len(old) == 1 else old.get(name),
            None if len(new) == 1 else new.get(name),
        )
        there = tuple(number for number, groups in enumerate((old, new)) if name in groups)
        subject = DrawnSubject(
            tuple(circuits[number] for number in there),
            tuple(parts[number] for number in there),
            tuple((marks if len(there) == 2 else overlays)[number] for number in there),
            style or style_of(before),
        )
        words = tuple(
            f"{('Before', 'After')[number]} · {_condition(before, style)}" for number in there
        )
        plans += [replace(planned, there=there) for planned in _chassis(name, subject, words, room)]
    return tuple(plans)


def marked(
    before: Circuit, after: Circuit, overlays: tuple[Overlay, Overlay]
) -> tuple[Overlay, Overlay]:
    """Return what is found of two circuits with what changed from one to the other."""
    old, new = differences(before, after)
    return _both(overlays[0], old), _both(overlays[1], new)


@dataclass(frozen=True, slots=True)
class Planned:
    """A sheet with its wires laid: its name, its chassis, what of it is drawn, the drafts of the
    circuits and what is said of each.

    ``layout`` is None where no wiring says what the netlist says, and pieces are in rows. ``there``
    are the numbers of the circuits, of two, that the drafts are of.
    """

    sheet: str
    chassis: str
    subject: DrawnSubject
    cut: SheetCut
    layout: Layout | None
    drafts: tuple[Draft, ...]
    words: tuple[str, ...]
    there: tuple[int, ...] = (0,)

    def finished(self, at: int) -> Schematic:
        """Return the sheet of one of its circuits."""
        return finished(
            self.drafts[at],
            overlay=self.subject.overlays[at],
            title=title_of(self.subject.circuits[at], self.chassis),
            condition=self.words[at],
        )


@dataclass(frozen=True, slots=True)
class _Asked:
    """A chassis to be drawn: its name, its layouts, how large a sheet may be, what is said of each
    circuit, and what was tried by the layout's place in memory, which it keeps, and the costs.
    """

    name: str
    layouts: Layouts
    room: Room
    words: tuple[str, ...]
    tried: dict[tuple[int, Costs], _Try] = field(default_factory=dict)

    @property
    def subject(self) -> DrawnSubject:
        """What is drawn."""
        return self.layouts.subject


@dataclass(frozen=True, slots=True)
class _Try:
    """One way to draw a sheet, and how far it is from what it should be: faults against the
    netlist, words that cover something, nets that end at flags, sheets larger than they may be,
    bends and crossings above what there may be (a crossing as so many bends), all of them with what
    wires run round, and whether any does.
    """

    asked: _Asked
    layout: Layout
    costs: Costs
    drafts: tuple[Draft, ...]
    faults: int
    covered: int
    flags: int
    large: int
    too_many: float
    spent: float
    goes_round: bool

    @property
    def worth(self) -> tuple[float, ...]:
        """What distinguishes the better of two, the less the better."""
        bent = _TOO_MANY * self.too_many + self.spent
        return (self.faults, self.covered, self.flags, self.large, bent)

    @property
    def is_wrong(self) -> bool:
        """True where a sheet does not say what the netlist says."""
        return self.faults > 0

    @property
    def is_bad(self) -> bool:
        """True where a sheet is wrong, covers words, or has a net that no wire could join."""
        return bool(self.faults or self.covered or self.flags)

    @property
    def is_hopeless(self) -> bool:
        """True where wires cross far more than they should."""
        return self.too_many > _HOPELESS

    @property
    def fits(self) -> bool:
        """True where no sheet is larger than it may be."""
        return not self.large

    @property
    def is_good(self) -> bool:
        """True where nothing is wrong, and wires cross and bend seldom."""
        return not (self.is_bad or self.large or self.too_many)


def _chassis(name: str, subject: DrawnSubject, words: tuple[str, ...], room: Room) -> list[Planned]:
    """Return the sheets of a chassis with their wires.

    Wires and notes may make a sheet larger than its pieces: then it is cut for a smaller room.
    """
    asked = _Asked(name, Layouts(subject), room, words)
    cuts, firsts = _fitting(asked)
    tries = [_best(first, cut) for (cut, _), first in zip(cuts, firsts, strict=True)]
    if not all(best.is_good for best in tries):
        cuts, tries = _roomier(asked, cuts, tries)
    plans = []
    for number, ((cut, _), best) in enumerate(zip(cuts, tries, strict=True), 1):
        sheet = name if number == 1 else f"{name}/{number}".strip("/")
        numbered = f" · sheet {number} of {len(cuts)}" if len(cuts) > 1 else ""
        said = tuple(f"{word}{numbered}" for word in words)
        plans.append(_planned(sheet, best, cut, said))
    return plans


def _roomier(asked: _Asked, cuts: Cuts, tries: list[_Try]) -> tuple[Cuts, list[_Try]]:
    """Return the sheets of a chassis that was squeezed onto too few, on more of them where wires
    then run straighter.
    """
    if all(best.layout.spacing == PLAIN_SPACING for best in tries):
        return cuts, tries
    rooms = (asked.room.less(less) for less in (0, *_SMALLER[:_CLOSER]))
    ways = (sheets_of(asked.layouts, room, closer=()) for room in rooms)
    others = next((way for way in ways if len(way) > len(cuts)), None)
    if others is None:
        return cuts, tries
    roomy = [_best(_tried(asked, layout, _costs(layout)), cut) for cut, layout in others]
    fit = all(best.fits and not best.is_bad for best in roomy)
    tangled = sum(best.too_many for best in tries)
    better = fit and sum(best.too_many for best in roomy) < tangled
    return (others, roomy) if better else (cuts, tries)


def _fitting(asked: _Asked) -> tuple[Cuts, list[_Try]]:
    """Return the sheets of a chassis as they are drawn first: so that they fit, on few sheets, with
    few crossings, in this order.
    """
    layouts, room = asked.layouts, asked.room

    def drawn(cuts: Cuts, costs: Costs | None = None) -> list[_Try]:
        return [_tried(asked, layout, costs or _costs(layout)) for _, layout in cuts]

    cuts = sheets_of(layouts, room)
    firsts = drawn(cuts)
    if all(trial.fits for trial in firsts):
        return cuts, firsts
    for others, costs in _closer(layouts, room, cuts):
        tries = drawn(others, costs)
        if all(trial.fits for trial in tries):
            break
    return others, tries


def _closer(layouts: Layouts, room: Room, cuts: Cuts) -> Iterator[tuple[Cuts, Costs | None]]:
    """Yield other ways to draw what did not fit, the better first: as many sheets for a smaller
    room, wires that rather cross than go round, more sheets.
    """
    tighter = [sheets_of(layouts, room.less(less)) for less in _SMALLER[:_CLOSER]]
    yield from ((others, None) for others in tighter if len(others) == len(cuts))
    yield from ((cuts, costs) for costs in (_NEARER, _ACROSS))
    yield from ((others, None) for others in tighter if len(others) > len(cuts))
    yield from ((sheets_of(layouts, room.less(less)), None) for less in _SMALLER[_CLOSER:])


def _costs(layout: Layout) -> Costs:
    """Return what wires cost at first: few cross on a service sheet; what runs side by side across
    a whole supply, and what two circuits have in the same places, may rather cross than go round.
    """
    if not any(spot.band.startswith("signal") for spot in layout.every):
        return _SUPPLY
    return _ROUND if len(layout.nets) == 1 else _NEARER


def _best(first: _Try, cut: SheetCut) -> _Try:
    """Return the best way to draw a sheet: the first where it is good, else of all that are
    tried.
    """
    asked, best = first.asked, first
    if first.goes_round and first.costs.crossing > _NEARER.crossing:
        best = min(best, _tried(asked, first.layout, _NEARER), key=lambda trial: trial.worth)
    spacing = first.layout.spacing
    usual = _costs(first.layout)
    others = [
        (
            replace(spacing, level=level, ahead=ahead, risers=spacing.risers and risers),
            costs or usual,
        )
        for level, ahead, risers, costs in _OTHERS
    ]
    drawn = [(first.layout.place, first.costs)]
    for space, costs in (*others, *_WIDER) if first.is_bad else others:
        if best.is_good or (best.is_hopeless and not best.is_bad):
            break
        layout = asked.layouts.of(cut, space)
        if (layout.place, costs) in drawn:
            continue
        drawn.append((layout.place, costs))
        best = min(best, _tried(asked, layout, costs), key=lambda trial: trial.worth)
    return best


def _planned(sheet: str, best: _Try, cut: SheetCut, words: tuple[str, ...]) -> Planned:
    """Return one sheet as it was drawn best, in rows of names where no wiring says what the
    netlist says.
    """
    asked = best.asked
    if not best.is_wrong:
        layout, drawn = best.layout, best.drafts
        return Planned(sheet, asked.name, asked.subject, cut, layout, drawn, words)
    rows = labelled(netlists(asked.subject, cut), asked.subject.style, PAGE.across)
    return Planned(sheet, asked.name, asked.subject, cut, None, rows, words)


def _tried(asked: _Asked, layout: Layout, costs: Costs) -> _Try:
    """Return a layout with its wires, and what is wrong with its sheets, made once."""
    known = asked.tried.get((id(layout), costs))
    if known is None:
        known = asked.tried[id(layout), costs] = _trial(asked, layout, costs)
    return known


def _trial(asked: _Asked, layout: Layout, costs: Costs) -> _Try:
    """Return a layout with its wires, and what is wrong with its sheets."""
    drawn = drafts(layout, costs)
    sheets = _finished(asked, drawn)
    faults = covered = 0
    too_many = spent = 0.0
    for sheet in sheets:
        measured = measure.measures(sheet)
        faults += len(readback.sheet_faults(sheet))
        covered += len(measured.overlaps) + len(measured.through)
        crossings = max(0.0, measured.crossings - min(4, measured.pins * _MOST_CROSSINGS))
        bends = max(0.0, measured.bends - _MOST_BENDS * measured.pins)
        too_many += _CROSSING * crossings + bends
        spent += _CROSSING * measured.crossings + measured.bends
    flags = sum(len(draft.flags) for draft in drawn)
    further = sum(map(detour, drawn))
    spent += further / _FURTHER
    large = sum(not asked.room.holds(sheet.box) for sheet in sheets)
    counts = faults, covered, flags, large
    return _Try(asked, layout, costs, drawn, *counts, too_many, spent, further > 0)


def _finished(asked: _Asked, drawn: tuple[Draft, ...]) -> tuple[Schematic, ...]:
    subject = asked.subject
    return tuple(
        finished(draft, overlay=overlay, title=title_of(circuit, asked.name), condition=condition)
        for draft, overlay, circuit, condition in zip(
            drawn, subject.overlays, subject.circuits, asked.words, strict=True
        )
    )


def chassis_and_number(name: str) -> tuple[str, str]:
    """Return the chassis and the number that the name of a sheet says; no number for the first."""
    chassis, _, number = name.rpartition("/")
    return (chassis, number) if number.isdigit() else (name, "")


def _both(overlay: Overlay, change: Overlay) -> Overlay:
    return replace(overlay, changes=change.changes, old=change.old, moved=change.moved)


def title_of(circuit: Circuit, chassis: str) -> str:
    """Return what is above the sheet of a chassis."""
    return f"{circuit.title}: {chassis}" if chassis else circuit.title


def _condition(circuit: Circuit, style: Style | None) -> str:
    """Return the line the set is for and the symbols it is drawn with."""
    mains = circuit.mains
    words = [f"{mains.volts:g} V {mains.hertz:g} Hz"] if mains is not None else []
    return " · ".join([*words, _SYMBOLS[style or style_of(circuit)]])


def hold(sheets: Sheets, circuit: Circuit) -> None:
    """Raise DrawingIsWrong where the sheets together differ from the netlist."""
    faults = readback.faults(tuple(sheets.values()), circuit)
    if faults:
        raise DrawingIsWrong(
            "the drawing does not say what the netlist says, and is not written: "
            + "; ".join(faults[:3])
        )

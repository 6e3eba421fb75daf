"""What may replace what: which pins move between two types, and whether their curves agree."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from rework.tubes.library import find
from rework.tubes.tubetype import HeaterWay, PrintedRow, TubeType

#: The heater voltage of the parallel supply that a conversion builds.
PARALLEL_VOLTS = 6.3

#: How one type stands to another.
Word = Literal["same curves", "lookalike", "unrelated"]
SAME_CURVES: Final = "same curves"
LOOKALIKE: Final = "lookalike"
UNRELATED: Final = "unrelated"


@dataclass(frozen=True, slots=True)
class ElementMove:
    """One element, the pins it is on in the old type and in the new, both in socket order."""

    element: str
    old: tuple[str, ...]
    new: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PinMoves:
    """What happens to every element when the new type goes where the old one was.

    ``moves`` lists the elements both types have whose pins differ. ``missing`` are elements only
    the old type has, ``added`` those only the new one has. ``taken`` are pins on which the old type
    had nothing (a wire may use them as a tie point) and the new type has something, an internal
    connection included.
    """

    moves: tuple[ElementMove, ...]
    missing: tuple[str, ...]
    added: tuple[str, ...]
    taken: tuple[str, ...]

    @property
    def same_pins(self) -> bool:
        """Whether the new type plugs in with no wire moved and no wire in the way."""
        return not (self.moves or self.missing or self.added or self.taken)


@dataclass(frozen=True, slots=True)
class Relative:
    """A type that may replace another: same electrodes and curves, another heater.

    ``way`` is the way of feeding its heater nearest to 6.3 V. ``pins_move`` says that the socket
    must be rewired or a tie point cleared.
    """

    type: str
    how: str
    way: HeaterWay
    pins_move: bool
    note: str
    source: str
    grade: str


@dataclass(frozen=True, slots=True)
class Standing:
    """How the new type stands to the old one, and why."""

    word: Word
    why: str


@dataclass(frozen=True, slots=True, eq=False)
class StandIn:
    """A type that could go where ``old`` is: how it stands to it, its heater, what moves at the
    socket.

    ``by_way_of`` names the look-alike whose twin it is, "" where it is related itself.
    ``socket_changes`` says that the base is another. ``loads`` are the printed rows that say into
    which load it works, its own or, where ``loads_of`` names another type, those of a relative with
    the same curves.
    """

    old: TubeType
    new: TubeType
    standing: Standing
    by_way_of: str
    way: HeaterWay
    moves: PinMoves
    loads_of: str
    loads: tuple[PrintedRow, ...]

    @property
    def socket_changes(self) -> bool:
        """Whether the new type wants another socket, and not only other pins of the same."""
        return self.old.base != self.new.base

    @property
    def order(self) -> tuple[bool, bool, bool, bool, float, str]:
        """Return what the rank goes by: curves, relation, socket, pins, heater current, name."""
        return (
            self.standing.word != SAME_CURVES,
            bool(self.by_way_of),
            self.socket_changes,
            not self.moves.same_pins,
            self.way.amps.value,
            self.new.type,
        )


def stand_ins(old: TubeType, *, volts: float = PARALLEL_VOLTS) -> tuple[StandIn, ...]:
    """Return every type that could replace ``old``, ranked, those whose heater is for
    ``volts`` (within a tenth) first.

    After the types with the same curves come the look-alikes and the twins of look-alikes, each
    with what it changes: they are in the list to be judged by their numbers, not to be plugged in.
    """
    by_type: dict[str, StandIn] = {}

    def add(new: TubeType | None, by_way_of: TubeType | None = None) -> None:
        if (
            new is not None
            and new.type not in by_type
            and (new is not old or len(old.heater.ways) > 1)
            and new.is_rectifier == old.is_rectifier
        ):
            how = standing(old, new)
            if by_way_of is not None and how.word == UNRELATED:
                why = standing(old, by_way_of).why
                how = Standing(
                    LOOKALIKE, f"It is the {by_way_of.type} behind another heater. {why}"
                )
            feed = min(
                new.heater.ways, key=lambda feed: (abs(feed.volts.value - volts), feed.amps.value)
            )
            by_type[new.type] = StandIn(
                old,
                new,
                how,
                by_way_of.type if by_way_of else "",
                feed,
                pin_moves(old, new),
                *load_rows(new),
            )

    add(old)
    for kin in old.relatives:
        add(find(kin.type))
    for alike in old.lookalikes:
        add(find(alike.type))
    for alike in old.lookalikes:
        middle = find(alike.type)
        for twin in middle.relatives if middle else ():
            add(find(twin.type), middle)
    return tuple(
        sorted(
            by_type.values(),
            key=lambda stand_in: (
                abs(stand_in.way.volts.value - volts) > 0.1 * volts,
                *stand_in.order,
            ),
        )
    )


def load_rows(tube: TubeType) -> tuple[str, tuple[PrintedRow, ...]]:
    """Return the printed rows of a single output stage with their load, and the type that prints
    them: its own, else a twin's.
    """
    twins = [twin for kin in tube.relatives if (twin := find(kin.type)) is not None]
    for type_ in (tube, *twins):
        rows = tuple(
            row
            for row in type_.typical
            if "load_ohms" in row and "plate_volts" in row and "push-pull" not in row.use
        )
        if rows:
            return type_.type, rows
    return tube.type, ()


def nearest_row(rows: Sequence[PrintedRow], plate_volts: float) -> PrintedRow | None:
    """Return the row whose plate volts are nearest by their ratio; among those as near, one that
    prints watts.
    """
    return min(
        rows,
        key=lambda row: (
            max(row["plate_volts"].value / plate_volts, plate_volts / row["plate_volts"].value),
            "watts" not in row,
        ),
        default=None,
    )


def cathode_ohms(row: PrintedRow) -> float | None:
    """Return the cathode resistance of a row, printed or what its bias and currents come to (Ohm's
    law), None without either.
    """
    if "cathode_ohms" in row:
        return row["cathode_ohms"].value
    if "grid_volts" not in row or "plate_amps" not in row or row["grid_volts"].value >= 0:
        return None
    return -row["grid_volts"].value / (
        row["plate_amps"].value + (row["screen_amps"].value if "screen_amps" in row else 0.0)
    )


def pin_moves(old: TubeType, new: TubeType) -> PinMoves:
    """Return what happens to each element, by name and never by pin number, when ``new`` goes where
    ``old`` was.
    """
    before, after = _wired(old), _wired(new)
    pins = [
        ElementMove(name, _carriers(old, name), _carriers(new, name))
        for name in before
        if name in after
    ]
    empty = {pin for pin in old.socket_pins if old.element(pin) in ("none", "absent")}
    return PinMoves(
        moves=tuple(move for move in pins if move.old != move.new),
        missing=tuple(name for name in before if name not in after),
        added=tuple(name for name in after if name not in before),
        taken=tuple(
            pin
            for pin in new.socket_pins
            if pin in empty and new.element(pin) not in ("none", "absent")
        ),
    )


def relatives(old: TubeType) -> tuple[Relative, ...]:
    """Return the types with the same curves as ``old``, the easiest conversion first.

    First those nearest to 6.3 V, then those whose pins stay, then the smaller heater current. A
    type that can itself be fed 6.3 V another way than its ordinary one comes first of all.
    """
    listed = []
    feed = _nearest_way(old)
    if len(old.heater.ways) > 1:
        listed.append(
            Relative(
                old.type,
                SAME_CURVES,
                feed,
                False,
                _way_note(feed),
                old.heater.volts.source,
                old.heater.volts.grade,
            )
        )
    for kin in old.relatives:
        new = find(kin.type)
        if new is None:
            raise ValueError(f"{old.type} names {kin.type} as a relative, which has no file.")
        moves = not pin_moves(old, new).same_pins
        listed.append(
            Relative(new.type, kin.how, _nearest_way(new), moves, kin.note, kin.source, kin.grade)
        )
    return tuple(
        sorted(
            listed,
            key=lambda relative: (
                round(abs(relative.way.volts.value - PARALLEL_VOLTS), 3),
                relative.type != old.type,
                relative.pins_move,
                relative.way.amps.value,
                relative.type,
            ),
        )
    )


def standing(old: TubeType, new: TubeType) -> Standing:
    """Return how ``new`` stands to ``old``: unknown pairs are "unrelated", which means treat it as
    a redesign.
    """
    if new.type == old.type:
        return Standing(SAME_CURVES, f"{new.type} is the same type.")
    alike = [lookalike.why for lookalike in old.lookalikes if lookalike.type == new.type]
    alike += [
        lookalike.why
        for lookalike in new.lookalikes
        if lookalike.type == old.type and lookalike.why not in alike
    ]
    for tube, other in ((old, new), (new, old)):
        for kin in tube.relatives:
            if kin.type == other.type:
                return Standing(
                    SAME_CURVES,
                    " ".join(filter(None, [kin.note, *alike])) or "Only the heater differs.",
                )
    if alike:
        return Standing(LOOKALIKE, " ".join(alike))
    return Standing(
        UNRELATED,
        f"Nothing in the library relates {new.type} to {old.type}: "
        "redesign the stage, including load and bias.",
    )


def _wired(tube: TubeType) -> tuple[str, ...]:
    """Return the elements a wire can be for: a suppressor joined to the cathode inside is no wire
    of its own.
    """
    leading = {carried[0] for _, carried in tube.elements}
    return tuple(
        name
        for name in tube.element_names()
        if name in leading or name.rpartition(".")[2] == "cathode"
    )


def _carriers(tube: TubeType, name: str) -> tuple[str, ...]:
    return tuple(pin for pin, carried in tube.elements if name in carried)


def _nearest_way(tube: TubeType) -> HeaterWay:
    return min(
        tube.heater.ways, key=lambda feed: (abs(feed.volts.value - PARALLEL_VOLTS), feed.amps.value)
    )


def _way_note(feed: HeaterWay) -> str:
    first, second = ("+".join(sorted(side)) for side in feed.between)
    return (
        f"The same tube: {feed.volts.value:g} V {feed.amps.value:g} A between pin {first} and pin"
        f" {second}."
    )

"""A schematic as geometry, before it is inked: symbols in their places, wires, dots, signs, words.

Nothing here knows which net a line belongs to but for its colour; ``readback`` floods the lines and
tells what the drawing says.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from rework.draw.colours import Role
from rework.draw.layout.wording import Label
from rework.draw.symbols.pen import Box, Side, Symbol, bounds

At = tuple[int, int]
#: Size of the title and of the notes, and the steps between rows of signs and of notes, u.
TITLE, NOTE, SIGN_ROW, NOTE_ROW = 1.7, 1.15, 2.9, 1.6
#: From the middle of the mark at a moved pin to its corners, u.
DIAMOND = 0.55
SignKind = Literal["common", "chassis", "earth", "flag"]


@dataclass(frozen=True, slots=True)
class Run:
    """A straight piece of wire; net and role for its colour and for whoever follows it."""

    start: At
    stop: At
    net: str
    role: Role


@dataclass(frozen=True, slots=True)
class Dot:
    """A junction of three."""

    at: At
    net: str
    role: Role


@dataclass(frozen=True, slots=True)
class Sign:
    """A sign at the end of a wire: common, chassis, earth, or a flag with a word.

    ``word`` tells one common from another; ``beside`` is the side of a chassis or an earth on which
    it is written.
    """

    kind: SignKind
    at: At
    net: str
    word: str = ""
    beside: Side = "right"


@dataclass(frozen=True, slots=True)
class Placed:
    """One symbol of a part in its place; ``pins`` are terminals with their node and its role."""

    key: str
    part: str
    unit: str
    kind: str
    symbol: Symbol
    x: int
    y: int
    label: Label
    change: str = ""
    hazard: bool = False
    pins: tuple[tuple[str, str, Role], ...] = ()

    def leads(self) -> list[tuple[str, At, Side]]:
        """Return every terminal that is led out: its name, its point, the side of the wire."""
        return [
            (terminal, (lead.x + self.x, lead.y + self.y), lead.side)
            for lead in self.symbol.leads
            for terminal in lead.terminals
        ]

    @property
    def body(self) -> Box:
        """The body on the sheet."""
        return self.symbol.body.moved(self.x, self.y)

    @property
    def solid(self) -> tuple[Box, ...]:
        """The boxes that the body fills: three steps of a circle for the envelope of a tube, track
        and arrow of a pot.
        """
        body = self.symbol.body
        if self.kind == "pot":
            parts = (bounds(stroke).moved(self.x, self.y) for stroke in self.symbol.strokes)
            return tuple(p for p in parts if p.left < p.right and p.top < p.bottom)
        radius = body.right
        if self.kind != "tube" or body.left != -radius or body.top != -radius:
            return (self.body,)
        return tuple(
            Box(-wide * radius, -high * radius, wide * radius, high * radius).moved(self.x, self.y)
            for wide, high in ((1.0, 0.5), (0.87, 0.8), (0.6, 1.0))
        )


@dataclass(frozen=True, slots=True)
class Note:
    """A word on the sheet that belongs to no part: a rail's name, a port's, volts."""

    text: str
    x: float
    y: float
    anchor: str
    box: Box
    kind: str
    net: str = ""


@dataclass(frozen=True, slots=True)
class Block:
    """Title and condition in one box, the key of the signs in another, the notes in a third.

    ``signs`` are a kind of sign, its letter, and what it means.
    """

    title: str
    condition: str
    signs: tuple[tuple[SignKind, str, str], ...]
    notes: tuple[str, ...]
    title_box: Box
    signs_box: Box
    notes_box: Box


@dataclass(frozen=True, slots=True)
class Schematic:
    """One sheet.

    ``ghosts`` are parts that came out, ``moved`` the points of pins that went to another node,
    ``ways`` the ways of hazards as corners,
    ``linkages`` the points of mechanical ones, ``block`` the title block, ``cans`` the sections of
    every can of more than one.
    """

    title: str
    box: Box
    runs: tuple[Run, ...]
    dots: tuple[Dot, ...]
    signs: tuple[Sign, ...]
    placed: tuple[Placed, ...]
    notes: tuple[Note, ...] = ()
    ghosts: tuple[Placed, ...] = ()
    moved: tuple[At, ...] = ()
    ways: tuple[tuple[At, ...], ...] = ()
    linkages: tuple[tuple[At, ...], ...] = ()
    block: Block | None = None
    cans: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

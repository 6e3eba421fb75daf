"""What came out of a circuit, on the sheet of what came of it: dashed where it was, or as near to
there as the wires of now leave room, with its name and what became of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from rework.draw.layout.netlist import Piece
from rework.draw.layout.wording import NO_LABEL, Label, TextLine, candidates
from rework.draw.lettered import PUSHES, Taken, lead_box
from rework.draw.schematic import Placed
from rework.draw.symbols.pen import Box

#: How far a ghost is moved from where the part was, u: further off nobody looks for it.
_FAR = 12
#: What is kept free around a ghost, u.
_CLEAR = 0.4
#: The word behind the name of what came out.
_OUT = "OUT"


def in_place(ghosts: Iterable[Placed], taken: Taken) -> list[Placed]:
    """Return ghosts where nothing of the sheet runs through them, the nearest such place to where
    each part was; what they cover is taken then.
    """
    placed = []
    for ghost in ghosts:
        clear = (at for at in _near(ghost) if not _meets(_drawn(at), taken))
        placed.append(next(clear, ghost))
        for box in _drawn(placed[-1]):
            taken.add(box)
    return placed


def named(ghosts: Iterable[Placed], pieces: dict[str, Piece], taken: Taken) -> list[Placed]:
    """Return ghosts, each with its words where they cover nothing; where there is no room for them
    beside the ghost, both are moved to where there is.
    """
    placed = []
    for ghost in ghosts:
        lines = _lines(ghost)
        wanted = candidates(pieces[ghost.key], ghost.symbol, lines) if lines else []
        label = _label(ghost, wanted, taken)
        if label is None and wanted:
            others = (
                (at, label)
                for at in _near(ghost)
                if not _meets(_drawn(at), taken)
                if (label := _label(at, wanted, taken)) is not None
            )
            ghost, label = next(others, (ghost, None))
        if label is not None:
            taken.add(label.box)
        for box in _drawn(ghost):
            taken.add(box)
        placed.append(replace(ghost, label=label or NO_LABEL, change="removed"))
    return placed


def _lines(ghost: Placed) -> tuple[TextLine, ...]:
    """Return the words of a part that came out, the first with what became of it."""
    lines = ghost.label.lines
    if not lines:
        return ()
    words = [word for word in lines[0].text.split() if word not in ("HAZARD", _OUT)]
    return (replace(lines[0], text=" ".join((*words, _OUT))), *lines[1:])


def _label(ghost: Placed, wanted: list[Label], taken: Taken) -> Label | None:
    """Return the first place where the words of a ghost cover nothing."""
    return next(
        (
            label
            for push in PUSHES
            for place in wanted
            if taken.first_hit((label := place.moved(ghost.x + push[0], ghost.y + push[1])).box)
            is None
        ),
        None,
    )


def _near(ghost: Placed) -> Iterator[Placed]:
    """Yield a ghost where its part was, then around there, the nearest place first."""
    steps = [(dx, dy) for dx in range(-_FAR, _FAR + 1) for dy in range(-_FAR, _FAR + 1)]
    for dx, dy in sorted(steps, key=lambda step: (abs(step[0]) + abs(step[1]), step)):
        yield replace(ghost, x=ghost.x + dx, y=ghost.y + dy)


def _drawn(ghost: Placed) -> list[Box]:
    """Return the boxes of body and leads."""
    return [*ghost.solid, *(lead_box(ghost, lead) for lead in ghost.symbol.leads)]


def _meets(boxes: list[Box], taken: Taken) -> bool:
    return any(taken.first_hit(box.grown(_CLEAR)) is not None for box in boxes)

"""What the readings of a job point to, for the page: a set is solved once, and each reading that is
typed then ranks its troubles anew.
"""

from __future__ import annotations

from dataclasses import asdict

from rework.faultfinding.diagnosis import TroubleBoard, board, diagnosed, reread
from rework.faultfinding.placed import problems, side_read
from rework.faultfinding.told import told
from rework.page.board import Plain
from rework.rules.run import JobRun
from rework.solve.network import CannotSolve


def pointed_to(run: JobRun, side: str, boards: dict[str, TroubleBoard]) -> Plain:
    """Return what the readings of one set of a job point to; ``side`` "" is that of the last one.

    ``boards`` keeps what was solved of each side, and is changed. ``is_open`` says whether a
    reading that is typed now is one of this set. Raises CannotSolve where the set has no numbers,
    or a line of the job is about something that it does not have.
    """
    misplaced = problems(run)
    if misplaced:
        raise CannotSolve(*misplaced)
    last = side_read(run)
    side = side or last
    old = boards.get(side)
    on = reread(old, run) if old is not None else None
    boards[side] = on if on is not None else board(run, side)
    return {**asdict(told(diagnosed(boards[side]), run)), "is_open": side == last}

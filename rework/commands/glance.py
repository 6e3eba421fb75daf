"""A circuit at a glance: what the check, the faults, the wiring and the figures say of it."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, replace
from multiprocessing.connection import Connection
from typing import TYPE_CHECKING

from rework.anatomy.function import function
from rework.anatomy.function_row import FunctionRow, Working
from rework.anatomy.lost import lost
from rework.circuit.circuit import Circuit
from rework.commands.subject import Subject
from rework.safety.check import check
from rework.safety.findings import Report

if TYPE_CHECKING:
    from rework.solve.function import Performance


@dataclass(frozen=True, slots=True)
class Touched:
    """What a person feels: the worst reading of ``touch`` and where, the limit, amperes RMS, and
    the worst verdict; how many single faults were tried, leave more than the limit, and are not
    known; the connectors whose bare contacts stay charged for too long when they are pulled.
    """

    amps: float
    where: str
    limit: float
    verdict: str
    faults: int
    over: int
    unknown: int
    charged: tuple[str, ...] = ()

    @property
    def is_over(self) -> bool:
        """Whether more than a limit flows without any fault."""
        return self.verdict == "over"


@dataclass(frozen=True, slots=True)
class Glance:
    """One circuit at a glance; ``is_heard`` says whether it has an input and a load."""

    circuit: Circuit
    check: Report
    touched: Touched
    rows: tuple[FunctionRow, ...]
    gain: float | None
    watts: float | None
    rail: str
    rail_volts: float | None
    is_heard: bool

    @property
    def works(self) -> bool:
        """Whether nothing was found that keeps the set from working."""
        return all(row.working is not Working.FAULT for row in self.rows)

    @property
    def exit_status(self) -> int:
        """1 where the set does not work, is tied to the mains, more than the limit can flow (also
        where that is not known), or a pulled connector stays charged.
        """
        felt = self.touched
        unsure = felt.verdict != "under" or felt.unknown
        bad = self.check.exit_status or unsure or felt.over or felt.charged
        return int(bool(bad) or not self.works)


def glances_of(about: Subject, held: Collection[str], beside: Beside) -> dict[str, Glance]:
    """Return a glance of each circuit of a subject; controls and switches that are ``held`` stay
    where they are drawn.

    What a person would feel is computed ``beside`` the operating points.
    """
    circuits = about.circuits
    touched = beside.begin(circuits, held)
    from rework.solve.function import compared, performance, solved_rows

    reports = {key: check(circuit) for key, circuit in circuits.items()}
    rows = {key: function(circuit) for key, circuit in circuits.items()}
    gone: tuple[FunctionRow, ...] = ()
    figures: dict[str, Performance] = {}
    for key, circuit in circuits.items():
        was = figures.get("before")
        figures[key] = performance(circuit, stops=was.stops if was else None, rated=key != "before")
        rows[key] += solved_rows(circuit, figures[key]) if key != "before" else ()
    if about.run is not None:
        before, after = circuits["before"], circuits["after"]
        gone = lost(before, after, about.run.edits)
        pair = compared(before, figures["before"], after, figures["after"], gone)
        rows["after"] += gone + pair
    felt = touched()
    return {
        key: Glance(
            circuit,
            reports[key],
            replace(felt[key], charged=_charged(circuit, figures[key])),
            rows[key],
            figures[key].gain,
            figures[key].watts,
            figures[key].rail,
            figures[key].rail_volts,
            figures[key].is_heard,
        )
        for key, circuit in circuits.items()
    }


def _all_touched(circuits: Mapping[str, Circuit], held: Collection[str]) -> dict[str, Touched]:
    return {key: _touched(circuit, held) for key, circuit in circuits.items()}


def _touched(circuit: Circuit, held: Collection[str]) -> Touched:
    from rework.touch.faults import fault_count
    from rework.touch.touch import worst_touch

    felt, count = worst_touch(circuit, held), fault_count(circuit, held)
    return Touched(
        felt.reading,
        felt.place,
        felt.limit_amps,
        felt.verdict,
        count.tried,
        count.over,
        count.unknown,
    )


def _charged(circuit: Circuit, now: Performance) -> tuple[str, ...]:
    """Return the connectors that stay charged when they are pulled; what a plug of the mains keeps
    is a matter of the check.
    """
    from rework.solve.charged import charge_left, charged
    from rework.touch.ports import bare_contacts
    from rework.touch.stored import after_unplugging

    if not any(bare_contacts(circuit)):
        return ()
    left = (
        after_unplugging(circuit, volts=charged(now.capacitors))
        if now.capacitors
        else charge_left(circuit)
    )
    return tuple(pins.part for pins in left.pins if pins.kind == "connector" and pins.over_limit)


class Beside:
    """A process of its own for what a person would feel.

    It is begun before the files are read, and loads what it computes with meanwhile. Where
    processes cannot be forked, or there is one core, the work is done when asked for. It ends with
    the block that it is used in, whether or not it was asked anything.
    """

    def __init__(self) -> None:
        self._pipe: Connection | None = None
        if "fork" not in multiprocessing.get_all_start_methods() or _cores() < 2:
            return
        context = multiprocessing.get_context("fork")
        self._pipe, there = context.Pipe()
        context.Process(target=_serve, args=(there, self._pipe), daemon=True).start()
        there.close()

    def __enter__(self) -> Beside:
        return self

    def __exit__(self, *_: object) -> None:
        if self._pipe is not None:
            self._pipe.close()

    def begin(
        self, circuits: Mapping[str, Circuit], held: Collection[str]
    ) -> Callable[[], dict[str, Touched]]:
        """Begin with some circuits; return what waits for the result."""
        pipe = self._pipe
        if pipe is None:
            return lambda: _all_touched(circuits, held)
        pipe.send((circuits, held))

        def wait() -> dict[str, Touched]:
            try:
                touched: dict[str, Touched] = pipe.recv()
            except EOFError:  # the process failed: do it here, so that the error is seen
                return _all_touched(circuits, held)
            return touched

        return wait


def _serve(pipe: Connection, asking: Connection) -> None:
    """Answer one question, in the process of its own; none where the other end is closed first."""
    asking.close()  # the copy that came with the fork would keep this process waiting
    import rework.touch.faults  # noqa: F401  loaded while the files are read

    try:
        circuits, held = pipe.recv()
    except EOFError:
        return
    pipe.send(_all_touched(circuits, held))


def _cores() -> int:
    """Return how many cores this process may use."""
    affinity = getattr(os, "sched_getaffinity", None)
    return len(affinity(0)) if affinity else os.cpu_count() or 1

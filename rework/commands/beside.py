"""What a person would feel, computed beside the operating points by a process of its own.

The work is cut in pieces, one a circuit and question, and each process takes the next piece when it
has time: the numbers of the pieces wait in a pipe, and who reads one does it.
"""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Collection, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing.connection import Connection
from typing import TYPE_CHECKING, TypeAlias

from rework.circuit.circuit import Circuit

if TYPE_CHECKING:
    from rework.touch.faults import FaultCount
    from rework.touch.touch import WorstTouch


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


#: The number of a piece of work and its result.
Results: TypeAlias = "dict[int, WorstTouch | FaultCount]"


@dataclass(frozen=True, slots=True)
class _Pieces:
    """The pieces of work by number: of every circuit, with its key, its faults and its touch
    currents.
    """

    circuits: tuple[tuple[str, Circuit], ...]
    held: Collection[str]

    @property
    def count(self) -> int:
        """How many pieces there are."""
        return 2 * len(self.circuits)

    def done(self, number: int) -> WorstTouch | FaultCount:
        """Return the result of one piece."""
        from rework.touch.faults import fault_count
        from rework.touch.touch import worst_touch

        place, question = divmod(number, 2)
        _, circuit = self.circuits[place]
        return (fault_count, worst_touch)[question](circuit, self.held)

    def touched(self, results: Results) -> dict[str, Touched]:
        """Return what a person feels; pieces without a result are done now."""
        from rework.touch.faults import FaultCount
        from rework.touch.touch import WorstTouch

        every = [results.get(number) or self.done(number) for number in range(self.count)]
        touched: dict[str, Touched] = {}
        for (key, _), count, felt in zip(self.circuits, every[::2], every[1::2], strict=True):
            assert isinstance(count, FaultCount)
            assert isinstance(felt, WorstTouch)
            touched[key] = Touched(
                felt.reading,
                felt.place,
                felt.limit_amps,
                felt.verdict,
                count.tried,
                count.over,
                count.unknown,
            )
        return touched


class Beside:
    """The process of its own.

    It is begun before the files are read, and loads what it computes with meanwhile. Where
    processes cannot be forked, or there is one core, the work is done when asked for. It ends with
    the block that it is used in, whether or not it was asked anything.
    """

    def __init__(self) -> None:
        self._pipe: Connection | None = None
        #: The ends of the pipe in which the numbers of the pieces wait.
        self._next, self._given = os.pipe()
        if "fork" not in multiprocessing.get_all_start_methods() or _cores() < 2:
            return
        context = multiprocessing.get_context("fork")
        self._pipe, there = context.Pipe()
        ends = self._pipe, self._given
        context.Process(target=_serve, args=(there, self._next, *ends), daemon=True).start()
        there.close()

    def __enter__(self) -> Beside:
        return self

    def __exit__(self, *_: object) -> None:
        if self._pipe is not None:
            self._pipe.close()
        os.close(self._next)
        self._close_given()

    def _close_given(self) -> None:
        if self._given >= 0:
            os.close(self._given)
            self._given = -1

    def begin(
        self, circuits: Mapping[str, Circuit], held: Collection[str]
    ) -> Callable[[], dict[str, Touched]]:
        """Begin with some circuits; return what helps with what is left to do, then waits for the
        result.
        """
        # The last, a finished set, has the most states and comes first.
        pieces, pipe = _Pieces((*reversed([*circuits.items()]),), held), self._pipe
        os.write(self._given, bytes(range(pieces.count)))
        self._close_given()
        if pipe is not None:
            pipe.send(pieces)

        def wait() -> dict[str, Touched]:
            results = _taken(pieces, self._next)
            # Where the process failed, its pieces are done here, so that the error is seen.
            with suppress(EOFError):
                results |= pipe.recv() if pipe is not None else {}
            return pieces.touched(results)

        return wait


def _taken(pieces: _Pieces, waiting: int) -> Results:
    """Return the results of the pieces whose numbers this process gets, one after the other until
    none is ``waiting``.
    """
    return {number: pieces.done(number) for number in _numbers(waiting)}


def _numbers(waiting: int) -> Iterator[int]:
    while number := os.read(waiting, 1):
        yield number[0]


def _serve(pipe: Connection, waiting: int, asking: Connection, given: int) -> None:
    """Answer one question, in the process of its own; none where the other end is closed first."""
    # The copies that came with the fork would keep this process waiting.
    asking.close()
    os.close(given)
    import rework.touch.faults  # noqa: F401  loaded while the files are read

    try:
        pieces = pipe.recv()
    except EOFError:
        return
    pipe.send(_taken(pieces, waiting))


def _cores() -> int:
    """Return how many cores this process may use."""
    affinity = getattr(os, "sched_getaffinity", None)
    return len(affinity(0)) if affinity else os.cpu_count() or 1

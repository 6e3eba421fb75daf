"""What a person would feel, computed beside the operating points by processes of their own.

The work is cut in pieces, one a circuit and question, and each process takes the next piece when it
has time: the numbers of the pieces wait in a pipe, and who reads one does it.
"""

from __future__ import annotations

import multiprocessing
import os
import pickle
import signal
import struct
import tempfile
from collections.abc import Callable, Collection, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from typing import TYPE_CHECKING, NamedTuple, TypeAlias

from rework.circuit.circuit import Circuit

if TYPE_CHECKING:
    from rework.supply.options import Begin
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

#: No more processes than there are large pieces of work: two of each circuit of a job.
MOST_PROCESSES = 4
#: How a piece waits in the pipe: its number, and where in the file its circuit is and how long.
_PIECE = struct.Struct("=BQQ")


class _Worker(NamedTuple):
    """A process of its own and the end of the pipe that its results come from."""

    process: BaseProcess
    pipe: Connection


class Beside:
    """Processes of their own, as many as there are cores beside this one.

    They are begun before the files are read, and load what they compute with meanwhile. Where
    processes cannot be forked, or there is one core, the work is done when asked for. They end with
    the block that they are used in, whether or not they were asked anything.
    """

    def __init__(self) -> None:
        self._circuits: list[Circuit] = []
        self._held: tuple[str, ...] = ()
        #: The ends of the pipe in which the pieces wait, and the file that has their circuits: a
        #: pipe that is full would wait for a process that is busy.
        self._next, self._given = os.pipe()
        self._file = tempfile.TemporaryFile()  # noqa: SIM115  closed with the block
        self._workers: list[_Worker] = []
        if "fork" not in multiprocessing.get_all_start_methods():
            return
        context = multiprocessing.get_context("fork")
        for _ in range(min(_cores(), MOST_PROCESSES) - 1):
            pipe, there = context.Pipe()
            process = context.Process(
                target=_serve,
                args=(there, self._next, self._given, self._file.fileno()),
                daemon=True,
            )
            process.start()
            there.close()
            self._workers.append(_Worker(process, pipe))

    def __enter__(self) -> Beside:
        return self

    def __exit__(self, *_: object) -> None:
        self._close_given()
        os.close(self._next)
        self._file.close()
        for worker in self._workers:
            worker.pipe.close()
            # What it is at is for nobody: a refused job would wait for it.
            worker.process.terminate()

    def _close_given(self) -> None:
        if self._given >= 0:
            os.close(self._given)
            self._given = -1

    def begin(self, circuit: Circuit, held: Collection[str] = ()) -> None:
        """Begin with a circuit, unless it was begun with before; controls and switches that are
        ``held`` stay where they are drawn.
        """
        if circuit in self._circuits:
            return
        first, self._held = 2 * len(self._circuits), tuple(held)
        self._circuits.append(circuit)
        data, offset = pickle.dumps((circuit, self._held)), self._file.tell()
        self._file.write(data)
        self._file.flush()
        for number in (first, first + 1):
            os.write(self._given, _PIECE.pack(number, offset, len(data)))

    def finish(self) -> Callable[[Circuit], Touched]:
        """Do what is left to do, wait for the others, and return what says what a person feels at a
        circuit that was begun with.
        """
        self._close_given()
        results: Results = {
            number: _done(number, self._circuits[number // 2], self._held)
            for number, _, _ in _pieces(self._next)
        }
        for worker in self._workers:
            # Where a process failed, its pieces are done here, so that the error is seen.
            with suppress(EOFError, OSError):
                results |= worker.pipe.recv()

        def touched(circuit: Circuit) -> Touched:
            first = 2 * self._circuits.index(circuit)
            count, felt = (
                results.get(number) or _done(number, circuit, self._held)
                for number in (first, first + 1)
            )
            return _touched(count, felt)

        return touched


@contextmanager
def each_beside() -> Iterator[Begin]:
    """Give what begins with what a person feels at each way to go, in processes of their own where
    there are cores for them, else when it is asked for.
    """
    from concurrent.futures import ProcessPoolExecutor  # a summary needs none of it

    from rework.supply.assess import safe_findings
    from rework.supply.options import when_asked

    if "fork" not in multiprocessing.get_all_start_methods() or _cores() < 2:
        yield when_asked
        return
    context = multiprocessing.get_context("fork")
    count = min(_cores(), MOST_PROCESSES)
    with ProcessPoolExecutor(count, context, initializer=_leave_interrupts) as pool:
        try:
            yield lambda option: pool.submit(safe_findings, option).result
        finally:
            pool.shutdown(wait=False, cancel_futures=True)


def _done(number: int, circuit: Circuit, held: Collection[str]) -> WorstTouch | FaultCount:
    """Return the result of one piece: of each circuit its faults, then its touch currents."""
    from rework.touch.faults import fault_count
    from rework.touch.touch import worst_touch

    return (fault_count, worst_touch)[number % 2](circuit, held)


def _touched(count: WorstTouch | FaultCount, felt: WorstTouch | FaultCount) -> Touched:
    from rework.touch.faults import FaultCount
    from rework.touch.touch import WorstTouch

    assert isinstance(count, FaultCount)
    assert isinstance(felt, WorstTouch)
    return Touched(
        felt.reading,
        felt.place,
        felt.limit_amps,
        felt.verdict,
        count.tried,
        count.over,
        count.unknown,
    )


def _pieces(waiting: int) -> Iterator[tuple[int, int, int]]:
    while piece := os.read(waiting, _PIECE.size):
        yield _PIECE.unpack(piece)


def _serve(pipe: Connection, waiting: int, given: int, file: int) -> None:
    """Do one piece after the other, in a process of its own; none where the other end is closed
    first.
    """
    os.close(given)  # the copy that came with the fork would keep this process waiting
    _leave_interrupts()
    import rework.touch.faults  # noqa: F401  loaded while the files are read

    results: Results = {}
    for number, offset, length in _pieces(waiting):
        results[number] = _done(number, *pickle.loads(os.pread(file, length, offset)))
    with suppress(BrokenPipeError):
        pipe.send(results)


def _leave_interrupts() -> None:
    """Leave Ctrl-C, which every process of a terminal gets, to the one that was asked."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _cores() -> int:
    """Return how many cores this process may use."""
    affinity = getattr(os, "sched_getaffinity", None)
    return len(affinity(0)) if affinity else os.cpu_count() or 1

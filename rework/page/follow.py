"""Following a job: run again at every save, every piece of it put on the board as soon as it is
known.
"""

from __future__ import annotations

import asyncio
import contextlib
import threading
import time
from collections.abc import Callable, Coroutine, Sequence
from dataclasses import asdict, dataclass
from functools import partial
from pathlib import Path
from typing import Any, TypeVar, cast

from rework.circuit.circuit import Circuit
from rework.circuit.place import Problem
from rework.draw.graph.render import CannotDraw
from rework.draw.overlay import PLAIN, tied
from rework.draw.series import Overlays
from rework.language.files import Refusal
from rework.page import figures, pieces
from rework.page.board import Board, Plain
from rework.page.checked import checked
from rework.page.commanded import answer
from rework.page.drawn import Drawings, Kept
from rework.page.hot import Hot
from rework.page.index import index
from rework.page.netlist import netlist
from rework.page.numbers import NumbersProcess, Worked
from rework.page.record import refusal_words
from rework.page.verdicts import strip
from rework.papers.numbers import Side
from rework.papers.record import read_record, record_of
from rework.papers.states import NO_STATES
from rework.papers.trial.whole import trial
from rework.report.story import Story, story_values
from rework.rules.job_file import try_job_file
from rework.rules.run import JobRun
from rework.safety.check import check, exposed
from rework.safety.findings import Report

Result = TypeVar("Result")
#: Milliseconds the watcher waits for more changes after one, and the longest it does.
_STILL, _LONGEST = 5, 25
_SUFFIXES = (".job", ".circuit", ".rule")


async def aside(work: Callable[[], Result]) -> Result:
    """Return the result of ``work``, done in a thread that is not waited for when the page is
    closed meanwhile.
    """
    loop = asyncio.get_running_loop()
    future: asyncio.Future[Result] = loop.create_future()

    def settle(failure: BaseException | None, result: Result | None) -> None:
        if future.done():
            return
        if failure is None:
            future.set_result(cast("Result", result))
        else:
            future.set_exception(failure)

    def work_on() -> None:
        failure, result = None, None
        try:
            result = work()
        except Exception as error:  # it belongs to whoever waits
            failure = error
        with contextlib.suppress(RuntimeError):  # the loop is closed: nobody waits any more
            loop.call_soon_threadsafe(settle, failure, result)

    # A daemon, unlike the threads of anyio and of the loop's executor: they keep the program alive
    # until a long drawing is done, after Ctrl-C too.
    threading.Thread(target=work_on, daemon=True).start()
    return await future


def _stamps(files: Sequence[Path]) -> dict[Path, int]:
    """Return the time of the last change of every file that is there, nanoseconds."""
    return {file: file.stat().st_mtime_ns for file in files if file.is_file()}


def _sum_of(name: str, circuit: Circuit, run: JobRun) -> object:
    """Return what a sum is kept by: volts are those that the job's meter shows."""
    return (name, circuit, run.job.bench.meter if name == "volts" else None)


@dataclass(frozen=True)
class Seen:
    """A job that was run to its end, with what the check says of it."""

    run: JobRun
    before: Report
    after: Report


class Follower:
    """Keeps a board true to the files of one job."""

    def __init__(self, path: str, board: Board) -> None:
        self.path, self.board = Path(path), board
        self.seen: Seen | None = None
        self._read_at, self._problems = "", tuple[Problem, ...]()
        self._numbers, self._drawings, self._kept = NumbersProcess(), Drawings(), Kept()
        self._troubles, self._one_at_a_time = NumbersProcess(), asyncio.Lock()
        self._overlays: Overlays = (PLAIN, PLAIN)
        self._files: list[Path] = [self.path]
        self._stamps: dict[Path, int] = {}
        self._tasks: dict[str, asyncio.Task[None]] = {}
        board.put("file", {"name": self.path.name, "folder": str(self.path.resolve().parent)})

    async def follow(self) -> None:
        """Read the job, then again at every change of a file it is made of, until cancelled."""
        from watchfiles import awatch

        await self.read()
        while True:
            folders = self._folders()
            async for changed in awatch(
                *folders,
                recursive=False,
                step=_STILL,
                debounce=_LONGEST,
                rust_timeout=1000,
                yield_on_timeout=True,
            ):
                names = [Path(name) for _, name in changed]
                # A save while the job was being read, before anything watched, is seen by its time.
                is_late = not names and _stamps(self._files) != self._stamps
                if is_late or any(name.suffix in _SUFFIXES for name in names):
                    await self.read()
                    if self._folders() != folders:
                        break
                elif any(name.name == record_of(self.path).name for name in names):
                    self._put_record()

    def _folders(self) -> list[Path]:
        return sorted(
            {parent for file in self._files if (parent := file.resolve().parent).is_dir()}
        )

    async def read(self) -> None:
        """Run the job as it is in the files.

        What cannot be run leaves all as it was, marked as older than the files.
        """
        started = time.perf_counter()
        self._cancel("numbers")
        named: list[Path] = []
        stamps = _stamps(self._files)
        try:
            run = await aside(lambda: try_job_file(str(self.path), named))
            problems = run.problems
        except Refusal as refusal:
            run, problems = None, refusal.problems
        self._files = [self.path, *named]
        now = _stamps(self._files)
        self._stamps = {file: stamps.get(file, at) for file, at in now.items()}
        if run is None or not run.done:
            self._problems = problems
            self.board.put("problems", pieces.problems(problems, stale=self._read_at))
            self._put_netlist()
            return
        old, self._problems = self.seen, problems
        self._read_at = time.strftime("%H:%M:%S")
        if old is None or (old.run.before, old.run.after) != (run.before, run.after):
            self._troubles.stop()  # what it is solving is another set by now
            self._overlays = await aside(
                lambda: (tied(*exposed(run.before)), tied(*exposed(run.after)))
            )
            await self._draw(run)
        before, after = await aside(lambda: (check(run.before), check(run.after)))
        seen = Seen(run, before, after)
        self.seen = seen
        self.board.put("problems", pieces.problems(problems, stale=""))
        self.board.put("head", pieces.head(run))
        self._put_strip()
        self._put_netlist()
        self._put_record()
        for key, value in await aside(partial(self._told, seen)):
            self.board.put(key, value)
        self.board.put(
            "read",
            {
                "at": self._read_at,
                "milliseconds": round(1000 * (time.perf_counter() - started)),
                "files": [file.name for file in self._files],
            },
        )
        self._start("sockets", self._draw_sockets(seen))
        self._start("numbers", self._work_out(seen))
        self._start("graphs", self._draw_graphs(seen))

    def _told(self, seen: Seen) -> list[tuple[str, object]]:
        run = seen.run
        return [
            ("ties.before", self._hot(run.before).ties(seen.before)),
            ("ties.after", self._hot(run.after).ties(seen.after)),
            ("parts", pieces.parts(run)),
            ("nodes", pieces.nodes(run)),
            ("readings", pieces.readings(run)),
            ("index", index(run)),
            ("steps", pieces.steps(run)),
            ("check", checked(seen.before, seen.after)),
            ("changes", pieces.changes(run)),
            ("lists", pieces.listed(run)),
            ("work", pieces.work(run)),
            ("tests", self._tests(run)),
        ]

    def _put_netlist(self) -> None:
        rules = sorted(self.path.resolve().parent.glob("*.rule"))
        run = self.seen.run if self.seen else None
        self.board.put("netlist", netlist([*self._files, *rules], run, self._problems))

    def _put_record(self) -> None:
        try:
            self.board.put("record", {"why": "", **asdict(read_record(self.path))})
        except Refusal as refusal:
            self.board.put("record", {"why": refusal_words(refusal), "entries": [], "seen": ""})

    def _put_strip(self) -> None:
        if self.seen is None:
            return
        run = self.seen.run
        sides = {"before": run.before, "after": run.after}
        self.board.put(
            "strip",
            strip(
                run,
                self.seen.before,
                self.seen.after,
                lambda name, side: self._kept.find(_sum_of(name, sides[side], run)),
            ),
        )

    def _tests(self, run: JobRun) -> list[Plain]:
        chart, _ = self._kept.find(_sum_of("volts", run.after, run)) or (None, ())
        return pieces.tests(trial(run.after, Side(chart=chart), NO_STATES))

    def _hot(self, circuit: Circuit) -> Hot:
        hot: Hot = self._kept.get(("hot", circuit), lambda: Hot(circuit))
        return hot

    async def write(self, work: Callable[[], None]) -> None:
        """Do what writes a file of the job, and show the files as they then are; the job is run
        again once the watcher has seen the change.

        Raises Refusal where nothing was written.
        """
        try:
            await aside(work)
        finally:
            self._put_record()
            self._put_netlist()

    def circuit(self, name: str) -> Circuit | None:
        """Return the circuit the page calls ``before``, ``after`` or ``step 3``; None where there
        is none of that name.
        """
        if self.seen is None:
            return None
        run = self.seen.run
        steps = {f"step {number}": taken.after for number, taken in enumerate(run.taken, 1)}
        return {"before": run.before, "step 0": run.before, "after": run.after, **steps}.get(name)

    async def ties(self, name: str) -> Plain | None:
        """Return the ties of a circuit by its name on the page."""
        circuit = self.circuit(name)
        return (
            None
            if circuit is None
            else await aside(lambda: self._hot(circuit).ties(check(circuit)))
        )

    async def way(self, name: str, node: str, row: tuple[int, ...]) -> Plain | None:
        """Return the way to a node of a circuit in one state of those tried; None where there is no
        such circuit or state.
        """
        circuit = self.circuit(name)
        return None if circuit is None else await aside(lambda: self._hot(circuit).way(node, row))

    async def step(self, number: int) -> Plain | None:
        """Return the scene after so many steps; None where the job has not as many, or ``cannot``
        with the reason.
        """
        seen = self.seen
        if seen is None or not 0 <= number <= len(seen.run.taken):
            return None
        return await self._scenes(lambda: self._drawings.step(seen.run, self._overlays, number))

    async def said(self, command: str) -> Plain | None:
        """Put on the board what a command says of the job as it is, as ``said.COMMAND``; return
        when the files were read that it is about.
        """
        if self.seen is None:
            return None
        run, at = self.seen.run, self._read_at
        key = ("said", command, run.before, run.after, run.job.readings)
        story: Story | None = self._kept.find(key)
        if story is None:
            story = await answer(command, self.path)
            self._kept.put(key, story)
        self.board.put(f"said.{command}", {"at": at, "blocks": story_values(story)})
        return {"at": at}

    async def trouble(self, side: str) -> Plain | None:
        """Return what the readings of the set before or after the job point to, "" for the set of
        the last reading; ``cannot`` with the reason where it has no numbers.
        """
        if self.seen is None:
            return None
        async with self._one_at_a_time:
            trouble, why = await self._troubles.asked("trouble", (self.seen.run, side))
        return trouble if trouble is not None else {"cannot": figures.missing(why)["why"]}

    async def drawing(self, when: str, sheet: str, format_: str) -> bytes | None:
        """Return a drawing as a file: a sheet ``before`` or ``after``, or the ``sockets``, as SVG
        or PDF; None where there is none.
        """
        seen = self.seen
        if seen is None:
            return None
        try:
            return await aside(lambda: self._drawings.as_file(seen.run, when, sheet, format_))
        except CannotDraw:
            return None

    async def _scenes(self, draw: Callable[[], Plain]) -> Plain:
        try:
            return await aside(draw)
        except CannotDraw as error:
            return {"cannot": f"Not drawn: {error}."}

    async def _draw(self, run: JobRun) -> None:
        """Draw before and after: what is tied is marked, remedies are tried once it is shown."""
        drawn = await self._scenes(partial(self._drawings.pair, run, self._overlays))
        for when in ("before", "after"):
            self.board.put(f"drawing.{when}", drawn.get(when, drawn))

    async def _draw_sockets(self, seen: Seen) -> None:
        self.board.put(
            "drawing.sockets", await self._scenes(partial(self._drawings.sockets, seen.run))
        )

    async def _draw_graphs(self, seen: Seen) -> None:
        """Draw the graphs once the numbers have had the machine."""
        await asyncio.wait({self._tasks["numbers"]})
        graphs = await self._scenes(
            partial(self._drawings.graph, seen.run, seen.before, seen.after)
        )
        for when in ("before", "after"):
            self.board.put(f"drawing.graph.{when}", graphs.get(when, graphs))

    async def _work_out(self, seen: Seen) -> None:
        """Do the long sums one after another; none that was done for the same circuit."""
        sides = {"after": seen.run.after, "before": seen.run.before}
        wanted = [(name, when, circuit) for name in figures.SUMS for when, circuit in sides.items()]
        for name, when, circuit in wanted:
            result = self._kept.find(_sum_of(name, circuit, seen.run))
            self.board.put(
                f"{name}.{when}",
                figures.computing()
                if result is None
                else self._block(name, result, seen.run, when),
            )
        for name, when, circuit in wanted:
            if self._kept.find(_sum_of(name, circuit, seen.run)) is not None:
                continue
            result = await self._numbers.of(name, circuit, seen.run.job.bench.meter)
            self._kept.put(_sum_of(name, circuit, seen.run), result)
            self.board.put(f"{name}.{when}", self._block(name, result, seen.run, when))
            if (name, when) == ("volts", "after"):
                self.board.put("tests", self._tests(seen.run))
            if name in ("touch", "faults"):
                self._put_strip()

    def _block(self, name: str, result: Worked, run: JobRun, when: str) -> Plain:
        data, why = result
        return figures.missing(why) if data is None else figures.block(name, data, run, when)

    def _start(self, name: str, work: Coroutine[Any, Any, None]) -> None:
        """Start a task in place of the one of that name, which is not wanted any more."""
        self._cancel(name)
        self._tasks[name] = asyncio.create_task(work)

    def _cancel(self, name: str) -> None:
        if name in self._tasks:
            self._tasks[name].cancel()

    async def stop(self) -> None:
        """Stop what is still being done, and wait until it is gone."""
        for task in self._tasks.values():
            task.cancel()
        await asyncio.gather(*self._tasks.values(), return_exceptions=True)
        for process in (self._numbers, self._troubles):
            process.stop()
            await process.ended()

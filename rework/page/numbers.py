"""The long sums in a process of their own: started when first wanted, stopped at once when a save
makes them idle.

Parent and child speak in frames over the child's pipes: eight bytes of length, then a pickle. The
child is this module run as a program; it ends when its input ends, so it never outlives the page.
"""

from __future__ import annotations

import asyncio
import os
import pickle
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any, BinaryIO

from rework.circuit.circuit import Circuit
from rework.circuit.place import Problem
from rework.language.bench import Voltmeter

#: Draws for the bands; the command volts takes more.
SAMPLES = 400
#: The solvers keep dense matrices: a circuit of more parts is left to their own commands.
MOST_PARTS = 400
_LENGTH = 8
#: The meter that is meant where none is named.
DIGITAL = Voltmeter()
#: A result, or None and why there is none.
Worked = tuple[Any, tuple[Problem, ...]]


class NumbersProcess:
    """The process that works sums out, as its owner sees it."""

    def __init__(self) -> None:
        self._child: asyncio.subprocess.Process | None = None
        self._killed: list[asyncio.subprocess.Process] = []

    async def of(self, name: str, circuit: Circuit, meter: Voltmeter) -> Worked:
        """Return the result of one sum and no problems, or None and why there is none."""
        if len(circuit.parts) > MOST_PARTS:
            return None, (
                Problem(
                    f"The circuit has {len(circuit.parts):,} parts, more than the {MOST_PARTS} that"
                    " are computed for the page.",
                    hint=f"use the command: rework {name}",
                ),
            )
        # A fresh value: what a circuit has looked up about itself need not travel.
        return await self.asked(name, (replace(circuit), meter))

    async def asked(self, name: str, about: object) -> Worked:
        """Return the result of a sum about a circuit, or about what else it takes."""
        child = await self._running()
        data = pickle.dumps((name, about))
        try:
            asked, answers = child.stdin, child.stdout
            if asked is None or answers is None:
                raise OSError("the process has no pipes")
            asked.write(len(data).to_bytes(_LENGTH, "big") + data)
            await asked.drain()
            length = int.from_bytes(await answers.readexactly(_LENGTH), "big")
            worked: Worked = pickle.loads(await answers.readexactly(length))
            return worked
        except (OSError, asyncio.IncompleteReadError):
            self.stop()
            return None, (
                Problem(
                    "The computation was interrupted.",
                    hint=f"run it alone to see why: rework --traceback {name}",
                ),
            )
        except asyncio.CancelledError:
            self.stop()
            raise

    async def _running(self) -> asyncio.subprocess.Process:
        if self._child is None or self._child.returncode is not None:
            import rework

            folder = str(Path(rework.__file__).parents[1])
            where = {
                **os.environ,
                "PYTHONPATH": os.pathsep.join(
                    filter(None, (folder, os.environ.get("PYTHONPATH", "")))
                ),
            }
            # Of its own session: Ctrl-C in the terminal is for the page, which then stops its
            # child.
            self._child = await asyncio.create_subprocess_exec(
                sys.executable,
                "-P",
                "-m",
                "rework.page.numbers",
                env=where,
                start_new_session=True,
                stdin=asyncio.subprocess.PIPE,
                stdout=asyncio.subprocess.PIPE,
            )
        return self._child

    def stop(self) -> None:
        """End the process, whatever it is at."""
        if self._child is not None and self._child.returncode is None:
            self._child.kill()
            self._killed.append(self._child)
        self._child = None

    async def ended(self) -> None:
        """Wait until every process that was stopped is gone, and its pipes with it: the loop may be
        closed after that.
        """
        while self._killed:
            await self._killed.pop().communicate()


def worked_out(name: str, circuit: Circuit, meter: Voltmeter = DIGITAL) -> object:
    """Return the result of the sum of that name.

    Raises CannotSolve where the circuit has no numbers.
    """
    if name == "volts":
        from rework.solve.chart import volts

        return volts(circuit, samples=SAMPLES, meter=meter)
    if name == "ohms":
        from rework.solve.ohms import ohms

        return ohms(circuit)
    if name == "signal":
        from rework.solve.signal import signal

        return signal(circuit)
    if name == "touch":
        from rework.touch.touch import touch

        return touch(circuit)
    from rework.solve.charged import charge_left
    from rework.touch.faults import faults

    return faults(circuit), charge_left(circuit)


def _answer(name: str, about: Any, boards: dict[str, Any]) -> Worked:  # noqa: ANN401  per name
    from rework.solve.network import CannotSolve

    try:
        if name == "trouble":
            from rework.page.trouble import pointed_to

            run, side = about
            return pointed_to(run, side, boards), ()
        circuit, meter = about
        return worked_out(name, circuit, meter), ()
    except CannotSolve as error:
        return None, error.problems
    except Exception as error:  # the page goes on without this sum, and says so
        return None, (
            Problem(
                f"The computation failed unexpectedly: {type(error).__name__}: {error}",
                hint=f"rework --traceback {name} shows where",
            ),
        )


def _serve(asked: BinaryIO, answers: BinaryIO) -> None:
    boards: dict[str, Any] = {}  # sets solved under all their troubles, for the next reading
    while len(length := asked.read(_LENGTH)) == _LENGTH:
        name, about = pickle.loads(asked.read(int.from_bytes(length, "big")))
        data = pickle.dumps(_answer(name, about, boards))
        answers.write(len(data).to_bytes(_LENGTH, "big") + data)
        answers.flush()


if __name__ == "__main__":
    # What the sums may print is no frame.
    frames = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    _serve(sys.stdin.buffer, frames)

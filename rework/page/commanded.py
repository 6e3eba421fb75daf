"""What some commands say of the job, in words and tables: each run as its user would, in a process
of its own, when its tab is first looked at.

The child is this module run as a program; it writes one pickle, a story or the text of why there
is none.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import pickle
import sys
from pathlib import Path
from typing import BinaryIO

from rework.report.story import Story, lines

#: The commands whose answer the page shows.
COMMANDS = ("summary", "options", "relatives", "supply")
#: Seconds a command may take.
_LONGEST = 240.0


async def answer(command: str, job: Path) -> Story:
    """Return what ``rework COMMAND JOB`` says, or why it says nothing.

    It runs in the folder of the job, so that a stock list there is found.
    """
    import rework

    package = str(Path(rework.__file__).parents[1])
    paths = filter(None, (package, os.environ.get("PYTHONPATH", "")))
    process = await asyncio.create_subprocess_exec(
        sys.executable,
        "-P",
        "-m",
        "rework.page.commanded",
        command,
        job.name,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(paths), "NO_COLOR": "1"},
        cwd=job.resolve().parent,
        start_new_session=True,
        stdin=asyncio.subprocess.DEVNULL,
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.DEVNULL,
    )
    try:
        out, _ = await asyncio.wait_for(process.communicate(), _LONGEST)
        story: Story = pickle.loads(out)
    except TimeoutError:
        return _stopped(f"rework {command} took more than {_LONGEST:.0f} s and was stopped.")
    except (EOFError, pickle.UnpicklingError):
        return _stopped(f"rework {command} did not finish. Run it alone to see why.")
    else:
        return story
    finally:
        with contextlib.suppress(ProcessLookupError):
            process.kill()
        await process.wait()


def _stopped(why: str) -> Story:
    return lines(why, look="bad")


def _said(command: str, job: str) -> Story:
    """Return what a command says of a job, or the problems that keep it from saying it."""
    from rework.commands.parser import module_of, parser
    from rework.language.files import Refusal
    from rework.report.problems import problem_text

    asked = parser(command).parse_args([command, job])
    try:
        story: Story = module_of(command).story(asked)
    except Refusal as refusal:
        return tuple(
            block
            for problem in refusal.problems
            for block in lines(problem_text(problem).splitlines(), look="bad")
        )
    return story


def _serve(command: str, job: str, out: BinaryIO) -> None:
    out.write(pickle.dumps(_said(command, job)))


if __name__ == "__main__":
    # What a command prints is no pickle.
    frames = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    with frames:
        _serve(sys.argv[1], sys.argv[2], frames)

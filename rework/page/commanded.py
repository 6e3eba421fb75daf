"""What some commands say of the job, as text for the page: each run as its user would, in a process
of its own, when its tab is first looked at.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import sys
from pathlib import Path

#: The commands whose answer the page shows.
COMMANDS = ("summary", "options", "relatives", "supply")
#: Columns of the text; seconds a command may take.
_COLUMNS, _LONGEST = 100, 240.0


async def answer(command: str, job: Path) -> str:
    """Return what ``rework COMMAND JOB`` prints, on standard error where it prints nothing else.

    It runs in the folder of the job, so that a stock list there is found.
    """
    import rework

    package = str(Path(rework.__file__).parents[1])
    paths = filter(None, (package, os.environ.get("PYTHONPATH", "")))
    where = {
        **os.environ,
        "PYTHONPATH": os.pathsep.join(paths),
        "COLUMNS": str(_COLUMNS),
        "NO_COLOR": "1",
    }
    process = await asyncio.create_subprocess_exec(
        sys.executable,
        "-P",
        "-m",
        "rework",
        command,
        job.name,
        env=where,
        cwd=job.resolve().parent,
        start_new_session=True,
        stdin=asyncio.subprocess.DEVNULL,
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.PIPE,
    )
    try:
        out, err = await asyncio.wait_for(process.communicate(), _LONGEST)
    except TimeoutError:
        return f"rework {command} took more than {_LONGEST:.0f} s and was stopped."
    finally:
        with contextlib.suppress(ProcessLookupError):
            process.kill()
    return (out or err).decode(errors="replace")

"""``rework view`` as its user starts it, for the time of a test."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

CIRCUITS = Path(__file__).parents[2] / "circuits"


@dataclass
class Served:
    """A running ``rework view``: its process, its address, the folder of the job."""

    process: subprocess.Popen
    address: str
    folder: Path

    def write(self, name: str, old: str, new: str) -> None:
        """Save a file with one text in it put in place of another, as an editor does: beside it,
        then moved over it.
        """
        file = self.folder / name
        text = file.read_text(encoding="utf-8")
        assert old in text
        draft = file.with_suffix(".draft")
        draft.write_text(text.replace(old, new, 1), encoding="utf-8")
        os.replace(draft, file)

    def stop(self, number: int = signal.SIGTERM) -> tuple[int, str]:
        """Send a signal; return the exit status and what was printed since the address."""
        if self.process.poll() is None:
            self.process.send_signal(number)
        out, _ = self.process.communicate(timeout=10)
        return self.process.returncode, out


def serve(folder: Path, job: str = "pager.job") -> Served:
    """Start the command as its user does and wait for the address."""
    process = subprocess.Popen(
        [sys.executable, "-P", "-m", "rework", "view", str(folder / job), "--no-open"],
        text=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        start_new_session=True,
    )
    first = process.stdout.readline()
    found = re.search(r"http://127\.0\.0\.1:\d+/[\w-]+/", first)
    assert found, first + process.stdout.read()
    return Served(process, found[0], folder)

"""``rework view`` as its user starts it, for the time of some tests."""

from __future__ import annotations

import http.client
import json
import os
import re
import signal
import subprocess
import sys
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit

CIRCUITS = Path(__file__).parents[2] / "circuits"
CASES = Path(__file__).parents[1] / "cases"


@dataclass
class Served:
    """A running ``rework view``: its process, its address with the token, the folder of the job."""

    process: subprocess.Popen
    address: str
    folder: Path
    kept: dict[str, bytes] = field(default_factory=dict)

    @property
    def origin(self) -> str:
        """The address of the page without the token."""
        at = urlsplit(self.address)
        return f"{at.scheme}://{at.netloc}/"

    @property
    def cookie(self) -> str:
        """What a browser sends that was let in."""
        at = urlsplit(self.address)
        return f"rework-{at.port}={at.path.strip('/')}"

    def ask(self, path, *, method="GET", host=None, cookie=True, body=None, **headers):
        """Return status, headers and body of an answer."""
        at = urlsplit(self.address)
        line = http.client.HTTPConnection(at.hostname, at.port, timeout=60)
        line.putrequest(method, path, skip_host=True)
        line.putheader("Host", host or at.netloc)
        if cookie:
            line.putheader("Cookie", self.cookie)
        for name, value in headers.items():
            line.putheader(name.replace("_", "-"), value)
        data = b"" if body is None else json.dumps(body).encode()
        if body is not None:
            line.putheader("Content-Length", str(len(data)))
        line.endheaders(data)
        got = line.getresponse()
        return got.status, got.headers, got.read()

    def write(self, name: str, old: str, new: str) -> None:
        """Save a file with one text in it put in place of another, as an editor does: beside it,
        then moved over it.
        """
        file = self.folder / name
        text = file.read_text(encoding="utf-8")
        assert old in text
        self._put(file, text.replace(old, new, 1).encode())

    def restore(self) -> None:
        """Put every file back as it was when the page was started, and take away new ones."""
        for file in self.folder.iterdir():
            if file.name not in self.kept:
                file.unlink()
            elif file.read_bytes() != self.kept[file.name]:
                self._put(file, self.kept[file.name])

    def _put(self, file: Path, data: bytes) -> None:
        draft = file.with_suffix(".draft")
        draft.write_bytes(data)
        os.replace(draft, file)

    def stop(self, number: int = signal.SIGTERM, *, within: float = 30.0) -> tuple[int, str]:
        """Send a signal; return the exit status and what was printed since the address."""
        if self.process.poll() is None:
            self.process.send_signal(number)
        out, _ = self.process.communicate(timeout=within)
        return self.process.returncode, out


def serve(folder: Path, job: str = "pager.job", *more: str) -> Served:
    """Start the command as its user does and wait for the address."""
    process = subprocess.Popen(
        [sys.executable, "-P", "-m", "rework", "view", str(folder / job), "--no-open", *more],
        text=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        start_new_session=True,
    )
    first = process.stdout.readline()
    found = re.search(r"http://127\.0\.0\.1:\d+/[\w-]+/", first)
    assert found, first + process.stdout.read()
    kept = {file.name: file.read_bytes() for file in folder.iterdir() if file.is_file()}
    return Served(process, found[0], folder, kept)

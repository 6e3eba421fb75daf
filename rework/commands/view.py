"""``rework view``: a local page that follows a job as its files are edited."""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path

from rework.circuit.place import Problem
from rework.language.files import Refusal, read_bytes
from rework.report.terminal import printable
from rework.rules.job_file import is_job

EXAMPLE = "rework view pager.job"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments to its parser."""
    parser.add_argument("file", help="a .job file")
    parser.add_argument(
        "--port",
        type=int,
        default=0,
        help="port on this machine's own address (default: the one this job had last, else free)",
    )
    parser.add_argument(
        "--no-open", action="store_true", help="print the address and open no browser"
    )


def run(asked: argparse.Namespace) -> int:
    """Serve the page until it is stopped.

    A job with mistakes is served too: the page shows them until they are fixed.
    """
    if not is_job(asked.file):
        raise Refusal(
            Problem(
                f"{asked.file} is not a job",
                expected="a .job file",
                hint="write one with: rework new mine.job",
            )
        )
    read_bytes(asked.file)
    if not 0 <= asked.port <= 65535:
        raise Refusal(
            Problem(
                f"there is no port {asked.port}",
                expected="a port from 1 to 65535, or 0 for a free one",
            )
        )
    from rework.page.access import entrance
    from rework.page.server import listening, serve

    try:
        at = listening(asked.port or _last_port(Path(asked.file)))
    except OSError as error:
        raise Refusal(
            Problem(
                f"port {asked.port} cannot be had: {error.strerror or error}",
                hint="leave --port out, and a free one is taken",
            )
        ) from error

    def ready(address: str) -> None:
        print(
            f"{printable(Path(asked.file).name)} is followed at {address}\nThis machine only;"
            " anyone with the address can read the page and enter readings. Ctrl-C stops it.",
            flush=True,
        )
        if not asked.no_open and _has_screen():
            import webbrowser

            webbrowser.open(entrance(Path(asked.file), address))

    serve(asked.file, at, ready)
    print("The page is closed.")
    return 0


def _last_port(job: Path) -> int:
    """Return the port a job was last served at where it is free, so that tabs left open find it
    again; else 0.
    """
    from rework.page.access import kept_pass
    from rework.page.server import listening

    port = kept_pass(job).port
    try:
        listening(port).close()
    except OSError:
        return 0
    return port


def _has_screen() -> bool:
    """Return whether a browser would have somewhere to open; without a screen one might take the
    terminal.
    """
    return sys.platform in ("darwin", "win32") or bool(
        os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")
    )

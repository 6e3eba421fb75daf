"""``rework manual``: the manual by topic, as one page, and as a man page."""

from __future__ import annotations

import argparse
import os
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

from rework.circuit.place import Problem
from rework.commands.arguments import takes_force
from rework.language.files import Refusal, refuse_taken, write_whole
from rework.report.terminal import fitted, printable, styled, table

EXAMPLE = "rework manual first-set"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments to its parser."""
    parser.add_argument(
        "topic",
        nargs="*",
        help="a topic; or words to find, or a message to look up; without it the topics are listed",
    )
    parser.add_argument("--html", metavar="DIR", help="write the manual as one page, manual.html")
    parser.add_argument("--man", metavar="DIR", help="write the man page, rework.1")
    parser.add_argument(
        "--files", metavar="DIR", help="write the files of the lesson first-set, to follow it"
    )
    takes_force(parser)


def run(asked: argparse.Namespace) -> int:
    """Print a topic through the pager, or write what was asked for."""
    if asked.html or asked.man or asked.files:
        _write(asked)
        return 0
    from rework.manual.book import page, topic
    from rework.manual.printed import printed

    words = " ".join(asked.topic)
    if not words:
        _paged(_contents())
    elif topic(words) is not None:
        _paged(printed(page(words)))
    else:
        _paged(_found(words))
    return 0


def _write(asked: argparse.Namespace) -> None:
    """Write the page, the man page and the files of the lesson, as far as they were asked for."""
    from rework.manual.book import files

    written: list[tuple[Path, bytes]] = []
    if asked.html:
        from rework.manual.web import html_page

        written.append((Path(asked.html) / "manual.html", html_page().encode()))
    if asked.man:
        from rework.manual.roff import man_page

        written.append((Path(asked.man) / "rework.1", man_page().encode()))
    if asked.files:
        written += [(Path(asked.files) / path.name, path.read_bytes()) for path in files()]
    refuse_taken(*(path for path, _ in written), force=asked.force)
    for path, data in written:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, data, force=asked.force)
        print(f"{printable(str(path))} is written.")


def _contents() -> str:
    from rework.manual.book import TOPICS

    rows = [(f"rework manual {topic.name}", topic.about) for topic in TOPICS]
    return fitted(
        table(rows)
        + "\n\nrework manual WORDS finds words in every topic; paste a message to see what to do"
        " about it.\nrework manual --html DIR writes all of it as one page.\n"
    )


def _found(words: str) -> str:
    """Return what to do about a message, or the places where words stand.

    Raises Refusal where there are none.
    """
    from rework.manual.find import places, remedies

    blocks = [
        f"{styled(message.text, 'bold')}\n"
        + "\n".join(
            f"  {label} {text}"
            for label, text in (("expected:  ", message.expected), ("what to do:", message.remedy))
            if text
        )
        for message in remedies(words)
    ]
    rows = [(f"rework manual {name}", text) for name, text in places(words)]
    if not blocks and not rows:
        from rework.manual.book import TOPICS

        raise Refusal(
            Problem(
                f"the manual has no topic {words} and does not contain these words",
                expected="one of " + ", ".join(topic.name for topic in TOPICS),
                hint="rework manual lists the topics",
            )
        )
    return "\n\n".join(filter(None, [*map(fitted, blocks), table(rows)])) + "\n"


def _paged(text: str) -> None:
    """Print text through $PAGER on a terminal, plain elsewhere."""
    pager = shlex.split(os.environ.get("PAGER", "") or "less")
    if not sys.stdout.isatty() or text.count("\n") < shutil.get_terminal_size().lines:
        sys.stdout.write(text)
        return
    if shutil.which(pager[0]) is None:
        sys.stdout.write(text)
        return
    # For less: colours pass through and a short page stays. The user's own LESS goes first.
    environment = {"LESS": "FRX", **os.environ}
    try:
        subprocess.run(pager, input=text, text=True, check=False, env=environment)
    except OSError:
        sys.stdout.write(text)

"""``rework tidy``."""

from __future__ import annotations

import argparse
import sys

from rework.language.files import Refusal, read_bytes, refuse_other_files, write_whole
from rework.language.reader import decode
from rework.language.writer import tidy
from rework.report.terminal import printable


def run(asked: argparse.Namespace) -> int:
    """Print or write the tidied file; with ``--check`` return 1 where it differs."""
    refuse_other_files(asked.file)
    text, problems = decode(read_bytes(asked.file), asked.file)
    if text is None:
        raise Refusal(*problems)
    tidied, problems = tidy(text, asked.file)
    if tidied is None:
        raise Refusal(*problems)
    if asked.check:
        print(f"{printable(asked.file)} is {'tidy' if tidied == text else 'not tidy'}")
        return int(tidied != text)
    if asked.in_place or asked.output:
        output = asked.file if asked.in_place else asked.output
        write_whole(output, tidied.encode(), force=asked.force or asked.in_place)
        print(f"{printable(output)} is written.")
    else:
        sys.stdout.write(tidied)
    return 0

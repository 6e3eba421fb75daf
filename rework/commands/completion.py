"""``rework completion``: the script that makes a shell complete commands and files."""

from __future__ import annotations

import argparse

from rework.commands.parser import COMMANDS, parser

EXAMPLE = "rework completion bash > ~/.local/share/bash-completion/completions/rework"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments to its parser."""
    parser.add_argument("shell", choices=("bash", "zsh", "tcsh"), help="which shell")


def run(asked: argparse.Namespace) -> int:
    """Print the script."""
    import shtab

    print(shtab.complete(_completed(parser(*COMMANDS)), shell=asked.shell))
    return 0


def _completed(top: argparse.ArgumentParser) -> argparse.ArgumentParser:
    """Return the parser with every argument that takes a file or folder marked as one."""
    import shtab

    for below in _parsers(top):
        for action in below._actions:
            if action.choices is not None or action.nargs == 0:
                continue
            if action.metavar == "DIR":
                action.complete = shtab.DIRECTORY  # type: ignore[attr-defined]  # shtab reads it
            elif action.dest in _FILES or "." in str(action.metavar or ""):
                action.complete = shtab.FILE  # type: ignore[attr-defined]  # shtab reads it
    return top


#: Arguments that are a file, by their names.
_FILES = frozenset({"file", "before", "after", "what"})


def _parsers(top: argparse.ArgumentParser) -> list[argparse.ArgumentParser]:
    """Return the parsers of the commands."""
    return [
        below
        for action in top._actions
        if isinstance(action, argparse._SubParsersAction)
        for below in action.choices.values()
    ]

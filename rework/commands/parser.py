"""The list of commands in the order of a job, and the parser built from it.

A command is a module of this room with ``EXAMPLE``, ``arguments(parser)`` and ``run(asked)``. Only
the module of the command that was named is loaded; the list needs none of them.
"""

from __future__ import annotations

import argparse
import importlib
from types import ModuleType
from typing import NamedTuple

from rework import __version__


class Command(NamedTuple):
    """A command: its name, the module of this room that does it, and what it does."""

    name: str
    module: str
    does: str


class CommandGroup(NamedTuple):
    """Commands that belong to one part of the job."""

    title: str
    commands: tuple[Command, ...]


GROUPS = (
    CommandGroup(
        "Start",
        (
            Command("manual", "manual", "the manual by topic; first-set leads through a first job"),
            Command("demo", "demo", "copy a packaged demo job to a folder, run it, draw it"),
            Command("new", "new", "write a file to start from; a circuit from the tubes of a set"),
            Command(
                "tidy", "tidy", "put a file in order: columns, blanks, indentation; remarks stay"
            ),
        ),
    ),
    CommandGroup(
        "Look at the set",
        (
            Command(
                "summary",
                "summary",
                "one screen: mains, touch current, faults, and whether the set still works",
            ),
            Command(
                "check",
                "check",
                "what is tied to the mains, by which path, in which plug and switch position",
            ),
            Command("touch", "touch", "touch current at every node and pair, in the worst state"),
            Command(
                "faults",
                "faults",
                "touch current under every single fault, what clears it, and stored charge",
            ),
            Command("draw", "draw", "draw a circuit, or a job before and after"),
            Command("ohms", "ohms", "what an ohmmeter should read with the plug out, pin by pin"),
            Command("volts", "volts", "voltage chart with bands, dissipation, ratings exceeded"),
            Command(
                "signal",
                "signal",
                "gain, response, watts at clipping, distortion, hum, stability",
            ),
        ),
    ),
    CommandGroup(
        "Plan the conversion",
        (
            Command("options", "options", "the ways to convert the set, side by side"),
            Command("relatives", "relatives", "tubes that can replace one, ranked"),
            Command("supply", "supply", "design the new supply from a stock list"),
            Command(
                "kinds", "kinds", "list the kinds of part, or what one may have, with an example"
            ),
            Command("rules", "rules", "list the rework rules, or print the manual of one"),
            Command("tubes", "tubes", "list the tubes, or print the data of one with sources"),
            Command("fit-tube", "fit_tube", "fit a model to the printed rows of a tube"),
        ),
    ),
    CommandGroup(
        "Do the job",
        (
            Command("apply", "apply", "run the rules of a job and write the reworked netlist"),
            Command("diff", "diff", "what changed between two circuits"),
            Command("compare", "compare", "the set as it was wired against the job, and its check"),
            Command("view", "view", "a local page that follows the files while you edit them"),
            Command("papers", "papers", "write the job papers: PDF, HTML page, lists"),
        ),
    ),
    CommandGroup(
        "On the bench",
        (
            Command(
                "trouble",
                "trouble",
                "from bench readings to the likely trouble and the next reading",
            ),
        ),
    ),
    CommandGroup(
        "Set up",
        (
            Command("completion", "completion", "print the completion script of your shell"),
            Command("lsp", "lsp", "help your text editor while you type: the language server"),
        ),
    ),
)

#: What the exit status of a command means.
EXIT_STATUSES = {
    0: "nothing found",
    1: "hazard found",
    2: "cannot read or do what was asked",
}

#: Each command by its name, in the order of the list.
COMMANDS = {command.name: command for group in GROUPS for command in group.commands}


def module_of(name: str) -> ModuleType:
    """Return the module that does the command of that name."""
    return importlib.import_module(f"rework.commands.{COMMANDS[name].module}")


def parser(*names: str) -> argparse.ArgumentParser:
    """Return the argument parser, which takes the commands in ``names``; its help lists them all.

    argparse looks for a translation of its own words with every parser: one for each command took a
    tenth of the start of any.
    """
    top = argparse.ArgumentParser(
        prog="rework",
        usage="rework [-h] [--version] [--traceback] COMMAND ...",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        description=(
            "Convert a transformerless tube amplifier to an isolated supply, on paper first.\n\n"
            + "\n\n".join(map(_listed, GROUPS))
            + "\n\nrework COMMAND --help prints the arguments of a command."
        ),
        epilog=(
            "Exit status: "
            + ", ".join(f"{number} {says}" for number, says in EXIT_STATUSES.items())
            + ".\n"
            "Nothing here replaces the meter: unplug, discharge, measure."
        ),
    )
    top.add_argument("--version", action="version", version=f"rework {__version__}")
    top.add_argument(
        "--traceback", action="store_true", help="show where an unexpected failure happened"
    )
    commands = top.add_subparsers(
        dest="command", metavar="COMMAND", required=True, prog="rework", help=argparse.SUPPRESS
    )
    for name in names:
        module, does = module_of(name), COMMANDS[name].does
        below = commands.add_parser(
            name,
            help=does,
            description=does[0].upper() + does[1:] + ".",
            epilog=f"Example: {module.EXAMPLE}",
        )
        module.arguments(below)
    return top


def _listed(group: CommandGroup) -> str:
    width = max(map(len, COMMANDS))
    return "\n".join(
        [f"{group.title}:", *(f"  {name:<{width}}  {does}" for name, _, does in group.commands)]
    )

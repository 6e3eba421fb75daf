"""The command ``rework``: reads arguments, calls one function, prints.

Exit 0 nothing found, 1 hazard found, 2 not done.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence

from rework import __version__

#: Each command: (what it does, an example, the module and function that do it).
COMMANDS = {
    "demo": (
        "copy a packaged demo job to a folder, run it, tell the story, write the drawings",
        "rework demo pager --to bench",
        "demo",
    ),
    "check": (
        "what is tied to the mains, by which path, in which plug and switch position",
        "rework check pager.circuit",
        "check",
    ),
    "touch": (
        "what current a hand would carry: every touchable node and pair, worst state",
        "rework touch pager.job",
        "touch",
    ),
    "faults": (
        "the same under every single fault, what clears it, and what capacitors keep",
        "rework faults pager.job",
        "faults",
    ),
    "apply": (
        "run the rules of a job and write the reworked netlist",
        "rework apply pager.job -o pager-after.circuit",
        "apply",
    ),
    "diff": (
        "what changed between two circuits: parts, pins, conductors, nodes",
        "rework diff before.circuit after.circuit",
        "diff",
    ),
    "draw": (
        "draw a circuit, or a job before and after",
        "rework draw pager.job -o pager.svg",
        "draw",
    ),
    "papers": (
        "write the job papers: one page to read, a PDF to print, lists as CSV and Markdown",
        "rework papers pager.job -o pager-papers",
        "papers",
    ),
    "view": (
        (
            "a local page that follows the files as they are edited: before, after, changes, every"
            " table"
        ),
        "rework view pager.job",
        "view",
    ),
    "rules": (
        "list the rework rules, or print the manual of one",
        "rework rules open-line-to-chassis",
        "rules",
    ),
    "tubes": (
        "list the tubes, or print what is known of one and where from",
        "rework tubes 50C5",
        "tubes",
    ),
    "supply": (
        (
            "the new supply: what the amplifier needs, candidates from a stock list, each solved;"
            " the circuit to attach"
        ),
        "rework supply pager.job -o supply.circuit",
        "supply",
    ),
    "options": (
        (
            "the ways to go side by side: leave it, isolate it, isolate it and a bridge, a new"
            " supply in silicon or tube"
        ),
        "rework options pager.job -o options.html",
        "options",
    ),
    "relatives": (
        (
            "which tube stands in for one, ranked: curves, pins, heater, ratings at the new B+,"
            " load, and what else must change"
        ),
        "rework relatives 50C5",
        "relatives",
    ),
    "volts": (
        (
            "voltage chart with bands: every tube pin and node, currents, dissipation, what is over"
            " its rating"
        ),
        "rework volts pager.job",
        "volts",
    ),
    "ohms": (
        "what an ohmmeter should read, unpowered, pin by pin and plug to chassis",
        "rework ohms pager.circuit",
        "ohms",
    ),
    "signal": (
        "gain, response with every control, watts at clipping, distortion, hum, stability",
        "rework signal pager.job",
        "signal",
    ),
    "fit-tube": (
        "the model of a tube from its printed rows, and how well it meets them",
        "rework fit-tube 6AQ5",
        "fit_tube",
    ),
    "tidy": (
        "put a circuit file in order: columns, spacing; remarks stay",
        "rework tidy pager.circuit",
        "tidy",
    ),
    "new": ("write a commented skeleton to start from", "rework new mine.circuit", "new"),
}


def parser() -> argparse.ArgumentParser:
    """Return the argument parser with every command."""
    top = argparse.ArgumentParser(
        prog="rework",
        description=(
            "Convert a transformerless tube amplifier to an isolated supply, on paper first."
        ),
        epilog=(
            "Exit status: 0 nothing found, 1 hazard found, 2 cannot read or do what was asked. "
            "Nothing here replaces the meter: unplug, discharge, measure."
        ),
    )
    top.add_argument("--version", action="version", version=f"rework {__version__}")
    top.add_argument(
        "--traceback", action="store_true", help="show where an unexpected failure happened"
    )
    commands = top.add_subparsers(dest="command", metavar="COMMAND", required=True)
    made = {
        name: commands.add_parser(
            name,
            help=text,
            description=text[0].upper() + text[1:] + ".",
            epilog=f"Example: {example}",
        )
        for name, (text, example, _) in COMMANDS.items()
    }
    made["demo"].add_argument(
        "name", nargs="?", default="pager", help="which demo (default: pager); see --list"
    )
    made["demo"].add_argument(
        "--to",
        metavar="DIR",
        default="rework-demo",
        help="folder to copy it to (default: ./rework-demo)",
    )
    made["demo"].add_argument("--list", action="store_true", help="list the demos and stop")
    made["demo"].add_argument(
        "--force", action="store_true", help="replace files of the demo that are there already"
    )
    made["check"].add_argument(
        "file", help="a .circuit file, or a .job file (before and after its rules)"
    )
    made["check"].add_argument(
        "--all",
        action="store_true",
        help="print the path of every tied node, not only of what a hand can reach",
    )
    for name in ("touch", "faults"):
        made[name].add_argument(
            "file", help="a .circuit file, or a .job file (before and after its rules)"
        )
        made[name].add_argument(
            "--all",
            action="store_true",
            help="print every row, also those that are under the limit",
        )
        made[name].add_argument(
            "--network",
            choices=("iec", "iec-letgo", "iec-unweighted", "service"),
            default="iec",
            help="measuring network (default: iec)",
        )
        made[name].add_argument(
            "--limit",
            choices=("0.25", "0.5", "0.7 peak", "0.75", "3.5"),
            default="0.5",
            help="limit in mA rms (default: 0.5)",
        )
        made[name].add_argument(
            "--assume",
            metavar="NAME=VALUE",
            action="append",
            default=[],
            help="assume another figure, such as interwinding_farad=5e-10",
        )
        made[name].add_argument("--json", action="store_true", help="print JSON for a machine")
    made["touch"].add_argument(
        "--percent",
        type=int,
        choices=(5, 50, 95),
        default=5,
        help="body impedance not exceeded by so many percent of people",
    )
    made["touch"].add_argument("--wet", action="store_true", help="hands wet with plain water")
    made["touch"].add_argument(
        "--plot", metavar="OUT.svg", help="also draw the worst readings, with the limit"
    )
    made["touch"].add_argument(
        "--force", action="store_true", help="replace the picture if it is there already"
    )
    made["faults"].add_argument(
        "--open-conductors",
        action="store_true",
        help="each fault also with the neutral, the earth or both open",
    )
    made["apply"].add_argument("file", help="a .job file")
    made["apply"].add_argument(
        "-o",
        "--output",
        metavar="OUT.circuit",
        help="where to write the reworked netlist (default: print it)",
    )
    made["diff"].add_argument("before", help="a .circuit file")
    made["diff"].add_argument("after", help="a .circuit file")
    made["diff"].add_argument(
        "--by-structure",
        action="store_true",
        help="match parts by how they are connected, whatever their names",
    )
    made["draw"].add_argument("file", help="a .circuit file, or a .job file")
    made["draw"].add_argument(
        "-o",
        "--output",
        metavar="OUT.svg",
        required=True,
        help=(
            "an .svg, .png or .pdf file; a job makes two, -before and -after; an attached chassis"
            " has its own"
        ),
    )
    made["draw"].add_argument(
        "--sockets",
        action="store_true",
        help="socket views from below instead of the whole circuit",
    )
    made["draw"].add_argument(
        "--whole",
        action="store_true",
        help="an attached chassis beside the amplifier instead of on a sheet of its own",
    )
    made["draw"].add_argument(
        "--theme",
        choices=("light", "dark", "print"),
        default="light",
        help="background (default: light)",
    )
    made["draw"].add_argument(
        "--renderer",
        choices=("embedded", "system"),
        default="embedded",
        help="system uses an installed dot",
    )
    made["papers"].add_argument("file", help="a .job file")
    made["papers"].add_argument(
        "-o",
        "--output",
        metavar="DIR",
        required=True,
        help="folder to write them to; made where there is none",
    )
    made["papers"].add_argument(
        "--date", metavar="TEXT", help="the date on the papers (default: today)"
    )
    made["papers"].add_argument(
        "--paper",
        choices=("a4", "letter"),
        help="paper of the PDF (default: letter up to 130 V line, a4 above)",
    )
    made["papers"].add_argument(
        "--options",
        action="store_true",
        help="compare the options that were open for the customer's page (some seconds more)",
    )
    made["papers"].add_argument(
        "--force", action="store_true", help="replace papers that are there already"
    )
    made["view"].add_argument("file", help="a .job file")
    made["view"].add_argument(
        "--port",
        type=int,
        default=0,
        help="port on this machine's own address (default: a free one)",
    )
    made["view"].add_argument(
        "--no-open", action="store_true", help="print the address and open no browser"
    )
    made["rules"].add_argument("name", nargs="?", help="a rule; without it all are listed")
    made["rules"].add_argument(
        "--words", action="store_true", help="print the words a rule's conditions can use"
    )
    made["rules"].add_argument(
        "--folder",
        metavar="DIR",
        default=".",
        help="where rules of your own are kept (default: here)",
    )
    made["tubes"].add_argument("type", nargs="?", help="a tube type; without it all are listed")
    made["relatives"].add_argument(
        "what",
        metavar="TYPE|FILE",
        help=(
            "a tube type; or a .circuit or .job file: every tube of its heater string, computed in"
            " the circuit"
        ),
    )
    made["relatives"].add_argument(
        "--bplus",
        metavar="VOLTS",
        help="the B+ to compute at, as in 180V (default: that of the job's supply, else as found)",
    )
    made["relatives"].add_argument(
        "--heater", metavar="VOLTS", help="the heater volts to look for (default: 6.3V)"
    )
    made["options"].add_argument(
        "file", help="a .circuit file, for which a job is drafted, or a .job file"
    )
    made["options"].add_argument(
        "-o", "--output", metavar="OUT.html", help="write the table as one page to print"
    )
    made["options"].add_argument(
        "--shelf",
        metavar="LIST.csv",
        help="the stock list (default: the job's prices, else shelf.csv beside the file or above)",
    )
    made["options"].add_argument(
        "--draft", metavar="OUT.job", help="write the job that was drafted for a .circuit file"
    )
    made["options"].add_argument("--json", action="store_true", help="print JSON for a machine")
    made["options"].add_argument(
        "--force", action="store_true", help="replace files that are there already"
    )
    made["relatives"].add_argument("--json", action="store_true", help="print JSON for a machine")
    for name in ("volts", "ohms", "signal"):
        made[name].add_argument(
            "file", help="a .circuit file, or a .job file (before and after its rules)"
        )
    made["supply"].add_argument(
        "file", help="a .job file that attaches a supply; its circuit need not be there yet"
    )
    made["supply"].add_argument(
        "-o",
        "--output",
        metavar="OUT.circuit",
        help="where to write the supply (default: write nothing)",
    )
    made["supply"].add_argument(
        "--shelf",
        metavar="LIST.csv",
        help="the stock list (default: the job's prices, else shelf.csv beside the job)",
    )
    made["supply"].add_argument(
        "--want",
        metavar="NAME=VALUE",
        action="append",
        default=[],
        help="fix a need: bplus=250V, idle, full, heater, heater-current, hum, line",
    )
    made["supply"].add_argument(
        "--rectifier",
        action="append",
        default=[],
        choices=("tube", "silicon", "bridge", "half-wave"),
        help="only this rectifier (may be given again)",
    )
    made["supply"].add_argument(
        "--filter",
        action="append",
        default=[],
        choices=("C", "C-L-C", "C-R-C", "L-C"),
        help="only this filter (may be given again)",
    )
    made["supply"].add_argument(
        "--heaters",
        default="",
        choices=("tap", "resistors", "pot", "elevated"),
        help="how heaters are balanced (default: tap, else resistors)",
    )
    made["supply"].add_argument("--bplus-fuse", action="store_true", help="a fuse in B+ as well")
    made["supply"].add_argument(
        "--soft-start", action="store_true", help="a thermistor before the primary"
    )
    made["supply"].add_argument(
        "--one-transformer", action="store_true", help="no two transformers back to back"
    )
    made["supply"].add_argument(
        "--all", action="store_true", help="print every figure of the chosen one against its limit"
    )
    made["supply"].add_argument(
        "--choose",
        type=int,
        metavar="N",
        help="take candidate N of the table (default: the first that meets everything)",
    )
    made["volts"].add_argument(
        "--samples", type=int, default=1000, help="draws for the band (default: 1000)"
    )
    made["volts"].add_argument("--seed", type=int, default=1, help="which draws (default: 1)")
    made["fit-tube"].add_argument(
        "type", help="a tube type, or a .toml file of one, written as those of the library"
    )
    for name in ("volts", "signal", "fit-tube"):
        made[name].add_argument(
            "--plot", metavar="OUT.svg", help="draw it too: an .svg or .png file"
        )
    made["tidy"].add_argument("file", help="a .circuit file")
    made["tidy"].add_argument(
        "-o", "--output", metavar="FILE", help="where to write (default: print)"
    )
    made["tidy"].add_argument(
        "--in-place",
        action="store_true",
        help="replace the file itself, if it can be read without a problem",
    )
    made["tidy"].add_argument(
        "--check", action="store_true", help="write nothing; exit 1 if the file is not tidy"
    )
    made["new"].add_argument("file", help="the .circuit, .job, .rule or .toml (tube) file to write")
    for name in (
        "check",
        "apply",
        "diff",
        "rules",
        "tubes",
        "volts",
        "ohms",
        "signal",
        "fit-tube",
        "supply",
    ):
        made[name].add_argument("--json", action="store_true", help="print JSON for a machine")
    for name in ("apply", "draw", "tidy", "new", "volts", "signal", "fit-tube", "supply"):
        made[name].add_argument(
            "--force", action="store_true", help="replace a file that is there already"
        )
    return top


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status."""
    from rework.report.terminal import tolerate_any_letter

    tolerate_any_letter()
    words = list(sys.argv[1:] if arguments is None else arguments)
    if not words:
        parser().print_help()
        return 2
    if not words[0].startswith("-") and words[0] not in COMMANDS:
        return _no_such_command(words[0])
    asked = parser().parse_args(words)
    # Stacks of small matrices: threads of the algebra library only wait for one another, the more
    # so on a busy machine.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from rework.language.files import Refusal

    try:
        import importlib

        status = importlib.import_module(f"rework.commands.{COMMANDS[asked.command][2]}").run(asked)
        sys.stdout.flush()
        return status
    except Refusal as refusal:
        _tell(refusal.problems, as_json=getattr(asked, "json", False))
        return 2
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 2
    except KeyboardInterrupt:
        print("\nstopped", file=sys.stderr)
        return 2
    except Exception as error:
        if asked.traceback:
            raise
        from rework.report.terminal import printable

        print(
            f"rework failed in a way it should not: {type(error).__name__}:"
            f" {printable(str(error))}\nNothing was found or cleared by this run. Run it again with"
            " --traceback before the command to see where.",
            file=sys.stderr,
        )
        return 2


def _no_such_command(word: str) -> int:
    from difflib import get_close_matches

    from rework.circuit.place import Problem

    near = get_close_matches(word, COMMANDS, 1, 0.6)
    _tell(
        [
            Problem(
                f"there is no command {word}",
                expected="one of " + ", ".join(COMMANDS),
                hint=f"did you mean rework {near[0]}?" if near else "",
            )
        ],
        as_json=False,
    )
    return 2


def _tell(problems: Sequence, *, as_json: bool) -> None:
    from rework.report.problems import problems_json, problems_text

    if as_json:
        import json

        print(json.dumps({"problems": problems_json(problems)}, indent=2, ensure_ascii=False))
    else:
        print(problems_text(problems, stream=sys.stderr), file=sys.stderr)
        count = sum(problem.severity == "error" for problem in problems)
        print(f"\n{count} problem{'s' if count != 1 else ''}; nothing was done.", file=sys.stderr)


if __name__ == "__main__":
    sys.exit(main())

"""``rework demo``: a packaged job copied to a folder, run, printed and drawn."""

from __future__ import annotations

import argparse
from pathlib import Path

from rework.circuit.place import Problem
from rework.commands.apply import job_text
from rework.commands.check import ALWAYS, report_text
from rework.commands.draw import drawings
from rework.draw.graph.render import CannotDraw
from rework.language.files import Refusal, read_bytes, write_whole
from rework.language.writer import write_circuit
from rework.report.terminal import fitted, styled, wrapped
from rework.rules.job_file import run_job_file
from rework.rules.run import JobRun
from rework.safety.check import check


def demos() -> dict[str, Path]:
    """Return the packaged demos by name, from the package or the checkout."""
    package = Path(__file__).parent.parent
    folder = (
        package / "circuits" if (package / "circuits").is_dir() else package.parent / "circuits"
    )
    return {job.stem: job.parent for job in sorted(folder.glob("*/*.job"))}


EXAMPLE = "rework demo pager --to bench"
#: Where demos are copied to, a folder each.
FOLDER = Path("rework-demo")


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments to its parser."""
    parser.add_argument(
        "name", nargs="?", default="pager", help="which demo (default: pager); see --list"
    )
    parser.add_argument(
        "--to",
        metavar="DIR",
        help="folder to copy it to (default: rework-demo/NAME)",
    )
    parser.add_argument("--list", action="store_true", help="list the demos and stop")
    parser.add_argument(
        "--force", action="store_true", help="replace files of the demo that are there already"
    )


def run(asked: argparse.Namespace) -> int:
    """Copy, run, print, draw; return 0 where the reworked circuit has no hazard."""
    known = demos()
    if asked.list:
        print(
            "\n".join(f"{name}: {_title(folder / f'{name}.job')}" for name, folder in known.items())
        )
        return 0
    if asked.name not in known:
        raise Refusal(
            Problem(f"there is no demo {asked.name}", expected="one of " + ", ".join(known))
        )
    target = Path(asked.to) if asked.to else FOLDER / asked.name
    _copy(known[asked.name], target, force=asked.force)
    job = target / f"{asked.name}.job"
    done = run_job_file(str(job))
    before, after = check(done.before), check(done.after)
    print(styled("1. As found", "bold") + "\n")
    print(fitted(report_text(done.before, before, heading=f"{asked.name}.circuit")))
    print("\n" + styled("2. The job, rule by rule", "bold") + "\n")
    print(fitted(job_text(done)))
    print("\n" + styled("3. After the job", "bold") + "\n")
    print(fitted(report_text(done.after, after, heading=f"{asked.name}-after.circuit")))
    files = {
        target / f"{asked.name}-after.circuit": (
            write_circuit(
                done.after, remarks=(f"written by rework demo: {done.job.title}",)
            ).encode()
        )
    }
    try:
        files |= _schematic_and_sockets(done, target / f"{asked.name}.svg")
    except CannotDraw as error:
        print(f"\nNo drawings: {error}")
    for path, data in files.items():
        write_whole(path, data, force=True)
    print("\n" + styled("4. Written", "bold") + "\n")
    print("\n".join(f"  {path}" for path in sorted([job, *files])))
    print(
        f"\nNext:\n  rework check {job}\n  rework diff {target / asked.name}.circuit"
        f" {target / asked.name}-after.circuit\n\n{wrapped(ALWAYS)}"
    )
    return after.exit_status


def _schematic_and_sockets(done: JobRun, output: Path) -> dict[Path, bytes]:
    """Return the schematics of a job, and the sockets beside them, by the file each belongs in.

    Raises CannotDraw.
    """
    files: dict[Path, bytes] = {}
    for sockets, path in ((False, output), (True, output.with_stem(f"{output.stem}-sockets"))):
        options = argparse.Namespace(
            sockets=sockets,
            theme="light",
            form="schematic",
            symbols=None,
            whole=False,
            as_found=False,
            volts=False,
        )
        files |= drawings(done, done.after, path, options)
    return files


def _title(job: Path) -> str:
    return next(
        (
            line.split('"')[1]
            for line in job.read_text(encoding="utf-8").splitlines()
            if line.startswith("job ")
        ),
        "",
    )


def _copy(folder: Path, target: Path, *, force: bool) -> None:
    """Copy a demo's own files and the stock list; a file that is there with other content is the
    user's and stays unless forced.
    """
    files = [
        path for path in sorted(folder.iterdir()) if path.suffix in (".circuit", ".job", ".rule")
    ]
    wanted = {
        target / path.name: read_bytes(path) for path in (*files, folder.parent / "shelf.csv")
    }
    changed = [path for path, data in wanted.items() if path.exists() and path.read_bytes() != data]
    if changed and not force:
        raise Refusal(
            *(
                Problem(
                    f"{path} is there already, and it is not the demo as written",
                    hint="name another folder with --to, or add --force to replace it",
                )
                for path in changed
            )
        )
    for path, data in wanted.items():
        write_whole(path, data, force=True)

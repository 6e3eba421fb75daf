"""Every command over every whole set, as its user runs them: ``python tests/bench/sets.py [NAME ...]``.

A name that ends with ``.circuit`` is a circuit as found: a job is drafted for it and a supply
designed, and nothing may be found in the whole.

Prints a line for each command with its exit status and seconds of one core, and what it said where
it did not do what was asked; exits 1 where there is any. Some twenty minutes for all of them; the
suite runs a part of it (``tests/sets``). Outputs are left in a folder that it names, to be read.
"""

from __future__ import annotations

import contextlib
import io
import re
import shutil
import sys
import tempfile
import time
import traceback
from pathlib import Path

from rework.cli import main

ROOT = Path(__file__).parents[2]
SETS = ROOT / "tests" / "sets"
#: Each command by a name of its own; {set} is the circuit as found, {job} its job.
COMMANDS: dict[str, tuple[str, ...]] = {
    "check-found": ("check", "{set}"),
    "check": ("check", "{job}"),
    "summary": ("summary", "{job}"),
    "volts": ("volts", "{job}"),
    "ohms": ("ohms", "{job}"),
    "signal": ("signal", "{job}"),
    "touch": ("touch", "{job}"),
    "faults": ("faults", "{job}"),
    "relatives": ("relatives", "{set}"),
    "options-found": ("options", "{set}"),
    "options": ("options", "{job}"),
    "supply": ("supply", "{job}"),
    "apply": ("apply", "{job}", "-o", "after.circuit"),
    "draw": ("draw", "{job}", "-o", "draw.svg"),
    "papers": ("papers", "{job}", "-o", "papers"),
}

#: The same of the job that is drafted for the circuit as found, with the supply designed for it.
DRAFTED: dict[str, tuple[str, ...]] = {
    "draft": ("options", "{set}", "--draft", "{job}"),
    "draft-supply": ("supply", "{job}", "-o", "supply.circuit"),
    "draft-check": ("check", "{job}"),
    "draft-summary": ("summary", "{job}"),
    "draft-faults": ("faults", "{job}"),
}


def run(name: str, folder: Path) -> bool:
    """Return whether every command did what it was asked for one set, its outputs in ``folder``."""
    shutil.copytree(SETS / name, folder)
    shutil.copy(ROOT / "circuits" / "shelf.csv", folder)
    return carry_out(COMMANDS, name, folder)


def run_draft(circuit: Path, folder: Path) -> bool:
    """Return whether a job can be drafted for a circuit and nothing is found in what it gives."""
    folder.mkdir()
    text = circuit.read_text(encoding="utf-8")
    # a draft asks which alternating line a set on direct current will be on: taken as answered
    text = re.sub(r"^mains ([0-9.]+) V DC", r"mains \1 V 50 Hz", text, flags=re.MULTILINE)
    (folder / circuit.name).write_text(text, encoding="utf-8")
    shutil.copy(ROOT / "circuits" / "shelf.csv", folder)
    return carry_out(DRAFTED, circuit.stem, folder, most=0)


def carry_out(commands: dict[str, tuple[str, ...]], name: str, folder: Path, most: int = 1) -> bool:
    """Return whether every command ended with the exit status ``most`` or less."""
    good = True
    with contextlib.chdir(folder):
        for label, words in commands.items():
            arguments = [word.format(set=f"{name}.circuit", job=f"{name}.job") for word in words]
            said, began = io.StringIO(), time.process_time()
            try:
                with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
                    status = main(arguments)
            except Exception:
                status = 3
                said.write(traceback.format_exc())
            Path(f"{label}.txt").write_text(said.getvalue(), encoding="utf-8")
            seconds = time.process_time() - began
            print(f"{name:14} {label:14} {status} {seconds:6.1f} s", flush=True)
            if status > most:
                good = False
                print("    " + "\n    ".join(said.getvalue().splitlines()[:6]), flush=True)
    return good


if __name__ == "__main__":
    names = sys.argv[1:] or sorted(folder.parent.name for folder in SETS.glob("*/*.job"))
    room = Path(tempfile.mkdtemp(prefix="sets-"))
    results = [
        run_draft(Path(name).resolve(), room / Path(name).stem)
        if name.endswith(".circuit")
        else run(name, room / name)
        for name in names
    ]
    print(f"outputs: {room}")
    sys.exit(0 if all(results) else 1)

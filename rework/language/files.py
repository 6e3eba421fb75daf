"""The edge to the disk: reading what the user names, writing whole files or none."""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Callable, Collection
from pathlib import Path

from rework.circuit.circuit import Circuit
from rework.circuit.place import Problem
from rework.language.reader import MOST_BYTES

#: The name a user gives for standard input, or for standard output.
STANDARD = "-"
#: What standard input is called in problems and places.
STANDARD_INPUT = "standard input"


class Refusal(Exception):
    """What is asked for cannot be done. Carries the problems to print; the exit status is 2."""

    def __init__(self, *problems: Problem) -> None:
        super().__init__(problems[0].message if problems else "")
        self.problems = problems


def read_named(name: str) -> bytes:
    """Return the bytes of the file that the user names; of standard input for ``-``.

    Raises Refusal where they cannot be read.
    """
    if name != STANDARD:
        return read_bytes(name)
    if sys.stdin is None or sys.stdin.closed:
        raise Refusal(Problem("standard input is closed", hint="name a file instead of -"))
    try:
        data = sys.stdin.buffer.read(MOST_BYTES + 1)
    except OSError as error:
        raise Refusal(
            Problem(f"standard input cannot be read: {error.strerror or error}")
        ) from error
    if len(data) > MOST_BYTES:
        raise Refusal(
            Problem(
                f"standard input holds more than {MOST_BYTES:,} bytes",
                expected="a plain text file of one line a part",
            )
        )
    return data


def shown_name(name: str) -> str:
    """Return what problems and places call the file that the user names."""
    return STANDARD_INPUT if name == STANDARD else name


def read_bytes(path: Path | str) -> bytes:
    """Return the bytes of a file.

    Raises Refusal where there is none, or it is no plain file, or is far too large.
    """
    path = Path(path)
    try:
        if path.is_dir():
            raise Refusal(
                Problem(f"{path} is a folder", expected="a file", hint="name a file in it")
            )
        if not path.is_file():
            raise Refusal(
                Problem(
                    f"there is no file {path}",
                    expected="a file that can be read",
                    hint=_similar(path),
                )
            )
        if path.stat().st_size > MOST_BYTES:
            raise Refusal(
                Problem(
                    f"{path} holds {path.stat().st_size:,} bytes; more than {MOST_BYTES:,} is no"
                    " netlist",
                    expected="a plain text file of one line a part",
                )
            )
        return path.read_bytes()
    except (OSError, ValueError) as error:
        raise Refusal(
            Problem(f"{path} cannot be read: {getattr(error, 'strerror', None) or error}")
        ) from error


#: Opens a file: its bytes, or Refusal.
ReadBytes = Callable[[Path], bytes]
#: So many files are named where one is missing.
_MOST_NAMED = 4


def _similar(path: Path) -> str:
    """Return a hint at a file that would do: one beside it with a name that is near, else those of
    its kind, else how to make one.
    """
    import difflib

    try:
        entries = [entry for entry in path.parent.iterdir() if entry.is_file()]
    except OSError:
        return ""
    entries.sort(key=lambda entry: (entry.suffix != path.suffix, entry.name))
    near = difflib.get_close_matches(path.stem, [entry.stem for entry in entries], 1, 0.6)
    if near:
        return f"did you mean {next(entry for entry in entries if entry.stem == near[0])}?"
    fit = [entry.name for entry in entries if path.suffix and entry.suffix == path.suffix]
    if fit:
        more = f" and {len(fit) - _MOST_NAMED} more" if len(fit) > _MOST_NAMED else ""
        folder = "this folder" if path.parent == Path(".") else str(path.parent)
        return f"{folder} has {', '.join(fit[:_MOST_NAMED])}{more}"
    if path.suffix in (".circuit", ".job"):
        return f"rework demo copies an example here, rework new {path.name} begins one"
    return ""


#: So many circuits may hang on one, those they attach themselves included: it bounds what a few
#: small files can ask for.
MOST_ATTACHED = 50


def read_circuit_file(
    path: Path | str, named: list[Path] | None = None, *, read: ReadBytes = read_bytes
) -> tuple[Circuit | None, tuple[Problem, ...]]:
    """Return the circuit in a file, with circuits it attaches, and the problems of all these files.

    The files of attached circuits are added to ``named``, also those that could not be read.
    ``read`` opens a file; an editor's server hands in what has not been saved yet.
    """
    attached: list[Path] = []
    try:
        return _resolved(read(Path(path)), Path(path), (), attached, read)
    finally:
        if named is not None:
            named += attached


def circuit_reader(folder: Path) -> Callable[[str], tuple[Circuit | None, tuple[Problem, ...]]]:
    """Return what reads the circuits that a job in that folder names; a file that cannot be opened
    gives its problems.
    """

    def read(name: str) -> tuple[Circuit | None, tuple[Problem, ...]]:
        try:
            return read_circuit_file(folder / name)
        except Refusal as refusal:
            return None, refusal.problems

    return read


def _resolved(
    data: bytes, path: Path, above: tuple[Path, ...], attached: list[Path], read: ReadBytes
) -> tuple[Circuit | None, tuple[Problem, ...]]:
    from rework.language.resolve import read_circuit_bytes

    here = path.resolve()
    if here in above:
        names = " -> ".join(entry.name for entry in (*above[above.index(here) :], here))
        return None, (
            Problem(
                f"these circuits attach one another in a circle: {names}",
                expected="a circuit that does not attach itself",
                hint="take one of the attach lines out",
            ),
        )

    def attach(name: str, file: str) -> tuple[Circuit | None, tuple[Problem, ...]]:
        attached.append(Path(file).parent / name)
        if len(attached) > MOST_ATTACHED:
            return None, (
                Problem(
                    f"more than {MOST_ATTACHED} circuits are attached to one",
                    expected="a set and its supply, or a few more",
                ),
            )
        try:
            other = Path(file).parent / name
            return _resolved(read(other), other, (*above, here), attached, read)
        except Refusal as refusal:
            return (
                None,
                refusal.problems,
            )  # without a place: the reader gives them that of the attach line

    return read_circuit_bytes(data, file=str(path), attach=attach)


def wanted_circuit(name: Path | str) -> tuple[Circuit, tuple[Problem, ...]]:
    """Return the circuit in the file that the user names (``-``: standard input), and the cautions
    given while reading.

    Raises Refusal where it has errors.
    """
    refuse_other_files(name)
    circuit, problems = (
        _resolved(read_named(name), Path(STANDARD_INPUT), (), [], read_bytes)
        if name == STANDARD
        else read_circuit_file(name)
    )
    if circuit is None:
        raise Refusal(*problems)
    return circuit, problems


def refuse_other_files(path: Path | str) -> None:
    """Raise Refusal for a job or a rule where a circuit is wanted: every line of it would be
    reported as a mistake.
    """
    if Path(path).suffix in (".job", ".rule") and Path(path).is_file():
        raise Refusal(
            Problem(
                f"{path} is a {Path(path).suffix[1:]} file, not a circuit",
                expected="a .circuit file",
            )
        )


def refuse_taken(*paths: Path | str, force: bool, sources: Collection[Path] = ()) -> None:
    """Raise Refusal for every path that must not be written: an input of the same job, or without
    ``force`` a file that is there.
    """
    problems = []
    for path in map(Path, paths):
        if any(_same(path, source) for source in sources):
            problems.append(
                Problem(
                    f"{path} is an input of this run and is not replaced",
                    hint="name another file to write",
                )
            )
        elif path.exists() and not force:
            problems.append(
                Problem(
                    f"{path} is there already",
                    hint="name another file, or add --force to replace it",
                )
            )
    if problems:
        raise Refusal(*problems)


def _same(path: Path, other: Path) -> bool:
    """True where both are one file, under whatever names."""
    try:
        return path.exists() and other.exists() and path.samefile(other)
    except OSError:
        return False


def write_whole(path: Path | str, data: bytes, *, force: bool) -> None:
    """Write a file whole or not at all.

    Raises Refusal where it exists and ``force`` was not asked for.
    """
    path = Path(path)
    refuse_taken(path, force=force)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name[:80]}.")
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(data)
            os.chmod(name, 0o666 & ~_umask())
            os.replace(name, path)
        except BaseException:
            os.unlink(name)
            raise
    except OSError as error:
        raise Refusal(Problem(f"{path} cannot be written: {error.strerror or error}")) from error


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask

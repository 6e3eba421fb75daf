"""Rules by name: the built-in ones, and the ``.rule`` files a person keeps beside the job."""

from __future__ import annotations

import difflib
import re
from functools import lru_cache
from pathlib import Path

from rework.circuit.place import Place, Problem, errors
from rework.language.kept import kept, stamp_of
from rework.language.syntax import grammar_folder
from rework.rules.rule import Rule

BUILTIN = Path(__file__).parent / "builtin"


@lru_cache(maxsize=1)
def builtin_names() -> tuple[str, ...]:
    """Return the names of the built-in rules, sorted; no rule is read for it."""
    return tuple(sorted(path.stem for path in BUILTIN.glob("*.rule")))


def own_names(folder: Path | str | None) -> tuple[str, ...]:
    """Return the names of the rules in a folder, sorted; none where there is no such folder."""
    return (
        tuple(sorted(path.stem for path in Path(folder).glob("*.rule")))
        if folder is not None
        else ()
    )


def available(folder: Path | str | None = None) -> tuple[str, ...]:
    """Return every name that ``load`` knows, built-in and own, sorted."""
    return tuple(sorted({*builtin_names(), *own_names(folder)}))


def load(name: str, folder: Path | str | None = None) -> tuple[Rule | None, tuple[Problem, ...]]:
    """Return the rule of that name and the problems of its file.

    A rule of one's own may not have the name of a built-in one: the job would not say which of
    the two is meant. The rule is None where there is none of that name, on a clash of
    names, or where its file has an error.
    """
    beside = Path(folder) / f"{name}.rule" if folder is not None else None
    if beside is not None and not beside.is_file():
        beside = None
    builtin = BUILTIN / f"{name}.rule" if name in builtin_names() else None
    if beside is not None and builtin is not None:
        return None, (
            Problem(
                f"the rule {name} is built in, and {beside} has the same name",
                Place(str(beside), 1, 1, 2),
                expected="a name of its own",
                hint=f"rename the file, and the rule in it, to my-{name}",
            ),
        )
    if builtin is not None:
        return load_builtin(builtin)
    path = beside
    if path is None and (other := _under_another_name(name, folder)) is not None:
        return None, (
            Problem(
                f"the rule {name} is in {other.name}, so it is not found by its name",
                Place(str(other), 1, 1, 2),
                expected=f"the file name {name}.rule",
                hint="give the file the name of its rule",
            ),
        )
    if path is None:
        near = difflib.get_close_matches(name, available(folder), 1, 0.5)
        return None, (
            Problem(
                f"there is no rule {name}",
                expected="a name that rework rules lists",
                hint=f"did you mean {near[0]}?" if near else "",
            ),
        )
    return read_file(path)


@lru_cache(maxsize=64)
def load_builtin(path: Path) -> tuple[Rule | None, tuple[Problem, ...]]:
    """Return what ``read_file`` makes of a built-in rule; the check of a set off the bench reads
    nine of them, so what they say is kept from one command to the next.
    """
    return kept(path.name, _stamp(), lambda: read_file(path, called=path.name))


@lru_cache(maxsize=1)
def _stamp() -> str:
    """Return a text that changes with anything that gives a rule its meaning."""
    package = Path(__file__).parent.parent
    rooms = (package / room for room in ("circuit", "language", "rules"))
    return stamp_of(*rooms, grammar_folder())


def _under_another_name(name: str, folder: Path | str | None) -> Path | None:
    """Return a file of the folder that holds the rule of this name under another file name."""
    if folder is None:
        return None
    headline = re.compile(rf"^[ \t]*rule[ \t]+{re.escape(name)}[ \t]*(#.*)?$", re.MULTILINE)
    for path in sorted(Path(folder).glob("*.rule")):
        try:
            if headline.search(path.read_text(encoding="utf-8", errors="replace")):
                return path
        except OSError:
            continue
    return None


def read_file(path: Path, *, called: str = "") -> tuple[Rule | None, tuple[Problem, ...]]:
    """Return the rule in a file and its problems; that the file has the rule's name is one of the
    things looked at.

    ``called`` is what places in the file show as its name, instead of the path.
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        return None, (
            Problem(
                f"{path} cannot be opened: {error.strerror or error}", Place(str(path), 1, 1, 2)
            ),
        )
    rule, problems = _read(data, called or str(path))
    if rule is not None and rule.name != path.stem:
        problem = Problem(
            f"the rule in {path.name} calls itself {rule.name}",
            Place(called or str(path), 1, 1, 2),
            expected=f"rule {path.stem}",
            hint="give the file and the rule the same name",
        )
        return None, (*problems, problem)
    return (None if errors(problems) else rule), problems


@lru_cache(maxsize=256)
def _read(data: bytes, file: str) -> tuple[Rule | None, tuple[Problem, ...]]:
    """Return what ``read_rule`` makes of the same bytes; a job asks for each of its rules twice, a
    page that follows it at every save.
    """
    from rework.rules.reader import read_rule

    return read_rule(data, file=file)

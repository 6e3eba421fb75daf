"""What an editor marks in a file: the problems of reading it, what is not traced yet, and what the
mains check finds; each with what can be done about it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import IntEnum
from pathlib import Path

from rework.anatomy.function import function
from rework.anatomy.function_row import Working
from rework.circuit.circuit import Circuit
from rework.circuit.edits import (
    Action,
    CutConductor,
    EditError,
    FitPart,
    LiftPin,
    RemovePart,
    RunWire,
    apply_edit,
)
from rework.circuit.place import Problem
from rework.commands.function_words import sentence
from rework.language.files import Refusal
from rework.language.job import read_job
from rework.language.writer import write_part
from rework.lsp.files import Files, OpenText
from rework.lsp.scan import FileKind, statements
from rework.lsp.symbols import NameSpot
from rework.lsp.words import ScannedWord, WordRole
from rework.rules.reader import read_rule
from rework.safety.check import check
from rework.safety.findings import Caution, Hazard, Remedy, path_words


class Weight(IntEnum):
    """How much a mark weighs, as editors count it."""

    ERROR = 1
    WARNING = 2
    INFORMATION = 3


@dataclass(frozen=True, slots=True)
class Fix:
    """Something that can be done about a mark: what to write in the place of what."""

    title: str
    edits: tuple[tuple[NameSpot, str], ...]


@dataclass(frozen=True, slots=True)
class ColourMark:
    """One mark: where, how much it weighs, in which words, and its fixes."""

    spot: NameSpot
    weight: Weight
    message: str
    fixes: tuple[Fix, ...] = ()


# what reading tells


def problem_marks(files: Files, source: OpenText) -> list[ColourMark]:
    """Return the problems of one file, the very ones that the commands tell, and blank nodes."""
    data, name = source.text.encode(), str(source.path)
    circuit: Circuit | None = None
    problems: tuple[Problem, ...]
    if source.kind is FileKind.CIRCUIT:
        circuit, problems = files.circuit(source.path)
    elif source.kind is FileKind.JOB:
        _, problems = read_job(data, file=name)
    else:
        _, problems = read_rule(data, file=name)
    marks = [_problem_mark(source, problem) for problem in problems]
    return marks + (list(_blank(source, circuit)) if circuit else [])


def _problem_mark(source: OpenText, problem: Problem) -> ColourMark:
    weight = Weight.ERROR if problem.severity == "error" else Weight.WARNING
    rows = [problem.message]
    rows += [f"expected: {problem.expected}"] if problem.expected else []
    rows += [f"remedy: {problem.hint}"] if problem.hint else []
    place = problem.place
    if place is None or Path(place.file).resolve() != source.path:
        at = f" ({place.file}:{place.line})" if place else ""
        return ColourMark(_first(source), weight, "\n".join([rows[0] + at, *rows[1:]]))
    spot = NameSpot(source.path, place.line - 1, place.column - 1, place.end - 1)
    return ColourMark(spot, weight, "\n".join(rows), tuple(_fixes(source, problem, spot)))


def _first(source: OpenText) -> NameSpot:
    return NameSpot(source.path, 0, 0, len(source.lines[0]))


_OR_ELSE = re.compile(r"did you mean (.+?)\?")
_ONE_NODE = re.compile(r"if (\S+) and (\S+) are one node")
_CALL = re.compile(r"call this one (\S+)")
_WRITE_VALUE = re.compile(r"(?:for ohms )?write ([0-9.]+ ?\w+)(?: or ([0-9.]+ ?\w+))?$")
_OPEN = re.compile(r"write: open (\S+)$")
_UNUSED = re.compile(r"bind it, or write (unused [\w. ]+)$")


def _fixes(source: OpenText, problem: Problem, spot: NameSpot) -> Iterator[Fix]:
    """Yield what the remedy of a problem says, as edits of the text."""
    hint = problem.hint
    written = source.lines[spot.line][spot.start : spot.end]
    for match in (_OR_ELSE.match(hint), _CALL.search(hint), _WRITE_VALUE.search(hint)):
        for text in match.groups() if match else ():
            if text and not text.startswith("rework "):
                yield Fix(f"write {text}", ((spot, text),))
    if match := _ONE_NODE.search(hint):
        for text in match.groups():
            if text != written and "." not in text:
                yield Fix(f"write {text}: they are one node", ((spot, text),))
    for match in (_OPEN.search(hint), re.search(r"else connect .* write: open (\S+)", hint)):
        if match:
            node = match.group(1)
            yield Fix(f"write: open {node}", ((_end(source), f"open {node}\n"),))
            break
    if match := _UNUSED.search(hint):
        at = _end_of_connections(source, spot.line)
        if at is not None:
            yield Fix(f"write {match.group(1)}", ((at, f", {match.group(1)}"),))


def _end(source: OpenText) -> NameSpot:
    """Return the place behind the last line."""
    lines = len(source.lines)
    if source.lines[-1]:
        return NameSpot(source.path, lines - 1, len(source.lines[-1]), len(source.lines[-1]))
    return NameSpot(source.path, lines - 1, 0, 0)


def _end_of_connections(source: OpenText, line: int) -> NameSpot | None:
    for statement in statements(source.text, source.kind):
        if statement.line <= line < statement.end and statement.tokens:
            tokens = [token for token in statement.tokens if token.type != "STRING"]
            last = tokens[-1]
            return NameSpot(source.path, last.line, last.end, last.end)
    return None


def _blank(source: OpenText, circuit: Circuit) -> Iterator[ColourMark]:
    for node in circuit.untraced:
        word = _naming(source, WordRole.NODE, node)
        if word is not None:
            yield ColourMark(
                _spot(source, word),
                Weight.INFORMATION,
                f"not traced yet: nothing else is on {node}",
            )


def _naming(source: OpenText, role: WordRole, name: str) -> ScannedWord | None:
    """Return the first word that names a part or node, one that defines it before others."""
    words = [
        word for word in source.words if word.role is role and word.text == name and not word.struck
    ]
    return next((word for word in words if word.defines), None) or next(iter(words), None)


def _spot(source: OpenText, word: ScannedWord) -> NameSpot:
    return NameSpot(source.path, word.line, word.start, word.end)


# what the check finds


def check_marks(files: Files, source: OpenText) -> list[ColourMark]:
    """Return what the mains check finds in a circuit, or in the result of a job; nothing of a file
    that cannot be read.
    """
    if source.kind is FileKind.CIRCUIT:
        circuit, _ = files.circuit(source.path)
        if circuit is None or not circuit.parts:
            return []
        return [*_found(source, circuit, circuit), *_of_function(source, circuit)]
    if source.kind is FileKind.JOB:
        try:
            run = files.run(source.path)
        except Refusal as refusal:
            problems = [
                problem for problem in refusal.problems if not _is_of_reading(problem, source)
            ]
            return [_problem_mark(source, problem) for problem in problems]
        if not run.done:
            return [_problem_mark(source, problem) for problem in run.problems]
        return [*_found(source, run.after, None), *_of_function(source, run.after)]
    return []


def _is_of_reading(problem: Problem, source: OpenText) -> bool:
    """Whether ``problem_marks`` reported it already."""
    _, problems = read_job(source.text.encode(), file=str(source.path))
    return problem in problems


def _found(source: OpenText, circuit: Circuit, written: Circuit | None) -> Iterator[ColourMark]:
    """Yield the findings of one circuit; ``written`` is the circuit that the file states, None
    where a job made it.
    """
    report = check(circuit)
    after = "" if written else "after the job: "
    for hazard in report.hazards:
        if hazard.touchable:
            yield ColourMark(
                _where(source, "", hazard.node),
                Weight.WARNING,
                f"{after}{hazard.node} is within reach and tied to the mains by"
                f" {hazard.through}: {path_words(hazard.path)}\nremedy: {hazard.remedy}",
                tuple(_remedies(source, written, hazard)),
            )
    for caution in report.cautions:
        if caution.key == "blank":
            continue
        remedy = f"\nremedy: {caution.remedy}" if caution.remedy else ""
        yield ColourMark(
            _where(source, caution.part, caution.node),
            Weight.WARNING if caution.weight == "must" else Weight.INFORMATION,
            f"{after}{caution.message}{remedy}",
            tuple(_remedies(source, written, caution)),
        )


def _of_function(source: OpenText, circuit: Circuit) -> Iterator[ColourMark]:
    """Yield what keeps a set from working, and what may be a slip, as far as the wiring shows; not
    while it is being traced.
    """
    if circuit.untraced or not any(part.kind == "tube" for part in circuit.parts):
        return
    after = "" if source.kind is FileKind.CIRCUIT else "after the job: "
    for row in function(circuit):
        if row.working in (Working.FAULT, Working.NOTE):
            weight = Weight.WARNING if row.working is Working.FAULT else Weight.INFORMATION
            part = row.subject.split()[0] if row.subject else ""
            yield ColourMark(_where(source, part, row.subject), weight, f"{after}{sentence(row)}")


def _where(source: OpenText, part: str, node: str) -> NameSpot:
    if source.kind is FileKind.CIRCUIT:
        for role, name in ((WordRole.PART, part), (WordRole.NODE, node)):
            if name and (word := _naming(source, role, name)) is not None:
                return _spot(source, word)
    return _first_statement(source)


def _first_statement(source: OpenText) -> NameSpot:
    word = next((word for word in source.words if word.role is WordRole.KEYWORD), None)
    return _spot(source, word) if word else _first(source)


def _remedies(
    source: OpenText, circuit: Circuit | None, finding: Hazard | Caution
) -> Iterator[Fix]:
    """Yield the remedies that were tried, as edits of the file that states the circuit."""
    if circuit is None:
        return
    for remedy in finding.remedies:
        edits = _as_text(source, circuit, remedy)
        if edits:
            yield Fix(remedy.words, edits)


def _as_text(
    source: OpenText, circuit: Circuit, remedy: Remedy
) -> tuple[tuple[NameSpot, str], ...]:
    """Return the edits of a remedy as edits of the text, none where one cannot be written so."""
    if remedy.does != "edit":
        return ()
    changed: dict[str, str] = {}
    new: list[str] = []
    for action in remedy.edits:
        try:
            circuit = apply_edit(circuit, action)
        except EditError:
            return ()
        if not _taken(action, circuit, changed, new):
            return ()
    edits = []
    for name, text in changed.items():
        whole = _whole_statement(source, name)
        if whole is None:
            return ()
        edits += [(spot, text if number == 0 else "") for number, spot in enumerate(whole)]
    if new:
        edits.append((_end(source), "".join(f"{line}\n" for line in new)))
    return tuple(edits)


def _taken(action: Action, after: Circuit, changed: dict[str, str], new: list[str]) -> bool:
    """Note what an edit does to the lines of a file; return whether that can be written."""
    match action:
        case CutConductor(name) | RemovePart(name):
            changed[name] = ""
        case LiftPin(name, _):
            changed[name] = write_part(after.by_name[name]) + "\n"
        case FitPart(part) | RunWire(part):
            new.append(write_part(after.by_name[part.name]))
        case _:
            return False
    return True


def _whole_statement(source: OpenText, name: str) -> list[NameSpot] | None:
    """Return the lines of a part's statement, each with the break at its end."""
    for statement in statements(source.text, source.kind):
        if statement.keyword == name:
            return [
                NameSpot(source.path, line, 0, -1) for line in range(statement.line, statement.end)
            ]
    return None


def unique(marks: Iterable[ColourMark]) -> list[ColourMark]:
    """Return marks, each once."""
    return list(dict.fromkeys(marks))

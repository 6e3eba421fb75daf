"""Text to statements, one at a time, so that every mistake gives one problem and the rest is still read."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from lark import Token
from lark.exceptions import UnexpectedInput

from rework.circuit.place import Place, Problem
from rework.language import mistakes
from rework.language.syntax import AttachLine, ListLine, PartLine, PlainLine, circuit_parser

#: Larger files are refused before they are read line by line; a netlist of 100,000 parts is about 5 MB.
MOST_BYTES = 24_000_000
#: A statement longer than this is refused: no amplifier needs one, and it bounds the work a single line can ask for.
LONGEST = 20_000

#: The statements that are no parts, with the start rule of the grammar that reads each.
CIRCUIT_KEYWORDS = {"circuit": "titled", "mains": "plain", "touchable": "list", "port": "list", "open": "list",
                    "join": "list", "attach": "attach"}

Shape = PartLine | ListLine | PlainLine | AttachLine
Reporter = Callable[..., None]


@dataclass(frozen=True, slots=True)
class Line:
    """One statement with where it starts, the physical lines it covers, its code without comment, and the comment."""

    number: int
    lines: tuple[str, ...]
    code: str
    comment: str
    shape: object | None = None


class Problems:
    """Collects problems of one file and knows how to give each its place and line."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.found: list[Problem] = []

    def add(self, line: Line, token: Token | None, message: str, *, expected: str = "", hint: str = "",
            severity: str = "error") -> None:
        """Report a mistake at a token of a statement, or at the statement's first character."""
        if token is None:
            stripped = line.lines[0].lstrip() if line.lines else ""
            column = len(line.lines[0]) - len(stripped) + 1 if line.lines else 1
            row, end = 0, column + max(1, len(stripped.split(" ")[0]))
        else:
            row, column, end = (token.line or 1) - 1, token.column or 1, token.end_column or (token.column or 1) + 1
        text = line.lines[min(row, len(line.lines) - 1)] if line.lines else ""
        place = Place(self.file, line.number + row, column, max(end, column + 1))
        self.found.append(Problem(message, place, text, expected, hint, severity))

    def sorted(self) -> tuple[Problem, ...]:
        """Return the problems in the order of the file, each once."""
        unique = dict.fromkeys(self.found)
        return tuple(sorted(unique, key=lambda p: (p.place.line, p.place.column) if p.place else (0, 0)))


def decode(data: bytes, file: str) -> tuple[str | None, tuple[Problem, ...]]:
    """Return the text of a file, or problems where it is too large, not UTF-8, or holds control characters."""
    if len(data) > MOST_BYTES:
        return None, (Problem(f"{file} holds {len(data):,} bytes; more than {MOST_BYTES:,} is no netlist",
                              Place(file, 1, 1, 2), expected="a plain text file of one line a part"),)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = data[: error.start]
        line = before.count(b"\n") + 1
        column = error.start - (before.rfind(b"\n") + 1) + 1
        return None, (Problem("this is not UTF-8 text", Place(file, line, column, column + 1),
                              expected="a plain text file saved as UTF-8",
                              hint="save the file as plain text (UTF-8) in your editor"),)
    control = re.search(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]", text)
    if control:
        line = text.count("\n", 0, control.start()) + 1
        column = control.start() - (text.rfind("\n", 0, control.start()) + 1) + 1
        return None, (Problem(f"a control character (U+{ord(control.group()):04X}) stands here; this is no text file",
                              Place(file, line, column, column + 1), expected="a plain text file"),)
    return text.replace("\r\n", "\n").replace("\r", "\n"), ()


def split(text: str) -> Iterator[Line]:
    """Yield the statements of a file: comments cut off, lines that end in ``,`` ``--`` ``:`` or ``=`` joined to the next."""
    lines = text.split("\n")
    if lines and lines[-1] == "":
        lines.pop()
    index = 0
    while index < len(lines):
        start, code, comments = index, [], []
        while True:
            bare, comment = _cut_comment(lines[index])
            code.append(bare)
            if comment:
                comments.append(comment)
            index += 1
            if not bare.rstrip().endswith((",", "--", ":", "=")) or index >= len(lines):
                break
        yield Line(start + 1, tuple(lines[start:index]), "\n".join(code).rstrip(), "  ".join(comments))


def _cut_comment(line: str) -> tuple[str, str]:
    """Return a line's code and its comment; a ``#`` starts one at the line's start or after a blank, outside quotes."""
    position = line.find("#")
    while position >= 0:
        before = line[:position]
        if (not before or before[-1] in " \t") and before.count('"') % 2 == 0:
            return before, line[position:].rstrip()
        position = line.find("#", position + 1)
    return line, ""


def parse(line: Line, starts: dict[str, str], otherwise: str, parser, problems: Problems) -> object | None:
    """Return the shape of one statement, or None after reporting the one thing that is wrong with it."""
    words = line.code.split(None, 1)
    start = starts.get(words[0].rstrip(":"), otherwise)
    if len(line.code) > LONGEST:
        problems.add(line, None, f"this statement is {len(line.code):,} characters long",
                     expected=f"at most {LONGEST:,}", hint="split it into several parts")
        return None
    try:
        return parser.parse(line.code, start=start)
    except UnexpectedInput as error:
        token, told = mistakes.explain(error, line.code, start, tuple(starts))
        problems.add(line, token, told.message, expected=told.expected, hint=told.hint)
        return None


def read_lines(text: str, file: str) -> tuple[list[Line], Problems]:
    """Return every statement of a circuit file with its shape (None for blank and unreadable ones), and the problems."""
    problems = Problems(file)
    parser = circuit_parser()
    found = []
    for line in split(text):
        if not line.code.strip():
            found.append(line)
            continue
        shape = parse(line, CIRCUIT_KEYWORDS, "part", parser, problems)
        found.append(Line(line.number, line.lines, line.code, line.comment, shape))
    return found, problems

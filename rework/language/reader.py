"""Text to statements, one at a time, so that every mistake gives one problem and the rest is still
read.
"""

from __future__ import annotations

import codecs
import re
from collections.abc import Callable, Container, Iterator
from dataclasses import dataclass
from functools import lru_cache

from lark import Lark, Token
from lark.exceptions import UnexpectedInput

from rework.circuit.place import Place, Problem, Severity
from rework.language.explain import explain
from rework.language.syntax import ListLine, PartLine, Span, circuit_parser, span

#: Larger files are refused before they are read line by line; a netlist of 100,000 parts is about 5
#: MB.
MOST_BYTES = 8_000_000
#: So are files of more lines than this.
MOST_LINES = 400_000
#: A statement longer than this is refused: no amplifier needs one, and it bounds the work a single
#: line can ask for.
LONGEST = 20_000
#: Reading stops after so many mistakes: such a file is no netlist, whatever its name says.
MOST_PROBLEMS = 2_000
#: Near names are looked for at most this often, so that a file of nothing but typing mistakes still
#: ends soon.
MOST_SUGGESTIONS = 60

#: The statements that are no parts, with the start rule of the grammar that reads each.
CIRCUIT_KEYWORDS = {
    "circuit": "titled",
    "mains": "plain",
    "touchable": "nodes",
    "port": "nodes",
    "open": "nodes",
    "blank": "nodes",
    "join": "nodes",
    "attach": "attach",
}


@dataclass(slots=True)
class Line:
    """One statement with where it starts, the physical lines it covers, its code without comment,
    and the comment.

    ``shape`` is filled in when the statement has been parsed, and stays None where it could not be;
    ``readable`` is then the code before the place where reading stopped.
    """

    number: int
    lines: tuple[str, ...]
    code: str
    comment: str
    shape: object | None = None
    readable: str = ""


class Problems:
    """Collects problems of one file and knows how to give each its place and line."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.found: list[Problem] = []
        self._suggestions = 0

    def add(
        self,
        line: Line,
        token: Token | None,
        message: str,
        *,
        expected: str = "",
        hint: str = "",
        near: Callable[[], str] | None = None,
        severity: Severity = "error",
    ) -> None:
        """Report a mistake at a token of a statement, or at the statement's first character.

        ``near`` looks for the name that was probably meant, which then leads the hint.
        """
        if self.full:
            return
        if near and self._suggestions < MOST_SUGGESTIONS:
            self._suggestions += 1
            if name := near():
                hint = f"did you mean {name}?" + (f" Otherwise {hint}" if hint else "")
        at = _first_word(line) if token is None else span(token)
        text = line.lines[at.row - 1] if at.row <= len(line.lines) else ""
        place = self.place(line, at)
        self.found.append(Problem(message, place, text, expected, hint, severity))
        if self.full:
            self.found.append(
                Problem(
                    f"more than {MOST_PROBLEMS:,} mistakes; reading stopped here",
                    place,
                    text,
                    expected="a netlist: a plain text file of one line a part",
                )
            )

    def place(self, line: Line, at: Span) -> Place:
        """Return where in the file a word of a statement is."""
        return Place(self.file, line.number + at.row - 1, at.column, max(at.end, at.column + 1))

    @property
    def full(self) -> bool:
        """True once so many mistakes are found that more are of no use to anybody."""
        return len(self.found) >= MOST_PROBLEMS

    def sorted(self) -> tuple[Problem, ...]:
        """Return the problems in the order of the file, each once; those of attached files come
        first.
        """
        unique = dict.fromkeys(self.found)
        return tuple(
            sorted(
                unique,
                key=lambda p: (
                    (p.place.file == self.file, p.place.line, p.place.column)
                    if p.place
                    else (False, 0, 0)
                ),
            )
        )


def _first_word(line: Line) -> Span:
    text = line.lines[0] if line.lines else ""
    stripped = text.lstrip()
    column = len(text) - len(stripped) + 1
    width = len(stripped.split(None, 1)[0]) if stripped else 1
    return Span(1, column, column + width)


#: What no text file needs: control characters, of which some steer a terminal, line breaks that
#: only some editors show, and marks that turn the direction of writing, so that what is seen is not
#: what is read.
_UNWANTED = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069]"
)


def decode(data: bytes, file: str) -> tuple[str | None, tuple[Problem, ...]]:
    """Return the text of a file, or problems where it is too large, not UTF-8, or holds control
    characters.
    """
    if len(data) > MOST_BYTES:
        return None, (_too_much(file, f"{len(data):,} bytes; more than {MOST_BYTES:,}"),)
    try:
        text = _newlines(data.removeprefix(codecs.BOM_UTF8).decode("utf-8"))
    except UnicodeDecodeError as error:
        return None, (_not_utf8(data, file, error),)
    if unwanted := _UNWANTED.search(text):
        code = f"U+{ord(unwanted.group()):04X}"
        message = (
            f"a character that turns the direction of writing ({code}): what you see is not what"
            " is read"
            if unwanted.group() > "\u2029"
            else f"a control character ({code}); this is no text file"
        )
        remedy = "remove it, or type the line again"
        return None, (
            _unreadable(message, file, text, unwanted.start(), "a plain text file", remedy),
        )
    if text.count("\n") > MOST_LINES:
        return None, (_too_much(file, f"more than {MOST_LINES:,} lines"),)
    return text, ()


def _too_much(file: str, what: str) -> Problem:
    return Problem(
        f"{file} holds {what}, which is no netlist",
        Place(file, 1, 1, 2),
        expected="a plain text file of one line a part",
    )


def _not_utf8(data: bytes, file: str, error: UnicodeDecodeError) -> Problem:
    wide = data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
    before = _newlines(error.object[: error.start].decode("utf-8"))
    return _unreadable(
        "this is UTF-16 text, not UTF-8" if wide else "this is not UTF-8 text",
        file,
        before + "\ufffd",
        len(before),
        "a plain text file saved as UTF-8",
        "save the file as plain text (UTF-8) in your editor",
    )


def _newlines(text: str) -> str:
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _unreadable(
    message: str, file: str, text: str, position: int, expected: str, hint: str
) -> Problem:
    start = text.rfind("\n", 0, position) + 1
    column = position - start + 1
    place = Place(file, text.count("\n", 0, position) + 1, column, column + 1)
    return Problem(message, place, text[start : start + LONGEST].split("\n", 1)[0], expected, hint)


#: A text in quotation marks, plain ones or those of a text processor, a blank of another width as
#: text pasted from a page has it, or a fraction that is one letter.
_NOT_PLAIN = re.compile(
    '"[^"\n]*"?|[“„«](?P<quoted>[^"“”„«»\n]*)[“”»]|[\u00a0\u2007\u2009\u202f]'
    "|(?P<whole>[0-9]*)(?P<part>[¼½¾⅛])"
)
_PARTS = {"¼": ("1/4", ".25"), "½": ("1/2", ".5"), "¾": ("3/4", ".75"), "⅛": ("1/8", ".125")}


def _plain(text: str) -> str:
    """Return a text with plain blanks, fractions and quotation marks, but for what is quoted."""

    def plain(match: re.Match[str]) -> str:
        if match["part"]:
            fraction, decimal = _PARTS[match["part"]]
            return match["whole"] + decimal if match["whole"] else fraction
        if match["quoted"] is not None:
            return f'"{match["quoted"]}"'
        return match.group() if match.group().startswith('"') else " "

    return text if text.isascii() else _NOT_PLAIN.sub(plain, text)


def split(text: str, starters: Container[str] = ()) -> Iterator[Line]:
    """Yield the statements of a file with their comments cut off.

    A line that ends in ``,`` ``--`` ``:`` or ``=`` goes on in the next one, unless that has a colon
    of its own or begins with one of the words in ``starters``: then it is a statement, and the end
    of the one before is missing.
    """
    lines = _plain(text).split("\n")
    if lines and lines[-1] == "":
        lines.pop()
    index, count = 0, len(lines)
    while index < count:
        line = lines[index]
        start, index = index, index + 1
        code, comment = cut_comment(line) if "#" in line else (line, "")
        code = code.rstrip()
        if not code.endswith(GOES_ON):
            yield Line(start + 1, (line,), code, comment)
            continue
        codes, comments, open_ = [code], [comment], True
        while open_ and index < count:
            code, comment = cut_comment(lines[index])
            if (not code.strip() and not comment) or _begins_anew(code, starters):
                break
            codes.append(code)
            comments.append(comment)
            index += 1
            open_ = not code.strip() or code.rstrip().endswith(GOES_ON)
        yield Line(
            start + 1,
            tuple(lines[start:index]),
            "\n".join(codes).rstrip(),
            "  ".join(filter(None, comments)),
        )


GOES_ON = (",", "--", ":", "=")
_QUOTED = re.compile(r'"[^"]*"?')


def _begins_anew(code: str, starters: Container[str]) -> bool:
    words = code.split(None, 1)
    return bool(words) and (words[0] in starters or ":" in _QUOTED.sub("", code))


def cut_comment(line: str) -> tuple[str, str]:
    """Return a line's code and its comment; a ``#`` starts one at the line's start or after a
    blank, outside quotes.
    """
    quoted = False
    for match in re.finditer('["#]', line):
        position = match.start()
        if match.group() == '"':
            quoted = not quoted
        elif not quoted and (position == 0 or line[position - 1] in " \t"):
            if _LAMP_NUMBER.fullmatch(line, 0, _word_end(line, position)):
                continue
            return line[:position], line[position:].rstrip()
    return line, ""


#: The start of a part line up to the number of a lamp, ``PL1 lamp #47``: that is no comment.
_LAMP_NUMBER = re.compile(r"\s*[^\s:#]+\s[^:#]*#[0-9]+")


def _word_end(line: str, position: int) -> int:
    while position < len(line) and line[position] not in " \t:":
        position += 1
    return position


def parse(
    line: Line, starts: dict[str, str], otherwise: str, parser: Lark, problems: Problems
) -> object | None:
    """Return the shape of one statement, or None after reporting the one thing that is wrong with
    it.
    """
    start = _start(line, starts, otherwise)
    if len(line.code) > LONGEST:
        problems.add(
            line,
            None,
            f"this statement is {len(line.code):,} characters long",
            expected=f"at most {LONGEST:,}",
            hint="split it into several parts",
        )
        return None
    try:
        return _shape(parser, line.code, start)
    except UnexpectedInput as error:
        token, explanation = explain(error, line.code, start, tuple(starts))
        line.readable = (
            line.code[: token.start_pos]
            if token is not None and start == "part" and ":" in line.code and not explanation.whole
            else ""
        )
        problems.add(
            line, token, explanation.message, expected=explanation.expected, hint=explanation.hint
        )
        return None


def _start(line: Line, starts: dict[str, str], otherwise: str) -> str:
    """Return the shape a statement begins as; a first word in capitals is put as the files have it
    where no colon says that it may be the name of a part.
    """
    word = line.code.split(None, 1)[0].partition(":")[0]
    if word not in starts and word.lower() in starts and ":" not in _QUOTED.sub("", line.code):
        line.code = line.code.replace(word, word.lower(), 1)
        word = word.lower()
    return starts.get(word, otherwise)


@lru_cache(maxsize=4096)
def _shape(parser: Lark, code: str, start: str) -> object:
    """Return the shape of a statement, that of one read lately as it was: an editor or a page reads
    a file again after every letter of one line.
    """
    return parser.parse(code, start=start)


def statements(text: str, problems: Problems) -> Iterator[Line]:
    """Yield every statement of a circuit file with its shape (None for blank and unreadable ones),
    until there are too many problems.
    """
    parser = circuit_parser()
    last: Line | None = None
    for line in split(text, CIRCUIT_KEYWORDS):
        if line.code and not line.code.isspace():
            line.shape = parse(line, CIRCUIT_KEYWORDS, "part", parser, problems)
            if line.shape is None and last and not problems.full and _goes_on_from(last, line):
                problems.found.pop()
                _report_missing_comma(last, problems)
        if last:
            yield last
        if problems.full:
            return
        last = line
    if last:
        yield last


def _goes_on_from(last: Line, line: Line) -> bool:
    """True for an indented line without a colon right under a statement: it was meant to go on from
    there.
    """

    def indent(text: str) -> int:
        return len(text) - len(text.lstrip())

    adjacent = line.number == last.number + len(last.lines) and bool(last.code.strip())
    open_ended = last.shape is None or isinstance(last.shape, PartLine | ListLine)
    return (
        adjacent
        and open_ended
        and ":" not in line.code
        and indent(line.code) > indent(last.lines[0]) + 1
    )


def _report_missing_comma(last: Line, problems: Problems) -> None:
    """Report once that a statement does not say it goes on; where it could not be read anyhow, that
    was told.
    """
    if last.shape is not None:
        row, text = len(last.lines) - 1, last.code.rsplit("\n", 1)[-1]
        end = Token("AT", "", line=row + 1, column=len(text) + 1, end_column=len(text) + 2)
        problems.add(
            last,
            end,
            "a comma is missing here: the next line continues this one",
            expected="a comma at the end of the line",
            hint="write the comma, or begin the next line at the margin",
        )
    last.shape = None

"""The job file: which amplifier, what is done to it in which order, what the meter read, what the
customer is told.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cache, partial

from lark import Lark, Token, Transformer

from rework.circuit.circuit import Mains
from rework.circuit.place import Place, Problem, errors
from rework.language.bench import (
    BENCH_KEYWORDS,
    NO_BENCH,
    BenchLines,
    BenchNotes,
    BenchState,
    Quantity,
    Reading,
)
from rework.language.mains import read_mains
from rework.language.mistakes import nearest
from rework.language.quantity import QuantityError, read_value, spaced
from rework.language.reader import Line, Problems, decode, parse, split
from rework.language.syntax import PlainLine, parser_of, span

JOB_KEYWORDS = {
    "job": "titled",
    "circuit": "titled",
    "mains": "plain",
    "attach": "attach",
    "apply": "apply",
    "labour": "plain",
    "worth": "plain",
    "prices": "titled",
    "customer": "titled",
    **BENCH_KEYWORDS,
}


@dataclass(frozen=True, slots=True)
class Apply:
    """``apply RULE : name=value, ...``; values are kept as text, each rule reads its own."""

    rule: str
    arguments: tuple[tuple[str, str], ...]
    place: Place
    text: str


@dataclass(frozen=True, slots=True)
class Attach:
    """``attach "FILE" as NAME : port=node, ...``."""

    circuit_file: str
    name: str
    ports: tuple[tuple[str, str], ...]
    place: Place
    text: str


@dataclass(frozen=True, slots=True)
class Money:
    """An amount and its currency, three capital letters."""

    amount: float
    currency: str


@dataclass(frozen=True)
class Job:
    """One job: the steps in order and the facts beside them.

    ``labour`` is in seconds, ``rate`` what an hour of it costs, ``worth`` what the set is worth
    once it works. ``mains`` is the line that the finished set is for, None where that is the line
    of the set as found.
    """

    title: str
    circuit_file: str
    steps: tuple[Apply | Attach, ...]
    bench: BenchNotes = NO_BENCH
    labour: float | None = None
    prices: str = ""
    customer: tuple[str, ...] = ()
    file: str = ""
    circuit_place: Place | None = None
    rate: Money | None = None
    worth: Money | None = None
    circuit_text: str = ""
    mains: Mains | None = None

    @property
    def readings(self) -> tuple[Reading, ...]:
        """What a meter showed, in the order of the file."""
        return self.bench.readings


@dataclass(frozen=True, slots=True)
class _Setting:
    """``name=value`` behind the colon of a statement."""

    name: Token
    words: tuple[Token, ...]


@dataclass(frozen=True, slots=True)
class _Statement:
    """One statement: its words, the first of which picks it, and the settings behind its colon."""

    words: tuple[Token, ...]
    settings: tuple[_Setting, ...]


class _JobShapes(Transformer[Token, object]):
    """Turns what lark matched into statements while parsing."""

    def titled(self, children: list[Token | tuple[_Setting, ...]]) -> _Statement:
        words = tuple(child for child in children if isinstance(child, Token))
        settings = next((child for child in children if isinstance(child, tuple)), ())
        return _Statement(words, settings)

    apply = attach = reading = plain = titled

    def setting(self, children: list[Token]) -> _Setting:
        return _Setting(children[0], tuple(children[1:]))

    def settings(self, children: list[_Setting]) -> tuple[_Setting, ...]:
        return tuple(children)


@cache
def job_parser() -> Lark:
    """Return the parser of job statements; it is built once, on first use."""
    return parser_of("job", sorted(set(JOB_KEYWORDS.values())), _JobShapes())


def volts_read(job: Job, side: str = "after") -> dict[str, float]:
    """Return the direct volts that the job says were read against common on the whole set, before
    or after the job, by what it calls the place.
    """
    return {
        reading.at: reading.value.amount
        for reading in job.readings
        if reading.state == BenchState(side) and not reading.to and reading.of is Quantity.DC
    }


def read_job(
    data: bytes, *, file: str, further: Callable[[Job], Iterable[Problem]] | None = None
) -> tuple[Job | None, tuple[Problem, ...]]:
    """Return the job a file states and every problem in it; the job is None where any of them is an
    error.

    ``further`` is asked what else is wrong with as much of such a job as could be read.
    """
    text, refused = decode(data, file)
    if text is None:
        return None, refused
    problems = Problems(file)
    taken = _JobLines(problems)
    for line in split(text, JOB_KEYWORDS):
        if line.code.strip():
            taken.take(line)
    if not taken.circuit and not taken.circuit_lost:
        problems.add(
            Line(1, tuple(text.split("\n")[:1]), "", ""),
            None,
            "the job names no circuit",
            expected='circuit "FILE.circuit"',
            hint="say which amplifier this job is about",
        )
    job = Job(
        taken.title,
        taken.circuit,
        tuple(taken.steps),
        taken.bench.so_far,
        taken.labour,
        taken.prices,
        tuple(taken.customer),
        file,
        taken.circuit_place,
        taken.rate,
        taken.worth,
        taken.circuit_text,
        taken.mains,
    )
    if not errors(problems.sorted()):
        return job, problems.sorted()
    problems.found += further(job) if further else ()
    return None, problems.sorted()


class _JobLines:
    """Gathers what the lines of one job say."""

    def __init__(self, problems: Problems) -> None:
        self.problems = problems
        self.title = self.circuit = self.prices = ""
        self.circuit_lost = False
        self.circuit_place: Place | None = None
        self.circuit_text = ""
        self.steps: list[Apply | Attach] = []
        self.bench = BenchLines(problems)
        self.customer: list[str] = []
        self.labour: float | None = None
        self.rate: Money | None = None
        self.worth: Money | None = None
        self.mains: Mains | None = None

    def take(self, line: Line) -> None:
        first = line.code.split()[0].rstrip(":")
        if first not in JOB_KEYWORDS:
            self.problems.add(
                line,
                None,
                f"{first} is no statement of a job",
                expected="one of " + ", ".join(JOB_KEYWORDS),
                near=partial(nearest, first, JOB_KEYWORDS),
            )
            return
        shape = parse(line, JOB_KEYWORDS, "plain", job_parser(), self.problems)
        if isinstance(shape, _Statement):
            self._taken(first, line, shape)
        elif first == "circuit":
            self.circuit_lost = True

    def _taken(self, keyword: str, line: Line, shape: _Statement) -> None:
        match keyword:
            case "job":
                self.title = _unquoted(shape.words[1])
            case "prices":
                self.prices = _unquoted(shape.words[1])
            case "customer":
                self.customer.append(_unquoted(shape.words[1]))
            case "circuit":
                self._circuit(line, shape.words[1])
            case "mains":
                self._mains(line, shape.words)
            case "apply":
                self._apply(line, shape)
            case "attach":
                self._attach(line, shape)
            case "labour":
                self._labour(line, shape.words)
            case "worth":
                self.worth = self._money(line, shape.words[0], shape.words[1:])
            case _:
                self.bench.take(keyword, line, shape.words)

    def _circuit(self, line: Line, file: Token) -> None:
        if self.circuit:
            self.problems.add(
                line,
                file,
                "the job names a circuit already",
                expected="one circuit",
                hint="attach further circuits with attach",
            )
        self.circuit, self.circuit_place, self.circuit_text = (
            _unquoted(file),
            self._place(line, file),
            line.lines[0],
        )

    def _mains(self, line: Line, words: tuple[Token, ...]) -> None:
        """Read the line that the finished set is for: an alternating one, for a new supply has a
        transformer.
        """
        mains = read_mains(PlainLine(words[0], words[1:]), partial(self.problems.add, line))
        if mains and not mains.hertz:
            self.problems.add(
                line,
                words[0],
                "a transformer does not work on direct current",
                expected="the alternating line that the finished set is for: mains 230 V 50 Hz",
            )
        if mains and self.mains:
            self.problems.add(
                line, words[0], "the mains are stated twice", expected="one line", hint="remove one"
            )
        self.mains = self.mains or mains

    def _apply(self, line: Line, shape: _Statement) -> None:
        rule = shape.words[1]
        arguments = self._settings(line, shape.settings)
        text = " ".join(line.code.split())
        self.steps.append(Apply(str(rule), arguments, self._place(line, rule), text))

    def _attach(self, line: Line, shape: _Statement) -> None:
        _, file, filler, name = shape.words
        if filler != "as":
            self.problems.add(
                line, filler, f"{filler} is not expected here", expected='attach "FILE" as NAME'
            )
        ports = self._settings(line, shape.settings)
        text = " ".join(line.code.split())
        self.steps.append(Attach(_unquoted(file), str(name), ports, self._place(line, file), text))

    def _labour(self, line: Line, words: tuple[Token, ...]) -> None:
        token = words[1] if len(words) > 1 else None
        try:
            value = read_value(str(token)) if token is not None else None
        except QuantityError:
            value = None
        priced = len(words) == 2 or (len(words) > 2 and words[2] == "at")
        if value is None or value.dimension != "time" or not priced:
            self.problems.add(
                line,
                token or words[0],
                "labour is stated in hours",
                expected="labour 6 h, or labour 6 h at 45 USD",
            )
            return
        self.labour = value.amount
        if len(words) > 2:
            self.rate = self._money(line, words[2], words[3:])

    def _money(self, line: Line, before: Token, words: tuple[Token, ...]) -> Money | None:
        """Return an amount in the one currency of the job, or None and a problem."""
        if (
            len(words) != 2
            or words[0].type != "NUMBER"
            or not (len(words[1]) == 3 and words[1].isalpha() and words[1].isupper())
        ):
            self.problems.add(
                line,
                words[0] if words else before,
                "this is no amount of money",
                expected="a number and three capital letters, as in 60 USD",
            )
            return None
        other = self.rate or self.worth
        if other is not None and other.currency != words[1]:
            self.problems.add(
                line,
                words[1],
                f"the job counts in {other.currency} already",
                expected=f"an amount in {other.currency}",
            )
            return None
        return Money(float(words[0]), str(words[1]))

    def _settings(self, line: Line, settings: tuple[_Setting, ...]) -> tuple[tuple[str, str], ...]:
        seen: dict[str, str] = {}
        for setting in settings:
            name = str(setting.name)
            if name in seen:
                self.problems.add(
                    line, setting.name, f"{name} is given twice", expected="each name once"
                )
            seen[name] = " ".join(
                (
                    _unquoted(word)
                    if word.type == "STRING"
                    else spaced(word)
                    if word.type == "VALUE"
                    else str(word)
                )
                for word in setting.words
            )
        return tuple(seen.items())

    def _place(self, line: Line, token: Token) -> Place:
        return self.problems.place(line, span(token))


def _unquoted(token: Token) -> str:
    return str(token)[1:-1] if token.startswith('"') else str(token)

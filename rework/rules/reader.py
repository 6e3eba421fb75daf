"""Rule text to a Rule: one statement at a time, every mistake told once, as for circuits."""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass, field

from lark import Token

from rework.circuit.kinds import KINDS
from rework.circuit.place import Place, Problem, errors
from rework.language import mistakes
from rework.language.reader import Line, Problems, decode, split
from rework.language.syntax import circuit_parser
from rework.rules.predicates import nearest_phrase, recognise
from rework.rules.rule import (
    SURENESS,
    All,
    Any,
    Condition,
    End,
    Example,
    Need,
    Not,
    Parameter,
    PartPattern,
    Pass,
    Phrase,
    Rule,
    Step,
)
from rework.rules.syntax import STARTS, rule_parser, term_of
from rework.rules.verbs import PART_LINE_VERBS, SHAPES, shape_of

_QUANTIFIERS = ("for each", "find one", "once")


def read_rule(data: bytes, *, file: str) -> tuple[Rule | None, tuple[Problem, ...]]:
    """Return the rule that the bytes of a file state and every problem in it; the rule is None
    where any is an error.
    """
    text, told = decode(data, file)
    if text is None:
        return None, told
    problems = Problems(file)
    taken = _Taken(problems)
    body, examples = _apart(text)
    for line in _statements(body):
        taken.take(line)
    _read_examples(text, examples, taken, problems)
    rule = taken.rule()
    found = problems.sorted()
    return (None if errors(found) else rule), found


def _apart(text: str) -> tuple[str, int]:
    """Return the text before the first ``example`` line, and the number of lines in it."""
    lines = text.split("\n")
    for index, line in enumerate(lines):
        if re.match(r"\s*example(\s|$)", line):
            return "\n".join(lines[:index]), index
    return text, len(lines)


def _statements(text: str) -> list[Line]:
    """Return the statements; one that begins with ``and``, ``or`` or ``else`` goes on from the one
    before.
    """
    found: list[Line] = []
    for line in split(text):
        first = line.code.split(None, 1)[0] if line.code.strip() else ""
        if not first:
            continue
        if first in ("and", "or", "else") and found:
            last = found.pop()
            gap = "\n" * (line.number - last.number - len(last.code.split("\n")) + 1)
            blank = ("",) * (line.number - last.number - len(last.lines))
            line = Line(
                last.number,
                (*last.lines, *blank, *line.lines),
                last.code + gap + line.code,
                last.comment,
            )
        found.append(line)
    return found


@dataclass
class _Open:
    """A pass while its lines are read."""

    quantifier: str
    missing: str
    place: Place
    patterns: list[PartPattern] = field(default_factory=list)
    unless: list[list[PartPattern]] = field(default_factory=list)
    where: list[Condition] = field(default_factory=list)
    where_text: list[str] = field(default_factory=list)
    needs: list[Need] = field(default_factory=list)
    steps: list[Step] = field(default_factory=list)
    cautions: list[str] = field(default_factory=list)
    into: str = "patterns"

    def closed(self) -> Pass:
        return Pass(
            self.quantifier,
            self.missing,
            tuple(self.patterns),
            tuple(map(tuple, self.unless)),
            tuple(self.where),
            tuple(self.where_text),
            tuple(self.needs),
            tuple(self.steps),
            tuple(self.cautions),
            self.place,
        )


class _Taken:
    """Gathers what the statements of one rule file say."""

    def __init__(self, problems: Problems) -> None:
        self.problems = problems
        self.name = self.says = self.sure = ""
        self.why: list[str] = []
        self.limits: list[str] = []
        self.parameters: list[Parameter] = []
        self.passes: list[_Open] = []
        self.examples: list[Example] = []

    def rule(self) -> Rule:
        """Return the rule, after reporting what a rule must say and this one does not."""
        first = Line(1, ("",), "", "")
        for what, present in (
            ("rule NAME", self.name),
            ('says "..."', self.says),
            ('why "..."', self.why),
            ('sure "..."', self.sure),
            ("a pass: for each, find one or once", self.passes),
        ):
            if not present:
                self.problems.add(first, None, f"the rule has no line: {what}", expected=what)
        for one in self.passes:
            self._check_pass(one)
        return Rule(
            self.name,
            self.says,
            tuple(self.why),
            self.sure,
            tuple(self.limits),
            tuple(self.parameters),
            tuple(one.closed() for one in self.passes),
            tuple(self.examples),
            self.problems.file,
        )

    def take(self, line: Line) -> None:
        """Take one statement."""
        first = line.code.split()[0]
        if first in STARTS:
            shape = self._parse(line, STARTS[first])
            if shape is not None:
                getattr(self, f"_{first}")(line, shape)
        elif not self.passes:
            near = difflib.get_close_matches(first, STARTS, 1, 0.6)
            self.problems.add(
                line,
                None,
                f"{first} is no statement of a rule",
                expected="one of " + ", ".join(STARTS),
                hint=(
                    f"did you mean {near[0]}?"
                    if near
                    else "a pattern stands under: for each, find one, unless"
                ),
            )
        elif self.passes[-1].into == "then":
            self._step(line, first)
        else:
            self._pattern(line)

    def _parse(self, line: Line, start: str, *, parser=rule_parser):
        from lark.exceptions import UnexpectedInput

        try:
            return parser().parse(line.code, start=start)
        except UnexpectedInput as error:
            token, told = mistakes.explain(error, line.code, start, tuple(STARTS))
            self.problems.add(line, token, told.message, expected=told.expected, hint=told.hint)
            return None

    def _place(self, line: Line, token: Token | None = None) -> Place:
        if token is None:
            text = line.lines[0]
            column = len(text) - len(text.lstrip()) + 1
            return Place(
                self.problems.file, line.number, column, max(column + 1, len(text.rstrip()) + 1)
            )
        return Place(
            self.problems.file, line.number + token.line - 1, token.column, token.end_column
        )

    # the head of a rule

    def _rule(self, line: Line, shape) -> None:
        if self.name:
            self.problems.add(
                line, shape[1], "the rule has a name already", expected="one rule a file"
            )
        self.name = str(shape[1])

    def _says(self, line: Line, shape) -> None:
        self.says = _unquoted(shape[1])

    def _why(self, line: Line, shape) -> None:
        self.why.append(_unquoted(shape[1]))

    def _limits(self, line: Line, shape) -> None:
        self.limits.append(_unquoted(shape[1]))

    def _sure(self, line: Line, shape) -> None:
        self.sure = _unquoted(shape[1])
        if self.sure not in SURENESS:
            self.problems.add(
                line,
                shape[1],
                f"{self.sure} is no degree of sureness",
                expected="one of " + ", ".join(SURENESS),
            )

    def _with(self, line: Line, shape) -> None:
        for name, value in shape[1:]:
            if any(old.name == name for old in self.parameters):
                self.problems.add(
                    line, name, f"the parameter {name} is there twice", expected="each once"
                )
            default = None if value is None else " ".join(_unquoted(word) for word in value)
            self.parameters.append(Parameter(str(name), default))

    # passes

    def _for(self, line: Line, shape) -> None:
        words = " ".join(str(token) for token in shape if token.type == "WORD")
        if words not in _QUANTIFIERS:
            near = difflib.get_close_matches(words, _QUANTIFIERS, 1, 0.5)
            self.problems.add(
                line,
                shape[0],
                f"{words} begins no pass",
                expected="for each, find one or once",
                hint=f"did you mean {near[0]}?" if near else "",
            )
        missing = _unquoted(shape[-1]) if shape[-1].type == "STRING" else ""
        self.passes.append(_Open(words, missing, self._place(line)))

    _find = _once = _for

    def _current(self, line: Line) -> _Open | None:
        if not self.passes:
            self.problems.add(
                line,
                None,
                "this stands before any pass",
                expected="for each, find one or once first",
            )
            return None
        return self.passes[-1]

    def _unless(self, line: Line, shape) -> None:
        if (one := self._current(line)) is not None:
            one.into = "unless"
            one.unless.append([])

    def _then(self, line: Line, shape) -> None:
        if (one := self._current(line)) is not None:
            one.into = "then"

    def _caution(self, line: Line, shape) -> None:
        if (one := self._current(line)) is not None:
            one.cautions.append(_unquoted(shape[1]))

    def _where(self, line: Line, shape) -> None:
        condition = self._condition(line, shape[1])
        if (one := self._current(line)) is not None and condition is not None:
            one.where.append(condition)
            one.where_text.append(_text(line.code.split(None, 1)[1]))

    def _need(self, line: Line, shape) -> None:
        condition = self._condition(line, shape[1])
        if (one := self._current(line)) is not None and condition is not None:
            text = _text(line.code.split(None, 1)[1].rpartition("else")[0])
            one.needs.append(Need(condition, _unquoted(shape[2]), text, self._place(line)))

    def _condition(self, line: Line, shape) -> Condition | None:
        if (
            isinstance(shape, tuple)
            and shape
            and shape[0] in ("and", "or")
            and isinstance(shape[1], list)
        ):
            members = [self._condition(line, member) for member in shape[1]]
            if None in members:
                return None
            return (
                members[0]
                if len(members) == 1
                else (All if shape[0] == "and" else Any)(tuple(members))
            )
        if isinstance(shape, tuple) and shape and type(shape[0]) is str and shape[0] == "not":
            member = self._condition(line, shape[1])
            return None if member is None else Not(member)
        return self._phrase(line, shape)

    def _phrase(self, line: Line, tokens: tuple[Token, ...]) -> Phrase | None:
        denied = any(token.type == "NOT" for token in tokens)
        words = tuple(token for token in tokens if token.type != "NOT")
        found = recognise([(str(word), word.type) for word in words])
        shown = " ".join(map(str, tokens))
        if found is None:
            self.problems.add(
                line,
                tokens[0],
                f"{shown} is no condition that is known here",
                expected="a phrase that rework rules --words lists",
                hint=nearest_phrase(shown),
            )
            return None
        name, gaps = found
        return Phrase(name, tuple(term_of(words[gap]) for gap in gaps), denied, shown)

    def _pattern(self, line: Line) -> None:
        one = self.passes[-1]
        shape = self._parse(line, "pattern")
        if shape is None:
            return
        pattern = self._part(line, *shape)
        if pattern is not None:
            (one.unless[-1] if one.into == "unless" else one.patterns).append(pattern)

    def _part(self, line: Line, head: tuple[Token, ...], ends: list) -> PartPattern | None:
        name, rest = head[0], head[1:]
        kinds: list[str] = []
        while rest:
            two = f"{rest[0]} {rest[1]}" if len(rest) > 1 else ""
            kind, used = (two, 2) if two in KINDS else (str(rest[0]), 1)
            if kind == "part" or kind in KINDS:
                kinds.append(kind)
            else:
                near = difflib.get_close_matches(kind, [*KINDS, "part"], 1, 0.6)
                self.problems.add(
                    line,
                    rest[0],
                    f"there is no kind of part called {kind}",
                    expected="a kind, or kinds with | between",
                    hint=f"did you mean {near[0]}?" if near else "",
                )
                return None
            rest = rest[used:]
            if not rest or rest[0].type != "ALTERNATIVE":
                break
            rest = rest[1:]
        if not kinds:
            self.problems.add(
                line, name, f"{name} has no kind", expected="a kind, or the word part for any kind"
            )
            return None
        made = []
        for terminals, nodes in ends:
            if (
                not terminals
                and len(nodes) == 1
                and not all(kind in KINDS and KINDS[kind].form == "one" for kind in kinds)
            ):
                self.problems.add(
                    line,
                    nodes[0],
                    f"{nodes[0]} has no terminal",
                    expected="TERMINAL=NODE or A -- B",
                )
                return None
            made += [End(tuple(map(str, terminals)), term_of(node)) for node in nodes]
        return PartPattern(
            term_of(name),
            () if "part" in kinds else tuple(kinds),
            tuple(term_of(token) for token in rest),
            tuple(made),
            _text(line.code),
            self._place(line),
        )

    def _step(self, line: Line, verb: str) -> None:
        text = _text(line.code)
        if verb in PART_LINE_VERBS:
            body = Line(line.number, line.lines, line.code.replace(verb, " " * len(verb), 1), "")
            if self._parse(body, "part", parser=circuit_parser) is not None:
                self.passes[-1].steps.append(
                    Step(verb, (), text.partition(" ")[2], self._place(line))
                )
            return
        shape = self._parse(line, "action")
        if shape is None:
            return
        if verb not in SHAPES:
            near = difflib.get_close_matches(verb, [*SHAPES, *PART_LINE_VERBS], 1, 0.5)
            self.problems.add(
                line,
                shape[0],
                f"{verb} is nothing that a rule can do",
                hint=f"did you mean {near[0]}?" if near else "",
                expected="one of " + ", ".join(sorted([*SHAPES, *PART_LINE_VERBS])),
            )
            return
        words = tuple(term_of(token) for token in shape[1:])
        gaps = shape_of(verb, words)
        if gaps is None:
            self.problems.add(
                line,
                shape[0],
                f"{verb} is not written like this",
                expected=" or ".join(SHAPES[verb]),
            )
            return
        self.passes[-1].steps.append(Step(verb, gaps, text, self._place(line)))

    def _check_pass(self, one: _Open) -> None:
        """Report variables that nothing binds and parameters that the rule does not have."""
        known = {parameter.name for parameter in self.parameters}
        names = {pattern.name.text for pattern in one.patterns if pattern.name.form == "variable"}
        bound = names | {
            end.node.text
            for pattern in one.patterns
            for end in pattern.ends
            if end.node.form == "variable" and not end.node.pin
        }
        pinned = {
            end.node.text
            for pattern in one.patterns
            for end in pattern.ends
            if end.node.form == "variable" and end.node.pin
        }
        everywhere = [
            term
            for pattern in (*one.patterns, *(p for group in one.unless for p in group))
            for term in (pattern.name, *pattern.attributes, *(end.node for end in pattern.ends))
        ]
        conditions = [
            term
            for condition in (*one.where, *(need.condition for need in one.needs))
            for term in _operands(condition)
        ]
        steps = [term for step in one.steps for term in step.terms]
        raw = " ".join(
            [
                *(step.text for step in one.steps),
                *(need.otherwise for need in one.needs),
                one.missing,
            ]
        )
        used = {term.text for term in [*conditions, *steps] if term.form == "variable"} | set(
            re.findall(r"\?(\w+)", raw)
        )
        used |= pinned - names
        asked = {
            term.text for term in [*everywhere, *conditions, *steps] if term.form == "parameter"
        }
        asked |= set(re.findall(r"\{([A-Za-z][\w-]*)\}", raw)) - bound
        line = Line(one.place.line, ("",), "", "")
        for name in sorted(used - bound):
            self.problems.add(
                line,
                None,
                f"nothing in this pass says what ?{name} is",
                expected="a pattern line that binds it",
                hint=f"one of ?{', ?'.join(sorted(bound))}" if bound else "",
            )
        for name in sorted(asked - known):
            near = difflib.get_close_matches(name, known, 1, 0.5)
            self.problems.add(
                line,
                None,
                f"the rule has no parameter {name}",
                expected=f"a line: with {name} = ...",
                hint=f"did you mean {{{near[0]}}}?" if near else "",
            )
        if one.quantifier != "once" and not one.patterns:
            self.problems.add(
                line,
                None,
                f"{one.quantifier} has no pattern under it",
                expected="a pattern line, or once",
            )


def _operands(condition: Condition):
    match condition:
        case Phrase(operands=operands):
            yield from operands
        case All(members) | Any(members):
            for member in members:
                yield from _operands(member)
        case Not(member):
            yield from _operands(member)


def _read_examples(text: str, start: int, taken: _Taken, problems: Problems) -> None:
    """Read the ``example`` sections: arguments, then ``before`` and one of ``after``, ``refuses
    "..."``, ``nothing``.
    """
    lines = text.split("\n")
    index = start
    while index < len(lines):
        line = Line(index + 1, (lines[index],), lines[index], "")
        if not lines[index].strip() or lines[index].strip().startswith("#"):
            index += 1
            continue
        words = lines[index].split(None, 1)
        if words[0] != "example":
            problems.add(
                line,
                None,
                f"{words[0]} cannot stand among the examples",
                expected="example, before, after or refuses",
            )
            return
        arguments = tuple(
            (name.strip(), value.strip())
            for name, _, value in (
                pair.partition("=") for pair in (words[1].split(",") if len(words) > 1 else ())
            )
        )
        parts: dict[str, list[str]] = {}
        refusal, into, begin = None, None, index
        index += 1
        while index < len(lines) and not re.match(r"\s*example(\s|$)", lines[index]):
            bare = lines[index].strip()
            if bare in ("before", "after", "nothing"):
                into = parts.setdefault(bare, [])
            elif refused := re.fullmatch(r'refuses\s+"([^"]*)"', bare):
                refusal = refused[1]
            elif into is not None:
                into.append(bare)
            elif bare and not bare.startswith("#"):
                problems.add(
                    Line(index + 1, (lines[index],), bare, ""),
                    None,
                    "this stands before the word before",
                    expected="before",
                )
            index += 1
        if (
            "before" not in parts
            or (refusal is None) + ("after" not in parts) + ("nothing" not in parts) != 2
        ):
            problems.add(
                line,
                None,
                "this example is not whole",
                expected='before, and one of after, refuses "..." and nothing',
            )
            continue
        after = "\n".join(parts["after"]) + "\n" if "after" in parts else None
        taken.examples.append(
            Example(
                arguments,
                "\n".join(parts["before"]) + "\n",
                after,
                refusal,
                Place(problems.file, begin + 1, 1, 8),
            )
        )


def _text(code: str) -> str:
    return " ".join(code.split())


def _unquoted(token: Token) -> str:
    return str(token)[1:-1] if token.startswith('"') else str(token)

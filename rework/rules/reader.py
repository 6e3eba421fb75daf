"""Rule text to a Rule: one statement at a time, every mistake reported once, as for circuits."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from rework.circuit.place import Place, Problem, errors
from rework.language.reader import Line, Problems, decode, split
from rework.rules.computed import IMPLIED
from rework.rules.examples import parted, read_examples
from rework.rules.patterns import (
    one_line,
    parsed,
    place_of,
    read_condition,
    read_pattern,
    read_step,
    unquoted,
)
from rework.rules.rule import (
    SURENESS,
    All,
    AnyOf,
    Condition,
    Example,
    Need,
    Not,
    Parameter,
    PartPattern,
    Pass,
    Phrase,
    Rule,
    RuleStep,
    Term,
)
from rework.rules.syntax import STARTS, ConditionLine, ParameterLine, Statement, Words

_QUANTIFIERS = ("for each", "find one", "once")


def read_rule(data: bytes, *, file: str) -> tuple[Rule | None, tuple[Problem, ...]]:
    """Return the rule that the bytes of a file state and every problem in it; the rule is None
    where any is an error.
    """
    text, undecoded = decode(data, file)
    if text is None:
        return None, undecoded
    problems = Problems(file)
    draft = _RuleDraft(problems)
    body, examples = parted(text)
    for line in _statements(body):
        draft.take(line)
    rule = draft.rule(tuple(read_examples(text, examples, problems)), text)
    reported = problems.sorted()
    return (None if errors(reported) else rule), reported


def _statements(text: str) -> list[Line]:
    """Return the statements; one that begins with ``and``, ``or`` or ``else`` goes on from the one
    before.
    """
    statements: list[Line] = []
    for line in split(text):
        first = line.code.split(None, 1)[0] if line.code.strip() else ""
        if not first:
            continue
        if first in ("and", "or", "else") and statements:
            line = _joined(statements.pop(), line)
        statements.append(line)
    return statements


def _joined(last: Line, line: Line) -> Line:
    gap = "\n" * (line.number - last.number - len(last.code.split("\n")) + 1)
    blank = ("",) * (line.number - last.number - len(last.lines))
    lines = (*last.lines, *blank, *line.lines)
    return Line(last.number, lines, last.code + gap + line.code, last.comment)


@dataclass
class _OpenPass:
    """A pass while its lines are read."""

    quantifier: str
    missing: str
    place: Place
    patterns: list[PartPattern] = field(default_factory=list)
    unless: list[list[PartPattern]] = field(default_factory=list)
    where: list[Condition] = field(default_factory=list)
    where_text: list[str] = field(default_factory=list)
    needs: list[Need] = field(default_factory=list)
    steps: list[RuleStep] = field(default_factory=list)
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

    def conditions(self) -> Iterator[Term]:
        """Yield every term of the conditions."""
        for condition in (*self.where, *(need.condition for need in self.needs)):
            yield from _operands(condition)


class _RuleDraft:
    """A rule while its statements are read."""

    def __init__(self, problems: Problems) -> None:
        self.problems = problems
        self.name = self.says = self.sure = ""
        self.why: list[str] = []
        self.limits: list[str] = []
        self.parameters: list[Parameter] = []
        self.passes: list[_OpenPass] = []

    def rule(self, examples: tuple[Example, ...], source: str) -> Rule:
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
        for each in self.passes:
            _check_names(each, {parameter.name for parameter in self.parameters}, self.problems)
        return Rule(
            self.name,
            self.says,
            tuple(self.why),
            self.sure,
            tuple(self.limits),
            tuple(self.parameters),
            tuple(each.closed() for each in self.passes),
            examples,
            self.problems.file,
            source,
        )

    def take(self, line: Line) -> None:
        """Take one statement."""
        first = line.code.split()[0]
        if first in STARTS:
            shape = parsed(self.problems, line, STARTS[first])
            if shape is not None:
                self._statement(first, line, shape)
        elif not self.passes:
            near = difflib.get_close_matches(first, STARTS, 1, 0.6)
            self.problems.add(
                line,
                None,
                f"a rule has no statement {first}",
                expected="one of " + ", ".join(STARTS),
                hint=(
                    f"did you mean {near[0]}?"
                    if near
                    else "write a pattern under: for each, find one, unless"
                ),
            )
        elif self.passes[-1].into == "then":
            if (step := read_step(self.problems, line, first)) is not None:
                self.passes[-1].steps.append(step)
        elif (pattern := read_pattern(self.problems, line)) is not None:
            current = self.passes[-1]
            (current.unless[-1] if current.into == "unless" else current.patterns).append(pattern)

    def _statement(self, first: str, line: Line, shape: Statement) -> None:
        if isinstance(shape, ParameterLine):
            self._with(line, shape)
        elif isinstance(shape, ConditionLine):
            self._condition(line, shape)
        elif isinstance(shape, Words):
            if first in ("for", "find", "once"):
                self._pass(line, shape)
            elif first in ("unless", "then", "caution"):
                self._within(first, line, shape)
            else:
                self._head(first, line, shape)

    # the head of a rule

    def _head(self, first: str, line: Line, shape: Words) -> None:
        token = shape.tokens[1]
        match first:
            case "rule":
                if self.name:
                    self.problems.add(
                        line, token, "the rule has a name already", expected="one rule a file"
                    )
                self.name = str(token)
            case "says":
                self.says = unquoted(token)
            case "why":
                self.why.append(unquoted(token))
            case "limits":
                self.limits.append(unquoted(token))
            case "sure":
                self.sure = unquoted(token)
                if self.sure not in SURENESS:
                    self.problems.add(
                        line,
                        token,
                        f"{self.sure} is not a degree of sureness",
                        expected="one of " + ", ".join(SURENESS),
                    )

    def _with(self, line: Line, shape: ParameterLine) -> None:
        for name, value in shape.pairs:
            if any(old.name == name for old in self.parameters):
                self.problems.add(
                    line, name, f"the parameter {name} is there twice", expected="each once"
                )
            default = None if value is None else " ".join(unquoted(word) for word in value)
            self.parameters.append(Parameter(str(name), default))

    # passes

    def _pass(self, line: Line, shape: Words) -> None:
        words = " ".join(str(token) for token in shape.tokens if token.type == "WORD")
        if words not in _QUANTIFIERS:
            near = difflib.get_close_matches(words, _QUANTIFIERS, 1, 0.5)
            self.problems.add(
                line,
                shape.tokens[0],
                f"{words} does not begin a pass",
                expected="for each, find one or once",
                hint=f"did you mean {near[0]}?" if near else "",
            )
        last = shape.tokens[-1]
        missing = unquoted(last) if last.type == "STRING" else ""
        self.passes.append(_OpenPass(words, missing, place_of(self.problems, line)))

    def _current(self, line: Line) -> _OpenPass | None:
        if not self.passes:
            self.problems.add(
                line,
                None,
                "this is ahead of the first pass",
                expected="for each, find one or once first",
            )
            return None
        return self.passes[-1]

    def _within(self, first: str, line: Line, shape: Words) -> None:
        current = self._current(line)
        if current is None:
            return
        if first == "caution":
            current.cautions.append(unquoted(shape.tokens[1]))
            return
        current.into = first
        if first == "unless":
            current.unless.append([])

    def _condition(self, line: Line, shape: ConditionLine) -> None:
        condition = read_condition(self.problems, line, shape.condition)
        current = self._current(line)
        if current is None or condition is None:
            return
        body = line.code.split(None, 1)[1]
        if shape.otherwise is None:
            current.where.append(condition)
            current.where_text.append(one_line(body))
        else:
            text = one_line(body.rpartition("else")[0])
            place = place_of(self.problems, line)
            current.needs.append(Need(condition, unquoted(shape.otherwise), text, place))


def _check_names(each: _OpenPass, known: set[str], problems: Problems) -> None:
    """Report variables that nothing binds and parameters that the rule does not have."""
    line = Line(each.place.line, ("",), "", "")
    ends = [end.node for pattern in each.patterns for end in pattern.ends]
    names = {pattern.name.text for pattern in each.patterns if pattern.name.form == "variable"}
    bound = names | {node.text for node in ends if node.form == "variable" and not node.pin}
    unbound = {node.text for node in ends if node.form == "variable" and node.pin} - names
    terms = [*each.conditions(), *(term for step in each.steps for term in step.terms)]
    reasons = (need.otherwise for need in each.needs)
    raw = " ".join((*(step.text for step in each.steps), *reasons, each.missing))
    used = {term.text for term in terms if term.form == "variable"} | unbound
    used |= set(re.findall(r"\?(\w+)", raw))
    for name in sorted(used - bound):
        problems.add(
            line,
            None,
            f"no pattern in this pass binds ?{name}",
            expected="a pattern line that binds it",
            hint=f"one of ?{', ?'.join(sorted(bound))}" if bound else "",
        )
    asked = {term.text for term in (*terms, *_pattern_terms(each)) if term.form == "parameter"}
    asked |= set(re.findall(r"\{([A-Za-z][\w-]*)\}", raw)) - bound - set(IMPLIED)
    for name in sorted(asked - known):
        near = difflib.get_close_matches(name, known, 1, 0.5)
        problems.add(
            line,
            None,
            f"the rule has no parameter {name}",
            expected=f"a line: with {name} = ...",
            hint=f"did you mean {{{near[0]}}}?" if near else "",
        )
    if each.quantifier != "once" and not each.patterns:
        problems.add(
            line,
            None,
            f"{each.quantifier} has no pattern under it",
            expected="a pattern line, or once",
        )


def _pattern_terms(each: _OpenPass) -> Iterator[Term]:
    for pattern in (*each.patterns, *(pattern for group in each.unless for pattern in group)):
        yield pattern.name
        yield from pattern.attributes
        yield from (end.node for end in pattern.ends)


def _operands(condition: Condition) -> Iterator[Term]:
    match condition:
        case Phrase(operands=operands):
            yield from operands
        case All(members) | AnyOf(members):
            for member in members:
                yield from _operands(member)
        case Not(member):
            yield from _operands(member)

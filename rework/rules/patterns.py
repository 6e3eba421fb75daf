"""Lines of a pass read with their meaning: parts of a pattern, conditions, edits."""

from __future__ import annotations

import difflib
from typing import TYPE_CHECKING

from lark.exceptions import UnexpectedInput

from rework.circuit.kinds import KINDS
from rework.circuit.place import Place
from rework.language.explain import explain
from rework.language.reader import Line, Problems
from rework.language.syntax import circuit_parser
from rework.rules.rule import All, AnyOf, Condition, Not, PartPattern, PatternEnd, Phrase, RuleStep
from rework.rules.syntax import (
    STARTS,
    ConditionShape,
    Denied,
    EndShape,
    PatternLine,
    Statement,
    Words,
    parse_statement,
    term_of,
)
from rework.rules.verbs import PART_LINE_VERBS, SHAPES, shape_of
from rework.rules.vocabulary import nearest_phrase, recognise

if TYPE_CHECKING:
    from lark import Token


def place_of(problems: Problems, line: Line) -> Place:
    """Return where a statement is: its first physical line."""
    text = line.lines[0]
    column = len(text) - len(text.lstrip()) + 1
    return Place(problems.file, line.number, column, max(column + 1, len(text.rstrip()) + 1))


def parsed(problems: Problems, line: Line, start: str) -> Statement | None:
    """Return the shape of a statement; a mistake is reported, and None returned."""
    try:
        return parse_statement(line.code, start)
    except UnexpectedInput as error:
        token, mistake = explain(error, line.code, start, tuple(STARTS))
        problems.add(line, token, mistake.message, expected=mistake.expected, hint=mistake.hint)
        return None


def one_line(code: str) -> str:
    """Return code with every run of blanks as one."""
    return " ".join(code.split())


def unquoted(token: Token) -> str:
    """Return the text of a token, without its quotes."""
    return str(token)[1:-1] if token.startswith('"') else str(token)


# patterns


def read_pattern(problems: Problems, line: Line) -> PartPattern | None:
    """Return the part of a pattern that a line states; mistakes are reported."""
    shape = parsed(problems, line, "pattern")
    if not isinstance(shape, PatternLine):
        return None
    name, *rest = shape.head
    read = _kinds(problems, line, name, rest)
    if read is None:
        return None
    kinds, attributes = read
    ends: list[PatternEnd] = []
    for end in shape.ends:
        if _lacks_terminal(end, kinds):
            problems.add(
                line,
                end.nodes[0],
                f"{end.nodes[0]} has no terminal",
                expected="TERMINAL=NODE or A -- B",
            )
            return None
        ends += [PatternEnd(tuple(map(str, end.terminals)), term_of(node)) for node in end.nodes]
    return PartPattern(
        term_of(name),
        () if "part" in kinds else tuple(kinds),
        tuple(term_of(token) for token in attributes),
        tuple(ends),
        one_line(line.code),
        place_of(problems, line),
    )


def _kinds(
    problems: Problems, line: Line, name: Token, rest: list[Token]
) -> tuple[list[str], list[Token]] | None:
    """Return the kinds a pattern allows and the words after them, or None where one is no kind."""
    kinds: list[str] = []
    while rest:
        two = f"{rest[0]} {rest[1]}" if len(rest) > 1 else ""
        kind, used = (two, 2) if two in KINDS else (str(rest[0]), 1)
        if kind != "part" and kind not in KINDS:
            near = difflib.get_close_matches(kind, [*KINDS, "part"], 1, 0.6)
            problems.add(
                line,
                rest[0],
                f"there is no kind of part called {kind}",
                expected="a kind, or kinds with | between",
                hint=f"did you mean {near[0]}?" if near else "",
            )
            return None
        kinds.append(kind)
        rest = rest[used:]
        if not rest or rest[0].type != "ALTERNATIVE":
            break
        rest = rest[1:]
    if not kinds:
        problems.add(
            line, name, f"{name} has no kind", expected="a kind, or the word part for any kind"
        )
        return None
    return kinds, rest


def _lacks_terminal(end: EndShape, kinds: list[str]) -> bool:
    """Return whether an end is a lone node, on a part that has more than one terminal."""
    single = all(kind in KINDS and KINDS[kind].form == "one" for kind in kinds)
    return not end.terminals and len(end.nodes) == 1 and not single


# conditions


def read_condition(problems: Problems, line: Line, shape: ConditionShape) -> Condition | None:
    """Return what a condition means; a phrase that is not in the vocabulary is reported."""
    if isinstance(shape, Words):
        return _phrase(problems, line, shape.tokens)
    if isinstance(shape, Denied):
        member = read_condition(problems, line, shape.member)
        return None if member is None else Not(member)
    members = [read_condition(problems, line, member) for member in shape.members]
    known = tuple(member for member in members if member is not None)
    if len(known) < len(members):
        return None
    return All(known) if shape.word == "and" else AnyOf(known)


def _phrase(problems: Problems, line: Line, tokens: tuple[Token, ...]) -> Phrase | None:
    denied = any(token.type == "NOT" for token in tokens)
    words = tuple(token for token in tokens if token.type != "NOT")
    recognised = recognise([(str(word), word.type) for word in words])
    shown = " ".join(map(str, tokens))
    if recognised is None:
        problems.add(
            line,
            tokens[0],
            f"{shown} is not a known condition",
            expected="a phrase that rework rules --words lists",
            hint=nearest_phrase(shown),
        )
        return None
    name, gaps = recognised
    return Phrase(name, tuple(term_of(words[gap]) for gap in gaps), denied, shown)


# edits


def read_step(problems: Problems, line: Line, verb: str) -> RuleStep | None:
    """Return the edit that a line under ``then`` asks for; mistakes are reported."""
    text = one_line(line.code)
    if verb in PART_LINE_VERBS:
        body = Line(line.number, line.lines, line.code.replace(verb, " " * len(verb), 1), "")
        if not _reads_as_part(problems, body):
            return None
        return RuleStep(verb, (), text.partition(" ")[2], place_of(problems, line))
    shape = parsed(problems, line, "action")
    if not isinstance(shape, Words):
        return None
    known = sorted([*SHAPES, *PART_LINE_VERBS])
    if verb not in SHAPES:
        near = difflib.get_close_matches(verb, known, 1, 0.5)
        problems.add(
            line,
            shape.tokens[0],
            f"a rule has no edit called {verb}",
            hint=f"did you mean {near[0]}?" if near else "",
            expected="one of " + ", ".join(known),
        )
        return None
    gaps = shape_of(verb, tuple(term_of(token) for token in shape.tokens[1:]))
    if gaps is None:
        problems.add(
            line,
            shape.tokens[0],
            f"{verb} is not written like this",
            expected=" or ".join(SHAPES[verb]),
        )
        return None
    return RuleStep(verb, gaps, text, place_of(problems, line))


def _reads_as_part(problems: Problems, line: Line) -> bool:
    try:
        circuit_parser().parse(line.code, start="part")
    except UnexpectedInput as error:
        token, mistake = explain(error, line.code, "part", tuple(STARTS))
        problems.add(line, token, mistake.message, expected=mistake.expected, hint=mistake.hint)
        return False
    return True

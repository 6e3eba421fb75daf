"""Every built-in rule says all it must, and does what its own examples show."""

from __future__ import annotations

import re

import pytest
from each import each
from sets import circuit

from rework.circuit.edits import replay
from rework.rules.catalogue import builtin_names, load
from rework.rules.manual import as_json, manual
from rework.rules.rewrite import Applied, NothingToDo, Refused, plan
from rework.rules.rule import SURENESS

NAMES = builtin_names()
ASKED_FOR = {
    "release-line-cord",
    "open-line-to-chassis",
    "remove-rectifier",
    "remove-filter",
    "cut-heater-string",
    "take-out-dropper",
    "rewire-tapped-heater",
    "exchange-tube",
    "keep-back-bias",
    "connect-umbilical",
    "bond-chassis",
    "reuse-power-switch",
    "balance-heaters",
    "decouple-stage",
    "isolate-only",
}


def rule_named(name):
    rule, problems = load(name)
    assert rule is not None, problems
    return rule


EXAMPLES = [
    (name, number, example)
    for name in NAMES
    for number, example in enumerate(rule_named(name).examples, 1)
]


def test_every_rule_of_the_conversion_is_there():
    assert set(NAMES) >= ASKED_FOR


@each("name", NAMES)
def test_a_rule_says_what_why_and_how_sure(name):
    rule, problems = load(name)
    assert problems == ()
    assert rule.name == name
    assert rule.says
    assert rule.why
    assert rule.sure in SURENESS
    assert any(one.steps for one in rule.passes)


@each("name", NAMES)
def test_a_rule_is_named_for_the_job_in_bench_words(name):
    assert re.fullmatch(r"[a-z]+(-[a-z]+)+", name), "words and hyphens, no digits"
    assert not re.match(r"(use|do-not|dont|fix|no|rule|check)-", name)


@each("name", NAMES)
def test_a_rule_shows_one_piece_of_work_done_and_one_left_or_refused(name):
    examples = rule_named(name).examples
    assert any(example.after is not None for example in examples)
    assert any(example.after is None for example in examples)


@pytest.mark.parametrize(
    ("name", "number", "example"),
    EXAMPLES,
    ids=[f"{name}-{number}" for name, number, _ in EXAMPLES],
)
def test_an_example_comes_out_as_its_rule_file_shows(name, number, example):
    before = circuit(example.before)
    outcome = plan(rule_named(name), before, dict(example.arguments))
    if example.after is not None:
        assert isinstance(outcome, Applied), outcome
        assert set(outcome.after.parts) == set(circuit(example.after).parts)
        assert replay(before, outcome.edits) == outcome.after
    elif example.refusal is not None:
        assert isinstance(outcome, Refused), outcome
        assert example.refusal in outcome.reasons
    else:
        assert isinstance(outcome, NothingToDo), outcome


@each("name", NAMES)
def test_the_manual_is_read_from_the_rule_file(name):
    rule = rule_named(name)
    flat = " ".join(manual(rule).split())
    wanted = [rule.says.rstrip("."), *rule.why, rule.sure, *rule.limits]
    for one in rule.passes:
        wanted += [
            *one.where_text,
            *one.cautions,
            *(need.otherwise for need in one.needs),
            *(pattern.text for pattern in one.patterns),
            *(step.text for step in one.steps),
        ]
    for text in wanted:
        assert " ".join(text.split()) in flat
    assert as_json(rule)["name"] == name


@each("name", NAMES)
def test_every_edit_carries_its_rule_its_reason_and_the_line_it_stands_on(name):
    rule = rule_named(name)
    example = next(example for example in rule.examples if example.after is not None)
    outcome = plan(rule, circuit(example.before), dict(example.arguments))
    for edit in outcome.edits:
        assert edit.rule == name
        assert edit.reason.startswith(rule.says.rstrip("."))
        assert edit.place.file == f"{name}.rule"
        assert edit.place.line > 1


def test_a_conversion_that_kills_says_so():
    cautions = " ".join(
        caution
        for name in ("remove-rectifier", "remove-filter", "release-line-cord", "reuse-power-switch")
        for one in rule_named(name).passes
        for caution in one.cautions
    ).lower()
    for word in ("discharge", "measure", "line voltage"):
        assert word in cautions

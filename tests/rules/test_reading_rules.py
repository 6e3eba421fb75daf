"""A rule file read: every mistake told once with its place, nothing half read; rules found by name;
what a plan may be told.
"""

from __future__ import annotations

import pytest
from sets import PAGER, circuit

from rework.circuit.edits import replay
from rework.rules import catalogue
from rework.rules.manual import manual
from rework.rules.reader import read_rule
from rework.rules.rewrite import Applied, NothingToDo, Refused, plan
from rework.rules.vocabulary import VOCABULARY, words

GOOD = """
rule my-bypass
  says "Take out the bypass"
  why  "It leaks."
  sure "bookkeeping"
  with least = 1k, name = none
  for each
    ?C capacitor|resistor : ?m -- ?x     # either will do
  unless
    ?D electrolytic : ?m -- ?x
  where ?m is line
    and (?x is metal or not ?x is common)
  need ?C is on board else "{C} is not on the board: see {name}."
  then
    remove ?C
    fit R# resistor {least} : ?m -- ?x
  caution "Mind {C}."
"""


def read(text: str):
    return read_rule(text.encode(), file="mine.rule")


def rule(text: str):
    found, problems = read(text)
    assert found is not None, [
        (str(problem.place), problem.message, problem.hint) for problem in problems
    ]
    return found


def test_a_rule_is_read_whole():
    found = rule(GOOD)
    (one,) = found.passes
    assert (found.name, found.sure, one.quantifier) == ("my-bypass", "bookkeeping", "for each")
    assert one.patterns[0].kinds == ("capacitor", "resistor")
    assert [step.verb for step in one.steps] == ["remove", "fit"]
    assert "Mind {C}." in manual(found)


MISTAKES = [
    (
        "?C capacitor|resistor",
        "?C capasitor",
        "there is no kind of part called capasitor",
        "did you mean capacitor?",
    ),
    ("remove ?C", "remvoe ?C", "a rule has no edit called remvoe", "did you mean remove?"),
    ("remove ?C", "remove", "", ""),
    ("remove ?C", "cut ?C ?m", "cut is not written like this", ""),
    ("remove ?C", "remove ?Q", "no pattern in this pass binds ?Q", "?C"),
    (
        "?m is line",
        "?m is chasis",
        "?m is chasis is not a known condition",
        "did you mean ... is chassis?",
    ),
    (
        "?m is line",
        "{name} is chasis",
        "{name} is chasis is not a known condition",
        "did you mean ... is chassis?",
    ),
    (
        "?m is line",
        "?m is mains-tide",
        "?m is mains-tide is not a known condition",
        "did you mean ... is mains-tied?",
    ),
    ("?m is line", "?z is line", "no pattern in this pass binds ?z", ""),
    ("{least}", "{most}", "the rule has no parameter most", ""),
    ('sure "bookkeeping"', 'sure "quite"', "quite is not a degree of sureness", ""),
    ('  why  "It leaks."\n', "", 'the rule has no line: why "..."', ""),
    ("  for each\n", "  for all\n", "for all does not begin a pass", ""),
    ("rule my-bypass", "rules my-bypass", "", ""),
    ("?m is line\n    and (", "?m is line\n    and ((", "", ""),
    ("fit R# resistor", "fit R# resistor 1k : A -- B : C -- D", "", ""),
    ('"Mind {C}."', '"Mind {C}.', "a quotation mark is opened and not closed", ""),
]


@pytest.mark.parametrize(("right", "wrong", "message", "hint"), MISTAKES)
def test_a_mistake_is_told_with_its_place_and_the_rule_is_not_used(right, wrong, message, hint):
    assert right in GOOD
    found, problems = read(GOOD.replace(right, wrong, 1))
    told = [problem for problem in problems if message in problem.message]
    assert found is None
    assert told, [problem.message for problem in problems]
    assert all(
        problem.place and problem.place.file == "mine.rule" and problem.place.line >= 1
        for problem in problems
    )
    assert hint in told[0].hint
    assert not any(
        word in problem.message + problem.expected
        for problem in problems
        for word in ("ALTERNATIVE", "VARIABLE", "$END")
    )


def test_several_mistakes_are_told_in_one_go():
    text = (
        GOOD.replace("remove ?C", "remvoe ?C")
        .replace("?C capacitor|resistor", "?C capasitor")
        .replace('"bookkeeping"', '"quite"')
    )
    _, problems = read(text)
    assert len({problem.place.line for problem in problems}) >= 3
    assert [problem.place.line for problem in problems] == sorted(
        problem.place.line for problem in problems
    )


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\x00\x01\x02",
        b"\xff\xfe\x00",
        b"rule",
        b"example",
        b"rule x\n" * 50,
        "rule \u0430-b\n".encode(),
        b'rule a-b\n says "x"\n for each\n  ?C capacitor : ?m --\n',
        b"then\n remove ?C\n",
        b"where " + b"(" * 3000,
    ],
)
def test_what_is_no_rule_gives_problems_and_no_rule(data):
    found, problems = read_rule(data, file="junk.rule")
    assert found is None
    assert problems


def test_a_rule_of_ones_own_is_found_beside_the_job(tmp_path):
    (tmp_path / "my-bypass.rule").write_text(GOOD)
    found, problems = catalogue.load("my-bypass", tmp_path)
    assert found is not None
    assert not problems
    assert "my-bypass" in catalogue.available(tmp_path)
    assert "my-bypass" not in catalogue.available()


def test_a_rule_with_the_name_of_a_built_in_one_is_an_error(tmp_path):
    (tmp_path / "release-line-cord.rule").write_text(GOOD.replace("my-bypass", "release-line-cord"))
    found, problems = catalogue.load("release-line-cord", tmp_path)
    assert found is None
    assert "built in" in problems[0].message
    assert problems[0].hint


def test_a_rule_whose_file_has_another_name_is_an_error(tmp_path):
    (tmp_path / "other.rule").write_text(GOOD)
    found, problems = catalogue.load("other", tmp_path)
    assert found is None
    assert "calls itself my-bypass" in problems[0].message


def test_a_rule_that_is_not_there_brings_the_nearest():
    found, problems = catalogue.load("release-line-chord")
    assert found is None
    assert problems[0].hint == "did you mean release-line-cord?"


def test_no_rule_file_outside_the_folder_is_read(tmp_path):
    (tmp_path / "a.rule").write_text(GOOD)
    inner = tmp_path / "inner"
    inner.mkdir()
    assert catalogue.load("../a", inner)[0] is None


def test_every_word_for_conditions_is_explained():
    assert len(words()) == len(VOCABULARY)
    assert all(means.endswith(".") or "``" in means for _, means in words())


# what a plan is told, and what it does

SIMPLE = """
rule my-cut
  says "Take two out"
  why "x"
  sure "bookkeeping"
  with who
  {quantifier}
    {pattern}
  then
    {steps}
"""


def simple(pattern="{who} resistor : ?a -- ?b", steps="remove {who}", quantifier="find one"):
    return rule(
        SIMPLE.replace("{quantifier}", quantifier)
        .replace("{pattern}", pattern)
        .replace("{steps}", steps)
    )


BOARD = "R1 resistor 1k : A -- B\nR2 resistor 2k : A -- B\nC1 capacitor 1n : A -- B\n"


def test_a_parameter_that_is_missing_or_strange_is_told():
    assert plan(simple(), circuit(BOARD)) == Refused(
        ("my-cut needs who: write apply my-cut : who=...",)
    )
    outcome = plan(simple(), circuit(BOARD), {"who": "R1", "whom": "R2"})
    assert outcome == Refused(("my-cut takes no whom; did you mean who?",))


def test_find_one_wants_one():
    outcome = plan(simple("?R resistor : ?a -- ?b", "remove ?R"), circuit(BOARD), {"who": "x"})
    assert isinstance(outcome, Refused)
    assert "R1, R2" in outcome.reasons[0]


def test_a_rule_that_cannot_be_done_to_its_end_is_not_begun():
    board = circuit(BOARD)
    outcome = plan(simple(steps="remove {who}\n    cut C1"), board, {"who": "R1"})
    assert isinstance(outcome, Refused)
    assert "C1" in outcome.reasons[0]
    assert board == circuit(BOARD)


def test_new_parts_take_numbers_that_nothing_had():
    outcome = plan(
        simple(
            steps=(
                "remove {who}\n    fit R# resistor 5k : ?a -- ?b\n    fit R# resistor 6k : ?a -- ?b"
            )
        ),
        circuit(BOARD),
        {"who": "R2"},
    )
    assert isinstance(outcome, Applied)
    assert {part.name for part in outcome.after.parts} == {"R1", "C1", "R3", "R4"}


def test_conditions_are_asked_of_the_circuit_as_it_was():
    both = rule("""
rule my-two
  says "Take both out"
  why "x"
  sure "bookkeeping"
  for each
    ?R resistor : ?a -- ?b
  then
    remove ?R
  for each
    ?C capacitor : ?a -- ?b
    ?R resistor : ?a -- ?b
  then
    remove ?C
""")
    outcome = plan(both, circuit(BOARD))
    assert isinstance(outcome, Applied)
    assert outcome.after.parts == ()


def test_the_same_part_taken_out_twice_is_taken_out_once():
    pair = rule("""
rule my-pairs
  says "Take out resistors side by side"
  why "x"
  sure "bookkeeping"
  for each
    ?R resistor : ?a -- ?b
    ?C capacitor : ?a -- ?b
  then
    remove ?C
""")
    outcome = plan(pair, circuit(BOARD))
    assert isinstance(outcome, Applied)
    assert [type(edit.action).__name__ for edit in outcome.edits] == ["RemovePart"]
    assert replay(circuit(BOARD), outcome.edits) == outcome.after


def test_unless_keeps_a_rule_away():
    lonely = rule("""
rule my-lonely
  says "Take out a resistor with no capacitor beside it"
  why "x"
  sure "bookkeeping"
  for each
    ?R resistor : ?a -- ?b
  unless
    ?C capacitor : ?a -- ?b
  then
    remove ?R
""")
    assert isinstance(plan(lonely, circuit(BOARD)), NothingToDo)
    assert isinstance(
        plan(
            lonely,
            circuit(
                BOARD.replace(
                    "C1 capacitor 1n : A -- B",
                    "C1 capacitor 1n : A -- N\nR9 resistor 1 ohm : A -- N",
                )
            ),
        ),
        Applied,
    )


def test_a_pin_may_stand_for_a_node():
    leak = rule("""
rule my-leak
  says "Take out the grid leak"
  why "x"
  sure "bookkeeping"
  for each
    ?V tube : cathode=?k
    ?R resistor : ?V.grid -- ?k
  then
    remove ?R
""")
    outcome = plan(leak, circuit(PAGER))
    assert isinstance(outcome, Applied)
    assert {
        edit.action.name for edit in outcome.edits if type(edit.action).__name__ == "RemovePart"
    } == {"R6", "R10"}

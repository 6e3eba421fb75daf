"""The manual is held to the program: examples are run, tables are those of the program, messages are found."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
from shown_steps import not_said, steps_in

from rework.circuit.kinds import KINDS
from rework.cli import main
from rework.commands.answers.shape import SHAPES
from rework.commands.parser import COMMANDS, EXIT_STATUSES
from rework.language.files import Refusal, wanted_circuit
from rework.language.job import JOB_KEYWORDS, read_job
from rework.language.mistakes import MISTAKES
from rework.language.reader import CIRCUIT_KEYWORDS
from rework.language.resolve import read_circuit
from rework.language.spellings import KIND_NAMES, OFTEN_MEANT, WORDS
from rework.language.units import UNITS
from rework.manual import tables
from rework.manual.blocks import ManualExample, read_blocks
from rework.manual.book import TOPICS, source
from rework.manual.find import places, remedies
from rework.manual.roff import man_page
from rework.manual.web import html_page
from rework.rules.catalogue import builtin_names, read_file
from rework.rules.syntax import STARTS
from rework.rules.verbs import MEANS
from rework.rules.vocabulary import VOCABULARY
from rework.safety.check import check
from rework.tubes import library

ROOT = Path(__file__).parents[2]
EXAMPLES = [
    (topic.name, block)
    for topic in TOPICS
    for block in read_blocks(source(topic.name))  # tables hold no examples, and take long
    if isinstance(block, ManualExample)
]
STEPS = [
    (name, step)
    for name, block in EXAMPLES
    if block.language == "console"
    for step in steps_in([block.text])
]


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("lesson")


@pytest.mark.parametrize("step", STEPS, ids=lambda step: f"{step[0]}: {step[1].splitlines()[0]}")
def test_what_a_step_shows_is_what_the_program_says(step, bench, monkeypatch, capsys):
    """In the order of the manual, in one folder: a later step finds what an earlier one wrote."""
    monkeypatch.chdir(bench)
    monkeypatch.setenv("COLUMNS", "90")
    command, *shown = step[1].splitlines()
    main(shlex.split(command.removeprefix("$ rework ")))
    assert not_said(shown, capsys.readouterr().out.splitlines()) == ""


@pytest.mark.parametrize(
    ("name", "block"),
    [(name, block) for name, block in EXAMPLES if block.language in ("circuit", "job", "rule")],
    ids=lambda value: value if isinstance(value, str) else value.language,
)
def test_an_example_of_a_file_is_read_without_a_problem(name, block, tmp_path):
    if block.language == "circuit":
        circuit, problems = read_circuit(block.text, file="example.circuit")
    elif block.language == "job":
        circuit, problems = read_job(block.text.encode(), file="example.job")
    else:
        path = tmp_path / f"{block.text.split()[1]}.rule"
        path.write_text(block.text, encoding="utf-8")
        circuit, problems = read_file(path)
    assert problems == ()
    assert circuit is not None


def test_no_example_is_wider_than_a_terminal():
    wide = [
        (name, line)
        for name, block in EXAMPLES
        for line in block.text.splitlines()
        if len(line) > 95
    ]
    assert wide == []


def test_every_word_that_the_program_reads_is_in_the_manual():
    text = html_page()
    words = [
        *KINDS, *UNITS, *KIND_NAMES, *WORDS, *OFTEN_MEANT, *MEANS, *CIRCUIT_KEYWORDS, *JOB_KEYWORDS, *STARTS,
        *builtin_names(), *library.types(), *(phrase.split("_ ")[1].strip(" _") for phrase in VOCABULARY if phrase != "_ is _"),
        *(f"rework {name}" for name in COMMANDS), *(f"rework {name} --json" for name in SHAPES),
        *map(str, EXIT_STATUSES),
    ]  # fmt: skip
    assert [word for word in words if word not in text] == []


def test_the_words_of_statements_are_those_of_the_readers():
    assert set(tables.STATEMENTS) == set(CIRCUIT_KEYWORDS)
    assert set(tables.OF_A_JOB) == set(JOB_KEYWORDS)
    assert set(tables.OF_A_RULE) == set(STARTS)


def problems_of(text: str) -> tuple:
    return read_circuit(f'circuit "x"\nmains 117 V 60 Hz\n{text}\n', file="x.circuit")[1]


@pytest.mark.parametrize(
    "text",
    [
        *(line for mistake in MISTAKES for line in mistake.examples),
        "R1 resistor 220k : A -- B",
        "R1 resistor 220k 5 H : A -- A",
        "R1 resitor 220k : A -- A",
        "R1 resistor 8 M : A -- A",
        "V1 tube 12AU6 : plat=A, grid=A",
        "V1 tube 12AX8 : 1=A, 2=A",
        "R1 resistor 1k : A -- A\nR1 resistor 2k : A -- A",
        "C1 capacitor 5 : A -- A",
        "P1 plug : live=A, neutral=A",
        "R1 resistor 1k A -- A",
        "tuchable A",
        "R1 rectifier : A -- A",
    ],
)
def test_a_message_about_a_file_is_found_with_its_remedy(text):
    for problem in problems_of(text):
        found = remedies(problem.message)
        assert found, problem.message
        if problem.hint:
            assert any(message.remedy for message in found), (problem.message, problem.hint)


def test_a_caution_of_the_check_is_found():
    silent = []
    for path in sorted((ROOT / "tests" / "cases").glob("*.circuit")):
        try:
            circuit, _ = wanted_circuit(path)
        except Refusal:
            continue
        silent += [one.message for one in check(circuit).cautions if not remedies(one.message)]
    assert sorted(set(silent)) == []


def test_words_are_found_in_every_topic(capsys):
    assert (
        "readings",
        "Ohms are measured with the plug out and every capacitor discharged.",
    ) in places("ohms plug out")
    assert main(["manual", "ohms", "plug", "out"]) == 0
    assert "rework manual readings" in capsys.readouterr().out


def test_a_topic_that_there_is_not_is_refused_with_the_list(capsys):
    assert main(["manual", "no-such-thing-anywhere"]) == 2
    assert "first-set" in capsys.readouterr().err


def test_the_topics_are_listed(capsys):
    assert main(["manual"]) == 0
    out = capsys.readouterr().out
    assert all(f"rework manual {topic.name}" in out for topic in TOPICS)


def test_a_long_page_goes_to_the_pager_of_the_terminal_only(monkeypatch, capsys, tmp_path):
    kept = tmp_path / "page.txt"
    monkeypatch.setenv("PAGER", f"tee {kept}")
    main(["manual", "kinds"])
    assert not kept.exists()
    monkeypatch.setattr("sys.stdout.isatty", lambda: True, raising=False)
    main(["manual", "kinds"])
    assert "electrolytic" in kept.read_text()


def test_the_page_needs_nothing_else_and_the_man_page_has_only_known_requests(tmp_path, capsys):
    assert main(["manual", "--html", str(tmp_path), "--man", str(tmp_path)]) == 0
    text = (tmp_path / "manual.html").read_text(encoding="utf-8")
    assert not re.search(r"""(?:src|href)=["'](?!#)""", text)
    assert all(f'<section id="{topic.name}">' in text for topic in TOPICS)
    requests = {line.split()[0] for line in man_page().splitlines() if line.startswith((".", "'"))}
    assert requests == {".TH", ".SH", ".SS", ".B", ".PP", ".IP", ".EX", ".EE", ".TP"}
    assert main(["manual", "--html", str(tmp_path)]) == 2, "nothing is overwritten"

"""Sentences that people read: no word of a private register, and cautions and steps that one understands at once.

Reading grade: J. P. Kincaid et al. 1975, Derivation of new readability formulas for Navy enlisted personnel,
0.39 words/sentence + 11.8 syllables/word - 15.59. Syllables are the larger of the hyphenation points (pyphen,
dictionaries of Hunspell) and the groups of vowels, so that the grade is rather too high than too low.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pyphen
import pytest
from each import each

from rework.manual.messages import GAP, messages
from rework.papers.work import work_order
from rework.rules.catalogue import builtin_names, load
from rework.rules.job_file import run_job_file

ROOT = Path(__file__).parents[1]
#: The highest grade of a caution, a remedy and a step.
GRADE = 9.0
#: Words that were this program's own, and what they hide. Use common verbs: be, connect, give, need, print, fix.
REGISTER = re.compile(
    r"a hand would|\bhands go\b|before a hand|in the order of the hands|waits for a finger"
    r"|\bstands? (?:at|on|against|between)\b|\bcannot stand\b|stands? more|\bhangs? (?:on|in|by)\b|\bhung on\b"
    r"|\b(?:is|are|be) told\b|\btold apart\b|by the sums|must be mended|\bto mend\b|\bmend(?:ed|s)?\b"
    r"|last word|taken for granted|not a promise|dies away|\bbrings\b|\bwants\b",
    re.IGNORECASE,
)
#: What people read beside the strings of the program.
TEXTS = [
    "README.md",
    "DEVELOPERS.md",
    *(
        str(path.relative_to(ROOT))
        for pattern in (
            "papers/templates/*",
            "page/templates/*",
            "page/static/*.js",
            "page/static/*.html",
        )
        for path in sorted(ROOT.glob(f"rework/{pattern}"))
    ),
    *(str(path.relative_to(ROOT)) for path in sorted(ROOT.glob("rework/manual/text/*.md"))),
    *(str(path.relative_to(ROOT)) for path in sorted(ROOT.glob("rework/rules/builtin/*.rule"))),
    *(str(path.relative_to(ROOT)) for path in sorted(ROOT.glob("rework/commands/skeletons/*"))),
    "rework/circuit/kinds.toml",
]
_HYPHENS = pyphen.Pyphen(lang="en_US")


def strings(path: Path) -> Iterator[tuple[int, str]]:
    """Yield the texts of a module that are no docstrings, with their lines."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    passed = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef | ast.ClassDef | ast.Module)
        and node.body
        and isinstance(node.body[0], ast.Expr)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            passed |= {id(piece) for piece in node.values}
            yield (
                node.lineno,
                "".join(
                    str(piece.value) if isinstance(piece, ast.Constant) else GAP
                    for piece in node.values
                ),
            )
        elif (
            isinstance(node, ast.Constant)
            and isinstance(node.value, str)
            and id(node) not in passed
        ):
            yield node.lineno, node.value


def test_no_text_of_the_program_is_in_a_register_of_its_own():
    found = [
        f"{path.relative_to(ROOT)}:{line}: {hit.group(0)}: {text.strip()[:90]}"
        for path in sorted((ROOT / "rework").rglob("*.py"))
        for line, text in strings(path)
        if text.count(" ") > 1 and (hit := REGISTER.search(text))
    ]
    assert found == []


@each("name", TEXTS)
def test_no_page_is_in_a_register_of_its_own(name):
    lines = (ROOT / name).read_text(encoding="utf-8").splitlines()
    found = [
        f"{number}: {hit.group(0)}"
        for number, line in enumerate(lines, 1)
        if (hit := REGISTER.search(line))
    ]
    assert found == []


def syllables(word: str) -> int:
    groups = len(re.findall(r"[aeiouy]+", word.lower()))
    silent = word.lower().endswith("e") and not word.lower().endswith("le") and groups > 1
    return max(1, groups - silent, len(_HYPHENS.inserted(word.lower()).split("-")))


def grade(text: str) -> float:
    """Return the reading grade of a text; 0 where it is no sentence."""
    sentences = [one for one in re.split(r"[.:;!?](?:\s|$)", text) if one.strip()]
    words = re.findall(r"[A-Za-z]+(?:'[a-z]+)?", text)
    if len(words) < 4:
        return 0.0
    return (
        0.39 * len(words) / len(sentences) + 11.8 * sum(map(syllables, words)) / len(words) - 15.59
    )


@each(
    ("text", "printed"),
    [
        ("The cat sat on the mat.", -1.45),  # six words of one syllable: 2.34 + 11.8 - 15.59
        ("Discharge the capacitor before you touch it.", 7.37),  # seven words, twelve syllables
    ],
)
def test_the_grade_is_that_of_the_formula(text, printed):
    assert grade(text) == pytest.approx(printed, abs=0.01)


def hard(texts: dict[str, str]) -> list[str]:
    return [
        f"{grade(text):.1f} {where}: {text}" for where, text in texts.items() if grade(text) > GRADE
    ]


def test_rules_are_understood_at_once():
    texts = {}
    for name in builtin_names():
        rule = load(name)[0]
        texts[name] = rule.says
        texts |= {
            f"{name} caution {at}": text
            for at, text in enumerate(c for one in rule.passes for c in one.cautions)
        }
    assert hard(texts) == []


def test_cautions_and_remedies_of_the_check_are_understood_at_once():
    texts = {}
    for one in messages():
        if one.about == "the mains check":
            texts[one.text] = one.text.replace(GAP, "V1")
            texts |= {text: text.replace(GAP, "V1") for text in one.remedy.split(" / ")}
    assert hard(texts) == []


def test_steps_of_the_work_order_are_understood_at_once():
    """Without the values of the part, and without the title of a chassis: they are labels."""
    texts = {}
    for path in sorted((ROOT / "circuits").glob("*/*.job")):
        for group in work_order(run_job_file(str(path))):
            for step in group.steps:
                what = "" if step.lines else step.what.partition(",")[0]
                texts |= {text: text for text in (what, step.check, *step.cautions)}
    assert hard(texts) == []

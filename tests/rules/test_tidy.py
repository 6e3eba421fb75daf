"""Jobs and rules in order: blanks and columns change, no word does, and twice is as once."""

from __future__ import annotations

from pathlib import Path

import pytest

from rework.rules.tidy import tidied

ROOT = Path(__file__).parent.parent.parent
FILES = sorted(
    [*(ROOT / "rework" / "rules" / "builtin").glob("*.rule"), *(ROOT / "circuits").glob("*/*.job")]
)

JOB = """job   "A horn"
circuit "horn.circuit"   # as found


apply   exchange-tube:tube=V1 ,type = 6BA6  # a twin
apply bond-common#1
   reading V1.plate   90 V   "at   night"
attach "supply.circuit"  as SUPPLY:bplus=B1,
  common = COMMON
"""
TIDY_JOB = """job "A horn"
circuit "horn.circuit"  # as found

apply exchange-tube : tube=V1, type=6BA6  # a twin
reading V1.plate 90 V "at   night"
attach "supply.circuit" as SUPPLY : bplus=B1,
    common=COMMON
"""
RULE = """rule take-out-wet
 says "Take out a wet capacitor"
 why "It   leaks."
 sure   "bookkeeping"
 with a,b=2 k
 for each
   ?C electrolytic:?p -- ?m # the can
   ?R10 resistor 1k: ?p--?q
   where ?p is a node
       and ?m is a node
 then
     remove   ?C
  caution   "Discharge {a} first."
"""
TIDY_RULE = """rule take-out-wet
  says "Take out a wet capacitor"
  why  "It   leaks."
  sure "bookkeeping"
  with a, b = 2 k
  for each
    ?C    electrolytic : ?p -- ?m  # the can
    ?R10  resistor 1k  : ?p -- ?q
  where ?p is a node
    and ?m is a node
  then
    remove ?C
  caution "Discharge {a} first."
"""


def bare(text):
    return "".join(text.split())


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.name)
def test_no_word_changes_and_twice_is_as_once(file):
    text = file.read_text(encoding="utf-8")
    even, problems = tidied(text, file.name)
    assert problems == ()
    assert bare(even) == bare(text)
    assert tidied(even, file.name) == (even, ())


def test_a_job_has_its_blanks_and_comments_even():
    assert tidied(JOB.replace("apply bond-common#1\n", ""), "horn.job") == (TIDY_JOB, ())


def test_a_rule_has_its_clauses_under_its_name_and_its_patterns_in_columns():
    assert tidied(RULE, "wet.rule") == (TIDY_RULE, ())


@pytest.mark.parametrize(("text", "file"), [("aply x\n", "a.job"), ("rule a\n  sys 1\n", "a.rule")])
def test_what_cannot_be_read_is_left_alone(text, file):
    even, problems = tidied(text, file)
    assert even is None
    assert problems

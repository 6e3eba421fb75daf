"""Feedback from the speaker with its leads the right way round and reversed: what is said, and that
what is said to do about it was tried.
"""

from pathlib import Path

import pytest

from rework.language.files import wanted_circuit
from rework.solve.signal import signal
from rework.solve.signal_words import stability_rows

CASES = Path(__file__).parents[1] / "cases"


def told(name: str):
    return signal(wanted_circuit(CASES / f"{name}.circuit")[0])


@pytest.fixture(scope="module")
def reversed_():
    return told("feedback-leads-reversed")


def test_leads_reversed_are_recognised_and_the_cure_is_to_exchange_them(reversed_):
    assert [loop.part for loop in reversed_.feedback if loop.is_reversed] == ["RF2"]
    assert {remedy.kind for remedy in reversed_.remedies} == {"leads"}
    (cure,) = reversed_.remedies
    assert cure.part == "T1"
    assert (cure.node, cure.farads) == ("RF2", pytest.approx(47e-12))  # it squeals without
    words = " ".join(text for row in stability_rows(reversed_) for text in row)
    assert "exchange the two secondary leads of T1" in words
    assert "47 pF across RF2" in words
    assert "18 kohm" not in words


def test_the_cure_gives_what_the_right_way_round_gives(reversed_):
    right = told("feedback-right-way")
    assert not any(loop.is_reversed for loop in right.feedback)
    assert reversed_.gain == pytest.approx(right.gain, rel=1e-3)
    assert reversed_.output_ohms == pytest.approx(right.output_ohms, rel=1e-3)
    assert right.output_resistance > 0


def test_positive_feedback_that_is_stable_is_told_too():
    tamed = told("feedback-reversed-tamed")
    assert not tamed.grows
    (loop,) = (loop for loop in tamed.feedback if loop.is_reversed)
    assert loop.with_it > 10 * loop.without_it
    assert tamed.output_resistance < 0
    assert [remedy.kind for remedy in tamed.remedies][:1] == ["leads"]
    words = " ".join(text for row in stability_rows(tamed) for text in row)
    assert "reversed" in words

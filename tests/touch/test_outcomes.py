"""What ends a fault, in words: each ending once, with its figures."""

from __future__ import annotations

import math

import pytest

from rework.touch.outcomes import Ended, Rank, ended_words


def fused(amps=3.0, rating=0.5, seconds=120.0, breaks=35.0) -> Ended:
    return Ended(12.0, "F1", amps, rating, seconds, breaks, "UL 248-14")


UNFUSED = Ended(12.0)
METAL = "; until then the metal is at 55 V"
TOO_MUCH = (
    "F1 would have to break 50 A and can break 35 A (UL 248-14): fit one of high breaking capacity"
    " (1500 A, ceramic)"
)


@pytest.mark.parametrize(
    ("rank", "ended", "words", "metal"),
    [
        (Rank.UNDER, fused(), "nothing to clear", ""),
        (Rank.CLEARED, UNFUSED, "a fuse of the set opens", METAL),
        (Rank.CLEARED, fused(amps=50.0), "a fuse of the set opens", METAL),
        (
            Rank.CLEARED,
            fused(),
            "F1 opens within 120 s (3 A, rating 0.5 A, UL 248-14)",
            METAL,
        ),
        (Rank.BREAKER, fused(), "only the breaker of the building, 12 A", METAL),
        (
            Rank.BREAKER,
            fused(amps=50.0),
            f"only the breaker of the building, 12 A, {TOO_MUCH}",
            METAL,
        ),
        (Rank.OVER, UNFUSED, "nothing: there is no fuse; 12 A from the outlet", ""),
        (Rank.OVER, fused(rating=0.0), "not known: F1 has no rating written", ""),
        (Rank.OVER, fused(amps=50.0), f"nothing: {TOO_MUCH}", ""),
        (
            Rank.OVER,
            fused(),
            "nothing in time: F1 may take 120 s, or the current goes on after it has opened",
            "",
        ),
        (
            Rank.OVER,
            fused(seconds=math.inf),
            "nothing: F1 carries 3 A (rating 0.5 A)",
            "",
        ),
    ],
)
def test_what_ends_a_fault_is_told_with_its_figures(rank, ended, words, metal):
    assert ended_words(rank, rank, ended, 0.0) == words
    assert ended_words(rank, rank, ended, 55.0) == words + metal


def test_direct_current_of_the_isolated_side_is_ended_by_no_fuse():
    words = "nothing: the direct current flows on the isolated side, where no fuse carries it"
    assert ended_words(Rank.OVER, Rank.CLEARED, fused(), 55.0) == words

"""The design: needs, sieve, exact solution of what is left, ranked; and where nothing does, which
need fails and by how much.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from rework.solve.network import CannotSolve
from rework.supply.amplifier import Amplifier
from rework.supply.choose import choice_of
from rework.supply.evaluate import Candidate, evaluated
from rework.supply.filters import filters
from rework.supply.needs import Needs
from rework.supply.needs import needs as needs_of
from rework.supply.screen import sieve
from rework.supply.sources import Wishes, sources
from rework.supply.stock import Shelf


@dataclass(frozen=True)
class Design:
    """What was found: the needs, how many pairs were sieved, the candidates solved, the best first,
    and what was left out and why.
    """

    needs: Needs
    pairs: int
    candidates: tuple[Candidate, ...]
    left_out: tuple[str, ...]

    @property
    def chosen(self) -> Candidate | None:
        """The best candidate that meets every need and rating, None where none does."""
        return self.candidates[0] if self.candidates and not self.candidates[0].unmet else None


def design(
    amp: Amplifier,
    shelf: Shelf,
    *,
    wants: Mapping[str, float] | None = None,
    wishes: Wishes | None = None,
    sieving: Callable[[int], None] | None = None,
    solving: Callable[[int], None] | None = None,
    needs: Needs | None = None,
) -> Design:
    """Return the design for an amplifier from a stock list.

    Raises CannotSolve where the amplifier has no numbers.

    ``wants`` fixes needs; ``sieving`` gets pairs done, ``solving`` candidates done.
    """
    wishes = wishes or Wishes()
    needs = needs or needs_of(amp, wants)
    amp = amp.on_line(needs.mains.volts)
    rough, pairs, left_out = sieve(shelf, needs, wishes, sieving)
    choices = [choice_of(pair, shelf, wishes, needs) for pair in rough]
    results = evaluated(choices, amp, needs, shelf, fused=wishes.bplus_fuse, step=solving)
    candidates = [result for result in results if isinstance(result, Candidate)]
    failed = [
        f"{choice.form} with {choice.transformer.name}: {result}"
        for choice, result in zip(choices, results, strict=True)
        if isinstance(result, CannotSolve)
    ]
    ranked = sorted(candidates, key=lambda candidate: candidate.order(needs))
    return Design(needs, pairs, tuple(ranked), (*left_out, *failed))


def pairs_to_sieve(shelf: Shelf, needs: Needs, wishes: Wishes) -> int:
    """Return how many pairs of transformer and filter the sieve will look at."""
    return len(sources(shelf, needs, wishes)[0]) * len(filters(shelf, wishes))

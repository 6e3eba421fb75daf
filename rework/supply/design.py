"""The design: needs, sieve, exact solution of what is left, ranked; and where nothing does, which
need fails and by how much.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from rework.supply.amplifier import Amplifier
from rework.supply.choose import choice_of
from rework.supply.evaluate import Candidate, evaluated
from rework.supply.needs import Needs
from rework.supply.needs import needs as needs_of
from rework.supply.screen import filters, sieve
from rework.supply.shelf import Shelf
from rework.supply.sources import Wishes, sources


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
    rough, pairs, told = sieve(shelf, needs, wishes, sieving)
    choices = [choice_of(one, shelf, wishes, needs) for one in rough]
    found, left = [], list(told)
    for choice, one in zip(
        choices,
        evaluated(choices, amp, needs, shelf, bplus_fuse=wishes.bplus_fuse, step=solving),
        strict=True,
    ):
        if isinstance(one, Candidate):
            found.append(one)
        else:
            left.append(f"{choice.form} with {choice.transformer.name}: {one}")
    return Design(
        needs,
        pairs,
        tuple(sorted(found, key=lambda candidate: candidate.order(needs))),
        tuple(left),
    )


def pairs_to_sieve(shelf: Shelf, needs: Needs, wishes: Wishes) -> int:
    """Return how many pairs of transformer and filter the sieve will look at."""
    return len(sources(shelf, needs, wishes)[0]) * len(filters(shelf, wishes))

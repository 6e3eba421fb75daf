"""What parts cost by the price list of the job, and what the whole job costs against what the set
is then worth.
"""

from __future__ import annotations

from dataclasses import dataclass

from rework.circuit.parts import Part
from rework.language.job import Job
from rework.supply.pricing import item_for
from rework.supply.stock import Shelf


@dataclass(frozen=True, slots=True)
class Cost:
    """The sum of a job in its currency; None where something for it is not stated.

    ``unpriced`` names the parts the list does not have.
    """

    currency: str
    parts: float | None
    unpriced: tuple[str, ...]
    labour: float | None
    worth: float | None

    @property
    def total(self) -> float | None:
        """Labour and priced parts, None where the labour is not known or no list was named."""
        return None if self.labour is None or self.parts is None else self.labour + self.parts

    def money(self, amount: float | None) -> str:
        """Return an amount with its currency; ``not stated`` for None."""
        return "not stated" if amount is None else f"{amount:,.2f} {self.currency}".strip()

    @property
    def verdict(self) -> str:
        """Return in one sentence what the set is worth beside its cost; nothing where unknown."""
        known = [amount for amount in (self.labour, self.parts) if amount is not None]
        if self.worth is None or not known:
            return ""
        whole = self.total is not None and not self.unpriced
        spent = self.money(sum(known)) if whole else f"at least {self.money(sum(known))}"
        if sum(known) > self.worth:
            return (
                f"The work costs {spent}; the set will be worth about {self.money(self.worth)}."
                " The work costs more than the set will be worth."
            )
        return f"The work costs {spent}; the set will be worth about {self.money(self.worth)}."


def cost(job: Job, parts: tuple[Part, ...], shelf: Shelf | None) -> Cost:
    """Return what a job costs that fits ``parts``; labour in its hours at its rate."""
    priced = [(part, item_for(part, shelf)) for part in parts]
    currency = next((money.currency for money in (job.rate, job.worth) if money is not None), "")
    return Cost(
        currency,
        sum(item.price or 0.0 for _, item in priced if item) if shelf else None,
        tuple(part.name for part, item in priced if item is None),
        (
            job.labour / 3600 * job.rate.amount
            if job.labour is not None and job.rate is not None
            else None
        ),
        job.worth.amount if job.worth is not None else None,
    )

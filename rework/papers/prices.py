"""What parts cost by the price list of the job, and what the whole job costs against what the set
is then worth.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isclose

from rework.circuit.parts import Part
from rework.language.job import Job
from rework.supply.shelf import Item, Shelf

#: A value on the list is the one wanted within this share.
_SAME = 0.01
#: Of each kind: the dimension of its value and of the ratings an item may exceed, by the field of
#: the list.
_VALUE = {
    "electrolytic": "capacitance",
    "resistor": "resistance",
    "pot": "resistance",
    "thermistor": "resistance",
    "choke": "inductance",
    "fuse": "current",
}
_AT_LEAST = {
    "electrolytic": (("voltage", "volts"),),
    "resistor": (("power", "watts"),),
    "pot": (("power", "watts"),),
    "choke": (("current", "amps"),),
    "diode": (("voltage", "volts"), ("current", "amps")),
    "bridge": (("voltage", "volts"), ("current", "amps")),
    "connector": (("voltage", "volts"), ("current", "amps")),
    "switch": (("voltage", "volts"), ("current", "amps")),
    "fuse": (("voltage", "volts"),),
    "transformer": (("apparent-power", "va"),),
}


def item_for(part: Part, shelf: Shelf | None) -> Item | None:
    """Return the cheapest priced item of the list that is this part: same kind and value, ratings
    no lower; None where there is none.
    """
    if shelf is None or part.kind not in shelf.by_kind:
        return None
    fitting = [item for item in shelf.of(part.kind) if item.price is not None and _fits(part, item)]
    return min(fitting, key=lambda item: (item.price, item.name), default=None)


def _fits(part: Part, item: Item) -> bool:
    if part.type and part.kind in ("tube", "diode", "bridge"):
        return item.name == part.type
    if part.kind == "tube":
        return False
    dimension = _VALUE.get(part.kind)
    if dimension:
        wanted, there = part.value(dimension), item.amps if part.kind == "fuse" else item.value
        if wanted is None or there is None or not isclose(wanted, there, rel_tol=_SAME):
            return False
    if part.kind == "fuse" and item.insulation and item.insulation not in part.words:
        return False
    if part.kind == "transformer" and not _wound_alike(part, item):
        return False
    for dimension, name in _AT_LEAST.get(part.kind, ()):
        wanted, there = part.value(dimension), getattr(item, name)
        if wanted is not None and (there is None or there < wanted * (1 - _SAME)):
            return False
    return True


def _wound_alike(part: Part, item: Item) -> bool:
    """True where the item has every winding the part has, of the same volts and no fewer amps."""
    for name, values in part.windings:
        amount = {value.dimension: value.amount for value in values}
        there = item.winding(name)
        if (
            there is None
            or "voltage" not in amount
            or not isclose(there.volts, amount["voltage"], rel_tol=_SAME)
        ):
            return False
        if "current" in amount and (there.amps or 0.0) < amount["current"] * (1 - _SAME):
            return False
    return True


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
        """Return in one sentence whether the set is worth what the job costs."""
        if self.worth is None:
            return (
                "Whether it is worth what it costs is not computed: the job file states no worth,"
                " such as worth 60 USD."
            )
        known = [amount for amount in (self.labour, self.parts) if amount is not None]
        if not known:
            return (
                "Whether it is worth what it costs is not computed: the job file states neither"
                " labour at a rate nor a price list."
            )
        least, whole = sum(known), self.total is not None and not self.unpriced
        amount = self.money(least) if whole else f"at least {self.money(least)}"
        if least > self.worth:
            return (
                f"It costs {amount} and is then worth {self.money(self.worth)}: it is worth less"
                " than it costs."
            )
        if whole:
            return f"It costs {amount} and is then worth {self.money(self.worth)}."
        return (
            f"It costs {amount}, some of it not priced yet, and is then worth"
            f" {self.money(self.worth)}: not decided."
        )


def cost(job: Job, parts: tuple[Part, ...], shelf: Shelf | None) -> Cost:
    """Return what a job costs that fits ``parts``; labour in its hours at its rate."""
    found = [(part, item_for(part, shelf)) for part in parts]
    currency = next((money.currency for money in (job.rate, job.worth) if money is not None), "")
    return Cost(
        currency,
        sum(item.price or 0.0 for _, item in found if item) if shelf else None,
        tuple(part.name for part, item in found if item is None),
        (
            job.labour / 3600 * job.rate.amount
            if job.labour is not None and job.rate is not None
            else None
        ),
        job.worth.amount if job.worth is not None else None,
    )

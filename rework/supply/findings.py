"""The result of one option, as values: the circuit it is, and the rows of the comparison."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from rework.circuit.circuit import Circuit
from rework.circuit.edits import Edit
from rework.supply.bench import RatingLimit


@dataclass(frozen=True, slots=True, eq=False)
class Option:
    """One way to go: its circuit with the edits that made it, or ``why`` there is none.

    ``rail`` and ``back`` are the nodes between which the amplifier has its B+; ``supply`` leads the
    names of what is on a chassis of its own, "" where all is in the old one. ``notes`` is what
    was assumed.
    """

    kind: str
    title: str
    circuit: Circuit | None = None
    edits: tuple[Edit, ...] = ()
    rail: str = ""
    back: str = ""
    supply: str = ""
    isolator: str = ""
    why: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    steps: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Bought:
    """A part to buy, and its price on the stock list (None: not on it)."""

    name: str
    what: str
    price: float | None


@dataclass(frozen=True, slots=True)
class PrimaryLoad:
    """A line transformer: volt-amperes drawn through its primary, its rating (None: not said), mean
    amps in a secondary and the amps that magnetise it.
    """

    name: str
    volt_amps: float
    rated: float | None
    direct_amps: float
    magnetising_amps: float


@dataclass(frozen=True, slots=True, eq=False)
class Findings:
    """The rows of one option, SI; None is not computed, and ``missing`` says why by the name of the
    row.

    ``reach`` of the ``hazards`` are in reach of a hand, ``mend`` what the check wants fixed.
    ``touch`` and ``fault`` are the worst readings of a measuring network, in every state and under
    every single fault of the set (first those that no fuse ends; an outlet that is wired wrong is
    none of the set's; ``fault_direct`` is a direct current through the body); ``unknown`` are the
    values that were missing for them. ``heat`` is drawn from the line, ``heat_old`` the part of it
    in the old cabinet. ``over`` is what is over its rating at that B+, ``assumed`` what the solver
    took for granted of the isolating transformer.
    """

    option: Option
    verdict: str = ""
    hazards: int | None = None
    reach: int | None = None
    mend: tuple[str, ...] = ()
    mind: tuple[str, ...] = ()
    touch: float | None = None
    touch_volts: float | None = None
    touch_where: str = ""
    touch_over: bool = False
    fault: float | None = None
    fault_what: str = ""
    fault_direct: bool = False
    fault_over: bool = False
    fault_verdict: str = ""
    unknown: tuple[str, ...] = ()
    bplus: float | None = None
    watts: float | None = None
    hum: float | None = None
    hum_below: float | None = None
    damping: float | None = None
    swings_at: float | None = None
    grows: tuple[tuple[float, str], ...] = ()
    loads: tuple[PrimaryLoad, ...] = ()
    heat: float | None = None
    heat_old: float | None = None
    string_volts: float | None = None
    balanced: bool | None = None
    over: tuple[RatingLimit, ...] = ()
    bought: tuple[Bought, ...] = ()
    holes: tuple[str, ...] = ()
    pins: int = 0
    wires: int = 0
    cut: tuple[str, ...] = ()
    out: tuple[str, ...] = ()
    kept: int = 0
    of: int = 0
    assumed: tuple[str, ...] = ()
    missing: Mapping[str, str] = field(default_factory=dict)

    @property
    def price(self) -> float:
        """The sum of what is on the list."""
        return round(sum(bought.price for bought in self.bought if bought.price is not None), 2)

    @property
    def unpriced(self) -> tuple[str, ...]:
        """What is not on the list."""
        return tuple(
            f"{bought.name} {bought.what}" for bought in self.bought if bought.price is None
        )

    @property
    def reversible(self) -> str:
        """Whether it can be undone, in words."""
        if not self.option.edits:
            return "nothing was done"
        stays = [
            f"{len(names)} {word}{'s' if len(names) > 1 else ''}{more}"
            for names, word, more in ((self.cut, "trace", " cut"), (self.holes, "hole", ""))
            if names
        ]
        return "yes" if not stays else "except for " + " and ".join(stays)

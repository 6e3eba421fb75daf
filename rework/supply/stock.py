"""The stock list as values: a dataclass for each kind of part, everything in SI units."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from typing import TypeVar

from rework.circuit.place import Place

#: Highest temperature in degrees Celsius that each class of insulation stands for life: IEC 60085
#: (from memory; the standard was not seen).
CLASSES = {"A": 105.0, "E": 120.0, "B": 130.0, "F": 155.0, "H": 180.0}
#: The name of a part that is not on the list and has to be ordered.
TO_ORDER = "not on the list"


@dataclass(frozen=True, slots=True)
class StockWinding:
    """A winding: volts RMS over its whole length with nothing connected, amps RMS (None: not said),
    ohms, and whether its middle is brought out.
    """

    name: str
    volts: float
    amps: float | None
    ohms: float
    tapped: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class StockItem:
    """What every line of the list says: a name, a price (None: not said), a note."""

    name: str = TO_ORDER
    price: float | None = None
    note: str = ""
    place: Place | None = field(default=None, compare=False)

    @property
    def listed(self) -> bool:
        """Whether it is on the list; otherwise it has to be ordered."""
        return self.name != TO_ORDER

    @property
    def cost(self) -> float:
        """The price to compare by: what has none comes last."""
        return 1e9 if self.price is None else self.price


@dataclass(frozen=True, slots=True, kw_only=True)
class StockTransformer(StockItem):
    """A transformer: volt-amperes, its windings with one primary, whether it is screened, the class
    of its insulation, width, depth and height in metres, and the watts it takes unloaded.
    """

    va: float
    windings: tuple[StockWinding, ...]
    screen: bool = False
    insulation: str = ""
    size: tuple[float, ...] = ()
    no_load: float | None = None

    @property
    def primary(self) -> StockWinding:
        """The winding for the line."""
        return next(each for each in self.windings if each.name.startswith("primary"))

    @property
    def secondaries(self) -> tuple[StockWinding, ...]:
        """Every winding but the primary."""
        return tuple(each for each in self.windings if not each.name.startswith("primary"))

    def winding(self, stem: str) -> StockWinding | None:
        """Return the first winding whose name begins with ``stem``, or None."""
        return next((each for each in self.windings if each.name.startswith(stem)), None)

    def named(self, name: str) -> StockWinding:
        """Return the winding whose name begins with ``name``.

        Raises KeyError where there is none.
        """
        winding = self.winding(name)
        if winding is None:
            raise KeyError(f"{self.name} has no winding {name}")
        return winding


@dataclass(frozen=True, slots=True, kw_only=True)
class StockChoke(StockItem):
    """A choke: henries at its rated direct current in amps, ohms of its wire."""

    henries: float
    amps: float
    ohms: float
    size: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class StockCapacitor(StockItem):
    """An electrolytic: farads, volts, and the ripple current it withstands in amps RMS."""

    farads: float
    volts: float
    ripple: float | None = None
    size: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class StockTube(StockItem):
    """A tube, by its type."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StockSilicon(StockItem):
    """A silicon rectifier: inverse volts, mean amps, and the amps of one surge."""

    volts: float
    amps: float
    surge: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class StockDiode(StockSilicon):
    """One diode."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StockBridge(StockSilicon):
    """Four diodes in one case."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StockFuse(StockItem):
    """A fuse-link: amps, volts, ``slow`` or ``fast``, and its melting I2t in ampere-squared
    seconds.
    """

    amps: float
    volts: float
    speed: str
    i2t: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class StockResistor(StockItem):
    """A resistor: ohms, watts, and the volts it stands."""

    ohms: float
    watts: float
    volts: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class StockPot(StockItem):
    """A pot: ohms and watts."""

    ohms: float
    watts: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StockThermistor(StockItem):
    """A thermistor against inrush: ohms cold and hot, amps."""

    cold_ohms: float
    hot_ohms: float
    amps: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StockConnector(StockItem):
    """Plug and socket of the umbilical: volts and amps of a contact."""

    volts: float
    amps: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StockSwitch(StockItem):
    """A switch: volts and amps."""

    volts: float
    amps: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StockSundry(StockItem):
    """Any other part of a job, by its kind and name: it has a price, and nothing is designed with
    it. ``ohms``, ``farads``, ``volts``, ``amps`` and ``watts`` are what the line states.
    """

    kind: str
    ohms: float | None = None
    farads: float | None = None
    volts: float | None = None
    amps: float | None = None
    watts: float | None = None


#: The class of each kind that a supply is designed with.
STOCKED: dict[str, type[StockItem]] = {
    "transformer": StockTransformer,
    "choke": StockChoke,
    "electrolytic": StockCapacitor,
    "tube": StockTube,
    "diode": StockDiode,
    "bridge": StockBridge,
    "fuse": StockFuse,
    "resistor": StockResistor,
    "pot": StockPot,
    "thermistor": StockThermistor,
    "connector": StockConnector,
    "switch": StockSwitch,
}

_Kept = TypeVar("_Kept", bound=StockItem)


def kind_of(item: StockItem) -> str:
    """Return the kind of part that an item of the list is."""
    if isinstance(item, StockSundry):
        return item.kind
    return next(kind for kind, stocked in STOCKED.items() if type(item) is stocked)


@dataclass(frozen=True)
class Shelf:
    """Everything on the list, in the order of the file."""

    items: tuple[StockItem, ...]
    file: str = ""

    @cached_property
    def _by_class(self) -> dict[type[StockItem], tuple[StockItem, ...]]:
        by_class: dict[type[StockItem], list[StockItem]] = {}
        for item in self.items:
            by_class.setdefault(type(item), []).append(item)
        return {stocked: tuple(items) for stocked, items in by_class.items()}

    def of(self, stocked: type[_Kept]) -> tuple[_Kept, ...]:
        """Return the items of one class, in the order of the file."""
        items = self._by_class.get(stocked, ())
        return tuple(item for item in items if isinstance(item, stocked))

    def of_kind(self, kind: str) -> Iterator[StockItem]:
        """Yield the items of one kind of part, in the order of the file."""
        return (item for item in self.items if kind_of(item) == kind)


def cheapest(items: list[_Kept]) -> _Kept | None:
    """Return the item with the lowest price, or None where there is none."""
    return min(items, key=lambda item: (item.cost, item.name), default=None)

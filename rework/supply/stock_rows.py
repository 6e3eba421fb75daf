"""What a line of the stock list may say, by its kind, and the item that it then is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypedDict

from rework.circuit.kinds import KINDS
from rework.circuit.place import Place
from rework.supply.stock import (
    StockBridge,
    StockCapacitor,
    StockChoke,
    StockConnector,
    StockDiode,
    StockFuse,
    StockItem,
    StockPot,
    StockResistor,
    StockSundry,
    StockSwitch,
    StockThermistor,
    StockTransformer,
    StockTube,
    StockWinding,
)

#: Columns with the dimension of their numbers and the unit a bare number takes there; "" takes a
#: plain number or text.
COLUMNS = {
    "kind": ("", ""),
    "name": ("", ""),
    "value": ("", ""),
    "volts": ("voltage", "V"),
    "amps": ("current", "A"),
    "ohms": ("resistance", "ohm"),
    "watts": ("power", "W"),
    "va": ("apparent-power", "VA"),
    "windings": ("", ""),
    "screen": ("", ""),
    "class": ("", ""),
    "size": ("", ""),
    "ripple": ("current", "A"),
    "surge": ("current", "A"),
    "i2t": ("", ""),
    "no-load": ("power", "W"),
    "price": ("", ""),
    "note": ("", ""),
}
#: What each kind must say, what it may, and the dimension of its ``value``.
WANTED = {
    "transformer": ("name va windings", "screen class size no-load", ""),
    "choke": ("name value amps ohms", "size", "inductance"),
    "electrolytic": ("value volts", "name ripple size", "capacitance"),
    "tube": ("name", "", ""),
    "diode": ("name volts amps", "surge", ""),
    "bridge": ("name volts amps", "surge", ""),
    "fuse": ("amps volts class", "name i2t", ""),
    "resistor": ("value watts", "name volts", "resistance"),
    "pot": ("value watts", "name", "resistance"),
    "thermistor": ("value ohms amps", "name", "resistance"),
    "connector": ("volts amps", "name", ""),
    "switch": ("volts amps", "name", ""),
}
#: Things of a job that are no part of a circuit.
SUNDRIES = ("knob", "cord", "grommet", "tag strip", "hardware")
#: The dimension of ``value`` of other kinds that have one; an output transformer's is its load.
OTHER_VALUE = {"capacitor": "capacitance", "output transformer": "resistance"}


def wanted_of(kind: str) -> tuple[str, str, str] | None:
    """Return what a kind must say, what it may, and the dimension of its value; None for no kind
    of part.
    """
    if kind in WANTED:
        return WANTED[kind]
    if kind in KINDS or kind in SUNDRIES:
        return "name", "value volts amps watts", OTHER_VALUE.get(kind, "resistance")
    return None


class Said(TypedDict):
    """What every line says."""

    name: str
    price: float | None
    note: str
    place: Place


@dataclass
class StockRow:
    """The cells of one line as they were read: numbers by column in SI, words by column, the
    windings, the size.
    """

    said: Said
    numbers: dict[str, float] = field(default_factory=dict)
    words: dict[str, str] = field(default_factory=dict)
    windings: tuple[StockWinding, ...] = ()
    size: tuple[float, ...] = ()

    def __getitem__(self, column: str) -> float:
        """Return a number that the kind must say."""
        return self.numbers[column]

    def get(self, column: str) -> float | None:
        """Return a number that the kind may say, or None."""
        return self.numbers.get(column)


def _transformer(row: StockRow) -> StockTransformer:
    return StockTransformer(
        **row.said,
        va=row["va"],
        windings=row.windings,
        screen=row.words.get("screen") == "yes",
        insulation=row.words.get("class", ""),
        size=row.size,
        no_load=row.get("no-load"),
    )


def _choke(row: StockRow) -> StockChoke:
    return StockChoke(
        **row.said, henries=row["value"], amps=row["amps"], ohms=row["ohms"], size=row.size
    )


def _capacitor(row: StockRow) -> StockCapacitor:
    return StockCapacitor(
        **row.said,
        farads=row["value"],
        volts=row["volts"],
        ripple=row.get("ripple"),
        size=row.size,
    )


def _diode(row: StockRow) -> StockDiode:
    return StockDiode(**row.said, volts=row["volts"], amps=row["amps"], surge=row.get("surge"))


def _bridge(row: StockRow) -> StockBridge:
    return StockBridge(**row.said, volts=row["volts"], amps=row["amps"], surge=row.get("surge"))


def _fuse(row: StockRow) -> StockFuse:
    return StockFuse(
        **row.said,
        amps=row["amps"],
        volts=row["volts"],
        speed=row.words["class"],
        i2t=row.get("i2t"),
    )


def _thermistor(row: StockRow) -> StockThermistor:
    return StockThermistor(
        **row.said, cold_ohms=row["value"], hot_ohms=row["ohms"], amps=row["amps"]
    )


#: What makes the item of each kind from a faultless row.
_MAKERS: dict[str, Callable[[StockRow], StockItem]] = {
    "transformer": _transformer,
    "choke": _choke,
    "electrolytic": _capacitor,
    "tube": lambda row: StockTube(**row.said),
    "diode": _diode,
    "bridge": _bridge,
    "fuse": _fuse,
    "resistor": lambda row: StockResistor(
        **row.said, ohms=row["value"], watts=row["watts"], volts=row.get("volts")
    ),
    "pot": lambda row: StockPot(**row.said, ohms=row["value"], watts=row["watts"]),
    "thermistor": _thermistor,
    "connector": lambda row: StockConnector(**row.said, volts=row["volts"], amps=row["amps"]),
    "switch": lambda row: StockSwitch(**row.said, volts=row["volts"], amps=row["amps"]),
}


def item_of(kind: str, row: StockRow) -> StockItem:
    """Return the item that a faultless row states."""
    if kind in _MAKERS:
        return _MAKERS[kind](row)
    value = row.get("value")
    is_capacitance = OTHER_VALUE.get(kind) == "capacitance"
    return StockSundry(
        **row.said,
        kind=kind,
        ohms=None if is_capacitance else value,
        farads=value if is_capacitance else None,
        volts=row.get("volts"),
        amps=row.get("amps"),
        watts=row.get("watts"),
    )

"""A tube type as its file states it: pins and elements, heater, ratings, rows and curves."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache

from rework.tubes import elements as names
from rework.tubes.figure import Figure


@dataclass(frozen=True, slots=True)
class HeaterWay:
    """One way to feed the heater: ``volts`` between the two sets of pins, the pins of a set joined,
    drawing ``amps``.
    """

    between: tuple[frozenset[str], frozenset[str]]
    volts: Figure
    amps: Figure


@dataclass(frozen=True, slots=True)
class HeaterSection:
    """A tapped part of the heater: the volts across it at the heater's own current, nothing else on
    the tap.
    """

    between: tuple[str, str]
    volts: Figure


@dataclass(frozen=True, slots=True)
class Heater:
    """The heater: ``volts`` and ``amps`` of the ordinary way, every way it may be fed, and its
    tapped sections.

    ``warm_up`` is the controlled or quoted warm-up time in seconds, None where none is known.
    """

    volts: Figure
    amps: Figure
    ways: tuple[HeaterWay, ...]
    sections: tuple[HeaterSection, ...]
    directly_heated: bool
    warm_up: Figure | None


@dataclass(frozen=True, slots=True, eq=False)
class PrintedRow:
    """One printed row: typical operation, a resistance-coupled stage, or the capacitances between
    electrodes.

    ``unit`` is the unit of the bulb it holds for, "" for a bulb with one. ``row["plate_volts"]`` is
    a Figure.
    """

    use: str
    unit: str
    figures: Mapping[str, Figure]
    source: str
    grade: str
    note: str

    def __getitem__(self, name: str) -> Figure:
        return self.figures[name]

    def __contains__(self, name: object) -> bool:
        return name in self.figures

    def __iter__(self) -> Iterator[str]:
        return iter(self.figures)

    def get(self, name: str) -> Figure | None:
        """Return the figure of that name, or None when the row does not print it."""
        return self.figures.get(name)


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """Points read off a printed curve.

    ``columns`` names what the numbers of a point are, in SI units; ``fixed`` is what stands still
    along the curve; ``tolerance`` is how closely the last column could be read, None where it is
    not stated.
    """

    name: str
    columns: tuple[str, ...]
    points: tuple[tuple[float, ...], ...]
    fixed: Mapping[str, Figure]
    tolerance: Figure | None
    source: str
    grade: str
    note: str


@dataclass(frozen=True, slots=True)
class Kin:
    """A type with the same electrodes and curves behind another heater; whether pins move is
    computed, never written.
    """

    type: str
    how: str
    note: str
    source: str
    grade: str


@dataclass(frozen=True, slots=True)
class Lookalike:
    """A type taken for this one by mistake, and what goes wrong."""

    type: str
    why: str
    source: str
    grade: str


@dataclass(frozen=True, slots=True)
class HeaterAlone:
    """A type of which the heater is known and the basing is not: no pin of it may be trusted."""

    type: str
    aliases: tuple[str, ...]
    kind: str
    base: str
    volts: Figure
    amps: Figure


@dataclass(frozen=True, slots=True, eq=False)
class TubeType:
    """Everything known about one type.

    Two types are equal only when they are the same object of the library.
    """

    type: str
    aliases: tuple[str, ...]
    kind: str
    base: str
    basing: str
    socket_pins: tuple[str, ...]
    elements: tuple[tuple[str, tuple[str, ...]], ...]
    pins_source: str
    pins_grade: str
    heater: Heater
    ratings: Mapping[str, Figure]
    typical: tuple[PrintedRow, ...]
    stages: tuple[PrintedRow, ...]
    curves: tuple[Curve, ...]
    capacitances: tuple[PrintedRow, ...]
    relatives: tuple[Kin, ...]
    lookalikes: tuple[Lookalike, ...]
    notes: tuple[str, ...]

    @property
    def verified(self) -> bool:
        """Whether the basing was seen on a printed sheet."""
        return self.pins_grade == "seen"

    @property
    def is_rectifier(self) -> bool:
        """Whether the whole bulb is a rectifier."""
        return self.kind.endswith("rectifier")

    @property
    def has_rectifier_unit(self) -> bool:
        """Whether the bulb is a rectifier or holds one beside another unit."""
        return self.is_rectifier or "rectifier" in self.units

    @property
    def units(self) -> tuple[str, ...]:
        """The units of a bulb with more than one, sorted; empty for a single tube."""
        return _units(self)

    def elements_of(self, pin: str) -> tuple[str, ...]:
        """Return every element on a pin, the first the one it is called by; empty for a pin the
        socket has not.
        """
        return dict(self.elements).get(str(pin), ())

    def element(self, pin: str) -> str:
        """Return what a pin is called by: an element, or "none", "internal" or "absent"; the shield
        can over a tube is a ``can``.

        Raises
        ------
        KeyError
            When the socket has no such pin.
        """
        return "can" if pin == "can" else dict(self.elements)[str(pin)][0]

    def element_names(self) -> tuple[str, ...]:
        """Return the canonical names of every element the type has, sorted."""
        return tuple(
            sorted({name for _, carried in self.elements for name in carried} - names.UNUSED)
        )

    def pins_of(self, name: str) -> tuple[str, ...]:
        """Return the pins an element is on, in socket order; empty for a name this type has not, or
        that is not one.

        ``name`` is a canonical name or a word the trade uses ("anode", "g2", "k"); ``heater`` alone
        means both ends. In a bulb with several units the unit goes before it ("triode1.grid", "unit
        1.grid", "pentode.g2") and may be left out where only one unit has such an element. An
        element the units share is found under any of them.
        """
        return _pins_of(self, name)

    def groups(self) -> tuple[frozenset[str], ...]:
        """Return the sets of pins between which current can flow inside the bulb, sorted.

        The heater with its taps is one group; the electrodes of a unit are one, and units that
        share a cathode are one together; a cathode joined to the heater joins the two. A shield
        with nothing else on its pin stands alone. An internal connection may go anywhere, so its
        pins are in every group: take only the pins that are wired before joining groups that
        overlap.
        """
        heater: set[str] = set()
        units: dict[str, set[str]] = {}
        shields: set[str] = set()
        internal: set[str] = set()
        for pin, carried in self.elements:
            for name in carried:
                unit, _, element = name.rpartition(".")
                if name == "internal":
                    internal.add(pin)
                elif element in names.HEATER or element in names.HEATER_TAPS:
                    heater.add(pin)
                elif element == "shield":
                    shields.add(pin)
                elif name not in names.UNUSED:
                    units.setdefault(unit, set()).add(pin)
        shared = units.get("", set())
        for unit, pins in units.items():
            if unit and not any(
                name == f"{unit}.cathode" for _, carried in self.elements for name in carried
            ):
                pins |= shared
        apart = _merged([heater, *units.values(), shields])
        return tuple(sorted((frozenset(group | internal) for group in apart), key=sorted))


@cache
def _units(tube: TubeType) -> tuple[str, ...]:
    units = {names.unit_of_element(name) for _, carried in tube.elements for name in carried}
    return tuple(sorted(units - {""}))


@cache
def _pins_of(tube: TubeType, name: str) -> tuple[str, ...]:
    unit, meant, every = names.read_name(name)
    number = names.numbered_unit(unit)
    if number is not None:
        unit = tube.units[number - 1] if 0 < number <= len(tube.units) else unit
    if unit and unit not in tube.units:
        return ()
    groups = [pins for element in meant if (pins := _pins(tube, unit, element))]
    if not groups:
        return ()
    wanted = {pin for pins in groups for pin in pins} if every else set(groups[0])
    return tuple(pin for pin in tube.socket_pins if pin in wanted)


def _pins(tube: TubeType, unit: str, element: str) -> tuple[str, ...]:
    """Return the pins of one canonical element in one unit ("" where none was said)."""
    holders: dict[str, list[str]] = {}
    for pin, carried in tube.elements:
        for name in carried:
            owner, _, bare = name.rpartition(".")
            if bare == element:
                holders.setdefault(owner, []).append(pin)
    if unit:
        shared = holders.get("", []) if element in names.SHARED else []
        return tuple(holders.get(unit) or shared)
    if "" in holders:
        return tuple(holders[""])
    if not holders and element in tube.units:
        return _pins(tube, element, "plate")
    if len(holders) != 1:
        return ()
    (pins,) = holders.values()
    return tuple(pins)


def _merged(groups: list[set[str]]) -> list[set[str]]:
    """Return the groups with those that share a pin made one; empty ones dropped."""
    apart: list[set[str]] = []
    for group in groups:
        touching = [other for other in apart if other & group]
        apart = [other for other in apart if not other & group]
        joined = set(group).union(*touching)
        if joined:
            apart.append(joined)
    return apart

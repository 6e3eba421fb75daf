"""Where B+ may come from: every transformer of the list with every rectifier that suits it, and
what a tube's sheet prints for its feed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from math import sqrt

from rework.solve.chart import HIGH_LINE
from rework.solve.devices import SILICON
from rework.solve.fit import NoData, fitted
from rework.supply.forms import FILTERS, RECTIFIERS, source_ohms
from rework.supply.needs import Needs
from rework.supply.preferred import at_least
from rework.supply.shelf import Item, Shelf, Winding
from rework.tubes import library
from rework.tubes.tubetype import TubeType

#: The line may be this much off the primary's own volts, low and high: over it the core saturates
#: (common practice, no source).
LINE_LOW, LINE_HIGH = 0.90, 1.06
#: Heater volts may be this much off, unloaded winding against the heaters' own (they sag under
#: load; the exact solution decides).
HEATER_LOW, HEATER_HIGH = 0.94, 1.16
#: Largest first capacitor behind a tube that prints none (etoysbox.jp, 15_Tube, part 3).
FIRST_CAPACITOR = 50e-6


@dataclass(frozen=True, slots=True)
class Wishes:
    """What the user asked for besides the needs: rectifiers and filters allowed, balance of the
    heaters ("" any), and two fuses' worth of options.
    """

    rectifiers: tuple[str, ...] = tuple(RECTIFIERS)
    filters: tuple[str, ...] = tuple(FILTERS)
    balance: str = ""
    bplus_fuse: bool = False
    soft_start: bool = False
    back_to_back: bool = True


@dataclass(frozen=True)
class Source:
    """One transformer with one rectifier: RMS volts to a plate (nominal line, unloaded), ohms
    before it, the tube's perveance (0 silicon).
    """

    transformer: Item
    winding: str
    heater_winding: str
    rectifier: str
    valve: Item
    rms: float
    ohms: float
    perveance: float
    second: Item | None = None
    rectifier_winding: str = ""
    tube: TubeType | None = field(default=None, compare=False)

    @property
    def pulses(self) -> int:
        """Charges of the first capacitor in a line period."""
        return 1 if self.rectifier == "half-wave" else 2

    @property
    def drop(self) -> float:
        """Volts lost in silicon at a time."""
        return SILICON.offset * {"tube": 0, "bridge": 2}.get(self.rectifier, 1)

    @property
    def open_volts(self) -> float:
        """The most the first capacitor can ever see: the unloaded peak on the high line."""
        return sqrt(2) * self.rms * HIGH_LINE

    @property
    def least_ohms(self) -> float:
        """The least limiting resistance of each plate that the tube's sheet prints for these volts,
        0 where none is printed.
        """
        return printed_ohms(self.tube, self.rms) if self.tube else 0.0

    @property
    def added_ohms(self) -> float:
        """The surge resistor that makes it up, a preferred value, 0 where none is wanted."""
        lacking = self.least_ohms - self.ohms
        return at_least(lacking) if lacking > 0.02 * max(self.least_ohms, 1.0) else 0.0


def printed_ohms(tube: TubeType, rms: float) -> float:
    """Return the least ohms of each plate's feed that a tube's sheet prints for some RMS volts,
    between its rows in a straight line, 0 where none.
    """
    rows = sorted(
        (float(name.split("_")[3]), figure.value)
        for name, figure in tube.ratings.items()
        if name.startswith("supply_ohms_at_")
    )
    if not rows:
        return tube.ratings["supply_ohms"].value if "supply_ohms" in tube.ratings else 0.0
    if rms <= rows[0][0]:
        return rows[0][1] * rms / rows[0][0]
    for (low, a), (high, b) in pairwise(rows):
        if rms <= high:
            return a + (b - a) * (rms - low) / (high - low)
    return rows[-1][1] * rms / rows[-1][0]


def sources(
    shelf: Shelf, needs: Needs, wishes: Wishes
) -> tuple[tuple[Source, ...], tuple[str, ...]]:
    """Return every transformer and rectifier of the list that could do together, and why whole
    rectifiers were left out.
    """
    told: list[str] = []
    tubes = []
    for item in shelf.of("tube") if "tube" in wishes.rectifiers else ():
        tube = library.find(item.name)
        try:
            law = fitted(tube.type).law
        except NoData:
            told.append(
                f"{tube.type} is left out: no voltage drop of it is known, so it has no numbers"
            )
            continue
        if {"plate1", "plate2"} <= set(tube.element_names()):
            tubes.append((item, tube, law.perveance))
    found: list[Source] = []
    reasons: dict[str, int] = {}
    for transformer in shelf.of("transformer"):
        own = list(_of_one(transformer, tubes, shelf, needs, wishes))
        found += own
        if not own:
            why = _why_not(transformer, needs, wishes)
            reasons[why] = reasons.get(why, 0) + 1
    told += [
        f"{count} of {len(shelf.of('transformer'))} transformers on their own: {why}"
        for why, count in sorted(reasons.items(), key=lambda pair: (-pair[1], pair[0]))
    ]
    if wishes.back_to_back and "bridge" in wishes.rectifiers:
        found += _pairs(shelf, needs)
    return tuple(found), tuple(told)


def _line(transformer: Item, needs: Needs) -> float | None:
    """Return the line over the primary's volts, None where the transformer is not for this line."""
    share = needs.mains.volts / transformer.winding("primary").volts
    return share if LINE_LOW <= share <= LINE_HIGH else None


def _of_one(
    transformer: Item, tubes, shelf: Shelf, needs: Needs, wishes: Wishes
) -> Iterator[Source]:
    line = _line(transformer, needs)
    if line is None:
        return
    heater = next(iter(_heaters(transformer, line, needs, wishes)), None)
    if heater is None:
        return
    for winding in transformer.windings:
        if (
            winding.name.startswith("primary")
            or winding.name == heater.name
            or winding.volts * line < 0.35 * needs.bplus
        ):
            continue
        sag = _sag(transformer, heater, needs)
        for rectifier, item in (
            *(("bridge", _silicon(shelf, "bridge", winding.volts * line, needs)),)
            * ("bridge" in wishes.rectifiers),
            *(("half-wave", _silicon(shelf, "diode", winding.volts * line * 2, needs)),)
            * ("half-wave" in wishes.rectifiers),
            *(("silicon", _silicon(shelf, "diode", winding.volts * line, needs)),)
            * ("silicon" in wishes.rectifiers and winding.tapped),
        ):
            if item is not None:
                half = rectifier == "silicon"
                yield Source(
                    transformer,
                    winding.name,
                    heater.name,
                    rectifier,
                    item,
                    winding.volts * line * sag * (0.5 if half else 1.0),
                    source_ohms(transformer, winding, halves=half),
                    0.0,
                )
        for item, tube, perveance in tubes if winding.tapped else ():
            rms = winding.volts * line * sag / 2
            own = _rectifier_winding(transformer, tube, winding.name, heater, line, rms, needs)
            most = tube.ratings.get("plate_rms_volts_choke_input") or tube.ratings.get(
                "plate_rms_volts"
            )
            if own and not (most and rms > most.value):
                yield Source(
                    transformer,
                    winding.name,
                    heater.name,
                    "tube",
                    item,
                    rms,
                    source_ohms(transformer, winding, halves=True),
                    perveance,
                    None,
                    own,
                    tube,
                )


def _heaters(transformer: Item, line: float, needs: Needs, wishes: Wishes) -> list[Winding]:
    """Return the windings that could heat the amplifier's tubes, the least that has the amps first."""
    volts = [
        w
        for w in transformer.windings
        if w.name.startswith(("heater", "secondary", "rectifier"))
        and HEATER_LOW <= w.volts * line / needs.heater_volts <= HEATER_HIGH
    ]
    return sorted(
        (
            w
            for w in volts
            if (w.amps or 0.0) >= needs.heater_amps and (wishes.balance != "tap" or w.tapped)
        ),
        key=lambda w: (not w.name.startswith("heater"), w.amps),
    )


def _why_not(transformer: Item, needs: Needs, wishes: Wishes) -> str:
    """Return why a transformer gives no source."""
    line = _line(transformer, needs)
    if line is None:
        return f"the primary is not for {needs.mains.volts:g} V"
    if not _heaters(transformer, line, needs, wishes):
        return f"no winding gives {needs.heater_volts:g} V at {needs.heater_amps:.3g} A" + (
            " and has a middle tap" if wishes.balance == "tap" else ""
        )
    return "no winding gives B+ through any rectifier that is allowed and on the list"


def _sag(transformer: Item, heater, needs: Needs) -> float:
    """Return what the heater current leaves of the volts behind the primary's ohms."""
    primary = transformer.winding("primary")
    return 1 - primary.ohms * needs.heater_amps * (heater.volts / primary.volts) / needs.mains.volts


def _silicon(shelf: Shelf, kind: str, rms: float, needs: Needs) -> Item | None:
    """Return the least diode or bridge that stands the inverse volts of a winding of ``rms`` on a
    high line, with half as much again, and the amps.
    """
    wanted = sqrt(2) * rms * HIGH_LINE * 1.5
    fits = [
        item
        for item in shelf.of(kind)
        if item.volts >= wanted and item.amps >= 2 * max(needs.idle_amps, needs.full_amps)
    ]
    return min(
        fits,
        key=lambda item: (item.price if item.price is not None else 1e9, item.volts, item.name),
        default=None,
    )


def _rectifier_winding(
    transformer: Item, tube: TubeType, used: str, heater, line: float, rms: float, needs: Needs
) -> str:
    """Return the winding for a rectifier tube's heater, "" where there is none: one of its own,
    else the amplifier's where the tube's insulation stands it.
    """
    volts, amps = tube.heater.volts.value, tube.heater.amps.value
    for winding in transformer.windings:
        if (
            winding.name not in (used, heater.name)
            and not winding.name.startswith("primary")
            and (winding.amps or 0.0) >= amps
            and HEATER_LOW <= winding.volts * line / volts <= HEATER_HIGH
        ):
            return winding.name
    joined = any(set(tube.elements_of(pin)) >= {"cathode", "heater2"} for pin in tube.socket_pins)
    stands = tube.ratings.get("heater_cathode_volts")
    shares = (
        not tube.heater.directly_heated
        and not joined
        and volts == needs.heater_volts
        and stands is not None
        and stands.value >= sqrt(2) * rms * HIGH_LINE
        and (heater.amps or 0.0) >= amps + needs.heater_amps
    )
    return heater.name if shares else ""


def _pairs(shelf: Shelf, needs: Needs) -> Iterator[Source]:
    """Yield two transformers back to back: the first makes heater volts, the second, the wrong way
    round, makes B+ from them.
    """
    low = [
        (item, w, line)
        for item in shelf.of("transformer")
        if (line := _line(item, needs)) is not None and len(item.windings) == 2
        for w in item.windings[1:]
        if HEATER_LOW <= w.volts * line / needs.heater_volts <= HEATER_HIGH
        and not w.name.startswith("primary")
    ]
    seconds = [
        (item, w)
        for item in shelf.of("transformer")
        if len(item.windings) == 2
        for w in item.windings
        if not w.name.startswith("primary") and 0.8 <= w.volts / needs.heater_volts <= 1.3
    ]
    watts = needs.bplus * needs.idle_amps
    for one, first, line in sorted(low, key=lambda row: (row[0].va, row[0].name))[:24]:
        for other, second in sorted(seconds, key=lambda row: (row[0].va, row[0].name))[:24]:
            primary = other.winding("primary")
            rms = first.volts * line * primary.volts / second.volts * _sag(one, first, needs)
            item = _silicon(shelf, "bridge", rms, needs)
            if (
                item is not None
                and one.va >= watts + needs.heater_volts * needs.heater_amps
                and rms >= 0.35 * needs.bplus
                and other.va >= watts
            ):
                # the heaters' own current drops volts in the winding that both hang on
                rms *= 1 - first.ohms * needs.heater_amps / first.volts
                yield Source(
                    one,
                    first.name,
                    first.name,
                    "bridge",
                    item,
                    rms,
                    source_ohms(one, primary, halves=False, second=other, low=first.name),
                    0.0,
                    other,
                )

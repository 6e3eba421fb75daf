"""Does a set work, as far as its wiring shows? Every answer is a row with a key, a part, a verdict
and where there is one a figure; nothing is solved here but the heater circuit.

The figures behind the limits are this tool's own choice (no source) where none is named: they only
tell a way that carries a set's current from one that does not.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import cached_property

from rework.anatomy.amplifier import of
from rework.anatomy.direct import DirectWays
from rework.anatomy.feeding import Feeding
from rework.anatomy.function_row import Aspect, FunctionRow, Working
from rework.anatomy.grounds import common_name
from rework.anatomy.hearing import signal_rows
from rework.anatomy.heaters import HEATER_LIMIT
from rework.anatomy.heating import Heating, Warmth
from rework.anatomy.rectifiers import RectifierSection
from rework.anatomy.slips import place_rows, slip_rows
from rework.anatomy.units import TubeUnit
from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part, switch_style

#: Ohms up to which a cathode finds its way back, and the common its supply.
_FROM_A_CATHODE, _FROM_COMMON = 1e6, 2e4
#: Ohms of a grid leak from which the grid's own current gives an output tube a bias, and any other:
#: 5 to 10 Mohm are usual (common practice, no source); a 6AV6 is computed to -0.2 V with 150 k.
_CONTACT_BIAS_OUTPUT, _CONTACT_BIAS = 2e6, 1.5e5
#: How far below its rating a lamp or a heater may be of which a tap is in use: the current of the
#: rectifier, left out here, flows through the tap too (a 35Z5GT's lamp has 5.5 V of 6.3 in use:
#: from memory).
_TAPPED_HEATER, _TAPPED_LAMP = 0.2, 0.6
#: The share of its volts at which a lamp is dark.
_DARK_LAMP = 0.4


def function(circuit: Circuit) -> tuple[FunctionRow, ...]:
    """Return a row for everything that has to work in a set: line, rectifiers, heaters, lamps and
    motors, B+ to plates and screens, ways back, grid returns, signal from inputs to loads; and for
    what is unusual enough to be a slip of the pen.

    A circuit without a plug, or with ports that wait for another, is answered for as far as it
    goes: what would come from outside is not known.
    """
    feeding = Feeding(of(circuit))
    return (*_rows(feeding), *place_rows(feeding))


def wiring_function(circuit: Circuit) -> tuple[FunctionRow, ...]:
    """Return the rows of ``function`` but for those about the value of a part in its place, which
    no edit of the wiring may take away or add.
    """
    return _rows(Feeding(of(circuit)))


def _rows(feeding: Feeding) -> tuple[FunctionRow, ...]:
    asked = _Function(feeding)
    return (
        *asked.primaries(),
        *asked.positions(),
        *asked.rectifiers(),
        *asked.warmth(),
        *asked.electrodes(),
        *signal_rows(feeding),
        *slip_rows(feeding),
    )


class _Function:
    def __init__(self, feeding: Feeding) -> None:
        self.feeding = feeding
        self.anatomy = feeding.anatomy
        self.circuit = feeding.circuit
        self.ways = feeding.ways

    def _bad(self) -> Working:
        unknown = self.feeding.incomplete or self.feeding.opaque
        return Working.UNKNOWN if unknown else Working.FAULT

    # the line

    def primaries(self) -> Iterator[FunctionRow]:
        """Yield whether each primary, and each motor that states no volts, is on the line."""
        for part in self.circuit.parts:
            if self.feeding.has_lifted_primary(part):
                yield FunctionRow(Aspect.PRIMARY, part.name, self._bad())
            is_rated = part.kind == "motor" and part.value("voltage") is not None
            if self.feeding.line_ends(part) is not None and not is_rated:
                fed = self.feeding.is_fed(part, self.ways)
                working = Working.WORKS if fed else self._bad()
                why = "direct" if self.feeding.is_direct and part.kind != "motor" else ""
                rectifier, end = (not fed and self.feeding.half_wave(part)) or ("", why)
                yield FunctionRow(Aspect.PRIMARY, part.name, working, place=end, part=rectifier)

    def positions(self) -> Iterator[FunctionRow]:
        """Yield the primaries that a position of a switch leaves off, or leaves on when OFF."""
        fed = [
            part
            for part in self.circuit.parts
            if self.feeding.line_ends(part) is not None and self.feeding.is_fed(part, self.ways)
        ]
        for switch in self.circuit.parts if fed else ():
            if not switch.traits.is_switch or not self._in_the_line(switch):
                continue
            for position in switch_style(switch).positions:
                turned = DirectWays(self.anatomy.wiring, {switch.name: position})
                on = [part for part in fed if self.feeding.is_fed(part, turned)]
                if position != "OFF" and len(on) < len(fed):
                    off = next(part for part in fed if part not in on)
                    yield FunctionRow(
                        Aspect.POSITION, off.name, self._bad(), place=position, part=switch.name
                    )

    def _in_the_line(self, switch: Part) -> bool:
        return bool(set(self.anatomy.wiring.ends(switch)) & self.anatomy.line)

    # supply

    def rectifiers(self) -> Iterator[FunctionRow]:
        """Yield whether alternating current reaches each rectifier, and whether it is one way."""
        for section in self.anatomy.rectifiers:
            shorted, turned = self.feeding.is_shorted(section), section.part in self.feeding.turned
            ok = section in self.feeding.fed_rectifiers and not (shorted or turned)
            label = f"{section.part} {section.unit}".strip()
            working = Working.WORKS if ok else self._bad()
            why = "turned" if turned else "shorted" if shorted else ""
            if working is Working.FAULT and not why and self._is_left_over(section):
                working = Working.NOTE
            yield FunctionRow(Aspect.RECTIFIER, label, working, place=why)

    def _is_left_over(self, rectifier: RectifierSection) -> bool:
        """Return whether another rectifier gives the B+ that this one gave."""
        return self.ways.closed(rectifier.cathode or "") in self.feeding.supplied

    # heaters, lamps, motors

    def warmth(self) -> Iterator[FunctionRow]:
        """Yield what every heater, lamp and motor gets."""
        rows = {row.part: row for row in Heating(self.anatomy.heaters).warmth()}
        aspects = {"heater": Aspect.HEATER, "lamp": Aspect.LAMP, "motor": Aspect.MOTOR}
        for part in self.circuit.parts:
            row = rows.get(part.name)
            if row is not None:
                working = self._warm_enough(row)
                yield FunctionRow(
                    aspects[row.kind],
                    part.name,
                    working,
                    row.volts,
                    row.rated,
                    place="half-wave" if row.half_wave else "",
                    part=row.rectifier,
                )
            elif part.name in self.anatomy.heaters.wired:
                yield FunctionRow(Aspect.HEATER, part.name, self._bad(), 0.0)

    def _warm_enough(self, row: Warmth) -> Working:
        if row.volts is None:
            return Working.UNKNOWN
        ratio = row.volts / row.rated
        below = {"heater": _TAPPED_HEATER, "lamp": _TAPPED_LAMP}.get(row.kind, HEATER_LIMIT)
        least = 1 - (below if row.tapped else HEATER_LIMIT)
        good = least - 1e-9 <= ratio <= 1 + HEATER_LIMIT + 1e-9
        if not good and row.kind == "lamp" and _DARK_LAMP < ratio < 1:
            return Working.NOTE  # dim: it lasts the longer
        return Working.WORKS if good else self._bad()

    # tubes

    def electrodes(self) -> Iterator[FunctionRow]:
        """Yield whether B+ reaches plates and screens, and cathodes, grids and common have a way
        back.
        """
        back = (
            self.ways.ohms_from(self.feeding.poles, most=_FROM_A_CATHODE)
            if self.feeding.poles
            else {}
        )
        idle = {stage.label for stage in self.anatomy.stages if stage.kind == "idle"}
        for unit in self.anatomy.units:
            if not unit.amplifies or unit.label in idle or not unit.plates:
                continue
            for aspect, element in ((Aspect.PLATE, "plate"), (Aspect.SCREEN, "screen")):
                for name, pins, point in unit.elements:
                    if name == element:
                        ok = self.ways.closed(point) in self.feeding.supplied
                        yield self._row(aspect, unit, pins, ok=ok)
            cathode = unit.at("cathode")
            ok = cathode is not None and self.ways.closed(cathode) in back
            yield self._row(Aspect.CATHODE, unit, unit.pins("cathode"), ok=ok)
            yield from self._grid(unit)
        if self.feeding.poles and self.anatomy.stages:
            yield from self._common_return(back)

    def _row(
        self, aspect: Aspect, unit: TubeUnit, pins: tuple[str, ...], *, ok: bool
    ) -> FunctionRow:
        working = Working.WORKS if ok else self._bad()
        return FunctionRow(aspect, unit.label, working, place=pins[0] if pins else "")

    def _grid(self, unit: TubeUnit) -> Iterator[FunctionRow]:
        """Yield whether a grid has a way for direct current to common, B-, or its own cathode, and
        whether that leaves it a bias.
        """
        grid = unit.at("grid")
        if grid is None:
            yield self._row(Aspect.GRID, unit, (), ok=False)
            return
        start = self.ways.closed(grid)
        plates = {self.ways.closed(p) for u in self.anatomy.units if u.amplifies for p in u.plates}
        rails = self.feeding.closed(self.anatomy.rail)
        leg = {self.ways.closed(p) for p in self.anatomy.signal.cathode_leg(unit)}
        barred = frozenset((plates | rails) - {start})
        reached = self.ways.ohms_from((start,), stop=barred | self.feeding.low)
        ends = (
            self.feeding.low | leg | (plates & {start}) | self.feeding.closed(self.anatomy.common)
        )
        yield self._row(Aspect.GRID, unit, unit.pins("grid"), ok=bool(ends & reached.keys()))
        if ends & reached.keys() and unit.at("cathode") is not None:
            ok, pins = self._is_biased(unit, start, barred), unit.pins("grid")
            row = self._row(Aspect.BIAS, unit, pins, ok=ok)
            is_output = unit.label in self._outputs
            yield row if ok or is_output else replace(row, working=Working.NOTE)

    def _is_biased(self, unit: TubeUnit, grid: str, barred: frozenset[str]) -> bool:
        """Return whether a grid may be at other volts than its cathode: by a cathode resistor, by
        B- or a supply of its own, by the current of another electrode, or by its own current
        through a high grid leak. Ways from it end at the ``barred`` points.
        """
        cathode = self.ways.closed(unit.at("cathode") or "")
        reached = self.ways.ohms_from((grid,), stop=barred | self.feeding.low | {cathode})
        enough = _CONTACT_BIAS_OUTPUT if unit.label in self._outputs else _CONTACT_BIAS
        if reached.get(cathode, enough) >= enough:
            return True
        return bool(reached.keys() & (self.feeding.low | self._sources) - {cathode})

    @cached_property
    def _outputs(self) -> frozenset[str]:
        """The output tubes; without a bias any other stage still plays, if badly."""
        stages = self.anatomy.stages
        return frozenset(stage.label for stage in stages if stage.kind == "output")

    @cached_property
    def _sources(self) -> frozenset[str]:
        """The points of rectifiers, diodes and batteries, of plates and cathodes, and of rails."""
        points = set(self.anatomy.rail)
        for section in self.anatomy.rectifiers:
            points |= {*section.anodes, section.cathode or "", section.minus or ""}
        for unit in self.anatomy.units:
            points |= {*unit.plates, unit.at("cathode") or ""}
        for part in self.circuit.parts:
            if part.kind in ("battery", "diode"):
                points |= set(self.anatomy.wiring.ends(part))
        return self.feeding.closed(frozenset(points - {""}))

    def _common_return(self, back: dict[str, float]) -> Iterator[FunctionRow]:
        common = self.feeding.closed(self.anatomy.common)
        ohms = min((back[point] for point in common if point in back), default=None)
        ok = ohms is not None and ohms <= _FROM_COMMON
        working = Working.WORKS if ok else self._bad()
        named = common_name(self.anatomy.wiring, self.anatomy.common)
        yield FunctionRow(
            Aspect.RETURN, named or min(self.anatomy.common, default=""), working, ohms, unit="ohm"
        )

"""Does a set work, as far as its wiring shows? Every answer is a row with a key, a part, a verdict
and where there is one a figure; nothing is solved here but the heater circuit.

The figures behind the limits are this tool's own choice (no source) where none is named: they only
tell a way that carries a set's current from one that does not.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property

from rework.anatomy.amplifier import Anatomy, of
from rework.anatomy.direct import DirectWays
from rework.anatomy.heaters import HEATER_LIMIT, wired_heater
from rework.anatomy.heating import Heating, Warmth
from rework.anatomy.line import primary_ends
from rework.anatomy.rectifiers import Rectifier
from rework.anatomy.units import Unit
from rework.circuit.circuit import Circuit
from rework.circuit.kinds import KINDS, Law
from rework.circuit.parts import Part, strands, switch_style

#: Ohms up to which alternating current reaches a rectifier: surge resistors, windings, heaters.
_TO_THE_ANODE = 5e3
#: Ohms up to which B+ reaches a plate or a screen, a cathode finds its way back, and B- its supply.
_TO_A_PLATE, _FROM_A_CATHODE, _FROM_COMMON = 5e6, 1e6, 2e4
#: How far below its rating a lamp or a heater may be of which a tap is in use: the current of the
#: rectifier, left out here, flows through the tap too (a 35Z5GT's lamp has 5.5 V of 6.3 in use:
#: from memory).
_TAPPED_HEATER, _TAPPED_LAMP = 0.2, 0.6


class Verdict(StrEnum):
    """What a row comes to."""

    WORKS = "works"
    FAULT = "does not work"
    NOTE = "to know"
    UNKNOWN = "not known"


class Aspect(StrEnum):
    """What a row is about."""

    PRIMARY = "primary"
    POSITION = "primary in a position of a switch"
    RECTIFIER = "rectifier"
    HEATER = "heater"
    LAMP = "lamp"
    MOTOR = "motor"
    PLATE = "plate"
    SCREEN = "screen"
    CATHODE = "cathode"
    GRID = "grid"
    RETURN = "B- return"
    SIGNAL = "signal"
    LOAD = "load"
    LOST = "lost"
    PORT = "port"
    HANGING = "hanging end"
    NAME = "name given twice"


@dataclass(frozen=True, slots=True)
class Works:
    """One row: what is asked of which part, and whether it works.

    ``value`` and ``rated`` are volts where the row has a figure. ``place`` is the pin, the position
    or the port that it is about, ``part`` what it depends on where that is known.
    """

    aspect: Aspect
    subject: str
    verdict: Verdict
    value: float | None = None
    rated: float | None = None
    place: str = ""
    part: str = ""


def function(circuit: Circuit) -> tuple[Works, ...]:
    """Return a row for everything that has to work in a set: line, rectifiers, heaters, lamps and
    motors, B+ to plates and screens, ways back, grid returns, signal from inputs to loads.

    A circuit without a plug, or with ports that wait for another, is answered for as far as it
    goes: what would come from outside is not known.
    """
    asked = _Function(of(circuit))
    return (
        *asked.primaries(),
        *asked.positions(),
        *asked.rectifiers(),
        *asked.warmth(),
        *asked.electrodes(),
        *asked.signals(),
    )


class _Function:
    def __init__(self, anatomy: Anatomy) -> None:
        self.anatomy = anatomy
        self.circuit = anatomy.circuit
        self.ways = DirectWays(anatomy.wiring)
        #: Whether something still has to be connected before the set can work.
        self.incomplete = bool(self._open_ports()) or not any(
            part.kind == "plug" for part in self.circuit.parts
        )

    def _open_ports(self) -> tuple[str, ...]:
        """Return the ports of the circuit that no other circuit is joined to yet."""
        return tuple(name for name, _ in self.circuit.ports if "/" not in name)

    def _bad(self) -> Verdict:
        return Verdict.UNKNOWN if self.incomplete else Verdict.FAULT

    def _points(self, points: frozenset[str]) -> frozenset[str]:
        return frozenset(self.ways.closed(point) for point in points)

    # the line

    @cached_property
    def blades(self) -> dict[str, int]:
        """Every blade's point with a number for its side of the line."""
        sides: dict[str, int] = {}
        for part in self.circuit.parts:
            if part.kind == "plug":
                for end in ("line", "neutral"):
                    if part.node(end) is not None:
                        sides[self.ways.point(part.at(end))] = len(sides)
        return sides

    def _line_ends(self, part: Part) -> tuple[str, str] | None:
        """Return the two terminals of a part by which it is on the line: a motor's, a primary's."""
        if part.kind == "motor":
            return ("1", "2") if part.node("1") and part.node("2") else None
        signal = part.name in {one.name for one in self.anatomy.signal.transformers}
        return None if signal else primary_ends(part)

    def _is_fed(self, part: Part, ways: DirectWays) -> bool:
        """Return whether both blades reach the two ends of a primary or a motor, one each."""
        ends = self._line_ends(part)
        if ends is None:
            return False
        one, other = (ways.point(part.at(end)) for end in ends)
        blades = list(dict.fromkeys(ways.closed(point) for point in self.blades))
        reach = {blade: self._through_the_line(blade, ways, part.name) for blade in blades}
        return any(
            one in reach[first] and other in reach[second]
            for first in blades
            for second in blades
            if first != second
        )

    def _through_the_line(self, blade: str, ways: DirectWays, without: str) -> set[str]:
        """Return what a blade reaches through chokes, lamps, thermistors and other resistances of
        the line, one transformer or motor left out.
        """
        seen, line = {blade}, [blade]
        while line:
            for name, other, ohms in ways.at.get(line.pop(), ()):
                kind = self.circuit.by_name[name].kind
                passes = name != without and kind not in ("transformer", "speaker", "motor")
                if passes and ohms < _TO_THE_ANODE and other not in seen:
                    seen.add(other)
                    line.append(other)
        return seen

    def primaries(self) -> Iterator[Works]:
        """Yield whether each primary, and each motor that states no volts, is on the line."""
        for part in self.circuit.parts:
            told = part.kind == "motor" and part.value("voltage") is not None
            if self._line_ends(part) is not None and not told:
                fed = self._is_fed(part, self.ways)
                verdict = Verdict.WORKS if fed else self._bad()
                yield Works(Aspect.PRIMARY, part.name, verdict)

    def positions(self) -> Iterator[Works]:
        """Yield the primaries that a position of a switch leaves off, or leaves on when OFF."""
        fed = [
            part
            for part in self.circuit.parts
            if self._line_ends(part) is not None and self._is_fed(part, self.ways)
        ]
        for switch in self.circuit.parts if fed else ():
            if not switch.traits.is_switch or not self._in_the_line(switch):
                continue
            for position in switch_style(switch).positions:
                turned = DirectWays(self.anatomy.wiring, {switch.name: position})
                on = [part for part in fed if self._is_fed(part, turned)]
                if position != "OFF" and len(on) < len(fed):
                    off = next(part for part in fed if part not in on)
                    yield Works(
                        Aspect.POSITION, off.name, self._bad(), place=position, part=switch.name
                    )

    def _in_the_line(self, switch: Part) -> bool:
        return bool(set(self.anatomy.wiring.ends(switch)) & self.anatomy.line)

    # supply

    @cached_property
    def low(self) -> frozenset[str]:
        """Common, B- and metal, as points."""
        body = self.anatomy
        return self._points(body.common | body.b_minus | body.chassis | body.earthed)

    @cached_property
    def live(self) -> frozenset[str]:
        """The points of blades and of windings whose primary is fed, and what resistances lead to
        from there, common left out.
        """
        starts = set(self.blades)
        for part in self.circuit.parts:
            if part.kind in ("transformer", "autotransformer") and self._is_fed(part, self.ways):
                starts |= {
                    self.ways.point(node)
                    for end, node in part.pins
                    if not end.startswith(("core", "screen"))
                }
            if part.kind == "motor" and part.node("tap") and self._is_fed(part, self.ways):
                starts.add(self.ways.point(part.at("tap")))
        low = self.low - set(self.blades)
        reached = self._through_heaters(starts - low, low)
        return frozenset(self.ways.ohms_from(reached, stop=low, most=_TO_THE_ANODE)) - low

    def _through_heaters(self, starts: set[str], stop: frozenset[str]) -> set[str]:
        """Return points with those that heaters, their taps and what is in series lead to."""
        joined: dict[str, set[str]] = {}
        for part in self.circuit.parts:
            wired = wired_heater(part, self.ways.point)
            if wired is not None:
                points = {*(wired.ends or ()), *(point for _, point in wired.taps)}
                for point in points:
                    joined.setdefault(point, set()).update(points)
        seen, line = set(starts), sorted(starts)
        while line:
            point = line.pop()
            onward = {*joined.get(point, ())}
            onward |= {o for _, o, ohms in self.ways.at.get(point, ()) if ohms < _TO_THE_ANODE}
            for other in sorted(onward - seen - stop):
                seen.add(other)
                line.append(other)
        return seen

    @cached_property
    def fed_rectifiers(self) -> tuple[Rectifier, ...]:
        """The rectifiers that alternating current reaches, at the anode or in a doubler at the
        cathode.
        """
        return tuple(r for r in self.anatomy.rectifiers if self._is_live(r))

    def _is_live(self, rectifier: Rectifier) -> bool:
        hot = self.live | self._driven_middles
        if self._points(frozenset(rectifier.anodes)) & hot:
            return True
        cathode = self.ways.closed(rectifier.cathode or "")
        return cathode in self._anodes and cathode in hot

    @cached_property
    def _anodes(self) -> frozenset[str]:
        return self._points(frozenset(p for one in self.anatomy.rectifiers for p in one.anodes))

    @cached_property
    def _driven_middles(self) -> frozenset[str]:
        """The points between two rectifiers that a capacitor drives: a half-wave doubler's."""
        cathodes = {self.ways.closed(r.cathode) for r in self.anatomy.rectifiers if r.cathode}
        driven: set[str] = set()
        for part in self.circuit.parts:
            if KINDS[part.kind].law == Law.CAPACITANCE and len(part.pins) == 2:
                ends = {self.ways.point(node) for _, node in part.pins}
                if ends & self.live:
                    driven |= ends & self._anodes & cathodes
        return frozenset(driven)

    def rectifiers(self) -> Iterator[Works]:
        """Yield whether alternating current reaches each rectifier, and whether it is one way."""
        for one in self.anatomy.rectifiers:
            shorted = one.cathode is not None and self.ways.closed(one.cathode) in self._points(
                frozenset(one.anodes)
            )
            ok = one in self.fed_rectifiers and not shorted
            label = f"{one.part} {one.unit}".strip()
            verdict = Verdict.WORKS if ok else self._bad()
            yield Works(Aspect.RECTIFIER, label, verdict, place="shorted" if shorted else "")

    @cached_property
    def supplied(self) -> dict[str, float]:
        """The points that B+ reaches, with the ohms to them."""
        starts = {
            self.ways.closed(one.cathode) for one in self.fed_rectifiers if one.cathode is not None
        }
        mains = self.circuit.mains
        if mains is not None and mains.hertz == 0:
            starts |= set(self.blades) - self._points(self.anatomy.common)
        starts |= self._points(frozenset(self._from_outside()))
        return self.ways.ohms_from(starts - self.low, stop=self.low, most=_TO_A_PLATE)

    def _from_outside(self) -> Iterator[str]:
        """Yield rails that a connector without its other half will feed."""
        if self.incomplete:
            yield from (rail.point for rail in self.anatomy.rails if rail.fed_from is None)

    @cached_property
    def poles(self) -> frozenset[str]:
        """The points where the current of the set goes back to its supply."""
        poles: set[str] = set()
        for one in self.fed_rectifiers:
            anodes = self._points(frozenset(one.anodes))
            if one.minus is not None:
                poles.add(self.ways.closed(one.minus))
            elif not anodes & self.live:
                poles |= anodes
            else:
                poles |= self._beyond(anodes)
        mains = self.circuit.mains
        if mains is not None and mains.hertz == 0:
            poles |= set(self.blades)
        return frozenset(poles)

    def _beyond(self, anodes: frozenset[str]) -> set[str]:
        """Return the far ends of what feeds some anodes: the other points of the same windings, or
        the blades.
        """
        near = set(self.ways.ohms_from(anodes, stop=self.low, most=_TO_THE_ANODE))
        poles: set[str] = set()
        for part in self.circuit.parts:
            for run in strands(part) if part.kind in ("transformer", "autotransformer") else ():
                points = {self.ways.point(part.at(end)) for end in run} if len(run) > 1 else set()
                if points & near:
                    poles |= points - anodes
        through = self._through_heaters(near, self.low)
        if through & self.blades.keys():
            poles |= self.blades.keys()
        return poles

    # heaters, lamps, motors

    def warmth(self) -> Iterator[Works]:
        """Yield what every heater, lamp and motor gets."""
        rows = {row.part: row for row in Heating(self.anatomy.heaters).warmth()}
        aspects = {"heater": Aspect.HEATER, "lamp": Aspect.LAMP, "motor": Aspect.MOTOR}
        for part in self.circuit.parts:
            row = rows.get(part.name)
            if row is not None:
                verdict = self._warm_enough(row)
                yield Works(aspects[row.kind], part.name, verdict, row.volts, row.rated)
            elif part.name in self.anatomy.heaters.wired:
                yield Works(Aspect.HEATER, part.name, self._bad(), 0.0)

    def _warm_enough(self, row: Warmth) -> Verdict:
        if row.volts is None:
            return Verdict.UNKNOWN
        ratio = row.volts / row.rated
        below = {"heater": _TAPPED_HEATER, "lamp": _TAPPED_LAMP}.get(row.kind, HEATER_LIMIT)
        least = 1 - (below if row.tapped else HEATER_LIMIT)
        good = least - 1e-9 <= ratio <= 1 + HEATER_LIMIT + 1e-9
        return Verdict.WORKS if good else self._bad()

    # tubes

    def electrodes(self) -> Iterator[Works]:
        """Yield whether B+ reaches plates and screens, and cathodes, grids and common have a way
        back.
        """
        back = self.ways.ohms_from(self.poles, most=_FROM_A_CATHODE) if self.poles else {}
        idle = {stage.label for stage in self.anatomy.stages if stage.kind == "idle"}
        for unit in self.anatomy.units:
            if not unit.amplifies or unit.label in idle or not unit.plates:
                continue
            for aspect, element in ((Aspect.PLATE, "plate"), (Aspect.SCREEN, "screen")):
                for name, pins, point in unit.elements:
                    if name == element:
                        ok = self.ways.closed(point) in self.supplied
                        yield self._row(aspect, unit, pins, ok=ok)
            cathode = unit.at("cathode")
            ok = cathode is not None and self.ways.closed(cathode) in back
            yield self._row(Aspect.CATHODE, unit, unit.pins("cathode"), ok=ok)
            yield self._grid(unit)
        if self.poles and self.anatomy.stages:
            yield from self._common_return(back)

    def _row(self, aspect: Aspect, unit: Unit, pins: tuple[str, ...], *, ok: bool) -> Works:
        verdict = Verdict.WORKS if ok else self._bad()
        return Works(aspect, unit.label, verdict, place=pins[0] if pins else "")

    def _grid(self, unit: Unit) -> Works:
        """Return whether a grid has a way for direct current to common, B-, or its own cathode."""
        grid = unit.at("grid")
        if grid is None:
            return self._row(Aspect.GRID, unit, (), ok=False)
        start = self.ways.closed(grid)
        plates = {self.ways.closed(p) for u in self.anatomy.units if u.amplifies for p in u.plates}
        rails = self._points(self.anatomy.rail)
        leg = {self.ways.closed(p) for p in self.anatomy.signal.cathode_leg(unit)}
        barred = frozenset((plates | rails) - {start})
        reached = self.ways.ohms_from((start,), stop=barred | self.low)
        ends = self.low | leg | (plates & {start}) | self._points(self.anatomy.common)
        return self._row(Aspect.GRID, unit, unit.pins("grid"), ok=bool(ends & reached.keys()))

    def _common_return(self, back: dict[str, float]) -> Iterator[Works]:
        common = self._points(self.anatomy.common)
        ohms = min((back[point] for point in common if point in back), default=None)
        ok = ohms is not None and ohms <= _FROM_COMMON
        verdict = Verdict.WORKS if ok else self._bad()
        yield Works(Aspect.RETURN, ", ".join(sorted(self.anatomy.common)), verdict, ohms)

    # signal

    def signals(self) -> Iterator[Works]:
        """Yield whether a signal gets from every input to a load, and to every load."""
        drives: dict[str, set[str]] = {}
        for coupling in self.anatomy.couplings:
            drives.setdefault(coupling.source, set()).add(coupling.target)
        loads = {label: output.loads for output in self.anatomy.outputs for label in output.stages}
        heard: set[str] = set()
        for port in self.anatomy.inputs:
            seen, line = {port.part}, [port.part]
            while line:
                for label in sorted(drives.get(line.pop(), ())):
                    if label not in seen:
                        seen.add(label)
                        line.append(label)
            reached = {load for label in seen for load in loads.get(label, ())}
            heard |= reached
            goes_on = bool(reached) if self.anatomy.loads else len(seen) > 1
            verdict = Verdict.WORKS if goes_on else self._bad()
            yield Works(Aspect.SIGNAL, port.part, verdict)
        for port in self.anatomy.loads if self.anatomy.stages else ():
            part = self.circuit.by_name[port.part]
            verdict = Verdict.WORKS if port.part in heard else self._bad()
            if part.kind == "jack" and verdict is Verdict.FAULT:
                verdict = Verdict.NOTE
            yield Works(Aspect.LOAD, port.part, verdict)

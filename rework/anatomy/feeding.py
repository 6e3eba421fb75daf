"""What feeds a set: which primaries are on the line, which rectifiers alternating current reaches,
where B+ gets to and where the current of the set goes back.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property
from itertools import combinations

from rework.anatomy.amplifier import Anatomy
from rework.anatomy.direct import DirectWays
from rework.anatomy.heaters import wired_heater
from rework.anatomy.line import primary_ends
from rework.anatomy.rectifiers import RectifierSection
from rework.anatomy.units import tube_of
from rework.circuit.kinds import KINDS, Law
from rework.circuit.parts import Part, strands
from rework.tubes import library
from rework.tubes.elements import is_element

#: Ohms up to which alternating current reaches a rectifier: surge resistors, windings, heaters
#: (own choice, no source).
_TO_THE_ANODE = 5e3
#: Ohms up to which B+ reaches a plate or a screen (own choice, no source).
_TO_A_PLATE = 5e6


class Feeding:
    """The ways by which one circuit is fed, fuses whole and switches on. Points are those of
    `DirectWays`.

    Parameters
    ----------
    anatomy
        The circuit.
    """

    def __init__(self, anatomy: Anatomy) -> None:
        self.anatomy = anatomy
        self.circuit = anatomy.circuit
        self.ways = DirectWays(anatomy.wiring)
        #: Whether something still has to be connected before the set can work.
        self.incomplete = bool(self._open_ports()) or not any(
            part.kind == "plug" for part in self.circuit.parts
        )
        #: Whether a bulb has pins of which nobody knows what is on them: a rectifier may be inside.
        self.opaque = any(
            not is_element(pin)
            for part in self.circuit.parts
            if part.kind == "tube" and library.find(part.type) is None
            for pin, _ in part.pins
        )

    def _open_ports(self) -> tuple[str, ...]:
        """Return the ports of the circuit that no other circuit is joined to yet."""
        return tuple(name for name, _ in self.circuit.ports if "/" not in name)

    @property
    def is_direct(self) -> bool:
        """Whether the line of the set is direct current."""
        mains = self.circuit.mains
        return mains is not None and mains.hertz == 0

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

    def line_ends(self, part: Part) -> tuple[str, str] | None:
        """Return the two terminals of a part by which it is on the line: a motor's, a primary's."""
        if part.kind == "motor":
            return ("1", "2") if part.node("1") and part.node("2") else None
        return None if part.name in self._signal_transformers else primary_ends(part)

    @cached_property
    def _signal_transformers(self) -> frozenset[str]:
        return frozenset(part.name for part in self.anatomy.signal.transformers)

    def has_lifted_primary(self, part: Part) -> bool:
        """Return whether a transformer of the supply has a primary with a lead on nothing."""
        return (
            part.kind == "transformer"
            and part.name not in self._signal_transformers
            and any(name.startswith("primary") for name, _ in part.windings)
            and primary_ends(part) is None
        )

    def is_fed(self, part: Part, ways: DirectWays) -> bool:
        """Return whether alternating current reaches the two ends of a primary or a motor: one each
        from the two blades, or from the two ends of a winding that is itself fed; of an
        autotransformer any two points of its winding. Direct current feeds no transformer.
        """
        return self._is_fed(part, ways, frozenset())

    def _is_fed(self, part: Part, ways: DirectWays, behind: frozenset[str]) -> bool:
        """Return whether a primary is fed other than from the windings of the parts ``behind``
        it.
        """
        ends = self.line_ends(part)
        if ends is None or (self.is_direct and part.kind != "motor"):
            return False
        at = [ways.point(part.at(end)) for end in ends]
        if part.kind == "autotransformer":
            at = [
                ways.point(part.at(end)) for run in strands(part) if ends[0] in run for end in run
            ]
        return any(
            near in first and far in second
            for first, second in self._sources(part, ways, behind)
            for here, there in combinations(at, 2)
            for near, far in ((here, there), (there, here))
        )

    def half_wave(self, part: Part) -> tuple[str, str] | None:
        """Return the rectifier through which alone current reaches a primary or a motor, and the
        end that is on its direct side; None where it is fed, or not at all.
        """
        ends = self.line_ends(part)
        if ends is None or self.is_direct or self.is_fed(part, self.ways):
            return None
        at = [self.ways.point(part.at(end)) for end in ends]
        for sides in self._sources(part, self.ways, frozenset()):
            for near, far in (sides, sides[::-1]):
                for here in (0, 1):
                    for section in self.anatomy.rectifiers if at[here] in near else ():
                        for poles, inputs in self._sides_of(section):
                            if at[1 - here] in poles and not inputs.isdisjoint(far):
                                return section.part, ends[1 - here]
        return None

    def _sides_of(
        self, section: RectifierSection
    ) -> tuple[tuple[frozenset[str], frozenset[str]], ...]:
        """Return the points on one side of a rectifier with those on the other, both ways about;
        of a bridge both poles are on one side.
        """
        anodes = self.closed(frozenset(section.anodes))
        poles = self.closed(frozenset(filter(None, (section.cathode, section.minus))))
        return (
            ((poles, anodes),) if section.form == "bridge" else ((poles, anodes), (anodes, poles))
        )

    def _sources(
        self, part: Part, ways: DirectWays, behind: frozenset[str]
    ) -> Iterator[tuple[set[str], set[str]]]:
        """Yield what the two ends of each source of alternating current reach: blades, then the
        windings of fed transformers.
        """
        blades = list(dict.fromkeys(ways.closed(point) for point in self.blades))
        reach = {blade: self._through_the_line(blade, ways, part.name) for blade in blades}
        yield from ((reach[first], reach[second]) for first, second in combinations(blades, 2))
        known = behind | {part.name}
        for other in self.circuit.parts:
            if other.kind != "transformer" or other.name in known:
                continue
            runs = [run for run in strands(other) if len(run) > 1]
            if len(runs) < 2 or not self._is_fed(other, ways, known):
                continue
            for run in runs:
                for first, second in combinations(run, 2) if not _is_primary(run) else ():
                    yield (
                        self._through_the_line(ways.point(other.at(first)), ways, part.name),
                        self._through_the_line(ways.point(other.at(second)), ways, part.name),
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

    @cached_property
    def live(self) -> frozenset[str]:
        """The points of blades and of windings whose primary is fed, and what resistances lead to
        from there, common left out.
        """
        starts = set(self.blades)
        for part in self.circuit.parts:
            if part.kind in ("transformer", "autotransformer") and self.is_fed(part, self.ways):
                starts |= {
                    self.ways.point(node)
                    for end, node in part.pins
                    if not end.startswith(("core", "screen"))
                }
            if part.kind == "motor" and part.node("tap") and self.is_fed(part, self.ways):
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
    def fed_rectifiers(self) -> tuple[RectifierSection, ...]:
        """The rectifiers that alternating current reaches, at the anode or in a doubler at the
        cathode.
        """
        return tuple(r for r in self.anatomy.rectifiers if self._is_live(r))

    def _is_live(self, rectifier: RectifierSection) -> bool:
        hot = self.live | self._driven_middles
        if self.is_shorted(rectifier) and not self._sound_plates(rectifier):
            return False
        if self._sound_plates(rectifier) & hot:
            return True
        cathode = self.ways.closed(rectifier.cathode or "")
        return cathode in self._anodes and cathode in hot

    def is_shorted(self, rectifier: RectifierSection) -> bool:
        """Return whether a rectifier is wired to itself: its cathode to its anode, or both inputs
        of a bridge to one point.
        """
        anodes = [self.ways.closed(point) for point in rectifier.anodes]
        if rectifier.form == "bridge" and len(anodes) == 2 and anodes[0] == anodes[1]:
            return True
        return not self._cathodes(rectifier).isdisjoint(anodes)

    @cached_property
    def turned(self) -> frozenset[str]:
        """The parts of the rectifiers that are the wrong way round: alternating current reaches
        the side that B+ should come out of; and B+ is on the other one, or reaches no plate and
        would from there.
        """
        plates = self.closed(
            frozenset(p for unit in self.anatomy.units if unit.amplifies for p in unit.plates)
        )
        if self.incomplete or self.is_direct or not plates:
            return frozenset()
        is_dead = plates.isdisjoint(self.supplied)
        turned: set[str] = set()
        for section in self.anatomy.rectifiers:
            inputs, side = self._reversed_sides(section)
            if section.form == "tube" or self.is_shorted(section) or not inputs & self.live:
                continue
            far = side - self.low
            is_across = section.form != "bridge" and not self._is_live(section)
            reached = self.ways.ohms_from(far, stop=self.low, most=_TO_A_PLATE) if is_dead else {}
            if (is_across and far & self.supplied.keys()) or plates & reached.keys():
                turned.add(section.part)
        return frozenset(turned)

    def _reversed_sides(self, section: RectifierSection) -> tuple[frozenset[str], frozenset[str]]:
        """Return the points at which alternating current enters a rectifier that is the wrong way
        round, and those at which B+ would come out.
        """
        anodes = self.closed(frozenset(section.anodes))
        minus = self.closed(frozenset(filter(None, [section.minus])))
        cathode = self.closed(frozenset(filter(None, [section.cathode])))
        return (anodes, minus) if section.form == "bridge" else (cathode, anodes)

    def _cathodes(self, rectifier: RectifierSection) -> frozenset[str]:
        """Return the point of a cathode; of one that is its own heater both ends."""
        if rectifier.cathode is None:
            return frozenset()
        part, cathode = self.circuit.by_name[rectifier.part], self.ways.closed(rectifier.cathode)
        tube, wired = tube_of(part), wired_heater(part, self.ways.point)
        direct = tube is not None and tube.heater.directly_heated
        ends = wired.ends if direct and wired is not None else None
        return frozenset((cathode, *(ends or ())))

    def _sound_plates(self, rectifier: RectifierSection) -> frozenset[str]:
        """Return the anodes by which a rectifier works: of a tube with one plate on its cathode the
        other one, of anything else that is wired to itself none.
        """
        if rectifier.form != "tube" and self.is_shorted(rectifier):
            return frozenset()
        return self.closed(frozenset(rectifier.anodes)) - self._cathodes(rectifier)

    @cached_property
    def _anodes(self) -> frozenset[str]:
        return self.closed(
            frozenset(p for section in self.anatomy.rectifiers for p in section.anodes)
        )

    @cached_property
    def _driven_middles(self) -> frozenset[str]:
        """The points between two rectifiers that a capacitor drives: a half-wave doubler's."""
        cathodes = {self.ways.closed(r.cathode) for r in self.anatomy.rectifiers if r.cathode}
        driven: set[str] = set()
        for part in self.circuit.parts:
            if KINDS[part.kind].law == Law.CAPACITANCE and len(part.ends) == 2:
                ends = {self.ways.point(node) for node in part.ends}
                if ends & self.live:
                    driven |= ends & self._anodes & cathodes
        return frozenset(driven)

    @cached_property
    def supplied(self) -> dict[str, float]:
        """The points that B+ reaches, with the ohms to them."""
        starts = {
            self.ways.closed(section.cathode)
            for section in self.fed_rectifiers
            if section.cathode is not None
        }
        if self.is_direct:
            starts |= set(self.blades) - self.closed(self.anatomy.common)
        starts |= self.closed(frozenset(self._from_outside()))
        return self.ways.ohms_from(starts - self.low, stop=self.low, most=_TO_A_PLATE)

    def _from_outside(self) -> Iterator[str]:
        """Yield rails that a connector without its other half will feed."""
        if self.incomplete:
            yield from (rail.point for rail in self.anatomy.rails if rail.fed_from is None)

    @cached_property
    def poles(self) -> frozenset[str]:
        """The points where the current of the set goes back to its supply."""
        poles: set[str] = set()
        for section in self.fed_rectifiers:
            anodes = self._sound_plates(section)
            if section.minus is not None:
                poles.add(self.ways.closed(section.minus))
            elif not anodes & self.live:
                poles |= anodes
            else:
                poles |= self._beyond(anodes)
        if self.is_direct:
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

    @cached_property
    def low(self) -> frozenset[str]:
        """Common, B- and metal, as points."""
        body = self.anatomy
        return self.closed(body.common | body.b_minus | body.chassis | body.earthed)

    def closed(self, points: frozenset[str]) -> frozenset[str]:
        """Return what points of the wiring are with fuses and closed switches as conductors."""
        return frozenset(self.ways.closed(point) for point in points)


def _is_primary(run: tuple[str, ...]) -> bool:
    return run[0].startswith("primary")

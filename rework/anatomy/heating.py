"""What every heater, lamp and motor gets: the heater circuit as a network of resistances at their
ratings, solved from the line and the windings.

Every heater is taken as the ohms it has at its rating, a lamp and a motor likewise. Near the rating
that is exact; further off the true volts deviate more than that, since a hot filament's resistance
rises with its volts, so a heater told to be off is off. Rectified current through windings and
taps is left out.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from typing import Literal

from rework.anatomy.heaters import NO_HEATER_CURRENT, Heaters
from rework.anatomy.motor_taps import MotorTap, motor_tap
from rework.anatomy.rectifiers import rectifiers
from rework.anatomy.resistive import DrivenWinding, Resistance, solved
from rework.anatomy.units import tube_of
from rework.circuit.graph import Merged
from rework.circuit.parts import Part, strands
from rework.circuit.taps import tap_shares
from rework.tubes.elements import HEATER
from rework.tubes.tubetype import TubeType

#: Ohms of a source of which no resistance is stated.
_STIFF = 1e-3
#: Ohms that a primary is taken to draw through what stands before it.
_PRIMARY = 1e6
#: Share of its rated volts under which a part is dark.
_DARK = 0.01
#: Henries from which a choke is no line filter's (own choice, no source).
_FILTER_HENRIES = 0.1
#: Transformers in a row, at most.
_DEEPEST = 4
#: Parts that carry heater current by their ohms.
_OHMIC = frozenset({"resistor", "thermistor", "choke"})


@dataclass(frozen=True, slots=True)
class Warmth:
    """The volts RMS of one heater, lamp or motor, and those it is rated for.

    ``volts`` is None where it is on something whose volts are not stated. ``rectifier`` names the
    one through which alone it is fed; then the volts are those of its half waves, None where what
    comes of them the wiring alone does not tell. ``tapped`` is whether anything is on the heater's
    tap, or the part itself on one.
    """

    part: str
    kind: Literal["heater", "lamp", "motor"]
    volts: float | None
    rated: float
    tapped: bool = False
    rectifier: str = ""


def _places(part: Part, winding: str, count: int) -> tuple[float, ...]:
    """Return how far along a winding each of its ``count`` terminals is; nothing where the file
    does not say it of all its taps.
    """
    taps: tuple[float | None, ...] = tap_shares(part, winding)
    if taps == (None,):
        taps = (0.5,)
    known = tuple(share for share in taps if share is not None)
    return (0.0, *known, 1.0) if len(known) == count - 2 else ()


class Heating:
    """The heater circuit of one circuit as a network.

    Parameters
    ----------
    heaters
        The heaters of the circuit and their points.
    """

    def __init__(self, heaters: Heaters) -> None:
        self.heaters = heaters
        self.circuit = heaters.circuit

    def warmth(self) -> tuple[Warmth, ...]:
        """Return what every heater, lamp and motor with a rating gets, in the order of the file.

        Lamps in the line itself (a limiter) are left out, and so are neon lamps, and heaters of
        which one end is on nothing.
        """
        still = self._volts()
        rows = self._warmth(still)
        if any(map(_is_dark, rows)) and (passing := self._rectified()):
            behind = self._behind_rectifiers(still, passing)
            rows = [behind.get(row.part, row) if _is_dark(row) else row for row in rows]
        return tuple(self._unless_unknown(row) for row in rows)

    def _behind_rectifiers(
        self, still: dict[str, float], passing: dict[Resistance, str]
    ) -> dict[str, Warmth]:
        """Return what gets volts through rectifiers alone, by name: the half waves of each, where
        one at a time is a closed way and no capacitor smooths them. What a transformer on half
        waves gives is not known: its core is saturated.
        """
        lit = {row.part: row for row in self._warmth(self._volts(passing)) if not _is_dark(row)}
        dead = {part.name for part in self._wound() if self._is_off(part, still)}
        squares: dict[str, float] = {}
        through: dict[str, str] = {}
        for passage, name in passing.items():
            volts = self._volts((passage,), without=dead)
            if not self._is_smoothed(volts):
                for row in self._warmth(volts):
                    if not _is_dark(row):
                        squares[row.part] = squares.get(row.part, 0.0) + (row.volts or 0.0) ** 2 / 2
                        through.setdefault(row.part, name)
        first = next(iter(passing.values()))
        return {
            name: replace(
                row,
                volts=squares[name] ** 0.5 if name in squares else None,
                rectifier=through.get(name, first),
            )
            for name, row in lit.items()
        }

    def _is_off(self, part: Part, volts: dict[str, float]) -> bool:
        first, second = self._primary(part)
        return abs(volts.get(first, 0.0) - volts.get(second, 0.0)) < 1.0

    def _is_smoothed(self, volts: dict[str, float]) -> bool:
        """Return whether a capacitor is across points of the network at different volts."""
        ends = (
            [volts.get(self.heaters.point(node)) for node in part.ends]
            for part in self.circuit.parts
            if part.kind == "electrolytic" and len(part.ends) == 2
        )
        return any(
            plus is not None and minus is not None and abs(plus - minus) > 1.0
            for plus, minus in ends
        )

    def _warmth(self, volts: dict[str, float]) -> list[Warmth]:
        on = {name for names in self.heaters.on_taps.values() for name in names}
        rows: list[Warmth] = []
        for part in self.circuit.parts:
            if part.kind == "tube":
                rows += self._heater(part, volts)
            elif part.kind in ("lamp", "motor") and "neon" not in part.words:
                row = self._rated(part, volts, tapped=part.name in on)
                if row is not None:
                    rows.append(row)
        return rows

    def _unless_unknown(self, row: Warmth) -> Warmth:
        """Return a row without volts where it is on a winding whose volts are not stated."""
        part = self.circuit.by_name[row.part]
        ends = {self.heaters.point(node) for _, node in part.pins}
        if _is_dark(row) and ends & self._unknown:
            return replace(row, volts=None)
        return row

    @cached_property
    def _unknown(self) -> frozenset[str]:
        """Points that resistances join to a winding, or motor's tap, that states no volts."""
        merged = Merged()
        for edge in self._resistances():
            merged.join(edge.start, edge.end)
        reached = {
            merged.find(point) for part in self.circuit.parts for point in self._untold(part)
        }
        return frozenset(
            point
            for part in self.circuit.parts
            for _, node in part.pins
            if merged.find(point := self.heaters.point(node)) in reached
        )

    def _untold(self, part: Part) -> Iterator[str]:
        tap = part.node("tap") if part.kind == "motor" else None
        if tap is not None and self._motor_tap(part) is None:
            yield self.heaters.point(tap)
        if part.kind not in ("transformer", "autotransformer"):
            return
        stated = {point for turn in self._turns(part) for point in (turn.start, turn.end)}
        for terminal, node in part.pins:
            point = self.heaters.point(node)
            if not terminal.startswith(("primary", "core", "screen")) and point not in stated:
                yield point

    def _heater(self, part: Part, volts: dict[str, float]) -> Iterator[Warmth]:
        wired = self.heaters.wired.get(part.name)
        tube = tube_of(part)
        if wired is None or tube is None or any(pin in wired.loose for pin in _ends(tube)):
            return
        at = {pin: self.heaters.point(node) for pin, node in part.pins}
        worst = max(
            (
                (abs(volts.get(first, 0.0) - volts.get(second, 0.0)), rated)
                for first, second, _, rated in _judged(tube, at)
            ),
            key=lambda pair: abs(pair[0] / pair[1] - 1),
            default=None,
        )
        if worst is not None:
            full = wired.way.volts.value if wired.way is not None else tube.heater.volts.value
            tapped = part.name in self.heaters.on_taps
            yield Warmth(part.name, "heater", worst[0] / worst[1] * full, full, tapped)

    def _rated(self, part: Part, volts: dict[str, float], *, tapped: bool) -> Warmth | None:
        kind: Literal["lamp", "motor"] = "lamp" if part.kind == "lamp" else "motor"
        rated = part.value("voltage")
        ends = [self.heaters.point(node) for end, node in part.pins if end in ("1", "2")]
        if rated is None or len(ends) != 2 or (kind == "lamp" and self._limits_the_line(ends)):
            return None
        across = abs(volts.get(ends[0], 0.0) - volts.get(ends[1], 0.0))
        return Warmth(part.name, kind, across, rated, tapped)

    def _limits_the_line(self, ends: list[str]) -> bool:
        """Return whether a lamp is between the line and a primary."""
        line = {
            end for source in self.heaters.sources if source.part is None for end in source.ends
        }
        fed = {point for part in self._wound() for point in self._primary(part)}
        return bool(line & set(ends)) and bool(fed & set(ends) - line)

    # the network

    def _volts(
        self, more: Iterable[Resistance] = (), *, without: Collection[str] = ()
    ) -> dict[str, float]:
        """Return the volts of every point, against no point in particular, with ``more`` in and
        nothing from the windings of the parts named in ``without``.
        """
        resistances = [*self._resistances(), *more]
        sources = [
            DrivenWinding("", *source.ends, source.volts, _STIFF)
            for source in self.heaters.sources
            if source.part is None
        ]
        for part in self._wound():
            first, second = self._primary(part)
            resistances.append(Resistance(first, second, _PRIMARY))
        volts = solved(resistances, sources)
        if self.circuit.mains is not None and self.circuit.mains.hertz == 0:
            return volts
        for _ in range(_DEEPEST):
            windings = (turn for turn in self._windings(volts) if turn.part not in without)
            driven = [*sources, *windings]
            again = solved(resistances, driven)
            if all(abs(again[point] - volts.get(point, 0.0)) < 1e-6 for point in again):
                return again
            volts = again
        return volts

    def _resistances(self) -> Iterator[Resistance]:
        for part in self.circuit.parts:
            at = {terminal: self.heaters.point(node) for terminal, node in part.pins}
            if part.kind == "tube":
                tube = tube_of(part)
                if tube is not None:
                    for first, second, ohms, _ in _sections(tube, at):
                        yield Resistance(first, second, ohms)
            elif part.kind == "motor" and "tap" in at:
                continue
            else:
                rated = ohms_of(part)
                ends = [at[end] for end in at if end != "frame"][:2]
                if rated is not None and len(ends) == 2 and ends[0] != ends[1]:
                    yield Resistance(ends[0], ends[1], max(rated, _STIFF))

    def _rectified(self) -> dict[Resistance, str]:
        """Return every rectifier that is no tube as if it were a wire, with its name."""
        return {
            Resistance(self.heaters.closed(anode), self.heaters.closed(end), _STIFF): section.part
            for section in rectifiers(self.heaters.wiring, ())
            for end in (section.cathode, section.minus)
            for anode in section.anodes
            if end is not None and end != anode
        }

    def _wound(self) -> Iterator[Part]:
        """Yield the parts whose other windings follow their primary: transformers,
        autotransformers, motors with a tap.
        """
        for part in self.circuit.parts:
            if (
                part.kind == "motor"
                and part.node("tap") is not None
                and len(self._primary(part)) == 2
            ) or (
                part.kind in ("transformer", "autotransformer")
                and any(value.dimension == "voltage" for _, said in part.windings for value in said)
                and len(self._primary(part)) == 2
            ):
                yield part

    def _motor_tap(self, part: Part) -> MotorTap | None:
        return motor_tap(self.heaters.wiring, part)

    def _primary(self, part: Part) -> tuple[str, ...]:
        if part.kind == "motor":
            ends = (part.node("1"), part.node("2"))
            return tuple(self.heaters.point(end) for end in ends if end is not None)
        runs = [run for run in strands(part) if len(run) > 1]
        named = [run for run in runs if run[0].startswith("primary")]
        first = named[0] if named else runs[0] if part.kind == "autotransformer" and runs else ()
        if not first:
            return ()
        tapped = self._on_the_line(part, first) if part.kind == "autotransformer" else ()
        near, far = tapped or (first[0], first[-1])
        return self.heaters.point(part.at(near)), self.heaters.point(part.at(far))

    def _on_the_line(self, part: Part, run: tuple[str, ...]) -> tuple[str, str] | tuple[()]:
        """Return the outermost two terminals of a winding that are on the line: of an
        autotransformer that steps up one of them is a tap.
        """
        line = {
            end for source in self.heaters.sources if source.part is None for end in source.ends
        }
        on = [terminal for terminal in run if self.heaters.point(part.at(terminal)) in line]
        return (on[0], on[-1]) if len(on) > 1 else ()

    def _windings(self, volts: dict[str, float]) -> Iterator[DrivenWinding]:
        """Yield the windings as sources at the volts that their primaries have now."""
        for part in self._wound():
            first, second = self._primary(part)
            across = volts.get(first, 0.0) - volts.get(second, 0.0)
            for winding in self._turns(part):
                yield DrivenWinding(
                    part.name, winding.start, winding.end, winding.volts * across, winding.ohms
                )

    def _turns(self, part: Part) -> Iterator[DrivenWinding]:
        """Yield each piece of winding with its volts for one volt on the primary.

        A single tap of which nothing is stated halves; nothing is fed from a winding of several
        taps that are not all stated, nor from a motor's whose volts are unknown.
        """
        if (tap := self._motor_tap(part)) is not None:
            ends = self.heaters.point(tap.tap), self.heaters.point(tap.back)
            turned = self.heaters.point(tap.front) != self._primary(part)[0]
            yield DrivenWinding(part.name, *ends, -tap.share if turned else tap.share, _STIFF)
        values = {
            name: {value.dimension: value.amount for value in said if not value.role}
            for name, said in part.windings
        }
        runs = [run for run in strands(part) if len(run) > 1]
        first = next((run for run in runs if run[0].startswith("primary")), runs[0] if runs else ())
        if not first:
            return
        mains = self.circuit.mains.volts if self.circuit.mains is not None else 0.0
        rated = full = values.get(first[0].split(".")[0], {}).get("voltage", mains)
        for run in runs:
            name = run[0].split(".")[0]
            if (run == first and len(run) < 3) or not rated:
                continue
            if part.kind == "autotransformer" and (fed := self._on_the_line(part, run)):
                at = _places(part, name, len(run))
                rated *= abs(at[run.index(fed[1])] - at[run.index(fed[0])]) if at else 1.0
            volts = full if run == first else values.get(name, {}).get("voltage", 0.0)
            places = _places(part, name, len(run))
            if not volts or not places:
                continue
            points = [self.heaters.point(part.at(terminal)) for terminal in run]
            ohms = values.get(name, {}).get("resistance", _STIFF)
            for (start, stop), (near, far) in zip(pairwise(points), pairwise(places), strict=True):
                if start != stop:
                    share = (far - near) * volts / rated
                    piece = max((far - near) * ohms, _STIFF)
                    yield DrivenWinding(part.name, start, stop, share, piece)


def _is_dark(row: Warmth) -> bool:
    return row.volts is not None and row.volts < _DARK * row.rated


def ohms_of(part: Part) -> float | None:
    """Return the ohms of a part at its rating where it may carry heater current, else None."""
    ohms = part.value("resistance", role="hot") or part.value("resistance")
    if part.kind == "choke" and ohms is None and (part.value("inductance") or 0) < _FILTER_HENRIES:
        return _STIFF
    if part.kind in _OHMIC:
        return ohms if ohms is not None and ohms < NO_HEATER_CURRENT else None
    if part.kind not in ("lamp", "motor") or "neon" in part.words:
        return None
    volts, amps, watts = part.value("voltage"), part.value("current"), part.value("power")
    if volts and amps:
        return volts / amps
    if volts and watts:
        return volts * volts / watts
    return ohms


def _ends(tube: TubeType) -> tuple[str, ...]:
    return tuple(pin for pin, names in tube.elements if set(HEATER) & set(names))


def _pin(tube: TubeType, at: dict[str, str], name: str) -> tuple[str, str] | None:
    """Return the first wired pin of a heater element with its point."""
    return next(
        ((pin, at[pin]) for pin, names in tube.elements if name in names and pin in at), None
    )


def _sections(tube: TubeType, at: dict[str, str]) -> Iterator[tuple[str, str, float, float]]:
    """Yield the sections of a heater as (point, point, ohms, rated volts): halves about a centre
    tap, the two sides of a lamp tap whose volts are printed, else the whole.
    """
    volts, amps = tube.heater.volts.value, tube.heater.amps.value
    first, second = _pin(tube, at, HEATER[0]), _pin(tube, at, HEATER[1])
    middle = _pin(tube, at, "heater-tap")
    lamp = _pin(tube, at, "lamp-tap")
    if middle is not None:
        full = max(feed.volts.value for feed in tube.heater.ways)
        least = min(feed.amps.value for feed in tube.heater.ways)
        for end in (first, second):
            if end is not None:
                yield end[1], middle[1], full / least / 2, full / 2
        return
    if first is None or second is None:
        return
    tapped = next((s for s in tube.heater.sections if lamp and lamp[0] in s.between), None)
    if lamp is not None and tapped is not None:
        near = first if first[0] in tapped.between else second
        far = second if near is first else first
        share = tapped.volts.value
        yield near[1], lamp[1], share / amps, share
        yield lamp[1], far[1], (volts - share) / amps, volts - share
        return
    yield first[1], second[1], volts / amps, volts


def _judged(tube: TubeType, at: dict[str, str]) -> Iterator[tuple[str, str, float, float]]:
    """Yield the sections by which a heater is judged: halves about a centre tap each, else the
    whole; what a lamp on its tap takes off one side is meant.
    """
    if _pin(tube, at, "heater-tap") is not None:
        yield from _sections(tube, at)
        return
    first, second = _pin(tube, at, HEATER[0]), _pin(tube, at, HEATER[1])
    if first is not None and second is not None:
        yield first[1], second[1], 0.0, tube.heater.volts.value

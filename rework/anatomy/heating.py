"""What every heater, lamp and motor gets: the heater circuit as a network of resistances at their
ratings, solved from the line and the windings.

Every heater is taken as the ohms it has at its rating, a lamp and a motor likewise. Near the rating
that is exact; further off the true volts deviate more than that, since a hot filament's resistance
rises with its volts, so a heater told to be off is off. Rectified current through windings and
taps is left out.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from typing import Literal

from rework.anatomy.half_waves import IdealDiode, half_cycles, ideal_diodes
from rework.anatomy.heater_sections import heater_ends, judged, sections
from rework.anatomy.heaters import NO_HEATER_CURRENT, Heaters
from rework.anatomy.motor_taps import MotorTap, motor_tap
from rework.anatomy.rectifiers import rectifiers
from rework.anatomy.resistive import DrivenWinding, Resistance, solved
from rework.anatomy.units import tube_of
from rework.circuit.graph import Merged
from rework.circuit.parts import Part, strands
from rework.circuit.taps import tap_shares

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
    one through which alone it is fed, ``half_wave`` whether in one half of the cycle only; the
    volts are None where a capacitor smooths them then. ``tapped`` is whether anything is on the
    heater's tap, or the part itself on one.
    """

    part: str
    kind: Literal["heater", "lamp", "motor"]
    volts: float | None
    rated: float
    tapped: bool = False
    rectifier: str = ""
    half_wave: bool = False


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
        if any(map(_is_dark, rows)):
            behind = self._behind_rectifiers(still)
            rows = [behind.get(row.part, row) if _is_dark(row) else row for row in rows]
        return tuple(self._unless_unknown(row) for row in rows)

    def _behind_rectifiers(self, still: dict[str, float]) -> dict[str, Warmth]:
        """Return what gets volts through rectifiers that are no tubes, by name: root of half the
        squares of the two halves of the cycle, where no capacitor smooths them. What a transformer
        on half waves gives is not known: its core is saturated.
        """
        diodes = ideal_diodes(rectifiers(self.heaters.wiring, ()), self.heaters.closed)
        if not diodes:
            return {}
        off = {part.name for part in self._wound() if self._is_off(part, still)}
        halves = half_cycles(lambda wires: self._volts(wires, without=off), diodes)
        smoothed = frozenset().union(*map(self._smoothed, halves))
        magnetised = self._magnetised(off, halves)
        rows: dict[str, Warmth] = {}
        for first, second in zip(*map(self._warmth, halves), strict=True):
            volts = [0.0 if _is_dark(row) else row.volts or 0.0 for row in (first, second)]
            nodes = [node for _, node in self.circuit.by_name[first.part].pins]
            island = self._island(nodes)
            if any(volts) or island & magnetised:
                known = any(volts) and not island & smoothed
                rows[first.part] = replace(
                    first,
                    volts=(sum(v * v for v in volts) / 2) ** 0.5 if known else None,
                    rectifier=self._through(diodes, nodes),
                    half_wave=not all(volts),
                )
        return rows

    def _magnetised(
        self, off: Collection[str], halves: Iterable[dict[str, float]]
    ) -> frozenset[str]:
        """Return the islands on windings of transformers whose primary gets half waves."""
        volts = list(halves)
        return frozenset().union(
            *(
                self._island(node for end, node in part.pins if not end.startswith("primary"))
                for part in self._wound()
                if part.name in off and not all(self._is_off(part, half) for half in volts)
            )
        )

    def _through(self, diodes: Sequence[IdealDiode], nodes: Sequence[str]) -> str:
        """Return the rectifier that a part is on by its own nodes, at the one with the fewest pins
        first; else one on its island.
        """
        at = self.heaters.wiring.at
        own = sorted(set(map(self.heaters.point, nodes)), key=lambda point: len(at.get(point, ())))
        near = (d.part for point in own for d in diodes if point in d[:2])
        island = self._island(nodes)
        far = (d.part for d in diodes if island & {self._islands.find(p) for p in d[:2]})
        return next(near, None) or next(far, diodes[0].part)

    def _is_off(self, part: Part, volts: dict[str, float]) -> bool:
        first, second = self._primary(part)
        return abs(volts.get(first, 0.0) - volts.get(second, 0.0)) < 1.0

    @cached_property
    def _islands(self) -> Merged:
        """The points that resistances join."""
        merged = Merged()
        for edge in self._resistances():
            merged.join(edge.start, edge.end)
        return merged

    def _island(self, nodes: Iterable[str]) -> frozenset[str]:
        """Return a point for each island that some nodes are on."""
        return frozenset(self._islands.find(self.heaters.point(node)) for node in nodes)

    def _smoothed(self, volts: dict[str, float]) -> frozenset[str]:
        """Return the islands with a capacitor between two of their points at different volts."""
        smoothed: set[str] = set()
        for part in self.circuit.parts:
            if part.kind == "electrolytic" and len(part.ends) == 2:
                plus, minus = (volts.get(self.heaters.point(node), 0.0) for node in part.ends)
                island = self._island(part.ends)
                if len(island) == 1 and abs(plus - minus) > 1.0:
                    smoothed |= island
        return frozenset(smoothed)

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
        merged = self._islands
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
        if wired is None or tube is None or any(pin in wired.loose for pin in heater_ends(tube)):
            return
        at = {pin: self.heaters.point(node) for pin, node in part.pins}
        worst = max(
            (
                (abs(volts.get(first, 0.0) - volts.get(second, 0.0)), rated)
                for first, second, _, rated in judged(tube, at)
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
                    for first, second, ohms, _ in sections(tube, at):
                        yield Resistance(first, second, ohms)
            elif part.kind == "motor" and "tap" in at:
                continue
            else:
                rated = ohms_of(part)
                ends = [at[end] for end in at if end != "frame"][:2]
                if rated is not None and len(ends) == 2 and ends[0] != ends[1]:
                    yield Resistance(ends[0], ends[1], max(rated, _STIFF))

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

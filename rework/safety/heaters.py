"""Heaters: what each one gets, by its printed rating and the way it is wired; strings; and what a
winding hangs on.

Heater volts within 10 % either way: M. J. Darby, The Radio Constructor, April 1962, and the common
rule of tube manuals (the figures of the tubes are the library's, each with its source). Part of a
heater's current in a string is never worked out here: where the wiring is no plain string and no
plain rail, the caution says so.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part, strands
from rework.safety.findings import Caution, Finding, measure, write
from rework.safety.net import Points
from rework.safety.survey import Survey, listed
from rework.tubes import library
from rework.tubes.tubetype import HeaterWay, TubeType

#: Heaters are run within this fraction of their rating (common rule of tube manuals).
LIMIT = 0.1
#: Heater currents that differ by less than this fraction agree; printed currents of one string do
#: not differ at all.
AGREE = 0.05
#: A resistor of more ohms than this carries no heater current to speak of: it is a bleeder or a
#: reference.
_NO_HEATER_CURRENT = 5000.0
_IN_SERIES = frozenset({"resistor", "thermistor", "lamp"})
#: What holds a winding to a voltage.
_REFERS = ("resistor", "pot", "fuse", "switch")
_HEATER_ELEMENTS = frozenset({"heater1", "heater2", "heater-tap"})


@dataclass(frozen=True, slots=True)
class Element:
    """Something that carries heater current between two rail points: a heater with its way, or a
    part in series.
    """

    part: Part
    ends: tuple[str, str]
    way: HeaterWay | None = None

    @property
    def amps(self) -> float | None:
        return self.way.amps.value if self.way else None


@dataclass(frozen=True, slots=True)
class Source:
    """Where heater current comes from: two rail points with volts between them, and the most amps
    where that is said.
    """

    name: str
    part: Part | None
    ends: tuple[str, str]
    volts: float
    amps: float | None
    winding: str = ""


class Heaters:
    """The heaters of one circuit as chains between rail points (fuses and switches count as
    conductors).
    """

    def __init__(self, survey: Survey) -> None:
        self.survey, self.circuit = survey, survey.circuit

    @property
    def rail(self) -> Points:
        """The points that conductors, fuses and closed contacts make of the nodes."""
        return self.survey.rail

    def tubes(self) -> Iterator[tuple[Part, TubeType]]:
        for part in self.survey.of_kind("tube"):
            known = library.find(part.type)
            if known is not None:
                yield part, known

    def way(self, part: Part, known: TubeType) -> tuple[HeaterWay, tuple[str, str]] | None:
        """Return the printed way a heater is wired and its two ends, or None where it is wired in
        none of them.
        """
        at = {pin: self.rail[node] for pin, node in part.pins}
        for way in known.heater.ways:
            ends = [{at.get(pin) for pin in side} for side in way.between]
            if all(len(end) == 1 and None not in end for end in ends) and ends[0] != ends[1]:
                return way, (ends[0].pop(), ends[1].pop())
        return None

    @cached_property
    def elements(self) -> tuple[Element, ...]:
        found = [
            Element(part, wired[1], wired[0])
            for part, known in self.tubes()
            if (wired := self.way(part, known))
        ]
        for part in self.survey.of_kind(*_IN_SERIES) if found else ():
            ends = tuple(self.rail[node] for _, node in part.pins)
            if (
                len(ends) == 2
                and ends[0] != ends[1]
                and (part.value("resistance") or 0) < _NO_HEATER_CURRENT
            ):
                found.append(Element(part, ends))
        return tuple(found)

    @cached_property
    def crowded(self) -> frozenset[str]:
        """Rail points where the current may branch: more than two elements, or anything else that
        carries current.
        """
        count: dict[str, int] = {}
        for element in self.elements:
            for end in element.ends:
                count[end] = count.get(end, 0) + 1
        crowded = {point for point, number in count.items() if number != 2}
        for part in self.circuit.parts:
            if part.kind in (
                "plug",
                "transformer",
                "autotransformer",
                "output transformer",
                "choke",
                "diode",
                "selenium",
                "bridge",
                "motor",
                "pot",
                "speaker",
                "dummy load",
            ):
                crowded.update(self.rail[node] for _, node in part.pins)
        return frozenset(crowded)

    @cached_property
    def chains(self) -> tuple[tuple[tuple[Element, ...], tuple[str, str]], ...]:
        """Every unbranched run of elements with at least one heater in it, from the first end of
        its source on.
        """
        at: dict[str, list[Element]] = {}
        for element in self.elements:
            for end in element.ends:
                at.setdefault(end, []).append(element)
        seen: set[str] = set()
        found = []
        for start in self.elements:
            if start.way is None or start.part.name in seen:
                continue
            run, ends = [start], list(start.ends)
            seen.add(start.part.name)
            for side in (0, 1):
                while ends[side] not in self.crowded:
                    onward = next(
                        (one for one in at[ends[side]] if one.part.name not in seen), None
                    )
                    if onward is None:
                        break
                    seen.add(onward.part.name)
                    run.insert(0, onward) if side == 0 else run.append(onward)
                    ends[side] = onward.ends[1] if onward.ends[0] == ends[side] else onward.ends[0]
            source = self.source_of((ends[0], ends[1]))
            if source is not None and source.ends[0] == ends[1]:
                run, ends = run[::-1], ends[::-1]
            found.append((tuple(run), (ends[0], ends[1])))
        return tuple(found)

    @cached_property
    def sources(self) -> tuple[Source, ...]:
        """The line, and every winding of a transformer that says its volts, whole and by halves
        where it has a middle tap.
        """
        found = [self._line(plug) for plug in self.survey.plugs] if self.circuit.mains else []
        for part in self.survey.of_kind("transformer"):
            values = dict(part.windings)
            for run in strands(part):
                name = run[0].split(".")[0]
                said = {
                    value.dimension: value.amount
                    for value in values.get(name, ())
                    if not value.role
                }
                if not name.startswith("primary") and "voltage" in said and len(run) > 1:
                    points = [self.rail[part.node(terminal)] for terminal in run]
                    told = f"the {name} winding of {part.name}"
                    found.append(
                        Source(
                            told,
                            part,
                            (points[0], points[-1]),
                            said["voltage"],
                            said.get("current"),
                            name,
                        )
                    )
                    if len(run) == 3:
                        found += [
                            Source(
                                f"half of {told}",
                                part,
                                ends,
                                said["voltage"] / 2,
                                said.get("current"),
                                name,
                            )
                            for ends in ((points[0], points[1]), (points[1], points[2]))
                        ]
        return tuple(source for source in found if source is not None)

    def _line(self, plug: Part) -> Source | None:
        ends = [self.rail[node] for terminal, node in plug.pins if terminal != "earth"]
        if len(ends) != 2 or self.circuit.mains is None:
            return None
        return Source("the line", None, (ends[0], ends[1]), self.circuit.mains.volts, None)

    def source_of(self, ends: tuple[str, str]) -> Source | None:
        return next((source for source in self.sources if set(source.ends) == set(ends)), None)


def heater_volts(survey: Survey) -> tuple[Finding, ...]:
    """Return cautions for heaters that are not fed, strings whose currents differ, and volts more
    than 10 % off.
    """
    heaters = Heaters(survey)
    found: list[Finding] = [
        caution
        for part, known in heaters.tubes()
        if not heaters.way(part, known)
        for caution in [_not_wired(heaters, part, known)]
    ]
    found += [
        caution
        for part, known in heaters.tubes()
        for caution in _half_shorted(heaters, part, known)
    ]
    for run, ends in heaters.chains:
        found += _chain(heaters, run, ends)
    return tuple(found) + _winding_amps(heaters)


def _not_wired(heaters: Heaters, part: Part, known: TubeType) -> Caution:
    at = {pin: heaters.rail[node] for pin, node in part.pins}
    pins = [pin for pin, carried in known.elements if set(carried) & _HEATER_ELEMENTS]
    loose = [pin for pin in pins if pin not in at]
    ways = listed(
        (
            f"{'+'.join(sorted(way.between[0]))} to {'+'.join(sorted(way.between[1]))} for"
            f" {way.volts.value:g} V"
            for way in known.heater.ways
        ),
        last="or",
    )
    what = (
        f"pin{'s' if len(loose) > 1 else ''} {listed(loose)} {'are' if len(loose) > 1 else 'is'} on"
        " nothing"
        if loose
        else (
            "both ends are on one point"
            if len({at[pin] for pin in pins}) == 1
            else "its pins are joined in no printed way"
        )
    )
    return Caution(
        "heater-not-fed",
        f"The heater of {part.name} ({part.type}) is not fed: {what}.",
        part.name,
        (loose or pins)[0],
        "",
        measure(f"Wire the heater of {part.name} between pins {ways}."),
    )


def _half_shorted(heaters: Heaters, part: Part, known: TubeType) -> Iterator[Caution]:
    wired = heaters.way(part, known)
    for pin, node in part.pins:
        if (
            wired
            and "heater-tap" in known.elements_of(pin)
            and heaters.rail[node] in wired[1]
            and not any(pin in side for side in wired[0].between)
        ):
            yield Caution(
                "heater-half-shorted",
                f"Half of the heater of {part.name} is shorted: its tap, pin {pin}, is joined to"
                " one end.",
                part.name,
                pin,
                node,
                measure(f"Take pin {pin} off {node}, or wire {part.name} for half the volts."),
            )


def _chain(heaters: Heaters, run: tuple[Element, ...], ends: tuple[str, str]) -> list[Finding]:
    tubes = [element for element in run if element.way]
    names = listed(element.part.name for element in tubes)
    amps = [element.amps for element in tubes]
    if max(amps) - min(amps) > AGREE * max(amps):
        told = listed(f"{element.part.name} {element.amps * 1000:g} mA" for element in tubes)
        return [
            Caution(
                "heater-currents",
                f"The heaters in one string do not want the same current: {told}.",
                tubes[0].part.name,
                "",
                "",
                measure(
                    "Put tubes of one heater current into the string, or a resistor across each heater"
                    " that wants less."
                ),
            )
        ]
    source = heaters.source_of(ends)
    if source is None:
        return [_unclear(heaters, run, ends, names)]
    volts = [_volts(element, amps[0]) for element in run]
    if None in volts:
        unknown = [
            element.part.name for element, drop in zip(run, volts, strict=True) if drop is None
        ]
        return [
            Caution(
                "heater-unknown",
                f"The heater string {names} has {listed(unknown)} in it, whose volts are not"
                " stated: the sum was not worked out.",
                unknown[0],
                "",
                "",
                write(
                    f"State the hot resistance of {listed(unknown)}, or measure the heater volts."
                ),
                "mind",
            )
        ]
    total = sum(volts)
    if abs(total - source.volts) <= LIMIT * (total if len(run) == 1 else source.volts) + 1e-9:
        return []
    if len(run) == 1:
        return [
            Caution(
                "heater-volts",
                f"The heater of {names} ({tubes[0].part.type}), wired for {total:g} V, is on"
                f" {source.name} with {source.volts:g} V: more than 10 % off.",
                names,
                "",
                "",
                measure(
                    f"Feed {names} from {total:g} V, or fit a relative with a heater for"
                    f" {source.volts:g} V."
                ),
            )
        ]
    return [
        Caution(
            "heater-volts",
            f"The heater string {names} adds up to {total:.1f} V at {amps[0] * 1000:g} mA and is on"
            f" {source.name} with {source.volts:g} V: more than 10 % off.",
            tubes[0].part.name,
            "",
            "",
            measure(
                "Bring the series resistor to"
                f" {max(0.0, (source.volts - sum(e.way.volts.value for e in tubes)) / amps[0]):.0f}"
                " ohm."
            ),
        )
    ]


def _volts(element: Element, amps: float) -> float | None:
    if element.way:
        return element.way.volts.value
    part = element.part
    ohms = (
        part.value("resistance", role="hot")
        if part.kind == "thermistor"
        else part.value("resistance")
    )
    if part.kind == "lamp":
        return part.value("voltage")
    return None if ohms is None else ohms * amps


def _unclear(
    heaters: Heaters, run: tuple[Element, ...], ends: tuple[str, str], names: str
) -> Caution:
    first = next(element.part for element in run if element.way)
    own = {id(element.part) for element in run}
    net, survey = heaters.survey.net, heaters.survey
    fed = {
        heaters.rail[node]
        for number, pins in enumerate(net.pins)
        if net.part[number].kind != "tube"
        and id(net.part[number]) not in own
        and not net.is_capacitor(number)
        and not net.is_insulation(number)
        and not net.is_closed(number)
        for _, node in pins
    }
    fed |= {survey.rail[node] for node in survey.ties.blades} | {
        end for element in heaters.elements if id(element.part) not in own for end in element.ends
    }
    if not set(ends) <= fed:
        return Caution(
            "heater-not-fed",
            f"The heater of {names} is not fed: one end leads nowhere.",
            first.name,
            "",
            "",
            measure(f"Bring both ends of {names} to the heater winding."),
        )
    return Caution(
        "heater-unclear",
        f"How the heater of {names} is fed is more than a string or a rail, or the volts of the"
        " winding are not stated; its volts were not worked out.",
        first.name,
        "",
        "",
        measure(f"Measure the heater volts of {names} with all tubes in."),
        "mind",
    )


def _winding_amps(heaters: Heaters) -> tuple[Finding, ...]:
    drawn: dict[tuple[str, str], list[tuple[str, float]]] = {}
    if not heaters.chains:
        return ()
    for run, ends in heaters.chains:
        source = heaters.source_of(ends)
        if source is not None and source.part is not None:
            tubes = [element for element in run if element.way]
            drawn.setdefault((source.part.name, source.winding), []).append(
                (listed(e.part.name for e in tubes), tubes[0].amps)
            )
    for part in heaters.survey.of_kind("lamp"):
        source = heaters.source_of(tuple(heaters.rail[node] for _, node in part.pins))
        if source is not None and source.part is not None and (amps := _lamp_amps(part)):
            drawn.setdefault((source.part.name, source.winding), []).append((part.name, amps))
    limit = {
        (source.part.name, source.winding): source
        for source in heaters.sources
        if source.part is not None
    }
    found = []
    for key, loads in sorted(drawn.items()):
        most, total = limit[key].amps, sum(amps for _, amps in loads)
        if most is None:
            found.append(
                Caution(
                    "heater-winding-unrated",
                    f"{key[0]} does not say how many amperes its {key[1]} winding gives;"
                    f" {total:.3g} A are drawn.",
                    key[0],
                    key[1],
                    "",
                    write(f"State the current of the {key[1]} winding of {key[0]}."),
                    "mind",
                )
            )
        elif total > most * (1 + 1e-9):
            found.append(
                Caution(
                    "heater-winding-amps",
                    f"The {key[1]} winding of {key[0]} gives {most:g} A and"
                    f" {listed(name for name, _ in loads)} draw {total:.3g} A.",
                    key[0],
                    key[1],
                    "",
                    measure(f"Take a transformer with at least {total:.3g} A on that winding."),
                )
            )
    return tuple(found)


def _lamp_amps(part: Part) -> float | None:
    amps, watts, volts = part.value("current"), part.value("power"), part.value("voltage")
    return amps if amps is not None else watts / volts if watts and volts else None


def heater_reference(survey: Survey) -> tuple[Finding, ...]:
    """Return cautions for heater windings that hang on nothing, and for those that stand on a
    voltage of their own.

    A winding that feeds a rectifier whose cathode is its heater, or is joined to it, has its
    reference there; one that feeds a bridge on common has it through the diodes, which hold its
    ends between common and the other pole.
    """
    heaters, found = Heaters(survey), []
    if not heaters.chains:
        return ()
    common = {
        survey.point[node]
        for node in survey.circuit.nodes
        if node in survey.ties.earthed or node in survey.circuit.within_reach
    }
    common |= {
        survey.point[node] for node in survey.circuit.nodes if _is_common(survey.circuit, node)
    }
    for part, winding in dict.fromkeys(
        (source.part.name, source.winding) for source in heaters.sources if source.part is not None
    ):
        transformer = survey.circuit.by_name[part]
        points = {
            survey.point[node]
            for terminal, node in transformer.pins
            if terminal.split(".")[0] == winding
        }
        fed = [
            tube
            for run, ends in heaters.chains
            for source in [heaters.source_of(ends)]
            if source is not None and (source.part, source.winding) == (transformer, winding)
            for tube in run
            if tube.way
        ]
        if not fed or any(_cathode_on(survey, element.part, points) for element in fed):
            continue
        reached = _resistive_reach(survey, points, common)
        names = listed(element.part.name for element in fed)
        if not reached & common and not _clamped(survey, points, common):
            found.append(
                Caution(
                    "heater-floating",
                    f"The {winding} winding of {part}, which heats {names}, hangs on nothing: its"
                    " heaters may float to any voltage against their cathodes, and hum.",
                    part,
                    winding,
                    "",
                    measure(
                        "Join it to common: by its tap, by two equal resistors, or by a hum-balance pot"
                        " (rule balance-heaters)."
                    ),
                )
            )
        elif reached & _raised(survey) - points:
            found.append(_raised_caution(part, winding, [element.part for element in fed]))
    return tuple(found)


def _is_common(circuit: Circuit, node: str) -> bool:
    return any(
        part.kind == "electrolytic" and terminal == "minus" for part, terminal in circuit.at[node]
    )


def _cathode_on(survey: Survey, part: Part, points: set[str]) -> bool:
    """Return whether a tube has its cathode on the winding that heats it, or its heater for a
    cathode.
    """
    known = library.find(part.type)
    return known.heater.directly_heated or (
        known.has_rectifier_unit
        and any(
            survey.point[node] in points
            for pin, node in part.pins
            if any(name.endswith("cathode") for name in known.elements_of(pin))
        )
    )


def _clamped(survey: Survey, points: set[str], common: set[str]) -> bool:
    """Return whether a winding feeds both inputs of a bridge that has a pole on common."""
    fed = _resistive_reach(survey, points, common, (*_REFERS, "lamp"))
    for bridge in survey.of_kind("bridge"):
        at = {terminal: survey.point[node] for terminal, node in bridge.pins}
        poles = {at[pole] for pole in ("plus", "minus") if pole in at}
        if {at.get("ac1"), at.get("ac2")} <= fed and _resistive_reach(
            survey, poles, common
        ) & common:
            return True
    return False


def _resistive_reach(
    survey: Survey, points: set[str], stop: set[str], through: tuple[str, ...] = _REFERS
) -> set[str]:
    """Return the points that resistors, pots, fuses and switches join to some points, on ways that
    end at ``stop``.
    """
    net, reached, line = survey.net, set(points), list(points)
    at: dict[str, list[int]] = {}
    for number, pins in enumerate(net.pins):
        if net.part[number].kind in through and not net.is_insulation(number):
            for _, node in pins:
                at.setdefault(survey.point[node], []).append(number)
    while line:
        point = line.pop()
        for number in at.get(point, ()) if point not in stop else ():
            for _, node in net.pins[number]:
                if survey.point[node] not in reached:
                    reached.add(survey.point[node])
                    line.append(survey.point[node])
    return reached


def _raised(survey: Survey) -> set[str]:
    """Return the points where B+ comes in: at the cathode side of rectifiers and at chokes."""
    return {
        survey.point[node]
        for part in survey.of_kind("bridge", "diode", "selenium", "choke")
        for terminal, node in part.pins
        if terminal in ("plus", "cathode") or part.kind == "choke"
    }


def _raised_caution(part: str, winding: str, tubes: list[Part]) -> Caution:
    limits = [
        (figure.value, tube, figure.trust)
        for tube in tubes
        if (figure := library.find(tube.type).ratings.get("heater_cathode_volts"))
    ]
    least = min(limits, key=lambda limit: (limit[0], limit[1].name)) if limits else None
    told = (
        f" The lowest heater-cathode limit is {least[0]:g} V, of {least[1].name} ({least[1].type};"
        f" {least[2]})."
        if least
        else (" No heater-cathode limit of these tubes is known here.")
    )
    return Caution(
        "heater-raised",
        f"The {winding} winding of {part} stands on a divider from B+.{told}",
        part,
        winding,
        "",
        measure(
            f"Measure from the {winding} winding to every cathode, from switch-on until warm, and hold"
            " it to the limit."
        ),
        "mind",
    )

"""Tubes at line frequency: heaters as resistances, electrodes as paths that may conduct or not.

A tube conducts from its plate (and screen) to its cathode. A grid conducts to its cathode only, and
only where it is driven positive: it never passes on what the plate brings to the cathode, so a grid
conducts while the plate does not.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations, pairwise

from rework.anatomy.links import groups
from rework.circuit.parts import Part
from rework.touch.builder import Builder
from rework.touch.element import EitherWay, Element
from rework.tubes import library
from rework.tubes.tubetype import TubeType

#: What an electrode is called from which a tube conducts to its cathode, whatever its grids do.
PLATES = ("plate", "screen", "diode")


def tube(build: Builder, part: Part) -> Iterator[Element]:
    """Return the heater and electrodes of a tube; of an unknown type, every pin to every other."""
    known = library.find(part.type) if part.type else None
    bound = tuple(terminal for terminal, _ in part.pins)
    heaters = _heater_pins(known, bound)
    for group in groups(part):
        if known is None:
            for first, second in combinations(group.terminals, 2):
                yield build.not_written(
                    build.pair(part, first, second, kind="tube"), "type in the library"
                )
        elif len(heaters) > 1 and set(group.terminals) <= heaters:
            yield from _heater(build, part, known, group.terminals)
        else:
            yield from _electrodes(build, part, known, group.terminals)


def carries(known: TubeType, pin: str, *starts: str) -> bool:
    """Return whether a pin carries an element whose name, without its unit, begins with one of
    some words.
    """
    return any(name.rpartition(".")[2].startswith(starts) for name in known.elements_of(pin))


def _electrodes(
    build: Builder, part: Part, known: TubeType, pins: Sequence[str]
) -> Iterator[Element]:
    """Return the paths of one group of electrodes to its cathode, and the heater where that is the
    cathode itself.
    """
    heaters = [pin for pin in pins if carries(known, pin, "heater")]
    cathodes = [pin for pin in pins if carries(known, pin, "cathode")]
    hub = (cathodes or list(pins))[0]
    if len(heaters) > 1:
        yield from _heater(build, part, known, heaters)
    for pin in pins:
        if pin == hub or (len(heaters) > 1 and pin in heaters):
            continue
        grid = bool(cathodes) and not carries(known, pin, *PLATES, "cathode", "heater", "internal")
        yield build.maybe(
            build.pair(
                part,
                pin,
                hub,
                rectifies=bool(cathodes) and _rectifies(known, pin),
                kind="tube",
            ),
            EitherWay("grid" if grid else "conducts", part.name),
        )


def _rectifies(known: TubeType, pin: str) -> bool:
    """Return whether a pin is a plate of a rectifier, alone in its bulb or beside other units."""
    units = {name.rpartition(".")[0] for name in known.elements_of(pin)}
    return carries(known, pin, "plate") and (known.is_rectifier or "rectifier" in units)


def _heater_pins(known: TubeType | None, bound: Sequence[str]) -> set[str]:
    return {pin for pin in bound if known and carries(known, pin, "heater", "lamp-tap")}


def _heater(build: Builder, part: Part, known: TubeType, pins: Sequence[str]) -> Iterator[Element]:
    """Return the heater hot at its printed volts over amperes, and cold; shared evenly where it is
    tapped.
    """
    feed = max(known.heater.ways, key=lambda feed: feed.volts.value / feed.amps.value, default=None)
    order = [pin for pin in pins if "tap" not in "".join(known.elements_of(pin))]
    taps = [pin for pin in pins if pin not in order]
    chain = [*order[:1], *taps, *order[1:]] if order else list(taps)
    ohms = None if feed is None else feed.volts.value / feed.amps.value / max(len(chain) - 1, 1)
    for first, second in pairwise(chain):
        name = f"{part.name} heater {first}-{second}"
        if ohms is None:
            yield build.not_written(
                build.pair(part, first, second, name=name, kind="heater"),
                "heater volts and amperes in the library",
            )
        else:
            yield build.pair(
                part,
                first,
                second,
                1 / ohms,
                name,
                cold=build.assumed["cold_ratio"] / ohms,
                kind="heater",
            )

"""An amplifier on B+ that one chooses: its old rectifier out, direct current where that handed B+
on.

The amplifier is then a circuit like any other, so that whatever solves circuits solves it at any
B+.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, replace

from rework.anatomy.rectifiers import RectifierSection, rectifies, shares_bulb
from rework.anatomy.units import element_at, tube_of
from rework.circuit.circuit import Circuit, Mains
from rework.circuit.parts import Part
from rework.circuit.place import Problem
from rework.rules.facts import Facts
from rework.solve.assemble import assemble
from rework.solve.network import CannotSolve
from rework.solve.periodic import mains_steady
from rework.tubes.tubetype import TubeType

#: Kinds that stand between the line and the anode of a rectifier: surge resistors, fuses, switches,
#: a lamp on its tap.
_BEFORE_THE_ANODE = frozenset({"resistor", "thermistor", "fuse", "switch", "lamp", "choke"})
_WOUND = "autotransformer"


@dataclass(frozen=True, slots=True)
class Feed:
    """Where the old supply hands B+ to the amplifier: the node ``rail``, the node ``back`` to which
    its current returns, the rectifiers; a bulb that holds another tube too is one of them.
    """

    rail: str
    back: str
    rectifiers: tuple[str, ...]


def feed_of(circuit: Circuit) -> Feed:
    """Return where the rectifier off the line hands B+ on.

    Raises CannotSolve where there is none, or more than one place.
    """
    facts = Facts(circuit)
    sections = [
        part for part in circuit.parts if rectifies(part) and not facts.fed_by_winding(part)
    ]
    rail, fed_by = _rail(facts, sections)
    names = tuple(part.name for part in sections)
    return Feed(rail, _doubled_back(facts, rail) or _back(facts, circuit, fed_by), names)


def _doubled_back(facts: Facts, rail: str) -> str | None:
    """Return the node to which B+ of a voltage doubler returns, None where there is no doubler: the
    anode of the section that fills the middle from below.
    """
    rectifiers = facts.anatomy.rectifiers
    upper = [each for each in rectifiers if each.cathode == facts.point(rail)]
    lower = [each for top in upper for each in rectifiers if each.cathode in top.anodes]
    return _node_of(facts, lower[0]) if lower and lower[0] not in upper else None


def _node_of(facts: Facts, rectifier: RectifierSection) -> str | None:
    """Return a node at the anode of a rectifier, the common's by its name."""
    point = rectifier.anodes[0] if rectifier.anodes else None
    nodes = [node for node in facts.circuit.nodes if facts.point(node) == point]
    return min(nodes, key=lambda node: (node.upper() != "COMMON", node), default=None)


def _rail(facts: Facts, sections: list[Part]) -> tuple[str, list[Part]]:
    """Return the node at which rectifiers hand B+ on, and those that do."""
    rails = {
        point: node
        for part in sections
        for node in _ends(part, "plus", "cathode")
        if (point := facts.point(node)) in facts.rail
    }
    if len(rails) != 1:
        raise CannotSolve(_no_rail(facts, sorted(rails.values())))
    ((point, rail),) = rails.items()
    return rail, [p for p in sections if point in facts.points(_ends(p, "plus", "cathode"))]


def _no_rail(facts: Facts, rails: list[str]) -> Problem:
    """Return why there is no one place at which B+ is handed on: an unknown tube may be the
    rectifier.
    """
    unknown = [p for p in facts.circuit.parts if p.kind == "tube" and tube_of(p) is None]
    if not rails and unknown:
        named = unknown[0]
        return Problem(
            f"the pins of the {named.type} of {named.name} are not known, so nothing says whether"
            " it is the rectifier, nor where B+ begins",
            named.place,
            hint="write a tube file of your own from its sheet: rework new TYPE.toml",
        )
    what = (
        "the rectifiers feed B+ at " + " and ".join(rails)
        if rails
        else "no rectifier feeds B+ from the line to the tubes"
    )
    return Problem(
        f"{what}, so there is no one place to feed the amplifier at",
        hint="give it a job with a supply attached, or a circuit as it was found",
    )


def _back(facts: Facts, circuit: Circuit, fed_by: list[Part]) -> str:
    """Return the node to which B+ returns: the minus of a bridge, else the other side of the
    line.
    """
    sides = facts.line_sides
    if len(sides) != 2:
        raise CannotSolve(
            Problem(
                "the amplifier has no line cord with two blades, so its return is not known",
                hint="write the plug into the circuit",
            )
        )
    minus = [node for part in fed_by for node in _ends(part, "minus")]
    if minus:
        return minus[0]
    anodes = [node for part in fed_by for node in _ends(part, "anode", "plate")]
    near = _nearest_side(facts, anodes, sides, fed_by, _BEFORE_THE_ANODE | {_WOUND})
    if near is None:
        raise CannotSolve(
            Problem(
                f"no blade of the plug is found behind the anode of {fed_by[0].name}",
                fed_by[0].place,
                hint="look at how it is fed",
            )
        )
    blades = [
        node
        for part in circuit.parts
        if part.kind == "plug"
        for terminal in ("line", "neutral")
        if (node := part.node(terminal))
    ]
    return next(node for node in blades if facts.point(node) in sides[1 - near])


def is_fed_at_a_tap(circuit: Circuit, feed: Feed) -> bool:
    """Return whether the rectifiers reach the line only by the winding of an autotransformer."""
    facts = Facts(circuit)
    rectifiers = [circuit.by_name[name] for name in feed.rectifiers]
    anodes = [node for part in rectifiers for node in _ends(part, "anode", "plate")]
    near = _nearest_side(facts, anodes, facts.line_sides, rectifiers, _BEFORE_THE_ANODE)
    return near is None and any(part.kind == _WOUND for part in circuit.parts)


def fed(circuit: Circuit, feed: Feed, volts: float) -> Circuit:
    """Return the amplifier with ``volts`` of direct current between ``rail`` and ``back``;
    rectifiers and plugs are out, of a shared bulb its rectifier alone, and no heater is drawn, so
    that every tube counts as warm.
    """
    plugs = [part for part in circuit.parts if part.kind == "plug"]
    source = Part(
        plugs[0].name,
        "plug",
        words=("two-blade",),
        pins=(("line", feed.rail), ("neutral", feed.back)),
    )
    out = {part.name for part in plugs}
    kept: list[Part] = []
    for part in circuit.parts:
        if part.name in feed.rectifiers and shares_bulb(part):
            kept.append(_without_heater(_without_rectifier(part)))
        elif part.name not in out and part.name not in feed.rectifiers:
            kept.append(_without_heater(part))
    return replace(circuit, parts=(source, *kept), mains=Mains(volts, 0.0))


def _without_rectifier(part: Part) -> Part:
    """Return a bulb with nothing on the pins of its rectifier."""
    tube = tube_of(part)
    if tube is None:
        return part
    return replace(part, pins=tuple(pin for pin in part.pins if not _rectifies(tube, pin[0])))


def _rectifies(tube: TubeType, terminal: str) -> bool:
    """Return whether a pin carries an element of the rectifier in a shared bulb."""
    return any(name.startswith("rectifier.") for name in tube.elements_of(terminal))


def _without_heater(part: Part) -> Part:
    """Return a tube with nothing on its heater pins, unless the filament is its cathode too; any
    other part as it is.
    """
    tube = tube_of(part)
    if tube is None or tube.heater.directly_heated:
        return part
    return replace(
        part, pins=tuple(pin for pin in part.pins if element_at(part, pin[0]) != "heater")
    )


def found_volts(circuit: Circuit, feed: Feed) -> float:
    """Return the mean B+ of the amplifier as found, on its line, in volts.

    Raises CannotSolve where it has no numbers.
    """
    network = assemble(circuit)
    mean = mains_steady(network).mean
    return float(network.volts(mean, feed.rail) - network.volts(mean, feed.back))


def _ends(part: Part, *wanted: str) -> tuple[str, ...]:
    """Return the nodes at terminals or elements of these names; a tube that is heated directly
    gives B+ at its filament.
    """
    tube = tube_of(part)
    if tube is None:
        return tuple(node for terminal, node in part.pins if terminal in wanted)
    bare = {
        terminal: {
            name.rpartition(".")[2].rstrip("0123456789")
            for name in tube.elements_of(terminal)
            if tube.is_rectifier or name.startswith(("rectifier.", "heater", "lamp"))
        }
        for terminal, _ in part.pins
    }
    if "cathode" in wanted and tube.heater.directly_heated:
        wanted = (*wanted, "heater")
    return tuple(node for terminal, node in part.pins if bare[terminal] & set(wanted))


def _nearest_side(
    facts: Facts,
    anodes: list[str],
    sides: Sequence[frozenset[str]],
    rectifiers: list[Part],
    before: frozenset[str],
) -> int | None:
    """Return which side of the line lies behind the anodes, by the fewest parts of the kinds
    ``before``; a tap on the rectifier's own heater counts as one.
    """
    seen = set(points := [facts.point(node) for node in anodes])
    wanted = deque(points)
    while wanted:
        point = wanted.popleft()
        for number, side in enumerate(sides):
            if point in side:
                return number
        for part, terminal in facts.at.get(point, ()):
            onward = [node for other, node in part.pins if other != terminal]
            if part.kind not in before:
                onward = []
            elif part.kind == _WOUND:
                onward = _along_the_winding(facts, part, terminal)
            if part in rectifiers and part.kind == "tube":
                onward = [*_ends(part, "heater"), *_ends(part, "lamp-tap", "heater-tap")]
            for node in onward:
                if (there := facts.point(node)) not in seen:
                    seen.add(there)
                    wanted.append(there)
    return None


def _along_the_winding(facts: Facts, part: Part, terminal: str) -> list[str]:
    """Return the other ends and taps of the winding of an autotransformer, but for those on the
    common: B+ returns there.
    """
    winding = terminal.partition(".")[0]
    return [
        node
        for other, node in part.pins
        if other != terminal
        and other.partition(".")[0] == winding
        and facts.point(node) not in facts.common
    ]

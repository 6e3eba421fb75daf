"""The words that conditions of a rule can use.

Each is a plain function; its docstring is what ``rework rules --words`` prints.

A new word is one function here, its line in ``VOCABULARY``, and a test.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

from rework.anatomy.links import mated
from rework.circuit.circuit import Circuit
from rework.circuit.kinds import KINDS
from rework.circuit.parts import Part
from rework.language.quantity import QuantityError, read_value
from rework.rules.bias import Bias
from rework.rules.facts import Facts
from rework.rules.heaters import Heaters
from rework.tubes import library
from rework.tubes.relatives import SAME_CURVES, standing


@dataclass(frozen=True, slots=True)
class Operand:
    """What stands in the gap of a condition: the word as given, the part or the point it names, or
    neither.
    """

    text: str
    part: Part | None = None
    point: str | None = None


class Known:
    """Everything conditions may ask about one circuit."""

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self.facts = Facts(circuit)
        self.heaters = Heaters(self.facts)
        self.bias = Bias(self.facts)

    @cached_property
    def output_bias_parts(self) -> frozenset[str]:
        """The names of every part of a back-bias network."""
        return frozenset(name for stage in self.bias.stages for name in stage.parts)

    def points_of(self, operand: Operand) -> frozenset[str]:
        """Return the point of a node, or every point a part is on."""
        if operand.part is not None and operand.point is None:
            return self.facts.points(node for _, node in operand.part.pins)
        return frozenset({operand.point}) if operand.point is not None else frozenset()


Test = Callable[..., bool]


def is_mains_tied(known: Known, what: Operand) -> bool:
    """Reached from a plug blade through anything that conducts, no isolating winding between; for a
    part, any of its pins.
    """
    return _tied(known, what, "conduction")


def is_capacitively_tied(known: Known, what: Operand) -> bool:
    """Reached from a plug blade, but only through a capacitor."""
    return _tied(known, what, "capacitor") and not _tied(known, what, "conduction")


def _tied(known: Known, what: Operand, how: str) -> bool:
    points = known.points_of(what)
    return any(
        through == how and known.facts.point(node) in points
        for node, through in known.facts.ties.tied.items()
    )


def is_live(known: Known, what: Operand) -> bool:
    """Tied to the mains by conduction, and nothing on it but parts of the primary side: plug, fuse,
    switch, primary.
    """
    points = known.points_of(what)
    return (
        bool(points)
        and is_mains_tied(known, what)
        and all(
            KINDS[part.kind].primary_side
            for point in points
            for part, _ in known.facts.at.get(point, ())
        )
    )


def is_line(known: Known, what: Operand) -> bool:
    """On one of the two line conductors: reached from a blade through conductors, fuses, switches
    and thermistors only.
    """
    return not known.points_of(what).isdisjoint(known.facts.line)


def is_touchable(known: Known, what: Operand) -> bool:
    """Within reach of a hand: named touchable in the file, or a jack, chassis, shaft, frame, core
    or speaker terminal.
    """
    return not known.points_of(what).isdisjoint(known.facts.points(known.circuit.within_reach))


def is_metal(known: Known, what: Operand) -> bool:
    """Metal within reach: as touchable, but not the tip of a jack or the terminals of a speaker."""
    return not known.points_of(what).isdisjoint(known.facts.metal)


def is_chassis(known: Known, what: Operand) -> bool:
    """The chassis itself, conductors between left out of account."""
    return any(
        part.kind == "chassis"
        for point in known.points_of(what)
        for part, _ in known.facts.at.get(point, ())
    )


def is_common(known: Known, what: Operand) -> bool:
    """The circuit's own negative: called COMMON, B-, GROUND, GND or 0V; else where the minus of the
    B+ filter is.
    """
    return not known.points_of(what).isdisjoint(known.facts.common)


def is_earthed(known: Known, what: Operand) -> bool:
    """Joined by conductors alone to an earth stud or the earth pin of a three-pin plug, umbilicals
    plugged in.
    """
    return not known.points_of(what).isdisjoint(known.facts.earthed)


def stays_earthed(known: Known, what: Operand) -> bool:
    """Earthed as above with every umbilical pulled as well."""
    return not known.points_of(what).isdisjoint(known.facts.always_earthed)


def is_on_board(known: Known, what: Operand) -> bool:
    """Part of the amplifier itself and of no circuit attached to it."""
    return what.part is not None and "/" not in what.part.name


def is_named(known: Known, what: Operand, name: Operand) -> bool:
    """The part, node or word of that name; without ``named`` where one of the two is a parameter:
    ``{way} is tap``.
    """
    if what.part is not None and what.point is None:
        return what.part.name in [word.strip() for word in name.text.split()]
    if what.point is not None and what.text != name.text:
        return what.point == known.facts.point(name.text)
    return what.text == name.text


def is_on(known: Known, what: Operand, node: Operand) -> bool:
    """At the same point as a node, conductors left out of account; for a part, any of its pins."""
    where = node.point if node.point is not None else known.facts.point(node.text)
    return where in known.points_of(what)


def is_between(known: Known, what: Operand, one: Operand, other: Operand) -> bool:
    """A part with its two ends on those two nodes, either way round."""
    wanted = {
        node.point if node.point is not None else known.facts.point(node.text)
        for node in (one, other)
    }
    return what.part is not None and len(what.part.pins) == 2 and known.points_of(what) == wanted


def is_a_part(known: Known, what: Operand) -> bool:
    """The name of a part that is there."""
    return what.part is not None or what.text in known.circuit.by_name


def is_a_node(known: Known, what: Operand) -> bool:
    """A node, or the terminal of a part, that is there; a name for a new node is not."""
    return what.point is not None and what.point in known.facts.group


def joins_two_only(known: Known, what: Operand) -> bool:
    """A node with exactly two terminals on it, conductors left out of account."""
    return what.point is not None and len(known.facts.at.get(what.point, ())) == 2


def is_rail(known: Known, what: Operand) -> bool:
    """On the B+ supply: reached from plates and screens through their loads, filter resistors and
    chokes.
    """
    return not known.points_of(what).isdisjoint(known.facts.rail)


def is_filter(known: Known, what: Operand) -> bool:
    """A filter capacitor: an electrolytic with its plus on the B+ supply."""
    return what.part is not None and known.facts.is_filter(what.part)


def is_line_fuse(known: Known, what: Operand) -> bool:
    """A fuse in a line conductor."""
    return what.part is not None and what.part.kind == "fuse" and is_line(known, what)


def is_line_switch(known: Known, what: Operand) -> bool:
    """A switch in a line conductor."""
    return what.part is not None and what.part.kind == "switch" and is_line(known, what)


def in_heater_string(known: Known, what: Operand) -> bool:
    """In series across the line with a heater, or a heater that shares just one of its two points
    with another's.
    """
    return what.part is not None and what.part.name in known.heaters.string


def heater_is(known: Known, what: Operand, volts: Operand) -> bool:
    """A tube whose heater, as it is wired now (or as it is ordinarily, where an end is on nothing),
    is for that voltage.
    """
    try:
        wanted = read_value(volts.text)
    except QuantityError:
        return False
    return (
        what.part is not None
        and wanted.dimension == "voltage"
        and known.heaters.is_for(what.part, wanted.amount)
    )


def heater_is_across(known: Known, what: Operand, one: Operand, other: Operand) -> bool:
    """A tube whose heater, as it is wired now, is fed from those two nodes."""
    ends = known.heaters.ends(what.part) if what.part is not None else None
    wanted = {node.point if node.point is not None else node.text for node in (one, other)}
    return ends is not None and set(ends) == wanted


def heater_has_a_winding(known: Known, what: Operand) -> bool:
    """A tube with an end of its heater on an isolating winding, umbilicals plugged in."""
    ends = known.heaters.ends(what.part) if what.part is not None else None
    windings = {
        point
        for part in known.circuit.parts
        if part.kind == "transformer"
        for terminal, node in part.pins
        if not terminal.startswith(("primary", "core", "screen"))
        for point in [known.facts.point(node)]
    }
    return ends is not None and any(
        not known.facts.through_contacts(end).isdisjoint(windings) for end in ends
    )


def is_marked(known: Known, what: Operand, word: Operand) -> bool:
    """A part that says a word of itself in the file, such as surge or dropper."""
    return what.part is not None and word.text in what.part.words


def is_same_line_as(known: Known, what: Operand, other: Operand) -> bool:
    """On the same line conductor as another node, switches and fuses between left out of account."""
    here, there = known.points_of(what), known.points_of(other)
    return any(here & side and there & side for side in known.facts.line_sides)


def has_tapped_heater(known: Known, what: Operand) -> bool:
    """A tube whose heater has a tap on a pin, so that its halves can be fed in parallel."""
    tube = _tube(what)
    return tube is not None and "heater-tap" in tube.element_names() and len(tube.heater.ways) > 1


def is_known_tube(known: Known, what: Operand) -> bool:
    """A tube, or the name of a type, that is in the tube library."""
    return library.is_known(what.part.type if what.part is not None else what.text)


def is_rectifier(known: Known, what: Operand) -> bool:
    """A tube that is nothing but a rectifier, a selenium rectifier, a bridge, or a diode that is
    not germanium.
    """
    if what.part is None:
        return False
    tube = _tube(what)
    return (
        what.part.kind in ("selenium", "bridge")
        or (what.part.kind == "diode" and "germanium" not in what.part.words)
        or (tube is not None and tube.is_rectifier)
    )


def has_rectifier_unit(known: Known, what: Operand) -> bool:
    """A tube that is a rectifier or holds one beside another unit."""
    tube = _tube(what)
    return tube is not None and tube.has_rectifier_unit


def is_fed_by_a_winding(known: Known, what: Operand) -> bool:
    """A rectifier that an isolating winding feeds, with no line conductor behind it."""
    return what.part is not None and known.facts.fed_by_winding(what.part)


def is_same_curves_as(known: Known, what: Operand, type_: Operand) -> bool:
    """A tube with the same electrodes and curves as a type, behind another heater; look-alikes are
    not.
    """
    old, new = _tube(what), library.find(type_.text)
    return old is not None and new is not None and standing(old, new).word == SAME_CURVES


def is_back_bias(known: Known, what: Operand) -> bool:
    """A part of a back-bias network: resistors between the common and B- that bias an output tube,
    their bypass, the returns.
    """
    return what.part is not None and what.part.name in known.output_bias_parts


def is_back_biased(known: Known, what: Operand) -> bool:
    """The point of an output tube's cathode that takes its bias from resistors between there and
    B-.
    """
    return any(stage.cathode in known.points_of(what) for stage in known.bias.stages)


def is_negative_return(known: Known, what: Operand) -> bool:
    """The point where a back-bias network meets B-, away from the cathode."""
    return any(not known.points_of(what).isdisjoint(stage.returns) for stage in known.bias.stages)


def has_free_pins(known: Known, what: Operand) -> bool:
    """A part with a terminal that is said to be on nothing."""
    return what.part is not None and bool(what.part.unused)


def is_bypassed(known: Known, what: Operand) -> bool:
    """A two-terminal part with a capacitor across it."""
    points = known.points_of(what)
    return (
        what.part is not None
        and len(points) == 2
        and any(
            part.kind in ("capacitor", "electrolytic")
            and known.facts.points(node for _, node in part.pins) == points
            for part in known.circuit.parts
        )
    )


def unplugs(known: Known, what: Operand) -> bool:
    """A node on a contact of a connector that mates with another: it can be pulled."""
    halves = {name for pair in mated(known.circuit) for name in pair}
    return any(
        part.name in halves
        for point in known.points_of(what)
        for part, _ in known.facts.at.get(point, ())
    )


def is_referenced_to(known: Known, what: Operand, other: Operand) -> bool:
    """Joined to a node by nothing but conductors, resistors, pots and windings."""
    target = known.points_of(other)
    seen: set[str] = set()
    wanted = list(known.points_of(what))
    while wanted:
        point = wanted.pop()
        if point in target:
            return True
        if point in seen:
            continue
        seen.add(point)
        wanted += known.facts.through_contacts(point)
        for part, terminal in known.facts.at.get(point, ()):
            if part.kind in ("resistor", "pot"):
                wanted += [known.facts.point(node) for end, node in part.pins if end != "shaft"]
            elif part.kind == "transformer":
                winding = terminal.partition(".")[0]
                wanted += [
                    known.facts.point(node)
                    for end, node in part.pins
                    if end.partition(".")[0] == winding
                ]
    return False


def _tube(what: Operand):
    return (
        library.find(what.part.type) if what.part is not None and what.part.kind == "tube" else None
    )


#: Every phrase with its function; ``_`` is a gap. Longer phrases stand before shorter ones that
#: they begin with.
VOCABULARY: dict[str, Test] = {
    "_ is mains-tied": is_mains_tied,
    "_ is capacitively-tied": is_capacitively_tied,
    "_ is live": is_live,
    "_ is line": is_line,
    "_ is touchable": is_touchable,
    "_ is metal": is_metal,
    "_ is chassis": is_chassis,
    "_ is common": is_common,
    "_ is earthed": is_earthed,
    "_ stays earthed": stays_earthed,
    "_ is referenced to _": is_referenced_to,
    "_ unplugs": unplugs,
    "_ is on board": is_on_board,
    "_ is on _": is_on,
    "_ is between _ _": is_between,
    "_ is a part": is_a_part,
    "_ is a node": is_a_node,
    "_ joins two only": joins_two_only,
    "_ is rail": is_rail,
    "_ is filter": is_filter,
    "_ is line fuse": is_line_fuse,
    "_ is line switch": is_line_switch,
    "_ in heater string": in_heater_string,
    "_ heater is across _ _": heater_is_across,
    "_ heater has a winding": heater_has_a_winding,
    "_ heater is _": heater_is,
    "_ is marked _": is_marked,
    "_ is same line as _": is_same_line_as,
    "_ has tapped heater": has_tapped_heater,
    "_ is known tube": is_known_tube,
    "_ is rectifier": is_rectifier,
    "_ has rectifier unit": has_rectifier_unit,
    "_ is fed by a winding": is_fed_by_a_winding,
    "_ is same curves as _": is_same_curves_as,
    "_ is back-bias": is_back_bias,
    "_ is back-biased": is_back_biased,
    "_ is negative return": is_negative_return,
    "_ has free pins": has_free_pins,
    "_ is bypassed": is_bypassed,
    "_ is named _": is_named,
    "_ is _": is_named,
}


def words() -> tuple[tuple[str, str], ...]:
    """Return every phrase with the sentence that says what it means."""
    return tuple(
        (phrase, " ".join((test.__doc__ or "").split())) for phrase, test in VOCABULARY.items()
    )


def recognise(tokens: Sequence[tuple[str, str]]) -> tuple[str, tuple[int, ...]] | None:
    """Return the phrase that some words are, and the places of its gaps among them; None where they
    are none.

    ``tokens`` are pairs of the word and the name of its token.
    """
    for phrase in VOCABULARY:
        wanted = phrase.split()
        if len(wanted) == len(tokens) and all(
            want in ("_", word) for want, (word, _) in zip(wanted, tokens, strict=True)
        ):
            if phrase == "_ is _" and not _compares(
                *(token for _, token in tokens[::2]), tokens[2][0]
            ):
                return None
            return phrase, tuple(index for index, want in enumerate(wanted) if want == "_")
    return None


def _compares(one: str, other: str, word: str) -> bool:
    """Return whether ``_ is _`` may stand between two tokens: a mistyped word of the vocabulary
    must not pass for a name.
    """
    if other in ("PARAMETER", "VARIABLE"):
        return True
    known = [
        phrase.split()[2]
        for phrase in VOCABULARY
        if phrase.startswith("_ is ") and len(phrase.split()) == 3 and phrase != "_ is _"
    ]
    return one == "PARAMETER" and not difflib.get_close_matches(word, known, 1, 0.75)


def nearest_phrase(text: str) -> str:
    """Return a hint with the phrase that looks most like some words, or ""."""
    rest = " ".join(text.split()[1:])
    known = {phrase.removeprefix("_ "): phrase for phrase in VOCABULARY if phrase != "_ is _"}
    near = difflib.get_close_matches(rest, known, 1, 0.5)
    return f"did you mean {known[near[0]].replace('_', '...')}?" if near else ""


def why_not(phrase: str, operands: Sequence[Operand]) -> str:
    """Return a sentence on why a condition does not hold, for those where the library knows one."""
    if phrase == "_ is same curves as _":
        old, new = _tube(operands[0]), library.find(operands[1].text)
        if old is not None and new is not None:
            return standing(old, new).why
    if (
        phrase == "_ is known tube"
        and not library.is_known(operands[0].text)
        and (near := library.nearest(operands[0].text))
    ):
        return f"Did you mean {near[0]}?"
    return ""

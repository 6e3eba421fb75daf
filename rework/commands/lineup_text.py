"""The circuit file that ``rework new --tubes`` writes: what is certain as lines, what is usual as
remarks, and what is blank by name.
"""

from __future__ import annotations

import re
import textwrap
from collections import Counter
from collections.abc import Iterable, Iterator

from rework.anatomy.lineup import (
    Dropper,
    Heated,
    HeaterLayout,
    LineUp,
    PlannedSocket,
    PlannedString,
    line_up,
)
from rework.anatomy.usual import (
    CHASSIS,
    COMMON,
    LINE,
    SWITCHED,
    Usual,
    UsualPart,
    node_of,
)
from rework.circuit.circuit import Mains
from rework.circuit.parts import Value
from rework.circuit.place import Problem
from rework.language.files import Refusal
from rework.language.mains import write_mains
from rework.language.quantity import write_value
from rework.language.writer import tidy
from rework.report.figures import shown
from rework.report.terminal import wrapped
from rework.tubes import library
from rework.tubes.elements import HEATER
from rework.tubes.figure import TRUST

_WIDTH = 112
#: What is written of a pin without an element.
_EMPTY = {"none": "empty", "absent": "no pin", "internal": "joined inside: leave it alone"}

#: The order in which the elements of a unit are written.
_ORDER = (
    "grid",
    "signal-grid",
    "cathode",
    "suppressor",
    "screen",
    "plate",
    "plate1",
    "plate2",
    "lamp-tap",
    "diode1",
    "diode2",
    "diode3",
)
_HOW_TO = (
    "Work unplugged and discharged. Follow the heaters from socket to socket, the line end first,"
    " and write down every pin.",
    "A line behind a # is what such sets usually have. Where this set has it, take the # away and"
    " correct value and nodes. Delete it where not.",
    "blank names the pins that are not traced yet; rework check lists what is left of them.",
)


def lines_asked(types: str, mains: Mains) -> LineUp:
    """Return the line-up of types that a person names, commas between.

    Raises Refusal with a problem for every type that is not in the library, or that no line of so
    many volts can heat.
    """
    named = [word for word in re.split(r"[,\s]+", types.strip().upper()) if word]
    tubes = [(word, library.find(word)) for word in named]
    problems = [_unknown(word) for word, tube in tubes if tube is None]
    if not named:
        problems = [Problem("--tubes names no tube", expected="types, as in 12AX7,50EH5,35W4")]
    if problems:
        raise Refusal(*problems)
    lines = line_up([(word, tube) for word, tube in tubes if tube is not None], mains)
    over = () if lines.layout is HeaterLayout.TRANSFORMER else lines.over_the_line
    if over:
        raise Refusal(
            *(
                Problem(
                    f"the heater of a {seat.written} needs {seat.tube.heater.volts.value:g} V,"
                    f" and the line has {mains.volts:g} V",
                    expected="a type whose heater the line can feed",
                    hint="look at the type and at --mains again",
                )
                for seat in over
            )
        )
    return lines


def _unknown(word: str) -> Problem:
    if library.without_basing(word) is not None:
        return Problem(
            f"the pins of {word} are not known, only its heater is",
            expected="a type with its basing",
            hint=f"leave it out and add a line: V9 tube {word}, with its pins",
        )
    near = library.nearest(word)
    return Problem(
        f"{word} is not in the tube library",
        expected="a type that rework tubes lists",
        hint=(f"did you mean {' or '.join(near)}? Otherwise leave" if near else "leave")
        + f" it out and add a line: V9 tube unlisted {word} heater VOLTS AMPS, with its pins",
    )


def notes(lines: LineUp) -> list[str]:
    """Return what to tell a person of the file: heaters and dropper, and what was assumed."""
    said = [layout_words(lines)] if lines.layout is not HeaterLayout.SERIES else []
    for string in lines.strings:
        dropper = string.dropper
        said.append(
            f"Heaters {heaters_words(string)}"
            + (f"; the dropper {dropper_words(dropper)}." if dropper else ".")
        )
    return [*map(wrapped, said)]


def circuit_text(lines: LineUp, title: str) -> str:
    """Return the file for a line-up; it can be read as it stands, and it is tidy."""
    text = "\n".join(_Sheet(lines).written(title)) + "\n"
    tidied, problems = tidy(text, "the new circuit")
    if tidied is None:
        raise ValueError("; ".join(problem.message for problem in problems))
    return tidied


def heaters_words(string: PlannedString) -> str:
    """Return the heaters of a string as a sum, and what takes the rest of the line."""
    volts = " + ".join(f"{heated.way.volts.value:g}" for heated in string.heated)
    total = f" = {string.volts:g}" if len(string.heated) > 1 else ""
    return f"{volts}{total} V at {string.amps:g} A"


def dropper_words(dropper: Dropper) -> str:
    """Return ohms and watts of a dropper."""
    rated = (
        f"{dropper.rated:g} W"
        if dropper.rated
        else "no resistor: look for a ballast tube, a line-cord resistor or a capacitor"
    )
    return (
        f"takes the other {shown(dropper.volts, 'V')}: {shown(dropper.exact, 'ohm')}, nearest made"
        f" {_value('resistance', dropper.ohms)}; {shown(dropper.watts, 'W')} in it, so {rated}"
    )


def layout_words(lines: LineUp) -> str:
    """Return what is to be reported of heaters that are not one string, or an empty text."""
    count = len(lines.strings)
    match lines.layout:
        case HeaterLayout.CURRENTS:
            amps = ", ".join(
                f"{_names(string.heated)} {string.amps:g} A" for string in lines.strings
            )
            return (
                f"These tubes cannot all be in one string: {amps}. They are written as {count}"
                " strings in parallel on the line; look how the set does it."
            )
        case HeaterLayout.VOLTS:
            total = sum(string.volts for string in lines.strings)
            return (
                f"The heaters add up to {total:g} V, more than the {lines.mains.volts:g} V of the"
                f" line. They are written as {count} strings in parallel; look how the set does it."
            )
        case HeaterLayout.TRANSFORMER:
            return (
                "These heaters are for a power transformer, in parallel on a winding: they are"
                " written that way. Then only the primary is on the line."
            )
    return ""


def _names(heated: Iterable[Heated]) -> str:
    return ", ".join(heater.seat.written for heater in heated)


def _value(dimension: str, amount: float) -> str:
    return write_value(Value(dimension, amount))


class _Sheet:
    """Writes one file; part numbers are counted as they are given out."""

    def __init__(self, lines: LineUp) -> None:
        self.lines, self.usual = lines, Usual(lines)
        self._numbers: Counter[str] = Counter()
        self._heater_pins: dict[str, dict[str, str]] = {}

    def name(self, letter: str) -> str:
        """Return the next free name with a letter."""
        self._numbers[letter] += 1
        return f"{letter}{self._numbers[letter]}"

    def written(self, title: str) -> Iterator[str]:
        """Yield the lines of the file."""
        lines = self.lines
        yield from _remark(
            f"From the tubes {', '.join(seat.written for seat in lines.seats)}."
            + (f" {layout}" if (layout := layout_words(lines)) else "")
        )
        for sentence in _HOW_TO:
            yield from _remark(sentence)
        yield from ("", f'circuit "{title}"', write_mains(lines.mains), f"touchable {CHASSIS}", "")
        yield from self._line()
        yield from self._heaters()
        for seat in lines.from_the_line:
            yield ""
            yield from self._tube(seat)
        if not self.usual.rectifiers:
            yield from ("", "# no rectifier tube: a diode or selenium, and the filter")
            yield from self._kept_or_struck(self.usual.of_the_supply())

    def _line(self) -> Iterator[str]:
        yield "# the line: which blade goes to the switch, and which to the common?"
        neutral = "N1" if self.lines.layout is HeaterLayout.TRANSFORMER else COMMON
        yield f"{self.name('P')} plug two-blade : line={LINE}, neutral={neutral}"
        yield f"{self.name('S')} switch SPST : {LINE} -- {SWITCHED}"
        yield f"CH1 chassis : {CHASSIS}"
        yield from _remark(
            f"A fuse: F1 fuse 1 A 250 V : {SWITCHED} -- L3, and then L3 for {SWITCHED} below. Where"
            f" the common is the chassis itself: join {COMMON} {CHASSIS}."
        )
        yield from self._kept_or_struck(self.usual.of_the_line())

    # heaters

    def _heaters(self) -> Iterator[str]:
        yield ""
        if self.lines.layout is HeaterLayout.TRANSFORMER:
            yield from self._windings()
            return
        node = 0
        for string in self.lines.strings:
            yield from _remark(
                f"heaters, line end first ({_seats(string)}): {heaters_words(string)}"
            )
            # a dial lamp lies across the line end of its heater, so that a dropper comes behind it
            behind = bool(string.heated[0].seat.tube.heater.sections) and len(string.heated) > 1
            chain: list[Heated | Dropper] = [*string.heated]
            if string.dropper is not None:
                chain.insert(int(behind), string.dropper)
            at = SWITCHED
            for link in chain:
                last = link is chain[-1]
                node += not last
                following = COMMON if last else f"H{node}"
                if isinstance(link, Heated):
                    self._feed(link, at, following)
                else:
                    yield from self._dropper(link, at, following)
                at = following

    def _dropper(self, dropper: Dropper, at: str, following: str) -> Iterator[str]:
        name = self.name("R")
        yield from _remark(f"The dropper {name} {dropper_words(dropper)}.")
        watts = f" {dropper.rated:g} W" if dropper.rated else ""
        ohms = _value("resistance", dropper.ohms)
        yield f"{name} resistor dropper {ohms}{watts} : {at} -- {following}"

    def _windings(self) -> Iterator[str]:
        volts = f"{self.lines.mains.volts:g} V"
        ends = [f"primary {volts} = {SWITCHED} -- N1"]
        if any(self.usual.has(unit, "plate1") for unit in self.usual.rectifiers):
            ends.append(f"hv 250-0-250 V = HV1 -- {COMMON} -- HV2")
        for number, string in enumerate(self.lines.strings, 1):
            name = "heater" if number == 1 else f"heater{number}"
            nodes = (f"H{number}A", f"H{number}B")
            for heated in string.heated:
                if _is_own_cathode(heated):
                    nodes = ("B1", nodes[1])  # B+ comes off its heater
            ends.append(f"{name} {string.volts:g} V = {' -- '.join(nodes)}")
            for heated in string.heated:
                self._feed(heated, *nodes)
        yield "# the power transformer"
        yield f"{self.name('T')} transformer : " + ", ".join(ends)
        yield f"# join {COMMON} H1B"
        if len(ends) > 1 + len(self.lines.strings):
            yield f"blank HV1, {COMMON}, HV2"

    def _feed(self, heated: Heated, start: str, finish: str) -> None:
        """Note the nodes of the heater pins: the end with a tap or the cathode on it, else the
        higher pin, is at ``start``.
        """
        tube = heated.seat.tube
        ends = [sorted(end) for end in heated.way.between]
        first = {pin for section in tube.heater.sections for pin in section.between}
        first |= {pin for pin, names in tube.elements if "cathode" in names}
        ends.sort(
            key=lambda end: (not first & set(end), [-int(pin) for pin in end if pin.isdigit()])
        )
        self._heater_pins[heated.seat.name] = {
            pin: node for end, node in zip(ends, (start, finish), strict=True) for pin in end
        }

    # tubes

    def _tube(self, seat: PlannedSocket) -> Iterator[str]:
        units = [unit for unit in self.usual.lines.units if unit.seat is seat]
        duties = " and ".join(dict.fromkeys(unit.duty.value for unit in units))
        yield from _remark(f"{seat.name} {seat.written}: {duties}. {_basing(seat)}")
        ends, blank, unused = self._pins(seat)
        yield f"{seat.name} tube {seat.written} : " + ", ".join(
            [*ends, *([f"unused {' '.join(unused)}"] if unused else [])]
        )
        if blank:
            yield f"blank {', '.join(blank)}"
        is_first = bool(self.usual.rectifiers) and self.usual.rectifiers[0].seat is seat
        parts = [
            *(self.usual.of_the_supply() if is_first else ()),
            *(part for unit in units for part in self.usual.of_a_unit(unit)),
        ]
        yield from self._kept_or_struck(parts)

    def _pins(self, seat: PlannedSocket) -> tuple[list[str], list[str], list[str]]:
        """Return the connections of a tube, its blank nodes and its unused pins."""
        tube, heater = seat.tube, self._heater_pins[seat.name]
        ends: dict[str, str] = {}
        blank: dict[str, str] = {}
        unused: list[str] = []
        for pin in tube.socket_pins:
            unit, _, element = tube.element(pin).rpartition(".")
            if pin in heater:
                ends[pin] = f"{pin}={heater[pin]}"
            elif (
                element in _EMPTY
                or element in HEATER
                or element == "heater-tap"
                or pin != tube.pins_of(tube.element(pin))[0]
            ):
                unused.append(pin)
            else:
                node = self._node(seat, unit, element)
                ends[pin] = f"{tube.element(pin)}={node}"
                blank[pin] = node
        order = sorted(ends, key=lambda pin: (pin in heater, _place(tube.element(pin))))
        return [ends[pin] for pin in order], [blank[pin] for pin in order if pin in blank], unused

    def _node(self, seat: PlannedSocket, unit: str, element: str) -> str:
        for known in self.usual.rectifiers:
            if known.seat is seat and known.name == unit and element == "cathode":
                return self.usual.node(known, element)
        return node_of(unit, element, seat.name[1:])

    def _kept_or_struck(self, parts: Iterable[UsualPart]) -> Iterator[str]:
        """Yield usual parts as remarks, in columns of their own."""
        rows = [
            (self.name(part.letter) if part.letter else "", part.head, part.ends, part.remark)
            for part in parts
        ]
        names = max((len(name) for name, *_ in rows), default=0)
        heads = max((len(head) for name, head, *_ in rows if name), default=0)
        for name, head, ends, remark in rows:
            if name:
                code = f"{name:<{names}} {head:<{heads}} : {ends}" + (
                    f'  "{remark}"' if remark else ""
                )
            else:
                code = f"{head} {ends}" + (f"  # {remark}" if remark else "")
            yield f"# {code}"


def _is_own_cathode(heated: Heated) -> bool:
    """Whether a rectifier has no cathode but its heater."""
    tube = heated.seat.tube
    return tube.is_rectifier and not any(tube.element(pin) == "cathode" for pin in tube.socket_pins)


def _place(name: str) -> tuple[str, int]:
    """Return where an element is written: unit by unit, grid, cathode, screen, plate of each."""
    unit, _, element = name.rpartition(".")
    return unit, _ORDER.index(element) if element in _ORDER else len(_ORDER)


def _seats(string: PlannedString) -> str:
    return ", ".join(f"{heated.seat.name} {heated.seat.written}" for heated in string.heated)


def _basing(seat: PlannedSocket) -> str:
    """Return the socket seen from below, pin by pin, and how far that can be trusted."""
    tube = seat.tube
    pins = ", ".join(
        f"{pin} " + " and ".join(_EMPTY.get(name, _spoken(name)) for name in names)
        for pin, names in tube.elements
    )
    place = "Clockwise from below"
    return f"{tube.base[0].upper()}{tube.base[1:]}. {place}: {pins} ({TRUST[tube.pins_grade]})."


def _spoken(name: str) -> str:
    element = name.rpartition(".")[2]
    return "heater" if element in HEATER else re.sub(r"[.-]|(?<=diode)(?=[0-9])", " ", name)


def _remark(text: str) -> Iterator[str]:
    yield from (f"# {row}" for row in textwrap.wrap(text, _WIDTH))

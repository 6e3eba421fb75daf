"""From one step of a rule, with its names filled in, to the primitive edits it stands for on the
circuit as it is by then.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from typing import cast

from lark import Token
from lark.exceptions import UnexpectedInput

from rework.circuit.circuit import Circuit
from rework.circuit.edits import (
    Action,
    CutConductor,
    EditError,
    FitPart,
    LiftPin,
    RemovePart,
    RunWire,
    SetValue,
    apply_edit,
)
from rework.circuit.graph import contracted
from rework.circuit.kinds import KINDS
from rework.circuit.parts import Part, Value
from rework.language.partline import missing_terminals, read_part
from rework.language.syntax import PartLine, circuit_parser
from rework.rules.carry import NoSuchElement, carried
from rework.rules.computed import COMPUTED
from rework.rules.match import node_at, terminals_called
from rework.rules.verbs import PART_LINE_VERBS
from rework.tubes import library

#: What a wire is that a rule moves a terminal with, where it says no colour.
_MOVED_WIRE = "stranded"
#: Its gauge: that of every other wire of the built-in rules.
_MOVED_GAUGE = Value("gauge", 18.0, text="18 AWG")


class CannotDo(Exception):
    """A step that cannot be done on this circuit; the message names the part, the pin and the
    remedy.
    """


class Bench:
    """The circuit while a rule's steps are done on it, one edit after the other.

    ``tell`` takes a caution that a step gives rise to; ``off_limits`` says whether a node as
    written is on a line or in the heater string of the circuit as it was when the rule began;
    ``used`` are names that parts had earlier in the job.
    """

    def __init__(
        self,
        circuit: Circuit,
        tell: Callable[[str], None],
        off_limits: Callable[[str], bool],
        used: frozenset[str] = frozenset(),
    ) -> None:
        self.start = self.circuit = circuit
        self.tell, self.off_limits, self.used = tell, off_limits, used

    @property
    def circuits(self) -> tuple[Circuit, Circuit]:
        """The circuit as it was and as it is now: a new name is new to both."""
        return self.start, self.circuit

    def do(self, action: Action) -> Action:
        """Apply one primitive action and return it.

        Raises CannotDo in the words of the edit's own error.
        """
        try:
            self.circuit = apply_edit(self.circuit, action)
        except EditError as error:
            raise CannotDo(str(error)) from None
        return action

    # each verb

    def perform(self, verb: str, words: tuple[str, ...], line: str) -> Iterator[Action]:
        """Yield the primitive actions of one step, each already applied; what an earlier step did
        is not done again.
        """
        if verb == "insert":
            yield from self._insert(line)
            return
        if verb in PART_LINE_VERBS:
            yield self._part_line(verb, line)
            return
        yield from getattr(self, f"_{verb}")(*words)

    def _remove(self, name: str) -> Iterator[Action]:
        if self._there(name) is not None:
            yield self.do(RemovePart(name))

    def _cut(self, name: str) -> Iterator[Action]:
        if self._there(name) is not None:
            yield self.do(CutConductor(name))

    def _lift(self, what: str) -> Iterator[Action]:
        name, _, terminal = what.partition(".")
        part = self._there(name)
        if part is not None:
            for pin in self._pins(part, terminal) if terminal else [pin for pin, _ in part.leads]:
                if part.node(pin) is not None:
                    yield self.do(LiftPin(name, pin))

    def _free(self, what: str) -> Iterator[Action]:
        name, _, terminal = what.partition(".")
        part = self._there(name)
        for pin in self._pins(part, terminal) if part is not None else ():
            yield from self._free_pin(name, pin)

    def _free_pin(self, name: str, pin: str) -> Iterator[Action]:
        node = self.circuit.by_name[name].node(pin)
        if node is None:
            return
        others = [
            part for part, end in self.circuit.at.get(node, ()) if (part.name, end) != (name, pin)
        ]
        if others and all(part.kind in ("trace", "wire") for part in others):
            for part in dict.fromkeys(part.name for part in others):
                yield self.do(CutConductor(part))
        elif others:
            yield self.do(LiftPin(name, pin))

    def _move(self, what: str, *words: str) -> Iterator[Action]:
        name, _, terminal = what.partition(".")
        part = self._known(name)
        colour = words[-1] if words[-1] in KINDS["wire"].words else _MOVED_WIRE
        nodes = words[:-1] if words[-1] == colour else words
        if terminal:
            pins = self._pins(part, terminal)
        else:
            start = self._point(nodes[0])
            pins = tuple(pin for pin, node in part.pins if node in start)
            if not pins:
                raise CannotDo(
                    f"{name} has no terminal on {nodes[0]}, so it cannot be moved from there"
                )
        for pin in pins:
            if self.circuit.by_name[name].node(pin) is not None:
                yield self.do(LiftPin(name, pin))
            yield self.do(RunWire(self._wire((f"{name}.{pin}", self._end(nodes[-1])), colour)))

    def _set(self, name: str, *values: str) -> Iterator[Action]:
        part = self._known(name)
        ends = ", ".join(f"{terminal}=X{number}" for number, (terminal, _) in enumerate(part.pins))
        new = self._read(f"{name} {part.kind} {' '.join(values)} : {ends}", whole=False)
        set_values = {(value.dimension, value.role) for value in new.values}
        kept = tuple(
            value for value in part.values if (value.dimension, value.role) not in set_values
        )
        if new.values + kept != part.values:
            yield self.do(
                SetValue(name, new.values + kept, part.words if not new.words else new.words)
            )

    def _leave(self, name: str) -> Iterator[Action]:
        part = self._there(name)
        if part is None or part.kind != "tube":
            return
        tube = library.find(part.type)
        kept = []
        for pin, node in part.pins:
            element = (
                tube.element(pin).rpartition(".")[2] if tube and pin in tube.socket_pins else ""
            )
            fed = element.startswith(("heater", "lamp-tap", "plate", "diode")) or self.off_limits(
                node
            )
            company = any(
                other.name != name and not other.is_conductor for other, _ in self.circuit.at[node]
            )
            if not fed and (
                company or any(other.name != name for other, _ in self.circuit.at[node])
            ):
                kept.append((pin, node))
            else:
                yield from self._free_pin(name, pin)
        yield self.do(RemovePart(name))
        if kept:
            word = tube.base.split()[0] if tube else ""
            words = (word,) if word in KINDS["socket"].words else ()
            yield self.do(FitPart(Part(name, "socket", words=words, pins=tuple(kept))))
            self.tell(
                f"The empty socket of {name} stays as a tie point with "
                + ", ".join(f"pin {pin} on {node}" for pin, node in kept)
                + ". Put no tube into it again."
            )

    def _exchange(self, name: str, type_: str) -> Iterator[Action]:
        part = self._known(name)
        old, new = library.find(part.type), library.find(type_)
        if old is None or new is None:
            unknown = part.type if old is None else type_
            raise CannotDo(
                f"{unknown} is not in the tube library, so nothing says on which pins of {name} its"
                " elements are"
            )
        if old.type == new.type:
            return
        try:
            exchange = carried(self.circuit, part, old, new)
        except NoSuchElement as reason:
            raise CannotDo(str(reason)) from None
        for caution in exchange.cautions:
            self.tell(caution)
        yield self.do(exchange.edit)
        for here, there in exchange.joined:
            yield self.do(RunWire(self._wire((here, there), "stranded")))
            self.tell(
                f"Two pins of {name} joined {here} and {there} inside the old tube; a wire joins"
                " them now."
            )

    def _insert(self, line: str) -> Iterator[Action]:
        """Put a part between a terminal and the node it was on."""
        part = self._read(line, whole=True)
        (first, terminal), (second, node) = part.pins[:2]
        name, _, pin = terminal.partition(".")
        there = self._known(name)
        pins = [each for each in self._pins(there, pin) if there.node(each) is not None]
        if not pins:
            raise CannotDo(f"{terminal} is on nothing, so {part.name} cannot be put in its lead")
        for each in pins:
            yield self.do(LiftPin(name, each))
        fresh = self.circuit.free_node_name(f"{part.name.replace('/', '-')}-{first}")
        ends = ((first, fresh), (second, self.circuit.node_named(self._end(node))))
        yield self.do(FitPart(replace(part, pins=ends)))
        for each in pins:
            yield self.do(RunWire(self._wire((f"{name}.{each}", fresh), "stranded")))

    def _wire(self, ends: tuple[str, str], colour: str) -> Part:
        name = free_name(self.circuits, "W", used=self.used)
        pins = (("1", ends[0]), ("2", ends[1]))
        return Part(name, "wire", values=(_MOVED_GAUGE,), words=(colour,), pins=pins)

    # part lines

    def _part_line(self, verb: str, line: str) -> Action:
        part = self._read(line, whole=True)
        ends = tuple((terminal, self._end(node)) for terminal, node in part.pins)
        if verb == "run":
            return self.do(RunWire(replace(part, pins=ends)))
        nodes = []
        for terminal, end in ends:
            name, _, pin = end.partition(".")
            if pin and name in self.circuit.by_name:
                node = self.circuit.by_name[name].node(pin)
                if node is None:
                    raise CannotDo(
                        f"{end} is on nothing, so {part.name} cannot be fitted to it; run a wire"
                        " there first"
                    )
                end = node
            nodes.append((terminal, self.circuit.node_named(end)))
        return self.do(FitPart(replace(part, pins=tuple(nodes))))

    def _read(self, line: str, *, whole: bool) -> Part:
        mistakes: list[str] = []

        def report(
            _: Token,
            message: str,
            *,
            expected: str = "",
            hint: str = "",
            near: Callable[[], str] | None = None,
        ) -> None:
            hint = f"did you mean {name}?" if near and (name := near()) else hint
            rest = f"; {hint}" if hint else f"; expected {expected}" if expected else ""
            mistakes.append(message + rest)

        try:
            # lark types a parse as a tree, whatever its transformer makes of it
            shape = cast("PartLine", circuit_parser().parse(line, start="part"))
        except UnexpectedInput:
            raise CannotDo(f"this cannot be read as a part: {line}") from None
        draft = read_part(shape, report)
        if mistakes or draft is None:
            raise CannotDo(f"{mistakes[0] if mistakes else 'this part cannot be read'}, in: {line}")
        missing = (
            missing_terminals(draft, KINDS[draft.kind], {terminal for terminal, _ in draft.pins})
            if whole
            else ()
        )
        if missing:
            raise CannotDo(f"{draft.name} has nothing on {', '.join(missing)}, in: {line}")
        return Part(
            draft.name,
            draft.kind,
            draft.type,
            draft.values,
            draft.words,
            tuple((word, str(argument)) for word, argument in draft.settings),
            tuple((terminal, str(node)) for terminal, node in draft.pins),
            draft.unused,
            draft.windings,
            draft.remark,
        )

    def _end(self, text: str) -> str:
        """Return an end of a wire as ``RunWire`` takes it: a node, or ``PART.terminal`` by the
        canonical name.
        """
        name, _, terminal = text.partition(".")
        part = self.circuit.part(name) if terminal else None
        if part is None:
            return node_at(self.circuit, text)
        if terminal in part.traits.optional:
            return text
        pins = self._pins(part, terminal)
        return f"{name}.{next((pin for pin in pins if part.node(pin) is not None), pins[0])}"

    def _pins(self, part: Part, terminal: str) -> tuple[str, ...]:
        pins = terminals_called(part, terminal)
        if not pins:
            raise CannotDo(f"{part.name} has no {terminal}")
        return pins

    def _point(self, text: str) -> frozenset[str]:
        """Return every node as written that conductors join to one."""
        group = contracted(self.circuit)
        node = node_at(self.circuit, text)
        return frozenset(
            other for other, first in group.items() if first == group.get(node, node)
        ) | {node}

    def _known(self, name: str) -> Part:
        part = self.circuit.part(name)
        if part is None:
            raise CannotDo(f"there is no part {name} in the circuit")
        return part

    def _there(self, name: str) -> Part | None:
        """Return the part, or None where an earlier step took it out already."""
        part = self.circuit.part(name)
        if part is None and name not in self.start.by_name:
            raise CannotDo(f"there is no part {name} in the circuit")
        return part


def fill(text: str, names: Mapping[str, str]) -> str:
    """Return a text with every ``{word}`` and ``?word`` in it replaced by what it stands for."""
    words = "|".join(COMPUTED)
    text = re.sub(
        rf"\{{([A-Za-z][\w-]*)\}}\.({words})\b",
        lambda match: names.get(f"{match[1]}.{match[2]}", match[0]),
        text,
    )
    text = re.sub(r"\{([A-Za-z][\w-]*)\}", lambda match: names.get(match[1], match[0]), text)
    return re.sub(r"\?([A-Za-z]\w*)", lambda match: names.get(match[1], match[0]), text)


def number(
    text: str,
    given: dict[str, str],
    circuits: tuple[Circuit, ...],
    *,
    used: frozenset[str] = frozenset(),
    names_part: bool = False,
) -> str:
    """Return a text with every ``C#`` replaced by a name, the same one each time within one match:
    C13 after C12.

    Where the text names a new part (``names_part``), its first word gets a number of its own.
    """

    def free(match: re.Match[str]) -> str:
        stem = match[1]
        if stem not in given or (names_part and match.start() == 0):
            part = names_part and match.start() == 0
            given[stem] = free_name(circuits, stem, used=used, for_part=part)
        return given[stem]

    return re.sub(r"([A-Za-z_][\w+/-]*)#", free, text)


def free_name(
    circuits: tuple[Circuit, ...],
    stem: str,
    *,
    used: frozenset[str] = frozenset(),
    for_part: bool = True,
) -> str:
    """Return ``stem`` with the number after the highest that a part (or else a node too) of any of
    the circuits has, or that is in ``used``.

    Gaps are left alone: the name of a part that came out must not come back as another part.
    """
    names = set(used)
    for circuit in circuits:
        names.update(circuit.by_name, () if for_part else circuit.at)
    numbers = [
        int(name[len(stem) :])
        for name in names
        if name.startswith(stem) and name[len(stem) :].isdecimal()
    ]
    return f"{stem}{max(numbers, default=0) + 1}"

"""Statements to a Circuit: names to pins and nodes, joins, ports and attached circuits."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from functools import cached_property, partial

from lark import Token

from rework.circuit.circuit import Circuit, Mains
from rework.circuit.kinds import KINDS
from rework.circuit.parts import Part, in_order
from rework.circuit.place import Problem, errors
from rework.language.connections import PartDraft
from rework.language.guests import Guest, ReadAttached, attached, in_use, read_attached, read_ports
from rework.language.losthead import read_lost_head
from rework.language.mains import read_mains
from rework.language.mistakes import nearest
from rework.language.nodes import NodeBook, Pins, renamed
from rework.language.partline import is_nameless, missing_terminals, read_part
from rework.language.reader import CIRCUIT_KEYWORDS, Line, Problems, decode, statements
from rework.language.soundness import (
    broken_tube_files,
    check_loops,
    check_settings,
    check_sound,
)
from rework.language.syntax import (
    AttachLine,
    Connection,
    ListLine,
    PartLine,
    PlainLine,
    one_list,
    span,
)
from rework.language.terminals import Terminals

_RESERVED = (*CIRCUIT_KEYWORDS, "unused")


def read_circuit(
    text: str, *, file: str = "", attach: ReadAttached | None = None
) -> tuple[Circuit | None, tuple[Problem, ...]]:
    """Return the circuit a text states, None where a problem is an error, and every problem.

    ``attach`` reads what the text attaches; without it an ``attach`` line is a problem.
    """
    problems = Problems(file)
    circuit = _Resolver(problems, attach).circuit(statements(text, problems))
    refused = problems.sorted()
    return (None if errors(refused) else circuit), refused


def read_circuit_bytes(
    data: bytes, *, file: str, attach: ReadAttached | None = None
) -> tuple[Circuit | None, tuple[Problem, ...]]:
    """Return the same for the bytes of a file, which may not be text."""
    text, problems = decode(data, file)
    return (None, problems) if text is None else read_circuit(text, file=file, attach=attach)


@dataclass(slots=True)
class _Entry:
    """One connection of a ``touchable``, ``port``, ``open``, ``blank`` or ``join`` line."""

    line: Line
    name: str
    tokens: tuple[Token, ...]
    keys: list[str] = field(default_factory=list)


class _Resolver:
    """Holds what is known of one file while its names are given their meaning."""

    def __init__(self, problems: Problems, attach: ReadAttached | None) -> None:
        self.problems, self.attach, self.file = problems, attach, problems.file
        self.report = problems.add
        self.title = ""
        self.mains: Mains | None = None
        self.drafts: dict[str, PartDraft] = {}
        self.line_of: dict[str, Line] = {}
        keywords = ("touchable", "port", "open", "blank", "join")
        self.entries: dict[str, list[_Entry]] = {keyword: [] for keyword in keywords}
        self.attached: list[tuple[Line, AttachLine]] = []
        self.lost: list[Line] = []
        self.dangling: dict[str, tuple[Line, Token, str]] = {}
        self.hanging: set[str] = set()
        self.nodes = NodeBook()

    def circuit(self, lines: Iterable[Line]) -> Circuit | None:
        """Return the circuit as far as it is understood, after reporting what does not add up."""
        self._taken(lines)
        if self.problems.full:
            return None
        check_settings(self.drafts, self.line_of, self._miss, self.report)
        self.problems.found += broken_tube_files(self.drafts)
        pins: dict[str, Pins] = {}
        for name, draft in self.drafts.items():
            node = partial(self._node, self.line_of[name])
            pins[name] = [(terminal, node(token)) for terminal, token in draft.pins]
        for entries in self.entries.values():
            for entry in entries:
                entry.keys = [self._node(entry.line, token) for token in entry.tokens]
        self._report_dangling()
        guests = [guest for line, shape in self.attached if (guest := self._guest(line, shape))]
        for entry in self.entries["join"]:
            self.nodes.join(entry.keys)
        self.nodes.bind(pins)
        names, aliases = self.nodes.names()
        parts = tuple(self._part(draft, pins[name], names) for name, draft in self.drafts.items())
        listed = {
            word: [(entry.name, renamed(entry.keys, names)) for entry in entries]
            for word, entries in self.entries.items()
        }
        nodes_of = {
            word: tuple(dict.fromkeys(node for _, nodes in entries for node in nodes))
            for word, entries in listed.items()
        }
        circuit = Circuit(
            self.title,
            self.mains,
            parts,
            aliases=aliases,
            file=self.file,
            touchable=nodes_of["touchable"],
            open_nodes=nodes_of["open"],
            blank_nodes=nodes_of["blank"],
            ports=tuple((port, node) for port, nodes in listed["port"] for node in nodes),
        )
        circuit = replace(circuit, blank_nodes=circuit.untraced)  # what is traced is blank no more
        for guest in guests:
            ports = {port: names.get(key, key) for port, key in guest.ports}
            circuit = attached(circuit, guest, ports, self.problems)
        self._check_sound(circuit, names)
        if not errors(tuple(self.problems.found)):
            check_loops(self.drafts, circuit, self.line_of, self.report)
        return circuit

    def _taken(self, lines: Iterable[Line]) -> None:
        for line in lines:
            if line.shape is not None:
                self._take(line, line.shape)
            elif line.code and not line.code.isspace():
                self.lost.append(line)
                read_lost_head(line.readable, partial(self.report, line))

    def _check_sound(self, circuit: Circuit, names: dict[str, str]) -> None:
        said = [
            (word, entry.line, token, names.get(key, key))
            for word, entries in self.entries.items()
            for entry in entries
            if word != "blank"  # a pin that was given another node may leave its blank behind
            for token, key in zip(entry.tokens, entry.keys, strict=True)
        ]
        seen: dict[str, tuple[Line, Token]] = {}
        for key, place in self.nodes.first_seen.items():
            seen.setdefault(key, place)
            seen.setdefault(names.get(key, key), place)
        check_sound(
            circuit,
            said,
            seen,
            self.unread,
            [line.code for line in self.lost],
            len(self.hanging),
            not errors(tuple(self.problems.found)),
            self.report,
        )

    # what each statement says

    def _take(self, line: Line, shape: object) -> None:
        if type(shape) is PartLine:
            self._take_part(line, shape)
        elif type(shape) is ListLine:
            for connection in (
                shape.connections if shape.keyword != "join" else (one_list(shape.connections),)
            ):
                self._take_entry(line, str(shape.keyword), connection)
        elif type(shape) is PlainLine:
            (self._take_title if shape.keyword == "circuit" else self._take_mains)(line, shape)
        elif type(shape) is AttachLine:
            self.attached.append((line, shape))

    def _take_part(self, line: Line, shape: PartLine) -> None:
        token, report = shape.name, partial(self.report, line)
        name = str(token)
        if not self._can_be_a_name(line, token):
            self.lost.append(line)
            return
        draft = read_part(shape, report)
        if name in self.drafts:
            stem = name.rstrip("0123456789") or name
            first = 1 if len(self.drafts) < 1000 else len(self.drafts)
            names = (f"{stem}{number}" for number in itertools.count(first))
            report(
                token,
                f"{name} is used twice; the first time in line {self.line_of[name].number}",
                expected="each name once",
                hint=f"call this one {next(free for free in names if free not in self.drafts)}",
            )
        elif draft is not None:
            self.drafts[name], self.line_of[name] = draft, line
            if not draft.lost:
                return
        self.lost.append(line)

    def _can_be_a_name(self, line: Line, token: Token) -> bool:
        problem = (
            ("a name that begins with a letter, such as R12", "put a letter in front")
            if token.type != "WORD"
            else (
                "letters, digits, _ + - and /",
                "a full stop separates a part and its terminal, as in V1.plate",
            )
            if "." in token or "#" in token
            else None
        )
        if problem:
            expected, hint = problem
            message = f"{token} cannot be the name of a part"
            self.report(line, token, message, expected=expected, hint=hint)
        elif token in _RESERVED:
            self._refuse_word(line, token, "part")
        else:
            return True
        return False

    def _refuse_word(self, line: Line, token: Token, what: str) -> None:
        self.report(
            line,
            token,
            f"{token} is a word of the language, so no {what} can be called that",
            expected="another name",
        )

    def _take_entry(self, line: Line, word: str, connection: Connection) -> None:
        head, chain = connection.head, connection.chain
        if word == "port":
            entry = (
                _Entry(line, str(head[0]), chain)
                if len(head) == 1 and len(chain) == 1 and head[0].type == "WORD"
                else None
            )
            if entry is None:
                self.report(
                    line,
                    (head or chain)[0],
                    "a port needs a name and a node",
                    expected="port NAME = NODE",
                )
            elif entry.name in _RESERVED:
                self._refuse_word(line, head[0], "port")
            elif any(old.name == entry.name for old in self.entries["port"]):
                self.report(
                    line,
                    head[0],
                    f"the port {entry.name} is there twice",
                    expected="each name once",
                )
                return
        else:
            entry = _Entry(line, "", head) if not chain else None
            if entry is None:
                self.report(
                    line,
                    chain[0],
                    f"{word} takes nodes only",
                    expected=f"{word} A, B" if word != "join" else "join A B",
                )
            elif word == "join" and len(head) < 2:
                self.report(line, head[0], "join needs two nodes", expected="join A B")
        if entry is None:
            self.lost.append(line)
        else:
            self.entries[word].append(entry)

    def _take_title(self, line: Line, shape: PlainLine) -> None:
        if self.title:
            self.report(
                line,
                shape.keyword,
                "the circuit has a title already",
                expected="one title",
                hint="remove one",
            )
        self.title = str(shape.words[0])[1:-1]

    def _take_mains(self, line: Line, shape: PlainLine) -> None:
        mains = read_mains(shape, partial(self.report, line))
        if mains and self.mains:
            self.report(
                line,
                shape.keyword,
                "the mains are stated twice",
                expected="one line",
                hint="remove one",
            )
        self.mains = self.mains or mains

    # what each node word means

    def _node(self, line: Line, token: Token) -> str:
        """Return the key of a node: its name, or the canonical ``PART.terminal`` of a reference."""
        text = str(token)
        if token.type != "WORD" or text[-1] == "#":
            self.report(
                line,
                token,
                f"{text} cannot be a node",
                expected="a name that begins with a letter, or PART.terminal",
            )
        elif "." in text:
            return self._referred(line, token, *text.split(".", 1))
        elif text in _RESERVED:
            self._refuse_word(line, token, "node")
        else:
            return self.nodes.see(text, line, token)
        self.unread.add(text)
        return text

    def _referred(self, line: Line, token: Token, name: str, terminal: str) -> str:
        text, draft = str(token), self.drafts.get(name)
        if draft is None:
            self._miss(name, line, token, "NAME.terminal of a part in this file")
            self.hanging.add(text)
            self.unread.add(text)
            return text
        terminals = Terminals(draft)
        match_ = terminals.named(terminal)
        if not match_:
            refusal = terminals.refusal(terminal)
            self.report(
                line,
                token,
                refusal.message,
                expected=refusal.expected,
                hint=refusal.hint,
                near=refusal.near,
            )
            self.unread.add(text)
            return text
        bound = {pin for pin, _ in draft.pins}
        if draft.lost and bound.isdisjoint(match_):
            self.unread.add(text)
            return text
        pin = next((pin for pin in match_ if pin in bound), match_[0])
        if pin in draft.unused:
            self.report(
                line,
                token,
                f"{name}.{pin} is said to be unused and is used here",
                expected="one or the other",
                hint=f"take {pin} out of the unused list of {name}",
            )
        return self.nodes.refer(name, pin, line, token)

    def _miss(self, name: str, line: Line, token: Token, expected: str) -> None:
        self.dangling.setdefault(name, (line, token, expected))

    def _report_dangling(self) -> None:
        """Report each part that is not there, once, unless as many part lines have lost their
        names.
        """
        missing = {name: place for name, place in self.dangling.items() if name not in self.unread}
        if len(missing) > sum(is_nameless(line.code) for line in self.lost):
            for name, (line, token, expected) in missing.items():
                self.report(
                    line,
                    token,
                    f"there is no part {name}",
                    expected=expected,
                    near=partial(nearest, name, self.drafts),
                )

    @cached_property
    def unread(self) -> set[str]:
        """Words whose mistake has been reported already, so that nothing more is said of them.

        They are on lines that could not be read whole: such a node may have more pins, such a
        part may well exist.
        """
        words = {
            word for line in self.lost for word in re.findall(r"[A-Za-z_][\w+./-]*", line.code)
        }
        for word in sorted(words):
            name, _, terminal = word.partition(".")
            words.add(name)
            if terminal and (draft := self.drafts.get(name)):
                pins = Terminals(draft).named(terminal)
                words.update(str(token) for pin, token in draft.pins if pin in pins)
        return words

    # parts and attached circuits

    def _part(self, draft: PartDraft, pins: Pins, names: dict[str, str]) -> Part:
        kind, line, token = KINDS[draft.kind], self.line_of[draft.name], draft.token
        missing = (
            () if draft.lost else missing_terminals(draft, kind, {terminal for terminal, _ in pins})
        )
        if missing:
            self._report_missing(line, draft, missing)
        if names:
            pins = [(terminal, names.get(key, key)) for terminal, key in pins]
        if len(pins) > len(draft.pins):
            pins = in_order(draft.kind, draft.words, pins)
        return Part(
            draft.name,
            draft.kind,
            draft.type,
            draft.values,
            draft.words,
            tuple((word, str(argument)) for word, argument in draft.settings),
            tuple(pins),
            draft.unused,
            draft.windings,
            draft.remark,
            self.problems.place(line, span(token)),
        )

    def _report_missing(self, line: Line, draft: PartDraft, missing: tuple[str, ...]) -> None:
        self.report(
            line,
            draft.token,
            f"{draft.name} has nothing on " + ", ".join(map(Terminals(draft).words, missing)),
            expected="every terminal bound to a node",
            hint="bind it, or write unused " + " ".join(missing),
        )

    def _guest(self, line: Line, shape: AttachLine) -> Guest | None:
        """Return an attached circuit with the keys of the nodes that its ports are connected to, or
        None after reporting why not.
        """
        taken = (*self.drafts, *self.nodes.first_seen)
        if not self._can_be_a_name(line, shape.name) or in_use(
            line, shape.name, taken, self.attached, self.problems
        ):
            return None
        other = read_attached(line, shape, self.attach, self.problems)
        if other is None:
            self.unread.update(str(each.chain[0]) for each in shape.connections if each.chain)
            return None
        ports, strays = read_ports(line, shape, other, self._node, self.problems)
        self.unread.update(strays)
        return Guest(line, shape, other, tuple(ports.items()))

"""Statements to a Circuit: names to pins and nodes, joins, ports, attached circuits, and what does not add up."""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import partial

from lark import Token

from rework.circuit.circuit import Circuit, Mains
from rework.circuit.edits import AttachCircuit, apply_edit
from rework.circuit.graph import Merged
from rework.circuit.parts import KINDS, Part, in_order
from rework.circuit.place import Place, Problem, errors
from rework.language.partline import Draft, missing_terminals, read_cached, read_part, terminal_names, tube_named
from rework.language.quantity import QuantityError
from rework.language.reader import CIRCUIT_KEYWORDS, Line, Problems, decode, read_lines
from rework.language.syntax import AttachLine, Connection, ListLine, PartLine, PlainLine

#: Reads the circuit an ``attach`` line names: (file name as written, from which file) -> (circuit, problems).
Attach = Callable[[str, str], tuple[Circuit | None, tuple[Problem, ...]]]

#: Suggestions are looked for at most this often, so that a file of nothing but typing mistakes still ends soon.
MOST_SUGGESTIONS = 40


def read_circuit(text: str, *, file: str = "", attach: Attach | None = None) -> tuple[Circuit | None, tuple[Problem, ...]]:
    """Return the circuit a text states and every problem in it; the circuit is None where any of them is an error.

    ``attach`` reads the circuits that the text attaches; without it an ``attach`` line is a problem.
    """
    lines, problems = read_lines(text, file)
    circuit = _Resolver(lines, problems, attach).circuit()
    found = problems.sorted()
    return (None if errors(found) else circuit), found


def read_circuit_bytes(data: bytes, *, file: str, attach: Attach | None = None) -> tuple[Circuit | None, tuple[Problem, ...]]:
    """Return the same for the bytes of a file, which may not be text at all."""
    text, problems = decode(data, file)
    return (None, problems) if text is None else read_circuit(text, file=file, attach=attach)


class _Resolver:
    """Holds what is known of one file while its names are given their meaning."""

    def __init__(self, lines: list[Line], problems: Problems, attach: Attach | None) -> None:
        self.lines, self.problems, self.attach = lines, problems, attach
        self.file = problems.file
        self.title, self.mains = "", None
        self.drafts: dict[str, Draft] = {}
        self.line_of: dict[str, Line] = {}
        self.lists: dict[str, list[tuple[Line, Connection]]] = {"touchable": [], "port": [], "open": [], "join": []}
        self.attached: list[tuple[Line, AttachLine]] = []
        self.merged = Merged()
        self.first_seen: dict[str, tuple[Line, Token]] = {}
        self.references: dict[tuple[str, str], None] = {}
        self.suggestions = 0

    def report(self, line: Line, token: Token | None, message: str, **more: str) -> None:
        self.problems.add(line, token, message, **more)

    def circuit(self) -> Circuit:
        """Return the circuit as far as it could be understood."""
        for line in self.lines:
            if line.shape is not None:
                self._take(line, line.shape)
        pins = {name: [(terminal, self._node(self.line_of[name], token)) for terminal, token in draft.pins]
                for name, draft in self.drafts.items()}
        lists = {word: [(line, connection, [self._node(line, token) for token in _nodes(word, connection)])
                        for line, connection in entries] for word, entries in self.lists.items()}
        for _, _, nodes in lists["join"]:
            for node in nodes[1:]:
                self.merged.join(nodes[0], node)
        self._bind_references(pins)
        names, aliases = self._node_names(pins, [node for _, _, nodes in lists["join"] for node in nodes])
        parts = tuple(self._part(draft, pins[name], names) for name, draft in self.drafts.items())
        circuit = Circuit(
            self.title, self.mains, parts,
            touchable=tuple(dict.fromkeys(names.get(node, node) for _, _, nodes in lists["touchable"] for node in nodes)),
            ports=tuple((str(connection.head[0]), names.get(nodes[0], nodes[0])) for _, connection, nodes in lists["port"] if nodes),
            open_nodes=tuple(dict.fromkeys(names.get(node, node) for _, _, nodes in lists["open"] for node in nodes)),
            aliases=aliases, file=self.file)
        circuit = self._attach_all(circuit)
        self._check(circuit, lists, names)
        return circuit

    # what each statement says

    def _take(self, line: Line, shape: object) -> None:
        match shape:
            case PartLine():
                self._take_part(line, shape)
            case ListLine():
                self._take_list(line, shape)
            case PlainLine():
                self._take_plain(line, shape)
            case AttachLine():
                self.attached.append((line, shape))

    def _take_part(self, line: Line, shape: PartLine) -> None:
        name, report = shape.name, partial(self.report, line)
        if name.type != "WORD":
            report(name, f"{name} cannot be the name of a part", expected="a name that begins with a letter, such as R12",
                   hint="put a letter in front")
            return
        if "." in name or name.endswith("#"):
            report(name, f"{name} cannot be the name of a part", expected="letters, digits, _ + - and /",
                   hint="a full stop stands between a part and its terminal, as in V1.plate")
            return
        if name in CIRCUIT_KEYWORDS or name == "unused":
            report(name, f"{name} is a word of the language, so no part can be called that", expected="another name")
            return
        draft = read_part(shape, report)
        if str(name) in self.drafts:
            first = self.line_of[str(name)].number
            report(name, f"{name} is used twice; the first is in line {first}", expected="each name once",
                   hint=f"call this one {self._free_name(str(name))}")
        elif draft is not None:
            self.drafts[draft.name] = draft
            self.line_of[draft.name] = line

    def _free_name(self, name: str) -> str:
        stem = name.rstrip("0123456789") or name
        number = 1
        while f"{stem}{number}" in self.drafts:
            number += 1
        return f"{stem}{number}"

    def _take_list(self, line: Line, shape: ListLine) -> None:
        word = str(shape.keyword)
        for connection in shape.connections:
            plain = not connection.chain
            if word == "port" and (plain or len(connection.head) != 1 or len(connection.chain) != 1):
                self.report(line, connection.head[0] if connection.head else connection.chain[0],
                            "a port needs a name and a node", expected="port NAME = NODE")
            elif word != "port" and not plain:
                self.report(line, connection.chain[0], f"{word} takes nodes only",
                            expected=f"{word} A, B" if word != "join" else "join A B")
            else:
                self.lists[word].append((line, connection))

    def _take_plain(self, line: Line, shape: PlainLine) -> None:
        if shape.keyword == "circuit":
            if self.title:
                self.report(line, shape.keyword, "the circuit has a title already", expected="one title", hint="take one out")
            self.title = str(shape.words[0])[1:-1]
            return
        amounts = {}
        for token in shape.words:
            try:
                value = read_cached(str(token))
            except QuantityError as error:
                self.report(line, token, str(error), expected="mains VOLTS HERTZ, as in mains 117 V 60 Hz")
                return
            amounts[value.dimension] = value.amount
        if set(amounts) != {"voltage", "frequency"}:
            self.report(line, shape.keyword, "the mains need volts and hertz", expected="mains 117 V 60 Hz")
        elif not (0 < amounts["voltage"] <= 1000 and 0 <= amounts["frequency"] <= 1000):
            self.report(line, shape.keyword, "these are no mains that a set was made for",
                        expected="volts up to 1000 and hertz up to 1000 (0 Hz for DC)")
        elif self.mains:
            self.report(line, shape.keyword, "the mains are stated twice", expected="one line", hint="take one out")
        else:
            self.mains = Mains(amounts["voltage"], amounts["frequency"])

    # what each node word means

    def _node(self, line: Line, token: Token) -> str:
        """Return the key of a node: its name, or ``PART.terminal`` (canonical) where the word is a reference."""
        text = str(token)
        if token.type not in ("WORD",):
            self.report(line, token, f"{text} cannot be a node", expected="a name that begins with a letter, or PART.terminal")
            return text
        if "." not in text:
            if text not in self.first_seen:
                self.first_seen[text] = (line, token)
            return text
        name, _, terminal = text.partition(".")
        draft = self.drafts.get(name)
        if draft is None:
            if not self._on_unread_line(name):
                self.report(line, token, f"there is no part {name}", expected="NAME.terminal of a part in this file",
                            hint=self._near(name, self.drafts))
            return text
        found, message, hint = terminal_names(draft, KINDS[draft.kind], tube_named(draft) if draft.kind == "tube" else None, terminal)
        if message or not found:
            self.report(line, token, message or f"{name} has no terminal {terminal}", hint=hint, expected="a terminal of " + name)
            return text
        bound = {pin for pin, _ in draft.pins}
        pin = next((pin for pin in found if pin in bound), found[0])
        if pin in draft.unused:
            self.report(line, token, f"{name}.{pin} is said to be unused and is used here", expected="one or the other",
                        hint=f"take {pin} out of the unused list of {name}")
        self.references[(name, pin)] = None
        self.first_seen.setdefault(f"{name}.{pin}", (line, token))
        return f"{name}.{pin}"

    def _bind_references(self, pins: dict[str, list[tuple[str, str]]]) -> None:
        """Make one node of a pin that others refer to and the node its own line gives it."""
        for name, terminal in self.references:
            key = f"{name}.{terminal}"
            own = next((node for pin, node in pins[name] if pin == terminal), None)
            if own is None:
                pins[name].append((terminal, key))
            elif own != key:
                self.merged.join(own, key)

    def _node_names(self, pins: dict[str, list[tuple[str, str]]], joined: list[str]) -> tuple[dict[str, str], tuple]:
        """Return the name of every node key, and the names that a ``join`` made into other names of the same node."""
        groups = self.merged.groups()
        order = {node: index for index, node in enumerate([*joined, *self.first_seen])}
        for index, node in reversed(list(enumerate(joined))):
            order[node] = index - len(joined)
        names: dict[str, str] = {}
        aliases: list[tuple[str, str]] = []
        taken = {key for key in self.first_seen if "." not in key}
        grouped = set()
        for keys in groups.values():
            plain = sorted((key for key in keys if "." not in key), key=lambda key: order.get(key, 0))
            chosen = plain[0] if plain else self._made_up(min(keys), taken)
            names.update(dict.fromkeys(keys, chosen))
            aliases += [(alias, chosen) for alias in plain[1:]]
            grouped.update(keys)
        for name, terminal in self.references:
            key = f"{name}.{terminal}"
            if key not in grouped and key not in names:
                names[key] = self._made_up(key, taken)
        return names, tuple(sorted(aliases))

    @staticmethod
    def _made_up(key: str, taken: set[str]) -> str:
        """Return a plain name for a node that has none: V1.5 becomes V1-5, so that it is written and read like any other."""
        wanted = name = re.sub(r"[./]", "-", key)
        number = 1
        while name in taken:
            name, number = f"{wanted}_{number}", number + 1
        taken.add(name)
        return name

    def _part(self, draft: Draft, pins: list[tuple[str, str]], names: dict[str, str]) -> Part:
        token, kind = draft.token, KINDS[draft.kind]
        missing = missing_terminals(draft, kind, {terminal for terminal, _ in pins})
        if missing:
            self._report_missing(draft, missing)
        if names:
            pins = [(terminal, names.get(node, node)) for terminal, node in pins]
        if len(pins) > len(draft.pins):
            pins = in_order(draft.kind, draft.words, pins)
        line = self.line_of[draft.name]
        place = Place(self.file, line.number, token.column, token.end_column)
        return Part(draft.name, draft.kind, draft.type, draft.values, draft.words,
                    tuple((word, str(argument)) for word, argument in draft.settings), tuple(pins), draft.unused,
                    draft.windings, draft.remark, place)

    def _report_missing(self, draft: Draft, missing: tuple[str, ...]) -> None:
        tube = tube_named(draft) if draft.kind == "tube" else None
        shown = ", ".join(f"{pin} ({tube.element(pin)})" if tube else pin for pin in missing)
        plural = "pins" if len(missing) > 1 else "pin"
        self.report(self.line_of[draft.name], draft.token, f"{draft.name} has nothing on {plural if tube else 'terminal'} {shown}",
                    expected="every terminal bound to a node", hint="bind it, or write unused " + " ".join(missing))

    def _attach_all(self, circuit: Circuit) -> Circuit:
        for line, shape in self.attached:
            name = str(shape.name)
            if self.attach is None or shape.filler != "as":
                self.report(line, shape.filler if shape.filler != "as" else shape.file,
                            "nothing can be attached here" if shape.filler == "as" else f"{shape.filler} cannot stand here",
                            expected='attach "FILE" as NAME : PORT=NODE, ...')
                continue
            other, problems = self.attach(str(shape.file)[1:-1], self.file)
            self.problems.found += problems
            if other is None:
                if not problems:
                    self.report(line, shape.file, f"{shape.file} cannot be read")
                continue
            circuit = self._attach_one(circuit, line, shape, other, name)
        return circuit

    def _attach_one(self, circuit: Circuit, line: Line, shape: AttachLine, other: Circuit, name: str) -> Circuit:
        ports = dict(other.ports)
        moves = {}
        for connection in shape.connections:
            port = str(connection.head[0]) if connection.head else ""
            if port not in ports:
                self.report(line, (connection.head or connection.chain)[0], f"{shape.file} has no port {port}",
                            expected="one of " + ", ".join(ports), hint=self._near(port, ports))
            else:
                moves[f"{name}/{ports[port]}"] = circuit.node_named(self._node(line, connection.chain[0]))
        circuit = apply_edit(circuit, AttachCircuit(other, name))
        parts = tuple(part.rebound(moves) if part.name.startswith(f"{name}/") else part for part in circuit.parts)
        return replace(circuit, parts=parts, ports=tuple((port, moves.get(node, node)) for port, node in circuit.ports))

    # what does not add up

    def _check(self, circuit: Circuit, lists: dict, names: dict[str, str]) -> None:
        self._check_tubes()
        self._check_settings()
        known = circuit.at.keys()
        excused = set(circuit.open_nodes) | {node for _, node in circuit.ports}
        for word in ("touchable", "port", "open"):
            for line, connection, nodes in lists[word]:
                for node, token in zip(nodes, _nodes(word, connection), strict=True):
                    if names.get(node, node) not in known and not self._on_unread_line(str(token)):
                        self.report(line, token, f"no part is on the node {token}", expected="a node of this circuit",
                                    hint=self._near(str(token), known))
        for node, on in circuit.at.items():
            if len(on) == 1 and node not in excused and not self._on_unread_line(node):
                self._report_lonely(circuit, node, *on[0])

    def _report_lonely(self, circuit: Circuit, node: str, part: Part, terminal: str) -> None:
        if KINDS[part.kind].form == "one" or "/" in node and node not in self.first_seen:
            return
        line, token = self.first_seen.get(node) or (self.line_of.get(part.name), None)
        if line is None:
            return
        busy = [other for other, on in circuit.at.items() if len(on) > 1] if self.suggestions < MOST_SUGGESTIONS else []
        self.report(line, token, f"only {part.name}.{terminal} is on the node {node}", expected="at least two pins on a node",
                    hint=self._near(node, busy) or f"connect something to it, or write: open {node}")

    def _check_tubes(self) -> None:
        for draft in self.drafts.values():
            if draft.kind != "tube" or "unlisted" in draft.words or tube_named(draft) is not None:
                continue
            from rework.tubes import library

            line = self.line_of[draft.name]
            token = next((token for token in line.shape.head if token == draft.type), draft.token)
            near = library.nearest(draft.type)
            self.report(line, token, f"{draft.type} is not in the tube library", expected="a type that rework tubes lists",
                        hint=(f"did you mean {near[0]}? " if near else "") + f"For a tube that is not there write: tube unlisted {draft.type}, "
                        "with pins by number")

    def _check_settings(self) -> None:
        wanted = {"on": ("pot",), "mates": ("connector",), "ganged": ("switch", "pot")}
        for draft in self.drafts.values():
            for word, token in draft.settings:
                if word == "class" and str(token) not in ("X1", "X2", "Y1", "Y2"):
                    self.report(self.line_of[draft.name], token, f"{token} is no safety class of a capacitor", expected="X1, X2, Y1 or Y2")
                other = self.drafts.get(str(token))
                if word not in wanted or self._on_unread_line(str(token)):
                    continue
                if other is None:
                    self.report(self.line_of[draft.name], token, f"there is no part {token}", expected="the name of a " + " or ".join(wanted[word]),
                                hint=self._near(str(token), self.drafts))
                elif other.kind not in wanted[word]:
                    self.report(self.line_of[draft.name], token, f"{token} is a {other.kind}", expected="the name of a " + " or ".join(wanted[word]))

    def _near(self, name: str, known: Iterable[str]) -> str:
        if self.suggestions >= MOST_SUGGESTIONS:
            return ""
        self.suggestions += 1
        near = difflib.get_close_matches(name, [str(word) for word in known], 1, 0.6)
        return f"did you mean {near[0]}?" if near else ""

    def _on_unread_line(self, name: str) -> bool:
        """True for a name that stands on a line which could not be read: its real mistake has been told already."""
        if not hasattr(self, "_unread"):
            lost = [line for line in self.lines if line.code.strip() and (
                line.shape is None or isinstance(line.shape, PartLine) and str(line.shape.name) not in self.drafts)]
            bad = {problem.place.line for problem in self.problems.found if problem.place}
            lost += [line for line in self.lines if line.shape is not None and any(
                line.number + offset in bad for offset in range(len(line.lines)))]
            self._unread = {word for line in lost for match in re.findall(r"[A-Za-z_][\w+./-]*", line.code)
                            for word in (match, match.partition(".")[0])}
        return name in self._unread


def _nodes(word: str, connection: Connection) -> tuple[Token, ...]:
    return connection.chain if word == "port" else connection.head

"""One part line to a part whose nodes are still words: kind, values, words, settings, terminals."""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import lru_cache

from lark import Token

from rework.circuit.parts import (
    KINDS, SWITCH_STYLES, WINDING_NAMES, Kind, Value, chain_terminals, in_order, switch_style, switch_terminals,
)
from rework.language.quantity import EXAMPLES, QuantityError, read_value
from rework.language.syntax import Connection, PartLine

#: Words before a value that say which of a part's values it is.
ROLES = {"dcr": "resistance", "load": "resistance", "at": "fraction", "peak": "voltage", "cold": "resistance",
         "hot": "resistance"}
#: Settings: words that take another word after them.
SETTINGS = ("on", "mates", "ganged", "class", "type")
#: What people also call a kind, for the hint only.
OTHER_NAMES = {"valve": "tube", "condenser": "capacitor", "cap": "capacitor", "potentiometer": "pot", "control": "pot",
               "inductor": "choke", "rectifier": "diode", "socket-outlet": "connector", "xfmr": "transformer",
               "opt": "output transformer", "lead": "wire", "cable": "shielded cable", "ground": "earth", "bulb": "lamp",
               "isolation": "transformer", "loudspeaker": "speaker", "mic": "microphone", "ntc": "thermistor"}

#: Called with the token at fault, the message, and ``expected`` and ``hint`` by name.
Report = Callable[..., None]


@dataclass(slots=True)
class Draft:
    """A part as read so far: like ``Part``, but each pin still carries the token that names its node."""

    name: str
    kind: str
    type: str
    values: tuple[Value, ...]
    words: tuple[str, ...]
    settings: tuple[tuple[str, Token], ...]
    pins: list[tuple[str, Token]]
    unused: tuple[str, ...]
    windings: tuple[tuple[str, tuple[Value, ...]], ...]
    remark: str
    token: Token


read_cached = lru_cache(maxsize=8192)(read_value)


def read_part(line: PartLine, report: Report) -> Draft | None:
    """Return the part a line states, with its nodes as words, or None after reporting why there is no kind to go by."""
    kind, rest = _kind(line, report)
    if kind is None:
        return None
    type_, unlisted = "", False
    if kind.name == "tube":
        type_, unlisted, rest = _tube_type(line, rest, report)
        if not type_:
            return None
    values, words, settings = _attributes(kind, rest, report)
    if unlisted:
        words = ("unlisted",)
    if kind.name == "switch" and sum(word in SWITCH_STYLES for word in words) > 1:
        report(line.head[0], f"{line.name} has two switch styles", expected="one of " + ", ".join(SWITCH_STYLES))
    number = next((str(argument) for name, argument in settings if name == "type"), type_)
    settings = tuple(pair for pair in settings if pair[0] != "type")
    draft = Draft(str(line.name), kind.name, number, values, words, settings, [], (), (),
                  str(line.remark)[1:-1] if line.remark else "", line.name)
    _connect(draft, kind, line, report)
    return draft


def _kind(line: PartLine, report: Report) -> tuple[Kind | None, tuple[Token, ...]]:
    head = line.head
    if not head:
        report(line.name, f"{line.name} has no kind", expected="NAME KIND VALUES : CONNECTIONS",
               hint="write what it is, such as resistor, tube or wire")
        return None, ()
    if len(head) > 1 and (two := f"{head[0]} {head[1]}") in KINDS:
        return KINDS[two], head[2:]
    if head[0] in KINDS:
        return KINDS[head[0]], head[1:]
    if line.name in KINDS:
        report(line.name, "this part has a kind but no name", expected="NAME KIND VALUES : CONNECTIONS",
               hint=f"put a name before {line.name}")
        return None, ()
    word = str(head[0])
    near = OTHER_NAMES.get(word.lower()) or next(iter(difflib.get_close_matches(word.lower(), KINDS, 1, 0.6)), "")
    report(head[0], f"there is no kind of part called {word}", expected="one of " + ", ".join(sorted(KINDS)),
           hint=f"did you mean {near}?" if near else "")
    return None, ()


def _tube_type(line: PartLine, rest: tuple[Token, ...], report: Report) -> tuple[str, bool, tuple[Token, ...]]:
    unlisted = bool(rest) and rest[0] == "unlisted"
    if unlisted:
        rest = rest[1:]
    if not rest:
        report(line.head[0], f"{line.name} is a tube without a type", expected="a type such as 12AU6",
               hint="write the type after the word tube")
        return "", False, ()
    return str(rest[0]), unlisted, rest[1:]


def _attributes(kind: Kind, rest: tuple[Token, ...], report: Report):
    values: list[Value] = []
    words: list[str] = []
    settings: list[tuple[str, Token]] = []
    index = 0
    while index < len(rest):
        token = rest[index]
        following = rest[index + 1] if index + 1 < len(rest) else None
        index += 1
        if token.type in ("VALUE", "NUMBER") or (token.type == "WORD" and _is_marked(token)):
            _add_value(kind.name, kind.dimensions, token, "", values, report)
        elif token in ROLES and following is not None and (following.type == "VALUE" or _is_marked(following)):
            index += 1
            _add_value(kind.name, (ROLES[token],), following, str(token), values, report)
        elif token in SETTINGS and token in kind.settings:
            if following is None:
                report(token, f"the word {token} needs a name after it", expected=f"{token} NAME")
            else:
                index += 1
                settings.append((str(token), following))
        elif token in kind.words:
            words.append(str(token))
        else:
            _strange_word(kind, token, report)
    return tuple(values), tuple(words), tuple(settings)


def _is_marked(token: Token) -> bool:
    return re.fullmatch(r"R\d+", token) is not None


def _strange_word(kind: Kind, token: Token, report: Report) -> None:
    known = sorted(kind.words | kind.settings)
    near = difflib.get_close_matches(str(token), known, 1, 0.6)
    if token.type == "STRING":
        report(token, "a remark stands before the colon", expected="the remark at the end of the line",
               hint="move it behind the connections")
        return
    hint = f"did you mean {near[0]}?" if near else ("put further words into a remark between two \" at the end of the line")
    report(token, f"{token} says nothing about a {kind.name}", hint=hint,
           expected="a value, or one of " + ", ".join(known) if known else "a value")


def _add_value(what: str, dimensions: Iterable[str], token: Token, role: str, values: list[Value], report: Report) -> None:
    dimensions = tuple(dimensions)
    wanted = " or ".join(EXAMPLES[dimension] for dimension in dimensions) or f"no value: a {what} takes none"
    try:
        value = read_cached(str(token), bare=dimensions[0] if dimensions else "", role=role)
    except QuantityError as error:
        report(token, str(error), expected=wanted)
        return
    if value.dimension not in dimensions:
        report(token, f"{token} is a {value.dimension.replace('-', ' ')}, which a {what} does not have", expected=wanted)
    elif any(old.dimension == value.dimension and old.role == role for old in values):
        report(token, f"{token} is a second {value.dimension.replace('-', ' ')} on one {what}", expected="one of each",
               hint="take one out")
    else:
        values.append(value)


def _connect(draft: Draft, kind: Kind, line: PartLine, report: Report) -> None:
    """Fill in the pins, the unused terminals and the values of windings."""
    windings: list[tuple[str, tuple[Value, ...]]] = []
    unused: list[str] = []
    terminals_of = _Terminals(draft, kind, report)
    poles = list(switch_terminals(switch_style(draft)))
    plain = 0
    for connection in line.connections:
        head, chain = connection.head, connection.chain
        if not chain and head and head[0] == "unused":
            for token in head[1:]:
                unused += terminals_of.resolve(token, all_of_element=True)
            if len(head) == 1:
                report(head[0], "unused names no terminal", expected="unused and the terminals, as in unused 1 2")
        elif connection.equals and kind.form in ("windings", "cores") and head[0] not in kind.optional:
            windings += _winding(draft, kind, connection, report)
        elif connection.equals:
            _named(draft, terminals_of, connection, report)
        else:
            nodes = chain or head
            wanted = _plain_terminals(kind, poles, plain, nodes)
            plain += 1
            if wanted is None or (chain and head) or len(wanted) != len(nodes):
                report(nodes[0], f"a {kind.name} is not connected like this", expected=_connection_form(kind, poles))
            else:
                draft.pins += zip(wanted, nodes, strict=True)
    draft.windings, draft.unused = tuple(windings), tuple(unused)
    _check_terminals(draft, kind, poles, line, report)


def _plain_terminals(kind: Kind, poles: list, count: int, nodes: tuple[Token, ...]) -> tuple[str, ...] | None:
    if kind.form in ("two", "one") and count == 0:
        return kind.terminals
    if kind.form == "poles" and count < len(poles):
        return poles[count]
    if kind.form == "pins" and count == 0 and len(kind.terminals) == 2 == len(nodes) and kind.name in ("speaker", "motor", "pickup", "microphone"):
        return kind.terminals
    return None


def _connection_form(kind: Kind, poles: list) -> str:
    if kind.form == "two":
        return "A -- B" + (f" ({kind.terminals[0]} -- {kind.terminals[1]})" if kind.polar else "")
    if kind.form == "one":
        return "one node"
    if kind.form == "poles":
        return ", ".join(" -- ".join("ABCDEF"[: len(pole)]) for pole in poles)
    if kind.form in ("windings", "cores"):
        first = "core1" if kind.form == "cores" else "primary"
        return f"{first} = A -- B, with a comma between {'cores' if kind.form == 'cores' else 'windings'}"
    shown = kind.terminals or ("1", "2")
    return ", ".join(f"{terminal}=NODE" for terminal in shown)


def _winding(draft: Draft, kind: Kind, connection: Connection, report: Report) -> list[tuple[str, tuple[Value, ...]]]:
    name, rest = str(connection.head[0]), connection.head[1:]
    allowed = ("core", "shield") if kind.form == "cores" else WINDING_NAMES
    if kind.name == "autotransformer":
        allowed = ("winding",)
    if not name.startswith(allowed):
        near = difflib.get_close_matches(name, allowed, 1, 0.5)
        report(connection.head[0], f"{name} is no {'core' if kind.form == 'cores' else 'winding'} of a {kind.name}",
               expected="a name that begins with " + ", ".join(allowed), hint=f"did you mean {near[0]}?" if near else "")
        return []
    terminals = chain_terminals(name, len(connection.chain), form=kind.form)
    draft.pins += zip(terminals, connection.chain, strict=True)
    values: list[Value] = []
    dimensions = ("voltage", "current", "resistance", "inductance", "power", "fraction") if kind.form == "windings" else ()
    index = 0
    while index < len(rest):
        token = rest[index]
        index += 1
        if token in ROLES and index < len(rest):
            _add_value("winding", (ROLES[token],), rest[index], str(token), values, report)
            index += 1
        elif token.type in ("VALUE", "NUMBER") or _is_marked(token):
            _add_value("winding", dimensions, token, "", values, report)
        else:
            report(token, f"{token} says nothing about a winding", expected="values such as 6.3 V 3 A dcr 0.1 ohm")
    return [(name, tuple(values))] if values else []


def _named(draft: Draft, terminals: _Terminals, connection: Connection, report: Report) -> None:
    if len(connection.chain) > 1:
        report(connection.chain[1], "one terminal goes to one node", expected="TERMINAL=NODE",
               hint="put a comma between connections, or give the wire between the two nodes a line of its own")
        return
    if len(connection.head) != 1:
        report(connection.head[-1], "two terminals stand before one =", expected="TERMINAL=NODE",
               hint="put a comma between connections")
        return
    found = terminals.resolve(connection.head[0])
    if found:
        draft.pins.append((found[0], connection.chain[0]))


class _Terminals:
    """Resolves what a file calls a terminal of one part to its canonical name."""

    def __init__(self, draft: Draft, kind: Kind, report: Report) -> None:
        self.draft, self.kind, self.report = draft, kind, report
        self.tube = tube_named(draft) if draft.kind == "tube" else None

    def resolve(self, token: Token, *, all_of_element: bool = False) -> tuple[str, ...]:
        """Return the canonical terminals a word names, none after reporting a word that names none."""
        found, message, hint = terminal_names(self.draft, self.kind, self.tube, str(token))
        if message:
            self.report(token, message, expected="one of " + ", ".join(_choices(self.draft, self.kind, self.tube)), hint=hint)
            return ()
        if len(found) > 1 and not all_of_element:
            taken = {terminal for terminal, _ in self.draft.pins}
            return tuple(pin for pin in found if pin not in taken)[:1] or found[:1]
        return found


def tube_named(draft_or_part) -> object | None:
    """Return what the tube library knows of a tube part, or None."""
    from rework.tubes import library

    return library.find(draft_or_part.type)


def terminal_names(part, kind: Kind, tube, text: str) -> tuple[tuple[str, ...], str, str]:
    """Return (canonical terminals, message, hint) for what a file calls a terminal of a part.

    The message is empty when the word names a terminal. A tube's element may be on several pins.
    """
    if part.kind == "tube":
        return _tube_terminals(part, tube, text)
    if kind.form in ("windings", "cores"):
        if text in kind.optional or re.fullmatch(r"[A-Za-z0-9_]+(\.(start|finish|tap\d*|\d+))?", text):
            return (text,), "", ""
    elif kind.form == "poles":
        known = [terminal for pole in switch_terminals(switch_style(part)) for terminal in pole]
        if text in known:
            return (text,), "", ""
    elif not kind.terminals or text in kind.terminals or text in kind.optional:
        return (text,), "", ""
    near = difflib.get_close_matches(text, _choices(part, kind, tube), 1, 0.5)
    return (), f"a {part.kind} has no terminal {text}", f"did you mean {near[0]}?" if near else ""


def _tube_terminals(part, tube, text: str) -> tuple[tuple[str, ...], str, str]:
    if tube is None:
        if text.isdigit() or text == "cap":
            return (text,), "", ""
        return (), f"{part.type} is not in the tube library, so its {text} has no known pin", "give its pins by number"
    if text.isdigit() or text == "cap":
        if text in tube.socket_pins:
            return (text,), "", ""
        return (), f"{part.type} has no pin {text}", ""
    if text == "heater":
        return (), f"the heater of {part.name} has two ends", "write heater1 and heater2, or the pin numbers"
    pins = tuple(tube.pins_of(text))
    if pins:
        return pins, "", ""
    near = difflib.get_close_matches(text, tube.element_names(), 1, 0.5)
    units = ", ".join(tube.units)
    hint = f"did you mean {near[0]}?" if near else (f"name the unit too: {units}" if units else "")
    return (), f"{part.type} has no element called {text}", hint


def _choices(part, kind: Kind, tube) -> tuple[str, ...]:
    if tube is not None:
        return tuple(tube.socket_pins) + tuple(tube.element_names())
    if kind.form == "poles":
        return tuple(t for pole in switch_terminals(switch_style(part)) for t in pole)
    if kind.form == "windings":
        return WINDING_NAMES
    return kind.terminals + kind.optional or ("a pin number",)


def _check_terminals(draft: Draft, kind: Kind, poles: list, line: PartLine, report: Report) -> None:
    """Report terminals bound twice and terminals bound nowhere; sort the pins into canonical order."""
    seen: set[str] = set()
    for terminal, token in draft.pins:
        if terminal in seen:
            report(token, f"{_pin_words(draft, terminal)} of {draft.name} is bound twice", expected="each terminal once",
                   hint="two nodes on one pin are one node: say so with join A B")
        seen.add(terminal)
    both = [terminal for terminal in draft.unused if terminal in seen]
    if both:
        report(line.name, f"{_pin_words(draft, both[0])} of {draft.name} is bound and also said to be unused",
               expected="one or the other")
    draft.pins = in_order(draft.kind, draft.words, draft.pins)
    if kind.form in ("windings", "cores") and not draft.pins:
        report(line.name, f"{draft.name} has no windings" if kind.form == "windings" else f"{draft.name} has no cores",
               expected=_connection_form(kind, poles))


def missing_terminals(draft: Draft, kind: Kind, bound: set[str]) -> tuple[str, ...]:
    """Return the terminals that must be bound and are neither bound nor said to be unused."""
    if draft.kind == "tube":
        tube = tube_named(draft)
        if tube is None:
            return ()
        told = bound | set(draft.unused)
        elements = {element for pin in told for element in [tube.element(pin)]}
        return tuple(pin for pin in tube.socket_pins
                     if pin not in told and (element := tube.element(pin)) not in ("none", "absent", "internal")
                     and (element not in elements or element.startswith("heater")))
    if kind.form == "poles":
        style = switch_style(draft)
        wanted = tuple(terminal for pole in switch_terminals(style) for terminal in pole)
    else:
        wanted = kind.terminals
    if draft.kind == "plug" and "three-pin" in draft.words:
        wanted = (*wanted, "earth")
    return tuple(terminal for terminal in wanted if terminal not in bound and terminal not in draft.unused)


def _pin_words(draft: Draft, terminal: str) -> str:
    tube = tube_named(draft) if draft.kind == "tube" else None
    if tube is not None:
        return f"pin {terminal} ({tube.element(terminal)})"
    return f"pin {terminal}" if terminal.isdigit() else terminal

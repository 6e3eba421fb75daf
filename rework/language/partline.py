"""One part line to a part whose nodes are still words: kind, values, words, settings, terminals."""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache, partial

from lark import Token

from rework.circuit.parts import (
    KINDS,
    SWITCH_STYLES,
    WINDING_NAMES,
    Kind,
    Value,
    chain_terminals,
    in_order,
    switch_style,
    switch_terminals,
)
from rework.language.mistakes import a_or_an, nearest
from rework.language.quantity import EXAMPLES, QuantityError, read_value
from rework.language.reader import CIRCUIT_KEYWORDS
from rework.language.syntax import Connection, PartLine
from rework.language.terminals import Terminals

#: Words before a value that say which of a part's values it is.
ROLES = {"dcr": "resistance", "load": "resistance", "at": "fraction", "peak": "voltage", "cold": "resistance",
         "hot": "resistance", "leakage": "inductance"}
#: Settings: words that take another word after them.
SETTINGS = ("on", "mates", "ganged", "class", "type")
#: What people also call a kind, for the hint only.
OTHER_NAMES = {"valve": "tube", "condenser": "capacitor", "cap": "capacitor", "potentiometer": "pot", "control": "pot",
               "inductor": "choke", "rectifier": "diode", "socket-outlet": "connector", "xfmr": "transformer",
               "opt": "output transformer", "lead": "wire", "cable": "shielded cable", "ground": "earth", "bulb": "lamp",
               "isolation": "transformer", "loudspeaker": "speaker", "mic": "microphone", "ntc": "thermistor"}
#: First words of kinds of two words. No part can be called so, nor like a kind: ``output transformer : ...`` would be a
#: part named "output" of another kind.
_HALF_KINDS = frozenset(name.split()[0] for name in KINDS if " " in name)
#: Parts with named terminals that may also be written ``A -- B``.
_PLAIN_PAIRS = ("speaker", "motor", "pickup", "microphone")
#: What may be said of one winding or one core, as if it were a part of its own.
_WINDING = Kind("winding", "windings", "windings", dimensions=("voltage", "current", "resistance", "inductance", "power", "fraction"),
                settings=frozenset())
_CORE = Kind("core", "cores", "conductor", settings=frozenset())

#: Called with the token at fault, the message, and ``expected``, ``hint`` and ``near`` by name.
Report = Callable[..., None]


@dataclass(slots=True)
class Draft:
    """A part as read so far: like ``Part``, but each pin still carries the token that names its node.

    ``lost`` is true where a connection could not be understood, so that more terminals are bound than ``pins`` says.
    """

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
    lost: bool = False


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
    values, words, settings = _attributes(kind, rest, report) if rest else ((), (), ())
    if unlisted:
        words = ("unlisted",)
    if kind.name == "switch" and sum(word in SWITCH_STYLES for word in words) > 1:
        report(line.head[0], f"{line.name} has two switch styles", expected="one of " + ", ".join(SWITCH_STYLES))
    if settings and not type_:
        type_ = next((_word(argument) for name, argument in settings if name == "type"), "")
        settings = tuple(pair for pair in settings if pair[0] != "type")
    draft = Draft(str(line.name), kind.name, type_, values, words, settings, [], (), (),
                  str(line.remark)[1:-1] if line.remark else "", line.name)
    _Connections(draft, kind, report).read(line)
    return draft


def missing_terminals(draft: Draft, kind: Kind, bound: set[str]) -> tuple[str, ...]:
    """Return the terminals that must be bound and are neither among ``bound`` nor said to be unused."""
    if kind.form != "poles" and kind.name not in ("tube", "plug") and bound.issuperset(kind.terminals):
        return ()
    return Terminals(draft).missing(bound)


def is_nameless(code: str) -> bool:
    """True for a statement that could not be read and may be a part whose name is the very thing that is missing."""
    first = code.split(None, 1)[0]
    return first in KINDS or first in _HALF_KINDS or re.fullmatch(r"[A-Za-z_][\w+/-]*", first) is None


# the head: kind, values, words, settings


def _kind(line: PartLine, report: Report) -> tuple[Kind | None, tuple[Token, ...]]:
    head = line.head
    if line.name in KINDS or line.name in _HALF_KINDS:
        report(line.name, "this part has a kind but no name", expected="NAME KIND VALUES : CONNECTIONS",
               hint=f"put a name before {line.name}")
        return None, ()
    if not head:
        report(line.name, f"{line.name} has no kind", expected="NAME KIND VALUES : CONNECTIONS",
               hint="write what it is, such as resistor, tube or wire")
        return None, ()
    if len(head) > 1 and head[0] in _HALF_KINDS and (two := f"{head[0]} {head[1]}") in KINDS:
        return KINDS[two], head[2:]
    if head[0] in KINDS:
        return KINDS[head[0]], head[1:]
    word = str(head[0])
    if head[0].type == "STRING":
        report(line.name, f"{line.name} is no statement", expected="a part, or one of " + ", ".join(CIRCUIT_KEYWORDS),
               near=partial(nearest, str(line.name), CIRCUIT_KEYWORDS))
    else:
        report(head[0], f"there is no kind of part called {word}", expected="one of " + ", ".join(sorted(KINDS)),
               near=lambda: OTHER_NAMES.get(word.lower()) or nearest(word.lower(), KINDS))
    return None, ()


def _tube_type(line: PartLine, rest: tuple[Token, ...], report: Report) -> tuple[str, bool, tuple[Token, ...]]:
    unlisted = bool(rest) and rest[0] == "unlisted"
    if unlisted:
        rest = rest[1:]
    if len(rest) > 1 and rest[0] == "type":
        rest = rest[1:]
    if not rest:
        report(line.head[0], f"{line.name} is a tube without a type", expected="a type such as 12AU6",
               hint="write the type after the word tube")
        return "", False, ()
    if rest[0] == "tube":
        report(rest[0], "the word tube stands twice", expected="a type such as 12AU6", hint="take one out")
        return "", False, ()
    return _word(rest[0]), unlisted, rest[1:]


def _word(token: Token) -> str:
    """Return a type number: ``10V`` and ``10 V`` are one, and quotation marks are no part of it."""
    return str(token)[1:-1] if token.type == "STRING" else "".join(token.split())


def _attributes(kind: Kind, rest: tuple[Token, ...], report: Report):
    """Return the values, words and settings of a head.

    Of a strange word and what follows it only the first is told: the rest is often no more than its rest ("47 omh").
    """
    values: list[Value] = []
    words: list[str] = []
    settings: list[tuple[str, Token]] = []
    wrong = strange = False

    def tell(token: Token, message: str, **more) -> None:
        nonlocal wrong
        wrong = True
        if not strange:
            report(token, message, **more)

    tokens = iter(rest)
    for token in tokens:
        if token.type in ("VALUE", "NUMBER") or _is_marked(token, kind.dimensions):
            _add_value(kind.name, kind.dimensions, token, "", values, tell)
        elif token in kind.words:
            words.append(str(token))
        elif token in ROLES or token in SETTINGS and token in kind.settings and kind.name != "tube":
            following = next(tokens, None)
            if following is None or following in SETTINGS or following in ROLES:
                tell(token, f"the word {token} needs {'a value' if token in ROLES else 'a name'} after it",
                     expected=EXAMPLES[ROLES[token]] if token in ROLES else f"{token} NAME")
                strange = True
            elif token in ROLES:
                _add_value(kind.name, (ROLES[token],), following, str(token), values, tell)
            elif any(name == token for name, _ in settings):
                tell(token, f"the word {token} stands twice on one line", expected="one of each", hint="take one out")
            else:
                settings.append((str(token), following))
        else:
            if not wrong:
                _strange_word(kind, token, tell)
            strange = True
    return tuple(values), tuple(words), tuple(settings)


def _is_marked(token: Token, dimensions: tuple[str, ...]) -> bool:
    """True for a value in IEC 60062 marking that looks like a name: R47 on a resistor, p10 or n47 on a capacitor."""
    letters = "R" if "resistance" in dimensions else "pnu" if "capacitance" in dimensions else ""
    return token[0] in letters and token.type == "WORD" and token[1:].isdigit()


def _strange_word(kind: Kind, token: Token, report: Report) -> None:
    known = sorted(kind.words | kind.settings)
    if token.type == "STRING":
        report(token, "a remark stands before the colon", expected="the remark at the end of the line",
               hint="move it behind the connections")
        return
    report(token, f"{token} says nothing about {a_or_an(kind.name)}", near=partial(nearest, str(token), known),
           hint="put further words into a remark between two \" at the end of the line",
           expected="a value, or one of " + ", ".join(known) if known else "a value")


def _add_value(what: str, dimensions: tuple[str, ...], token: Token, role: str, values: list[Value], report: Report) -> None:
    wanted = partial(_wanted, what, dimensions)
    try:
        value = read_cached(str(token), bare=dimensions[0] if dimensions else "", role=role)
    except QuantityError as error:
        report(token, str(error), expected=wanted())
        return
    if value.dimension not in dimensions:
        report(token, f"{token} is {a_or_an(value.dimension.replace('-', ' '))}, which {a_or_an(what)} does not have", expected=wanted())
    elif values and any(old.dimension == value.dimension and old.role == role for old in values):
        report(token, f"{token} is a second {value.dimension.replace('-', ' ')} on one {what}", expected="one of each",
               hint="take one out")
    else:
        values.append(value)


def _wanted(what: str, dimensions: Iterable[str]) -> str:
    return " or ".join(EXAMPLES[dimension] for dimension in dimensions) or f"no value: {a_or_an(what)} takes none"


# the connections


class _Connections:
    """Fills in the pins, the unused terminals and the values of windings of one draft."""

    def __init__(self, draft: Draft, kind: Kind, report: Report) -> None:
        self.draft, self.kind, self._tell = draft, kind, report
        self.windings: dict[str, tuple[Value, ...]] = {}
        self.unused: list[str] = []
        self.plain = 0
        self.refused = False
        self._terminals: Terminals | None = None

    def report(self, token: Token, message: str, **more) -> None:
        self.draft.lost = True
        self._tell(token, message, **more)

    @property
    def terminals(self) -> Terminals:
        if self._terminals is None:
            self._terminals = Terminals(self.draft)
        return self._terminals

    def read(self, line: PartLine) -> None:
        """Read every connection of the line, then report terminals bound twice and put the pins in order."""
        draft, kind = self.draft, self.kind
        if kind.form == "two" and len(line.connections) == 1 and len(chain := line.connections[0].chain) == 2 and not line.connections[0].head:
            draft.pins = list(zip(kind.terminals, chain, strict=True))
            return
        for connection in line.connections:
            self._one(connection)
        draft.windings, draft.unused = tuple((name, values) for name, values in self.windings.items() if values), tuple(self.unused)
        self._check(line)
        draft.pins = in_order(draft.kind, draft.words, draft.pins)

    def _one(self, connection: Connection) -> None:
        head, chain = connection.head, connection.chain
        wound = self.kind.form in ("windings", "cores") and bool(head) and head[0] not in self.kind.optional
        if not chain and head and head[0] == "unused":
            if len(head) == 1:
                self.report(head[0], "unused names no terminal", expected="unused and the terminals, as in unused 1 2")
            for token in itertools.chain.from_iterable(map(_single_words, head[1:])):
                self.unused += self._named(token)
        elif wound and (connection.equals or not chain and len(head) > 1 and (head[1].type == "VALUE" or head[1] in ROLES)):
            self._winding(connection)
        elif connection.equals:
            self._terminal(connection)
        else:
            self._chain(chain or head, head if chain else ())

    def _named(self, token: Token) -> tuple[str, ...]:
        found = self.terminals.named(str(token)) if token.type in ("WORD", "NUMBER", "TYPE") else ()
        if not found and not self.refused:  # of another kind's terminals one is told, not all
            self.report(token, **self.terminals.refusal(str(token)))
            self.refused = self.kind.name != "tube"
        return found

    def _terminal(self, connection: Connection) -> None:
        if len(connection.chain) > 1:
            self.report(connection.chain[1], "one terminal goes to one node", expected="TERMINAL=NODE",
                        hint="put a comma between connections, or give the wire between the two nodes a line of its own")
        elif len(connection.head) != 1:
            self.report(connection.head[-1], "two terminals stand before one =", expected="TERMINAL=NODE",
                        hint="put a comma between connections")
        elif found := self._named(connection.head[0]):
            taken = {terminal for terminal, _ in self.draft.pins}
            free = next((pin for pin in found if pin not in taken), found[0])
            self.draft.pins.append((free, connection.chain[0]))

    def _chain(self, nodes: tuple[Token, ...], before: tuple[Token, ...]) -> None:
        kind, wanted = self.kind, None
        poles = switch_terminals(switch_style(self.draft)) if kind.form == "poles" else ()
        if kind.form in ("two", "one") and self.plain == 0 or kind.name in _PLAIN_PAIRS and self.plain == 0:
            wanted = kind.terminals
        elif self.plain < len(poles):
            wanted = poles[self.plain]
        self.plain += 1
        if wanted is None or before or len(wanted) != len(nodes):
            self.report(nodes[0], f"{a_or_an(kind.name)} is not connected like this", expected=_connection_form(kind, poles))
        else:
            self.draft.pins += zip(wanted, nodes, strict=True)

    def _winding(self, connection: Connection) -> None:
        """Read ``primary 117 V = A -- B``; one terminal of it, ``primary.start = A``; or values with nothing on them."""
        token, chain = connection.head[0], connection.chain
        name, _, end = str(token).partition(".")
        allowed = ("winding",) if self.kind.name == "autotransformer" else ("core", "shield") if self.kind.form == "cores" else WINDING_NAMES
        what = "core" if self.kind.form == "cores" else "winding"
        if not name.startswith(allowed) or not self.terminals.named(str(token)):
            self.report(token, f"{token} is no {what} of {a_or_an(self.kind.name)}", expected="a name that begins with " + ", ".join(allowed),
                        near=partial(nearest, name, allowed))
            return
        if end and len(chain) > 1:
            self.report(chain[1], "one terminal goes to one node", expected="TERMINAL=NODE")
            return
        if len(chain) == 1 and not end and not name.startswith(("screen", "shield")):
            self.report(chain[0], f"the {what} {name} has one end only", expected=f"{name} = A -- B", hint=f"or write {name}.start = {chain[0]}"
                        if what == "winding" else "")
            return
        terminals = (str(token),) if end else chain_terminals(name, len(chain), form=self.kind.form) if chain else ()
        self.draft.pins += zip(terminals, chain, strict=True)
        values, _, _ = _attributes(_CORE if what == "core" else _WINDING, connection.head[1:], self._tell)
        self.windings[name] = self.windings.get(name, ()) + values

    def _check(self, line: PartLine) -> None:
        draft, kind = self.draft, self.kind
        seen: set[str] = set()
        for terminal, token in draft.pins:
            if terminal in seen:
                self.report(token, f"{self.terminals.words(terminal)} of {draft.name} is bound twice", expected="each terminal once",
                            hint="two nodes on one pin are one node: say so with join A B")
            seen.add(terminal)
        both = [terminal for terminal in draft.unused if terminal in seen]
        if both:
            self.report(line.name, f"{self.terminals.words(both[0])} of {draft.name} is bound and also said to be unused",
                        expected="one or the other")
        if kind.form in ("windings", "cores") and not draft.pins and not draft.unused and not draft.lost:
            self.report(line.name, f"{draft.name} has no {kind.form}", expected=_connection_form(kind, ()))


def _single_words(token: Token) -> Iterator[Token]:
    """Yield the words of a token apart: among the pins of ``unused 1 2 A`` the last two look like two amperes."""
    for match in re.finditer(r"[^ \t\n]+", token):
        column = token.column + match.start()
        yield Token("WORD", match.group(), line=token.line, column=column, end_column=column + len(match.group()))


def _connection_form(kind: Kind, poles: tuple[tuple[str, ...], ...]) -> str:
    if kind.form == "two":
        return "A -- B" + (f" ({kind.terminals[0]} -- {kind.terminals[1]})" if kind.polar else "")
    if kind.form == "one":
        return "one node"
    if kind.form == "poles":
        return ", ".join(" -- ".join("ABCDEF"[: len(pole)]) for pole in poles)
    if kind.form in ("windings", "cores"):
        first = "core1" if kind.form == "cores" else "primary"
        return f"{first} = A -- B, with a comma between {kind.form}"
    return ", ".join(f"{terminal}=NODE" for terminal in kind.terminals or ("1", "2"))

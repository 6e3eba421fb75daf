"""The connections of one part line, behind its colon: which terminal is on which node."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial

from lark import Token

from rework.circuit import taps
from rework.circuit.kinds import WINDING_NAMES, Form, Kind, Law, Passes
from rework.circuit.parts import Value, chain_terminals, in_order, switch_style
from rework.language.head import Report, attributes
from rework.language.leading_words import ROLES
from rework.language.loads import OUTPUT_WINDING, WINDING, ask_for_load
from rework.language.mistakes import a_or_an, nearest
from rework.language.syntax import Connection, PartLine, span
from rework.language.terminals import Terminals

#: Parts with named terminals that may also be written ``A -- B``.
_PLAIN_PAIRS = ("speaker", "motor", "pickup", "microphone", "headphones")
#: What may be said of one winding or one core, as if it were a part of its own.
_CORE = Kind("core", Form.CORES, Passes.CONDUCTOR, settings=frozenset())
_POLES_AND_THROWS = (
    "for each pole, first the pole (the contact that moves), then its throws (the contacts it can"
    " move to)"
)


@dataclass(slots=True)
class PartDraft:
    """A part as read so far: like ``Part``, but each pin still carries the token that names its
    node.

    ``lost`` is true where a connection could not be understood, so that more terminals are bound
    than ``pins`` says.
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


class Connections:
    """Fills in the pins, the unused terminals and the values of windings of one draft."""

    def __init__(
        self, draft: PartDraft, kind: Kind, report: Report, *, head_read: bool = True
    ) -> None:
        self.draft, self.kind, self._tell, self.head_read = draft, kind, report, head_read
        self.windings: dict[str, tuple[Value, ...]] = {}
        self.unused: list[str] = []
        self.plain = 0
        self.refused = self.misplaced = False
        self.line: PartLine | None = None
        self.both_ends = False
        self._terminals: Terminals | None = None

    def report(self, token: Token, message: str, **more: object) -> None:
        """Report a connection that could not be understood."""
        self.draft.lost = True
        self._tell(token, message, **more)

    @property
    def terminals(self) -> Terminals:
        """The terminals of the part by every name they have."""
        if self._terminals is None:
            self._terminals = Terminals(self.draft)
        return self._terminals

    def read(self, line: PartLine) -> None:
        """Read every connection of the line, then report terminals bound twice and put the pins in
        order.
        """
        draft, kind, self.line = self.draft, self.kind, line
        if (
            kind.form == "two"
            and len(line.connections) == 1
            and len(chain := line.connections[0].chain) == 2
            and not line.connections[0].head
        ):
            draft.pins = list(zip(kind.terminals, chain, strict=True))
            return
        self.both_ends = sum(each.head == ("heater",) for each in line.connections) > 1
        for connection in line.connections:
            self._one(connection)
        draft.windings, draft.unused = (
            tuple((name, values) for name, values in self.windings.items() if values),
            tuple(self.unused),
        )
        self._check(line)
        draft.pins = in_order(draft.kind, draft.words, draft.pins)

    def _one(self, connection: Connection) -> None:
        head, chain = connection.head, connection.chain
        wound = (
            self.kind.form in ("windings", "cores")
            and bool(head)
            and head[0] not in self.kind.optional
        )
        if not chain and head and head[0] == "unused":
            if len(head) == 1:
                self.report(
                    head[0],
                    "unused names no terminal",
                    expected="unused and the terminals, as in unused 1 2",
                )
            for token in itertools.chain.from_iterable(map(_single_words, head[1:])):
                self.unused += self._named(token)
        elif wound and (
            connection.equals
            or (not chain and len(head) > 1 and (head[1].type == "VALUE" or head[1] in ROLES))
        ):
            self._winding(connection)
        elif connection.equals:
            self._terminal(connection)
        else:
            self._chain(chain or head, head if chain else ())

    def _named(self, token: Token) -> tuple[str, ...]:
        text = "f" if self.both_ends and token == "heater" else str(token)
        named = self.terminals.named(text) if token.type in ("WORD", "NUMBER", "TYPE") else ()
        if not named and not self.refused:  # of another kind's terminals one is told, not all
            refusal = self.terminals.refusal(str(token))
            self.report(
                token,
                refusal.message,
                expected=refusal.expected,
                hint=refusal.hint,
                near=refusal.near,
            )
            tube = self.terminals.tube
            # The other node of heater=A, B is the same mistake.
            self.misplaced = self.misplaced or token == "heater"
            self.refused = self.kind.name != "tube" or bool(tube and tube.units)
        return named

    def _terminal(self, connection: Connection) -> None:
        head = connection.head
        if len(head) > 1 and head[0].lower() == "pin" and head[1].isdigit():
            head = head[1:]  # pin 3
        if pair := self._pair(connection):
            self.draft.pins += zip(pair, connection.chain, strict=True)
        elif len(connection.chain) > 1:
            chain = " -- ".join(map(str, connection.chain))
            self.report(
                connection.chain[1],
                "one terminal is connected to one node",
                expected="TERMINAL=NODE",
                hint=f"contacts have no name before them: write {chain}"
                if self.kind.form == Form.POLES
                else "put a comma between connections, or give the wire between the two nodes a"
                " line of its own",
            )
        elif len(head) != 1:
            self.report(
                head[-1],
                "two terminals are before one =",
                expected="TERMINAL=NODE",
                hint="put a comma between connections",
            )
        elif terminals := self._named(head[0]):
            taken = {terminal for terminal, _ in self.draft.pins}
            free = next((pin for pin in terminals if pin not in taken), terminals[0])
            self.draft.pins.append((free, connection.chain[0]))

    def _windings_hint(self) -> str:
        """Return how the two chains of a transformer are written as its windings."""
        written = self.line.connections if self.line else ()
        chains = [each.chain for each in written if not each.equals]
        if self.kind.form != "windings" or len(chains) != 2 or not all(map(len, chains)):
            return ""
        first, second = (" -- ".join(map(str, chain)) for chain in chains)
        return f"write primary = {first}, secondary = {second}"

    def _joined_hint(self, nodes: tuple[Token, ...]) -> str:
        """Return what to write for a pin and its node with ``--`` between them, for the three lugs
        of a pot, and for two ends that other signs or words join.
        """
        if self.kind.law is Law.TRACK and len(nodes) > len(("ccw", "cw")):
            first, second, third = map(str, nodes[:3])
            return (
                f"write ccw={first}, wiper={second}, cw={third} where {second} is on the wiper and"
                f" {first} where it is turned down"
            )
        if self.kind.name == "plug" and len(nodes) == len(("line", "neutral")):
            return f"write line={nodes[0]}, neutral={nodes[1]}"
        if self.kind.name == "tube" and len(nodes) > 1 and nodes[0].isdigit():
            return f"write {nodes[0]}={nodes[1]}"
        written = self.line.connections if self.line else ()
        ends = [word for each in written for word in (*each.head, *each.chain) if word != "to"]
        two = self.kind.form == "two" and len(ends) == len(("A", "B"))
        return f"write {ends[0]} -- {ends[1]}" if two else ""

    def _pair(self, connection: Connection) -> tuple[str, ...]:
        """Return the two terminals of ``heater=A -- B`` or ``coil=A -- B``; none where a word with
        two nodes behind it does not name two.
        """
        if len(connection.head) != 1 or len(connection.chain) != 2:
            return ()
        named = [self.terminals.named(f"{connection.head[0]}{number}") for number in (1, 2)]
        return tuple(ends[0] for ends in named) if all(named) else ()

    def _chain(self, nodes: tuple[Token, ...], before: tuple[Token, ...]) -> None:
        kind, wanted = self.kind, None
        poles = switch_style(self.draft).contacts if kind.form == "poles" else ()
        if (kind.form in ("two", "one") and self.plain == 0) or (
            kind.name in _PLAIN_PAIRS and self.plain == 0
        ):
            wanted = kind.terminals
        elif self.plain < len(poles):
            wanted = poles[self.plain]
        self.plain += 1
        if wanted is None or before or len(wanted) != len(nodes):
            self.draft.lost = True
            if self.misplaced or not self.head_read:
                return  # told once, and not where the head may say how it is connected
            self.misplaced = True
            self.report(
                nodes[0],
                f"{a_or_an(kind.name)} is not connected like this",
                expected=_connection_form(kind, poles),
                hint=_poles_hint(kind, poles, len(nodes))
                or self._windings_hint()
                or self._joined_hint(nodes),
            )
        else:
            self.draft.pins += zip(wanted, nodes, strict=True)

    def _winding(self, connection: Connection) -> None:
        """Read ``primary 117 V = A -- B``; one terminal of it, ``primary.start = A``; or values
        with nothing on them.
        """
        token, chain = connection.head[0], connection.chain
        name, _, end = str(token).partition(".")
        allowed = (
            ("winding",)
            if self.kind.name == "autotransformer"
            else ("core", "shield")
            if self.kind.form == "cores"
            else WINDING_NAMES
        )
        what = "core" if self.kind.form == "cores" else "winding"
        if not name.startswith(allowed) or not self.terminals.named(str(token)):
            if self.refused:
                self.draft.lost = True
                return  # of names that are those of another part one is told, not all
            self.refused = len(chain) == 1 and not end
            self.report(
                token,
                f"{token} is no {what} of {a_or_an(self.kind.name)}",
                expected="a name that begins with " + ", ".join(allowed),
                hint=_wound_hint(self.kind) if self.refused else "",
                near=None if self.refused else partial(nearest, name, allowed),
            )
            return
        if end and len(chain) > 1:
            self.report(chain[1], "one terminal is connected to one node", expected="TERMINAL=NODE")
            return
        if len(chain) == 1 and not end and not name.startswith(("screen", "shield")):
            self.report(
                chain[0],
                f"the {what} {name} has one end only",
                expected=f"{name} = A -- B",
                hint=f"or write {name}.start = {chain[0]}" if what == "winding" else "",
            )
            return
        terminals = (
            (str(token),)
            if end
            else chain_terminals(name, len(chain), form=self.kind.form)
            if chain
            else ()
        )
        self.draft.pins += zip(terminals, chain, strict=True)
        of_output = self.kind.name == "output transformer"
        row = _CORE if what == "core" else OUTPUT_WINDING if of_output else WINDING
        head = attributes(row, connection.head[1:], self._tell)
        if of_output and head.is_whole:
            ask_for_load(head.values, partial(self.report, token))
        self.windings[name] = self.windings.get(name, ()) + head.values
        self._check_taps(token, len(chain), head.values)

    def _check_taps(self, token: Token, count: int, values: tuple[Value, ...]) -> None:
        """Report taps that are stated and not connected, or not in order from the start."""
        stated = [value for value in values if value.role.startswith(taps.ROLE)]
        if count > 1 and len(stated) > count - 2:
            self.report(
                token,
                f"{len(stated)} taps of {token} are stated, and {max(count - 2, 0)} connected",
                expected="START -- TAP -- FINISH, one node more for each tap",
            )
        whole = {value.dimension: value.amount for value in values if not value.role}
        amounts = [
            value.amount / whole.get(value.dimension, value.amount or 1.0)
            if value.dimension != "fraction"
            else value.amount
            for value in stated
        ]
        known = [amount for amount in amounts if amount != 1.0]
        if any(amount >= 1 for amount in known) or known != sorted(known):
            self.report(
                token,
                f"the taps of {token} are not in order between its start and its finish",
                expected="each tap nearer to the finish than the one before",
                hint="state each tap as counted from the start of the winding",
            )

    def _check(self, line: PartLine) -> None:
        draft, kind = self.draft, self.kind
        seen: set[str] = set()
        for terminal, token in draft.pins:
            if terminal in seen:
                self.report(
                    token,
                    f"{self.terminals.words(terminal)} of {draft.name} is bound twice",
                    expected="each terminal once",
                    hint="two nodes on one pin are one node: say so with join A B",
                )
            seen.add(terminal)
        both = [terminal for terminal in draft.unused if terminal in seen]
        if both:
            self.report(
                line.name,
                f"{self.terminals.words(both[0])} of {draft.name} is bound and also said to be"
                " unused",
                expected="one or the other",
            )
        if (
            kind.form in ("windings", "cores")
            and not draft.pins
            and not draft.unused
            and not draft.lost
        ):
            self.report(
                line.name, f"{draft.name} has no {kind.form}", expected=_connection_form(kind, ())
            )


def _single_words(token: Token) -> Iterator[Token]:
    """Yield the words of a token apart: among the pins of ``unused 1 2 A`` the last two look like
    two amperes.
    """
    for match in re.finditer(r"[^ \t\n]+", token):
        column = span(token).column + match.start()
        yield Token(
            "WORD",
            match.group(),
            line=token.line,
            column=column,
            end_column=column + len(match.group()),
        )


def _wound_hint(kind: Kind) -> str:
    """Return how the ends of windings are written that have a line for each end."""
    if kind.name == "autotransformer":
        return "write winding 220 V tap 110 V = START -- TAP -- FINISH, with the volts of this one"
    if kind.form == "windings":
        return "write both ends of a winding together, as in primary = A -- B, secondary = C -- D"
    return ""


def _connection_form(kind: Kind, poles: tuple[tuple[str, ...], ...]) -> str:
    if kind.form == "two":
        return "A -- B" + (f" ({kind.terminals[0]} -- {kind.terminals[1]})" if kind.polar else "")
    if kind.form == "one":
        return "one node"
    if kind.form == "poles":
        return ", ".join(" -- ".join(pole) for pole in poles)
    if kind.form in ("windings", "cores"):
        first = "core1" if kind.form == "cores" else "primary"
        return f"{first} = A -- B, with a comma between {kind.form}"
    return ", ".join(f"{terminal}=NODE" for terminal in kind.terminals or ("1", "2"))


def _poles_hint(kind: Kind, poles: tuple[tuple[str, ...], ...], count: int) -> str:
    """Return what to write for a switch that is connected with ``count`` nodes in one chain."""
    if any(len(pole) > 2 for pole in poles):
        return _POLES_AND_THROWS
    more = kind.form == "poles" and count > len(("pole", "throw"))
    return f"a pole with {count - 1} throws is an SP{count - 1}T" if more else ""

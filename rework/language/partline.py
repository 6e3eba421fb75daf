"""One part line to a part whose nodes are still words: its head, then its terminals."""

from __future__ import annotations

import re
from functools import partial

from lark import Token

from rework.circuit import taps
from rework.circuit.kinds import KINDS, Kind, Law
from rework.circuit.parts import Value
from rework.circuit.switches import style_named
from rework.language.connections import Connections, PartDraft
from rework.language.head import Attributes, Report, attributes
from rework.language.headkind import HALF_KINDS, kind_of
from rework.language.loads import loaded, loads_of
from rework.language.spellings import lamp_values, regulator_values
from rework.language.syntax import PartLine
from rework.language.terminals import Terminals
from rework.language.typenumbers import TubeHead, tube_head, word_of
from rework.tubes.unlisted import HEATER_ROLE

#: Tokens of which a mistake says nothing about the kind of a part.
_VALUED = frozenset(("VALUE", "NUMBER", "TYPE"))


def read_part(line: PartLine, report: Report) -> PartDraft | None:
    """Return the part a line states, with its nodes as words, or None after reporting why not."""
    problems_seen: list[tuple[Token, str, dict[str, object]]] = []
    kind, rest, as_it_stands = kind_of(
        line, lambda token, message, **more: problems_seen.append((token, message, more))
    )
    if as_it_stands and kind is not None:
        return _part(line, kind, rest, report)
    (token, message, more), *_ = problems_seen
    if kind is None:
        report(token, message, **more)
        return None
    problems_seen.clear()
    draft = _part(
        line, kind, rest, lambda token, said, **rest: problems_seen.append((token, said, rest))
    )
    if draft is None or any(at.type not in _VALUED for at, _, _ in problems_seen):
        # the line does not read as one of that kind: what was meant is another, and nothing that
        # follows from the guess is told
        report(token, message, expected=more["expected"])
        return None
    report(token, message, **more)
    for at, said, further in problems_seen:
        report(at, said, **further)
    draft.lost = True
    return draft


def _part(line: PartLine, kind: Kind, rest: tuple[Token, ...], report: Report) -> PartDraft | None:
    """Return the part that a line states of a kind, or None after reporting why not."""
    type_, tube = "", TubeHead()
    if kind.name == "tube":
        tube = tube_head(line, rest, report)
        if not (type_ := tube.type):
            return None
        rest = tube.rest
    elif kind.name == "unlisted part":
        type_, rest = _description(line, rest, report)
    loads = loads_of(kind, line, rest, report) if line.ratio else None
    if line.ratio and loads is None and kind.name != "output transformer":
        return None  # what is between the colons may belong to either side
    rest = loads.head if loads else rest
    head = attributes(kind, rest, report) if rest else Attributes()
    words = ("unlisted",) if tube.unlisted else head.words
    settings = tuple(pair for pair in head.settings if pair[0] != "type")
    stated = dict(head.settings).get("type")
    values = _checked_values(kind, line, head, report, unlisted=tube.unlisted) or tube.heater
    if kind.law is Law.LAMP and (number := _lamp_number(rest)):
        type_ = number
        values = values or lamp_values(number)
    elif stated is not None:
        type_ = type_ or word_of(stated)
        values = values or (lamp_values(type_) if kind.law is Law.LAMP else ())
    if kind.name == "gas regulator":
        values = values or regulator_values(type_)
    remark = str(line.remark)[1:-1] if line.remark else ""
    draft = PartDraft(
        str(line.name),
        kind.name,
        type_,
        values,
        words,
        settings,
        [],
        (),
        (),
        remark,
        line.name,
    )
    shaped = kind.form not in ("poles", "windings") or head.is_whole
    Connections(draft, kind, report, head_read=shaped).read(line)
    if kind.law is Law.TRACK:
        _check_tap(draft, report)
    if loads is not None and not draft.lost:
        wound = dict.fromkeys(terminal.partition(".")[0] for terminal, _ in draft.pins)
        draft.windings = loaded(wound, dict(draft.windings), loads, partial(report, draft.token))
    return draft


def _checked_values(
    kind: Kind, line: PartLine, head: Attributes, report: Report, *, unlisted: bool
) -> tuple[Value, ...]:
    """Return the values of a part after reporting what the kind cannot have together."""
    if kind.is_switch and sum(style_named(word) is not None for word in head.words) > 1:
        report(
            line.head[0],
            f"{line.name} has two switch styles",
            expected="one such as SPST, SPDT, DPDT or 2P6T",
        )
    roles = {(value.dimension, value.role) for value in head.values}
    if kind.name != "tube" or not roles or roles == _DROP or (unlisted and roles == _HEATER):
        return head.values
    if unlisted:
        report(
            line.name,
            f"of {line.name} only the heater can be stated",
            expected="volts and amps, as in tube unlisted 12XY9 heater 12.6 V 0.15 A",
        )
        return ()
    report(
        line.name,
        f"of {line.name} only a rectifier's drop can be stated, with the current it was read at",
        expected="no value, or as in tube 35W4 drop 18 V 200 mA",
        hint="its other figures are those of the tube library",
    )
    return ()


def _check_tap(draft: PartDraft, report: Report) -> None:
    """Report a tap that is beyond the track it is on, or that is stated and not connected."""
    if any(value.role == taps.role(2) for value in draft.values):
        report(
            draft.token,
            f"{draft.name} has a second tap on its track",
            expected="one tap",
            hint="leave the second one out with what is on it, and say so in a remark",
        )
    stated = {value.dimension: value.amount for value in draft.values if value.role == taps.ROLE}
    whole = {value.dimension: value.amount for value in draft.values if not value.role}
    whole["fraction"] = 1.0
    for dimension, amount in stated.items():
        if not 0 < amount < whole.get(dimension, amount + 1):
            report(
                draft.token,
                f"the tap of {draft.name} is not between the ends of its track",
                expected="fewer ohms than the whole track has, or less than 100%, from ccw",
            )
    if stated and not draft.lost and "tap" not in {*dict(draft.pins), *draft.unused}:
        report(
            draft.token,
            f"the tap of {draft.name} is stated and nothing is on it",
            expected="tap=NODE behind the colon",
            hint="or write unused tap",
        )


def _lamp_number(rest: tuple[Token, ...]) -> str:
    return next((str(token) for token in rest if token.startswith("#")), "")


def _description(
    line: PartLine, rest: tuple[Token, ...], report: Report
) -> tuple[str, tuple[Token, ...]]:
    """Return what an unlisted part is said to be, and the rest of its head."""
    if rest and rest[0].type == "STRING" and len(rest[0]) > len('""'):
        return word_of(rest[0]), rest[1:]
    report(
        rest[0] if rest else line.name,
        f"{line.name} does not say what it is",
        expected='part unlisted "WHAT IT IS" : PIN=NODE, ...',
    )
    return "", ()


#: What may be stated of a tube: a rectifier's drop, or the heater of an unlisted one.
_DROP = {("voltage", "drop"), ("current", "")}
_HEATER = {("voltage", HEATER_ROLE), ("current", "")}


def missing_terminals(draft: PartDraft, kind: Kind, bound: set[str]) -> tuple[str, ...]:
    """Return the terminals that must be bound and are neither among ``bound`` nor said to be
    unused.
    """
    if (
        kind.form != "poles"
        and kind.name not in ("tube", "plug")
        and bound.issuperset(kind.terminals)
    ):
        return ()
    return Terminals(draft).missing(bound)


def is_nameless(code: str) -> bool:
    """True for a statement that could not be read and may be a part whose name is the very thing
    that is missing.
    """
    first = code.split(None, 1)[0]
    return (
        first in KINDS or first in HALF_KINDS or re.fullmatch(r"[A-Za-z_][\w+/-]*", first) is None
    )

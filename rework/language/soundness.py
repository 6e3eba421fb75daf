"""What does not add up in a circuit as a whole, though every line of it can be read."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass
from functools import partial

from lark import Token

from rework.circuit.circuit import Circuit
from rework.circuit.kinds import KINDS
from rework.circuit.parts import switch_style
from rework.circuit.place import Problem
from rework.language.connections import PartDraft
from rework.language.mistakes import a_or_an, nearest
from rework.language.reader import Line
from rework.language.spellings import regulator
from rework.language.syntax import PartLine, span
from rework.language.terminals import tube_of

#: What a part cannot be to itself, by the setting that says so.
_SELF = {"mates": "mated with", "ganged": "ganged to", "on": "on"}
#: Kinds of part that a setting may name.
_WANTED = {"on": ("pot",), "mates": ("connector",), "ganged": ("switch", "pot")}

Report = Callable[..., None]


def check_settings(
    drafts: Mapping[str, PartDraft],
    line_of: Mapping[str, Line],
    missing: Callable[..., None],
    report: Report,
) -> None:
    """Report tube types the library has not, and settings that name no such class or kind of part.

    ``missing`` takes (name, line, token, expected) of a part that a setting names and that is not
    there.
    """
    for draft in drafts.values():
        line = line_of[draft.name]
        if draft.kind == "tube" and "unlisted" not in draft.words and tube_of(draft) is None:
            _report_type(draft, line, report)
        for word, token in draft.settings:
            name, other = str(token), drafts.get(str(token))
            classes = KINDS[draft.kind].classes
            if word == "class" and name not in classes:
                report(
                    line,
                    token,
                    f"{name} is not a safety class of {a_or_an(draft.kind)}",
                    expected="one of " + ", ".join(classes),
                    near=partial(nearest, name, classes),
                )
            if word == "in":
                _check_position(draft, token, partial(report, line))
            if word not in _WANTED:
                continue
            expected = (
                "the name of " + ("another " if word != "on" else "a ") + " or ".join(_WANTED[word])
            )
            if other is None:
                missing(name, line, token, expected)
            elif other is draft:
                report(line, token, f"{name} cannot be {_SELF[word]} itself", expected=expected)
            elif other.kind not in _WANTED[word]:
                report(line, token, f"{name} is {a_or_an(other.kind)}", expected=expected)
            elif word == "ganged":
                _check_gang(draft, other, token, partial(report, line))


def _check_position(draft: PartDraft, token: Token, report: Report) -> None:
    positions = switch_style(draft).positions
    if str(token) not in positions:
        report(
            token,
            f"{draft.name} has no position {token}",
            expected="one of " + ", ".join(positions),
            near=partial(nearest, str(token), positions),
        )


def _check_gang(draft: PartDraft, other: PartDraft, token: Token, report: Report) -> None:
    """Report switches on one shaft that do not have the same number of positions."""
    if not (KINDS[draft.kind].is_switch and KINDS[other.kind].is_switch):
        return
    counts = [len(switch_style(part_draft).positions) for part_draft in (draft, other)]
    if counts[0] != counts[1]:
        report(
            token,
            f"{draft.name} has {counts[0]} positions and {other.name}, on the same shaft,"
            f" {counts[1]}",
            expected="as many positions on every switch of a gang",
        )


def check_loops(
    drafts: Mapping[str, PartDraft],
    circuit: Circuit,
    line_of: Mapping[str, Line],
    report: Report,
) -> None:
    """Report parts of two ends that have both on one node: they do nothing."""
    for name, draft in drafts.items():
        part = circuit.by_name[name]
        ends = [part.node(terminal) for terminal in part.traits.terminals]
        if part.traits.is_two_ended and ends[0] is not None and ends[0] == ends[-1]:
            report(
                line_of[name],
                draft.pins[-1][1],
                f"both ends of {name} are on the node {ends[0]}, so it does nothing",
                expected="two different nodes",
                hint="correct the node at one end, or remove the part",
                severity="caution",
            )


def broken_tube_files(drafts: Mapping[str, PartDraft]) -> tuple[Problem, ...]:
    """Return a caution for each file of one's own tubes that adds no type; none without a tube."""
    if not any(draft.kind == "tube" for draft in drafts.values()):
        return ()
    from rework.tubes import library

    return library.broken()


def _report_type(draft: PartDraft, line: Line, report: Report) -> None:
    from rework.tubes import library

    draft.lost = True
    head = line.shape.head[1:] if isinstance(line.shape, PartLine) else ()
    token = next(
        (token for token in head if draft.type in (str(token), str(token).strip('"'))),
        draft.token,
    )
    if (gas := regulator(draft.type)) is not None:
        volts, amps, pins = gas
        report(
            line,
            token,
            f"{draft.type} is a gas regulator and has no heater",
            expected=f"{draft.name} gas regulator {volts} {amps} type {draft.type} : ANODE --"
            " CATHODE",
            hint=f"its socket: {pins} (from memory)",
        )
        return
    report(
        line,
        token,
        f"{draft.type} is not in the tube library",
        expected="a type that rework tubes lists",
        near=lambda: next(iter(library.nearest(draft.type)), ""),
        hint=f"write tube unlisted {draft.type} heater VOLTS AMPS, with pins by number or element",
    )


#: Where a statement that could not be read lacks a node, or has something in its place that no node
#: can be.
_GAP = re.compile(r'(:|=|--|,)\s*(--|,|=|:|"|\Z|[^\w\s"])|[^\w\s"#:,=+./-]')
#: Names shorter than this look alike too often to take one for a slip of another.
_LONG_ENOUGH = 4
#: Among more loose ends than this no pairs are looked for.
_MOST_PAIRED = 60


@dataclass(frozen=True, slots=True)
class _Loose:
    """A node that too few pins are on: where to say so, and in which words."""

    line: Line
    token: Token
    words: str
    #: What the word open may excuse; "" for nothing.
    openable: str
    #: What may be bare metal that no part stands for; "" for nothing.
    metal: str = ""

    @property
    def place(self) -> tuple[int, int]:
        at = span(self.token)
        return self.line.number + at.row - 1, at.column


def check_sound(
    circuit: Circuit,
    said: Iterable[tuple[str, Line, Token, str]],
    seen: Mapping[str, tuple[Line, Token]],
    unread: Collection[str],
    lost: Collection[str],
    dangling: int,
    alone: bool,
    report: Report,
) -> None:
    """Report nodes that a statement names and no part is on, and nodes with one pin only.

    ``said`` are (statement, line, word, node) of everything that statements about nodes name;
    ``seen`` is where each node of this file is named first. ``lost`` are the statements that could
    not be read, and ``dangling`` is how many words name parts that are not there: each may well
    have been the other pin on a node, so as many loose ends are not reported. ``alone`` is true
    where the file has no other mistake. Nodes of attached circuits were checked in their own file.
    """
    known = circuit.at.keys()
    loose: dict[str, _Loose] = {}
    for word, line, token, node in said:
        if node not in known and str(token) not in unread and node not in unread:
            metal = str(token) if word == "touchable" else ""
            said_of = f"no part is on the node {token}"
            loose.setdefault(node, _Loose(line, token, said_of, "", metal))
        elif (
            word == "join"
            and str(token) != node
            and seen[str(token)][0] is line
            and len(token) >= _LONG_ENOUGH
            and (near := nearest(token, known))
        ):
            report(
                line,
                token,
                f"nothing but this line names the node {token}",
                hint=f"did you mean {near}?",
                severity="caution",
            )
    loose |= _alone(circuit, seen, unread)
    if len(loose) < _MOST_PAIRED:
        loose = {
            node: loose_end
            for node, loose_end in loose.items()
            if not any(node in code for code in lost)
        }
    if len(loose) > sum(_GAP.search(code) is not None for code in lost) + dangling:
        _report_loose(loose, known, alone, report)


def _alone(
    circuit: Circuit, seen: Mapping[str, tuple[Line, Token]], unread: Collection[str]
) -> dict[str, _Loose]:
    """Return the nodes of this file with one pin only that are neither open, blank, touchable nor
    ports. A contact that only the line of what is touchable names is not connected.
    """
    contacts = {
        node
        for part in circuit.parts
        for terminal in KINDS[part.kind].terminals
        if (node := f"{part.name}-{terminal}") == part.node(terminal)
    }
    excused = {
        *circuit.open_nodes,
        *({*circuit.touchable} - contacts),
        *circuit.blank_nodes,
        *(node for _, node in circuit.ports),
        *unread,
    }
    loose: dict[str, _Loose] = {}
    for node, on in circuit.at.items():
        if (
            len(on) == 1
            and node not in excused
            and node in seen
            and KINDS[on[0][0].kind].form != "one"
        ):
            part, terminal = on[0]
            pin = f"{part.name}.{terminal}"
            unnamed = node in contacts
            loose[node] = _Loose(
                *seen[node],
                f"only {pin} is on {'its own node' if unnamed else f'the node {node}'}",
                pin if unnamed else node,
            )
    return loose


def _way_out(*ends: _Loose) -> str:
    """Return what else may be done about loose ends."""
    openable = [end.openable for end in ends if end.openable]
    if not openable and len(ends) == 1 and ends[0].metal:
        return f"write CH1 chassis : {ends[0].metal} where it is bare metal"
    each = "each of them" if len(openable) > 1 else "it"
    return f"connect something to {each}, or write: open {', '.join(openable)}" if openable else ""


def _report_loose(
    loose: dict[str, _Loose], known: Collection[str], alone: bool, report: Report
) -> None:
    """Report loose ends, the last first.

    Two whose names are alike, or just two and nothing else, are one mistake and reported once.
    """
    count = len(loose)
    for node in sorted(loose, key=lambda node: loose[node].place, reverse=True):
        if node not in loose:
            continue
        loose_end = loose.pop(node)
        partner = (nearest(node, loose) if count < _MOST_PAIRED else "") or (
            next(iter(loose)) if count == 2 and alone else ""
        )
        if partner:
            other = loose.pop(partner)
            report(
                loose_end.line,
                loose_end.token,
                f"{loose_end.words}, and {other.words} (line {other.place[0]})",
                expected="at least two pins on a node",
                hint=f"if {node} and {partner} are one node, give them one name"
                + (f"; else {words}" if (words := _way_out(loose_end, other)) else ""),
            )
        else:
            report(
                loose_end.line,
                loose_end.token,
                loose_end.words,
                expected="a node with a part on it"
                if loose_end.metal
                else "at least two pins on a node",
                hint=_way_out(loose_end),
                near=partial(nearest, node, known),
            )

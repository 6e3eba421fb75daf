"""What does not add up in a circuit as a whole, though every line of it can be read."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from functools import partial

from lark import Token

from rework.circuit.circuit import Circuit
from rework.circuit.parts import KINDS, Part
from rework.language.mistakes import nearest
from rework.language.partline import Draft
from rework.language.reader import Line
from rework.language.terminals import tube_of

#: Kinds of part that a setting may name.
_WANTED = {"on": ("pot",), "mates": ("connector",), "ganged": ("switch", "pot")}
_CLASSES = ("X1", "X2", "Y1", "Y2")

Report = Callable[..., None]


def check_settings(drafts: Mapping[str, Draft], line_of: Mapping[str, Line], unread: Collection[str], report: Report) -> None:
    """Report tube types the library has not, and settings that name no such part or class."""
    for draft in drafts.values():
        line = line_of[draft.name]
        if draft.kind == "tube" and "unlisted" not in draft.words and tube_of(draft) is None:
            _report_type(draft, line, report)
        for word, token in draft.settings:
            name, other = str(token), drafts.get(str(token))
            if word == "class" and name not in _CLASSES:
                report(line, token, f"{name} is no safety class of a capacitor", expected="one of " + ", ".join(_CLASSES))
            if word not in _WANTED or other is None and name in unread:
                continue
            expected = "the name of a " + " or ".join(_WANTED[word])
            if other is None:
                report(line, token, f"there is no part {name}", expected=expected, near=partial(nearest, name, drafts))
            elif other.kind not in _WANTED[word]:
                report(line, token, f"{name} is a {other.kind}", expected=expected)


def _report_type(draft: Draft, line: Line, report: Report) -> None:
    from rework.tubes import library

    draft.lost = True
    token = next((token for token in line.shape.head[1:] if draft.type in (str(token), str(token).strip('"'))), draft.token)
    report(line, token, f"{draft.type} is not in the tube library", expected="a type that rework tubes lists",
           near=lambda: next(iter(library.nearest(draft.type)), ""),
           hint=f"for a tube that is not there write: tube unlisted {draft.type}, with pins by number")


def check_sound(circuit: Circuit, said: Iterable[tuple[str, Line, Token, str]], seen: Mapping[str, tuple[Line, Token]],
                unread: Collection[str], report: Report) -> None:
    """Report nodes that a statement names and no part is on, and nodes with one pin only.

    ``said`` are (statement, line, word, node) of everything that statements about nodes name; ``seen`` is where each
    node of this file is named first. Nodes of attached circuits were checked in their own file.
    """
    known = circuit.at.keys()
    for word, line, token, node in said:
        if node not in known and str(token) not in unread and node not in unread:
            report(line, token, f"no part is on the node {token}", expected="a node of this circuit", near=partial(nearest, str(token), known))
        elif word == "join" and str(token) != node and seen[str(token)][0] is line and len(token) >= _LONG_ENOUGH and (near := nearest(token, known)):
            report(line, token, f"nothing but this line names the node {token}", hint=f"did you mean {near}?", severity="caution")
    excused = {*circuit.open_nodes, *(node for _, node in circuit.ports), *unread}
    lonely = {node: on[0] for node, on in circuit.at.items() if len(on) == 1 and node in seen and node not in excused
              and KINDS[on[0][0].kind].form != "one"}
    _report_lonely(lonely, seen, circuit, report)


#: Names shorter than this look alike too often to take one for a slip of another.
_LONG_ENOUGH = 4


def _report_lonely(lonely: dict[str, tuple[Part, str]], seen: Mapping[str, tuple[Line, Token]], circuit: Circuit, report: Report) -> None:
    """Report nodes with one pin only. Two whose names are alike, or the only two there are, are one mistake and told once."""
    last_first = sorted(lonely, key=lambda node: (seen[node][0].number + seen[node][1].line, seen[node][1].column), reverse=True)
    for node in last_first:
        if node not in lonely:
            continue
        part, terminal = lonely.pop(node)
        near = nearest(node, lonely) if len(last_first) < _MOST_PAIRED else ""
        partner = near or (next(iter(lonely)) if len(last_first) == 2 else "")
        message, hint = f"only {part.name}.{terminal} is on the node {node}", f"connect something to it, or write: open {node}"
        if partner:
            other, pin = lonely.pop(partner)
            where = seen[partner][0].number + seen[partner][1].line - 1
            message += f", and only {other.name}.{pin} on {partner} (line {where})"
            hint = f"if these are one node, give them one name; else connect something to each, or write: open {node}, {partner}"
        report(*seen[node], message, expected="at least two pins on a node", hint=hint, near=None if partner else partial(nearest, node, circuit.at))


#: Among more lonely nodes than this no pairs are looked for.
_MOST_PAIRED = 60

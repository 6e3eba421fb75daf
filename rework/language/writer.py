"""Circuit to text, and a text file put in order.

Reading what is written here gives the same circuit again.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable, Sequence

from lark import Token

from rework.circuit.circuit import Circuit
from rework.circuit.kinds import KINDS
from rework.circuit.parts import Part, chain_terminals, switch_style
from rework.circuit.place import Problem, errors
from rework.language.leading_words import SETTINGS
from rework.language.mains import write_mains
from rework.language.quantity import spaced, write_value
from rework.language.reader import Line, Problems, statements
from rework.language.syntax import AttachLine, Connection, ListLine, PartLine, PlainLine

#: A wider part head than this does not push the other lines' colons out.
_WIDEST_HEAD = 40
#: Connections are broken over lines beyond this many characters.
_WIDEST_LINE = 120


def write_circuit(circuit: Circuit, *, remarks: Iterable[str] = ()) -> str:
    """Return the text of a circuit; ``remarks`` become comment lines at the top."""
    head = [f"# {remark}" for remark in remarks]
    if circuit.title:
        head.append(f'circuit "{_quotable(circuit.title)}"')
    if circuit.mains:
        head.append(write_mains(circuit.mains))
    if circuit.touchable:
        head.append("touchable " + ", ".join(circuit.touchable))
    if circuit.open_nodes:
        head.append("open " + ", ".join(circuit.open_nodes))
    if circuit.blank_nodes:
        head.append("blank " + ", ".join(circuit.blank_nodes))
    tail = [f"join {node} {alias}" for alias, node in circuit.aliases]
    if circuit.ports:
        tail.append(_broken("port ", [f"{port} = {node}" for port, node in circuit.ports], ""))
    rows = [_row(part) for part in circuit.parts]
    blocks = ["\n".join(head), "\n".join(_aligned(rows)), "\n".join(tail)]
    return "\n\n".join(block for block in blocks if block) + "\n"


def write_part(part: Part) -> str:
    """Return the line of one part; a long one goes on in further lines."""
    return _aligned([_row(part)])[0]


def _row(part: Part) -> tuple[str, str, list[str], str]:
    return part.name, _part_head(part), _part_connections(part), _remark(part.remark)


def tidy(text: str, file: str) -> tuple[str | None, tuple[Problem, ...]]:
    """Return the text with its columns aligned and its spacing made even, or None and the problems
    that prevent it.

    Comments, blank lines, the order of lines and the way each value is written stay. Tidying twice
    changes nothing.
    """
    problems = Problems(file)
    lines = list(statements(text, problems))
    if errors(problems.sorted()):
        return None, problems.sorted()
    out: list[str] = []
    block: list[tuple[Line, tuple[str, str, list[str], str]]] = []

    def flush() -> None:
        aligned = _aligned([row for _, row in block])
        out.extend(
            _commented(code, line.comment) for (line, _), code in zip(block, aligned, strict=True)
        )
        block.clear()

    for line in lines:
        if isinstance(line.shape, PartLine):
            shape = line.shape
            block.append(
                (
                    line,
                    (
                        str(shape.name),
                        _head(shape),
                        [_connection(c) for c in shape.connections],
                        str(shape.remark or ""),
                    ),
                )
            )
        else:
            flush()
            out.append(_commented(_statement(line.shape), line.comment))
    flush()
    while out and not out[0]:
        out.pop(0)
    while out and not out[-1]:
        out.pop()
    kept = [row for index, row in enumerate(out) if row or out[index - 1]]
    return "".join(f"{row}\n" for row in kept), problems.sorted()


def _commented(code: str, comment: str) -> str:
    return f"{code}  {comment}" if code and comment else code or comment


def _statement(shape: object | None) -> str:
    match shape:
        case ListLine(keyword, connections):
            return f"{keyword} " + ", ".join(
                _connection(connection, wide=True) for connection in connections
            )
        case PlainLine(keyword, words):
            return f"{keyword} {_words(words)}"
        case AttachLine(keyword, file, filler, name, connections):
            ports = ", ".join(_connection(connection) for connection in connections)
            return f"{keyword} {file} {filler} {name}" + (f" : {ports}" if ports else "")
    return ""


def _head(line: PartLine) -> str:
    """Return what is written between the name of a part and its connections."""
    ratio = f" : {_words(line.ratio)}" if line.ratio else ""
    return f"{_words(line.head)}{ratio}"


def _words(tokens: Sequence[Token]) -> str:
    """Return words with their values spaced evenly; a type number that looks like a value stays as
    it is.
    """
    before = ("", *tokens)
    return " ".join(
        (
            spaced(token)
            if token.type == "VALUE" and before[index] not in _TYPE_FOLLOWS
            else str(token)
        )
        for index, token in enumerate(tokens)
    )


_TYPE_FOLLOWS = (*SETTINGS, "tube", "unlisted")


def _connection(connection: Connection, *, wide: bool = False) -> str:
    chain = " -- ".join(connection.chain)
    if not connection.equals:
        unused = bool(connection.head) and connection.head[0] == "unused"
        words = " ".join(" ".join(connection.head).split()) if unused else _words(connection.head)
        return f"{words} {chain}".strip()
    equals = " = " if wide or len(connection.head) > 1 or len(connection.chain) > 1 else "="
    return f"{_words(connection.head)}{equals}{chain}"


def _aligned(rows: Sequence[tuple[str, str, list[str], str]]) -> list[str]:
    if not rows:
        return []
    names = max(len(name) for name, _, _, _ in rows)
    heads = max((len(head) for _, head, _, _ in rows if len(head) <= _WIDEST_HEAD), default=0)
    out = []
    for name, head, connections, remark in rows:
        start = f"{name:<{names}}  {head:<{heads}} : "
        out.append(_broken(start, connections, remark))
    return out


def _broken(start: str, connections: list[str], remark: str) -> str:
    """Return a part's line, gone on under the first connection where it would be too long."""
    lines, current = [], start
    for index, connection in enumerate(connections):
        text = connection + ("," if index < len(connections) - 1 else "")
        if (
            current.strip()
            and len(current) + len(text) > _WIDEST_LINE
            and not current.endswith(": ")
        ):
            lines.append(current.rstrip())
            current = " " * len(start)
        current += text + " "
    lines.append((current + (f" {remark}" if remark else "")).rstrip())
    return "\n".join(lines)


def _quotable(text: str) -> str:
    return text.replace('"', "'").replace("\n", " ")


def _remark(text: str) -> str:
    return f'"{_quotable(text)}"' if text else ""


def _part_head(part: Part) -> str:
    values = [f"{value.role} {write_value(value)}".strip() for value in part.values]
    settings = [f"{word} {argument}" for word, argument in part.settings]
    type_ = (
        ["type", _type(part.type)]
        if part.type and part.kind != "tube"
        else [_type(part.type)]
        if part.kind == "tube"
        else []
    )
    if part.kind == "unlisted part":
        return f'part unlisted "{_quotable(part.type)}"'
    return " ".join([part.kind, *part.words, *type_, *values, *settings])


def _type(text: str) -> str:
    """Return a type number, between quotation marks where it would not be read as one word."""
    plain = re.fullmatch(r"[A-Za-z_][A-Za-z0-9_]*|[0-9]+[A-Za-z][A-Za-z0-9/]*|[0-9]+", text)
    return text if plain and text not in _TYPE_FOLLOWS else f'"{_quotable(text)}"'


def _part_connections(part: Part) -> list[str]:
    kind = KINDS[part.kind]
    nodes = dict(part.pins)
    out = [f"{terminal}={node}" for terminal, node in part.pins]
    if kind.form in ("windings", "cores"):
        out = _windings(part)
    elif kind.form in ("poles", "two"):
        runs = switch_style(part).contacts if kind.form == "poles" else (kind.terminals,)
        if all(terminal in nodes for run in runs for terminal in run):
            chained = {terminal for run in runs for terminal in run}
            out = [" -- ".join(nodes[terminal] for terminal in run) for run in runs]
            out += [f"{pin}={node}" for pin, node in part.pins if pin not in chained]
    elif kind.form == "one" and part.pins:
        out = [part.pins[0][1]]
    return out + ([f"unused {' '.join(part.unused)}"] if part.unused else [])


def _windings(part: Part) -> list[str]:
    """Return each winding as a chain, or terminal by terminal where lifted ones leave a gap."""
    values = {
        name: " ".join(
            f"{value.role.rstrip('0123456789')} {write_value(value)}".strip() for value in given
        )
        for name, given in part.windings
    }
    out = []
    for name, run in itertools.groupby(part.pins, lambda pin: pin[0].partition(".")[0]):
        pins = list(run)
        values_of = values.pop(name, "")
        head = f"{name} {values_of}".strip()
        if tuple(terminal for terminal, _ in pins) == chain_terminals(
            name, len(pins), form=KINDS[part.kind].form
        ):
            out.append(
                f"{head}{' = ' if values_of or len(pins) > 1 else '='}"
                + " -- ".join(node for _, node in pins)
            )
        else:
            out += [head] if values_of else []
            out += [f"{terminal}={node}" for terminal, node in pins]
    return out + [f"{name} {stated}" for name, stated in values.items()]

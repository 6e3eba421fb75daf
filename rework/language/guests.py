"""Circuits that a file attaches, and what their ports are connected to."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import partial

from lark import Token

from rework.circuit.circuit import Circuit
from rework.circuit.edits import AttachCircuit, EditError, apply_edit
from rework.circuit.place import Problem
from rework.language.mistakes import nearest
from rework.language.reader import Line, Problems
from rework.language.syntax import AttachLine

#: Reads the circuit an ``attach`` line names: (file name as written, from which file) -> (circuit,
#: problems). Problems without a place are about the ``attach`` line itself.
ReadAttached = Callable[[str, str], tuple[Circuit | None, tuple[Problem, ...]]]

_EXPECTED = 'attach "FILE" as NAME : PORT=NODE, ...'


@dataclass(frozen=True, slots=True)
class Guest:
    """A circuit that is attached: its line, and the key of the node each port is connected to."""

    line: Line
    shape: AttachLine
    circuit: Circuit
    ports: tuple[tuple[str, str], ...]


def read_attached(
    line: Line, shape: AttachLine, read: ReadAttached | None, problems: Problems
) -> Circuit | None:
    """Return the circuit that an ``attach`` line names, or None after reporting why not."""
    report = partial(problems.add, line)
    if shape.filler != "as":
        report(shape.filler, f"{shape.filler} is not expected here", expected=_EXPECTED)
        return None
    if read is None:
        report(
            shape.file,
            "nothing can be attached here",
            expected="a circuit without an attach line",
        )
        return None
    other, refused = read(str(shape.file)[1:-1], problems.file)
    for problem in refused:
        if problem.place:
            problems.found.append(problem)
        else:
            report(
                shape.file,
                problem.message,
                expected=problem.expected,
                hint=problem.hint,
                severity=problem.severity,
            )
    if other is None and not refused:
        report(shape.file, f"{shape.file} cannot be read")
    return other


def read_ports(
    line: Line,
    shape: AttachLine,
    other: Circuit,
    node: Callable[[Line, Token], str],
    problems: Problems,
) -> tuple[dict[str, str], tuple[str, ...]]:
    """Return the key of the node that each port is connected to, and the words of nodes that were
    given to ports which are not there.
    """
    report, known = partial(problems.add, line), dict(other.ports)
    ports: dict[str, str] = {}
    strays: list[str] = []
    for connection in shape.connections:
        chain = connection.chain
        word = (connection.head or chain)[0]
        port = str(word)
        if len(connection.head) != 1 or len(chain) != 1:
            report(word, "a port is connected to one node", expected=_EXPECTED)
        elif port not in known:
            report(
                word,
                f"{shape.file} has no port {port}",
                expected="one of " + ", ".join(known),
                near=partial(nearest, port, known),
            )
            strays.append(str(chain[0]))
        elif port in ports:
            report(word, f"the port {port} is given twice", expected="each port once")
        else:
            ports[port] = node(line, chain[0])
    return ports, tuple(strays)


def in_use(
    line: Line,
    token: Token,
    names: Iterable[str],
    attached_lines: Iterable[tuple[Line, AttachLine]],
    problems: Problems,
) -> bool:
    """Return whether a circuit cannot be attached under a name, after reporting what has it.

    ``names`` are the parts and nodes of the file.
    """
    prefix = f"{token}/"
    holder = next((name for name in names if name == token or name.startswith(prefix)), "")
    for other, shape in attached_lines:
        if shape.name == token and other.number < line.number:
            holder = f"the circuit attached in line {other.number}"
    if holder:
        problems.add(
            line,
            token,
            f"{token} is in use already" + ("" if holder == token else f": {holder}"),
            expected="a name that no part, node or attached circuit has",
        )
    return bool(holder)


def attached(circuit: Circuit, guest: Guest, ports: dict[str, str], problems: Problems) -> Circuit:
    """Return a circuit with a guest beside it, the guest's ports on the nodes of ``ports``."""
    name = str(guest.shape.name)
    try:
        circuit = apply_edit(circuit, AttachCircuit(guest.circuit, name))
    except EditError as error:
        problems.add(
            guest.line, guest.shape.name, str(error), expected="a name that nothing else has"
        )
        return circuit
    moves = {f"{name}/{node}": ports[port] for port, node in guest.circuit.ports if port in ports}

    def moved(node: str) -> str:
        return moves.get(node, node)

    parts = tuple(
        part.rebound(moves) if part.name.startswith(f"{name}/") else part for part in circuit.parts
    )
    return replace(
        circuit,
        parts=parts,
        ports=tuple((port, moved(node)) for port, node in circuit.ports),
        touchable=tuple(dict.fromkeys(map(moved, circuit.touchable))),
        open_nodes=tuple(dict.fromkeys(map(moved, circuit.open_nodes))),
        blank_nodes=tuple(dict.fromkeys(map(moved, circuit.blank_nodes))),
        aliases=tuple(sorted((alias, moved(node)) for alias, node in circuit.aliases)),
    )

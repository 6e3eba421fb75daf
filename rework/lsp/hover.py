"""What an editor shows over a word: a tube with its socket, a node with what is on it, a value, a
rule, a kind, as Markdown.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from rework.anatomy.units import tube_of
from rework.circuit.circuit import Circuit
from rework.circuit.kinds import KINDS
from rework.circuit.parts import Part, Value
from rework.circuit.preferred import E12, E24, nearest
from rework.language.nouns import NO_NOUN, noun_in
from rework.language.quantity import UNIT_OF, QuantityError, read_value
from rework.language.terminals import Terminals
from rework.lsp.complete import SAYS
from rework.lsp.files import Files, OpenText
from rework.lsp.symbols import Names
from rework.lsp.words import ScannedWord, WordRole
from rework.report.figures import shown
from rework.rules.catalogue import load
from rework.rules.verbs import MEANS
from rework.safety.ties import worst_ties
from rework.tubes import library
from rework.tubes.figure import TRUST, Figure
from rework.tubes.tubetype import TubeType

#: Pins of a node that are shown before the rest are counted.
_MOST_PINS = 14
#: Places round the socket of each base, pins counted clockwise from below behind the gap or key.
_PLACES = {"miniature 7-pin": 8, "noval 9-pin": 10}


@dataclass(frozen=True, slots=True)
class HoverVolts:
    """Volts computed of a circuit as it was last saved: by node, DC and band, against common."""

    by_node: Mapping[str, tuple[float, float, float]]


def hover(
    files: Files, source: OpenText, word: ScannedWord, volts: HoverVolts | None = None
) -> str:
    """Return what is known of a word as Markdown, "" where nothing is."""
    names = Names(files)
    match word.role:
        case WordRole.KIND:
            return _kind(source, word)
        case WordRole.TYPE:
            tube = library.find(word.text.strip('"'))
            return tube_text(tube) if tube else ""
        case WordRole.VALUE:
            return value_text(word.text, _tolerance(source, word))
        case WordRole.KEYWORD:
            return _keyword(word)
        case WordRole.RULE:
            return _rule(source, word)
        case WordRole.PARAMETER if word.of:
            return _parameter(source, word)
        case WordRole.PART | WordRole.TERMINAL | WordRole.NODE | WordRole.ARGUMENT:
            symbol = names.symbol(source, word)
            if symbol is None:
                return ""
            circuit, _ = files.circuit(symbol.home)
            if circuit is None:
                return ""
            if symbol.role is WordRole.PART:
                terminal = word.text if word.role is WordRole.TERMINAL else ""
                return _part(circuit, symbol.name, terminal, volts)
            return node_text(circuit, symbol.name, volts)
    return ""


# tubes


def tube_text(tube: TubeType, *, at: Mapping[str, str] | None = None) -> str:
    """Return a tube's card: basing from below, heater, ratings with how each is known; ``at`` is
    the node on each pin.
    """
    heater = tube.heater
    rows = [
        f"**{tube.type}** {tube.kind}, {tube.base} {tube.basing}".rstrip(),
        f"heater {_figure(heater.volts)} {_figure(heater.amps)} ({_trust(heater.volts)})",
    ]
    rows += [
        f"between pins {' and '.join(section.between)}: {_figure(section.volts)}"
        f" ({_trust(section.volts)})"
        for section in heater.sections
    ]
    rows.append(f"pins, from below, clockwise ({TRUST[tube.pins_grade]}):")
    out = ["  \n".join(rows), "```text\n" + "\n".join(socket_text(tube, at or {})) + "\n```"]
    if tube.ratings:
        ratings = [
            f"- {name.replace('_', ' ')}: {_figure(figure)} ({_trust(figure)})"
            for name, figure in sorted(tube.ratings.items())
        ]
        out.append("maximum ratings\n" + "\n".join(ratings))
    return "\n\n".join(out)


def socket_text(tube: TubeType, at: Mapping[str, str]) -> list[str]:
    """Return a socket from below as lines of text: the pins on their circle, and beside them what
    is on each.
    """
    pins = [pin for pin in tube.socket_pins if pin.isdigit()]
    places = _PLACES.get(tube.base, len(pins))
    width, height = 21, max(len(tube.socket_pins), 9)
    grid = [[" "] * width for _ in range(height)]
    turn = 2 * math.pi / places
    # pin 1 is the first clockwise of the gap or key, which is drawn at the bottom
    start = -math.pi / 2 - (turn if places > len(pins) else turn / 2)
    for number, pin in enumerate(pins):
        angle = start - number * turn
        x = round((width - 1) / 2 + math.cos(angle) * (width / 2 - 2))
        y = round((height - 1) / 2 - math.sin(angle) * (height / 2 - 1))
        for offset, letter in enumerate(pin):
            grid[y][x + offset] = letter
    middle = (width - 1) // 2
    grid[height - 1][middle] = "^"
    rows = [
        f"{pin:>3} {' and '.join(names)}" + (f"  {at[pin]}" if pin in at else "")
        for pin, names in tube.elements
    ]
    drawn = ["".join(row) for row in grid]
    offset = (height - len(rows)) // 2
    return [
        (line + "  " + (rows[i - offset] if 0 <= i - offset < len(rows) else "")).rstrip()
        for i, line in enumerate(drawn)
    ]


def _figure(figure: Figure) -> str:
    return f"{figure.value:g}" if figure.unit == "1" else shown(figure.value, figure.unit, 4)


def _trust(figure: Figure) -> str:
    return TRUST[figure.grade]


# parts and nodes


def _part(circuit: Circuit, name: str, terminal: str, volts: HoverVolts | None) -> str:
    part = circuit.part(name)
    if part is None:
        return ""
    if terminal:
        pins = Terminals(part).named(terminal)
        nodes = list(dict.fromkeys(node for pin in pins if (node := part.node(pin)) is not None))
        head = ", ".join(f"{name} {Terminals(part).words(pin)}" for pin in pins)
        return "\n\n".join([head, *(node_text(circuit, node, volts) for node in nodes[:1])])
    tube = tube_of(part)
    if tube is not None:
        return f"{name}: " + tube_text(tube, at=dict(part.pins))
    ends = "  \n".join(f"{terminal} = {node}" for terminal, node in part.pins)
    return f"**{name}** {part.kind} {_said(part)}".rstrip() + f"\n\n{ends}"


def _said(part: Part) -> str:
    values = " ".join(
        value.text or shown(value.amount, UNIT_OF.get(value.dimension, "")) for value in part.values
    )
    return " ".join(filter(None, [part.type, values, " ".join(part.words)]))


def node_text(circuit: Circuit, name: str, volts: HoverVolts | None = None) -> str:
    """Return what is on a node, how it is tied to the mains, and its volts where they are known."""
    node = circuit.node_named(name)
    on = circuit.at.get(node, ())
    if not on:
        return f"**{name}**: no part is on this node."
    pins = [f"- {part.name} {Terminals(part).words(pin)}" for part, pin in on]
    more = [f"- and {len(pins) - _MOST_PINS} more"] if len(pins) > _MOST_PINS else []
    title = f"**{node}**" + (f" (also {name})" if name != node else "")
    out = [title, "\n".join([*pins[:_MOST_PINS], *more]), _tie(circuit, node)]
    if node in circuit.untraced:
        out.append("blank: not traced yet")
    if volts is not None and node in volts.by_node:
        mean, low, high = volts.by_node[node]
        band = f" ({shown(low, 'V')} to {shown(high, 'V')})" if low != high else ""
        out.append(f"{shown(mean, 'V')} DC{band} against common, as last saved")
    return "\n\n".join(out)


def _tie(circuit: Circuit, node: str) -> str:
    tied = worst_ties(circuit).tied.get(node)
    if tied is None:
        return "no tie to the mains in the netlist as written"
    reach = ", within reach" if node in circuit.within_reach else ""
    return f"tied to the mains by {tied}{reach}"


# values, kinds, words of the language


def _tolerance(source: OpenText, word: ScannedWord) -> float | None:
    """Return the tolerance that the same line states, as a share."""
    for other in source.words:
        if other.line == word.line and other.role is WordRole.VALUE and other.text.endswith("%"):
            try:
                return read_value(other.text).amount
            except QuantityError:
                return None
    return None


def value_text(text: str, tolerance: float | None = None) -> str:
    """Return a value in SI units, the range of its tolerance, and whether it is a preferred one."""
    value = next(
        (read for bare in ("", "resistance", "capacitance") if (read := _read(text, bare))), None
    )
    if value is None:
        return ""
    unit = UNIT_OF.get(value.dimension)
    if unit is None:
        return f"{text}: {value.dimension.replace('-', ' ')}"
    rows = [f"{shown(value.amount, unit, 6)} ({value.dimension.replace('-', ' ')})"]
    if value.dimension in ("resistance", "capacitance") and tolerance is not None:
        low, high = value.amount * (1 - tolerance), value.amount * (1 + tolerance)
        rows.append(f"{tolerance:.0%}: {shown(low, unit)} to {shown(high, unit)}")
    if value.dimension == "resistance" and 1e-3 < value.amount < 1e12:
        preferred = nearest(value.amount, E24)
        if math.isclose(preferred, value.amount, rel_tol=1e-6):
            twelve = math.isclose(nearest(value.amount, E12), preferred, rel_tol=1e-6)
            rows.append(f"a preferred value ({'E12' if twelve else 'E24'}, IEC 60063)")
        else:
            rows.append(f"nearest preferred value: {shown(preferred, unit)}")
    return "  \n".join(rows)


def _read(text: str, bare: str) -> Value | None:
    try:
        return read_value(text, bare=bare)
    except QuantityError:
        return None


def _kind(source: OpenText, word: ScannedWord) -> str:
    words = [
        entry.text
        for entry in source.words
        if entry.line == word.line and entry.role is WordRole.KIND
    ]
    name = (noun_in(tuple(words)) or NO_NOUN).kind
    kind = KINDS.get(name)
    return f"**{name}**: {kind.says}\n\n```\n{kind.example}\n```" if kind else ""


def _keyword(word: ScannedWord) -> str:
    says = SAYS.get(word.text) or MEANS.get(word.text, "")
    return f"**{word.text}**: {says}" if says else ""


def _rule(source: OpenText, word: ScannedWord) -> str:
    rule, problems = load(word.text, source.path.parent)
    if rule is None:
        return problems[0].message if problems else ""
    given = [
        f"- {parameter.name}"
        + (" (has to be given)" if parameter.default is None else f" = {parameter.default}")
        for parameter in rule.parameters
    ]
    return "\n\n".join(
        filter(None, [f"**{rule.name}**: {rule.says}", " ".join(rule.why), "\n".join(given)])
    )


def _parameter(source: OpenText, word: ScannedWord) -> str:
    rule, _ = load(word.of, source.path.parent)
    for parameter in rule.parameters if rule else ():
        if parameter.name == word.text:
            default = (
                "has to be given" if parameter.default is None else f"else {parameter.default}"
            )
            return f"**{parameter.name}** of {word.of}: {default}"
    return ""

"""Sockets as a technician sees them: from below, pins counted clockwise from the gap or key; moved
pins marked.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from html import escape

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part
from rework.draw.colours import PALETTES, Role, Theme, ink
from rework.draw.graph.roles import roles
from rework.draw.tags import as_attributes
from rework.tubes import library

#: Of each base: places on the circle, how many pins stand there, what shows where counting begins.
#: Pins are counted clockwise from gap, key or boss (seen: the encyclopaedia article "Tube socket");
#: on an octal socket pin 1 lies first clockwise of the key and pin 8 last (seen:
#: 3dcontentcentral.com, octal base socket). The places of the others are from memory of the base
#: drawings; loctal and rimlock count as the octal does, and the thick pins of a 4-pin or 6-pin base
#: are the first and the last.
_BASES = {
    "miniature 7-pin": (8, 7, "gap"),
    "noval 9-pin": (10, 9, "gap"),
    "octal": (8, 8, "key"),
    "loctal": (8, 8, "key"),
    "rimlock 8-pin": (8, 8, "boss"),
    "4-pin": (4, 4, "thick"),
    "6-pin": (6, 6, "thick"),
}
_WIDTH, _HEIGHT, _COLUMNS = 390, 270, 4
#: In one view: where the middle of the socket is, the circle of the pins, the rim.
_X, _Y, _RING, _RIM = _WIDTH // 2, _HEIGHT // 2 + 20, 50, 64
#: Points between two lines of words at a pin; their letters are one smaller.
_PITCH = 13


@dataclass(frozen=True, slots=True)
class SocketView:
    """One socket on its own: the tube's name, ``before``, ``after``, ``new``, ``removed`` or
    nothing, and the SVG.
    """

    name: str
    word: str
    svg: str


def socket_views(
    circuit: Circuit, *, before: Circuit | None = None, theme: Theme = "light"
) -> tuple[SocketView, ...]:
    """Return each socket of a circuit as a drawing of its own, in the order of ``socket_sheet``."""
    opening = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_WIDTH}" height="{_HEIGHT}" viewBox="0 0'
        f' {_WIDTH} {_HEIGHT}" font-family="Arial, Helvetica, sans-serif">'
    )
    return tuple(
        SocketView(view.part.name, view.word, "\n".join([opening, *_socket(view), "</svg>"]) + "\n")
        for view in _views(circuit, before, theme)
    )


def socket_sheet(circuit: Circuit, *, before: Circuit | None = None, theme: Theme = "light") -> str:
    """Return an SVG of every socket of a circuit; with ``before``, each beside what it was, moved
    pins marked.
    """
    views = _views(circuit, before, theme)
    palette = PALETTES[theme]
    count = max(1, math.ceil(len(views) / _COLUMNS))
    width, height = _COLUMNS * _WIDTH + 40, count * _HEIGHT + 96
    title = f"{circuit.title}: sockets from below"
    out = [
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" viewBox="0'
            f' 0 {width} {height}" font-family="Arial, Helvetica, sans-serif" role="img"'
            f' aria-label="{_text(title, 200)}">'
        ),
        f'<rect width="{width}" height="{height}" fill="{palette.paper}"/>',
        (
            '<text x="24" y="38" font-size="20" font-weight="bold"'
            f' fill="{palette.ink}">{_text(title, 110)}</text>'
        ),
        (
            f'<text x="24" y="60" font-size="13" fill="{palette.faint}">As you see it with the'
            " chassis upside down, pins clockwise. A ring marks a pin whose element moved, a dashed"
            " ring one with other wires. Check with the tube manual before you fit a tube.</text>"
        ),
    ]
    for index, view in enumerate(views):
        x, y = 20 + index % _COLUMNS * _WIDTH, 76 + index // _COLUMNS * _HEIGHT
        named = as_attributes({"part": view.part.name, "kind": view.part.kind, "state": view.word})
        out += [f'<g transform="translate({x},{y})"{named}>', *_socket(view), "</g>"]
    if not views:
        out.append(
            f'<text x="24" y="110" font-size="14" fill="{palette.ink}">There is no tube socket in'
            " this circuit.</text>"
        )
    return "\n".join([*out, "</svg>"]) + "\n"


def _views(circuit: Circuit, before: Circuit | None, theme: Theme) -> list[_View]:
    """Return every socket to draw: those there are, each behind what it was, then those that go."""
    now = [part for part in circuit.parts if part.kind in ("tube", "socket")]
    then = (
        {part.name: part for part in before.parts if part.kind in ("tube", "socket")}
        if before
        else {}
    )
    gone = [part for name, part in then.items() if name not in circuit.by_name]
    cells: list[tuple[Part, Circuit, Part | None, str]] = []
    for part in (*now, *gone):
        old = then.get(part.name)
        if before is not None and old is not None and part in now:
            cells += [(old, before, None, "before"), (part, circuit, old, "after")]
        elif before is not None and part in gone:
            cells.append((part, before, None, "removed"))
        else:
            cells.append((part, circuit, None, "new" if before else ""))
    role_of = {id(whole): roles(whole) for whole in (circuit, before) if whole is not None}
    return [
        _View(part, whole, old, word, role_of[id(whole)], theme) for part, whole, old, word in cells
    ]


@dataclass(frozen=True, slots=True)
class _View:
    """One socket to draw: the part, its circuit, what stood there before, a word about it, node
    roles, theme.
    """

    part: Part
    circuit: Circuit
    old: Part | None
    word: str
    role_of: Mapping[str, Role]
    theme: Theme


def _socket(view: _View) -> list[str]:
    palette = PALETTES[view.theme]
    base, pins = _base(view.part)
    heavy = 2.2 if view.word in ("after", "new") else 1.2
    dash = ' stroke-dasharray="5 4"' if view.word in ("before", "removed") else ""
    out = [
        (
            f'<text x="{_X}" y="16" text-anchor="middle" font-size="16" font-weight="bold"'
            f' fill="{palette.ink}">'
            f"{_text(view.part.name)}  {_text(view.part.type or 'empty socket', 16)}</text>"
        ),
        (
            f'<text x="{_X}" y="33" text-anchor="middle" font-size="12" fill="{palette.ink}">'
            f"{_text(' · '.join(filter(None, (base or 'base not known', view.word))), 40)}</text>"
        ),
    ]
    if base not in _BASES:
        return out + _list(view, pins)
    places, _, start = _BASES[base]
    out.append(
        f'<circle class="rim" cx="{_X}" cy="{_Y}" r="{_RIM}" fill="{palette.block}"'
        f' stroke="{palette.ink}" stroke-width="{heavy}"{dash}/>'
    )
    out += _start_mark(start, palette.ink)
    for number, pin in enumerate(pins):
        turn = math.radians(90 + (number + (1 if start == "gap" else 0.5)) * 360 / places)
        out += _pin(view, pin, turn, size=11 if start == "thick" and pin in ("1", pins[-1]) else 9)
    return out


def _list(view: _View, pins: tuple[str, ...]) -> list[str]:
    """Return the pins of a socket of unknown base, one under another: no place is guessed."""
    rows = [f"pin {pin}: {view.part.node(pin) or 'open'}" for pin in pins]
    rows = rows[:15] + ([f"and {len(rows) - 15} more"] if len(rows) > 15 else [])
    return [
        f'<text x="{_X - 70}" y="{60 + 15 * row}" font-size="12"'
        f' fill="{PALETTES[view.theme].ink}">{_text(line, 34)}</text>'
        for row, line in enumerate(rows)
    ]


def _start_mark(start: str, ink_: str) -> list[str]:
    bottom = _Y + _RIM
    if start == "key":
        return [
            f'<circle cx="{_X}" cy="{_Y}" r="22" fill="none" stroke="{ink_}"/>',
            f'<rect class="start" x="{_X - 4}" y="{_Y + 18}" width="8" height="11" fill="{ink_}"/>',
        ]
    if start == "boss":
        return [f'<circle class="start" cx="{_X}" cy="{bottom}" r="7" fill="{ink_}"/>']
    if start == "gap":
        return [
            f'<path class="start" d="M{_X - 9},{bottom - 9} L{_X},{bottom - 22}'
            f' L{_X + 9},{bottom - 9}" fill="none" stroke="{ink_}" stroke-width="1.2"/>'
        ]
    return []


def _pin(view: _View, pin: str, turn: float, *, size: int) -> list[str]:
    palette = PALETTES[view.theme]
    node = view.part.node(pin)
    colour = ink(view.role_of[node], view.theme) if node else palette.faint
    at = (0, 0) if pin == "cap" else (_RING * math.cos(turn), _RING * math.sin(turn))
    x, y = _X + at[0], _Y + at[1]
    named = as_attributes({"pin": f"{view.part.name}.{pin}", "node": node or ""})
    out = [
        (
            f'<circle class="pin"{named} cx="{x:.1f}" cy="{y:.1f}" r="{size}"'
            f' fill="{colour if node else palette.paper}" stroke="{palette.ink}"'
            ' stroke-width="0.8"/>'
        ),
        (
            f'<text x="{x:.1f}" y="{y + 4.2:.1f}" text-anchor="middle"'
            f' font-size="{12 if pin != "cap" else 9}"'
            f' fill="{palette.on_strip if node else palette.faint}">{_text(pin)}</text>'
        ),
    ]
    came, rewired = _came_from(view, pin), _is_rewired(view, pin)
    if came or rewired:
        dashed = "" if came else ' stroke-dasharray="4 2.5"'
        out.append(
            f'<circle class="{"moved" if came else "rewired"}" cx="{x:.1f}" cy="{y:.1f}" r="12.5"'
            f' fill="none" stroke="{palette.hazard}" stroke-width="2"{dashed}/>'
        )
    lines = [(_shown(view.part, pin), palette.ink, True)]
    if node or pin in view.part.unused:
        lines.append((_far_name(node, view.circuit) if node else "unused", colour, False))
    if came:
        lines.append((f"was pin {came}", palette.ink, True))
    if pin == "cap":
        tx, ty, anchor = float(_X), float(_HEIGHT - 24), "middle"
    else:
        tx, ty = _X + (_RIM + 16) * math.cos(turn), _Y + (_RIM + 16) * math.sin(turn)
        anchor = "middle" if abs(math.cos(turn)) < 0.2 else "start" if math.cos(turn) > 0 else "end"
        ty += (
            -2 - _PITCH / 2 * (len(lines) - 1)
            if abs(math.sin(turn)) < 0.9
            else -_PITCH * (len(lines) - 1)
            if math.sin(turn) < 0
            else 8
        )
    for row, (line, shade, bold) in enumerate(lines):
        weight = ' font-weight="bold"' if bold else ""
        out.append(
            f'<text x="{tx:.1f}" y="{ty + 4 + _PITCH * row:.1f}" text-anchor="{anchor}"'
            f' font-size="{_PITCH - 1}"{weight} fill="{shade}">{_text(line, 18)}</text>'
        )
    return out


def _shown(part: Part, pin: str) -> str:
    """Return what is written at a pin: the element with its unit, or what a pin without one is
    there for.
    """
    tube = library.find(part.type) if part.kind == "tube" else None
    name = tube.element(pin) if tube and pin in tube.socket_pins else "none"
    if name not in ("none", "absent", "internal"):
        return name.replace(".", " ")
    if part.node(pin):
        return "tie point"
    return {"absent": "no pin", "internal": "leave open"}.get(
        name, "no connection" if tube else "open"
    )


def _came_from(view: _View, pin: str) -> str:
    """Return the old pins of an element that lies on another pin than before, or nothing."""
    new, old = (
        library.find(part.type) if part is not None and part.kind == "tube" else None
        for part in (view.part, view.old)
    )
    if new is None or old is None or pin not in new.socket_pins:
        return ""
    was = old.pins_of(new.element(pin))
    return "" if pin in was else "+".join(was)


def _is_rewired(view: _View, pin: str) -> bool:
    """Return whether a pin is on another node than it was, or on none."""
    return view.old is not None and view.old.node(pin) != view.part.node(pin)


def _far_name(node: str, circuit: Circuit) -> str:
    """Return the name a node is known by: where a single wire takes it to a rail, the wire and the
    rail.
    """
    wires = [part for part, _ in circuit.at[node] if part.kind in ("wire", "trace")]
    if len(circuit.at[node]) == 2 and len(wires) == 1:
        far = next((other for _, other in wires[0].pins if other != node), node)
        return f"{wires[0].name} to {far.rpartition('/')[2]}"
    return node.rpartition("/")[2]


def _base(part: Part) -> tuple[str, tuple[str, ...]]:
    """Return the base and the pins of a tube or an empty socket; of an unlisted tube the pins the
    file names.
    """
    tube = library.find(part.type) if part.kind == "tube" else None
    if tube is not None:
        return tube.base, tube.socket_pins
    named = [pin for pin, _ in part.pins] + list(part.unused)
    base = next(
        (
            base
            for word, base in (
                ("miniature", "miniature 7-pin"),
                ("noval", "noval 9-pin"),
                ("octal", "octal"),
                ("loctal", "loctal"),
                ("rimlock", "rimlock 8-pin"),
            )
            if word in part.words
        ),
        "",
    )
    if not base:
        return "", tuple(dict.fromkeys(named))
    return base, tuple(str(number) for number in range(1, _BASES[base][1] + 1))


def _text(raw: str, longest: int = 26) -> str:
    clean = "".join(
        letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in raw
    )
    return escape(clean if len(clean) <= longest else clean[: longest - 1] + "…", quote=True)

"""Sockets as a technician sees them: from below, pins counted clockwise from the gap or key; moved pins marked."""

from __future__ import annotations

import math
from html import escape

from rework.circuit.circuit import Circuit
from rework.circuit.graph import contracted
from rework.circuit.parts import Part
from rework.draw.colours import PALETTES, Role, Theme, ink
from rework.draw.roles import element, roles
from rework.tubes import library

#: Pins on a full circle of each base: (places on the circle, degrees from the bottom to pin 1, how the start is told).
#: Miniature and noval sockets have a gap where one more pin would stand; octal and loctal have a key. From below,
#: pin 1 is the first clockwise of gap or key. Common practice of every tube manual's base drawings.
_BASES = {"miniature 7-pin": (8, "gap"), "noval 9-pin": (10, "gap"), "octal": (8, "key"), "loctal": (8, "key"),
          "rimlock 8-pin": (8, "key")}
_WIDTH, _HEIGHT, _COLUMNS = 330, 300, 4


def socket_sheet(circuit: Circuit, *, before: Circuit | None = None, theme: Theme = "light") -> str:
    """Return an SVG of every socket of a circuit; with ``before``, each beside what it was, moved pins marked."""
    now = [part for part in circuit.parts if part.kind in ("tube", "socket")]
    then = {part.name: part for part in before.parts if part.kind in ("tube", "socket")} if before else {}
    gone = [part for name, part in then.items() if name not in circuit.by_name]
    cells: list[tuple[Part, Circuit, Part | None, str]] = []
    for part in (*now, *gone):
        old = then.get(part.name)
        if old is not None and part in now:
            cells += [(old, before, None, "before"), (part, circuit, old, "after")]
        else:
            cells.append((part, before if part in gone else circuit, None, "removed" if part in gone else "new" if before else ""))
    palette = PALETTES[theme]
    count = max(1, math.ceil(len(cells) / _COLUMNS))
    width, height = _COLUMNS * _WIDTH + 40, count * _HEIGHT + 96
    title = f"{circuit.title}: sockets from below, pins clockwise"
    out = [f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" viewBox="0 0 {width} {height}" '
           f'font-family="Arial, Helvetica, sans-serif" role="img" aria-label="{_text(title, 200)}">',
           f'<rect width="{width}" height="{height}" fill="{palette.paper}"/>',
           f'<text x="24" y="38" font-size="20" font-weight="bold" fill="{palette.ink}">{_text(title, 110)}</text>',
           f'<text x="24" y="60" font-size="12" fill="{palette.faint}">As you see it with the chassis upside down. '
           "A ring marks a pin whose element changed or moved. Check pin by pin with the tube manual before a tube goes in.</text>"]
    views: dict[int, tuple[dict[str, Role], dict[str, str]]] = {}
    for index, (part, whole, old, word) in enumerate(cells):
        if id(whole) not in views:
            views[id(whole)] = (roles(whole), contracted(whole))
        x, y = 20 + index % _COLUMNS * _WIDTH, 76 + index // _COLUMNS * _HEIGHT
        out += [f'<g transform="translate({x},{y})">', *_socket(part, whole, old, word, views[id(whole)], theme), "</g>"]
    if not cells:
        out.append(f'<text x="24" y="110" font-size="14" fill="{palette.ink}">There is no tube socket in this circuit.</text>')
    return "\n".join([*out, "</svg>"]) + "\n"


def _socket(part: Part, circuit: Circuit, old: Part | None, word: str, view: tuple[dict[str, Role], dict[str, str]], theme: Theme) -> list[str]:
    palette = PALETTES[theme]
    role_of, group = view
    base, pins = _base(part)
    places, start = _BASES.get(base, (max(len(pins), 7) + 1, "gap"))
    middle_x, middle_y, radius = _WIDTH / 2, _HEIGHT / 2 + 18, 62
    heavy = 2.2 if word in ("after", "new") else 1.2
    dash = ' stroke-dasharray="5 4"' if word in ("before", "removed") else ""
    out = [f'<text x="{middle_x}" y="16" text-anchor="middle" font-size="14" font-weight="bold" fill="{palette.ink}">'
           f"{_text(part.name)}  {_text(part.type or 'empty socket')}</text>",
           f'<text x="{middle_x}" y="32" text-anchor="middle" font-size="11" fill="{palette.faint}">{_text(" · ".join(filter(None, (base, word.upper()))))}</text>',
           f'<circle cx="{middle_x}" cy="{middle_y}" r="{radius + 16}" fill="{palette.block}" stroke="{palette.ink}" stroke-width="{heavy}"{dash}/>',
           _start_mark(middle_x, middle_y, radius, start, palette.ink)]
    for number, pin in enumerate(pins):
        if pin == "cap":
            angle, x, y = 0.0, middle_x, middle_y
        else:
            angle = math.radians(90 + (number + (1 if start == "gap" else 0.5)) * 360 / places)
            x, y = middle_x + radius * math.cos(angle), middle_y + radius * math.sin(angle)
        out += _pin(part, circuit, old, pin, (x, y, angle, middle_x, middle_y, radius), role_of, group, theme)
    return out


def _start_mark(x: float, y: float, radius: float, start: str, ink_: str) -> str:
    bottom = y + radius + 16
    if start == "key":
        return f'<path d="M{x - 7},{y + 20} v8 h14 v-8" fill="none" stroke="{ink_}" stroke-width="1.4"/><circle cx="{x}" cy="{y}" r="22" fill="none" stroke="{ink_}"/>'
    return f'<path d="M{x - 9},{bottom - 9} L{x},{bottom - 22} L{x + 9},{bottom - 9}" fill="none" stroke="{ink_}" stroke-width="1.2"/>'


def _pin(part: Part, circuit: Circuit, old: Part | None, pin: str, place: tuple[float, ...], role_of, group, theme: Theme) -> list[str]:
    palette = PALETTES[theme]
    x, y, angle, middle_x, middle_y, radius = place
    node = part.node(pin)
    name = element(part, pin)
    shown = {"none": "no connection", "absent": "no pin", "internal": "internal: leave open"}.get(name, name)
    moved = old is not None and part.kind == "tube" and element(old, pin) != name
    colour = ink(role_of[node], theme) if node in role_of else palette.faint
    out = [f'<circle cx="{x:.1f}" cy="{y:.1f}" r="9" fill="{colour if node else palette.paper}" stroke="{palette.ink}" stroke-width="0.8"/>',
           f'<text x="{x:.1f}" y="{y + 3.6:.1f}" text-anchor="middle" font-size="10" fill="{palette.on_strip if node else palette.faint}">{_text(pin)}</text>']
    if moved:
        out.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="12.5" fill="none" stroke="{palette.hazard}" stroke-width="2"/>')
    if pin == "cap":
        return [*out, f'<text x="{x:.1f}" y="{y - 14:.1f}" text-anchor="middle" font-size="10" fill="{palette.ink}">cap {_text(shown)} {_text(node or "")}</text>']
    reach = radius + 26
    tx, ty = middle_x + reach * math.cos(angle), middle_y + reach * math.sin(angle)
    anchor = "middle" if abs(math.cos(angle)) < 0.2 else "start" if math.cos(angle) > 0 else "end"
    drop = 10 if math.sin(angle) > 0.85 else -8 if math.sin(angle) < -0.85 else 0
    second = _text(_far_name(node, circuit, group, role_of), 18) if node else ("unused" if pin in part.unused else "")
    first = f"{_text(shown or 'open' if not node else shown or 'tie point', 20)}{', moved' if moved else ''}"
    out.append(f'<text x="{tx:.1f}" y="{ty + drop:.1f}" text-anchor="{anchor}" font-size="10.5" font-weight="bold" fill="{palette.ink}">{first}</text>')
    if second:
        out.append(f'<text x="{tx:.1f}" y="{ty + drop + 12:.1f}" text-anchor="{anchor}" font-size="10" fill="{colour if node else palette.faint}">{second}</text>')
    return out


def _far_name(node: str, circuit: Circuit, group: dict[str, str], role_of: dict[str, Role]) -> str:
    """Return the name a node is known by: where a single wire takes it to a rail, the wire and the rail."""
    wires = [part for part, _ in circuit.at[node] if part.kind in ("wire", "trace")]
    if len(circuit.at[node]) == 2 and len(wires) == 1:
        far = next((other for _, other in wires[0].pins if other != node), node)
        return f"{wires[0].name} to {far.rpartition('/')[2]}"
    return node.rpartition("/")[2]


def _base(part: Part) -> tuple[str, tuple[str, ...]]:
    """Return the base and the pins of a tube or an empty socket; of an unlisted tube the pins the file names."""
    tube = library.find(part.type) if part.kind == "tube" else None
    if tube is not None:
        return tube.base, tube.socket_pins
    named = [pin for pin, _ in part.pins] + list(part.unused)
    most = max((int(pin) for pin in named if pin.isdigit()), default=7)
    base = next((base for word, base in (("miniature", "miniature 7-pin"), ("noval", "noval 9-pin"), ("octal", "octal"), ("loctal", "loctal"),
                                         ("rimlock", "rimlock 8-pin")) if word in part.words), "")
    count = {"miniature 7-pin": 7, "noval 9-pin": 9}.get(base, 8 if base else most)
    return base, tuple(str(number) for number in range(1, max(count, most) + 1))


def _text(raw: str, longest: int = 26) -> str:
    clean = "".join(letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in raw)
    return escape(clean if len(clean) <= longest else clean[: longest - 1] + "…", quote=True)

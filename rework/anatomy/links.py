"""How current gets from terminal to terminal inside one part, and across the contacts of mated
connectors.

Fail closed: what is not known to keep two terminals apart joins them. Insulation counts as
isolation only where a part is made for it, and even then only between the sides named here.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from functools import cache
from typing import Literal, NamedTuple

from rework.circuit.circuit import Circuit
from rework.circuit.kinds import KINDS, METALWORK, WINDING_NAMES, Passes
from rework.circuit.parts import Part, strands, switch_style

How = Literal["conductor", "conducts", "capacitor", "unproved", "isolated"]

#: Classes of insulation that isolate from the mains (IEC 60664-1).
ISOLATING = frozenset({"double", "reinforced"})
#: Capacitor classes allowed from a live conductor to earthed metal, and across the line.
Y_CLASSES = frozenset({"Y1", "Y2"})
X_CLASSES = frozenset({"X1", "X2"})


#: Kinds in which two terminals that nothing joins are isolated from one another.
_ISOLATED_INSIDE = (Passes.WINDINGS, Passes.TUBE, Passes.RELAY, Passes.SIDES)


class Link(NamedTuple):
    """What lies between terminals ``a`` and ``b`` of one part.

    ``conductor``: copper. ``conducts``: anything else current gets through, in either direction.
    ``capacitor``: that. ``unproved``: insulation that does not count as isolation. ``isolated``:
    insulation that does.
    """

    a: str
    b: str
    how: How


class Group(NamedTuple):
    """Terminals of one part from any of which current gets to any other, all in the same way.

    ``metal`` is true for insulation between what is inside the part and its own metalwork, which
    holds only while that metalwork is earthed.
    """

    how: How
    terminals: tuple[str, ...]
    metal: bool = False


def links(part: Part) -> tuple[Link, ...]:
    """Return what lies between the bound terminals of a part, one link a pair, in the order of its
    pins.

    A pair that nothing is said of (two blades of a plug, two poles of a switch, two contacts of a
    connector) has no link. A switch is taken as closed in every position.
    """
    order = [terminal for terminal, _ in part.pins]
    kinds: dict[tuple[str, str], How] = {}
    for group in groups(part):
        for a, b in itertools.combinations(group.terminals, 2):
            if (b, a) not in kinds:
                kinds.setdefault((a, b), group.how)
    if KINDS[part.kind].passes in _ISOLATED_INSIDE or part.kind == "shielded cable":
        for pair in itertools.combinations(order, 2):
            if pair not in kinds and pair[::-1] not in kinds:
                kinds[pair] = "isolated"
    place = {terminal: index for index, terminal in enumerate(order)}
    ordered = sorted(
        (min(place[a], place[b]), max(place[a], place[b]), how) for (a, b), how in kinds.items()
    )
    return tuple(Link(order[a], order[b], how) for a, b, how in ordered)


def groups(part: Part) -> tuple[Group, ...]:
    """Return the groups of joined terminals of a part, the better conductor first; groups may
    overlap.
    """
    kind = KINDS[part.kind]
    terminals = tuple(terminal for terminal, _ in part.pins)
    inside = tuple(terminal for terminal in terminals if terminal not in METALWORK)
    metal = list(_metalwork(part, terminals))
    match kind.passes:
        case Passes.CONDUCTOR:
            runs = strands(part) if part.kind == "shielded cable" else (terminals,)
            inside_groups = [Group("conductor", run) for run in runs]
        case Passes.CAPACITOR:
            inside_groups = [Group("capacitor", inside), *metal]
        case Passes.POLES:
            inside_groups = [*(Group("conducts", poles) for poles in _poles(part, inside)), *metal]
        case Passes.RELAY:
            inside_groups = [*_relay(part, inside), *metal]
        case Passes.SIDES:
            inside_groups = _sides(part, inside)
        case Passes.FILTER:
            inside_groups = _filter(part, inside)
        case Passes.WINDINGS:
            inside_groups = _windings(part, terminals)
        case Passes.TUBE:
            pins = _tube_groups(part.type, inside)
            inside_groups = [*(Group("conducts", joined) for joined in pins), *metal]
        case Passes.CONDUCTS if part.kind == "autotransformer":
            inside_groups = _windings(part, terminals)
        case Passes.CONDUCTS:
            inside_groups = [Group("conducts", inside), *metal]
        case Passes.NOTHING if part.kind == "jack":
            inside_groups = [
                Group("conducts", tuple(t for t in terminals if t in ("tip", "break")))
            ]
        case _:
            inside_groups = []
    return tuple(group for group in inside_groups if len(group.terminals) > 1)


def closed_contacts(part: Part, position: str) -> tuple[tuple[str, ...], ...]:
    """Return the contacts of a switch that are joined in one of its positions, one tuple a pole.

    Contacts the style of the switch does not know stay joined to everything; so does everything in
    a position that the style does not know.
    """
    style = switch_style(part)
    metal_and_coil = METALWORK | set(part.traits.terminals)
    bound = tuple(terminal for terminal, _ in part.pins if terminal not in metal_and_coil)
    known = {terminal for pole in style.contacts for terminal in pole}
    if position not in style.positions or not known.issuperset(bound):
        return _poles(part, bound)
    return tuple(pair for pair in style.closed(position) if set(pair) <= set(bound))


def contacts_of(part: Part) -> tuple[tuple[str, ...], ...]:
    """Return the bound contacts of each pole of a switch or relay, those of one pole together."""
    metal_and_coil = METALWORK | set(part.traits.terminals)
    bound = tuple(terminal for terminal, _ in part.pins if terminal not in metal_and_coil)
    return tuple(pole for pole in _poles(part, bound) if len(pole) > 1)


def coils(part: Part) -> tuple[tuple[str, str], ...]:
    """Return the bound ends of the coils of a line filter, one in each conductor of the line."""
    pairs = (("line", "line-out"), ("neutral", "neutral-out"))
    return tuple(pair for pair in pairs if all(part.node(end) is not None for end in pair))


def positions(part: Part) -> tuple[str, ...]:
    """Return the names of the positions of a switch."""
    return switch_style(part).positions


def mated(circuit: Circuit) -> tuple[tuple[str, str], ...]:
    """Return the pairs of connector halves that belong together, in the order of the file, each
    pair once.
    """
    pairs: dict[frozenset[str], tuple[str, str]] = {}
    for part in circuit.parts:
        if part.kind == "connector":
            other = part.setting("mates")
            if other and other != part.name and other in circuit.by_name:
                pairs.setdefault(frozenset((part.name, other)), (part.name, other))
    return tuple(pairs.values())


def joints(circuit: Circuit) -> tuple[tuple[str, str, str, str], ...]:
    """Return (part, terminal, part, terminal) for every pair of contacts that meet in a mated
    connector.
    """
    return tuple(joint for pair in mated(circuit) for joint in joints_of(circuit, pair))


def joints_of(circuit: Circuit, pair: tuple[str, str]) -> Iterator[tuple[str, str, str, str]]:
    """Return the contacts of the same name in both halves of one connector."""
    part, other = (circuit.by_name[name] for name in pair)
    there = {terminal for terminal, _ in other.pins}
    return (
        (part.name, terminal, other.name, terminal)
        for terminal, _ in part.pins
        if terminal in there
    )


def _poles(part: Part, bound: tuple[str, ...]) -> tuple[tuple[str, ...], ...]:
    poles = switch_style(part).contacts
    known = {terminal for pole in poles for terminal in pole}
    if not known.issuperset(bound):
        return (bound,)
    return tuple(tuple(terminal for terminal in pole if terminal in bound) for pole in poles)


def _relay(part: Part, bound: tuple[str, ...]) -> list[Group]:
    """Return the coil and the poles of a relay, and the insulation between them, which counts only
    where the file states its class.
    """
    coil = tuple(terminal for terminal in bound if terminal in part.traits.terminals)
    contacts = tuple(terminal for terminal in bound if terminal not in coil)
    relay = [Group("conducts", coil), *(Group("conducts", pole) for pole in _poles(part, contacts))]
    if part.setting("class") not in ISOLATING:
        relay.append(Group("unproved", bound))
    return relay


def _sides(part: Part, bound: tuple[str, ...]) -> list[Group]:
    """Return the sides of an isolating part, and the insulation between them, which counts only
    where the file states its class.
    """
    sides: dict[str, list[str]] = {}
    for terminal in bound:
        named = next((side[0] for side in part.traits.sides if terminal in side), "")
        sides.setdefault(named or terminal.partition(".")[0], []).append(terminal)
    joined = [Group("conducts", tuple(side)) for side in sides.values()]
    if part.setting("class") not in ISOLATING:
        joined.append(Group("unproved", bound))
    return joined


def _filter(part: Part, bound: tuple[str, ...]) -> list[Group]:
    """Return the two coils of a line filter, and its capacitors between all its terminals."""
    return [*(Group("conducts", coil) for coil in coils(part)), Group("capacitor", bound)]


def _metalwork(part: Part, terminals: tuple[str, ...]) -> Iterator[Group]:
    inside = tuple(terminal for terminal in terminals if terminal not in METALWORK)
    for terminal in terminals:
        if terminal in METALWORK and not (terminal == "shaft" and "plastic-shaft" in part.words):
            yield Group("unproved", (*inside, terminal), metal=True)


def _windings(part: Part, terminals: tuple[str, ...]) -> list[Group]:
    """Return windings, and what of the insulation between them does not count.

    The primaries of one transformer are not isolated from one another, nor its other windings from
    one another; the two sides are, as are a screen and the core. Nothing in an autotransformer is
    isolated, nor is anything in a transformer without a primary or with a winding of an unknown
    name.
    """
    runs = [run for run in strands(part) if run != ("core",)]
    windings = [Group("conducts", run) for run in runs]
    if part.kind == "autotransformer":
        every = tuple(terminal for run in runs for terminal in run)
        return [*windings, Group("unproved", every), *_metalwork(part, terminals)]
    named = [(run[0].split(".")[0], run) for run in runs]
    screens = [run for name, run in named if name.startswith("screen") and len(run) == 1]
    wound = [(name, run) for name, run in named if run not in screens]
    primaries = [run for name, run in wound if name.startswith("primary")]
    others = [run for name, run in wound if not name.startswith("primary")]
    if not primaries or not all(name.startswith(WINDING_NAMES) for name, _ in wound):
        return [
            *windings,
            Group("unproved", tuple(terminal for _, run in wound for terminal in run)),
        ]
    return [
        *windings,
        *(
            Group("unproved", tuple(itertools.chain(*side)))
            for side in (primaries, others)
            if len(side) > 1
        ),
    ]


@cache
def _tube_groups(type_: str, bound: tuple[str, ...]) -> tuple[tuple[str, ...], ...]:
    """Return the sets of wired pins joined inside a tube; every wired pin where the type or a pin
    is not known.
    """
    from rework.tubes import library

    known = library.find(type_)
    if known is None or not set(bound) <= set(known.socket_pins):
        return (bound,)
    merged: list[set[str]] = []
    for group in known.groups():
        wired = set(group).intersection(bound)
        touching = [other for other in merged if other & wired]
        merged = [other for other in merged if not other & wired]
        merged.append(wired.union(*touching))
    return tuple(tuple(pin for pin in bound if pin in group) for group in merged if group)

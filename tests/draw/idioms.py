"""Where a sheet breaks a convention that every reader expects: a load over its plate, a resistor
under its cathode, what is fed to the right of what feeds it, sources left, loads right.
"""

from __future__ import annotations

from collections.abc import Iterator

from rework.anatomy.amplifier import of
from rework.circuit.circuit import Circuit
from rework.draw.schematic import Placed, Schematic

_SOURCES = ("jack", "pickup", "microphone")


def misplaced(circuit: Circuit, sheet: Schematic) -> Iterator[str]:
    """Yield in words what stands elsewhere than its plain idiom says."""
    anatomy = of(circuit)
    where = {
        (placed.part, terminal): (placed, at)
        for placed in sheet.placed
        for terminal, at, _ in placed.leads()
    }
    on: dict[str, list[Placed]] = {}
    for placed in sheet.placed:
        for node in {node for _, node, _ in placed.pins}:
            on.setdefault(node, []).append(placed)
    rails = {node for node, near in on.items() if _is_rail(node, near)}
    for placed in sheet.placed:
        if placed.kind != "tube" or not _amplifies(placed, anatomy):
            continue
        for terminal, node, role in placed.pins:
            if (placed.part, terminal) not in where:
                continue
            x, y = where[placed.part, terminal][1]
            if role == "plate":
                yield from _load(placed, node, (x, y), on, rails)
            elif role == "cathode":
                yield from _bias(placed, node, (x, y), on, circuit)
    yield from _edges(circuit, sheet)


def _amplifies(placed: Placed, anatomy: object) -> bool:
    return any(role == "grid" for _, _, role in placed.pins)


def _is_rail(node: str, near: list[Placed]) -> bool:
    return any(role == "b-plus" for placed in near for _, n, role in placed.pins if n == node)


def _load(
    tube: Placed, node: str, at: tuple[int, int], on: dict[str, list[Placed]], rails: set[str]
) -> Iterator[str]:
    """One resistor or choke from a plate of its own to a rail hangs over it."""
    tubes = [p for p in on[node] if p.kind == "tube"]
    loads = [
        p
        for p in on[node]
        if p.kind in ("resistor", "choke") and any(n in rails for _, n, _ in p.pins)
    ]
    if len(loads) == 1 and len(tubes) == 1:
        (load,) = loads
        if load.x != at[0] or load.y >= at[1]:
            yield f"{load.part} is not over the plate of {tube.part}"


def _bias(
    tube: Placed, node: str, at: tuple[int, int], on: dict[str, list[Placed]], circuit: Circuit
) -> Iterator[str]:
    """One resistor from a cathode of its own to a return stands under it."""
    tubes = [p for p in on[node] if p.kind == "tube"]
    feet = [
        p
        for p in on[node]
        if p.kind == "resistor"
        and any(n != node and role in ("common", "b-minus") for _, n, role in p.pins)
    ]
    if len(feet) == 1 and len(tubes) == 1:
        (foot,) = feet
        if foot.x != tube.x or foot.y <= at[1]:
            yield f"{foot.part} is not under the cathode of {tube.part}"


def _edges(circuit: Circuit, sheet: Schematic) -> Iterator[str]:
    """Sources are left of all tubes that amplify, loads right of them."""
    tubes = [p.x for p in sheet.placed if p.kind == "tube" and any(r == "grid" for *_, r in p.pins)]
    if not tubes:
        return
    for placed in sheet.placed:
        words = set(circuit.by_name[placed.part].words) if placed.part in circuit.by_name else set()
        out = bool({"output", "speaker"} & words)
        if placed.kind in _SOURCES and not out and placed.x >= min(tubes):
            yield f"{placed.part} is right of a tube"
        if placed.kind == "speaker" and placed.x <= max(tubes):
            yield f"{placed.part} is left of a tube"

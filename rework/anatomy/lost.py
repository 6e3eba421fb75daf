"""What a set did before a job and does not after it: bypasses and filters not put back, bias, ports
that nothing uses, ends that are open, parts left over, names given twice.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from rework.anatomy.amplifier import Anatomy, apart, of
from rework.anatomy.back_bias import back_biased
from rework.anatomy.direct import DirectWays
from rework.anatomy.feeding import Feeding
from rework.anatomy.function_row import Aspect, FunctionRow, Working
from rework.anatomy.hearing import signal_rows
from rework.anatomy.power import FILTERS_FROM
from rework.anatomy.role import Role
from rework.anatomy.roles import part_roles
from rework.anatomy.units import TubeUnit
from rework.anatomy.wiring import Wiring
from rework.circuit.circuit import Circuit
from rework.circuit.edits import AttachCircuit, CutConductor, Edit, FitPart, RemovePart, RunWire
from rework.circuit.edits import apply_edit as applied
from rework.circuit.parts import Part

#: Roles around a stage that it needs, and what it comes to where nothing has the role any more.
_NEEDED = {
    Role.SCREEN_BYPASS: Working.FAULT,
    Role.CATHODE_BYPASS: Working.NOTE,
    Role.GRID_STOPPER: Working.NOTE,
    Role.VOLUME: Working.NOTE,
    Role.TONE: Working.NOTE,
    Role.FEEDBACK: Working.NOTE,
}


def lost(before: Circuit, after: Circuit, edits: Iterable[Edit]) -> tuple[FunctionRow, ...]:
    """Return a row for everything that worked before a job and is not there after it."""
    was, now = of(before), of(after)
    done = tuple(edits)
    return (
        *_roles(was, now),
        *_signal(was, now),
        *_filters(was, now),
        *_bias(was, now),
        *_lamps(before, after),
        *_ends(before, after),
        *_idle(was, now),
        *_ports(after, done),
        *_names(before, done),
    )


def _roles(was: Anatomy, now: Anatomy) -> Iterator[FunctionRow]:
    kept = {(role.stage, role.role) for role in part_roles(now).values()}
    stages = {stage.label for stage in now.stages}
    roles: set[tuple[str, Role]] = set()
    for old in part_roles(was).values():
        key = (old.stage, old.role)
        if now.circuit.part(old.part) == was.circuit.by_name[old.part]:
            continue  # it is where it was: something before or behind it is lost
        if old.role in _NEEDED and old.stage in stages and key not in kept | roles:
            roles.add(key)
            working = _NEEDED[old.role]
            yield FunctionRow(Aspect.LOST, old.stage, working, place=old.role, part=old.part)
    for port in was.inputs:
        if port.part in now.circuit.by_name and port.part not in {p.part for p in now.inputs}:
            yield FunctionRow(Aspect.SIGNAL, port.part, Working.FAULT)


def _signal(was: Anatomy, now: Anatomy) -> Iterator[FunctionRow]:
    """Yield the inputs whose way to a load ended with one part that was taken out."""
    lost = _heard(was) - _heard(now)
    for part in removed(was.circuit, now.circuit) if lost else ():
        back = lost & _heard(of(now.circuit.with_parts((*now.circuit.parts, part))))
        for port in sorted(back):
            yield FunctionRow(Aspect.LOST, port, Working.FAULT, place="signal path", part=part.name)
        lost -= back


def _heard(anatomy: Anatomy) -> frozenset[str]:
    """Return the inputs whose signal gets to a load."""
    return frozenset(
        row.subject
        for row in signal_rows(Feeding(anatomy))
        if row.aspect is Aspect.SIGNAL and row.working is Working.WORKS
    )


def removed(before: Circuit, after: Circuit) -> Iterator[Part]:
    """Yield the parts that a job took out and that could be put back where they were."""
    for part in before.parts:
        wired = bool(part.pins) and all(node in after.at for _, node in part.pins)
        if wired and part.name not in after.by_name and not part.is_conductor:
            yield part


def _filters(was: Anatomy, now: Anatomy) -> Iterator[FunctionRow]:
    """Yield the points of B+ that had a filter capacitor, and have none though they still carry
    current.
    """
    held = {
        now.wiring.of(part, "plus") if part.kind == "electrolytic" else point
        for part in now.circuit.parts
        if part.kind == "electrolytic"
        or (part.kind == "capacitor" and (part.value("capacitance") or 0.0) >= FILTERS_FROM)
        for point in now.wiring.ends(part)
    }
    for rail in was.rails:
        nodes = [node for node, point in was.wiring.points_of.items() if point == rail.point]
        points = {now.wiring.point(node) for node in nodes if node in now.wiring.points_of}
        used = {point for point in points if len(tuple(now.wiring.parts_at(point))) > 1}
        if rail.capacitors and used and not used & held:
            role = Role.FILTER_CAPACITOR if rail.fed_from else Role.RESERVOIR
            yield FunctionRow(
                Aspect.LOST, rail.point, Working.FAULT, place=role, part=rail.capacitors[0]
            )


def _bias(was: Anatomy, now: Anatomy) -> Iterator[FunctionRow]:
    """Yield the output tubes that had back bias and have neither a grid that is returned to B- nor
    a cathode resistor.
    """
    raised = {
        role.stage.split()[0]
        for role in part_roles(now).values()
        if role.role is Role.CATHODE_RESISTOR
    }
    biased = raised | {unit.part for unit in now.signal.units if _returned_to_b_minus(now, unit)}
    for stage in back_biased(was):
        if stage.tube in now.circuit.by_name and stage.tube not in biased:
            part = min(stage.parts, default="")
            yield FunctionRow(
                Aspect.LOST, stage.tube, Working.FAULT, place=Role.BACK_BIAS, part=part
            )


def _lamps(before: Circuit, after: Circuit) -> Iterator[FunctionRow]:
    """Yield the dial lamps that were taken out where none is left."""
    was, now = (
        [part for part in circuit.parts if part.kind == "lamp" and "neon" not in part.words]
        for circuit in (before, after)
    )
    for lamp in was if not now else ():
        yield FunctionRow(Aspect.LOST, "dial", Working.NOTE, place="lamp", part=lamp.name)


def _returned_to_b_minus(now: Anatomy, unit: TubeUnit) -> bool:
    ways = DirectWays(now.wiring)
    grid = unit.at("grid")
    common = frozenset(ways.closed(point) for point in now.common)
    reached = ways.ohms_from(() if grid is None else (ways.closed(grid),), stop=common)
    return any(ways.closed(point) in reached for point in now.b_minus)


def _ends(before: Circuit, after: Circuit) -> Iterator[FunctionRow]:
    """Yield the parts that were wired at both ends and now are open at one."""
    for part in after.parts:
        old = before.part(part.name)
        if old is None or part.is_conductor or len(part.leads) != 2 or old.kind != part.kind:
            continue
        if part.traits.is_switch or not all(len(before.at[node]) > 1 for node in old.ends):
            continue
        alone = [(end, node) for end, node in part.leads if len(after.at[node]) == 1]
        for end, _ in alone:
            yield FunctionRow(Aspect.HANGING, part.name, Working.FAULT, place=end)


def _idle(was: Anatomy, now: Anatomy) -> Iterator[FunctionRow]:
    """Yield the parts that were between two points, and that now lead nowhere: with both leads on
    one point, lifted, or on parts that lead nowhere themselves.
    """
    told = {section.part for section in now.rectifiers}
    circuit = now.circuit
    open_ends = {
        now.wiring.point(node)
        for row in _ends(was.circuit, circuit)
        if (node := circuit.by_name[row.subject].node(row.place)) is not None
    }
    still = _leading(now.wiring, open_ends) | told
    for part in circuit.parts:
        old = was.circuit.part(part.name)
        if old is None or old.kind != part.kind or part.is_conductor or part.name in still:
            continue
        if sum(len(was.wiring.at[point]) > 1 for point in {*was.wiring.ends(old)}) > 1:
            yield FunctionRow(Aspect.IDLE, part.name, Working.NOTE)


def _leading(wiring: Wiring, outside: Iterable[str] = ()) -> set[str]:
    """Return the parts that lead from one point to another and on: what is left when parts with
    fewer than two such points are taken away again and again. Points ``outside`` always lead on.
    """
    points = {
        part.name: set(wiring.ends(part))
        for part in wiring.circuit.parts
        if not part.is_conductor and part.kind != "socket"
    }
    at: dict[str, set[str]] = {point: {""} for point in outside}
    for name, ends in points.items():
        for point in ends:
            at.setdefault(point, set()).add(name)
    waiting = [*points]
    while waiting:
        name = waiting.pop()
        ends = {point for point in points.get(name, ()) if len(at[point]) > 1}
        if name in points and len(ends) < 2:
            for point in points.pop(name):
                at[point].discard(name)
                waiting += at[point]
    return set(points)


def _ports(after: Circuit, edits: tuple[Edit, ...]) -> Iterator[FunctionRow]:
    """Yield the ports of attached circuits that nothing but their own circuit is on."""
    wiring = apart(after).wiring
    for edit in edits:
        if not isinstance(edit.action, AttachCircuit):
            continue
        prefix = f"{edit.action.prefix}/"
        for port, node in edit.action.circuit.ports:
            point = wiring.point(prefix + node)
            nodes = [node for node, at in wiring.points_of.items() if at == point]
            users = {part.name for node in nodes for part, _ in after.at.get(node, ())}
            if all(name.startswith(prefix) for name in users):
                working = Working.FAULT
                yield FunctionRow(Aspect.PORT, port, working, part=edit.action.prefix)


def _names(before: Circuit, edits: tuple[Edit, ...]) -> Iterator[FunctionRow]:
    """Yield the names of parts taken out that another kind of part, or one elsewhere, was given."""
    circuit = before
    gone: dict[str, Part] = {}
    for edit in edits:
        action = edit.action
        if isinstance(action, RemovePart | CutConductor):
            gone[action.name] = circuit.by_name[action.name]
        elif isinstance(action, FitPart | RunWire):
            old = gone.get(action.part.name)
            if old is not None and not _takes_its_place(old, action.part):
                yield FunctionRow(Aspect.NAME, old.name, Working.NOTE)
        circuit = applied(circuit, action)


def _takes_its_place(old: Part, new: Part) -> bool:
    socket = old.kind == "tube" and new.kind == "socket"
    return socket or (old.kind == new.kind and not set(old.ends).isdisjoint(new.ends))

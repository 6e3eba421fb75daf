"""What a set did before a job and does not after it: bypasses and filters not put back, bias, ports
that nothing uses, ends that hang in the air, names given twice.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from rework.anatomy.amplifier import Anatomy, apart, of
from rework.anatomy.back_bias import back_biased
from rework.anatomy.function import Aspect, Verdict, Works
from rework.anatomy.role import Role
from rework.anatomy.roles import part_roles
from rework.circuit.circuit import Circuit
from rework.circuit.edits import AttachCircuit, CutConductor, Edit, FitPart, RemovePart, RunWire
from rework.circuit.edits import apply_edit as applied
from rework.circuit.parts import Part

#: Roles around a stage that it needs, and what it comes to where nothing has the role any more.
_NEEDED = {
    Role.SCREEN_BYPASS: Verdict.FAULT,
    Role.CATHODE_BYPASS: Verdict.NOTE,
    Role.GRID_STOPPER: Verdict.NOTE,
    Role.VOLUME: Verdict.NOTE,
    Role.TONE: Verdict.NOTE,
    Role.FEEDBACK: Verdict.NOTE,
}


def lost(before: Circuit, after: Circuit, edits: Iterable[Edit]) -> tuple[Works, ...]:
    """Return a row for everything that worked before a job and is not there after it."""
    was, now = of(before), of(after)
    done = tuple(edits)
    return (
        *_roles(was, now),
        *_filters(was, now),
        *_bias(was, now),
        *_ends(before, after),
        *_ports(after, done),
        *_names(before, done),
    )


def _roles(was: Anatomy, now: Anatomy) -> Iterator[Works]:
    kept = {(role.stage, role.role) for role in part_roles(now).values()}
    stages = {stage.label for stage in now.stages}
    told: set[tuple[str, Role]] = set()
    for old in part_roles(was).values():
        key = (old.stage, old.role)
        if old.role in _NEEDED and old.stage in stages and key not in kept | told:
            told.add(key)
            verdict = _NEEDED[old.role]
            yield Works(Aspect.LOST, old.stage, verdict, place=old.role, part=old.part)
    for port in was.inputs:
        if port.part in now.circuit.by_name and port.part not in {p.part for p in now.inputs}:
            yield Works(Aspect.SIGNAL, port.part, Verdict.FAULT)


def _filters(was: Anatomy, now: Anatomy) -> Iterator[Works]:
    """Yield the points of B+ that had a filter capacitor and have none."""
    after = {rail.point: rail for rail in now.rails}
    for rail in was.rails:
        nodes = [node for node, point in was.wiring.points_of.items() if point == rail.point]
        points = {now.wiring.point(node) for node in nodes if node in now.wiring.points_of}
        left = [after[point] for point in sorted(points) if point in after]
        if rail.capacitors and left and not any(one.capacitors for one in left):
            role = Role.FILTER_CAPACITOR if rail.fed_from else Role.RESERVOIR
            verdict = Verdict.FAULT
            yield Works(Aspect.LOST, rail.point, verdict, place=role, part=rail.capacitors[0])


def _bias(was: Anatomy, now: Anatomy) -> Iterator[Works]:
    """Yield the back-biased output tubes that have neither back bias nor a cathode resistor."""
    kept = {stage.tube for stage in back_biased(now)}
    raised = {
        role.stage.split()[0]
        for role in part_roles(now).values()
        if role.role is Role.CATHODE_RESISTOR
    }
    for stage in back_biased(was):
        if stage.tube in now.circuit.by_name and stage.tube not in kept | raised:
            part = min(stage.parts, default="")
            yield Works(Aspect.LOST, stage.tube, Verdict.FAULT, place=Role.BACK_BIAS, part=part)


def _ends(before: Circuit, after: Circuit) -> Iterator[Works]:
    """Yield the parts that were wired at both ends and now hang in the air at one."""
    for part in after.parts:
        old = before.part(part.name)
        if old is None or part.is_conductor or len(part.pins) != 2 or old.kind != part.kind:
            continue
        if part.traits.is_switch or not all(len(before.at[node]) > 1 for _, node in old.pins):
            continue
        alone = [(end, node) for end, node in part.pins if len(after.at[node]) == 1]
        for end, _ in alone:
            yield Works(Aspect.HANGING, part.name, Verdict.FAULT, place=end)


def _ports(after: Circuit, edits: tuple[Edit, ...]) -> Iterator[Works]:
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
                verdict = Verdict.FAULT
                yield Works(Aspect.PORT, port, verdict, part=edit.action.prefix)


def _names(before: Circuit, edits: tuple[Edit, ...]) -> Iterator[Works]:
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
                yield Works(Aspect.NAME, old.name, Verdict.NOTE)
        circuit = applied(circuit, action)


def _takes_its_place(old: Part, new: Part) -> bool:
    same = {node for _, node in old.pins} & {node for _, node in new.pins}
    socket = old.kind == "tube" and new.kind == "socket"
    return socket or (old.kind == new.kind and bool(same))

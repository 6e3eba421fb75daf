"""What each part does: one role a part, the first that fits in the order in which they are asked
for here.
"""

from __future__ import annotations

from collections.abc import Iterator

from rework.anatomy.amplifier import Anatomy
from rework.anatomy.line_string import DROPPER_WORDS
from rework.anatomy.rectifiers import rectifies
from rework.anatomy.role import PartRole, Role
from rework.anatomy.stage_parts import AROUND_STAGES, hung_on
from rework.anatomy.units import tube_of
from rework.circuit.parts import strands


def part_roles(anatomy: Anatomy) -> dict[str, PartRole]:
    """Return the role of every part, in the order of the file."""
    roles: dict[str, PartRole] = {}
    for piece in _PIECES:
        for role in piece(anatomy):
            roles.setdefault(role.part, role)
    for role in hung_on(anatomy, frozenset(roles)):
        roles.setdefault(role.part, role)
    return {
        part.name: roles.get(part.name, PartRole(part.name, Role.OTHER))
        for part in anatomy.circuit.parts
    }


def parts_of(roles: dict[str, PartRole], stage: str) -> tuple[PartRole, ...]:
    """Return the roles of the parts that belong to the stage of a label."""
    return tuple(role for role in roles.values() if role.stage == stage)


_BY_KIND = {
    "plug": Role.PLUG,
    "motor": Role.MOTOR,
    "chassis": Role.CHASSIS,
    "earth": Role.EARTH,
    "connector": Role.CONNECTOR,
    "autotransformer": Role.MAINS_TRANSFORMER,
}


def _structure(anatomy: Anatomy) -> Iterator[PartRole]:
    inputs = {port.part for port in anatomy.inputs}
    loads = {port.part for port in anatomy.loads}
    for part in anatomy.circuit.parts:
        if part.is_conductor:
            yield PartRole(part.name, Role.CONDUCTOR)
        elif part.kind in _BY_KIND:
            yield PartRole(part.name, _BY_KIND[part.kind])
        elif part.kind == "tube":
            tube = tube_of(part)
            only = tube is not None and tube.is_rectifier
            yield PartRole(part.name, Role.RECTIFIER if only else Role.TUBE)
        elif part.name in loads:
            yield PartRole(part.name, Role.LOAD)
        elif part.name in inputs:
            yield PartRole(part.name, Role.INPUT)
        elif rectifies(part):
            yield PartRole(part.name, Role.RECTIFIER)


def _transformers(anatomy: Anatomy) -> Iterator[PartRole]:
    signal = anatomy.signal
    drivers = {output.transformer: output.stages[0] for output in anatomy.outputs}
    for part in signal.transformers:
        if part.name in signal.output_transformers:
            yield PartRole(part.name, Role.OUTPUT_TRANSFORMER, drivers.get(part.name, ""))
        else:
            yield PartRole(part.name, Role.INTERSTAGE)
    for part in anatomy.circuit.parts:
        if part.kind == "transformer":
            yield PartRole(part.name, Role.MAINS_TRANSFORMER)


def _heater_parts(anatomy: Anatomy) -> Iterator[PartRole]:
    names = {
        element.part.name
        for string in anatomy.heaters.strings
        for element in string.elements
        if element.way is None
    }
    names |= anatomy.line_string.parts
    on_taps = {name for names in anatomy.heaters.on_taps.values() for name in names}
    for part in anatomy.circuit.parts:
        if part.kind == "lamp" and part.name in names | on_taps:
            yield PartRole(part.name, Role.HEATER_LAMP)
        elif (part.name in names and part.kind in ("resistor", "thermistor", "choke")) or (
            part.kind == "resistor" and DROPPER_WORDS & set(part.words)
        ):
            yield PartRole(part.name, Role.DROPPER)
    yield from _lamps_on_windings(anatomy)
    yield from _balance(anatomy)


def _lamps_on_windings(anatomy: Anatomy) -> Iterator[PartRole]:
    for part in anatomy.circuit.parts:
        if part.kind == "lamp":
            ends = tuple(anatomy.heaters.point(node) for _, node in part.pins)
            source = anatomy.heaters.source_of((ends[0], ends[-1]))
            if source is not None and source.part is not None:
                yield PartRole(part.name, Role.HEATER_LAMP)


def _balance(anatomy: Anatomy) -> Iterator[PartRole]:
    """Yield the resistors and pots that hold a heater winding to a voltage."""
    wound = {
        anatomy.wiring.point(part.at(terminal))
        for part in anatomy.circuit.parts
        if part.kind == "transformer"
        for run in strands(part)
        if run[0].startswith(("heater", "rectifier"))
        for terminal in run
    } - anatomy.rail
    for part in anatomy.circuit.parts:
        ends = set(anatomy.wiring.ends(part))
        if part.kind in ("resistor", "pot") and len(ends) > 1 and ends & wound - anatomy.common:
            yield PartRole(part.name, Role.HEATER_BALANCE)


_LINE_ROLES = {
    "fuse": Role.LINE_FUSE,
    "switch": Role.LINE_SWITCH,
    "thermistor": Role.INRUSH,
    "capacitor": Role.LINE_CAPACITOR,
}


def _line_parts(anatomy: Anatomy) -> Iterator[PartRole]:
    metal = anatomy.chassis | anatomy.earthed
    for part in anatomy.circuit.parts:
        ends = set(anatomy.wiring.ends(part))
        if part.kind in ("capacitor", "resistor", "electrolytic") and len(ends) == 2:
            low = ends & (metal - anatomy.common)
            if low and ends - low <= anatomy.line | anatomy.common | anatomy.b_minus:
                yield PartRole(part.name, Role.CHASSIS_BYPASS)
        if part.kind in _LINE_ROLES and ends:
            switched = part.kind == "switch" and ends & anatomy.line
            if switched or ends <= anatomy.line:
                yield PartRole(part.name, _LINE_ROLES[part.kind])


def _supply_parts(anatomy: Anatomy) -> Iterator[PartRole]:
    circuit = anatomy.circuit
    for rail in anatomy.rails:
        for name in rail.through:
            kind = circuit.by_name[name].kind
            if kind in _ALONG:
                yield PartRole(name, _ALONG[kind], rail=rail.point)
        role = Role.FILTER_CAPACITOR if rail.fed_from else Role.RESERVOIR
        for name in rail.capacitors:
            yield PartRole(name, role, rail=rail.point)
        for name in rail.bleeders:
            yield PartRole(name, Role.BLEEDER, rail=rail.point)


def _beside_the_rails(anatomy: Anatomy) -> Iterator[PartRole]:
    """Yield what stands before the rectifiers, or beside a rail without filtering it."""
    anodes = {point for section in anatomy.rectifiers for point in section.anodes}
    fed = anodes - anatomy.rail - anatomy.line - anatomy.common
    low = anatomy.common | anatomy.b_minus | anatomy.chassis
    for part in anatomy.circuit.parts:
        ends = set(anatomy.wiring.ends(part))
        if len(ends) != 2 or len(part.ends) != 2:
            continue
        on_rail = ends & anatomy.rail
        if part.kind in ("resistor", "thermistor") and (ends & fed or "surge" in part.words):
            if not on_rail:
                yield PartRole(part.name, Role.SURGE)
        elif part.traits.is_overcurrent and (ends & anodes or on_rail):
            yield PartRole(part.name, Role.SUPPLY_FUSE)
        elif part.kind == "capacitor" and on_rail and ends - on_rail <= low:
            yield PartRole(part.name, Role.RAIL_BYPASS)
        elif part.kind == "electrolytic" and _doubles(anatomy, ends):
            yield PartRole(part.name, Role.DOUBLER_CAPACITOR)


_ALONG = {
    "resistor": Role.FILTER_RESISTOR,
    "choke": Role.FILTER_CHOKE,
    "fuse": Role.SUPPLY_FUSE,
}


def _doubles(anatomy: Anatomy, ends: set[str]) -> bool:
    """Return whether a capacitor between two points is one of a voltage doubler: on a point between
    two rectifiers, or from the line, or a winding's end, to a pole of B+.
    """
    anodes = {point for section in anatomy.rectifiers for point in section.anodes}
    cathodes = {section.cathode for section in anatomy.rectifiers}
    middle = anodes & cathodes
    poles = anatomy.common | anatomy.b_minus | anatomy.rail
    return bool(ends & middle) or bool(
        ends & anatomy.line - poles and ends & (anodes | cathodes) and ends & poles
    )


def _back_bias(anatomy: Anatomy) -> Iterator[PartRole]:
    ends = (anatomy.common, anatomy.b_minus)
    for part in anatomy.circuit.parts:
        points = set(anatomy.wiring.ends(part))
        if part.kind in ("resistor", "choke", "pot") and all(points & side for side in ends):
            yield PartRole(part.name, Role.BACK_BIAS)


_PIECES = (
    _structure,
    _transformers,
    _heater_parts,
    _line_parts,
    _back_bias,
    _supply_parts,
    _beside_the_rails,
    *AROUND_STAGES,
)

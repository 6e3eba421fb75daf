"""Every whole set: its stages, its supply and what each part does, as a person would mark it in the
service sheet. The golden files were read against the sets' own remarks.
"""

from __future__ import annotations

import pytest
from benches import SETS, SUPPLIES, read, set_named

from rework.anatomy.amplifier import Anatomy, of
from rework.anatomy.role import Role
from rework.anatomy.roles import part_roles
from rework.circuit.circuit import Circuit


def sheet(anatomy: Anatomy) -> str:
    """Return what the anatomy says of a circuit as lines of text."""
    lines = [f"common {' '.join(sorted(anatomy.common))}"]
    if anatomy.b_minus:
        lines.append(f"B- {' '.join(sorted(anatomy.b_minus))}")
    for rail in anatomy.rails:
        fed = f" from {rail.fed_from} through {' '.join(rail.through)}" if rail.fed_from else ""
        lines.append(f"B+ {rail.point}{fed}")
    for string in anatomy.heaters.strings:
        names = " ".join(element.part.name for element in string.elements)
        lines.append(f"heaters {names}: {string.ends[0]} to {string.ends[1]}")
    lines += [f"stage {s.channel}.{s.number} {s.label}: {s.kind}" for s in anatomy.stages]
    for coupling in anatomy.couplings:
        way = " ".join(name for name, _ in coupling.way) or "wire"
        lines.append(f"from {coupling.source} to {coupling.target}: {way}")
    for feedback in anatomy.feedbacks:
        names = " ".join(sorted(feedback.parts))
        lines.append(f"feedback from {feedback.source} to {feedback.target}: {names}")
    for output in anatomy.outputs:
        loads = " ".join(output.loads)
        through = output.transformer or "no transformer"
        lines.append(f"output {output.kind} {', '.join(output.stages)}: {through} to {loads}")
    by_role: dict[Role, list[str]] = {}
    for role in part_roles(anatomy).values():
        by_role.setdefault(role.role, []).append(
            role.part + (f" ({role.stage or role.rail})" if role.stage or role.rail else "")
        )
    lines += [f"{role}: {', '.join(by_role[role])}" for role in Role if role in by_role]
    return "\n".join(lines) + "\n"


@pytest.mark.parametrize("name", sorted(SETS))
def test_a_set_is_seen_as_its_service_sheet_would_mark_it(name, golden):
    golden(f"anatomy/{name}.txt", sheet(of(set_named(name))))


@pytest.mark.parametrize("name", sorted(SUPPLIES))
def test_a_supply_alone_has_its_rails_and_no_stages(name, golden):
    anatomy = of(read(SUPPLIES[name].read_text(encoding="utf-8")))
    assert (anatomy.stages, anatomy.inputs, anatomy.loads) == ((), (), ())
    golden(f"anatomy/{name}-supply.txt", sheet(anatomy))


@pytest.mark.parametrize("name", sorted(SETS))
def test_no_part_is_without_a_role_and_no_order_of_lines_matters(name):
    circuit = set_named(name)
    roles = part_roles(of(circuit))
    assert list(roles) == [part.name for part in circuit.parts]
    assert [role.part for role in roles.values() if role.role is Role.OTHER] == []
    turned = Circuit(
        circuit.title, circuit.mains, circuit.parts[::-1], circuit.touchable, circuit.ports
    )
    again = part_roles(of(turned))
    assert {part: role.role for part, role in again.items()} == {
        part: role.role for part, role in roles.items()
    }


def test_the_anatomy_of_one_value_is_worked_out_once():
    circuit = set_named("pager")
    assert of(circuit) is of(circuit)
    assert of(circuit).stages is of(circuit).stages

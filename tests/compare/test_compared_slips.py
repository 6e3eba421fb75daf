"""A set is wired with a slip and written down under other names: is the slip named, part and pin?

A fixed sample; ``tests/bench/slips.py`` makes five hundred. networkx says which circuits are truly the same.
"""

from __future__ import annotations

import random
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from boards import renamed
from slip_kinds import SLIPS, entries, isomorphic, measured, same_slips, slipped

from rework.circuit.circuit import Circuit
from rework.compare.difference import difference
from rework.compare.match import likeness
from rework.compare.sentences import OtherNames, describe
from rework.language.files import wanted_circuit

CIRCUITS = Path(__file__).parents[2] / "circuits"


@cache
def demo(name: str) -> Circuit:
    return wanted_circuit(CIRCUITS / name / f"{name}.circuit")[0]


def named(plan: Circuit, built: Circuit, chance: random.Random, *, without: str = "") -> bool:
    """Say whether the difference under other names tells what it tells under the true ones."""
    wanted = entries(difference(plan, built))
    told = entries(likeness(plan, renamed(built, chance, parts=True)).difference)
    for counted in (wanted, told):
        for entry in [entry for entry in counted if entry[0] == without]:
            del counted[entry]
    assert told, "another circuit is never called equal"
    return same_slips(plan, wanted, told)


@pytest.mark.parametrize("slip", SLIPS, ids=lambda slip: slip.__name__)
def test_one_slip_is_named_by_part_and_pin(slip):
    for number, name in enumerate(("pager", "skihut")):
        chance = random.Random(number)
        assert named(demo(name), slipped(demo(name), chance, slip), chance)


def test_two_slips_are_named_nearly_always():
    chance, plan = random.Random(5), demo("rink")
    done = [
        named(plan, slipped(slipped(plan, chance, one), chance, other), chance)
        for one, other in zip(SLIPS, SLIPS[3:] + SLIPS[:3], strict=True)
    ]
    assert sum(done) >= len(done) - 1


def test_values_that_were_measured_do_not_hide_the_slip():
    chance, plan = random.Random(6), demo("hostel")
    for slip in SLIPS[:3]:
        built = measured(slipped(plan, chance, slip), chance)
        assert named(plan, built, chance, without="changed")


def test_equal_parts_exchanged_are_no_slip():
    """The input resistors of two equal jacks, each on the other's jack: it is the same circuit."""
    plan = demo("hostel")
    crossed = {"R1": {"IN1": "IN2"}, "R2": {"IN2": "IN1"}}
    built = plan.with_parts(tuple(part.rebound(crossed.get(part.name, {})) for part in plan.parts))
    assert isomorphic(plan, built)
    assert likeness(plan, renamed(built, random.Random(1), parts=True)).difference.is_empty


def test_the_names_of_both_files_are_said():
    plan = demo("pager")
    cathode = plan.by_name["C2"]
    turned = replace(cathode, pins=(("plus", "COMMON"), ("minus", "CATH1")))
    built = plan.with_parts(tuple(turned if part is cathode else part for part in plan.parts))
    written = renamed(built, random.Random(2), parts=True)
    compared = likeness(plan, written)
    names = OtherNames(compared.parts, compared.nodes, "built.circuit")
    other = compared.parts["C2"]
    assert other in written.by_name
    assert describe(compared.difference, names=names) == (
        f"C2 ({other} in built.circuit) is reversed: plus is on COMMON, minus on CATH1.",
    )

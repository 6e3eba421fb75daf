"""Two people trace the same board and name things in their own way: which part is which?"""

from __future__ import annotations

import random
import time

import pytest
from boards import ohms, output_stage, random_circuit, random_circuits, renamed, two
from hypothesis import given
from hypothesis import strategies as st

from rework.circuit.circuit import Circuit
from rework.circuit.edits import FitPart, RemovePart, SetValue, apply_edit
from rework.circuit.parts import Part
from rework.compare.difference import difference
from rework.compare.match import match, with_names_of


def by_structure(before: Circuit, after: Circuit, **options):
    matching = match(before, after, **options)
    return difference(before, with_names_of(before, after, matching)), matching


@given(random_circuits(), st.randoms(use_true_random=False))
def test_the_same_circuit_under_other_names_is_the_same(circuit, chance):
    found, matching = by_structure(circuit, renamed(circuit, chance, parts=True))
    assert matching.is_decided
    assert found.is_empty


def test_two_alike_channels_are_told_apart_by_nothing_and_still_match():
    parts = []
    for channel in "LR":
        nodes = [f"{channel}{number}" for number in range(12)]
        parts += [
            two(f"{channel}R{number}", "resistor", nodes[number], nodes[number + 1], 100)
            for number in range(11)
        ]
        parts += [
            two(f"{channel}C{number}", "capacitor", nodes[number], "COMMON") for number in range(12)
        ]
    circuit = Circuit(parts=tuple(parts))
    found, matching = by_structure(circuit, renamed(circuit, random.Random(1), parts=True))
    assert matching.is_decided
    assert found.is_empty


def test_another_value_is_found_under_other_names():
    before = output_stage()
    after = renamed(apply_edit(before, SetValue("R2", ohms(330))), random.Random(2), parts=True)
    found, _ = by_structure(before, after)
    assert [change.part for change in found.changed] == ["R2"]
    assert not found.added
    assert not found.removed
    assert not found.moved


def test_a_part_missing_and_a_part_too_many_are_found_under_other_names():
    before = output_stage()
    after = apply_edit(
        apply_edit(before, RemovePart("C2")), FitPart(two("R9", "resistor", "SP", "COMMON", 33))
    )
    found, _ = by_structure(before, renamed(after, random.Random(3), parts=True))
    assert [part.name for part in found.removed] == ["C2"]
    assert len(found.added) == 1
    assert not found.changed
    assert not found.moved


def test_a_part_without_a_match_never_takes_the_name_of_another():
    before = Circuit(parts=(two("R1", "resistor", "A", "B", 1), two("R2", "resistor", "B", "A", 2)))
    after = Circuit(
        parts=(
            two("R1", "resistor", "A", "B", 2),
            two("D1", "diode", "A", "B"),
            two("R2", "fuse", "A", "B"),
        )
    )
    renamed_after = with_names_of(before, after, match(before, after))
    assert len({part.name for part in renamed_after.parts}) == 3
    assert renamed_after.part("R2").value("resistance") == 2


def test_settings_follow_the_names_of_the_parts_they_point_to():
    pot = Part("R9", "pot", pins=(("ccw", "A"), ("wiper", "B"), ("cw", "C")))
    switch = Part("S1", "switch", settings=(("on", "R9"),), pins=(("1", "A"), ("2", "C")))
    after = Circuit(
        parts=(
            Part("P7", "pot", pins=pot.pins),
            Part("S7", "switch", settings=(("on", "P7"),), pins=switch.pins),
        )
    )
    found, _ = by_structure(Circuit(parts=(pot, switch)), after)
    assert found.is_empty


def _alike(seed: int, size: int = 30) -> Circuit:
    """Return a cubic graph of equal resistors: colour refinement sees no difference between any two
    of them.
    """
    import networkx

    graph = networkx.random_regular_graph(3, size, seed=seed)
    return Circuit(
        parts=tuple(
            two(f"R{number}", "resistor", f"N{one}", f"N{other}", 100)
            for number, (one, other) in enumerate(sorted(map(sorted, graph.edges)))
        )
    )


def test_parts_all_alike_are_matched_by_isomorphism():
    circuit = _alike(1)
    found, matching = by_structure(circuit, renamed(circuit, random.Random(4), parts=True))
    assert matching.is_decided
    assert found.is_empty


def test_when_the_steps_run_out_it_says_which_parts_it_could_not_decide():
    circuit = _alike(1)
    matching = match(circuit, renamed(circuit, random.Random(4), parts=True), steps=10)
    assert not matching.is_decided
    assert len(matching.undecided) == len(circuit.parts)


def test_two_different_meshes_of_alike_parts_are_not_called_the_same():
    found, _ = by_structure(_alike(1, 40), renamed(_alike(2, 40), random.Random(4), parts=True))
    assert not found.is_empty


def _string(size: int) -> Circuit:
    return Circuit(
        parts=tuple(two(f"R{n}", "resistor", f"N{n}", f"N{n + 1}", 100) for n in range(size))
    )


@pytest.mark.parametrize(
    "make", [lambda size: random_circuit(random.Random(6), size), _string], ids=["random", "string"]
)
def test_four_times_the_parts_take_some_four_times_as_long_to_match(make):
    took = []
    for size in (500, 2000):
        circuit = make(size)
        shuffled = renamed(circuit, random.Random(7), parts=True)
        start = time.process_time()
        found, matching = by_structure(circuit, shuffled)
        took.append(time.process_time() - start)
        assert matching.undecided or found.is_empty
    assert took[1] / took[0] < 12, "by the square it would be 16"

"""The matcher against one that tries everything, and the habits of patterns: symmetry, conductors,
what may not meet.
"""

from __future__ import annotations

import random
from itertools import permutations, product

import pytest
from sets import circuit

from rework.circuit.circuit import Circuit
from rework.circuit.graph import contracted
from rework.circuit.kinds import KINDS
from rework.circuit.parts import Part
from rework.circuit.place import Place
from rework.rules.match import Matcher, TooManySteps, distinct
from rework.rules.rule import PartPattern, PatternEnd, Term

HERE = Place("bench.rule", 1, 1, 2)


def pattern(name: str, kinds: str, *nodes: str, terminals: tuple[str, ...] = ()) -> PartPattern:
    """Return a part pattern: ``pattern("C", "capacitor", "m", "x")``; a node in capitals is that
    node itself.
    """
    ends = tuple(
        PatternEnd(
            (terminals[index],) if terminals else (),
            Term("word" if node.isupper() else "variable", node),
        )
        for index, node in enumerate(nodes)
    )
    return PartPattern(Term("variable", name), tuple(kinds.split("|")), (), ends, "", HERE)


def found(patterns, on: Circuit):
    matcher = Matcher(on, {})
    return list(distinct(matcher.find(tuple(patterns)), contracted(on)))


def keys(matches, on: Circuit):
    group = contracted(on)
    return {
        (frozenset(match.parts.values()), frozenset(group[node] for node in match.nodes.values()))
        for match in matches
    }


def by_trying_everything(patterns, on: Circuit):
    """Every way of giving different parts to the patterns and turning them, kept where the nodes
    agree and none meet.
    """
    group = contracted(on)
    hits = set()
    for parts in permutations([part for part in on.parts if not part.is_conductor], len(patterns)):
        if any(part.kind not in one.kinds for part, one in zip(parts, patterns, strict=True)):
            continue
        turns = [
            [part.pins] if KINDS[part.kind].polar else [part.pins, part.pins[::-1]]
            for part in parts
        ]
        for pins in product(*turns):
            bound: dict[str, str] = {}
            ends = [
                (end.node, group[node])
                for one, turned in zip(patterns, pins, strict=True)
                for end, (_, node) in zip(one.ends, turned, strict=True)
            ]
            if any(term.form == "word" and group[term.text] != point for term, point in ends):
                continue
            if any(
                bound.setdefault(term.text, point) != point
                for term, point in ends
                if term.form == "variable"
            ):
                continue
            fixed = {group[term.text] for term, _ in ends if term.form == "word"}
            if len(set(bound.values())) == len(bound) and not fixed & set(bound.values()):
                hits.add((frozenset(part.name for part in parts), frozenset(bound.values())))
    return hits


PATTERNS = {
    "one part": [pattern("C", "capacitor", "m", "x")],
    "either kind": [pattern("C", "capacitor|resistor", "m", "x")],
    "side by side": [pattern("C", "capacitor", "m", "x"), pattern("R", "resistor", "m", "x")],
    "in a row": [pattern("R", "resistor", "a", "b"), pattern("S", "resistor", "b", "c")],
    "a triangle": [
        pattern("R", "resistor", "a", "b"),
        pattern("S", "resistor", "b", "c"),
        pattern("C", "capacitor", "a", "c"),
    ],
    "one polar": [pattern("D", "diode", "a", "k"), pattern("E", "electrolytic", "k", "m")],
    "to a named node": [pattern("R", "resistor", "a", "N0"), pattern("C", "capacitor", "a", "b")],
}


def random_board(seed: int) -> Circuit:
    """Return six to nine parts on five nodes, some joined by wires."""
    rng = random.Random(seed)
    nodes = [f"N{number}" for number in range(5)]
    parts = [Part("Z", "resistor", pins=(("1", "N0"), ("2", "N1")))]
    for number in range(rng.randint(6, 9)):
        kind = rng.choice(
            ["resistor", "resistor", "capacitor", "capacitor", "diode", "electrolytic", "wire"]
        )
        one, other = rng.sample(nodes, 2)
        parts.append(
            Part(
                f"X{number}",
                kind,
                pins=tuple(zip(KINDS[kind].terminals, (one, other), strict=True)),
            )
        )
    return Circuit(parts=tuple(parts))


@pytest.mark.parametrize("shape", PATTERNS)
def test_the_matcher_finds_what_trying_everything_finds(shape):
    patterns = PATTERNS[shape]
    for seed in range(60):
        board = random_board(seed)
        assert keys(found(patterns, board), board) == by_trying_everything(patterns, board), (
            f"board {seed}"
        )


def test_more_between_the_nodes_than_the_pattern_says_is_no_hindrance():
    board = circuit(
        "R1 resistor 1k : A -- B\nR2 resistor 1k : A -- B\nC1 capacitor 1n : A -- B\nR3 resistor 1k"
        " : B -- A\n"
    )
    assert len(found([pattern("C", "capacitor", "a", "b")], board)) == 1
    assert {
        match.parts["R"]
        for match in found(
            [pattern("R", "resistor", "a", "b"), pattern("C", "capacitor", "a", "b")], board
        )
    } == {"R1", "R2", "R3"}


def test_a_part_that_looks_the_same_both_ways_round_is_found_once():
    board = circuit("R1 resistor 1k : A -- B\nC1 capacitor 1n : A -- B\n")
    assert len(found([pattern("R", "resistor", "a", "b")], board)) == 1


def test_metal_that_is_bonded_is_no_end_of_a_part():
    coil = "L1 choke field-coil 800 ohm : B0 -- B1, frame=CHASSIS"
    board = circuit(f"open B0, B1\n{coil}\nCH1 chassis : CHASSIS\n")
    assert len(found([pattern("L", "choke", "a", "b")], board)) == 1


def test_a_polar_part_is_not_turned_round():
    board = circuit("D1 diode : A -- B\nR1 resistor 1k : A -- B\n")
    assert found([pattern("D", "diode", "B", "x")], board) == []
    assert len(found([pattern("D", "diode", "A", "x")], board)) == 1


def test_wires_are_seen_through_unless_the_pattern_asks_for_a_wire():
    board = circuit(
        "R1 resistor 1k : A -- B\nW1 wire : B -- C\nK1 trace : C -- D\nC1 capacitor 1n : D -- A\n"
    )
    assert (
        len(found([pattern("R", "resistor", "a", "b"), pattern("C", "capacitor", "b", "a")], board))
        == 1
    )
    (match,) = found([pattern("R", "resistor", "a", "b"), pattern("W", "wire", "b", "c")], board)
    assert match.parts["W"] == "W1"


def test_two_variables_never_mean_one_node():
    board = circuit("R1 resistor 1k : A -- B\nR2 resistor 1k : A -- B\n")
    assert (
        found([pattern("R", "resistor", "a", "b"), pattern("S", "resistor", "b", "c")], board) == []
    )


def test_the_order_of_the_matches_is_that_of_the_file():
    board = circuit("R3 resistor 1k : A -- B\nR1 resistor 1k : B -- A\nR2 resistor 1k : A -- B\n")
    assert [match.parts["R"] for match in found([pattern("R", "resistor", "a", "b")], board)] == [
        "R3",
        "R1",
        "R2",
    ]


def test_a_search_without_end_is_given_up():
    board = Circuit(
        parts=tuple(
            Part(f"R{a}x{b}", "resistor", pins=(("1", f"N{a}"), ("2", f"N{b}")))
            for a in range(14)
            for b in range(a)
        )
    )
    chain = [pattern(f"R{n}", "resistor", f"n{n}", f"n{n + 1}") for n in range(8)] + [
        pattern("C", "resistor", "n8", "n8")
    ]
    with pytest.raises(TooManySteps):
        list(Matcher(board, {}, most_steps=5_000).find(tuple(chain)))

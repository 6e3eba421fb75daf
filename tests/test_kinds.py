"""Every kind of part is answered for in every room: a kind that a room knows nothing of is a
problem with its line there, never an open circuit.

A room plugs in by a function below that takes one part in a circuit of its own and fails where the
room has no answer.
"""

from __future__ import annotations

import pytest
from each import each

from rework.circuit.circuit import Circuit
from rework.circuit.kinds import KINDS, Law, Passes
from rework.circuit.parts import Part
from rework.language.partline import read_part
from rework.language.resolve import read_circuit
from rework.language.syntax import circuit_parser

ALL = each("name", KINDS)


def example(name: str) -> tuple[Circuit, Part]:
    """Return a kind's example from the table, read, and the part in it."""
    line = KINDS[name].example
    draft = read_part(
        circuit_parser().parse(line, start="part"), lambda *a, **k: pytest.fail(str(a))
    )
    nodes = dict.fromkeys(str(token) for _, token in draft.pins)
    beside = "P9 plug two-blade : line=X8, neutral=X9\nopen X8, X9\n" if name != "plug" else ""
    text = f"mains 117 V 60 Hz\n{line}\n{beside}open {', '.join(nodes)}\n"
    circuit, problems = read_circuit(text, file="example.circuit")
    assert circuit is not None, "\n".join(map(str, problems))
    return circuit, circuit.parts[0]


@ALL
def test_language_reads_the_example_of_the_table(name):
    _, part = example(name)
    assert part.kind == name


@ALL
def test_every_word_of_a_kind_is_kept_behind_its_name(name):
    line = KINDS[name].example.partition("\n")[0]
    part, _, pins = line.partition(":")
    for word in sorted(KINDS[name].words - {"unlisted"}):
        text = f"{part.split()[0]} {name} {word} : {pins}"
        draft = read_part(circuit_parser().parse(text, start="part"), lambda *a, **k: None)
        assert draft is not None
        assert word in map(str, draft.words)


@ALL
def test_the_row_adds_up(name):
    kind = KINDS[name]
    terminals = {*kind.terminals, *kind.optional}
    assert kind.says, "says nothing"
    assert {end for pair in kind.junctions for end in pair} <= terminals
    assert set(kind.touched) <= terminals
    assert bool(kind.junctions) == (kind.law is Law.JUNCTION)
    assert kind.is_capacitor == (kind.law is Law.CAPACITANCE)
    assert kind.is_conductor == (kind.law is Law.CONDUCTOR)


@ALL
def test_the_mains_check_knows_how_current_gets_through(name):
    from rework.anatomy.links import groups

    _, part = example(name)
    joined = any(len(group.terminals) > 1 for group in groups(part))
    through = KINDS[name].passes not in (Passes.NOTHING, Passes.CONTACTS)
    assert joined == (through or KINDS[name].law is Law.BREAK_CONTACT)


@ALL
def test_touch_has_an_element_for_it(name):
    from rework.touch.model import model
    from rework.touch.person import assumed

    circuit, part = example(name)
    built = model(circuit, assumed())
    named = {element.part for element in (*built.elements, *built.variants)}
    none = (Law.NOTHING, Law.EARTH, Law.MATED_CONTACTS)
    assert (part.name in named) == (KINDS[name].law not in none)


@ALL
def test_solve_has_an_equation_for_it_or_says_that_it_has_none(name):
    from rework.solve.assemble import UNSTAMPED, assemble
    from rework.solve.network import CannotSolve

    circuit, part = example(name)
    try:
        network = assemble(circuit)
    except CannotSolve as refused:
        assert [problem.place for problem in refused.problems] == [part.place]
        return
    named = {branch.name for branch in network.branches} | set(network.rows)
    named |= {device.name for device in network.devices}
    stamped = {one.partition(".")[0] for one in named} & {part.name, "line"}
    assert (part.name in stamped) != (KINDS[name].law in UNSTAMPED) or name == "plug", named


@ALL
def test_draw_has_a_symbol_for_it_or_a_box_with_its_words(name):
    """A module is a box in the standards too; of the unlisted nothing is known; a tube is drawn
    unit by unit, a cable core by core.
    """
    from rework.draw.symbols.ends import box
    from rework.draw.symbols.table import BY_UNIT, symbol_of

    _, part = example(name)
    boxed = symbol_of(part, "us") == box([terminal for terminal, _ in part.pins])
    assert boxed == (name in ("module", "unlisted part", "socket", *BY_UNIT))

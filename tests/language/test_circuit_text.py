"""Text to circuit and back is the identity, and putting a file in order changes neither its meaning
nor its remarks.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from random_parts import circuits, parts

from rework.circuit.circuit import Circuit, Part
from rework.circuit.edits import LiftPin, apply_edit
from rework.circuit.kinds import KINDS
from rework.language.resolve import read_circuit
from rework.language.writer import tidy, write_circuit

ROOT = Path(__file__).parent.parent.parent
SHIPPED = sorted(ROOT.glob("circuits/**/*.circuit"))


def read(text: str) -> Circuit:
    circuit, problems = read_circuit(text, file="test.circuit")
    assert circuit is not None, "\n".join([*map(str, problems), text])
    return circuit


def tidied(text: str) -> str:
    done, problems = tidy(text, "test.circuit")
    assert done is not None, problems
    return done


@given(circuits())
@settings(max_examples=120)
def test_a_circuit_is_read_back_as_it_was_written(circuit: Circuit):
    text = write_circuit(circuit)
    again = read(text)
    assert again == circuit, text
    assert write_circuit(again) == text


@given(circuits())
@settings(max_examples=40)
def test_what_is_written_can_be_tidied_and_means_the_same(circuit: Circuit):
    text = tidied(write_circuit(circuit, remarks=("written by a test",)))
    assert tidied(text) == text
    assert text.startswith("# written by a test\n")
    assert read(text) == circuit


@pytest.mark.parametrize("kind", KINDS)
def test_the_random_circuits_may_hold_every_kind_of_part(kind):
    once = settings(database=None, max_examples=1, phases=(Phase.generate,))

    @given(parts("X1", (kind,)))
    @once
    def draws(part: Part):
        assert part.kind == kind

    draws()


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: f"{path.parent.name}/{path.stem}")
class TestShipped:
    def test_is_read_back_as_it_was_written(self, path: Path):
        circuit = read(path.read_text(encoding="utf-8"))
        assert read(write_circuit(circuit)) == circuit

    def test_is_tidy_and_stays_so(self, path: Path):
        text = path.read_text(encoding="utf-8")
        once = tidied(text)
        assert tidied(once) == once
        assert read(once) == read(text)

    def test_keeps_every_comment_and_every_remark(self, path: Path):
        text = path.read_text(encoding="utf-8")
        comments = [
            line[line.index("#") :].rstrip()
            for line in text.split("\n")
            if line.lstrip().startswith("#")
        ]
        once = tidied(text)
        assert [line for line in once.split("\n") if line.startswith("#")] == comments
        assert [part.remark for part in read(once).parts] == [
            part.remark for part in read(text).parts
        ]

    def test_with_any_one_pin_lifted_is_still_written_and_read_back(self, path: Path):
        circuit = read(path.read_text(encoding="utf-8"))
        for part in circuit.parts:
            for terminal, _ in part.pins:
                lifted = apply_edit(circuit, LiftPin(part.name, terminal))
                alone = [node for node, on in lifted.at.items() if len(on) == 1]
                text = write_circuit(lifted) + "".join(
                    f"open {node}\n" for node in alone if node not in lifted.open_nodes
                )
                assert read(text).parts == lifted.parts, text


@given(st.data())
def test_tidy_keeps_the_meaning_however_a_file_is_spaced(data: st.DataObject):
    lines = data.draw(st.sampled_from(SHIPPED)).read_text(encoding="utf-8").split("\n")
    for _ in range(6):
        index = data.draw(st.integers(0, len(lines) - 1))
        line = lines[index]
        if '"' not in line and "#" not in line:
            lines[index] = data.draw(
                st.sampled_from(("\t{} ", "   {}  # a remark", "{}\t# another", "{}\r"))
            ).format(line.replace(" ", data.draw(st.sampled_from((" ", "  ", "\t")))))
    text = "\n".join(lines)
    once = tidied(text)
    assert read(once) == read(text)
    assert once.count("#") == text.count("#")
    assert tidied(once) == once


def test_a_tidy_file_has_its_colons_under_one_another():
    assert (
        tidied(
            'R1 resistor 1/2W   220k: A--B "plate load"\nC10 capacitor .047 uF :A -- B #'
            " new\n\n\n\njoin  A   C\n"
        )
        == 'R1   resistor 1/2 W 220k : A -- B  "plate load"\n'
        "C10  capacitor .047 uF   : A -- B  # new\n"
        "\n"
        "join A C\n"
    )


def test_what_tidy_cannot_make_sense_of_it_does_not_drop():
    assert tidied("R1 resistor 1k : X A  --B\n") == "R1  resistor 1k : X A -- B\n"
    assert tidy("touchable:A\n", "test.circuit")[0] is None


def test_a_type_number_that_looks_like_a_value_is_left_alone():
    text = "D1 diode type 10V : A -- B\nD2 diode type 6K7 : A -- B\n"
    assert read(tidied(text)) == read(text)
    assert "type 10V" in tidied(text)


def test_long_lines_go_on_under_their_first_connection_and_are_read_back():
    text = (
        "X1 connector : "
        + ", ".join(f"{pin}=NODE_WITH_A_LONG_NAME_{pin}" for pin in range(1, 30))
        + "\n"
    )
    text += (
        "X2 connector : "
        + ", ".join(f"{pin}=NODE_WITH_A_LONG_NAME_{pin}" for pin in range(1, 30))
        + "\n"
    )
    written = write_circuit(read(text))
    assert max(map(len, written.split("\n"))) <= 120
    assert read(written) == read(text)


def test_a_statement_goes_on_after_a_comma_past_a_comment():
    text = "R1 resistor 1k : A --\n# in the middle\n   B  # at the end\nR2 resistor 1k : A -- B\n"
    assert read(text).part("R1").pins == (("1", "A"), ("2", "B"))
    assert tidied(text).startswith("R1  resistor 1k : A -- B  # in the middle  # at the end\n")


def test_values_of_one_amount_make_equal_circuits_however_they_are_written():
    assert read("C1 capacitor .047u 400 V : A -- B\nR1 resistor 1k : A -- B") == read(
        "C1 capacitor 47n 0.4 kV : A -- B\nR1 resistor 1000 ohm : A -- B"
    )


def test_an_element_and_its_pin_number_name_the_same_pin():
    by_element = read(
        "V1 tube 12AU6 : grid=A, suppressor=B, heater1=A, heater2=B, plate=A, screen=B, cathode=A"
    )
    by_number = read("V1 tube 12AU6 : 1=A, 2=B, 3=A, 4=B, 5=A, 6=B, 7=A")
    assert by_element == by_number


def test_joined_names_are_one_node_under_the_first_of_them():
    for line in ("join COMMON N1 M1", "join COMMON, N1, M1", "join COMMON N1\njoin COMMON M1"):
        circuit = read(f"{line}\nR1 resistor 1k : N1 -- M1\nR2 resistor 1k : COMMON -- N1")
        assert circuit.nodes == ("COMMON",)
        assert circuit.aliases == (("M1", "COMMON"), ("N1", "COMMON"))


def test_the_same_text_comes_out_whatever_the_hash_seed():
    script = (
        "import sys, pathlib\nfrom rework.language.resolve import read_circuit\nfrom"
        " rework.language.writer import tidy, write_circuit\nfor path in sys.argv[1:]:\n    text ="
        " pathlib.Path(path).read_text(encoding='utf-8')\n   "
        " print(write_circuit(read_circuit(text)[0]), tidy(text, path)[0],"
        " read_circuit(text.replace('COMMON', 'COMON', 1))[1])\n"
    )
    outputs = {
        subprocess.run(
            [sys.executable, "-c", script, *map(str, SHIPPED)],
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            check=True,
        ).stdout
        for seed in ("0", "1")
    }
    assert len(outputs) == 1

"""Shorts between electrodes, through insulation, across contacts and pins: which are tried."""

from __future__ import annotations

from handworked import read

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part
from rework.touch.person import assumed
from rework.touch.ports import bare_contacts
from rework.touch.shorts import shorts
from rework.touch.study import Study


def told(circuit) -> list[str]:
    return [short.what for short in shorts(circuit)]


def tube(kind: str, **pins: str) -> Part:
    """Return a tube with only these pins wired: ``p6="F"`` is pin 6 on node F."""
    return Part("V1", "tube", kind, pins=tuple((pin[1:], node) for pin, node in pins.items()))


def with_tube(nodes: str, kind: str, *, skip: str = "") -> list[str]:
    """Return the shorts of a tube whose pins 1, 2, ... are on the nodes given, one letter each."""
    pins = {f"p{pin}": node for pin, node in enumerate(nodes, 1) if str(pin) not in skip}
    return told(Circuit(parts=(tube(kind, **pins),)))


def test_a_triode_shorts_plate_to_grid_grid_to_cathode_and_heater_to_cathode():
    words = with_tube("ABCDDFGHE", "12AX7")
    assert "V1 plate pin 6 shorted to its grid pin 7" in words
    assert "V1 plate pin 1 shorted to its grid pin 2" in words
    assert "V1 grid pin 2 shorted to its cathode pin 3" in words
    assert "V1 heater pin 4 shorted to its cathode pin 3" in words
    # Electrodes of one unit touch each other, not those of the other unit.
    assert not any("plate pin 1 shorted to its grid pin 7" in what for what in words)


def test_a_pentode_shorts_grid_to_screen():
    words = with_tube("ABCDEFG", "50C5")
    assert "V1 grid pin 2 shorted to its screen pin 6" in words
    assert "V1 plate pin 7 shorted to its screen pin 6" in words


def test_neighbouring_pins_of_a_noval_socket_do_not_meet_across_its_gap_and_those_of_an_octal_do():
    noval = with_tube("ABCDEFGHI", "12AX7")
    assert "V1 pins 4 and 5 bridged" in noval
    assert not any("pins 9 and 1" in what for what in noval)
    octal = with_tube("ABCDEFGH", "6V6GT", skip="6")
    assert "V1 pins 8 and 1 bridged" in octal
    assert not any("pins 5 and 7" in what for what in octal)


def test_a_primary_breaks_down_to_every_tap_the_screen_and_the_core():
    circuit = read("""circuit "x"
mains 120 V 60 Hz
open A, B, C, D, E, S, K
T1 transformer : primary 120 V = A -- B, hv 200 V = C -- D -- E, screen = S, core=K
""")
    words = told(circuit)
    for end in ("start", "finish"):
        for other in ("hv.start", "hv.tap", "hv.finish", "screen", "core"):
            assert f"T1 insulation primary.{end} to {other} broken down" in words


def test_neighbouring_contacts_are_bridged_once_in_a_mated_pair():
    circuit = read("""circuit "x"
open A, B, C, D, E, F
X1 connector plug : 1=A, 2=B, 3=C
X2 connector socket mates X1 : 1=D, 2=E, 3=F
""")
    bridged = [what for what in told(circuit) if "bridged" in what]
    assert len(bridged) == 2
    assert {what.split("contacts ")[1] for what in bridged} == {
        "1 and 2 bridged",
        "2 and 3 bridged",
    }


def test_pins_on_one_node_are_no_short():
    """Every electrode on one node, the heater on another: only the heater can short to it."""
    words = with_tube("AAADDAAAD", "12AX7")
    assert all("heater" in what or "bridged" in what for what in words)
    assert [what for what in words if "bridged" in what] == [
        "V1 pins 3 and 4 bridged",
        "V1 pins 5 and 6 bridged",
        "V1 pins 8 and 9 bridged",
    ]


def test_a_grid_and_a_plate_of_one_tube_never_conduct_together():
    circuit = Circuit(parts=(tube("12AX7", p6="L", p7="G", p8="K"),))
    study = Study(circuit, assumed())
    plate, grid = study.exclusive[0]
    assert [study.axes[place].kind for place in (plate, grid)] == ["conducts", "grid"]
    for most in (1, 4096):  # every combination, and each alone
        combos = study.combinations(most, study.but_insulation)
        assert not any(combo[plate] and combo[grid] for combo in combos)
        assert any(combo[plate] for combo in combos)
        assert any(combo[grid] for combo in combos)
    both = study.flipped(study.flipped((0,) * len(study.axes), plate), grid)
    assert (both[plate], both[grid]) == (0, 1)


def test_only_a_half_that_is_not_a_socket_has_bare_contacts():
    circuit = read("""circuit "x"
open A, B, C, D, E
X1 connector plug : 1=A, 2=B
X2 connector socket mates X1 : 1=C, 2=D
X3 connector : 1=E
""")
    assert list(bare_contacts(circuit)) == [("X2", ("A", "B")), ("", ("E",))]

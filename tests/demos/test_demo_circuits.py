"""The four packaged sets as found and their new supplies: they read without a problem and their
volts and amperes add up.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from rework.circuit.circuit import Circuit
from rework.circuit.graph import Merged, conductor_ends
from rework.language.resolve import read_circuit
from rework.tubes import library

CIRCUITS = Path(__file__).parent.parent.parent / "circuits"
#: Each demo: what drops the rest of the line in the heater string, and the 6.3 V tubes that will be
#: in the sockets.
DEMOS = {
    "pager": (("R16",), ("6BA6", "6AT6", "6AQ5")),
    "rink": (("R1",), ("6SQ7", "6W6GT")),
    "hostel": (("R16",), ("12AX7", "6EH5")),
    "skihut": (("R10", "TH1"), ("ECL82",)),
}
PORTS = {"bplus", "common", "heater1", "heater2", "earth", "switch1", "switch2"}


def read(path: Path) -> Circuit:
    circuit, problems = read_circuit(path.read_text(encoding="utf-8"), file=path.name)
    assert circuit is not None, [str(problem) for problem in problems]
    assert not problems, [str(problem) for problem in problems]
    return circuit


@pytest.fixture(params=sorted(DEMOS))
def demo(request) -> str:
    return request.param


def as_found(demo: str) -> Circuit:
    return read(CIRCUITS / demo / f"{demo}.circuit")


def supply(demo: str) -> Circuit:
    return read(CIRCUITS / demo / "supply.circuit")


def heater_amps(type_: str, volts: float) -> float:
    """Return the amperes of a heater fed with so many volts, the way a pin arrangement allows it."""
    return next(
        way.amps.value for way in library.find(type_).heater.ways if way.volts.value == volts
    )


def test_every_folder_is_a_demo():
    assert sorted(folder.name for folder in CIRCUITS.iterdir() if folder.is_dir()) == sorted(DEMOS)


def test_a_set_as_found_is_small_enough_to_draw_and_large_enough_to_be_real(demo):
    assert 20 <= len(as_found(demo).parts) <= 40


def test_all_heaters_of_a_string_draw_the_same_current_and_add_up_to_the_line(demo):
    circuit = as_found(demo)
    heaters = [library.find(part.type).heater for part in circuit.parts if part.kind == "tube"]
    currents = {heater.amps.value for heater in heaters}
    assert len(currents) == 1
    (amps,) = currents
    dropped = (
        sum(
            part.value("resistance", role="hot") or part.value("resistance")
            for part in map(circuit.part, DEMOS[demo][0])
        )
        * amps
    )
    assert sum(heater.volts.value for heater in heaters) + dropped == pytest.approx(
        circuit.mains.volts, rel=0.02
    )


def test_the_string_is_one_chain_from_the_line_to_the_common(demo):
    circuit = as_found(demo)
    merged = Merged()
    for part in circuit.parts:
        if part.is_conductor or part.kind in ("switch", "fuse"):
            for one, other in conductor_ends(part):
                merged.join(one, other)
    ends: dict[str, int] = {}
    for part in circuit.parts:
        if part.kind == "tube":
            pins = [
                part.node(pin)
                for pin in sorted(
                    pin
                    for way in library.find(part.type).heater.ways[:1]
                    for side in way.between
                    for pin in side
                )
            ]
        elif part.name in DEMOS[demo][0]:
            pins = [node for _, node in part.pins]
        else:
            continue
        for node in pins:
            ends[merged.find(node)] = ends.get(merged.find(node), 0) + 1
    assert sorted(ends.values()) == [1, 1, *[2] * (len(ends) - 2)]
    plug = next(part for part in circuit.parts if part.kind == "plug")
    assert {merged.find(node) for _, node in plug.pins} == {
        node for node, count in ends.items() if count == 1
    }


def test_the_dropper_and_every_cathode_resistor_can_bear_their_heat(demo):
    circuit = as_found(demo)
    amps = next(
        library.find(part.type).heater.amps.value for part in circuit.parts if part.kind == "tube"
    )
    for name in DEMOS[demo][0]:
        part = circuit.part(name)
        if part.kind == "resistor":
            assert part.value("power") >= 1.4 * amps**2 * part.value("resistance")


def test_every_resistor_and_capacitor_is_complete(demo):
    for circuit in (as_found(demo), supply(demo)):
        for part in circuit.parts:
            if part.kind == "resistor":
                assert part.value("resistance"), part.name
                assert part.value("power"), part.name
                assert part.value("fraction"), part.name
            elif part.kind in ("capacitor", "electrolytic"):
                assert part.value("capacitance"), part.name
                assert part.value("voltage"), part.name


def test_the_new_supply_feeds_the_new_heaters_and_has_every_port(demo):
    circuit = supply(demo)
    (transformer,) = (part for part in circuit.parts if part.kind == "transformer")
    (winding,) = (values for name, values in transformer.windings if name == "heater")
    rated = {value.dimension: value.amount for value in winding}
    wanted = sum(heater_amps(type_, 6.3) for type_ in DEMOS[demo][1])
    heater = {transformer.node(terminal) for terminal in ("heater.start", "heater.finish")}
    wanted += sum(
        heater_amps(part.type, 6.3)
        for part in circuit.parts
        if part.kind == "tube" and {node for _, node in part.pins} >= heater
    )
    assert rated["voltage"] == 6.3
    assert wanted < rated["current"] <= 2 * wanted
    assert {port for port, _ in circuit.ports} >= PORTS
    assert circuit.mains == as_found(demo).mains


def test_in_the_new_supply_the_fuse_comes_first_and_the_switch_before_the_primary(demo):
    circuit = supply(demo)
    plug, fuse, transformer = (
        next(part for part in circuit.parts if part.kind == kind)
        for kind in ("plug", "fuse", "transformer")
    )
    ports = dict(circuit.ports)
    assert "three-pin" in plug.words
    assert [part.kind for part, _ in circuit.at[plug.node("line")]] == ["plug", "fuse"]
    assert set(dict(fuse.pins).values()) == {plug.node("line"), ports["switch1"]}
    assert transformer.node("primary.start") == ports["switch2"]
    assert transformer.node("primary.finish") == plug.node("neutral")


def test_each_demo_shows_what_it_is_there_for():
    pager, rink, hostel, skihut = map(as_found, ("pager", "rink", "hostel", "skihut"))
    assert any(part.kind == "trace" for part in pager.parts)
    assert pager.part("V3").type == "35C5"
    assert {node for _, node in pager.part("LP1").pins} == {
        pager.part("V4").node("4"),
        pager.part("V4").node("6"),
    }, "the lamp is on the tap"
    assert dict(pager.part("S1").settings)["on"] == "R10", "the tone control carries the switch"
    lamp = {node for _, node in rink.part("LP1").pins}
    assert lamp == {rink.part("V3").node("2"), rink.part("V3").node("3")}, "the lamp is on the tap"
    assert library.find("35Z5GT").element("6") in ("none", "absent")
    assert rink.part("V3").node("6") == "L2"
    assert rink.part("V2").node("8") == "COMMON"
    assert "back-bias" in rink.part("R8").words
    assert hostel.part("P1").node("neutral") in dict(hostel.part("S1").pins).values(), (
        "the switch is in the common lead"
    )
    assert {part.kind for part, _ in skihut.at["ML"]} == {"motor", "wire"}

"""Small circuits whose numbers were told wrong once, each with what it must give."""

from dataclasses import replace
from pathlib import Path

import pytest

from rework.circuit.circuit import Circuit
from rework.language.files import wanted_circuit
from rework.language.resolve import read_circuit
from rework.solve.assemble import assemble
from rework.solve.bias import bias
from rework.solve.chart import volts
from rework.solve.meter import Meter, meter_readings
from rework.solve.positions import positioned
from rework.solve.stress import Verdict
from rework.solve.stress_words import stress_words

CASES = Path(__file__).parents[1] / "cases"
PAGER = Path(__file__).parents[2] / "circuits" / "pager" / "pager.circuit"


def case(name: str) -> Circuit:
    return wanted_circuit(CASES / f"{name}.circuit")[0]


def stressed(chart, part: str, key: str):
    return [s for s in chart.stresses if (s.part, s.key) == (part, key)]


def test_a_choke_may_be_named_like_a_node():
    assert volts(case("choke-named-like-a-node"), samples=20).supply[0].volts == pytest.approx(
        143, abs=2
    )


def test_a_pot_burns_nine_watts_in_half_a_watt():
    burns = stressed(volts(case("pot-burns"), samples=20), "R1", "watts")
    assert sum(stress.amount for stress in burns) == pytest.approx(9.0, abs=0.1)
    assert {stress.verdict for stress in burns} == {Verdict.OVER}


def test_a_pot_at_its_stop_is_held_to_the_current_of_its_track():
    """At the stop 2 mohm are left of the track: the current there is that of the whole."""
    chart = volts(positioned(case("pot-burns"), {"R1": "cw"}), samples=20)
    stop = next(each for each in chart.stresses if (each.part, each.of) == ("R1", "cw"))
    track = next(each for each in chart.stresses if (each.part, each.of) == ("R1", "ccw"))
    assert (stop.key, track.key) == ("amps", "watts")
    assert stop.rating == pytest.approx((0.5 / 10e3) ** 0.5)
    # 30 mA through the track and 3 mA through R2, both by way of the wiper's stop
    assert stop.amount == pytest.approx(300 / 10e3 + 300 / 100e3, rel=1e-3)
    assert stress_words(stop) == "R1 (wiper to cw): 33 mA through the track (max. 7.071 mA)"


def test_the_switch_meets_every_load():
    chart = volts(case("supply-without-heaters"), samples=20)
    assert chart.rush_amps > chart.line_amps
    assert chart.rush_peak_amps > 3
    assert volts(case("selenium-half-wave"), samples=20).rush_peak_amps == pytest.approx(
        max(row.switch_on_amps for row in volts(case("selenium-half-wave"), samples=20).rectifiers),
        rel=0.02,
    )


@pytest.mark.parametrize(("name", "part", "amps"), [("doubler-25z6", "V1", 0.0474)])
def test_the_sections_of_a_doubler_are_in_series(name, part, amps):
    (mean,) = stressed(volts(case(name), samples=20), part, "dc_amps")
    assert mean.amount == pytest.approx(amps, rel=0.01)
    assert mean.verdict is None


def test_the_full_wave_doubler_solves_and_its_sections_carry_one_current():
    chart = volts(case("full-wave-doubler"), samples=20)
    (mean,) = stressed(chart, "V3", "dc_amps")
    assert mean.amount < 0.075
    assert chart.supply[0].volts == pytest.approx(236, abs=5)


@pytest.mark.parametrize(
    ("name", "position", "volts_at_heater"),
    [
        # 12.6 V, 0.1 A: 126 ohm behind the droppers that the position leaves in.
        ("selector-one-pole", "throw1", 220 * 126 / (126 + 964 + 1100)),
        ("selector-one-pole", "throw2", 220 * 126 / (126 + 964)),
        ("selector-two-pole", "throw1", 220 * 126 / (126 + 964)),
        ("selector-two-pole", "throw2", 220 * 126 / (126 + 964 + 1100)),
    ],
)
def test_a_selector_is_where_it_is_said_to_be(name, position, volts_at_heater):
    chart = volts(positioned(case(name), {"S2": position}), samples=20)
    assert [(each.at, each.stated) for each in chart.positions] == [(position, True)]
    (heater,) = chart.heaters
    assert heater.volts == pytest.approx(volts_at_heater, rel=0.01)


def test_a_selector_that_no_one_states_is_told_as_assumed():
    chart = volts(case("selector-one-pole"), samples=20)
    assert [(each.part, each.stated) for each in chart.positions] == [("S2", False)]


def test_a_line_of_direct_current_is_read_and_solved():
    chart = volts(case("dc-mains"), samples=20)
    (row,) = [row for row in chart.nodes if row.node == "L1"]
    assert row.volts == pytest.approx(110.0)


def test_selenium_is_held_to_the_rms_volts_of_its_input():
    (fed,) = stressed(volts(case("selenium-half-wave"), samples=20), "D1", "input_volts")
    assert fed.amount == pytest.approx(116, abs=2)
    assert fed.verdict is None


def test_the_peak_of_silicon_without_a_surge_resistor_is_the_converged_one():
    """2331 mA on grids of 6,144 and 12,288 instants."""
    (row,) = volts(case("silicon-no-surge-resistor"), samples=20).rectifiers
    assert row.peak_amps == pytest.approx(2.331, rel=0.02)


def test_an_open_cathode_reads_what_the_meter_lets_through():
    """A 10 Mohm meter is the cathode's only resistor: the tube is cut off but for its current."""
    circuit = case("open-cathode")
    chart = volts(circuit, samples=50)
    pin = next(pin for pin in chart.pins if pin.node == "K2")
    assert 2 < pin.volts < 8
    assert pin.low <= pin.volts <= pin.high
    assert pin.without_meter > 100
    assert any(note.startswith("K2:") and "meter" in note for note in chart.notes)


def test_the_meter_is_solved_in_place():
    """The same as a resistor of 10 Mohm written in the file, at two nodes, one stack."""
    rest = bias(assemble(case("contact-bias-stages")))
    shown, settled = meter_readings(rest, [Meter("G", "COMMON"), Meter("P", "COMMON")])
    assert settled.all()
    for node, reading in zip(("G", "P"), shown, strict=True):
        text = (CASES / "contact-bias-stages.circuit").read_text()
        written, _ = read_circuit(text + f"R99 resistor 10M : {node} -- COMMON\n")
        fresh = bias(assemble(written))
        assert reading == pytest.approx(float(fresh.network.volts(fresh.point, node)), abs=1e-3)


@pytest.mark.parametrize(
    ("type_", "low", "high"),
    [
        # Measured by hobbyists on 220 k and 150 V: vintage-radio.net, post 1144874. In no fit.
        ("12AX7", 79, 83),
        ("12AU7", 19, 19),
    ],
)
def test_the_band_of_a_contact_bias_stage_holds_what_was_measured(type_, low, high):
    text = (CASES / "contact-bias-stages.circuit").read_text().replace("12AU7", type_)
    circuit, problems = read_circuit(text)
    assert circuit, problems
    chart = volts(circuit, samples=400)
    plate = next(row for row in chart.nodes if row.node == "P")
    assert plate.low < high
    assert plate.high > low


def lifted(circuit: Circuit, name: str, pin: str) -> Circuit:
    part = circuit.by_name[name]
    pins = tuple((at, node) for at, node in part.pins if at != pin)
    bare = replace(part, pins=pins, unused=(*part.unused, pin))
    return circuit.with_parts(tuple(bare if one is part else one for one in circuit.parts))


def test_a_string_with_one_heater_pin_lifted_has_no_b_plus():
    circuit, _ = wanted_circuit(PAGER)
    assert volts(circuit, samples=20).supply
    open_string = volts(lifted(circuit, "V1", "4"), samples=20)
    assert open_string.supply == ()
    assert max(abs(row.volts) for row in open_string.nodes) < 1
    assert sum("taken as cold" in note for note in open_string.notes) == 4


def test_heaters_that_are_not_drawn_are_taken_as_hot():
    chart = volts(case("contact-bias-stages"), samples=20)
    assert not any("taken as cold" in note for note in chart.notes)
    assert chart.tubes[0].plate_amps > 1e-4


def test_a_detector_diode_on_a_node_of_its_own_is_no_crash():
    text = PAGER.read_text()
    line = next(line for line in text.splitlines() if line.startswith("V2 "))
    alone = line.replace("diode1=COMMON", "diode1=NOWHERE")
    assert alone != line, line
    circuit, problems = read_circuit(text.replace(line, alone) + "\nopen NOWHERE\n")
    assert circuit, problems
    assert volts(circuit, samples=20).supply

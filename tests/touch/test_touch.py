"""Touch current on circuits that can be worked out by hand."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from handworked import BARE, read, tied

from rework.rules.job_file import run_job_file
from rework.safety.upper_line import upper_line
from rework.solve.positions import positioned
from rework.touch.network import BRANCH
from rework.touch.person import body_amps, body_ohm, networks
from rework.touch.touch import touch, worst_touch

CIRCUITS = Path(__file__).parents[2] / "circuits"


def worst(circuit, node="CHASSIS", other="", **more):
    report = touch(circuit, changes=BARE, **more)
    return next(t for t in report.touches if (t.node, t.other) == (node, other))


def test_a_capacitor_from_line_to_chassis_passes_its_reactance_and_the_person():
    found = worst(tied("C1 capacitor .047 uF film 0% : L -- CHASSIS"))
    zc = 1 / (2j * math.pi * 60 * 47e-9)
    person = networks()["iec"].impedance(60)
    assert found.amps == pytest.approx(
        132 / abs(zc + person), rel=1e-3
    )  # 0.25 ohm of line and 1e-9 S of anchors left out
    assert found.verdict == "over"
    assert found.path == "P1.line > C1 > CHASSIS"


def test_two_y_capacitors_add_when_the_neutral_opens():
    circuit = tied(
        "C1 capacitor 4.7n class Y2 0% : L -- CHASSIS",
        "C2 capacitor 4.7n class Y2 0% : N -- CHASSIS",
        "R1 resistor 1k 0% : L -- N",
    )
    found = worst(circuit)
    assert found.amps == pytest.approx(2 * math.pi * 60 * 9.4e-9 * 132, rel=2e-3)
    assert "neutral open" in found.state


def test_a_chassis_on_one_blade_gives_line_volts_over_the_person():
    found = worst(tied("W1 wire : N -- CHASSIS", "R1 resistor 700 ohm 0% : L -- N"))
    assert found.volts == pytest.approx(132, rel=1e-3)
    assert found.amps == pytest.approx(132 / abs(networks()["iec"].impedance(60)), rel=2e-3)
    assert found.state.startswith("plug reversed")


def test_the_switch_in_the_common_lead_leaves_the_chassis_live_through_cold_heaters_when_off():
    circuit = tied("S1 switch SPST : N -- CHASSIS", "LP1 lamp 117 V 0.15 A : L -- CHASSIS")
    found = worst(circuit)
    assert found.amps > 0.06
    assert found.verdict == "over"


def test_the_service_network_reads_three_quarters_of_a_volt_at_half_a_milliampere():
    found = worst(tied("R1 resistor 470k 0% : L -- CHASSIS"), network="service")
    assert found.reading * 1500 == pytest.approx(132 * 1494.63 / 471.5e3, rel=2e-3)


def test_an_earthed_chassis_reads_nothing_until_its_earth_opens():
    circuit = tied(
        "W1 wire : PE -- CHASSIS",
        "C1 capacitor 4.7n class Y2 0% : L -- CHASSIS",
        "R1 resistor 1k 0% : L -- N",
        plug="three-pin",
        earth=", earth=PE",
    )
    found = worst(circuit)
    assert "earth open" in found.state
    assert found.reading == pytest.approx(2 * math.pi * 60 * 4.7e-9 * 132, rel=5e-3)
    assert found.verdict == "under"


def test_two_touchable_parts_on_the_two_blades_are_a_pair():
    circuit = tied(
        "R1 resistor 100k 0% : L -- CHASSIS",
        "R2 resistor 100k 0% : N -- SHELL",
        "R3 resistor 1k 0% : L -- N",
        touchable="CHASSIS, SHELL",
    )
    pair = worst(circuit, "CHASSIS", "SHELL")
    assert pair.amps == pytest.approx(132 / 202e3, rel=2e-3)


def test_a_resistor_without_a_value_counts_as_a_short_and_never_passes():
    found = touch(tied("R1 resistor 1 W : L -- CHASSIS"), changes=BARE)
    assert found.touches[0].amps > 0.06
    assert found.touches[0].verdict == "over"
    assert "R1" in found.unknown[0]
    assert found.exit_status == 1


def test_what_would_be_under_is_not_known_while_any_value_is_missing():
    found = touch(
        tied("R1 resistor 1 W : L -- N", "R2 resistor 10M 0% : L -- CHASSIS"), changes=BARE
    )
    assert found.touches[0].verdict == "not known"
    assert found.exit_status == 1


def test_a_neon_lamp_is_dark_or_lit_and_leaves_nothing_unknown():
    """No more than its resistor passes: 132 V over 100 kohm and the person, 1.3 mA."""
    circuit = tied("NE1 lamp neon : L -- A", "R1 resistor 100k 1% : A -- KNOB", touchable="KNOB")
    report = touch(circuit, changes=BARE)
    assert report.unknown == ()
    assert report.worst.amps == pytest.approx(1.3e-3, rel=0.03)


def test_a_transformer_leaves_what_its_capacitance_explains():
    circuit = tied(
        "T1 transformer 30 VA : primary 120 V dcr 10 ohm = L -- N, hv 250 V dcr 200 ohm = A --"
        " CHASSIS",
        "R1 resistor 10k : A -- CHASSIS",
    )
    report = touch(circuit)
    assert 0 < report.touches[0].amps < 2 * math.pi * 60 * 1.1e-9 * 132 * (1 + 250 / 120)
    assert report.exit_status == 0


def test_rectified_volts_stand_behind_a_resistor_as_direct_current():
    circuit = tied(
        "D1 diode silicon : L -- B",
        "C1 electrolytic 50 uF 250 V 0% : B -- N",
        "R1 resistor 47k 0% : B -- KNOB",
        touchable="KNOB",
    )
    found = worst(circuit, "KNOB")
    assert found.dc_volts == pytest.approx(132 * math.sqrt(2), rel=0.02)
    assert found.dc_amps == pytest.approx(132 * math.sqrt(2) / 49e3, rel=0.02)


def test_body_and_touch_volts_belong_together():
    amps, volts = body_amps(120, 10e3)
    assert amps * (10e3 + body_ohm(volts)) == pytest.approx(120, rel=1e-6)
    assert body_ohm(125) == 1125
    assert body_ohm(10) == 1750
    assert body_ohm(5000) == 700


def test_line_volts_are_taken_at_their_upper_tolerance():
    assert [
        upper_line(v, h)[0]
        for v, h in ((117, 60), (120, 60), (220, 50), (230, 50), (240, 50), (None, None))
    ] == [132, 132, 253, 253, 264, 264]
    assert upper_line(127, 60)[0] == pytest.approx(139.7)


def test_no_mains_in_the_netlist_is_said():
    circuit = read(
        'circuit "x"\ntouchable A\nP1 plug two-blade : line=L, neutral=N\nR1 resistor 1k : L --'
        " N\nC1 capacitor 1n : L -- A\nopen A\n"
    )
    assert "264 V" in touch(circuit).line


def test_direct_volts_that_count_are_not_hidden_by_more_current_from_fewer():
    """The wiper at one end: much current from less than 60 V, which counts for nothing; at the
    other, 7.6 mA from 390 V.
    """
    found = worst(
        tied(
            "T1 transformer 30 VA : primary 120 V dcr 10 ohm = L -- N, bias 30 V dcr 1 ohm = LA --"
            " CHASSIS, hv 250 V dcr 100 ohm = HA -- CHASSIS",
            "D1 diode silicon : LA -- LP",
            "D2 diode silicon : HA -- HP",
            "C1 electrolytic 50 uF 450 V : LP -- CHASSIS",
            "C2 electrolytic 50 uF 450 V : HP -- CHASSIS",
            "R1 resistor 50k 0% : HP -- HQ",
            "R3 resistor 10k : LP -- CHASSIS",
            "R2 pot 5M plastic-shaft : ccw=LP, wiper=KNOB, cw=HQ",
            touchable="CHASSIS, KNOB",
        ),
        "CHASSIS",
        "KNOB",
    )
    assert found.dc_volts > 300
    assert 0.002 < found.dc_amps < 0.01
    assert found.verdict == "over"


def test_nothing_in_reach_or_no_plug_is_no_clean_bill():
    assert (
        touch(
            read('circuit "x"\nP1 plug two-blade : line=L, neutral=N\nR1 resistor 1k : L -- N\n')
        ).exit_status
        == 1
    )
    apart = touch(
        read('circuit "x"\ntouchable B\nR1 resistor 1k : A -- B\nR2 resistor 1k : A -- B\n')
    )
    assert apart.touches[0].verdict == "not known"
    assert any("attach the supply" in words for words in apart.unknown)


def test_two_plugs_may_stand_the_other_way_round_from_each_other():
    found = touch(
        read(
            'circuit "x"\ntouchable A, B\nP1 plug two-blade : line=L1, neutral=N1\nP2 plug'
            " two-blade : line=L2, neutral=N2\nC1 capacitor 1n : L1 -- A\nC2 capacitor 1n : N2 --"
            " B\nR1 resistor 1k : L1 -- N1\nR2 resistor 1k : L2 -- N2\nR3 resistor 1M : A -- B\n"
        )
    )
    assert {one.verdict for one in found.touches} == {"not known"}
    assert any("P1 and P2" in words for words in found.unknown)


def test_a_person_without_capacitance_to_ground_gets_nothing_on_an_insulator():
    circuit = tied(
        "R1 resistor 1k : L -- N",
        "C1 capacitor 1n : L -- KNOB",
        "R2 resistor 1M : KNOB -- N",
        touchable="KNOB",
    )
    assert touch(circuit, changes=(("person_farad", 0.0),)).touches[0].insulated_amps == 0


@pytest.mark.parametrize("name", ["pager", "skihut"])
def test_one_at_a_time_from_the_worst_finds_what_every_combination_finds(name, monkeypatch):
    """With too many parts for every combination; held to it where all can be tried."""
    circuit = run_job_file(str(CIRCUITS / name / f"{name}.job")).after
    every = touch(circuit)
    monkeypatch.setattr("rework.touch.search.MOST_COMBINATIONS", 1)
    climbed = touch(circuit)
    assert "from the worst found" in climbed.varied
    assert "from the worst found" not in every.varied
    for one, other in zip(climbed.touches, every.touches, strict=True):
        assert one.reading == pytest.approx(other.reading, rel=2e-3, abs=1e-6)


def test_what_keeps_its_current_as_an_unknown_changes_no_figure(monkeypatch):
    """Every part that passes a microsiemens, or stiff ones alone: the same currents."""
    every = run_job_file(str(CIRCUITS / "skihut" / "skihut.job")).after
    few = worst_touch(every)
    monkeypatch.setattr("rework.touch.touch.STIFF", BRANCH)
    all_ = worst_touch(every)
    assert few.place == all_.place
    assert few.reading == pytest.approx(all_.reading, rel=1e-6)


def test_a_winding_states_its_own_capacitance():
    lines = (
        (
            "T1 transformer 30 VA : primary 120 V dcr 10 ohm = L -- N, hv 250 V dcr 200 ohm {} = A"
            " -- CHASSIS"
        ),
        "R1 resistor 10k : A -- CHASSIS",
    )
    readings = [
        touch(tied(lines[0].format(words), lines[1])).touches[0].amps
        for words in ("to-primary 100p", "to-primary 1000p", "")
    ]
    assert readings[1] == pytest.approx(10 * readings[0], rel=0.01)
    assert readings[2] == pytest.approx(readings[1], rel=1e-6)


def test_an_autotransformer_lifts_what_hangs_on_its_far_end():
    circuit = tied(
        "T1 autotransformer 60 VA : winding 240 V dcr 10 ohm = N -- L -- HI",
        "R1 resistor 100k 0% : HI -- CHASSIS",
    )
    found = worst(circuit)
    assert found.volts == pytest.approx(2 * 132, rel=5e-3)
    assert found.verdict == "over"


def test_taps_of_an_autotransformer_that_are_on_nothing_known_leave_it_open():
    report = touch(
        tied(
            "T1 autotransformer 60 VA : winding 240 V dcr 10 ohm = A -- B -- HI",
            "R1 resistor 1M 0% : HI -- CHASSIS",
            "R2 resistor 1k : L -- A",
            "R3 resistor 1k : N -- B",
        ),
        changes=BARE,
    )
    assert any("which of its taps are on the line" in words for words in report.unknown)
    assert report.exit_status == 1


def test_a_bad_tie_through_one_tube_alone_is_found():
    """Both tubes conducting would short the divider: the worst is one of them."""
    circuit = tied(
        "V1 tube 12AU6 : plate=L, cathode=MID, grid=MID, screen=MID, suppressor=MID, 3=L, 4=L",
        "R1 resistor 1M 0% : L -- N",
        "V2 tube 12AU6 : plate=MID, cathode=N, grid=N, screen=N, suppressor=N, 3=N, 4=N",
        "R2 resistor 1k 0% : MID -- CHASSIS",
    )
    found = worst(circuit)
    assert found.condition in ("V1 conducting", "V2 conducting")
    assert found.amps > 0.04


def test_very_many_nodes_in_reach_are_not_all_paired_and_that_is_said():
    parts = [
        f"J{n} jack : tip=T{n}, sleeve=S{n}\nR{n} resistor 1M : T{n} -- S{n}\nR{n}b resistor 1M :"
        f" S{n} -- N"
        for n in range(60)
    ]
    report = touch(
        tied(*parts, "R999 resistor 1k : L -- N", touchable="S0", plug="two-blade"), changes=BARE
    )
    assert any("120 nodes are in reach" in words for words in report.unknown)
    assert report.exit_status == 1
    assert {one.verdict for one in report.touches} <= {"over", "not known"}


def test_a_selector_on_the_isolated_side_hides_no_higher_volts():
    parts = (
        "T1 transformer 50 VA : primary 120 V = L -- N, hv1 12 V = A -- PE, hv2 300 V = B -- PE",
        "R1 resistor 1M : B -- PE",
    )
    through = touch(
        tied(
            *parts,
            "S1 switch SPDT : pole=X, throw1=A, throw2=B",
            touchable="X",
            plug="three-pin",
            earth=", earth=PE",
        )
    )
    plain = touch(
        tied(
            *parts,
            "R2 resistor 1M : A -- PE",
            "W1 wire : B -- X",
            touchable="X",
            plug="three-pin",
            earth=", earth=PE",
        )
    )
    assert max(one.reading for one in through.touches) == pytest.approx(
        max(one.reading for one in plain.touches), rel=0.05
    )
    assert through.exit_status == 1


def test_a_direct_current_line_is_computed_on_the_high_side_and_said():
    volts, hertz, words = upper_line(110, 0.0)
    assert (volts, hertz) == (132, 60.0)
    assert words.startswith("DC mains")
    circuit = tied("R1 resistor 64k 0% : L -- CHASSIS", mains="110 V DC")
    (touched,) = touch(circuit, changes=BARE).touches
    assert touched.verdict == "over"


@pytest.mark.parametrize(
    ("line", "volts"),
    [
        ("V9 gas regulator 150 V : L -- CHASSIS", 132),
        ("D5 light-emitting diode red : L -- CHASSIS", 132),
        ("RV1 varistor 150 V : L -- CHASSIS", 132),
        ("F1 fuse 1 A : L -- N, frame=CHASSIS", 132),
        ("CB1 breaker 1 A : L -- N, frame=CHASSIS", 132),
        ("K1 relay SPST 24 V 650 ohm : L -- CHASSIS, coil1=N, coil2=A", 132),
    ],
)
def test_parts_of_every_kind_bring_the_line_to_what_a_hand_reaches(line, volts):
    parts = (line, "R9 resistor 10M 0% : CHASSIS -- B", "R8 resistor 10M 0% : B -- N")
    extra = ("R7 resistor 1k : A -- N",) if "relay" in line else ()
    touched = touch(tied(*parts, *extra), changes=()).touches[0]
    assert touched.volts == pytest.approx(volts, rel=0.2)
    assert touched.verdict != "under"


def test_a_battery_gives_direct_current_through_what_it_is_in_series_with():
    """90 V over 10 kohm and the 2 kohm of a person: 7.5 mA, whatever the plug does."""
    circuit = tied(
        "BT1 battery 90 V : plus=B, minus=N",
        "R1 resistor 10k 0% : B -- CHASSIS",
    )
    (found,) = (one for one in touch(circuit, changes=BARE).touches if not one.other)
    assert found.dc_volts == pytest.approx(90, rel=1e-3)
    assert found.dc_amps == pytest.approx(90 / 12e3, rel=1e-3)
    assert found.verdict == "over"


def test_the_way_to_a_node_that_a_winding_drives_leads_through_that_winding():
    circuit = tied(
        "T1 transformer : primary 120 V dcr 10 ohm = L -- N, hv 90 V dcr 20 ohm = CHASSIS -- N",
    )
    (found,) = (one for one in touch(circuit).touches if not one.other)
    assert found.volts == pytest.approx(132 + 99, rel=0.01)
    assert found.path == "P1.neutral > T1 hv.start to finish > CHASSIS"


POT_BEHIND_A_SWITCH = (
    "S1 switch SPST : L -- A",
    "R1 resistor 100k 0% : A -- B",
    "R2 pot 400k 0% : ccw=B, wiper=CHASSIS, cw=CHASSIS",
)


@pytest.mark.parametrize(("at", "kilohms"), [("ccw", 100), ("30%", 220), ("cw", 500)])
def test_a_pot_that_is_held_passes_what_its_track_up_to_the_wiper_leaves(at, kilohms):
    held = positioned(tied(*POT_BEHIND_A_SWITCH), {"R2": at})
    found = worst(held, held=("R2",))
    person = networks()["iec"].impedance(60)
    assert found.amps == pytest.approx(132 / abs(kilohms * 1e3 + person), rel=1e-3)
    free = worst(tied(*POT_BEHIND_A_SWITCH))
    assert free.amps >= found.amps, "with nothing held the worst position is told"


def test_a_switch_that_is_held_is_tried_where_it_stands_and_nowhere_else():
    on = tied(*POT_BEHIND_A_SWITCH)
    off = positioned(on, {"S1": "OFF"})
    assert worst(off, held=("S1",)).amps < 1e-6
    assert worst(off).amps == pytest.approx(worst(on).amps), "the file may say OFF; nobody holds it"
    assert touch(off, held=("S1",)).states * 2 == touch(off).states
    short = worst_touch(off, ("S1",))
    assert short.reading < worst_touch(off).reading

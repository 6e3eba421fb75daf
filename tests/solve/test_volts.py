"""The voltage chart as its user meets it: slips in the netlist named, a drop stated, supply loaded
and unloaded, corners, the table.
"""

import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rework.cli import main
from rework.language.resolve import read_circuit
from rework.solve.assemble import assemble
from rework.solve.bias import bias
from rework.solve.chart import volts
from rework.solve.network import CannotSolve
from rework.solve.spread import spread
from rework.solve.stress_words import without_rating_words

CIRCUITS = Path(__file__).parents[2] / "circuits"
SUPPLY = """mains 117 V 60 Hz
P1 plug two-blade : line=L, neutral=N
T1 transformer 30 VA : primary 117 V dcr 15 ohm = L -- N, hv 150 V 60 mA dcr 100 ohm = A1 -- A2, heater 6.3 V 1 A dcr 0.2 ohm = H1 -- COMMON
D1 bridge 1 A 600 V : ac1=A1, ac2=A2, plus=B1, minus=COMMON
C1 electrolytic 47 uF 250 V 20% : B1 -- COMMON
L1 choke 5 H 80 mA 150 ohm : B1 -- B2
C2 electrolytic 47 uF 250 V 20% : B2 -- COMMON
R1 resistor 5k 10 W : B2 -- COMMON
R2 resistor 10 ohm 10 W : H1 -- COMMON
"""
HALF_WAVE = """mains 220 V 50 Hz
P1 plug two-blade : line=L, neutral=COMMON
R1 resistor 150 ohm 5 W : L -- A
V1 tube UY85 : plate=A, cathode=B, 4=COMMON, 5=COMMON
C1 electrolytic 50 uF 350 V : B -- COMMON
R2 resistor 5k 20 W : B -- COMMON
"""


def read(text: str):
    circuit, problems = read_circuit(text)
    assert circuit, problems
    return circuit


def refused(text: str) -> dict[str, str]:
    with pytest.raises(CannotSolve) as caught:
        assemble(read(text))
    return {problem.message: problem.hint for problem in caught.value.problems}


def test_a_rectifier_without_a_printed_drop_is_estimated_from_its_kin_and_its_band_is_wide():
    guessed = volts(read(HALF_WAVE), samples=200)
    assert any("UY85" in note and "drop 18 V 200 mA" in note for note in guessed.notes)
    law = assemble(read(HALF_WAVE)).ordered[0].law
    assert (0.22 / law.perveance) ** (2 / 3) == pytest.approx(21.6, abs=0.2)  # 2 x 110 mA
    stated = volts(read(HALF_WAVE.replace("UY85", "UY85 drop 14 V 110 mA")), samples=200)
    assert guessed.supply[0].volts == pytest.approx(stated.supply[0].volts, abs=2)
    knobs = {knob.name: knob.share for knob in bias(assemble(read(HALF_WAVE))).knobs}
    assert knobs["V1"] == 0.3


def test_a_drop_stated_in_the_file_is_used_and_said():
    chart = volts(read(HALF_WAVE.replace("UY85", "UY85 drop 20 V 200 mA")), samples=50)
    higher = volts(read(HALF_WAVE.replace("UY85", "UY85 drop 40 V 200 mA")), samples=50)
    assert any("V1" in note and "20 V at 200 mA" in note for note in chart.notes)
    assert higher.supply[0].volts < chart.supply[0].volts - 5


def test_a_drop_from_memory_is_said_to_be():
    chart = volts(
        read(
            HALF_WAVE.replace("220 V 50", "117 V 60")
            .replace("UY85", "35W4")
            .replace("4=COMMON, 5=COMMON", "3=COMMON, 4=COMMON, unused 1 2 6")
        ),
        samples=50,
    )
    assert any("35W4" in note and "from memory" in note for note in chart.notes)


def test_two_windings_in_parallel_that_differ_are_a_ring():
    told = refused(
        SUPPLY.replace(
            "heater 6.3 V 1 A dcr 0.2 ohm = H1 -- COMMON",
            "heater 6.3 V dcr 0.2 ohm = H1 -- COMMON, heater2 5 V dcr 0.2 ohm = H1 -- COMMON",
        )
    )
    message, hint = next(iter(told.items()))
    assert "T1.heater2" in message
    assert "T1.heater" in message
    assert "1.3 V" in message
    assert hint


def test_two_windings_of_a_kind_in_parallel_are_no_ring_and_one_turned_round_is():
    text = SUPPLY.replace("H1 -- COMMON,", "H1 -- COMMON").replace(
        "heater 6.3 V 1 A dcr 0.2 ohm = H1 -- COMMON",
        "heater 6.3 V dcr 0.2 ohm = H1 -- COMMON, heater2 6.3 V dcr 0.2 ohm = {}",
    )
    assemble(read(text.format("H1 -- COMMON")))
    assert any("12.6 V" in message for message in refused(text.format("COMMON -- H1")))


def test_a_transformer_on_another_transformer_is_no_ring():
    assemble(
        read(
            SUPPLY
            + "T2 transformer 20 VA : primary 6.3 V dcr 0.1 ohm = H1 -- COMMON, secondary 100 V dcr"
            " 50 ohm = X -- COMMON\nR3 resistor 10k 2 W : X -- COMMON\n"
        )
    )


def test_a_winding_shorted_by_a_wire_is_named():
    assert any(
        "T1.heater" in message and "short circuit" in message
        for message in refused(SUPPLY + "W1 wire : H1 -- COMMON\n")
    )


def test_all_that_stands_in_the_way_is_told_at_once():
    told = refused(
        SUPPLY.replace("resistor 5k", "resistor 0 ohm")
        .replace("choke 5 H", "choke 500000 H")
        .replace("47 uF 250 V 20% : B2", "250 V : B2")
    )
    for word in ("R1", "L1", "C2"):
        assert any(word in message for message in told), word
    assert all(told.values())


@pytest.mark.parametrize(
    ("old", "new", "part"),
    [
        ("5 H", "5000000 H", "L1"),
        ("47 uF 250 V 20% : B1", "3 F 250 V : B1", "C1"),
        ("resistor 5k 10 W", "resistor 5k 95% 10 W", "R1"),
        ("hv 150 V", "hv 150 kV", "hv winding of T1"),
    ],
)
def test_absurd_values_are_named(old, new, part):
    told = refused(SUPPLY.replace(old, new))
    assert any(part in message and "absurd" in message for message in told)
    assert all(told.values())


def test_a_choke_that_leads_nowhere_and_a_missing_speaker_are_looked_at():
    text = SUPPLY.replace("C2 electrolytic 47 uF 250 V 20% : B2 -- COMMON\n", "").replace(
        "B2 -- COMMON\nR2", "B1 -- COMMON\nR2"
    )
    circuit, problems = read_circuit(text + "open B2\n")
    assert circuit, problems
    assert any(
        "L1 has no path for its current" in warning and "B2" in warning
        for warning in assemble(circuit).warnings
    )
    warnings = assemble(
        read(
            SUPPLY
            + "T2 output transformer : primary load 5k dcr 300 ohm = B1 -- B2, secondary load 4 ohm"
            " dcr 0.3 ohm = S1 -- COMMON\nR7 resistor 1 ohm : S1 -- COMMON\n"
        )
    ).warnings
    assert not warnings
    circuit, _ = read_circuit(
        SUPPLY
        + "T2 output transformer : primary load 5k dcr 300 ohm = B1 -- B2, secondary load 4 ohm dcr"
        " 0.3 ohm = S1 -- S2\nopen S1, S2\n"
    )
    assert any("T2 has no speaker" in warning for warning in assemble(circuit).warnings)


def test_no_ground_reference_and_what_floats_are_noted():
    circuit = read(
        SUPPLY.replace("COMMON", "MINUS")
        + "C9 capacitor 10n : B2 -- X\nC10 capacitor 10n : X -- MINUS\n"
    )
    notes = assemble(circuit).notes
    assert any("no node is called COMMON" in note and "MINUS" in note for note in notes)
    assert any(
        "no direct current reaches X" in note and "C9" in note and "C10" in note for note in notes
    )


def test_the_line_of_an_isolated_supply_is_counted_from_its_neutral():
    chart = volts(read(SUPPLY), samples=50)
    at = {row.node: row for row in chart.nodes}
    assert at["L"].ripple == pytest.approx(117, rel=1e-3)
    assert at["N"].ripple == pytest.approx(0, abs=1e-3)


def test_supply_windings_capacitors_and_the_switch():
    """Unloaded to within a volt of the winding's peak less two diodes; ripple current and VA as the
    waves have them.
    """
    chart = volts(read(SUPPLY), samples=200)
    first = chart.supply[0]
    assert first.node == "B1"
    assert first.low < first.volts < first.high
    assert first.ripple_low < first.ripple < first.ripple_high
    assert first.unloaded_high == pytest.approx(1.1 * first.unloaded, rel=0.01)
    hv = next(row for row in chart.windings if row.winding == "hv")
    assert hv.volt_amps == pytest.approx(hv.rms_amps * hv.rms_volts)
    assert hv.rating == 0.06
    arm = chart.rectifiers[0]
    assert arm.switch_on_amps > arm.peak_amps > arm.rms_amps > arm.mean_amps
    capacitor = next(row for row in chart.capacitors if row.part == "C1")
    assert capacitor.ripple_amps == pytest.approx(
        (hv.rms_amps**2 - (first.volts / 5150) ** 2) ** 0.5, rel=0.05
    )
    assert capacitor.cold_volts >= first.unloaded_high


def test_a_winding_and_a_diode_over_their_amps_are_flagged():
    flags = volts(
        read(
            SUPPLY.replace("hv 150 V 60 mA", "hv 150 V 20 mA").replace("1 A 600 V", "10 mA 600 V")
        ),
        samples=50,
    ).flagged
    over = {(stress.part, stress.of, stress.key): stress.rating for stress in flags}
    assert over["T1", "hv", "amps"] == 0.02
    assert over["D1", "", "dc_amps"] == 0.01


def test_corners_hold_the_line_and_the_parts_that_matter_most():
    chart = volts(read(SUPPLY), samples=200)
    corner = next(row for row in chart.corners if row.of == "B1")
    row = chart.supply[0]
    assert corner.low < row.low
    assert corner.high > row.high
    assert corner.nominal == pytest.approx(row.volts)
    assert corner.parts[0] == ("the line", pytest.approx(0.1))
    assert {"ohms of T1.hv"} <= {name for name, _ in corner.parts}


def test_a_larger_tolerance_makes_a_wider_band_of_ripple():
    wide, narrow = (
        volts(read(SUPPLY.replace("20% : B1", f"{percent}% : B1")), samples=400).supply[0]
        for percent in (50, 1)
    )
    assert wide.ripple_high - wide.ripple_low > 1.5 * (narrow.ripple_high - narrow.ripple_low)


def test_a_part_without_a_rating_is_said_to_be_held_to_nothing(tmp_path, capsys):
    file = tmp_path / "one.circuit"
    file.write_text(
        HALF_WAVE.replace("UY85", "UY85 drop 20 V 200 mA").replace("5k 20 W", "5k"),
        encoding="utf-8",
    )
    assert main(["volts", str(file)]) == 0
    assert "No rating is written or known for: " in capsys.readouterr().out
    assert main(["volts", str(file), "--json"]) == 0
    load = next(part.name for part in read(HALF_WAVE).parts if part.value("power") == 20)
    assert load in json.loads(capsys.readouterr().out)["circuit"]["unrated"]


def test_a_transformer_with_volt_amperes_is_not_said_to_have_no_rating():
    text = Path("circuits/rink/supply.circuit").read_text(encoding="utf-8")
    unrated = volts(read(text), samples=1).without_rating
    assert "T1" not in {stress.part for stress in unrated}
    rated = read(text.replace(" 105 V 150 mA", " 105 V"))
    words = without_rating_words(volts(rated, samples=1).without_rating)
    assert words.startswith("amps of T1 hv")


def test_every_draw_is_counted_for_the_bar():
    counted = []
    volts(read(SUPPLY), samples=300, step=counted.append)
    assert sum(counted) == 300


def test_volts_prints_its_tables_and_its_json_says_the_same(tmp_path, capsys):
    path = tmp_path / "supply.circuit"
    path.write_text(SUPPLY)
    assert main(["volts", str(path), "--samples", "100"]) == 0
    text = capsys.readouterr().out
    for word in (
        "Supply, loaded and with the tubes cold",
        "peak at the switch",
        "Corners",
        "the line +10%",
        "ohms of T1.hv -10%",
    ):
        assert word in text
    assert main(["volts", str(path), "--samples", "100", "--json"]) == 0
    chart = json.loads(capsys.readouterr().out)["circuit"]
    assert f"{chart['supply'][0]['volts']:.0f}" in text
    assert {
        "corners",
        "warnings",
        "heaters",
        "flags",
    } <= set(chart)
    assert main(["volts", str(path), "--samples", "3"]) == 2


def test_an_empty_file_and_an_open_primary_are_told(tmp_path, capsys):
    path = tmp_path / "empty.circuit"
    path.write_text("")
    for command in ("volts", "ohms"):
        assert main([command, str(path)]) == 2
        assert "nothing was done" in capsys.readouterr().err
    path.write_text(
        SUPPLY.replace("primary 117 V dcr 15 ohm = L -- N", "primary 117 V dcr 15 ohm = L2 -- N")
        + "open L2, L\n"
    )
    assert main(["volts", str(path)]) in (0, 2)
    told = "".join(capsys.readouterr())
    assert "primary winding of T1 has no path" in told
    assert "L2" in told


def test_the_picture_is_written_once_and_never_over_another(tmp_path, capsys):
    path, picture = tmp_path / "supply.circuit", tmp_path / "supply.svg"
    path.write_text(SUPPLY)
    assert main(["volts", str(path), "--samples", "50", "--plot", str(picture)]) == 0
    assert "B1, under load" in picture.read_text()
    assert main(["volts", str(path), "--samples", "50", "--plot", str(picture)]) == 2
    assert (
        main(["volts", str(path), "--samples", "50", "--plot", str(tmp_path / "supply.txt")]) == 2
    )
    assert "--force" in capsys.readouterr().err


@settings(max_examples=12, deadline=None)
@given(
    load=st.floats(1e3, 1e5),
    farads=st.floats(5e-6, 200e-6),
    surge=st.floats(10, 300),
    drop=st.floats(5, 60),
)
def test_any_half_wave_supply_balances_and_all_its_draws_settle(load, farads, surge, drop):
    circuit = read(
        HALF_WAVE.replace("5k 20 W", f"{load:.6g} ohm")
        .replace("50 uF", f"{farads * 1e6:.6g} uF")
        .replace("150 ohm 5 W", f"{surge:.4g} ohm")
        .replace("UY85", f"UY85 drop {drop:.4g} V 200 mA")
    )
    found = bias(assemble(circuit))
    assert abs(found.steady.balance) < 1e-3
    assert found.steady.residual < 1e-8
    assert spread(found, 100).converged.all()
    assert 0 < float(found.network.volts(found.steady.mean, "B")) < 220 * 2**0.5

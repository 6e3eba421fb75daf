"""What an amplifier does with a signal, and the commands that say so."""

from functools import cache
from pathlib import Path
from statistics import mean

import pytest

from rework.cli import main
from rework.language.resolve import read_circuit
from rework.rules.job_file import run_job_file
from rework.solve.assemble import assemble
from rework.solve.bias import bias
from rework.solve.linear import linearised
from rework.solve.network import CannotSolve
from rework.solve.places import input_ends
from rework.solve.remedies import remedies
from rework.solve.signal import signal
from rework.solve.stability import growing, modes

CIRCUITS = Path(__file__).parents[2] / "circuits"
CASES = Path(__file__).parents[1] / "cases"


@cache
def pager():
    run = run_job_file(str(CIRCUITS / "pager" / "pager.job"))
    return signal(run.before), signal(run.after)


def test_the_pager_gives_about_a_watt_and_a_half_as_found():
    """Common practice, no source: about 2 W from an output tube of a series string at about 150 V;
    this one has 107 V.
    """
    before, _ = pager()
    assert 0.7 < before.full.watts < 2.2
    assert before.full.load_volts**2 / before.load_ohms == pytest.approx(before.full.watts)
    assert before.half.watts == pytest.approx(before.full.watts / 2, rel=0.05)
    assert before.half.distortion < before.full.distortion <= 0.101


def test_the_new_supply_takes_the_hum_down():
    before, after = pager()
    assert after.hum.volts < before.hum.volts / 10
    assert after.hum.line_volts < 1e-6 < after.hum.double_volts


def test_a_volume_control_takes_the_gain_away_and_back():
    before, _ = pager()
    by_stop = {
        response.position: response.at_tone
        for response in before.responses
        if response.control == "R6"
    }
    assert by_stop["ccw"] < by_stop["middle"] / 100 < by_stop["cw"] / 500
    assert by_stop["cw"] == pytest.approx(before.gain, rel=0.01)


OUTPUT = """mains {line} V 0 Hz
P1 plug : line=BPLUS, neutral=COMMON
J1 jack input : tip=G, sleeve=COMMON
R1 resistor 470k : G -- COMMON
V1 tube {type} : {pins}
R2 resistor {cathode} ohm : K -- COMMON
C1 electrolytic 10000 uF : K -- COMMON
T1 output transformer 8 W : primary load {load} dcr 1 ohm 200 H = BPLUS -- PL, secondary load 8 ohm dcr 0.01 ohm = SP -- COMMON
SP1 speaker 8 ohm : 1=SP, 2=COMMON
"""


def output_watts(**values) -> float:
    circuit, problems = read_circuit(OUTPUT.format(**values))
    assert circuit, problems
    return signal(circuit).full.watts


def test_facts_of_the_trade_for_two_output_tubes():
    """Common practice, no source: a string's output tube at about 150 V some 2 W, a 6.3 V beam
    tetrode at about 260 V some 4.5 W.
    """
    small = output_watts(
        line=120,
        type="50C5",
        pins="1=K, 2=G, 3=COMMON, 4=COMMON, 5=G, 6=BPLUS, 7=PL",
        cathode=140,
        load="2.5k",
    )
    large = output_watts(
        line=265,
        type="6AQ5",
        pins="1=G, 2=K, 3=COMMON, 4=COMMON, 5=PL, 6=BPLUS, 7=G",
        cathode=270,
        load="5k",
    )
    assert small == pytest.approx(2.0, rel=0.1)
    assert large == pytest.approx(4.5, rel=0.1)


def three_stages(shared: str) -> str:
    stages = "".join(
        f"""V{n} tube 12AX7 : triode1.plate=PL{n}, triode1.grid=G{n}, triode1.cathode=K{n}, triode2.plate=COMMON, triode2.grid=COMMON, triode2.cathode=COMMON, 4=COMMON, 5=COMMON, unused 9
R{n}1 resistor 100k : B -- PL{n}
R{n}2 resistor 1.5k : K{n} -- COMMON
R{n}3 resistor 1M : G{n} -- COMMON
C{n}1 electrolytic 25 uF : K{n} -- COMMON
"""
        for n in (1, 2, 3)
    )
    return f"""mains 300 V 0 Hz
P1 plug : line=LINE, neutral=COMMON
R1 resistor {shared} : LINE -- B
C1 electrolytic 1 uF : B -- COMMON
C2 capacitor .1 uF : PL1 -- G2
C3 capacitor .1 uF : PL2 -- G3
{stages}"""


def test_three_stages_on_one_poor_supply_motorboat_and_a_decoupling_section_tames_them():
    circuit, problems = read_circuit(three_stages("4.7k"))
    assert circuit, problems
    found = bias(assemble(circuit))
    linear = linearised(found)
    grows = growing(modes(linear))
    assert grows
    assert 0 < grows[0].hertz < 50
    best = next(one for one, _ in remedies(found) if one.kind == "decouple")
    text = three_stages("4.7k")
    line = next(row for row in text.splitlines() if row.startswith(f"{best.part} "))
    fixed = (
        text.replace(line, line.replace("B --", "BD --"))
        + f"RD resistor {best.ohms:.0f} ohm : {best.node} -- BD\nCD electrolytic"
        f" {best.farads * 1e6:.0f} uF : BD -- COMMON\n"
    )
    mended, problems = read_circuit(fixed)
    assert mended, problems
    assert not growing(modes(linearised(bias(assemble(mended)))))


def test_a_stiff_supply_keeps_three_stages_quiet():
    circuit, _ = read_circuit(three_stages("1 ohm"))
    assert not growing(modes(linearised(bias(assemble(circuit)))))


def test_an_amplifier_without_a_speaker_says_so():
    circuit, _ = read_circuit(
        "mains 10 V 0 Hz\nP1 plug : line=A, neutral=B\nR1 resistor 1k : A -- B\nJ1 jack input :"
        " tip=A, sleeve=B\n"
    )
    with pytest.raises(CannotSolve, match="no speaker"):
        signal(circuit)


@pytest.mark.parametrize(
    "arguments",
    [
        ["volts", "JOB", "--samples", "100"],
        ["ohms", "JOB"],
        ["signal", "CIRCUIT"],
        ["fit-tube", "50C5"],
    ],
    ids=lambda a: a[0],
)
def test_the_commands_print_text(arguments, capsys):
    """Their JSON is held to its schemas in tests/commands."""
    pair = {
        "JOB": str(CIRCUITS / "pager" / "pager.job"),
        "CIRCUIT": str(CIRCUITS / "pager" / "pager.circuit"),
    }
    given = [pair.get(word, word) for word in arguments]
    assert main(given) == 0
    assert len(capsys.readouterr().out.splitlines()) > 10


def test_a_circuit_without_numbers_exits_2_naming_the_part(tmp_path, capsys):
    file = tmp_path / "bare.circuit"
    file.write_text(
        "mains 117 V 60 Hz\nP1 plug two-blade : line=L1, neutral=N1\nR1 resistor : L1 -- N1\n"
    )
    assert main(["volts", str(file)]) == 2
    assert "R1" in capsys.readouterr().err


def test_plots_are_written(tmp_path):
    out = tmp_path / "curves.svg"
    assert main(["fit-tube", "6AQ5", "--plot", str(out)]) == 0
    assert out.stat().st_size > 5000


def test_the_signal_is_told_at_every_grid_and_plate_and_grows_from_stage_to_stage():
    _, found = pager()
    at = {(one.part, one.element): one.gain for one in found.levels}
    assert at["V1", "grid"] <= 1 < at["V1", "plate"] < at["V2", "plate"] < at["V3", "plate"]
    assert at["V2", "grid"] <= at["V1", "plate"] * 1.001
    assert at["V3", "grid"] <= at["V2", "plate"] * 1.001
    assert not any(part.startswith("SUPPLY") for part, _ in at)


def test_harmonics_sweep_and_load_line_agree_with_the_sine_they_are_of():
    _, found = pager()
    assert found.full.distortion == pytest.approx(
        sum(share**2 for share in found.full.harmonics) ** 0.5, rel=2e-3
    )
    watts = [one.watts for one in found.sweep]
    assert watts == sorted(watts)
    at = next(
        one for one in found.sweep if one.input_volts == pytest.approx(found.full.input_volts)
    )
    assert at.watts == pytest.approx(found.full.watts, rel=1e-3)
    orbit = found.orbit
    assert orbit.part == "V3"
    assert min(orbit.plate_volts) < orbit.rest_volts < max(orbit.plate_volts)
    assert orbit.grid_swing[0] < orbit.grid_volts < orbit.grid_swing[1]
    given = -sum(
        (volts - mean(orbit.plate_volts)) * (amps - mean(orbit.plate_amps))
        for volts, amps in zip(orbit.plate_volts, orbit.plate_amps, strict=True)
    ) / len(orbit.plate_amps)
    at_load = (
        given * 5000 / (5000 + 330)
    )  # the cathode resistor, without a capacitor, has its share
    assert 0.85 * at_load < found.full.watts < at_load  # the output transformer keeps the rest


def test_the_top_of_the_response_is_found_and_said_to_hang_on_capacitances_from_memory():
    before, after = pager()
    for one in (before, after):
        assert 3e3 < one.responses[0].high < 40e3
        assert any("V1, V2, V3: from memory" in note for note in one.notes)


def test_heater_leakage_is_not_guessed_but_told_what_it_would_do():
    before, _ = pager()
    assert before.hum.leak_part == "V1"
    assert (
        before.hum.leak_ohms * 1e-6 > before.hum.volts
    )  # a microamp in the first cathode would be the worst hum of all


def test_the_plot_is_a_picture_and_the_same_bytes_twice(tmp_path):
    job = str(CASES / "two-tube-bench-set.circuit")
    one, other = tmp_path / "one.svg", tmp_path / "other.svg"
    assert (
        main(["signal", job, "--plot", str(one)])
        == 0
        == main(["signal", job, "--plot", str(other)])
    )
    text = one.read_text(encoding="utf-8")
    assert text == other.read_text(encoding="utf-8")
    for words in ("Response", "load line", "Distortion at 1 kHz", "Hum at the load"):
        assert words in text
    assert main(["signal", job, "--plot", str(one)]) == 2


def test_a_control_that_does_nothing_is_told_in_one_line(capsys):
    assert main(["signal", str(CIRCUITS / "hostel" / "hostel.job")]) == 0
    assert "SUPPLY/R2  any: it does not change the response" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("gone", "words"),
    [
        ("F1", "cold, without heater volts: V1, V2, V3"),
        ("R11", "V3 draws no plate current"),
        ("R2", "V1 draws no plate current"),
        ("C7", "strongest at V2 pin 7 (plate, node PL2): look behind that"),
        ("C4", "strongest at V1 pin 5 (plate, node PL1)"),
    ],
)
def test_a_silent_amplifier_is_told_where_to_look(gone, words):
    circuit = run_job_file(str(CIRCUITS / "pager" / "pager.job")).before
    silent = circuit.with_parts(tuple(part for part in circuit.parts if part.name != gone))
    with pytest.raises(CannotSolve) as told:
        signal(silent)
    assert words in " ".join(f"{problem.message} {problem.hint}" for problem in told.value.problems)


def test_of_two_inputs_the_signal_goes_in_at_the_one_that_is_switched_in():
    text = """
        open PL1, HEAT1, HEAT2
        J1 jack mic : tip=MIC, sleeve=COMMON
        J2 jack phono : tip=RECORD, sleeve=COMMON
        S1 switch SPDT in {} : IN -- MIC -- RECORD
        R1 resistor 1M : MIC -- COMMON
        R2 resistor 1M : RECORD -- COMMON
        C1 capacitor 10n : IN -- G1
        R3 resistor 10M : G1 -- COMMON
        V1 tube 6AV6 : 1=G1, 2=COMMON, 3=HEAT1, 4=HEAT2, 5=COMMON, 6=COMMON, 7=PL1
    """
    for position, node in (("throw1", "MIC"), ("throw2", "RECORD")):
        circuit, problems = read_circuit(text.format(position))
        assert circuit is not None, problems
        assert input_ends(circuit) == (node, "COMMON")

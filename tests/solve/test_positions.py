"""Where controls and switches stand: as the file says, as asked, else in the middle and on."""

from pathlib import Path

import pytest

from rework.cli import main
from rework.language.resolve import read_circuit
from rework.solve.chart import volts
from rework.solve.function import performance
from rework.solve.network import CannotSolve
from rework.solve.positions import positioned, positions
from rework.solve.signal import signal
from rework.solve.signal_words import signal_tables
from rework.solve.stamps import wiper

PAGER = Path(__file__).parents[2] / "circuits" / "pager" / "pager.circuit"

DIVIDER = """mains 100 V 0 Hz
P1 plug two-blade : line=L, neutral=COMMON
S1 switch : L -- A
R1 pot 10k {taper} 5 W{at} : ccw=COMMON, wiper=W, cw=A
open W
"""


def divider(taper: str = "linear", at: str = ""):
    circuit, problems = read_circuit(DIVIDER.format(taper=taper, at=at))
    assert circuit, problems
    return circuit


def at_wiper(circuit) -> float:
    return next(row.volts for row in volts(circuit, samples=20).nodes if row.node == "W")


@pytest.mark.parametrize(
    ("taper", "turn", "share"),
    [
        ("linear", 0.3, 0.3),
        ("linear", None, 0.5),
        ("audio", 0.5, 0.1),
        ("audio", 0.25, 0.05),
        ("audio", 0.75, 0.55),
        ("audio", 1.0, 1.0),
        ("reverse-audio", 0.5, 0.9),
        ("reverse-audio", 0.0, 0.0),
    ],
)
def test_a_taper_bends_in_the_middle(taper, turn, share):
    assert wiper(divider(taper).by_name["R1"], turn) == pytest.approx(share)


@pytest.mark.parametrize(
    ("tap", "at", "volts_at_tap", "volts_at_wiper"),
    [  # 2.5k of a track of 10k, and 2.5k beside it: 1.25k of 8.75k
        ("tap 2.5k", "50%", 100 * 1.25 / 8.75, 100 * 3.75 / 8.75),
        ("tap 25%", "10%", 100 * 1.25 / 8.75, 40 * 1.25 / 8.75),
        ("", "100%", 100 * (5 / 3) / (20 / 3), 100),  # not stated: the middle, 5k
    ],
)
def test_a_tapped_track_divides_at_its_tap_and_at_its_wiper(tap, at, volts_at_tap, volts_at_wiper):
    text = DIVIDER.format(taper="linear", at=f" {tap} at {at}")
    text = text.replace("cw=A\n", "cw=A, tap=T\nR2 resistor 2.5k : T -- COMMON\n")
    circuit, problems = read_circuit(text)
    assert circuit, problems
    chart = volts(circuit, samples=20)
    read = {row.node: row.volts for row in chart.nodes}
    assert read["T"] == pytest.approx(volts_at_tap, rel=2e-3)
    assert read["W"] == pytest.approx(volts_at_wiper, rel=2e-3)
    assert any("tap of R1" in note for note in chart.notes) == (not tap)


def test_the_position_of_the_file_is_solved_and_said():
    circuit = divider(at=" at 30%")
    assert at_wiper(circuit) == pytest.approx(30, abs=0.1)
    assert [(p.part, p.at, p.stated) for p in positions(circuit)] == [
        ("S1", "ON", False),
        ("R1", "30%", True),
    ]


def test_asking_for_a_position_wins():
    assert at_wiper(positioned(divider(at=" at 30%"), {"R1": "cw"})) == pytest.approx(100, abs=0.1)
    assert at_wiper(positioned(divider(), {"S1": "OFF"})) == pytest.approx(0, abs=1e-3)


def test_every_wrong_position_is_told_at_once():
    with pytest.raises(CannotSolve) as caught:
        positioned(divider(), {"R1": "up", "S1": "half", "R9": "cw"})
    words = [problem.message + problem.hint + problem.expected for problem in caught.value.problems]
    assert len(words) == 3
    assert any("R9" in word and "R1" in word for word in words)


def test_volts_states_the_positions(tmp_path, capsys):
    path = tmp_path / "divider.circuit"
    path.write_text(DIVIDER.format(taper="linear", at=""))
    assert main(["volts", str(path), "--at", "R1=30%"]) == 0
    said = capsys.readouterr().out
    assert "S1 ON (assumed)" in said
    assert "R1 30%" in said
    assert main(["volts", str(path), "--at", "R1"]) == 2
    assert main(["volts", str(path), "--at", "R1=up"]) == 2


def test_signal_holds_a_control_where_it_is_asked():
    """The middle of the volume control is a row of the plain response; held there, everything else
    is told of that position, and the control that was not asked for is where it is loudest.
    """
    circuit, problems = read_circuit(PAGER.read_text())
    assert circuit, problems
    plain = signal(circuit)
    held = signal(positioned(circuit, {"R6": "50%"}), held=("R6",))
    middle = next(
        row.at_tone for row in plain.responses if (row.control, row.position) == ("R6", "middle")
    )
    assert held.gain == pytest.approx(middle, rel=1e-3)
    assert held.full.input_volts > 5 * plain.full.input_volts
    assert [(one.part, one.at) for one in held.held] == [("R6", "middle")]
    # What the file states is where it stands for the summary, too.
    assert performance(positioned(circuit, {"R6": "50%"})).gain == pytest.approx(middle, rel=1e-3)
    assert "As stated: R6 middle. Every other control is where it is loudest." in [
        table.lead for table in signal_tables(held)
    ]
    assert "Every control is where it is loudest." in [table.lead for table in signal_tables(plain)]


def test_signal_takes_the_positions_that_volts_takes(capsys):
    assert main(["signal", str(PAGER), "--at", "R6=ccw"]) == 2
    assert "with R6 at ccw the gain is 0.13 at 1 kHz" in capsys.readouterr().err
    assert main(["signal", str(PAGER), "--at", "R99=cw", "--at", "R6=up"]) == 2
    refused = capsys.readouterr().err
    assert "no control or switch R99" in refused
    assert "R6 has no position up" in refused

"""What is taken where a file does not say: near what was measured, listed, and less than anything
written.
"""

import pytest

from rework.anatomy import defaults
from rework.language.resolve import read_circuit
from rework.solve.assemble import assemble

BENCH = """mains 117 V 60 Hz
P1 plug two-blade : line=L, neutral=N
T1 transformer 30 VA : primary 117 V dcr 15 ohm = L -- N, hv 150 V 60 mA dcr 100 ohm = A -- COMMON
D1 diode 1 A 600 V : anode=A, cathode=B1
C1 electrolytic 47 uF 250 V : B1 -- COMMON
R1 resistor 5k 10 W : B2 -- COMMON
"""


def network(line: str):
    circuit, problems = read_circuit(BENCH + line)
    assert circuit, problems
    return assemble(circuit)


def coil(net, row: str):
    return next(coil for coil in net.coils if coil.row == row)


@pytest.mark.parametrize(
    ("load", "printed"),
    [(3000, 197), (7000, 275.7), (8000, 374), (8000, 360), (5000, 178), (3500, 207)],
    ids=["Silk S325", "Noguchi PMF-5WS", "Toei OPT-10P", "Toei OPT-20P", "Kasuga 5 k tap", "U-808"],
)
def test_the_primary_of_an_output_transformer_is_near_the_measured_ones(load, printed):
    assert 1 / 1.6 < defaults.output_ohms(load, primary=True) / printed < 1.6


def test_a_primary_for_2500_ohm_has_some_two_hundred():
    assert defaults.output_ohms(2500, primary=True) == pytest.approx(195, abs=10)


def test_a_small_mains_transformer_has_some_hundreds_of_ohms():
    assert 300 < defaults.winding_ohms(117, None, 2.5, primary=True) < 1200


def test_a_choke_of_5_henries_and_110_milliamps_is_near_the_seen_150_ohm():
    assert defaults.choke_ohms(5, 0.110) == pytest.approx(129, abs=2)
    assert defaults.choke_henries(129, 0.110, field=False) == pytest.approx(5, rel=0.02)


def test_a_choke_without_values_solves_and_is_listed():
    net = network("L1 choke : B1 -- B2\n")
    assert any(note.startswith("L1:") and "8 H" in note for note in net.notes)
    assert coil(net, "L1").tolerance == defaults.SPREAD


def test_what_is_written_wins():
    net = network("L1 choke 5 H 80 mA 150 ohm : B1 -- B2\n")
    assert not any(note.startswith("L1") for note in net.notes)
    assert (coil(net, "L1").ohms, coil(net, "L1").henries) == (150, 5)


def test_a_motor_in_series_has_its_volts_at_its_amps():
    ohms, henries = defaults.motor(92, 0.3, None, None, 60)
    size = abs(complex(ohms, 2 * 3.14159265 * 60 * henries))
    assert size == pytest.approx(92 / 0.3, rel=1e-6)
    assert ohms / size == pytest.approx(defaults.POWER_FACTOR)


def test_a_motor_takes_its_watts_on_its_line():
    ohms, henries = defaults.motor(220, None, 12, None, 50)
    amps = 220 / abs(complex(ohms, 2 * 3.14159265 * 50 * henries))
    assert amps**2 * ohms == pytest.approx(12, rel=1e-6)


HEATERS = """mains {line} V 60 Hz
P1 plug two-blade : line=L, neutral=N
{transformer}
R1 resistor {ohms} ohm 5 W : H -- {back}
"""


@pytest.mark.parametrize(
    ("line", "transformer", "ohms", "back", "volts"),
    [  # marked at the amps it is for; with more than that it drops, and a larger one is as before
        (
            117,
            "T1 transformer : primary 117 V = L -- N, secondary 6.3 V 0.3 A = H -- K",
            21,
            "K",
            6.3,
        ),
        (
            117,
            "T1 transformer 40 VA : primary 117 V = L -- N, secondary 6.3 V 3 A = H -- K",
            2.1,
            "K",
            5.7,
        ),
        # a heater on the tap of an autotransformer, whose wire there is thick enough for it
        (220, "T1 autotransformer 60 VA : winding 220 V tap 6.3 V = N -- H -- L", 4.7, "N", 6.1),
    ],
)
def test_a_heater_has_its_volts_on_a_transformer_that_states_no_ohms(
    line, transformer, ohms, back, volts
):
    from rework.solve.chart import volts as chart_of

    text = HEATERS.format(line=line, transformer=transformer, ohms=ohms, back=back)
    circuit, problems = read_circuit(text)
    assert circuit, problems
    (row,) = (row for row in chart_of(circuit, samples=10).resistors if row.part == "R1")
    assert (row.watts * ohms) ** 0.5 == pytest.approx(volts, abs=0.25)


def test_a_coil_or_motor_with_one_lead_off_carries_nothing():
    net = network("L1 choke 5 H 100 ohm : B1 -- B2\nL2 choke 5 H : 1=B2, unused 2\n")
    assert {coil.row for coil in net.coils if coil.row.startswith("L")} == {"L1"}

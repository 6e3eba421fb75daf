"""Oscillation: what the eigenvalues say is what time shows, and what is said to tame it does."""

import json
import re
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from rework.cli import main
from rework.language.resolve import read_circuit
from rework.solve.assemble import assemble
from rework.solve.bias import bias
from rework.solve.linear import linearised
from rework.solve.oscillation import swing
from rework.solve.remedies import E3, E12, remedies
from rework.solve.signal import signal
from rework.solve.signal_words import stability_rows
from rework.solve.stability import growing, modes
from rework.solve.strays import with_strays


def three_stages(shared: str, more: str = "", fed: str = "B") -> str:
    stages = "".join(
        f"""V{n} tube 12AX7 : triode1.plate=PL{n}, triode1.grid=G{n}, triode1.cathode=K{n}, triode2.plate=COMMON, triode2.grid=COMMON, triode2.cathode=COMMON, 4=COMMON, 5=COMMON, unused 9
R{n}1 resistor 100k : {fed if n == 1 else "B"} -- PL{n}
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
{stages}{more}"""


def solved(text: str):
    circuit, problems = read_circuit(text)
    assert circuit, problems
    found = bias(assemble(circuit))
    return replace(found, network=with_strays(found.network, circuit))


def released(found, seconds: float):
    """Let a circuit go from its operating point with a millivolt on the first grid; Radau on C x' =
    s - G x - B' i(B x).
    """
    network = found.network
    storage = network.c.copy()
    for at, name in enumerate(network.names):
        storage[at, at] += -1e-9 if name in network.rows else 1e-12
    inverse = np.linalg.inv(storage)

    def slope(_, x):
        out, _ = network.device_currents(x, laws=found.laws)
        return inverse @ (found.source - network.g @ x - network.reads.T @ out)

    def jacobian(_, x):
        _, slopes = network.device_currents(x, laws=found.laws)
        return -inverse @ (network.g + network.reads.T @ slopes @ network.reads)

    start = found.point.copy()
    start[network.node_of["G1"]] += 1e-3
    at = np.linspace(0, seconds, 4000)
    run = solve_ivp(
        slope, (0, seconds), start, method="Radau", jac=jacobian, rtol=1e-3, atol=1e-4, t_eval=at
    )
    assert run.success
    return at, run.y[network.node_of["PL3"]] - found.point[network.node_of["PL3"]]


MARGINAL, FREE = "82 ohm", "470 ohm"


@pytest.mark.parametrize("shared", [MARGINAL, FREE])
def test_what_it_swings_into_is_what_radau_shows(shared):
    found = solved(three_stages(shared))
    mode = growing(modes(linearised(found)))[0]
    told = swing(found, mode.node, mode.rate)
    at, volts = released(found, 7 / told.hertz)
    late = at > 3.5 / told.hertz
    level = (volts[late].max() + volts[late].min()) / 2
    crossings = at[1:][(volts[1:] > level) & (volts[:-1] <= level)]
    assert told.hertz == pytest.approx(1 / np.diff(crossings)[-1], rel=0.03)
    assert told.volts == pytest.approx(np.ptp(volts[late]), rel=0.03)


def test_a_motion_that_just_grows_swings_at_the_frequency_of_its_root():
    found = solved(three_stages(MARGINAL))
    mode = growing(modes(linearised(found)))[0]
    assert swing(found, mode.node, mode.rate).hertz == pytest.approx(mode.hertz, rel=0.2)


@pytest.mark.parametrize("shared", [FREE])
def test_the_decoupling_it_names_quiets_a_motorboating_amplifier(shared):
    found = solved(three_stages(shared))
    assert growing(modes(linearised(found)))
    best = next(one for one, _ in remedies(found) if one.kind == "decouple" and one.part == "R11")
    assert best.node == "B"
    mended = solved(
        three_stages(
            shared,
            f"RD resistor {best.ohms:.0f} ohm : B -- BD\nCD electrolytic {best.farads * 1e6:g} uF :"
            " BD -- COMMON\n",
            "BD",
        )
    )
    left = modes(linearised(mended))
    assert not growing(left)
    assert min(mode.damping for mode in left if mode.hertz < 20e3) == pytest.approx(
        best.damping, rel=0.02
    )
    at, volts = released(mended, 3.0)
    assert np.abs(volts[at > 2.0]).max() < 1e-3 < np.abs(volts[at < 0.2]).max()


def test_what_is_named_are_preferred_values():
    for one, _ in remedies(solved(three_stages("4.7k"))):
        for value, series in ((one.ohms, E12), (one.farads, E3)):
            if value is not None:
                decade = 10 ** np.floor(np.log10(value * 1.0001))
                assert min(abs(value / decade - step) for step in series) < 0.01, one


def test_a_larger_filter_capacitor_is_offered_where_it_serves():
    offered = [
        one for one, _ in remedies(solved(three_stages(MARGINAL))) if one.kind == "capacitor"
    ]
    assert offered
    assert offered[0].part == "C1"
    assert offered[0].farads > 1e-6


FEEDBACK = """mains 265 V 0 Hz
P1 plug : line=BPLUS, neutral=COMMON
J1 jack input : tip=IN, sleeve=COMMON
R1 resistor 470k : IN -- COMMON
V1 tube 12AX7 : triode1.plate=PL1, triode1.grid=IN, triode1.cathode=K1, triode2.plate=COMMON, triode2.grid=COMMON, triode2.cathode=COMMON, 4=COMMON, 5=COMMON, unused 9
R2 resistor 220k : BPLUS -- PL1
R3 resistor 1.5k : K1 -- COMMON
R4 resistor {feedback} : SP -- K1
C1 capacitor .1 uF : PL1 -- G2
R5 resistor 470k : G2 -- COMMON
V2 tube 6AQ5 : 1=G2, 2=K2, 3=COMMON, 4=COMMON, 5=PL2, 6=BPLUS, 7=G2
R6 resistor 270 ohm : K2 -- COMMON
C2 electrolytic 50 uF : K2 -- COMMON
T1 output transformer 8 W : primary load 5k dcr 250 ohm = BPLUS -- PL2, secondary load 8 ohm dcr 0.5 ohm = {leads}
SP1 speaker 8 ohm : 1=SP, 2=COMMON
"""


def test_feedback_of_the_wrong_sign_is_told_by_the_leads_to_exchange():
    right, wrong = (
        solved(FEEDBACK.format(feedback="4.7k", leads=leads))
        for leads in ("SP -- COMMON", "COMMON -- SP")
    )
    if growing(modes(linearised(right))):
        right, wrong = wrong, right
    assert not growing(modes(linearised(right)))
    grows = growing(modes(linearised(wrong)))
    assert grows
    assert (remedies(wrong)[0][0].kind, remedies(wrong)[0][0].part) == ("leads", "T1")


PHONO = """circuit "Three stages and no decoupling"
mains 117 V 60 Hz
P1 plug two-blade : line=L1, neutral=N1
T1 transformer 40 VA : primary 117 V dcr 12 ohm = L1 -- N1, hv 500 V 60 mA dcr 500 ohm = HV1 -- COMMON -- HV2, heater 6.3 V 2 A dcr .1 ohm = H1 -- COMMON
V4 tube 6X4 : plate1=HV1, plate2=HV2, cathode=BP, 3=H1, 4=COMMON, unused 2
C9 electrolytic 8 uF 450 V : BP -- COMMON
R9 resistor 2.2k 5 W : BP -- B1
C8 electrolytic 2 uF 450 V : B1 -- COMMON
J1 jack input : tip=IN, sleeve=COMMON
R1 resistor 1M : IN -- COMMON
V1 tube 12AX7 : triode1.plate=PL1, triode1.grid=IN, triode1.cathode=K1, triode2.plate=PL2, triode2.grid=G2, triode2.cathode=K2, 9=H1, 4=COMMON, 5=COMMON
R2 resistor 220k : B1 -- PL1
R3 resistor 2.2k : K1 -- COMMON
C1 electrolytic 25 uF 25 V : K1 -- COMMON
C2 capacitor .1 uF : PL1 -- VOL
R4 pot 500k audio : ccw=COMMON, wiper=G2, cw=VOL
R5 resistor 220k : B1 -- PL2
R6 resistor 2.2k : K2 -- COMMON
C3 electrolytic 25 uF 25 V : K2 -- COMMON
C4 capacitor .1 uF : PL2 -- G3
R7 resistor 470k : G3 -- COMMON
V3 tube 6AQ5 : 1=G3, 2=K3, 3=H1, 4=COMMON, 5=PL3, 6=B1, 7=G3
R8 resistor 330 ohm 2 W : K3 -- COMMON
C5 electrolytic 25 uF 25 V : K3 -- COMMON
T2 output transformer 5 W : primary load 5k dcr 300 ohm 10 H leakage 60 mH = B1 -- PL3, secondary load 4 ohm dcr .3 ohm = SP -- COMMON
SP1 speaker 4 ohm 5 W : 1=SP, 2=COMMON
"""


def test_a_set_that_motorboats_is_told_what_to_fit_and_sounds_as_told_once_it_is_in():
    told = signal(read_circuit(PHONO)[0])
    assert 1 < told.swing.hertz < 20
    assert told.swing.volts > 50
    first = told.remedies[0]
    assert first.kind == "decouple"
    line = next(row for row in PHONO.splitlines() if row.startswith(f"{first.part} "))
    mended = signal(
        read_circuit(
            PHONO.replace(line, line.replace(f"{first.node} --", "BD --"))
            + f"RD resistor {first.ohms:.0f} ohm : {first.node} -- BD\n"
            f"CD electrolytic {first.farads * 1e6:g} uF : BD -- COMMON\n"
        )[0]
    )
    assert not mended.grows
    assert mended.least_damped.hertz < 20e3
    assert mended.gain == pytest.approx(told.gain, rel=1e-3)
    assert mended.full.watts == pytest.approx(told.full.watts, rel=1e-2)
    assert mended.hum.volts == pytest.approx(told.hum.volts, rel=2e-2)
    rows = stability_rows(told)
    assert any("motorboating at " in text for row in rows for text in row)


def test_an_oscillation_at_one_stop_of_a_control_is_told(tmp_path, capsys):
    """Feedback of the wrong sign through a control: quiet and loudest with the control all in,
    oscillating with it out.
    """
    path = tmp_path / "stop.circuit"
    path.write_text(
        FEEDBACK.format(feedback="4.7k", leads="SP -- COMMON").replace(
            "R4 resistor 4.7k : SP -- K1", "R4 pot 1M linear : ccw=SP, wiper=K1, cw=K1"
        ),
        encoding="utf-8",
    )
    assert main(["signal", str(path), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)["circuit"]
    stops = {one["position"]: one["grows"] for one in told["responses"] if one["control"] == "R4"}
    assert not told["grows"]
    assert not stops["cw"]
    assert stops["ccw"]["growth"] > 0
    assert main(["signal", str(path)]) == 0
    text = capsys.readouterr().out
    assert re.search(r"R4 at ccw +it oscillates", text)
    assert "stable with the controls where they are loudest" in " ".join(text.split())

"""Whole stages against what was printed of them: currents, distortion, standard relations.

A book's own law shows the solver alone.
"""

import statistics
from dataclasses import dataclass, replace

import numpy as np
import pytest

from rework.language.resolve import read_circuit
from rework.solve.assemble import assemble
from rework.solve.bias import bias
from rework.solve.fit import fit
from rework.solve.linear import linearised
from rework.solve.network import Branch
from rework.solve.power import GENERATOR, Driver
from rework.tubes import library
from rework.tubes.figure import Figure
from rework.tubes.tubetype import PrintedRow

TRIODE = """mains {supply} V 0 Hz
P1 plug : line=BPLUS, neutral=COMMON
V1 tube {type} : {pins}
R1 resistor {plate} ohm : BPLUS -- PL
R2 resistor {cathode} ohm : K -- COMMON
{more}
R4 resistor 1M : G -- COMMON
"""
TWIN = (
    "triode1.plate=PL, triode1.grid=G, triode1.cathode=K, triode2.plate=COMMON,"
    " triode2.grid=COMMON, triode2.cathode=COMMON, 4=COMMON, 5=COMMON, unused 9"
)


def solved(text: str, **overrides):
    circuit, problems = read_circuit(text)
    assert circuit, problems
    return bias(assemble(circuit, overrides=overrides))


def amps(found, row: int = 0) -> float:
    return float(found.network.device_currents(found.point, laws=found.laws)[0][row])


@dataclass(frozen=True)
class Koren:
    """Koren's triode, Glass Audio 8(5), 1996: I = 2 E^x/kg1, E = (Vp/kp) ln(1 + exp(kp (1/mu +
    Vg/sqrt(kvb + Vp^2)))).
    """

    mu: float = 100.0
    exponent: float = 1.4
    kg1: float = 1060.0
    kp: float = 600.0
    kvb: float = 300.0
    controls = 2

    def _amps(self, vp, vg):
        vp = np.maximum(vp, 1e-3)
        return (
            2
            * (
                vp
                / self.kp
                * np.logaddexp(0, self.kp * (1 / self.mu + vg / np.sqrt(self.kvb + vp * vp)))
            )
            ** self.exponent
            / self.kg1
        )

    def currents(self, volts, scale=1.0):
        vp, vg = volts[..., 0], volts[..., 1]
        slopes = np.zeros((*volts.shape, 2))
        slopes[..., 0, 0] = (self._amps(vp + 1e-3, vg) - self._amps(vp - 1e-3, vg)) / 2e-3
        slopes[..., 0, 1] = (self._amps(vp, vg + 1e-5) - self._amps(vp, vg - 1e-5)) / 2e-5
        return np.stack([self._amps(vp, vg), 0 * vg], -1), slopes


def test_steck_p_176_koren_stage():
    """D.

    A. Steck, Analog and Digital Electronics, ch. 6, p. 176: 1.07 mA, 221 V, -1.61 V, gm 1.88 mS
    printed; 330 V, 100k and 1.5k stand on an earlier page that was not seen and are inferred. His
    gains take mu/gm for rp; the law itself gives -61.728 (recomputed).
    """
    found = solved(
        TRIODE.format(
            supply=330,
            type="12AX7",
            pins=TWIN,
            plate=100000,
            cathode=1500,
            more="C1 electrolytic 100000 uF : K -- COMMON",
        ),
        V1=Koren(),
    )
    at = {name: float(found.network.volts(found.point, name)) for name in ("PL", "K")}
    assert amps(found) == pytest.approx(1.0741906e-3, rel=1e-5) == pytest.approx(1.07e-3, rel=0.01)
    assert at["PL"] - at["K"] == pytest.approx(220.96966, rel=1e-5) == pytest.approx(221, rel=0.01)
    assert -at["K"] == pytest.approx(-1.6112858, rel=1e-5) == pytest.approx(-1.61, rel=0.01)
    linear = linearised(found)
    into = linear.column("G", "COMMON")
    gain = (
        linear.transfer(into, linear.column("PL", "COMMON"), (1000.0,))[0]
        / linear.transfer(into, into, (1000.0,))[0]
    )
    assert gain.real == pytest.approx(-61.728, rel=1e-4)


@dataclass(frozen=True)
class Straight:
    """Straight curves of one mu and one plate resistance."""

    mu: float
    rp: float
    controls = 2

    def currents(self, volts, scale=1.0):
        slopes = np.zeros((*volts.shape, 2))
        slopes[..., 0, 0], slopes[..., 0, 1] = 1 / self.rp, self.mu / self.rp
        return (
            np.stack([(volts[..., 0] + self.mu * volts[..., 1]) / self.rp, 0 * volts[..., 0]], -1),
            slopes,
        )


def test_cathode_follower_by_the_standard_relation():
    """Gain mu Rk/(rp + (mu + 1) Rk) = 0.905700586 and output rp/(mu + 1) beside Rk = 410.229 ohm
    for mu 17, rp 7700, Rk 10k.
    """
    linear = linearised(
        solved(
            "mains 250 V 0 Hz\nP1 plug : line=BPLUS, neutral=COMMON\nV1 tube 6C4 : 1=BPLUS,"
            " 3=COMMON, 4=COMMON, 6=G, 7=K, unused 2 5\nR1 resistor 10k : K -- COMMON\nR2 resistor"
            " 1 ohm : G -- COMMON\n",
            V1=Straight(17, 7700),
        )
    )
    into, out = linear.column("G", "COMMON"), linear.column("K", "COMMON")
    assert abs(
        linear.transfer(into, out, (1000.0,))[0] / linear.transfer(into, into, (1000.0,))[0]
    ) == pytest.approx(0.905700586, rel=1e-5)
    assert abs(linear.transfer(out, out, (1000.0,))[0]) == pytest.approx(410.229, rel=1e-4)


@pytest.mark.parametrize(
    ("bypass", "expected"),
    [(True, 0.384615385), (False, 0.681528662)],
    ids=["bypassed", "unbypassed"],
)
def test_ripple_of_the_supply_at_the_plate_by_the_standard_relation(bypass, expected):
    """(rp + (mu + 1) Rk)/(rp + (mu + 1) Rk + Rp), Rk 0 where bypassed: mu 100, rp 62.5k, Rp 100k,
    Rk 1.5k.
    """
    text = (
        "mains 250 V 0 Hz\nP1 plug : line=LINE, neutral=COMMON\nR9 resistor 1 ohm : LINE --"
        " BPLUS\nV1 tube 6C4 : 1=PL, 3=COMMON, 4=COMMON, 6=COMMON, 7=K, unused 2 5\nR1 resistor"
        " 100k : BPLUS -- PL\nR2 resistor 1.5k : K -- COMMON\n"
        + ("C1 electrolytic 100000 uF : K -- COMMON\n" if bypass else "")
    )
    linear = linearised(solved(text, V1=Straight(100, 62500)))
    into = linear.column("BPLUS", "COMMON")
    ratio = (
        linear.transfer(into, linear.column("PL", "COMMON"), (120.0,))[0]
        / linear.transfer(into, into, (120.0,))[0]
    )
    assert abs(ratio) == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize(
    ("supply", "cathode", "printed"),
    [(200, 1800, 0.65e-3), (250, 1500, 0.86e-3), (350, 1000, 1.40e-3), (400, 820, 1.72e-3)],
    ids=lambda v: f"{v:g}",
)
def test_philips_ecc83_stage_currents_within_8_percent(supply, cathode, printed):
    """Philips ECC83 data sheet, 5-5-1960, resistance-coupled table, 100k in the plate (seen as
    transcribed).
    """
    found = solved(
        TRIODE.format(
            supply=supply, type="12AX7", pins=TWIN, plate=100000, cathode=cathode, more=""
        )
    )
    assert amps(found) == pytest.approx(printed, rel=0.08)


#: Telefunken EF804S, sheet 331-332: supply V, plate, screen and cathode ohms, plate and screen
#: amps.
EF804S = [
    (250, 300e3, 1.5e6, 2000, 0.61e-3, 0.11e-3),
    (100, 300e3, 1.2e6, 5000, 0.21e-3, 45e-6),
    (100, 200e3, 1.0e6, 3000, 0.29e-3, 55e-6),
]


@pytest.mark.parametrize(
    ("supply", "plate", "screen", "cathode", "printed", "drawn"), EF804S, ids=lambda v: f"{v:g}"
)
def test_a_pentode_fitted_to_its_measuring_row_foretells_its_stages(
    supply, plate, screen, cathode, printed, drawn
):
    """Telefunken EF804S, sheet 331-332 (seen as transcribed): fitted to 3.2 mA, 0.6 mA, 2 mS, 2
    Mohm, mu of the screen 38; plate within 10 %. The screen, printed to two figures, reads 15 to 23
    % high where the plate is down to 30 to 70 V: a miss, told in DEVELOPERS.md.
    """
    source = "Telefunken EF804S sheet 331-332"
    figures = {
        name: Figure(value, unit, source, "seen")
        for name, value, unit in (
            ("plate_volts", 248.1, "V"),
            ("screen_volts", 138.1, "V"),
            ("cathode_ohms", 500.0, "ohm"),
            ("plate_amps", 3.2e-3, "A"),
            ("screen_amps", 0.6e-3, "A"),
            ("gm_siemens", 2e-3, "S"),
            ("rp_ohms", 2e6, "ohm"),
            ("mu_screen", 38.0, "1"),
        )
    }
    law = fit(library.find("EF86"), rows=[PrintedRow("", "", figures, source, "seen", "")]).law
    pins = {
        name: library.find("EF86").pins_of(name)[0]
        for name in ("plate", "screen", "grid", "cathode", "suppressor", "heater1", "heater2")
    }
    used = ", ".join(
        f"{pins[name]}={node}"
        for name, node in (
            ("plate", "PL"),
            ("screen", "SC"),
            ("grid", "G"),
            ("cathode", "K"),
            ("suppressor", "K"),
            ("heater1", "COMMON"),
            ("heater2", "COMMON"),
        )
    )
    found = solved(
        TRIODE.format(
            supply=supply,
            type="EF86",
            pins=used + ", 2=COMMON, 7=COMMON",
            plate=plate,
            cathode=cathode,
            more=f"R3 resistor {screen:.0f} ohm : BPLUS -- SC",
        ),
        V1=law,
    )
    assert amps(found) == pytest.approx(printed, rel=0.10)
    assert amps(found, 1) == pytest.approx(drawn, rel=0.25)


def distortion_at(row, type_: str) -> float:
    """The distortion of a stage at the output volts its row prints, over the printed distortion."""
    text = TRIODE.format(
        supply=row["supply_volts"].value,
        type=type_,
        pins=TWIN,
        plate=row["plate_load_ohms"].value,
        cathode=row["cathode_ohms"].value,
        more=(
            "C2 electrolytic 10000 uF : K -- COMMON\nC3 capacitor 100 uF : PL -- OUT\nR3 resistor"
            f" {row['next_grid_ohms'].value:.0f} ohm : OUT -- COMMON"
        ),
    )
    circuit, problems = read_circuit(text)
    assert circuit, problems
    network = assemble(circuit)
    at = network.node_of["G"]
    found = bias(
        replace(
            network,
            branches=(
                *network.branches,
                Branch("generator", "r", at, network.node_of["COMMON"], GENERATOR),
            ),
        )
    )
    driver = Driver(found, "G", "COMMON", ("OUT", "COMMON"), row["next_grid_ohms"].value)
    peak = row["output_rms_volts"].value * 2**0.5 / row["gain"].value
    for _ in range(4):
        got = driver.at(peak)
        peak *= row["output_rms_volts"].value / got.load_volts
    return got.distortion / row["distortion"].value


def test_distortion_of_the_philips_ecc82_stages_reads_low_by_a_fifth():
    """Philips ECC82 data handbook sheets (source in the library): reported, not a gate; the triode
    law bends a little less than the tube.
    """
    off = [
        distortion_at(row, "12AU7")
        for row in library.find("12AU7").stages
        if all(name in row for name in ("output_rms_volts", "distortion", "gain", "next_grid_ohms"))
        and row["cathode_ohms"].value > 0
    ][::4]
    assert len(off) >= 5
    assert 0.6 < statistics.median(off) < 1.2

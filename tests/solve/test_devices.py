"""Device laws: slopes are those of the currents, currents add up, nothing flows without volts."""

import numpy as np
import pytest
from each import each
from hypothesis import given, settings
from hypothesis import strategies as st

from rework.language.resolve import read_circuit
from rework.solve.assemble import assemble
from rework.solve.bias import Averaged
from rework.solve.devices import SELENIUM, SILICON, Rectifier
from rework.solve.fit import NoData, curve_points, fit, fitted
from rework.solve.rows import bias_of, class_a, idle_pairs, rows_for, units_of
from rework.tubes import library

LAWS = [
    fitted("12AX7", "triode1").law,
    fitted("12AU7", "triode1").law,
    fitted("50C5").law,
    fitted("6AQ5").law,
    fitted("12AU6").law,
    Rectifier(2.6e-3),
    SILICON,
    SELENIUM,
    Averaged(0.05, -120.0, 400.0),
]


@pytest.mark.parametrize("law", LAWS, ids=lambda law: type(law).__name__)
@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_slopes_are_those_of_the_currents(law, data):
    ranges = {3: [(0.5, 400), (0.5, 300), (-30, 3)], 2: [(0.5, 400), (-15, 3)], 1: [(-200, 60)]}[
        law.controls
    ]
    volts = np.array([data.draw(st.floats(low, high)) for low, high in ranges])
    _, slopes = law.currents(volts)
    for number in range(law.controls):
        step = 1e-4
        moved = np.zeros(law.controls)
        moved[number] = step
        numeric = (law.currents(volts + moved)[0] - law.currents(volts - moved)[0]) / (2 * step)
        assert slopes[:, number] == pytest.approx(numeric, rel=2e-3, abs=2e-8)


def test_plate_and_screen_share_one_cathode_current():
    law = fitted("6AQ5").law
    volts = np.array([[v, 250.0, -12.5] for v in (0.0, 20.0, 100.0, 250.0)])
    out, _ = law.currents(volts)
    total = out[:, 0] + out[:, 1]
    assert abs(out[0, 0]) < 0.02 * out[-1, 0]
    assert (np.diff(out[:, 0]) > 0).all()
    assert (np.diff(out[:, 1]) < 0).all()
    assert total == pytest.approx(
        total[-1] * (1 + law.slope * volts[:, 0]) / (1 + law.slope * 250), rel=2e-3
    )


def test_grid_current_flows_above_zero_bias_and_hardly_below():
    law = fitted("12AX7", "triode1").law
    below, above = (law.currents(np.array([100.0, vg]))[0][1] for vg in (-1.5, 0.5))
    assert below < 1e-8
    # a 10 megohm grid leak settles at -0.83 V: CONTACT_VOLTS
    assert law.currents(np.array([100.0, -0.83]))[0][1] == pytest.approx(83e-9, rel=0.02)
    assert above > 1e-5


def test_a_batch_gives_what_one_by_one_gives():
    law = fitted("50C5").law
    volts = np.random.default_rng(3).uniform(-5, 150, (4, 7, 3))
    together = law.currents(volts)[0]
    assert together[2, 3] == pytest.approx(law.currents(volts[2, 3])[0], rel=1e-12)


@each("type_", ["12AX7", "50C5", "EL84", "EZ80"])
def test_the_kept_fits_are_what_the_procedure_gives(type_):
    tube = library.find(type_)
    unit = "triode1" if type_ == "12AX7" else ""
    fresh, kept = fit(tube, unit).law, fitted(type_, unit).law
    for name in type(kept).__dataclass_fields__:
        assert getattr(fresh, name) == pytest.approx(getattr(kept, name), rel=1e-3, abs=1e-6), name


@each(
    ("left_out", "at", "most"),
    [
        (None, "class B", 0.01),
        (None, "class AB", 0.03),
        ("class B", "class B", 0.20),
        ("class AB", "class AB", 0.06),
    ],
)
def test_the_idle_current_of_a_pair_is_met_and_each_is_foretold_by_the_rest(left_out, at, most):
    """Philips EL84, 1953 to 1955: 7.5 mA a tube at -14.7 V, 36 mA over 130 ohm."""
    tube = library.find("EL84")
    pairs = {idle.row.use.partition(",")[0].partition(" ")[2]: idle for idle in idle_pairs(tube)}
    law = fit(tube, without=pairs[left_out].row if left_out else None).law
    idle = pairs[at]
    assert law.currents(np.array(idle.volts))[0][0] == pytest.approx(idle.amps, rel=most)


def test_the_one_printed_row_of_a_triode_foretells_its_printed_curves():
    """6SL7, 12SL7 average plate characteristics, as read by the author of a page on them."""
    tube = library.find("6SL7GT")
    law = fit(tube, "triode1", rows=rows_for(tube, "triode1")[1]).law
    points = np.array(curve_points("6SL7GT"))
    off = np.abs(law.currents(points[:, :2])[0][:, 0] / points[:, 2] - 1)
    assert len(points) == 26
    assert np.median(off) < 0.03
    assert off.max() < 0.13


@each("type_", library.types())
def test_every_unit_that_amplifies_has_a_law(type_):
    tube = library.find(type_)
    if not tube.is_rectifier:
        assert all(fitted(type_, unit).misses for unit in units_of(tube))


@each(
    ("type_", "notes"),
    [("18FX6", {"estimated from its kin", "oscillator runs"}), ("12BE6", {"oscillator runs"})],
)
def test_a_law_says_where_it_stands_on_kin_and_where_on_a_converter(type_, notes):
    circuit, _ = read_circuit(
        "mains 117 V 60 Hz\n"
        "P1 plug two-blade : line=L, neutral=K\n"
        "D1 diode silicon : L -- B\n"
        "C1 electrolytic 40 uF 250 V : B -- K\n"
        "R1 resistor dropper 1k : L -- F\n"
        f"V1 tube {type_} : 1=G, 2=K, 3=K, 4=F, 5=B, 6=B, 7=G\n"
        "R2 resistor 1M : G -- K\n",
        file="converter.circuit",
    )
    told = " ".join(assemble(circuit, cold=()).notes)
    assert {note for note in ("estimated from its kin", "oscillator runs") if note in told} == notes


def test_a_tube_without_rows_has_no_numbers_and_says_so():
    with pytest.raises(NoData, match="drop of UY85"):
        fitted("UY85")
    with pytest.raises(NoData, match="not in the tube library"):
        fitted("NOSUCH")


@each(("type_", "unit"), [("ECL82", "pentode"), ("EL86", ""), ("25L6GT", ""), ("6AQ5", "")])
def test_an_output_stage_driven_past_its_knee_keeps_its_plate_above_the_cathode_and_its_power_in_balance(
    type_, unit
):
    """Watts into the load never exceed what a rectangular swing between nothing and twice the plate
    volts could give.
    """
    law = fitted(type_, unit).law
    for row in rows_for(library.find(type_), unit)[1]:
        if "watts" in row and "load_ohms" in row:
            vp, load = row["plate_volts"].value, row["load_ohms"].value
            gentle, hard = (
                class_a(
                    law,
                    vp,
                    row["screen_volts"].value,
                    bias_of(row),
                    load,
                    share * abs(bias_of(row)),
                )
                for share in (0.9, 1.3)
            )
            assert 0 < gentle["watts"] < hard["watts"] < vp * vp / load
            assert gentle["distortion"] < hard["distortion"] < 0.5

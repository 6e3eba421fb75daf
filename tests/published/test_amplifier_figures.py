"""Printed rows against the fitted laws in whole stages.

Gates stand on rows that were seen; the rest is smoke.
"""

import statistics
from dataclasses import dataclass

import pytest

from rework.language.resolve import read_circuit
from rework.solve.assemble import assemble
from rework.solve.bias import bias
from rework.solve.fit import fit, fitted
from rework.solve.linear import linearised
from rework.solve.rows import compare, rows_for, units_of
from rework.tubes import library


def stage(type_: str, row) -> str:
    """A resistance-coupled stage as a chart row has it, on direct current, with a cathode bypass
    and coupling that pass everything.
    """
    return f"""mains {row["supply_volts"].value:g} V 0 Hz
P1 plug : line=BPLUS, neutral=COMMON
V1 tube {type_} : triode1.plate=PL, triode1.grid=G, triode1.cathode=K, triode2.plate=COMMON, triode2.grid=COMMON, triode2.cathode=COMMON, 4=COMMON, 5=COMMON, unused 9
R1 resistor {row["plate_load_ohms"].value:.0f} ohm : BPLUS -- PL
R2 resistor {row["cathode_ohms"].value:.0f} ohm : K -- COMMON
C2 electrolytic 10000 uF : K -- COMMON
C3 capacitor 100 uF : PL -- OUT
R3 resistor {row["next_grid_ohms"].value:.0f} ohm : OUT -- COMMON
R4 resistor 1M : G -- COMMON
"""


def gain_of(text: str) -> float:
    circuit, problems = read_circuit(text)
    assert circuit, problems
    linear = linearised(bias(assemble(circuit)))
    into = linear.column("G", "COMMON")
    raw = (
        linear.transfer(into, linear.column("OUT", "COMMON"), (1000.0,))[0]
        / linear.transfer(into, into, (1000.0,))[0]
    )
    return abs(raw)


CHARTS = [
    (type_, n, row)
    for type_ in ("12AX7", "12AU7")
    for n, row in enumerate(library.find(type_).stages, 1)
    if row.grade == "seen"
    and all(
        name in row
        for name in ("gain", "supply_volts", "plate_load_ohms", "cathode_ohms", "next_grid_ohms")
    )
    and row["cathode_ohms"].value > 0
]


def test_resistance_coupled_gains_of_the_printed_charts():
    """Tung-Sol, Brimar and Philips stage rows (sources in the library): within 15 % but for the
    Brimar rows at 250 V, which lie about 15 % under theory as the library says, and one Tung-Sol
    row at 90 V; the median within 8 %.
    """
    off = {
        (type_, n, row.source): gain_of(stage(type_, row)) / row["gain"].value - 1
        for type_, n, row in CHARTS
    }
    assert len(off) > 30
    assert statistics.median(map(abs, off.values())) < 0.08
    outside = {key: error for key, error in off.items() if abs(error) > 0.15}
    assert len(outside) <= 5, outside
    assert all(abs(error) < 0.20 for error in outside.values()), outside


#: General Electric ET-T509B (6-53), p. 2, 12AX7, one section: supply V, plate, next grid and
#: cathode ohms, gain at 2 V RMS out, RMS volts out at 5 % distortion.
GENERAL_ELECTRIC = [
    (90, 1e5, 1e5, 1700, 31, 5.0),
    (180, 1e5, 1e5, 1000, 40, 15),
    (90, 1e5, 2.4e5, 2000, 38, 6.9),
    (180, 1e5, 2.4e5, 1100, 46, 20),
    (90, 2.4e5, 2.4e5, 3500, 43, 6.7),
    (180, 2.4e5, 2.4e5, 2000, 54, 18),
    (90, 2.4e5, 5.1e5, 3900, 49, 8.6),
    (180, 2.4e5, 5.1e5, 2300, 59, 24),
    (90, 5.1e5, 5.1e5, 7100, 50, 7.4),
    (180, 5.1e5, 5.1e5, 4300, 62, 19),
    (90, 5.1e5, 1e6, 7800, 53, 9.1),
    (180, 5.1e5, 1e6, 4800, 64, 24),
]


@dataclass(frozen=True)
class Plain:
    value: float


def chart_row(supply, plate, following, cathode):
    return {
        "supply_volts": Plain(supply),
        "plate_load_ohms": Plain(plate),
        "next_grid_ohms": Plain(following),
        "cathode_ohms": Plain(cathode),
    }


#: The row that the law misses by more, with what it computes: 90 V and the largest resistors of the
#: chart leave the tube about 0.1 mA, lower than any row that the law is fitted to.
MISSED = {(90, 5.1e5, 1e6, 7800, 53, 9.1): 61.1}


@pytest.mark.parametrize(
    ("supply", "plate", "following", "cathode", "gain", "volts"),
    GENERAL_ELECTRIC,
    ids=lambda v: f"{v:g}",
)
def test_general_electric_12ax7_stage_gain_within_15_percent_but_for_one_row(
    supply, plate, following, cathode, gain, volts
):
    computed = gain_of(stage("12AX7", chart_row(supply, plate, following, cathode)))
    known = MISSED.get((supply, plate, following, cathode, gain, volts))
    if known is not None:
        assert computed == pytest.approx(known, rel=0.005)
    assert (computed == pytest.approx(gain, rel=0.15)) == (known is None)


def held_out(grade: str):
    """Fit on the first row of each unit; the other rows of one grade, as (type, figure, error)."""
    found = []
    for type_ in library.types():
        tube = library.find(type_)
        for unit in units_of(tube) if not tube.is_rectifier else ():
            origin, rows = rows_for(tube, unit)
            if (
                origin != type_
                or len(rows) < 2
                or unit == "triode2"
                or sum(row.grade == grade for row in rows[1:]) == 0
            ):
                continue
            law = fit(tube, unit, rows=rows[:1]).law
            found += [
                (type_, miss.figure, miss.error)
                for row in rows[1:]
                if row.grade == grade
                for miss in compare(law, row)
            ]
    return found


#: Other rows that one row does not foretell: what is printed lies outside 10 % in plate current or
#: 15 % in transconductance.
KNOWN_MISSES = {
    "12AU7",  # its row at 100 V and no bias
    "12AX7",
}  # the graph example, whose 0.3 mA through 470k is rounded to a tenth


def test_one_row_foretells_the_other_seen_rows_of_its_tube():
    """Sources in the library, row by row: 10 % in plate current, 15 % in transconductance, but for
    the misses named above.
    """
    found = held_out("seen")
    assert found
    outside = {
        type_
        for type_, figure, error in found
        if (figure == "plate_amps" and abs(error) > 0.10)
        or (figure == "gm_siemens" and abs(error) > 0.15)
    }
    assert outside <= KNOWN_MISSES, sorted(outside)


def test_every_kept_fit_meets_its_own_rows():
    """Median within 5 % in plate current and transconductance over the library."""
    amps, gm = [], []
    for type_ in library.types():
        tube = library.find(type_)
        for unit in units_of(tube) if not tube.is_rectifier else ():
            if rows_for(tube, unit)[0] == type_ and rows_for(tube, unit)[1]:
                for miss in fitted(type_, unit).misses:
                    (
                        amps
                        if miss.figure == "plate_amps"
                        else gm
                        if miss.figure == "gm_siemens"
                        else []
                    ).append(abs(miss.error))
    assert statistics.median(amps) < 0.05
    assert statistics.median(gm) < 0.05
    assert sum(error > 0.10 for error in amps) < 0.1 * len(amps)


def test_class_a_watts_of_the_printed_rows_within_20_percent():
    """Every row with watts and a load (sources and grades in the library): all within 20 %, the
    median within 5 %.
    """
    off = []
    for type_ in library.types():
        tube = library.find(type_)
        for unit in units_of(tube) if not tube.is_rectifier else ():
            if rows_for(tube, unit)[0] == type_ and rows_for(tube, unit)[1]:
                off += [
                    (type_, miss.error)
                    for miss in fitted(type_, unit).misses
                    if miss.figure == "watts"
                ]
    assert len(off) > 40
    assert not [one for one in off if abs(one[1]) > 0.20]
    assert statistics.median(abs(error) for _, error in off) < 0.05


def test_watts_of_rows_the_fit_has_not_seen():
    """Fitted on one row of a tube, the watts of its others (seen rows within 20 %; rows from memory
    as smoke, half of them within 20 %).
    """
    seen = [error for _, figure, error in held_out("seen") if figure == "watts"]
    memory = [error for _, figure, error in held_out("memory") if figure == "watts"]
    assert seen
    assert all(abs(error) < 0.20 for error in seen)
    assert statistics.median(map(abs, memory)) < 0.20

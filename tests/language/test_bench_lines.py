"""What a job says of the bench: meter, line, state of the set, readings, signs, proofs, repairs."""

from __future__ import annotations

import pytest

from rework.language.bench import BenchState, Quantity, Voltmeter
from rework.language.job import read_job
from rework.language.symptoms import Symptom


def job_of(*lines: str):
    text = "\n".join(['circuit "a.circuit"', *lines, ""])
    return read_job(text.encode(), file="a.job")


def bench_of(*lines: str):
    job, problems = job_of(*lines)
    assert problems == ()
    return job.bench


@pytest.mark.parametrize(
    ("line", "of", "at", "to", "amount"),
    [
        ("reading V3.grid 12.5 V", Quantity.DC, "V3.grid", "", 12.5),
        ("reading V3.grid -12.5 V", Quantity.DC, "V3.grid", "", -12.5),
        ("reading V3.cathode to COMMON 14 V", Quantity.DC, "V3.cathode", "COMMON", 14.0),
        ("reading V3.grid 325 kohm off", Quantity.OHMS, "V3.grid", "", 325e3),
        ("reading R4.1 to R4.2 open", Quantity.OHMS, "R4.1", "R4.2", float("inf")),
        ("reading V1.3 to V1.4 6.1 V AC", Quantity.AC, "V1.3", "V1.4", 6.1),
        ("reading B1 40 mV ripple", Quantity.AC, "B1", "", 0.04),
        ("reading SP 12 mV AC shorted-input", Quantity.AC, "SP", "", 0.012),
        ("reading V2.plate 1.1 V AC 1 kHz 1 mV", Quantity.SIGNAL, "V2.plate", "", 1.1),
        ("reading F1 0.4 A", Quantity.AMPS, "F1", "", 0.4),
    ],
)
def test_a_reading_says_what_was_read_and_between_which_points(line, of, at, to, amount):
    (reading,) = bench_of(line).readings
    assert (reading.of, reading.at, reading.to) == (of, at, to)
    assert reading.value.amount == pytest.approx(amount)


def test_a_signal_states_its_generator():
    (reading,) = bench_of("reading V2.plate 1.1 V AC 1 kHz 1 mV").readings
    assert reading.generator == pytest.approx((1000.0, 1e-3))


def test_meter_line_and_state_hold_for_what_follows():
    bench = bench_of(
        "line 121 V isolated",
        "reading B1 180 V",
        "meter 20 kohm/V 3 V 12 V 60 V 300 V",
        "bench before without V3 V2 lamp 60 W",
        "reading B1 170 V",
        "bench after",
        "reading B1 160 V",
    )
    first, second, third = bench.readings
    assert (bench.line, bench.isolated) == (121.0, True)
    assert (first.state, first.meter) == (BenchState(), Voltmeter())
    assert second.state == BenchState("before", ("V3", "V2"), 60.0)
    assert third.state == BenchState()
    assert second.meter.ohms_for(100.0) == 20e3 * 300
    assert second.meter.ohms_for(2.0) == 20e3 * 3
    assert [reading.is_plain for reading in bench.readings] == [True, False, True]


def test_a_meter_without_its_ranges_has_the_usual_ones_and_a_reading_may_say_its_own():
    first, second = bench_of(
        "meter 20 kohm/V", "reading B1 48 V", "reading B1 48 V range 250 V"
    ).readings
    assert (first.meter.range_for(48.0), second.meter.range_for(48.0)) == (50.0, 250.0)


def test_signs_are_noticed_of_a_part_or_of_the_set():
    bench = bench_of(
        "noticed V2 dark",
        "noticed R3 burnt",
        "noticed fuse blown",
        "noticed hum 120 Hz",
        "noticed no sound",
        "noticed V3 red plate",
        "noticed low volume",
        "noticed distortion",
        "noticed motorboating",
        "noticed whistle",
        "noticed smoke",
    )
    assert [(one.sign, one.part, one.hertz) for one in bench.noticed] == [
        (Symptom.DARK, "V2", 0.0),
        (Symptom.HOT, "R3", 0.0),
        (Symptom.BLOWN, "fuse", 0.0),
        (Symptom.HUM, "", 120.0),
        (Symptom.SILENT, "", 0.0),
        (Symptom.RED, "V3", 0.0),
        (Symptom.WEAK, "", 0.0),
        (Symptom.DISTORTED, "", 0.0),
        (Symptom.MOTORBOATING, "", 0.0),
        (Symptom.SQUEAL, "", 0.0),
        (Symptom.SMELL, "", 0.0),
    ]


def test_what_comes_and_goes_is_refused_with_the_signs_that_are_read():
    _, (problem,) = job_of("noticed crackle")
    assert "what comes and goes is not computed" in problem.message
    assert "motorboating" in problem.expected


def test_readings_know_how_many_repairs_came_before_them():
    bench = bench_of("reading B1 80 V", "repaired C7", "proved R11 good", "reading B1 180 V")
    assert [reading.repairs for reading in bench.readings] == [0, 1]
    assert [name for name, _ in bench.proved] == ["R11"]


@pytest.mark.parametrize(
    ("line", "message", "column"),
    [
        ("reading V3 12 V louder", "louder is not expected behind a reading", 17),
        ("reading V3.grid and 12 V", "and is not expected here", 17),
        ("reading V2 1 V AC 1 kHz", "the generator of a signal is not stated in full", 16),
        ("reading V2.plate 5 uF", "a meter does not read 5 uF here", 18),
        ("reading V2.plate 118 V off", "off is not expected behind a reading", 24),
        ("reading R4 10 kohm AC", "AC is not expected behind a reading of ohms", 20),
        ("reading R4 -10 kohm", "ohms are not negative", 13),
        ("reading V2.plate 118 V range 50 V", "118 V is not read on this range", 24),
        ("meter digital", "this says no meter", 7),
        ("meter 20 kohm/V 3 mA", "this says no meter", 7),
        ("bench after lamp 60 V", "lamp is no state of the bench", 7),
        ("line 0 V", "this says no line", 6),
        ("line 12", "this says no line", 6),
        ("bench sideways", "sideways is no state of the bench", 7),
        ("noticed V2 tired", "this is no sign that can be noticed", 9),
        ("noticed smell 60 Hz", "this is no sign that can be noticed", 9),
        ("proved R11", "this proves nothing", 8),
        ("repaired", "a repair names one part or pin", 1),
    ],
)
def test_what_makes_no_sense_is_told_at_its_place(line, message, column):
    job, problems = job_of(line)
    assert job is None
    assert [(p.message, p.place.line, p.place.column) for p in problems] == [(message, 2, column)]
    assert problems[0].expected

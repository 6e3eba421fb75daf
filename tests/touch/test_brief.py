"""What the summary asks for is what touch and faults report, found with less work."""

from __future__ import annotations

from pathlib import Path

import pytest

from rework.language.files import wanted_circuit
from rework.touch.faults import fault_count, faults
from rework.touch.touch import touch, worst_touch

CASES = Path(__file__).parents[1] / "cases"


@pytest.mark.parametrize(
    "name", ["big-y-capacitor", "bridged-isolation-a", "line-on-male-pins", "fuse-ten-amps"]
)
def test_the_worst_touch_is_that_of_the_report(name):
    circuit, _ = wanted_circuit(str(CASES / f"{name}.circuit"))
    whole, brief = touch(circuit), worst_touch(circuit)
    assert whole.worst is not None
    assert (brief.reading, brief.place) == (pytest.approx(whole.worst.reading), whole.worst.place)
    assert (brief.limit_amps, brief.verdict) == (whole.limit_amps, whole.verdict)


@pytest.mark.parametrize(
    "name", ["big-y-capacitor", "bridged-isolation-a", "line-on-male-pins", "patched-to-a-hot-set"]
)
def test_the_faults_counted_are_those_of_the_report(name):
    circuit, _ = wanted_circuit(str(CASES / f"{name}.circuit"))
    verdicts = [outcome.verdict for outcome in faults(circuit).outcomes]
    count = fault_count(circuit)
    assert count.tried == len(verdicts)
    assert (count.over, count.unknown) == (verdicts.count("over"), verdicts.count("not known"))

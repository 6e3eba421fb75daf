"""Every fault of every demo by update and afresh, of which the suite samples each ninth (with supply
conductors open each forty-first). Some minutes of one core:

    pytest tests/bench/test_every_fault_afresh.py
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.append(str(Path(__file__).parents[1] / "touch"))
from test_faults import DEMOS, apart, compared, demo


@pytest.mark.parametrize("words", DEMOS)
@pytest.mark.parametrize("open_conductors", [False, True])
def test_every_fault_by_update_agrees_with_solving_again(words, open_conductors):
    for fault, quick, slow, direct, direct_slow in compared(
        demo(words), open_conductors=open_conductors, every_nth=1
    ):
        # Over every fault the worst seen is 1.5e-9 (hostel); the suite's sample is held to 1e-9.
        # What counts is that no verdict turns on it: four figures are printed.
        assert apart(quick, slow, 0.5e-3) <= 1e-8, fault.what
        assert apart(direct, direct_slow, 2e-3) <= 1e-5, fault.what

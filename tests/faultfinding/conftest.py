"""The small set with every trouble solved, once for all tests of the room."""

from __future__ import annotations

import pytest
from one_tube import bench_run

from rework.faultfinding.diagnosis import TroubleBoard, board


@pytest.fixture(scope="session")
def one_tube() -> TroubleBoard:
    return board(bench_run("reading B2 180 V"))

"""Switches and profiles shared by all tests."""

from __future__ import annotations

import gc
import os
from pathlib import Path

# As the command does: threads of the algebra library only wait for one another on stacks of small
# matrices. Before numpy is loaded.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
# Sentences are wrapped to the terminal's width: tests that look for words in them are run at one.
os.environ["COLUMNS"] = "100"
# Processes of their own run what is installed, as the tests themselves do, not the checkout they
# are started in.
os.environ["PYTHONSAFEPATH"] = "1"

import pytest
from hypothesis import HealthCheck, settings

ROOT = Path(__file__).parent.parent
# Each look for circles of garbage goes through all that the tests hold: a fifth of the seconds in
# which they are listed, at the usual pace.
gc.set_threshold(100_000, 20, 20)
settings.register_profile(
    "bench",
    deadline=None,
    max_examples=50,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
settings.load_profile("bench")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--update-golden",
        action="store_true",
        help="rewrite the golden files with what the program says now",
    )


def pytest_collection_finish(session: pytest.Session) -> None:
    """Leave what was listed, which stays to the end, out of every later look for garbage."""
    gc.collect()
    gc.freeze()


@pytest.fixture
def golden(request: pytest.FixtureRequest):
    """Return a function that holds a text to a golden file under tests/golden, or rewrites the file
    when asked to.
    """

    def hold(name: str, text: str) -> None:
        path = ROOT / "tests" / "golden" / name
        if request.config.getoption("--update-golden"):
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, encoding="utf-8")
        assert path.exists(), (
            f"no golden file {path}; run pytest --update-golden and read what it wrote"
        )
        assert text == path.read_text(encoding="utf-8")

    return hold


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: object):
    """Give every file to one worker, and all of the page's to the same: its browser, and the server
    whose long sums take their seconds, are then begun once. So are the sums of the papers.
    """
    from xdist.scheduler import LoadFileScheduling

    class FilesAndRooms(LoadFileScheduling):
        def _split_scope(self, nodeid: str) -> str:
            file = super()._split_scope(nodeid)
            rooms = (room for room in ("tests/page/", "tests/papers/") if file.startswith(room))
            return next(rooms, file)

    return FilesAndRooms(config, log)

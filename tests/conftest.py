"""Switches and profiles shared by all tests."""

from __future__ import annotations

import os
from pathlib import Path

# As the command does: threads of the algebra library only wait for one another on stacks of small
# matrices. Before numpy is loaded.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
# Sentences are wrapped to the terminal's width: tests that look for words in them are run at one.
os.environ["COLUMNS"] = "100"

import pytest
from hypothesis import HealthCheck, settings

ROOT = Path(__file__).parent.parent
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


#: Tests that show a defect which is known and not mended yet, with what it is. None is kept here
#: longer than the defect.
KNOWN = {
    "tests/papers/test_work_order.py::test_no_step_does_nothing[pager]": (
        "the lamp's lead is lifted from a lug where nothing else is any more"
    ),
    "tests/language/test_problems.py::"
    "test_a_change_of_one_token_gives_one_problem_on_that_line_or_another_legal_circuit[pager/pager]": (
        "ohms of an output transformer are asked about beside the first mistake of their line"
    ),
    "tests/test_deliberate_slips.py::test_a_slip_is_told[pager: ''2]": (
        "a jack without its sleeve is not told as a slip"
    ),
}


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if item.nodeid in KNOWN:
            item.add_marker(pytest.mark.xfail(reason=KNOWN[item.nodeid], strict=False))

"""Each demo in turn."""

from __future__ import annotations

import pytest
from demo_amplifiers import DEMOS


@pytest.fixture(params=DEMOS)
def demo(request: pytest.FixtureRequest) -> str:
    """Return the name of a demo."""
    return request.param

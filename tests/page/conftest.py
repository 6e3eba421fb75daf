"""A page that is served for the time of a test, and a real Chromium to look at it with."""

from __future__ import annotations

import os
import shutil
from dataclasses import dataclass, field

import pytest
from serving import CIRCUITS, serve

BROWSER = (
    shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
)


@pytest.fixture
def pager(tmp_path):
    """Return the pager's job in a folder of its own, served."""
    shutil.copytree(CIRCUITS / "pager", tmp_path / "pager")
    one = serve(tmp_path / "pager")
    yield one
    one.stop()


@dataclass
class Looked:
    """What a page asked for and complained of while it was looked at."""

    asked: list[str] = field(default_factory=list)
    told: list[str] = field(default_factory=list)


@pytest.fixture(scope="session")
def chromium():
    """Return a headless Chromium; where there is none the test is skipped, but not where
    REWORK_BROWSER says that there must be one.
    """
    if BROWSER is None:
        words = "no Chromium on this machine: apt-get install chromium"
        pytest.fail(words) if os.environ.get("REWORK_BROWSER") == "required" else pytest.skip(words)
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        browser = driver.chromium.launch(
            executable_path=BROWSER, args=["--no-sandbox", "--disable-gpu"]
        )
        yield browser
        browser.close()


@pytest.fixture
def look(chromium):
    """Return a function that opens an address on a screen of its own; at the end nothing was asked
    of elsewhere and nothing complained.
    """
    opened: list = []

    def at(address: str, **screen):
        context = chromium.new_context(
            **{"viewport": {"width": 1500, "height": 950}, "reduced_motion": "reduce", **screen}
        )
        page = context.new_page()
        page.set_default_timeout(10_000)
        seen = Looked()
        page.on("request", lambda request: seen.asked.append(request.url))
        page.on(
            "console",
            lambda message: (
                seen.told.append(message.text) if message.type in ("error", "warning") else None
            ),
        )
        page.on("pageerror", lambda error: seen.told.append(str(error)))
        opened.append((context, address, seen))
        page.goto(address)
        return page

    yield at
    for context, address, seen in opened:
        context.close()
        assert seen.told == []
        assert [url for url in seen.asked if not url.startswith(address)] == []

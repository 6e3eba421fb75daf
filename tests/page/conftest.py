"""A page that is served for the tests of a module, and a real Chromium to look at it with."""

from __future__ import annotations

import os
import shutil
from dataclasses import dataclass, field

import pytest
from serving import CIRCUITS, serve

#: The first that is here. Without windows the same engine shows a page in half the processor time.
BROWSERS = ("chromium-headless-shell", "chromium", "chromium-browser", "google-chrome")
BROWSER = next(filter(None, map(shutil.which, BROWSERS)), None)


@pytest.fixture(scope="session", autouse=True)
def private_state(tmp_path_factory):
    """Keep tokens in a folder of the tests, not in that of whoever runs them."""
    before = os.environ.get("XDG_STATE_HOME")
    os.environ["XDG_STATE_HOME"] = str(tmp_path_factory.mktemp("state"))
    yield
    if before is None:
        del os.environ["XDG_STATE_HOME"]
    else:
        os.environ["XDG_STATE_HOME"] = before


@pytest.fixture(scope="session")
def served(tmp_path_factory):
    """Return the pager's job in a folder of its own, served once for all tests: its long sums take
    their seconds.
    """
    folder = tmp_path_factory.mktemp("page") / "pager"
    shutil.copytree(CIRCUITS / "pager", folder)
    one = serve(folder)
    yield one
    one.stop()


@pytest.fixture
def pager(served):
    """Return the served job; at the end of the test its files are as they were."""
    yield served
    served.restore()


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
    from playwright.sync_api import expect, sync_playwright

    expect.set_options(timeout=60_000)
    with sync_playwright() as driver:
        browser = driver.chromium.launch(
            executable_path=BROWSER, args=["--no-sandbox", "--disable-gpu"]
        )
        yield browser
        browser.close()


@pytest.fixture
def look(chromium):
    """Return a function that opens a served page on a screen of its own, as someone with the
    address does; ``at`` is what follows the address, ``first`` a script that runs before those of
    the page. At the end nothing was asked of elsewhere and nothing complained.
    """
    opened: list = []

    def open_page(served, at: str = "", first: str = "", **screen):
        context = chromium.new_context(
            **{"viewport": {"width": 1400, "height": 900}, "reduced_motion": "reduce", **screen}
        )
        if first:
            context.add_init_script(first)
        page = context.new_page()
        page.set_default_timeout(60_000)
        seen = Looked()
        page.on("request", lambda request: seen.asked.append(request.url))
        page.on(
            "console",
            lambda message: (
                seen.told.append(message.text) if message.type in ("error", "warning") else None
            ),
        )
        page.on("pageerror", lambda error: seen.told.append(str(error)))
        opened.append((context, served.origin, seen))
        page.goto(served.address)
        page.wait_for_url(served.origin)
        if at:
            page.goto(served.origin + at)
        page.seen = seen
        return page

    yield open_page
    for context, origin, seen in opened:
        context.close()
        assert seen.told == []
        assert [url for url in seen.asked if not url.startswith((origin, "blob:"))] == []

"""The page in Firefox, where one is installed, driven by Mozilla's own Marionette client: keys alone, touch,
and 200 % zoom as its user sets it.
"""

from __future__ import annotations

import os
import shutil

import pytest

FIREFOX = shutil.which("firefox-esr") or shutil.which("firefox")
READY = "return document.querySelector('[data-pane=after] .sheet [data-part=R4]') !== null"


@pytest.fixture(scope="module")
def firefox(tmp_path_factory):
    """Return a headless Firefox; where there is none, or nothing to drive it, the test is skipped,
    but not where REWORK_FIREFOX says that there must be one.
    """
    missing = pytest.fail if os.environ.get("REWORK_FIREFOX") == "required" else pytest.skip
    if FIREFOX is None:
        missing("no Firefox on this machine: apt-get install firefox-esr")
    try:
        from marionette_driver import marionette as driver
    except ImportError:
        missing("nothing here drives Firefox: pip install '.[firefox]'")
    log = str(tmp_path_factory.mktemp("firefox") / "log")
    browser = driver.Marionette(bin=FIREFOX, headless=True, startup_timeout=120, gecko_log=log)
    try:
        browser.start_session()
    except (OSError, driver.errors.MarionetteException) as error:
        missing(f"Firefox does not start on this machine: {error}")
    browser.timeout.script = browser.timeout.page_load = 60
    yield browser
    browser.delete_session()
    browser.instance.close(clean=True)


@pytest.fixture(scope="module")
def page(firefox, served):
    """Return the browser with the page of the pager's job, its schematic drawn."""
    from marionette_driver import Wait

    firefox.set_window_rect(width=1400, height=986)
    firefox.navigate(served.address)
    Wait(firefox, timeout=60).until(lambda browser: browser.execute_script(READY))
    return firefox


def until(page, script):
    from marionette_driver import Wait

    Wait(page, timeout=30).until(lambda browser: browser.execute_script(script), message=script)


def test_the_schematic_and_the_verdicts_are_there(page):
    until(page, "return document.getElementById('strip').innerText.includes('HAZARD')")
    size = "const t = document.querySelector('[data-pane=after] .sheet [data-part=R4] text');"
    size += "return Number(t.getAttribute('font-size')) * t.getScreenCTM().a"
    assert page.execute_script(size) >= 10.5


def test_tabs_and_parts_are_chosen_by_keys_alone(page):
    from marionette_driver import By
    from marionette_driver.keys import Keys

    page.execute_script("document.getElementById('tab-check').focus()")
    page.find_element(By.ID, "tab-check").send_keys(Keys.ARROW_RIGHT)
    until(page, "return document.activeElement.id === 'tab-changes'")
    until(page, "return document.querySelector('#sheet.changes li') !== null")
    page.find_element(By.CSS_SELECTOR, "#find input").send_keys("R3", Keys.ENTER)
    until(page, "return document.querySelector('#panel h2')?.textContent === 'R3'")


def test_a_finger_chooses_a_part(page):
    from marionette_driver.marionette import ActionSequence

    page.execute_script("history.pushState(null, '', '#'); dispatchEvent(new Event('popstate'))")
    at = page.execute_script(
        "const box = document.querySelector("
        "'[data-pane=after] .sheet > [data-part=R4]').getBoundingClientRect();"
        " return [box.x + box.width / 2, box.y + box.height / 2].map(Math.round)"
    )
    finger = ActionSequence(page, "pointer", "finger", {"pointerType": "touch"})
    finger.pointer_move(*at).pointer_down().pointer_up().perform()
    until(page, "return document.querySelector('#panel h2')?.textContent === 'R4'")


def test_at_200_percent_nothing_is_wider_than_the_window(page):
    with page.using_context("chrome"):
        page.execute_script("gBrowser.selectedBrowser.fullZoom = 2")
    try:
        until(page, "return devicePixelRatio === 2 && innerWidth === 700")
        for tab in ("check", "work", "wires", "tests"):
            page.execute_script(f"document.getElementById('tab-{tab}').click()")
            until(page, f"return document.querySelector('#sheet.{tab} > *') !== null")
            assert page.execute_script("return document.documentElement.scrollWidth") <= 700, tab
    finally:
        with page.using_context("chrome"):
            page.execute_script("gBrowser.selectedBrowser.fullZoom = 1")

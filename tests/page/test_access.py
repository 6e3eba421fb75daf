"""The page for everyone: rules of accessibility by axe-core, touch, keys alone, 200 % zoom, without
scripts.
"""

from __future__ import annotations

import pytest
from playwright.sync_api import expect
from test_page import SCHEMATIC, drawn

#: Rules of axe-core that are on; those of its best practices and the name of labels as well.
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
EXTRA = {"label-content-name-mismatch": {"enabled": True}}


def violations(page):
    """Return what axe-core finds, a line each."""
    from axe_playwright_python.base import AXE_FILE_PATH

    options = {"runOnly": {"type": "tag", "values": TAGS}, "rules": EXTRA}
    source = AXE_FILE_PATH.read_text(encoding="utf-8")
    page.evaluate(f"(() => {{ {source} }})()")
    found = page.evaluate("options => axe.run(document, options)", options)
    return [
        f"{one['id']}: {node['html'][:160]} {node['failureSummary'][:200]}"
        for one in found["violations"]
        for node in one["nodes"][:3]
    ]


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_axe_finds_nothing(pager, look, theme):
    page = look(pager, color_scheme=theme)
    drawn(page)
    seen = {}
    for at in (
        "#part=V3&tab=volts&find=100k",
        "#view=both&node=CHASSIS&tab=work",
        "#view=steps&step=3&tab=tests",
        "#view=sockets&tab=signal",
        "#view=graph&tab=parts",
    ):
        page.goto(pager.origin + at)
        page.wait_for_timeout(400)
        seen[at] = violations(page)
    page.click("#keys-button")
    seen["keys"] = violations(page)
    assert {at: found for at, found in seen.items() if found} == {}


def test_axe_finds_nothing_on_the_page_without_scripts(pager, look):
    page = look(pager)
    drawn(page)
    page.goto(pager.origin + "plain")
    assert violations(page) == []


def test_without_scripts_there_are_verdicts_drawings_netlist_and_tables(pager, chromium, look):
    ready = look(pager)
    drawn(ready)
    context = chromium.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(pager.address)
    page.wait_for_url("**/plain")
    for words in ("HAZARD", "R4  resistor 100k", "Parts to fit", "Earth continuity", "One hand"):
        expect(page.locator("body")).to_contain_text(words)
    assert page.locator("img").count() == 3
    assert page.locator("img >> nth=0").bounding_box()["height"] > 200
    context.close()


def test_touch_moves_chooses_and_enlarges(pager, chromium, look):
    page = look(pager, viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    drawn(page)
    view = lambda: page.get_attribute("[data-pane=after] svg.scene", "viewBox")
    page.tap(f"{SCHEMATIC} > [data-part=R3]")
    expect(page.locator("#panel h2")).to_have_text("R3")
    page.wait_for_timeout(300)
    before = view()
    box = page.locator("[data-pane=after] svg.scene").bounding_box()
    fingers = page.context.new_cdp_session(page)

    def touch(kind, *points):
        fingers.send(
            "Input.dispatchTouchEvent",
            {
                "type": kind,
                "touchPoints": [{"x": x, "y": y, "id": n} for n, (x, y) in enumerate(points)],
            },
        )

    x, y = box["x"] + 200, box["y"] + 100
    touch("touchStart", (x, y))
    for step in range(1, 6):
        touch("touchMove", (x - 20 * step, y))
    touch("touchEnd")
    moved = view()
    assert float(moved.split()[0]) > float(before.split()[0]) + 50
    touch("touchStart", (x, y), (x + 40, y))
    for step in range(1, 6):
        touch("touchMove", (x - 10 * step, y), (x + 40 + 10 * step, y))
    touch("touchEnd")
    assert float(view().split()[2]) < 0.6 * float(moved.split()[2])


def test_at_200_percent_everything_is_reached_and_nothing_is_wider_than_the_screen(pager, look):
    page = look(pager, viewport={"width": 700, "height": 450}, device_scale_factor=2)
    drawn(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= 700
    for tab in ("check", "work", "volts", "wires", "tests", "options"):
        page.click(f"#tab-{tab}")
        page.wait_for_timeout(80)
        assert page.evaluate("document.documentElement.scrollWidth") <= 700, tab
    strip = page.locator("#strip").bounding_box()
    assert strip["height"] < 0.35 * 450


def test_on_a_phone_nothing_is_wider_than_the_screen_and_at_night_it_is_dark(pager, look):
    page = look(
        pager,
        viewport={"width": 390, "height": 844},
        has_touch=True,
        is_mobile=True,
        color_scheme="dark",
    )
    drawn(page)
    assert page.evaluate("document.documentElement.dataset.theme") == "dark"
    for tab in ("check", "work", "volts", "wires", "tests"):
        page.evaluate(f"document.getElementById('tab-{tab}').click()")
        page.wait_for_timeout(100)
        assert page.evaluate("document.documentElement.scrollWidth") <= 390, tab


def test_the_order_of_tabs_is_short_and_what_has_the_focus_is_seen(pager, look):
    page = look(pager)
    drawn(page)
    names = []
    for _ in range(34):
        page.keyboard.press("Tab")
        names.append(
            page.evaluate(
                "(() => { const at = document.activeElement; const box = at.getBoundingClientRect();"
                " const strip = document.getElementById('strip').getBoundingClientRect();"
                " const free = at.closest('#strip, header, dialog') || at.className === 'skip'"
                " || box.bottom > strip.bottom;"
                " return `${at.id || at.className.baseVal || at.className || at.tagName}`"
                " + (free ? '' : ' HIDDEN') })()"
            )
        )
    assert not [name for name in names if "HIDDEN" in name]
    for place in ("skip", "find-name", "scene", "number", "panel", "tab-check", "sheet"):
        assert any(place in name for name in names), (place, names)

"""The page for everyone: rules of accessibility by axe-core, touch, keys alone, 200 % zoom, without
scripts.
"""

from __future__ import annotations

from playwright.sync_api import expect
from test_page import SCHEMATIC, drawn

#: Rules of axe-core that are on; those of its best practices and the name of labels as well.
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
EXTRA = {"label-content-name-mismatch": {"enabled": True}}


#: Places of the page, and what is there when it is complete.
PLACES = {
    "#part=V3&tab=volts&find=100k": "#sheet.volts tbody tr",
    "#view=both&node=CHASSIS&tab=work": "#sheet.work li",
    "#view=steps&step=3&tab=tests": "#sheet.tests li",
    "#view=sockets&tab=signal": "#sheet.signal tbody tr",
    "#view=graph&tab=parts": "#sheet.parts tbody tr",
}
#: The places whose colours are tried at night as well: every kind of text stands in them.
NIGHT = list(PLACES)[:3]


def violations(page, **only):
    """Return what axe-core finds, a line each."""
    from axe_playwright_python.base import AXE_FILE_PATH

    if not page.evaluate("'axe' in window"):
        source = AXE_FILE_PATH.read_text(encoding="utf-8")
        page.evaluate(f"(() => {{ {source} }})()")
    options = {"runOnly": {"type": "tag", "values": TAGS}, "rules": EXTRA, **only}
    options["resultTypes"] = ["violations"]
    found = page.evaluate("options => axe.run(document, options)", options)
    return [
        f"{one['id']}: {node['html'][:160]} {node['failureSummary'][:200]}"
        for one in found["violations"]
        for node in one["nodes"][:3]
    ]


def open_place(page, origin, at):
    """Go to a place of the page and wait until its drawing and its table are there."""
    page.goto(origin + at)
    view = at.partition("view=")[2].partition("&")[0] or "after"
    pane = {"both": "before", "graph": "graphafter"}.get(view, view)
    page.wait_for_selector(f"[data-pane={pane}] .sheet > [role=button]", state="attached")
    page.wait_for_selector(PLACES[at], state="attached")


def test_axe_finds_nothing(pager, look):
    page = look(pager, color_scheme="light")
    drawn(page)
    seen = {}
    for at in PLACES:
        open_place(page, pager.origin, at)
        seen[at] = violations(page)
    page.click("#keys-button")
    seen["keys"] = violations(page)
    assert {at: found for at, found in seen.items() if found} == {}


def test_axe_finds_no_colour_too_faint_at_night(pager, look):
    page = look(pager, color_scheme="dark")
    drawn(page)
    colours = {"type": "rule", "values": ["color-contrast"]}
    seen = {}
    for at in NIGHT:
        open_place(page, pager.origin, at)
        seen[at] = violations(page, runOnly=colours, rules={})
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


def complete(page, tab):
    """Wait until a tab shows what it has; one of long sums, its tables."""
    rows = " tbody tr" if tab in ("volts", "wires") else " > *"
    page.wait_for_selector(f"#sheet.{tab}{rows}", state="attached")


def test_at_200_percent_everything_is_reached_and_nothing_is_wider_than_the_screen(pager, look):
    page = look(pager, viewport={"width": 700, "height": 450}, device_scale_factor=2)
    drawn(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= 700
    for tab in ("check", "work", "volts", "wires", "tests", "options"):
        page.click(f"#tab-{tab}")
        complete(page, tab)
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
        complete(page, tab)
        assert page.evaluate("document.documentElement.scrollWidth") <= 390, tab


def test_the_order_of_tabs_is_short_and_what_has_the_focus_is_seen(pager, look):
    page = look(pager)
    drawn(page)

    def press_tab():
        page.keyboard.press("Tab")
        return page.evaluate(
            "(() => { const at = document.activeElement; const box = at.getBoundingClientRect();"
            " const strip = document.getElementById('strip').getBoundingClientRect();"
            " const free = at.closest('#strip, header, dialog') || at.className === 'skip'"
            " || box.bottom > strip.bottom;"
            " return `${at.id || at.className.baseVal || at.className || at.tagName}`"
            " + (free ? '' : ' HIDDEN') })()"
        )

    names = [press_tab() for _ in range(36)]
    assert not [name for name in names if "HIDDEN" in name]
    for place in ("skip", "find-name", "scene", "lines", "number", "panel"):
        assert any(place in name for name in names), (place, names)
    assert not [name for name in names if name.startswith("[object")], "the map is no stop"
    page.locator(".skip >> nth=1").press("Enter")
    assert press_tab() == "tab-check"
    assert press_tab() == "sheet"

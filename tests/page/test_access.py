"""The page for everyone: rules of accessibility by axe-core, touch, keys alone, 200 % zoom, without
scripts.
"""

from __future__ import annotations

from dataclasses import asdict

import pytest
from playwright.sync_api import expect
from test_page import SCHEMATIC, drawn

from rework.faultfinding.told import (
    Evidence,
    Explained,
    Meaning,
    Member,
    Nameless,
    Next,
    PairTold,
    PointTold,
    Told,
)
from rework.page.board import Board
from rework.page.figures import SUMS
from rework.report.story import Headline, lines, story_values
from rework.report.table import Column, Table

#: Rules of axe-core that are on; those of its best practices and the name of labels as well.
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
EXTRA = {"label-content-name-mismatch": {"enabled": True}}


#: Views of the page with something chosen, and what is there when they are complete.
PLACES = {
    "#part=V3&tab=volts&find=100k": "#sheet.volts tbody tr",
    "#view=both&node=CHASSIS&tab=work": "#sheet.work li",
    "#view=steps&step=3&tab=tests": "#sheet.tests li",
    "#view=sockets&tab=signal": "#sheet.signal tbody tr",
    "#view=graph&tab=parts": "#sheet.parts tbody tr",
}
#: The tabs whose answers take a command or a process of its own some seconds.
ANSWERED = ("summary", "supply", "options", "relatives", "trouble")
#: What axe looks at of a tab: of a long table or list the rows at its head, the worst, and every
#: row that has a mark.
SHEET = "#sheet", "#sheet tbody tr:nth-child(n+13):not([class]), #sheet li:nth-child(n+13)"
#: Both sizes that the page is made for.
SIZES = ((1400, 900), (390, 844))
#: What such a command says, of every kind there is.
STORY = (
    Headline("A heading", ": and more"),
    *lines("All is well.", look="good"),
    *lines("A hazard was found.", look="bad"),
    *lines("C10 volts 211 V of 150 V", look="close"),
    *lines("one", " and what belongs to it", look="list"),
    Table(
        "needs",
        "What it needs",
        "A note.",
        (Column("part", "name"), Column("what"), Column("amount", "figure", unit="V")),
        (("C10", "volts", 211.0), ("C11", "volts", 150.0)),
        parts=("C10", "C11"),
        marks=("bad", "good"),
    ),
)
AT = PointTold("V3", "1", "G3")
EVIDENCE = Evidence(AT, AT, "V3 pin 1 (grid) to common", "3.9 V", "4.72 V", 2.0)
#: What the tab Trouble shows, with a line of every kind.
TROUBLE = Told(
    side="after",
    verdict="explained",
    says="One class explains the readings.",
    readings=2,
    suspects=300,
    explanations=(
        Explained(
            (
                Member("V3 gassy", "gassy", "V3", (), 0.5),
                Member("C7 leaky", "leaky", "C7", (), 0.3),
            ),
            chance=0.8,
            sureness="likely one of these",
            speaks_for=(EVIDENCE,),
            speaks_against=(EVIDENCE,),
        ),
    ),
    again="",
    pairs=(PairTold(("V3 gassy", "R9 high"), ("V3", "R9"), 0.4),),
    next=Next(
        "V3 pin 1 (grid) to common",
        "ohms",
        "reading V3.1",
        AT,
        AT,
        "2 Mohm",
        False,
        1.2,
        "470 kohm",
        (Meaning("under 400 kohm", 0.6, ("C7 leaky",), 2),),
    ),
    perils=("C12 shorted: F1 opens.",),
    unsolved=(Nameless("R1 open", "no steady state"),),
    cautions=("Unplug the set.",),
    limits="Computed from the netlist.",
)


#: Marks of the texts in a part of the page those whose look (the letters, and every ground under
#: them) was on no text before. Whether one can read it is asked once a look, not once for each of the
#: thousand names on a drawing.
MARK_LOOKS = """([include, without]) => {
  globalThis.looks ??= new Set();
  let fresh = 0;
  for (const one of document.querySelectorAll(`${include}, ${include} *`)) {
    one.removeAttribute('data-look');
    if (![...one.childNodes].some(node => node.nodeType === 3 && node.data.trim())) continue;
    if (!one.checkVisibility() || (without && one.closest(without))) continue;
    const letters = getComputedStyle(one);
    const look = [letters.color, letters.fill, letters.fontSize, letters.fontWeight];
    for (let at = one; at; at = at.parentElement) {
      const ground = getComputedStyle(at);
      look.push(ground.backgroundColor, ground.opacity, at.getAttribute('class'));
    }
    if (globalThis.looks.has(look.join())) continue;
    globalThis.looks.add(look.join());
    one.setAttribute('data-look', '');
    fresh += 1;
  }
  return fresh;
}"""
CONTRAST = "color-contrast"


def violations(page, include="html", without="", *, only_colours=False):
    """Return what axe-core finds in a part of the page, a line each."""
    from axe_playwright_python.base import AXE_FILE_PATH

    if not page.evaluate("'axe' in window"):
        source = AXE_FILE_PATH.read_text(encoding="utf-8")
        page.evaluate(f"(() => {{ {source} }})()")
        page.evaluate("id => axe.configure({ rules: [{ id, selector: '[data-look]' }] })", CONTRAST)
    looks = page.evaluate(MARK_LOOKS, [include, without])
    if only_colours and not looks:
        return []
    options = (
        {"runOnly": {"type": "rule", "values": [CONTRAST]}}
        if only_colours
        else {"runOnly": {"type": "tag", "values": TAGS}, "rules": EXTRA}
    )
    found = page.evaluate(
        "([context, options]) => axe.run(context, options)",
        [
            {"include": [include], "exclude": [without] if without else []},
            {**options, "resultTypes": ["violations"]},
        ],
    )["violations"]
    return [
        f"{one['id']}: {node['html'][:160]} {node['failureSummary'][:200]}"
        for one in found
        for node in one["nodes"][:3]
    ]


def answered(page):
    """Answer the tabs that ask a command or a process with what is said of every kind."""
    board, said = Board(), {f"said.{name}": STORY for name in ANSWERED[:-1]}
    page.route("**/said/*", lambda route: route.fulfill(json=None))
    told = {**asdict(TROUBLE), "is_open": True}
    page.route("**/trouble?*", lambda route: route.fulfill(json=told))
    page.wait_for_function(
        "async () => Boolean((await import('./store.js')).piece('read'))", timeout=60_000
    )
    at = page.evaluate("async () => (await import('./store.js')).piece('read').at")
    for key, story in said.items():
        board.put(key, {"at": at, "blocks": story_values(story)})
        page.evaluate(
            "async ([key, value]) => (await import('./store.js')).put(key, value)",
            [key, board.piece(key)],
        )


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


@pytest.mark.parametrize(("theme", "size"), [("light", SIZES[0]), ("dark", SIZES[1])])
def test_axe_finds_nothing_in_any_tab(pager, look, theme, size):
    # The lightest view: axe weighs all that is shown. It looked at the drawings above.
    page = look(pager, "#part=V3&view=sockets", color_scheme=theme)
    page.wait_for_selector("[data-pane=sockets] .sheet [data-part=V3]", state="attached")
    answered(page)
    # What is not a matter of colour is the same at night.
    night = theme == "dark"
    seen = {"page": violations(page, only_colours=True) if night else []}
    tabs = page.eval_on_selector_all("#tabs [role=tab]", "all => all.map(one => one.dataset.tab)")
    assert len(tabs) == 16
    assert set(ANSWERED) < set(tabs)
    for tab in tabs:
        page.evaluate("async tab => (await import('./store.js')).choose({ tab })", tab)
        full = "tbody tr" if tab in ANSWERED or tab in SUMS else "> *"
        page.wait_for_selector(f"#sheet.{tab} {full}", state="attached")
        for width, height in SIZES:
            page.set_viewport_size({"width": width, "height": height})
            looked = (width, height) == size
            seen[tab, width] = violations(page, *SHEET, only_colours=night) if looked else []
            wide = page.evaluate("document.documentElement.scrollWidth")
            seen[tab, width] += [f"{wide} pixels wide"] if wide > width else []
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
    for tab in ("check", "work", "volts", "wires", "tests"):
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

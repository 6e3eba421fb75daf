"""The page in a real browser, as the bench uses it: look, choose, turn the plug, step, find, save a
file and see it.
"""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect
from serving import serve

SCHEMATIC = "[data-pane=after] .sheet"
#: Letters of this many pixels can be read on a screen (this project's own choice).
READABLE = 10.5
#: A set that is drawn at once, with names that a page must not take for markup.
HOSTILE = """circuit "<img src=x onerror=alert(1)>"
mains 117 V 60 Hz
P1  plug two-blade : line=L1, neutral=COMMON
R1  resistor 10k 2 W : L1 -- IN
open G1
R4  pot 500k audio : cw=IN, wiper=G1, ccw=COMMON "<script>alert(2)</script>"
"""


def drawn(page, pane="after"):
    page.wait_for_selector(f"[data-pane={pane}] .sheet [data-part=R4]")


def letters(page, pane="after"):
    """Return the height of the letters beside R4 on the screen, pixels of the font."""
    return page.evaluate(
        "pane => { const text = document.querySelector("
        "`[data-pane=${pane}] .sheet [data-part=R4] text`);"
        " return Number(text.getAttribute('font-size')) * text.getScreenCTM().a }",
        pane,
    )


def in_sight(page, selector):
    return page.evaluate(
        "selector => { const box = document.querySelector(selector).getBoundingClientRect();"
        " const host = document.querySelector(selector).closest('.glass').getBoundingClientRect();"
        " return box.left >= host.left && box.right <= host.right && box.top >= host.top"
        " && box.bottom <= host.bottom }",
        selector,
    )


@pytest.mark.parametrize("screen", [(1400, 900), (390, 844)])
def test_the_schematic_is_the_first_thing_seen_and_can_be_read(pager, look, screen):
    page = look(pager, viewport={"width": screen[0], "height": screen[1]})
    drawn(page)
    assert letters(page) >= READABLE
    box = page.locator("[data-pane=after] .scene").bounding_box()
    assert box["y"] < 0.45 * screen[1]
    assert box["y"] + 300 < screen[1]
    assert page.evaluate("document.documentElement.scrollWidth") <= screen[0]
    page.click("#zoom-fit")
    assert letters(page) < READABLE
    page.click("#zoom-read")
    assert letters(page) >= READABLE


def test_it_opens_with_verdicts_drawings_and_every_table(pager, look):
    page = look(pager)
    drawn(page)
    strip = page.locator("#strip")
    expect(strip).to_contain_text(re.compile(r"HAZARD: \d+ tied, 4 in reach"))
    expect(strip).to_contain_text("nothing found")
    expect(strip).to_contain_text("wiring complete")
    for tab, words in (
        ("check", "C9"),
        ("changes", "tubes exchanged"),
        ("work", "Record and discharge"),
        ("parts", "Parts to fit"),
        ("wires", "Wires to run"),
        ("tests", "Earth continuity"),
        ("summary", "The finished set"),
        ("ohms", "What an ohmmeter should read"),
        ("volts", "Volts at the tube pins"),
        ("touch", "Touch current"),
        ("faults", "fault"),
    ):
        page.click(f"#tab-{tab}")
        expect(page.locator("#sheet")).to_contain_text(words, timeout=90_000)
    expect(strip).to_contain_text(re.compile(r"(\d+) of \1 over the limit"), timeout=90_000)
    expect(strip).to_contain_text(re.compile(r"[\d.]+ mA, OVER 0.5 mA"))
    page.mouse.wheel(0, 2000)
    assert page.evaluate("document.getElementById('strip').getBoundingClientRect().top") >= 0


def test_side_by_side_is_beside_and_sockets_are_apart(pager, look):
    page = look(pager, "#view=both")
    drawn(page)
    drawn(page, "before")
    one, other = (
        page.locator(f"[data-pane={side}]").bounding_box() for side in ("before", "after")
    )
    assert abs(one["y"] - other["y"]) < 2
    assert one["x"] + one["width"] <= other["x"]
    page.click("label:has-text('Sockets')")
    sockets = page.locator("[data-pane=sockets] .sheet > [data-part]")
    expect(sockets.nth(6)).to_be_attached()
    rims = page.locator("[data-pane=sockets] circle.rim")
    boxes = [rims.nth(number).bounding_box() for number in range(rims.count())]
    assert len(boxes) == sockets.count()
    for number, box in enumerate(boxes):
        for other in boxes[:number]:
            across = abs(box["x"] - other["x"]) >= box["width"]
            down = abs(box["y"] - other["y"]) >= box["height"]
            assert across or down, "two sockets lie over one another"
    assert page.locator("[data-pane=sockets] .rewired").count() > 0


def test_a_part_chosen_in_the_drawing_is_told_before_and_after_with_its_edits(pager, look):
    page = look(pager)
    drawn(page)
    page.click(f"{SCHEMATIC} > [data-part=V1]:not([data-unit=heater]) >> nth=0")
    panel = page.locator("#panel")
    expect(panel.locator("h2")).to_have_text("V1")
    expect(panel.locator(".state")).to_have_text("changed and rewired")
    expect(panel.locator("section.before")).to_contain_text("tube 12BA6")
    expect(panel.locator("section.before")).to_contain_text("pin 5 (plate)")
    expect(panel.locator("section.after")).to_contain_text("tube 6BA6")
    expect(panel).to_contain_text("put a 6BA6 in as V1")
    expect(panel.locator("section.after")).to_contain_text(" V DC")
    expect(page.locator("#lines .line.chosen")).to_contain_text("tube 12BA6")
    page.go_back()
    expect(panel.locator("h2")).to_have_text("In this position")


def test_volts_are_told_as_a_meter_reads_them_and_the_line_side_is_not_probed(pager, look):
    page = look(pager, "#node=L1")
    before = page.locator("#panel section.before")
    expect(before).to_contain_text("117 V AC")
    page.goto(pager.origin + "#node=SUPPLY/L1")
    after = page.locator("#panel section.after")
    expect(after).to_contain_text("do not probe")
    expect(after.locator("input")).to_have_count(0)
    page.goto(pager.origin + "#node=HEAT1")
    expect(after).to_contain_text("V AC")
    expect(after).not_to_contain_text("0.00 V")
    expect(after).to_contain_text("brown, heaters")


def test_the_pointer_lights_a_node_in_drawing_and_netlist_and_tells_of_it(pager, look):
    page = look(pager)
    drawn(page)
    page.locator("#tab-volts").click()
    expect(page.locator("#sheet")).to_contain_text("PL1")
    page.evaluate("scrollTo(0, 0)")
    page.hover("#lines [data-node=PL1] >> nth=0")
    for place in (SCHEMATIC, "#lines", "#sheet"):
        assert page.locator(f"{place} .lit[data-node=PL1]").count() > 0, place
    tip = page.locator("#tip")
    for words in ("PL1", "V DC", "blue, plates", "No tie to the mains"):
        expect(tip).to_contain_text(words)
    wire = page.locator(
        f"{SCHEMATIC} > [data-node=B3][data-line] path.reach >> nth=0"
    ).bounding_box()
    page.mouse.move(wire["x"] + wire["width"] / 2, wire["y"] + wire["height"] / 2)
    expect(tip).to_contain_text("B3")
    assert page.locator("#lines .lit[data-node=B3]").count() > 0
    assert page.locator(".lit[data-node=PL1]").count() == 0


def test_a_line_of_the_netlist_and_its_part_lead_to_one_another(pager, look):
    page = look(pager)
    drawn(page)
    page.click("#lines button.number[aria-label$=': R9']")
    expect(page.locator("#panel h2")).to_have_text("R9")
    assert in_sight(page, f"{SCHEMATIC} > [data-part=R9]")
    page.click("#files button:has-text('supply.circuit')")
    page.click("#lines .line .part >> nth=0")
    part = page.locator("#panel h2").inner_text()
    assert part.startswith("SUPPLY/")
    page.goto(pager.origin + "#part=C4")
    expect(page.locator("#files button[aria-pressed=true]")).to_have_text("pager.circuit")
    expect(page.locator("#lines .line.chosen .part >> nth=0")).to_have_text("C4")
    page.click("#files button:has-text('pager.job')")
    page.click("#lines button.number[aria-label$=': step 3']")
    expect(page.locator("#step-count")).to_have_text(re.compile("^3 of "))


@pytest.mark.parametrize(
    ("typed", "first", "more"),
    [
        ("R4", "R4", 0),
        ("100k", "R4", 0),
        ("6A*", "V2", 1),
        ("electrolytic", "C", 5),
        ("b2", "B2", 0),
        ("plates", "PL", 2),
        ("renew-filter*", "renew-filter-capacitor", 0),
        ("*filter*", "re", 1),
    ],
)
def test_find_takes_names_types_values_colours_and_rules(found, typed, first, more):
    found.fill("#find-name", "")
    found.fill("#find-name", typed)
    expect(found.locator("#found li[role=option] b >> nth=0")).to_contain_text(first)
    assert found.locator("#found li[role=option] b").count() > more
    found.keyboard.press("Enter")
    if "-" in first:
        expect(found.locator("#step-bar")).to_contain_text(first)
    elif first in ("R4", "V2", "B2"):
        expect(found.locator("#panel h2")).to_have_text(first)
    assert f"find={typed}".replace("*", "*") in found.url.replace("%2A", "*")


@pytest.fixture(scope="module")
def found(served, chromium):
    """Return one page for every pattern that is tried."""
    context = chromium.new_context(viewport={"width": 1400, "height": 900}, reduced_motion="reduce")
    page = context.new_page()
    page.goto(served.address)
    page.wait_for_url(served.origin)
    drawn(page)
    yield page
    context.close()


def test_what_is_not_found_is_said(found):
    found.fill("#find-name", "XYZ9")
    expect(found.locator("#found")).to_contain_text("Nothing found.")
    expect(found.locator("#find-name")).to_have_attribute("aria-invalid", "true")


def test_a_part_is_reached_and_chosen_by_keys_alone(pager, look):
    page = look(pager)
    drawn(page)
    page.locator("[data-pane=after] svg.scene").focus()
    page.keyboard.press("Enter")
    first = page.evaluate("document.activeElement.dataset.key")
    page.keyboard.press("ArrowRight")
    assert page.evaluate("document.activeElement.dataset.key") != first
    named = "(it => it.getAttribute('aria-label') ?? it.textContent)(document.activeElement).trim()"
    assert page.evaluate(named)
    page.keyboard.press("Enter")
    expect(page.locator("#panel .state")).to_be_visible()
    expect(page.locator("#tip")).to_be_visible()
    page.keyboard.press("Escape")
    page.keyboard.press("Escape")
    expect(page.locator("#panel h2")).to_have_text("In this position")
    page.keyboard.press("/")
    page.keyboard.type("B3")
    page.keyboard.press("Enter")
    expect(page.locator("#panel h2")).to_have_text("B3")


def test_zoom_keeps_to_what_is_chosen(pager, look):
    page = look(pager, "#part=R13")
    drawn(page)
    for _ in range(5):
        page.click("#zoom-in")
    assert in_sight(page, f"{SCHEMATIC} > [data-part=R13]")
    assert letters(page) > 20


def test_turning_the_plug_round_makes_the_chassis_hot_by_a_path_in_words(pager, look):
    page = look(pager, "#view=before&node=CHASSIS")
    drawn(page, "before")
    before = page.locator("#panel section.before")
    expect(before.locator(".standing")).to_contain_text("tied in this position")
    page.click("#positions label:has-text('reversed')")
    expect(before.locator(".standing")).to_contain_text("HOT by cap.")
    expect(before.locator(".standing")).to_contain_text("Through C9")
    expect(before).to_contain_text("P1.neutral > COMMON > C9.1-2 > CHASSIS")
    expect(page.locator("#panel section.after")).to_contain_text("No tie to the mains found")
    assert page.locator("[data-pane=before] .above .word", has_text="HOT").count() > 5, (
        "the word stands at the nodes"
    )


def test_the_switch_off_leaves_less_of_the_line_hot(pager, look):
    page = look(pager, "#at.SUPPLY/X2=pulled")
    drawn(page)
    hot = page.locator("#panel section.after .standing.direct button.go")
    page.click("#positions label:has-text('pulled')")
    expect(hot).not_to_have_count(0)
    on = hot.count()
    page.click("#positions fieldset:has-text('S1') label:has-text('OFF')")
    expect(hot).not_to_have_count(on)
    assert hot.count() < on
    assert "at.S1=OFF" in page.url


def test_the_address_brings_another_window_to_the_same_place(pager, look):
    page = look(pager, "#view=steps&step=8&part=V2&tab=parts&at.plug=reversed")
    page.wait_for_selector("[data-pane=steps] .sheet > [data-part=V2]")
    expect(page.locator("#step-count")).to_have_text(re.compile("^8 of "))
    expect(page.locator("#panel h2")).to_have_text("V2")
    expect(page.locator("#sheet")).to_contain_text("Parts to fit")
    assert page.locator("#positions input[value=reversed]").is_checked()
    page.click("label:has-text('Before')")
    page.keyboard.press("g")
    page.go_back()
    expect(page.locator("[data-pane=before]")).to_be_visible()
    page.go_back()
    expect(page.locator("#step-count")).to_have_text(re.compile("^8 of "))
    page.reload()
    expect(page.locator("#step-count")).to_have_text(re.compile("^8 of "))
    expect(page.locator("#panel h2")).to_have_text("V2")


def test_a_step_is_drawn_in_the_places_of_before_and_after(pager, look):
    page = look(pager)
    drawn(page)
    place = "name => document.querySelector(name).getBBox().x"
    after = page.evaluate(place, f"{SCHEMATIC} > [data-part=T1] path")
    page.keyboard.press("s")
    page.wait_for_selector("[data-pane=steps] .sheet > [data-part=C9]")
    step = page.evaluate(place, "[data-pane=steps] .sheet > [data-part=T1] path")
    assert step == after
    page.click("button[data-step=next]")
    page.click("button[data-step=next]")
    expect(page.locator("#step-bar")).to_contain_text("apply open-line-to-chassis")
    page.wait_for_selector("[data-pane=steps] .sheet > [data-part=C9][data-state=ghost]")
    for _ in range(6):
        page.keyboard.press("]")
    expect(page.locator("#step-count")).to_have_text(re.compile("^8 of "))
    page.wait_for_selector("[data-pane=steps] .sheet > [data-part=V2][data-state=changed]")


def test_a_saved_file_is_drawn_anew_in_place(pager, look):
    page = look(pager)
    drawn(page)
    page.click(f"{SCHEMATIC} > [data-part=R4]")
    page.click("#zoom-in")
    box = page.get_attribute("[data-pane=after] svg.scene", "viewBox")
    untouched = page.locator(f"{SCHEMATIC} > [data-part=C1]").element_handle()
    pager.write("pager.circuit", "R4  resistor 100k", "R4  resistor 110k")
    page.wait_for_selector(f"{SCHEMATIC} > [data-part=R4] text:has-text('110k')")
    expect(page.locator("#panel")).to_contain_text("resistor 110k")
    expect(page.locator("#lines .line.chosen")).to_contain_text("110k")
    expect(page.locator("#live")).to_contain_text("Updated")
    assert page.get_attribute("[data-pane=after] svg.scene", "viewBox") == box
    assert untouched.evaluate("it => it.isConnected"), "what did not change was not drawn anew"


def test_a_mistake_stands_in_its_line_with_its_remedy_and_the_last_good_state_is_marked(
    pager, look
):
    page = look(pager)
    drawn(page)
    pager.write("pager.job", "apply take-out-dropper", "apply take-out-droper")
    problems = page.locator("#problems")
    expect(problems).to_contain_text("there is no rule take-out-droper")
    expect(problems).to_contain_text("pager.job:9:7")
    expect(problems).to_contain_text("^^^")
    expect(problems).to_contain_text("Showing the last good version")
    line = page.locator("#lines .line[data-line='9']")
    expect(line).to_contain_text("apply take-out-droper")
    expect(line.locator(".problem pre")).to_have_text(re.compile(r"^ {6}\^{15,}$"))
    expect(line).to_contain_text("did you mean take-out-dropper?")
    expect(page.locator("#files button", has_text="pager.job")).to_have_class("wrong")
    assert page.locator("body[data-stale] [data-pane=after] [data-part=R4]").count() > 0
    pager.write("pager.job", "apply take-out-droper", "apply take-out-dropper")
    expect(problems).to_be_hidden()
    assert page.locator("body[data-stale]").count() == 0


def test_hostile_names_are_shown_as_text(tmp_path, look):
    (tmp_path / "night.circuit").write_text(HOSTILE, encoding="utf-8")
    (tmp_path / "night.job").write_text('circuit "night.circuit"\n', encoding="utf-8")
    one = serve(tmp_path, "night.job")
    try:
        page = look(one, "#part=R4")
        page.on("dialog", lambda dialog: pytest.fail("markup ran"))
        drawn(page)
        expect(page.locator("#set")).to_contain_text("<img src=x onerror=alert(1)>")
        expect(page.locator("#panel")).to_contain_text("<script>alert(2)</script>")
        expect(page.locator("#lines")).to_contain_text("<script>alert(2)</script>")
        assert page.locator("img, #panel script").count() == 0
        page.goto(one.origin + "plain")
        expect(page.locator("main")).to_contain_text("<script>alert(2)</script>")
    finally:
        one.stop()

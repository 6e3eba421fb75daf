"""The page in a real browser, as the bench uses it: look, choose, turn the plug, step, save a file
and see it.
"""

from __future__ import annotations

import shutil

import pytest
from playwright.sync_api import expect
from serving import CIRCUITS, serve


def drawn(page, pane="after"):
    page.wait_for_selector(f"[data-pane={pane}] .sheet [data-part=R4]")


def test_it_opens_with_verdicts_drawings_and_every_table(pager, look):
    page = look(pager.address)
    drawn(page)
    drawn(page, "before")
    expect(page.locator("#verdicts")).to_contain_text("hazard found")
    expect(page.locator("#verdicts")).to_contain_text("nothing found in the netlist as written")
    for tab, words in (
        ("check", "C9"),
        ("changes", "tubes exchanged"),
        ("work", "Record and discharge"),
        ("parts", "Parts to fit"),
        ("wires", "Wires to run"),
        ("tests", "Earth continuity"),
        ("ohms", "What an ohmmeter should read"),
    ):
        page.click(f"#tab-{tab}")
        expect(page.locator("#sheet")).to_contain_text(words, timeout=60_000)
    page.click("#tab-volts")
    expect(page.locator("#sheet")).to_contain_text("Volts at the tube pins", timeout=60_000)
    expect(page.locator("#sheet")).to_contain_text("6AQ5")


def test_a_part_chosen_in_the_drawing_is_told_before_and_after_with_its_edits(pager, look):
    page = look(pager.address)
    page.click("label:has-text('After')")
    drawn(page)
    page.click("[data-pane=after] .sheet > [data-part=V3]:not([data-unit])")
    panel = page.locator("#panel")
    expect(panel.locator("h2")).to_have_text("V3")
    expect(panel.locator("section.before")).to_contain_text("tube 50C5")
    expect(panel.locator("section.before")).to_contain_text("pin 7 (plate)")
    expect(panel.locator("section.after")).to_contain_text("tube 6AQ5")
    expect(panel).to_contain_text("put a 6AQ5 in as V3")
    expect(panel.locator("section.after .figure").nth(4)).to_contain_text(" V")


def test_a_part_is_reached_and_chosen_by_keys_alone(pager, look):
    page = look(pager.address)
    drawn(page)
    page.locator("[data-pane=before] svg").focus()
    page.keyboard.press("Enter")
    first = page.evaluate("document.activeElement.dataset.key")
    page.keyboard.press("ArrowRight")
    assert page.evaluate("document.activeElement.dataset.key") != first
    assert page.evaluate("document.activeElement.getAttribute('aria-label')")
    page.keyboard.press("Enter")
    expect(page.locator("#panel .state")).to_be_visible()
    page.keyboard.press("Escape")
    page.keyboard.press("Escape")
    expect(page.locator("#panel h2")).to_have_text("In this position")


def test_turning_the_plug_round_makes_the_chassis_hot_by_a_path_in_words(pager, look):
    page = look(pager.address)
    drawn(page, "before")
    page.fill("#find-name", "CHASSIS")
    page.keyboard.press("Enter")
    before = page.locator("#panel section.before")
    expect(before.locator(".standing")).to_contain_text("tied in this position")
    page.click("#positions label:has-text('reversed')")
    expect(before.locator(".standing")).to_contain_text("HOT by cap.")
    expect(before.locator(".standing")).to_contain_text("Through C9")
    expect(before).to_contain_text("P1.neutral > COMMON > C9.1-2 > CHASSIS")
    expect(page.locator("#panel section.after")).to_contain_text(
        "No tie to the mains was found in the netlist as written."
    )
    assert page.locator("[data-pane=before] .above .strip.capacitor").count() > 0, (
        "the strip bears the pattern of a capacitor"
    )
    assert page.locator("[data-pane=before] .above .word", has_text="HOT").count() > 5, (
        "the word stands at the nodes"
    )


def test_the_switch_off_leaves_less_of_the_line_hot(pager, look):
    page = look(pager.address)
    drawn(page)
    page.click("#positions label:has-text('pulled')")
    hot = page.locator("#panel section.after .standing.direct button.go")
    expect(hot).to_have_count(5)
    page.click("#positions fieldset:has-text('S1') label:has-text('OFF')")
    expect(hot).not_to_have_count(5)


def test_stepping_through_the_rules_changes_the_graph_and_marks_what_was_edited(pager, look):
    page = look(pager.address)
    drawn(page)
    page.keyboard.press("s")
    page.wait_for_selector("[data-pane=steps] .sheet > [data-part=C9]")
    page.click("button[data-step=next]")
    expect(page.locator("#step-bar")).to_contain_text("apply open-line-to-chassis")
    page.wait_for_selector("[data-pane=steps] .sheet > [data-key^='gone '][data-part=C9]")
    for _ in range(6):
        page.keyboard.press("]")
    expect(page.locator("#step-count")).to_have_text("7 of 16")
    page.wait_for_selector("[data-pane=steps] .sheet > [data-part=V2][data-state=changed]")
    assert page.locator("[data-pane=steps] .sheet > [data-part=C9]").count() == 0


def test_a_saved_file_is_drawn_anew_in_place(pager, look):
    page = look(pager.address)
    page.click("label:has-text('After')")
    drawn(page)
    page.click("[data-pane=after] .sheet > [data-part=R4]")
    page.click("#zoom-in")
    box = page.get_attribute("[data-pane=after] svg", "viewBox")
    page.click("#tab-faults")
    expect(page.locator("#sheet details")).to_have_count(4, timeout=90_000)
    untouched = page.locator("[data-pane=after] .sheet > [data-part=SP1]").element_handle()
    pager.write("pager.circuit", "R4  resistor 100k", "R4  resistor 110k")
    page.wait_for_selector("[data-pane=after] .sheet > [data-part=R4] text:has-text('110k')")
    expect(page.locator("#panel")).to_contain_text("resistor 110k")
    expect(page.locator("#live")).to_contain_text("Updated")
    assert page.get_attribute("[data-pane=after] svg", "viewBox") == box
    assert untouched.evaluate("it => it.isConnected"), "what did not change was not drawn anew"


def test_a_mistake_is_told_with_its_place_and_the_last_good_state_stays_marked(pager, look):
    page = look(pager.address)
    drawn(page)
    pager.write("pager.job", "apply take-out-dropper", "apply take-out-droper")
    problems = page.locator("#problems")
    expect(problems).to_contain_text("there is no rule take-out-droper")
    expect(problems).to_contain_text("pager.job:9:7")
    expect(problems).to_contain_text("^^^")
    expect(problems).to_contain_text("did you mean take-out-dropper?")
    assert page.locator("body[data-stale] [data-pane=after] [data-part=R4]").count() > 0
    pager.write("pager.job", "apply take-out-droper", "apply take-out-dropper")
    expect(problems).to_be_hidden()
    assert page.locator("body[data-stale]").count() == 0


def test_a_reading_in_the_job_stands_against_its_band(pager, look):
    page = look(pager.address)
    drawn(page)
    page.click("#tab-volts")
    expect(page.locator("#sheet")).to_contain_text("Volts at the tube pins", timeout=60_000)
    pager.write("pager.job", "labour 8 h", "reading V3.plate 120 V\nlabour 8 h")
    outside = page.locator("#sheet tr.bad", has_text="outside")
    expect(outside).to_contain_text("V3 6AQ5", timeout=60_000)
    expect(outside.get_by_role("cell", name="120", exact=True)).to_be_visible()


def test_hostile_names_are_shown_as_text(tmp_path, look):
    folder = tmp_path / "job"
    shutil.copytree(CIRCUITS / "pager", folder)
    text = (folder / "pager.circuit").read_text(encoding="utf-8")
    text = text.replace('"Sawmill pager, as found"', '"<img src=x onerror=alert(1)>"').replace(
        '"volume"', '"<script>alert(2)</script>"'
    )
    (folder / "pager.circuit").write_text(text, encoding="utf-8")
    one = serve(folder)
    try:
        page = look(one.address)
        page.on("dialog", lambda dialog: pytest.fail("markup ran"))
        drawn(page)
        expect(page.locator("#set")).to_contain_text("<img src=x onerror=alert(1)>")
        page.fill("#find-name", "R6")
        page.keyboard.press("Enter")
        expect(page.locator("#panel")).to_contain_text("<script>alert(2)</script>")
        assert page.locator("img, #panel script").count() == 0
    finally:
        one.stop()


def test_on_a_phone_nothing_is_wider_than_the_screen_and_at_night_it_is_dark(pager, look):
    page = look(
        pager.address,
        viewport={"width": 390, "height": 844},
        has_touch=True,
        is_mobile=True,
        color_scheme="dark",
    )
    drawn(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert page.evaluate("document.documentElement.dataset.theme") == "dark"
    for tab in ("check", "work", "volts", "wires"):
        page.evaluate(f"document.getElementById('tab-{tab}').click()")
        page.wait_for_timeout(100)
        assert page.evaluate("document.documentElement.scrollWidth") <= 390, tab


def test_the_page_says_when_it_is_not_followed_any_more(pager, look):
    page = look(pager.address)
    drawn(page)
    pager.stop()
    expect(page.locator("#live")).to_contain_text("Not followed any more")

"""What the bench types on the page and takes away from it: readings, ticks, results; CSV, SVG, PDF."""

from __future__ import annotations

import shutil
import tomllib

from playwright.sync_api import expect
from serving import CASES, serve
from test_page import drawn


def test_a_reading_typed_at_a_pin_is_written_and_held_against_its_band(pager, look):
    page = look(pager, "#part=V3&tab=volts")
    drawn(page)
    expect(page.locator("#sheet")).to_contain_text("Volts at the tube pins")
    field = page.locator("#panel input[data-at='V3.5']")
    field.fill("120")
    field.press("Enter")
    outside = page.locator("#sheet tr.bad", has_text="outside")
    expect(outside).to_contain_text("V3 6AQ5")
    expect(outside.get_by_role("cell", name="120", exact=True)).to_be_visible()
    assert "\nreading V3.5 120 V\n" in (pager.folder / "pager.job").read_text(encoding="utf-8")
    expect(page.locator("#panel .read.bad")).to_contain_text("read 120 V, OUTSIDE the band")
    expect(page.locator("#panel input[data-at='V3.5']")).to_have_value("120 V")
    page.locator("#panel input[data-at='V3.5']").fill("lots")
    page.locator("#panel input[data-at='V3.5']").press("Enter")
    expect(page.locator("#refused")).to_contain_text("lots")
    assert "reading V3.5 120 V\n" in (pager.folder / "pager.job").read_text(encoding="utf-8")
    page.seen.told.clear()  # the browser tells of the refusal too


def test_a_reading_in_the_job_by_element_stands_at_its_pin(pager, look):
    page = look(pager, "#part=V3")
    drawn(page)
    pager.write("pager.job", "labour 8 h", "reading V3.plate 188 V\nlabour 8 h")
    field = page.locator("#panel input[data-at='V3.5']")
    expect(field).to_have_value("188 V")
    field.fill("190 V")
    field.press("Enter")
    expect(page.locator("#lines")).to_be_visible()
    page.wait_for_function(
        "() => document.querySelector(\"#panel input[data-at='V3.5']\")?.value === '190 V'"
    )
    text = (pager.folder / "pager.job").read_text(encoding="utf-8")
    assert "reading V3.plate 190 V\nlabour" in text
    assert text.count("reading V3") == 1


def test_ticks_and_results_are_kept_in_the_record_and_found_again(pager, look):
    page = look(pager, "#tab=work")
    drawn(page)
    box = page.locator("#sheet input[type=checkbox] >> nth=1")
    box.check()
    record = pager.folder / "pager.record.toml"
    page.click("#tab-tests")
    page.fill("#sheet li:has-text('Earth continuity') [data-field=result]", "0.04 ohm")
    page.press("#sheet li:has-text('Earth continuity') [data-field=result]", "Tab")
    expect(
        page.locator("#sheet li:has-text('Earth continuity') input[type=checkbox]")
    ).to_be_checked()
    page.select_option("#sheet li:has-text('Earth continuity') [data-field=verdict]", "pass")
    page.fill("#sheet [data-field='Plate number']", "SM 114")
    page.press("#sheet [data-field='Plate number']", "Tab")
    other = look(pager, "#tab=tests")
    expect(other.locator("#sheet [data-field='Plate number']")).to_have_value("SM 114")
    line = other.locator("#sheet li:has-text('Earth continuity')")
    expect(line.locator("[data-field=result]")).to_have_value("0.04 ohm")
    expect(line.locator("[data-field=verdict]")).to_have_value("pass")
    rows = tomllib.loads(record.read_text(encoding="utf-8"))["entry"]
    assert [row["kind"] for row in rows] == ["work", "test", "set"]
    assert rows[1]["result"] == "0.04 ohm"


def test_tables_and_drawings_are_taken_away(pager, look):
    page = look(pager, "#tab=wires")
    drawn(page)
    page.context.grant_permissions(["clipboard-read", "clipboard-write"])
    page.click("#sheet .keep button")
    expect(page.locator("#sheet .keep button")).to_have_text("Copied")
    copied = page.evaluate("navigator.clipboard.readText()")
    assert copied.splitlines()[0] == "name\tcolour\tgauge\tmake\tfrom\tto"
    with page.expect_download() as csv:
        page.click("#sheet .keep a")
    assert csv.value.suggested_filename == "pager-lists-wires.csv"
    for words, name in (("SVG", "pager-after.svg"), ("SUPPLY PDF", "pager-after-SUPPLY.pdf")):
        with page.expect_download() as drawing:
            page.click(f"[data-pane=after] .files a:text-is('{words}')")
        assert drawing.value.suggested_filename == name


def test_a_tab_finds_the_page_again_after_a_restart(look, tmp_path):
    for name in ("stub.circuit", "stub.job"):
        shutil.copy(CASES / name, tmp_path)
    one = serve(tmp_path, "stub.job")
    page = look(one, "#part=R1")
    page.wait_for_selector("[data-pane=after] .sheet [data-part=R1]")
    expect(page.locator("#live")).to_contain_text("Follows")
    one.stop()
    expect(page.locator("#live")).to_contain_text("Not followed any more")
    again = serve(tmp_path, "stub.job")
    expect(page.locator("#live")).to_contain_text("Updated")
    expect(page.locator("#panel h2")).to_have_text("R1")
    again.write("stub.circuit", "R1  resistor 220k", "R1  resistor 240k")
    expect(page.locator("#panel")).to_contain_text("resistor 240k")
    page.goto("about:blank")
    page.seen.told.clear()  # the browser tells of the connection that was lost
    page.seen.asked[:] = [url for url in page.seen.asked if url != "about:blank"]
    again.stop()

"""The Trouble tab as a bench uses it: a reading is typed, the ranking changes, and what to read next
is lit on the schematic and on the socket.
"""

from __future__ import annotations

import pytest
from playwright.sync_api import expect
from serving import serve

#: One tube on a supply of its own: few troubles, so that the test does not wait for them.
SET = """
circuit "One tube on the bench"
mains 117 V 60 Hz
P1 plug three-pin : line=L1, neutral=N1, earth=CHASSIS
F1 fuse 0.2 A 250 V slow : L1 -- L2
T1 transformer 30 VA : primary 117 V dcr 20 ohm = L2 -- N1, hv 180 V 30 mA dcr 300 ohm = HV -- COMMON, heater 6.3 V 1 A dcr 0.2 ohm = H1 -- COMMON, core=CHASSIS
D1 diode 1 A 1000 V : HV -- B1
C1 electrolytic 47 uF 350 V : B1 -- COMMON
R1 resistor 47k 2 W 10% bleeder : B1 -- COMMON
CH1 chassis : CHASSIS
W1 wire : COMMON -- CHASSIS
V1 tube 6C4 : grid=COMMON, cathode=K1, 3=H1, 4=COMMON, plate=PL1
R3 resistor 47k 1 W 10% : B1 -- PL1
R4 resistor 1k 1 W 10% : K1 -- COMMON
"""


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    folder = tmp_path_factory.mktemp("trouble")
    (folder / "bench.circuit").write_text(SET, encoding="utf-8")
    (folder / "bench.job").write_text(
        'job "On the bench"\ncircuit "bench.circuit"\n', encoding="utf-8"
    )
    one = serve(folder, "bench.job")
    yield one
    one.stop()


def test_a_reading_that_is_typed_ranks_the_troubles_and_lights_the_next_point(bench, look):
    page = look(bench, "#tab=trouble&view=sockets")
    sheet = page.locator("#sheet")
    field = sheet.locator("section.next input.reading")
    expect(field).to_have_attribute("data-line", "reading V1.1 ___ ohm off")
    expect(page.locator("[data-pane=sockets] rect.next").first).to_be_attached()
    page.goto(bench.origin + "#tab=trouble&view=after")
    expect(page.locator("[data-pane=after] rect.next").first).to_be_attached()
    field.fill("open")
    field.press("Enter")
    ranking = sheet.get_by_role("group", name="What explains the readings")
    expect(ranking).to_contain_text("V1 pin 1 (plate): no contact")
    expect(ranking.get_by_role("row").nth(1)).to_contain_text("almost certain")
    expect(field).to_have_attribute("data-line", "reading R3.1 to R3.2 ___ ohm off")
    expect(page.locator("[data-pane=after] rect.next").first).to_be_attached()
    assert "\nreading V1.1 open" in (bench.folder / "bench.job").read_text(encoding="utf-8")

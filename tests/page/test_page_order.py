"""Whatever order the pieces come in, and whatever is asked for before it is there, the page holds:
the console stays clean, which the fixture ``look`` asserts.
"""

from __future__ import annotations

import pytest
from serving import serve

#: A set that is drawn at once, so that every place of the page can be tried for every piece.
LAMP = """circuit "Night light, as found"
mains 117 V 60 Hz
touchable CHASSIS
P1  plug two-blade : line=L1, neutral=COMMON
S1  switch SPST 3 A 125 V : L1 -- L2
V1  tube 35W4 : 3=L2, 4=H1, 5=L2, 7=B1, unused 6
R1  resistor 560 ohm 20 W : H1 -- COMMON
C1  electrolytic 20 uF 150 V : B1 -- COMMON
R2  resistor 10k 2 W : B1 -- COMMON
C9  capacitor .1 uF 400 V paper : COMMON -- CHASSIS
"""
JOB = 'circuit "lamp.circuit"\napply open-line-to-chassis\n'

#: Stands before the page's scripts: keeps what the server sends, and lets it through one by one.
HOLD = """
window.held = new Map();
const Source = window.EventSource;
window.EventSource = class extends Source {
  addEventListener(type, act) {
    if (type !== "message") return super.addEventListener(type, act);
    super.addEventListener(type, (event) => {
      const { key } = JSON.parse(event.data);
      if (window.held) window.held.set(key, () => act(event));
      else act(event);
    });
  }
};
"""
#: Does what a person may do while anything is still missing.
USE = """
  const { choose, piece, put } = await import("./store.js");
  const settled = () => new Promise((done) => queueMicrotask(() => queueMicrotask(done)));
  const usual = { view: "after", part: "", node: "", find: "", tab: "check", positions: {} };
  const chosen = [
    { part: "V1" }, { node: "CHASSIS" }, { node: "B1", positions: { plug: "reversed" } },
    { part: "none" }, { node: "none" }, {}, { find: "R*" }, { find: "none" },
  ];
  const views = ["before", "both", "graph", "steps", "sockets"];
  const places = TABS.map((tab, at) => ({ ...chosen[at], view: views[at % 5], tab }));
  const use = async () => {
    for (const place of places) {
      choose({ ...usual, ...place });
      await settled();
      for (const it of ["[data-node=CHASSIS]", "[data-node=B1]", "[data-part=V1]", "#tabs"])
        document.querySelector(it)?.dispatchEvent(
          new PointerEvent("pointermove", { bubbles: true, clientX: 9, clientY: 9 }));
    }
    choose(usual);
    await settled();
  };
"""
#: The tabs whose answers are the page's own; the others run a command.
TABS = ["check", "changes", "work", "parts", "wires", "volts", "signal", "tests"]


@pytest.fixture(scope="module")
def lamp(tmp_path_factory):
    """Return the lamp's job, served."""
    folder = tmp_path_factory.mktemp("lamp")
    (folder / "lamp.circuit").write_text(LAMP)
    (folder / "lamp.job").write_text(JOB)
    one = serve(folder, "lamp.job")
    yield one
    one.stop()


def run(page, script):
    return page.evaluate(f"async () => {{ {USE.replace('TABS', str(TABS))} {script} }}")


def test_the_page_is_used_before_anything_came_and_then_piece_by_piece_from_the_last(lamp, look):
    page = look(lamp, first=HOLD)
    page.wait_for_function("() => window.held.has('read') && window.held.has('volts.before')")
    page.evaluate("document.getElementById('main').hidden = false")
    run(page, "await use();")
    run(
        page,
        "for (const act of [...held.values()].reverse()) { act(); await settled(); }"
        "window.held = null; await use();",
    )
    page.wait_for_selector("[data-pane=after] .sheet [data-part=R2]")
    assert "nodes tied" in page.locator("#panel").inner_text()


def test_the_page_does_without_any_one_piece(lamp, look):
    page = look(lamp, first=HOLD)
    page.wait_for_function("() => window.held.has('read') && window.held.has('volts.before')")
    keys = run(
        page,
        """
        const keys = [...held.keys()];
        for (const act of held.values()) act();
        window.held = null;
        await settled();
        for (const key of keys) {
          const had = piece(key);
          put(key, undefined);
          await use();
          put(key, had);
          await settled();
        }
        return keys;
        """,
    )
    assert {"parts", "nodes", "ties.after", "drawing.after", "netlist", "steps"} <= set(keys)

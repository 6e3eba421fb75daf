// Follows the server piece by piece, and keeps the head of the page, the verdicts, the problems and the keys.

import { by, el, fill } from "./dom.js";
import { choices, choose, on, piece, put, read } from "./store.js";
import { markAll, paneNow, redrawn, startBench, stepBy } from "./bench.js";
import { startFind } from "./find.js";
import { startHover } from "./hover.js";
import { startNetlist } from "./netlist.js";
import { findWays, forget, showPanel } from "./panel.js";
import { startRecord } from "./record.js";
import { startTables } from "./tables.js";

const KEYS = [
  ["b, a, t, g, s, k", "before, after, side by side, graph, steps, sockets"],
  ["[ and ]", "a step back, a step on"],
  ["p", "turn the plug round"],
  ["m", "mark what is tied, or not"],
  ["f or /", "find"],
  ["+ − 0 1", "nearer, farther, all of it, as large as can be read"],
  ["arrows", "move the sheet; from part to part once inside; from line to line in the netlist"],
  ["Enter, Escape", "into the parts, choose; back out"],
  ["Escape", "close what is chosen"],
];
const VIEWS = { b: "before", t: "both", a: "after", g: "graph", s: "steps", k: "sockets" };

function showHead() {
  const head = piece("head");
  if (!head) return;
  by("main").hidden = false;
  document.title = `${head.title}`;
  by("title").textContent = head.title;
  by("set").textContent = [piece("file")?.name, head.set, head.mains].join(" · ");
  fill(
    by("foot"),
    el(
      "dl",
      {},
      head.cautions.map(([word, words]) => el("div", {}, el("dt", {}, word), el("dd", {}, words))),
    ),
    el("p", {}, head.note),
  );
}

/** The strip of verdicts: of the side that is looked at where there is no room for both. */
function showStrip() {
  by("strip").dataset.side = choices.view === "before" ? "before" : "after";
  fill(
    by("strip"),
    (piece("strip") ?? []).map((row) =>
      el(
        "button",
        {
          type: "button",
          onclick: () => {
            choose({ tab: row.tab });
            by("tables").scrollIntoView({ block: "start" });
          },
        },
        el("b", {}, row.name),
        ["before", "after"].map((side) =>
          el(
            "span",
            { class: `${side} ${row[side].state}` },
            el("small", {}, side),
            ` ${row[side].words}`,
          ),
        ),
      ),
    ),
  );
}

function showProblems() {
  const found = piece("problems");
  if (!found) return;
  document.body.toggleAttribute("data-stale", found.stale);
  const host = by("problems");
  host.hidden = found.told.length === 0;
  fill(
    host,
    el("h2", {}, found.heading),
    found.older ? el("p", {}, found.older) : null,
    found.told.map((one) => [
      one.line
        ? el(
            "button",
            { type: "button", class: "go", onclick: () => choose({ file: one.file }) },
            `${one.file}, line ${one.line}`,
          )
        : null,
      el("pre", { class: one.severity, tabindex: 0 }, one.text),
    ]),
  );
  if (found.status) by("live").textContent = found.status;
}

let reads = 0;
function showRead() {
  const now = piece("read");
  if (!now) return;
  reads += 1;
  by("live").textContent = reads === 1 ? `Follows ${now.files.join(", ")}` : `Updated ${now.at}`;
  setTimeout(() => {
    if (reads > 1)
      by("live").textContent = `Updated ${now.at}; ${redrawn.count} pieces of the drawing changed`;
    redrawn.count = 0;
  }, 700);
}

function theme(dark) {
  document.documentElement.dataset.theme = dark ? "dark" : "light";
  by("theme").setAttribute("aria-pressed", String(dark));
}

function startKeys() {
  by("keys").append(
    el("h2", { id: "keys-title" }, "Keys"),
    el(
      "dl",
      {},
      KEYS.map(([key, words]) => [el("dt", {}, key), el("dd", {}, words)]),
    ),
    el("form", { method: "dialog" }, el("button", {}, "Close")),
  );
  by("keys-button").addEventListener("click", () => by("keys").showModal());
  document.addEventListener("keydown", (event) => {
    const typing = "input:not([type=radio]):not([type=checkbox]), select, dialog";
    if (event.ctrlKey || event.metaKey || event.altKey || event.target.closest(typing)) return;
    if (event.key in VIEWS) choose({ view: VIEWS[event.key] });
    else if (event.key === "[") stepBy(-1);
    else if (event.key === "]") stepBy(1);
    else if (event.key === "p")
      document.querySelector("#positions input[name='at plug']:not(:checked)")?.click();
    else if (event.key === "m") by("ties")?.click();
    else if (event.key === "f" || event.key === "/") by("find-name").focus();
    else if (event.key === "0") paneNow().window.fit();
    else if (event.key === "1") paneNow().window.read();
    else if (event.key === "?") by("keys").showModal();
    else if (event.key === "Escape") choose({ part: "", node: "" });
    else return;
    event.preventDefault();
  });
}

function follow() {
  const source = new EventSource("pieces");
  source.addEventListener("message", (event) => {
    const { key, value } = JSON.parse(event.data);
    put(key, value);
  });
  source.addEventListener("open", () => delete document.body.dataset.lost);
  source.addEventListener("error", () => {
    document.body.dataset.lost = "";
    by("live").textContent = "Not followed any more: rework view was stopped";
    if (source.readyState === EventSource.CLOSED) setTimeout(follow, 2000);
  });
}

const night = matchMedia("(prefers-color-scheme: dark)");
theme(night.matches);
night.addEventListener("change", () => theme(night.matches));
by("theme").addEventListener("click", () =>
  theme(document.documentElement.dataset.theme !== "dark"),
);
read();
addEventListener("popstate", read);
on(["head", "file"], showHead);
on(["strip", "#view"], showStrip);
on(["problems"], showProblems);
on(["read"], showRead);
on(
  [
    "parts",
    "nodes",
    "readings",
    "netlist",
    "ties.before",
    "ties.after",
    "volts.before",
    "volts.after",
    "#part",
    "#node",
    "#positions",
    "#ties",
    "#ways",
  ],
  showPanel,
);
on(["ties.before", "ties.after"], () => {
  forget();
  findWays();
});
startBench();
startNetlist();
startFind();
startHover();
startRecord();
startTables();
startKeys();
addEventListener("beforeprint", markAll);
follow();

// Follows the server piece by piece, and keeps the head of the page, the problems and the keys.

import { by, el, fill } from "./dom.js";
import { choose, on, piece, put } from "./store.js";
import { markAll, redrawn, startBench, stepBy, windowNow } from "./bench.js";
import { findWays, forget, showPanel } from "./panel.js";
import { startTables } from "./tables.js";

const KEYS = [
  ["b, t, a, g, s", "before, both, after, graph, steps"],
  ["[ and ]", "a step back, a step on"],
  ["p", "turn the plug round"],
  ["m", "mark what is tied, or not"],
  ["f", "find a part or node"],
  ["+ − 0", "nearer, farther, all of it"],
  ["arrows", "move the sheet; from part to part once inside"],
  ["Enter, Escape", "into the parts, choose; back out"],
  ["Escape", "close what is chosen"],
];

function showHead() {
  const head = piece("head");
  if (!head) return;
  by("main").hidden = false;
  document.title = `${head.title}`;
  by("title").textContent = head.title;
  by("set").textContent = `${head.set} · ${head.mains}`;
  fill(
    by("verdicts"),
    [
      ["before", "Before"],
      ["after", "After"],
    ].map(([side, heading]) => {
      const { words, bad, hazards } = head.verdicts[side];
      return el(
        "p",
        { class: `verdict ${bad ? "bad" : ""}` },
        el("small", {}, heading),
        words,
        hazards ? el("small", {}, `${hazards} within reach of a hand`) : null,
      );
    }),
  );
  fill(
    by("foot"),
    el(
      "dl",
      {},
      head.cautions.map(([word, words]) => el("div", {}, el("dt", {}, word), el("dd", {}, words))),
    ),
    el("p", {}, "The netlist as written is all that was looked at. A meter decides."),
  );
}

function showProblems() {
  const found = piece("problems");
  if (!found) return;
  const errors = found.told.filter((one) => one.severity === "error");
  document.body.toggleAttribute("data-stale", found.stale);
  const host = by("problems");
  host.hidden = found.told.length === 0;
  const count = `${errors.length} problem${errors.length === 1 ? "" : "s"}`;
  const older = piece("read")
    ? `What stands below is older than the files: it is from ${piece("read").at}.`
    : "";
  fill(
    host,
    el(
      "h2",
      {},
      errors.length ? `The job cannot be followed: ${count}` : "Cautions from reading the files",
    ),
    found.stale ? el("p", {}, older) : null,
    found.told.map((one) => el("pre", { class: one.severity, tabindex: 0 }, one.text)),
  );
  if (errors.length) by("live").textContent = `${count} in the files`;
}

const file = () =>
  by("file").replaceChildren(
    el("b", {}, piece("file").name),
    el("span", {}, ` in ${piece("file").folder}`),
  );

let reads = 0;
function showRead() {
  const read = piece("read");
  if (!read) return;
  reads += 1;
  by("live").textContent = reads === 1 ? `Follows ${read.files.join(", ")}` : `Updated ${read.at}`;
  setTimeout(() => {
    if (reads > 1)
      by("live").textContent = `Updated ${read.at}; ${redrawn.count} pieces of the drawing changed`;
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
    if (
      event.ctrlKey ||
      event.metaKey ||
      event.altKey ||
      event.target.closest("input:not([type=radio]):not([type=checkbox]), dialog")
    )
      return;
    const views = { b: "before", t: "both", a: "after", g: "graph", s: "steps" };
    if (event.key in views) choose({ view: views[event.key] });
    else if (event.key === "[") stepBy(-1);
    else if (event.key === "]") stepBy(1);
    else if (event.key === "p")
      document.querySelector("#positions input[name='at plug']:not(:checked)")?.click();
    else if (event.key === "m") by("ties")?.click();
    else if (event.key === "f") by("find-name").focus();
    else if (event.key === "0") windowNow().fit();
    else if (event.key === "?") by("keys").showModal();
    else if (event.key === "Escape") choose({ part: "", node: "" });
    else return;
    event.preventDefault();
  });
}

const night = matchMedia("(prefers-color-scheme: dark)");
theme(night.matches);
night.addEventListener("change", () => theme(night.matches));
by("theme").addEventListener("click", () =>
  theme(document.documentElement.dataset.theme !== "dark"),
);
if (matchMedia("(max-width: 60rem)").matches) choose({ view: "after" });
on(["file"], file);
on(["head"], showHead);
on(["problems", "read"], showProblems);
on(["read"], showRead);
on(
  [
    "parts",
    "nodes",
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
startTables();
startKeys();
addEventListener("beforeprint", markAll);

const source = new EventSource("pieces");
source.addEventListener("message", (event) => {
  const { key, value } = JSON.parse(event.data);
  put(key, value);
});
source.addEventListener("open", () => delete document.body.dataset.lost);
source.addEventListener("error", () => {
  document.body.dataset.lost = "";
  by("live").textContent = "Not followed any more: rework view was stopped";
});

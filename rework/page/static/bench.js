// The drawing: which view, which position, which step; drawn anew only where it changed, marked anew at every choice.

import { by, choice, el, fill } from "./dom.js";
import { Pane, Window } from "./scene.js";
import { adjust, ask, choices, choose, on, piece } from "./store.js";
import { axesOf, mark, usual } from "./ties.js";
import { findWays, ways } from "./panel.js";
import { matches } from "./find.js";
import { nextPoints } from "./trouble.js";
import { HOWS } from "./words.js";

const VIEWS = [
  ["before", "Before"],
  ["after", "After"],
  ["both", "Side by side"],
  ["graph", "Graph"],
  ["steps", "Steps"],
  ["sockets", "Sockets"],
];
const HEADINGS = { before: "Before", after: "After", steps: "Step", sockets: "Sockets from below" };
const pick = (what) => choose(what);
// The scale at which each sort of drawing can be read, pixels to its own measure: its words are
// 13 of it high in a schematic, and 10 in a graph.
const pairs = new Window(0.85);
const graphs = new Window(1.1);
const sockets = new Window(0.9);
const panes = {
  before: new Pane("before", HEADINGS.before, pairs, pick),
  after: new Pane("after", HEADINGS.after, pairs, pick),
  graphbefore: new Pane("graphbefore", "Before, as a graph", graphs, pick),
  graphafter: new Pane("graphafter", "After, as a graph", graphs, pick),
  steps: new Pane("steps", HEADINGS.steps, pairs, pick),
  sockets: new Pane("sockets", HEADINGS.sockets, sockets, pick),
};
const TWO = { both: ["before", "after"], graph: ["graphbefore", "graphafter"] };
const shown = () => TWO[choices.view] ?? [choices.view];
/** Which of the two circuits a pane shows. */
const sideOf = (name) => name.replace("graph", "");
export const paneNow = () => panes[shown()[0]];
const STATES = { new: "new", removed: "to be taken out", ghost: "taken out", changed: "changed" };

/** The description of a symbol beside its own words: its part, what that is, its state. */
function describe({ part, unit, state }) {
  const found = piece("parts")?.[part];
  const what = (found?.after ?? found?.before)?.what ?? "";
  return [part + (unit ? ` ${unit}` : ""), what, STATES[state]].filter(Boolean).join(", ");
}

/** What the last save changed in the drawings that are seen, for whoever tells of it. */
export const redrawn = { count: 0 };

function drawPair(side) {
  const drawing = piece(`drawing.${side}`);
  const first = panes[side].groups.size === 0;
  redrawn.count += panes[side].draw(drawing, describe);
  const files = (drawing?.sheets ?? []).flatMap(({ name }) =>
    ["svg", "pdf"].map((kind) => [
      [name, kind.toUpperCase()].filter(Boolean).join(" "),
      `drawing/${side}.${kind}?${new URLSearchParams({ sheet: name })}`,
    ]),
  );
  panes[side].offers(files);
  markAll();
  if (first) reveal();
}

function drawSockets() {
  panes.sockets.draw(piece("drawing.sockets"), describe);
  panes.sockets.offers(
    ["svg", "pdf"].map((kind) => [kind.toUpperCase(), `drawing/sockets.${kind}`]),
  );
}

function layOut() {
  const now = shown();
  fill(by("panes"), []);
  by("panes").replaceChildren(...now.map((name) => panes[name].host));
  by("panes").dataset.count = now.length;
  by("main").dataset.view = choices.view;
  by("step-bar").hidden = choices.view !== "steps";
  by("key").hidden = by("positions").hidden = choices.view === "sockets";
  for (const radio of document.querySelectorAll("input[name=view]"))
    radio.checked = radio.value === choices.view;
  paneNow().window.resized();
  markAll();
}

export function markAll() {
  const found = new Set(matches(choices.find).map((entry) => `${entry.what} ${entry.name}`));
  for (const name of shown()) {
    if (!panes[name].host.isConnected) continue;
    const ties = name === "steps" ? stepNow.ties : piece(`ties.${sideOf(name)}`);
    mark(panes[name], {
      ties,
      positions: choices.positions,
      shown: choices.ties && name !== "sockets",
      part: choices.part,
      node: choices.node,
      found,
      way: ways[sideOf(name)],
      next: nextPoints(name === "before" || name === "graphbefore" ? "before" : "after"),
    });
  }
}

function reveal() {
  const { part, node } = choices;
  if (!part && !node) return;
  for (const name of shown()) if (panes[name].reveal(part, node)) return;
}

// positions

function showPositions() {
  const axes = axesOf(
    piece("ties.before"),
    piece("ties.after"),
    choices.view === "steps" ? stepNow.ties : null,
  );
  const words = {
    plug: () => "Plug",
    switch: (axis) => axis.names.join(" + "),
    umbilical: (axis) => `Umbilical ${axis.name}`,
  };
  const made = axes.map((axis) =>
    choice(
      `at ${axis.name}`,
      words[axis.kind](axis),
      axis.values.map((value) => [value, value]),
      axis.values.includes(choices.positions[axis.name])
        ? choices.positions[axis.name]
        : usual(axis),
      (value) => choose({ positions: { ...choices.positions, [axis.name]: value } }),
    ),
  );
  const ties = el(
    "label",
    { class: "tick" },
    el("input", {
      type: "checkbox",
      id: "ties",
      checked: choices.ties,
      onchange: (event) => choose({ ties: event.target.checked }),
    }),
    "Mark what is tied",
  );
  const signature = JSON.stringify([axes, choices.positions, choices.ties]);
  if (by("positions").dataset.axes === signature) return;
  const focused = document.activeElement;
  const again = by("positions").contains(focused)
    ? `input[type=${focused.type}]${focused.name ? `[name="${CSS.escape(focused.name)}"]:checked` : ""}`
    : "";
  by("positions").dataset.axes = signature;
  by("positions").replaceChildren(...made, ties);
  if (again) by("positions").querySelector(again)?.focus();
}

function showKey() {
  by("key").hidden = !choices.ties || choices.view === "sockets";
  fill(
    by("key"),
    Object.entries(HOWS).map(([how, [word, meaning]]) =>
      el(
        "li",
        {},
        el("i", { class: `sample ${how}`, "aria-hidden": "true" }),
        el("b", {}, word),
        ` ${meaning}`,
      ),
    ),
  );
}

// steps

const stepNow = { wanted: 0, ties: null };
let scenes = new Map();

const sceneOf = (number) => {
  if (!scenes.has(number)) scenes.set(number, ask(`step/${number}`));
  return scenes.get(number);
};

async function showStep() {
  const steps = piece("steps");
  if (choices.view !== "steps" || !steps) return;
  const number = Math.min(Math.max(choices.step, 0), steps.length);
  if (number !== choices.step) return void adjust({ step: number });
  const wanted = ++stepNow.wanted;
  if (panes.steps.groups.size === 0) panes.steps.draw(null);
  const [scene, ties] = await Promise.all([
    sceneOf(number),
    ask("ties", { circuit: `step ${number}` }),
  ]);
  if (wanted !== stepNow.wanted) return;
  stepNow.ties = ties;
  panes.steps.draw(scene ?? { cannot: "This step could not be drawn." }, describe);
  panes.steps.caption(
    number ? `${number} of ${steps.length}: ${steps[number - 1].line}` : "0: as found",
  );
  showPositions();
  markAll();
  if (number < steps.length) sceneOf(number + 1);
}

function showStepBar() {
  const steps = piece("steps") ?? [];
  const number = Math.min(choices.step, steps.length);
  const step = steps[number - 1];
  const go = (to) => choose({ step: Math.min(Math.max(to, 0), steps.length) });
  const slide = el("input", {
    type: "range",
    id: "step",
    min: 0,
    max: steps.length,
    value: number,
    "aria-label": "Step",
    "aria-valuetext": step ? `${number}: ${step.line}` : "as found",
    oninput: (event) => go(Number(event.target.value)),
  });
  slide.value = number;
  const told = !step
    ? [el("p", {}, el("b", {}, "As found. "), `${steps.length} steps follow.`)]
    : [
        el("p", {}, el("b", {}, `${number}. ${step.line}`), el("small", {}, ` ${step.says}`)),
        step.nothing
          ? el("p", { class: "none" }, `Nothing to do: ${step.nothing}`)
          : el(
              "ol",
              { class: "edits" },
              step.edits.map((edit) =>
                el(
                  "li",
                  {},
                  el(
                    "button",
                    {
                      type: "button",
                      class: "go",
                      onclick: () => choose({ part: edit.part, node: "" }),
                    },
                    edit.part,
                  ),
                  ` ${edit.words}`,
                ),
              ),
            ),
        step.cautions.map((caution) =>
          el("p", { class: "caution" }, el("b", {}, "Caution "), caution),
        ),
      ];
  const bar = by("step-bar");
  const focused = document.activeElement?.id === "step" || document.activeElement?.dataset?.step;
  bar.replaceChildren(
    el(
      "div",
      { class: "slide" },
      el(
        "button",
        {
          type: "button",
          "data-step": "back",
          disabled: number === 0,
          onclick: () => go(number - 1),
        },
        "Back",
      ),
      slide,
      el(
        "button",
        {
          type: "button",
          "data-step": "next",
          disabled: number === steps.length,
          onclick: () => go(number + 1),
        },
        "Next",
      ),
      el("span", { class: "count", id: "step-count" }, `${number} of ${steps.length}`),
    ),
    el("div", { class: "told" }, told),
  );
  if (focused)
    (focused === true
      ? by("step")
      : (bar.querySelector(`[data-step=${focused}]:not(:disabled)`) ?? by("step"))
    )?.focus();
}

export function stepBy(count) {
  choose({
    view: "steps",
    step: Math.min(
      Math.max(choices.view === "steps" ? choices.step + count : choices.step, 0),
      (piece("steps") ?? []).length,
    ),
  });
}

export function startBench() {
  by("views").append(
    ...choice("view", "Show", VIEWS, choices.view, (view) => choose({ view })).querySelectorAll(
      "label",
    ),
  );
  const zoom = (factor) => paneNow().zoom(factor, choices.part, choices.node);
  by("zoom-in").addEventListener("click", () => zoom(1.35));
  by("zoom-out").addEventListener("click", () => zoom(1 / 1.35));
  by("zoom-fit").addEventListener("click", () => paneNow().window.fit());
  by("zoom-read").addEventListener("click", () => paneNow().window.read());
  on(["drawing.before"], () => drawPair("before"));
  on(["drawing.after"], () => drawPair("after"));
  for (const side of ["before", "after"])
    on([`drawing.graph.${side}`], () => {
      panes[`graph${side}`].draw(piece(`drawing.graph.${side}`), describe);
      markAll();
    });
  on(["drawing.sockets"], drawSockets);
  on(["parts"], () => {
    for (const pane of Object.values(panes)) pane.name(describe);
  });
  on(["#view"], layOut);
  on(["ties.before", "ties.after", "#view", "#positions", "#ties"], showPositions);
  on(
    [
      "ties.before",
      "ties.after",
      "#ties",
      "#positions",
      "#part",
      "#node",
      "#ways",
      "#find",
      "index",
      "trouble",
    ],
    markAll,
  );
  on(["#ties", "#view"], showKey);
  on(["steps", "drawing.before", "drawing.after"], () => {
    scenes = new Map();
  });
  on(["steps", "drawing.before", "drawing.after", "#view", "#step"], showStep);
  on(["steps", "#step", "#view"], showStepBar);
  on(["#node", "#positions", "ties.before", "ties.after"], findWays);
  on(["#part", "#node"], reveal);
  layOut();
  showKey();
}

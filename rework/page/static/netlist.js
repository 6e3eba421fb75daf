// The files of the job beside the drawing: a line and its part lead to one another, mistakes stand in their place.

import { by, el, fill } from "./dom.js";
import { adjust, choices, choose, on, piece } from "./store.js";
import { pickNode, pickPart } from "./links.js";

const fileNow = () => {
  const files = piece("netlist") ?? [];
  return (
    files.find((file) => file.name === choices.file) ??
    files.find((file) => file.name.endsWith(".circuit")) ??
    files[0]
  );
};

function problem(found) {
  return el(
    "div",
    { class: `problem ${found.severity}` },
    el("pre", {}, found.caret),
    el("p", {}, el("b", {}, `${found.severity}: `), found.message),
    found.expected ? el("p", {}, `expected: ${found.expected}`) : null,
    found.remedy ? el("p", { class: "remedy" }, `remedy: ${found.remedy}`) : null,
  );
}

function line(found) {
  const [part] = found.parts;
  const words = part ?? (found.step ? `step ${found.step}` : "");
  const go = () =>
    part ? pickPart(part) : found.step ? choose({ view: "steps", step: found.step }) : null;
  const number = words
    ? el(
        "button",
        {
          type: "button",
          class: "number",
          tabindex: -1,
          "aria-label": `${found.number}: ${words}`,
          onclick: go,
        },
        found.number,
      )
    : el("span", { class: "number" }, found.number);
  return el(
    "div",
    { class: "line", "data-line": found.number, "data-parts": found.parts.join(" ") },
    number,
    el(
      "code",
      {},
      found.tokens.map(([text, what, name]) =>
        what
          ? el(
              "span",
              { class: what, ...(what === "rule" ? {} : { [`data-${what}`]: name }) },
              text,
            )
          : text,
      ),
    ),
    found.problems.map(problem),
  );
}

function show() {
  const files = piece("netlist");
  if (!files) return;
  const shown = fileNow();
  fill(
    by("files"),
    files.map((file) => {
      const wrong = file.lines.some((one) => one.problems.length);
      return el(
        "button",
        {
          type: "button",
          class: wrong ? "wrong" : "",
          "aria-pressed": String(file === shown),
          onclick: () => choose({ file: file.name }),
        },
        file.name,
        wrong ? " (!)" : null,
      );
    }),
  );
  if (fill(by("lines"), shown ? shown.lines.map(line) : [])) rove();
  mark();
}

/** One number of a line is in the order of tabs; the arrows go on from there. */
function rove() {
  const first = by("lines").querySelector("button.number");
  if (first) first.tabIndex = 0;
}

function mark() {
  const { part, node } = choices;
  for (const row of by("lines").children) {
    const here = part && row.dataset.parts.split(" ").includes(part);
    row.classList.toggle("chosen", Boolean(here));
    row.classList.toggle(
      "near",
      Boolean(node && row.querySelector(`[data-node="${CSS.escape(node)}"]`)),
    );
  }
}

/** Goes to the file and line of what was chosen, and to it in the list alone: the page stays where it is. */
function reveal() {
  const { part, node } = choices;
  const files = piece("netlist") ?? [];
  if (part && !fileNow()?.lines.some((one) => one.parts.includes(part))) {
    const other = files.find((file) => file.lines.some((one) => one.parts.includes(part)));
    if (other) {
      adjust({ file: other.name });
      show();
    }
  }
  mark();
  const row = by("lines").querySelector(part ? ".line.chosen" : node ? ".line.near" : "none");
  if (row) scrollTo(row);
}

function scrollTo(row) {
  const host = by("lines");
  const [top, high] = [row.offsetTop - host.offsetTop, host.clientHeight];
  if (top < host.scrollTop || top + row.offsetHeight > host.scrollTop + high)
    host.scrollTop = Math.max(0, top - high / 3);
}

function toProblem() {
  const files = piece("netlist") ?? [];
  const wrong = (file) =>
    file?.lines.some((one) => one.problems.some((two) => two.severity === "error"));
  if (!files.some(wrong)) return;
  if (!wrong(fileNow())) return void adjust({ file: files.find(wrong).name });
  const row = by("lines").querySelector(".problem.error");
  if (row) scrollTo(row.closest(".line"));
}

export function startNetlist() {
  by("lines").addEventListener("click", (event) => {
    const found = event.target.closest("[data-node], [data-part]");
    if (!found) return;
    if (found.dataset.node) pickNode(found.dataset.node);
    else pickPart(found.dataset.part);
  });
  by("lines").addEventListener("keydown", (event) => {
    const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
    const every = [...by("lines").querySelectorAll("button.number")];
    const at = every.indexOf(document.activeElement);
    if (!step || at < 0) return;
    event.preventDefault();
    const next = every[Math.min(Math.max(at + step, 0), every.length - 1)];
    every[at].tabIndex = -1;
    next.tabIndex = 0;
    next.focus();
  });
  on(["netlist", "#file"], show);
  on(["netlist"], toProblem);
  let first = true;
  on(["netlist"], () => {
    if (first) reveal();
    first = false;
  });
  on(["#part", "#node"], reveal);
}

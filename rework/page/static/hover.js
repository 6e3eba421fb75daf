// What the pointer or the focus is on lights up everywhere: drawing, netlist, tables; and a note tells of it.

import { by, el, fill } from "./dom.js";
import { choices, piece } from "./store.js";
import { standing } from "./ties.js";
import { ABSENT, HOWS, UNTIED } from "./words.js";

const AWAY = 14;
let now = "";

/** The part or node that an element stands for. */
export function thingAt(target) {
  const found = target?.closest?.("[data-node], [data-part]");
  if (!found) return null;
  return found.dataset.node !== undefined && found.dataset.node !== ""
    ? { node: found.dataset.node }
    : { part: found.dataset.part };
}

const side = () =>
  choices.view === "before" || choices.view === "graphbefore" ? "before" : "after";

/** The lines told of a node: volts, colour of the wire, ties in the chosen position. */
export function nodeLines(name, when) {
  const found = piece("nodes")?.[name];
  if (!found?.[when]?.length) return [ABSENT[when]];
  const tied = standing(piece(`ties.${when}`), name, choices.positions);
  const volts = piece(`volts.${when}`)?.at?.[name];
  return [
    volts ?? "",
    found.wire[when],
    tied ? `${HOWS[tied.how][0]}${tied.touchable ? ", within reach" : ""}` : UNTIED,
  ].filter(Boolean);
}

function told(thing) {
  const when = side();
  if (thing.node)
    return [
      el("b", {}, thing.node),
      nodeLines(thing.node, when).map((line) => el("span", {}, line)),
    ];
  const part = piece("parts")?.[thing.part];
  if (!part) return null;
  return [
    el("b", {}, thing.part),
    el("span", {}, (part[when] ?? part.after ?? part.before).what),
    el("span", {}, part.state),
  ];
}

function light(thing) {
  const key = JSON.stringify(thing);
  if (key === now) return;
  now = key;
  for (const lit of document.querySelectorAll(".lit")) lit.classList.remove("lit");
  if (!thing) return;
  const [what, name] = Object.entries(thing)[0];
  for (const found of document.querySelectorAll(`[data-${what}="${CSS.escape(name)}"]`))
    found.classList.add("lit");
}

function show(thing, x, y) {
  light(thing);
  const lines = thing && told(thing);
  const tip = by("tip");
  tip.hidden = !lines;
  if (!lines) return;
  fill(tip, lines);
  const { width, height } = tip.getBoundingClientRect();
  tip.style.left = `${Math.max(4, Math.min(x + AWAY, innerWidth - width - 4))}px`;
  tip.style.top = `${y + AWAY + height > innerHeight ? Math.max(4, y - height - AWAY) : y + AWAY}px`;
}

export function startHover() {
  document.addEventListener("pointermove", (event) => {
    if (event.pointerType === "touch" || event.buttons) return void show(null);
    show(thingAt(event.target), event.clientX, event.clientY);
  });
  document.documentElement.addEventListener("pointerleave", () => show(null));
  document.addEventListener("focusin", (event) => {
    const thing = event.target.matches(":focus-visible") ? thingAt(event.target) : null;
    const box = event.target.getBoundingClientRect();
    show(thing, box.left, box.bottom);
  });
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape") by("tip").hidden = true;
  });
  document.addEventListener("pointerdown", () => {
    by("tip").hidden = true;
  });
}

// Names of parts and nodes as links: one way to choose them, wherever they stand.

import { el } from "./dom.js";
import { choose, piece } from "./store.js";

export const pickPart = (name) => choose({ part: name, node: "" });
export const pickNode = (name) => choose({ node: name, part: "" });

const button = (what, name, words, onclick) =>
  el("button", { type: "button", class: "go", [`data-${what}`]: name, onclick }, words);

export const partButton = (name, words = name) => button("part", name, words, () => pickPart(name));
export const nodeButton = (name, words = name) => button("node", name, words, () => pickNode(name));
export const closeButton = () =>
  el(
    "button",
    { type: "button", class: "close", onclick: () => choose({ part: "", node: "" }) },
    "Close",
  );

/** A text with every name in it that is a part or node, between commas, made a link. */
export function linked(text) {
  const parts = piece("parts") ?? {};
  const nodes = piece("nodes") ?? {};
  return text
    .split(/(, )/)
    .map((word) => (word in parts ? partButton(word) : word in nodes ? nodeButton(word) : word));
}

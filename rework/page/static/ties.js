// What is connected to the hot conductor in the chosen position of plug, switches and umbilicals, and how that is marked.

import { boxOf, shiftOf, svg } from "./dom.js";
import { HOWS } from "./words.js";

const KINDS = {
  directly: "direct",
  "through parts": "parts",
  "through a capacitor": "capacitor",
  "through insulation": "insulation",
};

/** The axes of several circuits together, each once. */
export function axesOf(...every) {
  const found = new Map();
  for (const ties of every)
    for (const axis of ties?.axes ?? []) if (!found.has(axis.name)) found.set(axis.name, axis);
  return [...found.values()];
}

/** Where a thing stands when nobody has said: plug as drawn, switch closed, umbilical mated. */
export const usual = (axis) =>
  axis.kind === "switch" ? axis.values[axis.values.length - 1] : axis.values[0];

const setting = (axis, positions) =>
  axis.values.includes(positions[axis.name]) ? positions[axis.name] : usual(axis);

/** The chosen position as a row of a circuit's own axes. */
export const rowOf = (ties, positions) =>
  ties.axes.map((axis) => axis.values.indexOf(setting(axis, positions)));

/** How a node stands in the chosen position: null for one that is not tied at all. */
export function standing(ties, node, positions) {
  const tied = ties?.nodes[node];
  if (!tied) return null;
  const row = rowOf(ties, positions);
  if (!ties.rows.some((one) => one.every((value, index) => value === row[index])))
    return { how: "untried", through: [], ...tied };
  const now = Object.fromEntries(ties.axes.map((axis) => [axis.name, setting(axis, positions)]));
  const when = tied.when.find((one) =>
    Object.entries(one.sets).every(
      ([name, values]) => !(name in now) || values.includes(now[name]),
    ),
  );
  return when
    ? { ...tied, how: KINDS[when.how], through: when.through }
    : { ...tied, how: "cold", through: [] };
}

/** Every tied node of a circuit with how it stands, the worst first. */
export function standings(ties, positions) {
  const order = Object.keys(HOWS);
  return Object.keys(ties?.nodes ?? {})
    .map((node) => ({ node, ...standing(ties, node, positions) }))
    .sort(
      (one, other) =>
        order.indexOf(one.how) - order.indexOf(other.how) ||
        Number(other.touchable) - Number(one.touchable) ||
        one.node.localeCompare(other.node),
    );
}

const grown = (box, by) => ({
  x: box.x - by,
  y: box.y - by,
  width: box.width + 2 * by,
  height: box.height + 2 * by,
});

const joined = (one, other) => {
  const [x, y] = [Math.min(one.x, other.x), Math.min(one.y, other.y)];
  return {
    x,
    y,
    width: Math.max(one.x + one.width, other.x + other.width) - x,
    height: Math.max(one.y + one.height, other.y + other.height) - y,
  };
};

/** The strips of a pane, those of one node on one block as one: they mark a node where it has no line. */
function stripsOf(things) {
  const found = new Map();
  for (const { made, node } of things) {
    const block = made.closest("[data-key]");
    const had = found.get(block)?.get(node);
    const box = had ? joined(had, boxOf(made)) : boxOf(made);
    found.set(block, (found.get(block) ?? new Map()).set(node, box));
  }
  return [...found.values()].flatMap((nodes) => [...nodes].map(([node, box]) => ({ node, box })));
}

/** The word under a drawn thing that says how its node stands. */
function word(made, found) {
  const box = boxOf(made);
  return svg(
    "text",
    {
      x: box.x + box.width / 2,
      y: box.y + box.height + 10,
      class: `word ${found.how}`,
      "text-anchor": "middle",
    },
    HOWS[found.how][0],
  );
}

/** Marks a pane: ties under the lines with a word at each node, the way, and what is chosen. */
export function mark(pane, { ties, positions, shown, part, node, found: hits, way, next }) {
  const under = [];
  const above = [];
  const onWay = { parts: new Set(way?.parts ?? []), nodes: new Set(way?.nodes ?? []) };
  const things = [...pane.things()];
  const toRead = [...next.pins].flatMap((pin) => [
    ...pane.host.querySelectorAll(`[data-pin="${CSS.escape(pin)}"]`),
  ]);
  for (const { made, part: isPart, node: at } of things)
    if (!isPart && next.nodes.has(at) && !made.dataset.pin) toRead.push(made);
  for (const made of toRead)
    above.push(svg("rect", { ...grown(boxOf(made), 4), rx: 5, class: "next" }));
  for (const strip of stripsOf(things.filter((thing) => thing.isStrip && !thing.isLead))) {
    const found = shown ? standing(ties, strip.node, positions) : null;
    if (found) above.push(svg("rect", { ...grown(strip.box, 1), class: `strip ${found.how}` }));
    if (node && strip.node === node)
      above.push(svg("rect", { ...grown(strip.box, 3.5), class: "ring thin" }));
  }
  for (const thing of things) {
    if (thing.isStrip && !thing.isLead) continue;
    const found = shown && thing.node && !thing.part ? standing(ties, thing.node, positions) : null;
    const hit = hits.has(thing.part ? `part ${thing.part}` : `node ${thing.node}`);
    const chosen = (part && thing.part === part) || (node && thing.node === node);
    const along = onWay.parts.has(thing.part) || (onWay.nodes.has(thing.node) && !thing.part);
    if (thing.isLine || thing.isLead) {
      for (const line of thing.made.querySelectorAll("path:not(.reach)")) {
        const at = { d: line.getAttribute("d"), transform: shiftOf(line) };
        if (along) under.push(svg("path", { ...at, class: "way" }));
        if (chosen) under.push(svg("path", { ...at, class: "ring" }));
        else if (hit) under.push(svg("path", { ...at, class: "hit" }));
        if (found) under.push(svg("path", { ...at, class: `tie ${found.how}` }));
        if (found && !thing.isWire) break;
      }
      if (found && thing.isWire)
        above.push(word(thing.made.querySelector("path:not(.reach)"), found));
      continue;
    }
    if (!found && !chosen && !along && !hit) continue;
    const box = boxOf(thing.made);
    if (along) under.push(svg("rect", { ...grown(box, 7), rx: 6, class: "way" }));
    if (chosen) above.push(svg("rect", { ...grown(box, 5), rx: 5, class: "ring" }));
    else if (hit) above.push(svg("rect", { ...grown(box, 3), rx: 5, class: "hit" }));
    if (!found) continue;
    under.push(svg("rect", { ...grown(box, 4), rx: 6, class: `tie ${found.how}` }));
    above.push(word(thing.made, found));
  }
  pane.under.replaceChildren(...under);
  pane.above.replaceChildren(...above);
}

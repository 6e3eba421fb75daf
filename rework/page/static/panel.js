// What is chosen: a part before and after with its edits and readings, a node with its ways, or the whole position.

import { by, el, fill } from "./dom.js";
import { ask, choices, choose, piece } from "./store.js";
import { HOWS, rowOf, standing, standings } from "./ties.js";

const SIDES = [
  ["before", "Before"],
  ["after", "After"],
];
const lastName = (name) => name.slice(name.lastIndexOf("/") + 1);

export const partButton = (name, words = name) =>
  el(
    "button",
    { type: "button", class: "go", onclick: () => choose({ part: name, node: "" }) },
    words,
  );
export const nodeButton = (name, words = name) =>
  el(
    "button",
    { type: "button", class: "go", onclick: () => choose({ node: name, part: "" }) },
    words,
  );

const place = (words) => words.slice(words.lastIndexOf("/") + 1).replace(/:(\d+)$/, ", line $1");

/** The volts expected at a node on one side, and the band; nothing before they are computed. */
function expected(side, node) {
  const found = piece(`volts.${side}`)?.at?.[node];
  if (!found) return "";
  const [volts, low, high] = found.map((one) =>
    one
      .toFixed(Math.abs(one) >= 99.5 ? 0 : Math.abs(one) >= 9.95 ? 1 : 2)
      .replace(/^-(0\.00)$/, "$1"),
  );
  return low === high ? `${volts} V` : `${volts} V (${low} to ${high})`;
}

function readAt(name, pin) {
  const row = piece("volts.after")?.tables?.[0]?.bars?.find(
    (one) => one.part === name && one.pin === pin,
  );
  return row && row.read !== null
    ? `${row.read} V ${row.read >= row.low && row.read <= row.high ? "inside" : "OUTSIDE"}`
    : "";
}

function stand(side, node) {
  const found = choices.ties && standing(piece(`ties.${side}`), node, choices.positions);
  return found ? el("span", { class: `stand ${found.how}` }, HOWS[found.how][0]) : null;
}

function sideOf(part, name, side) {
  if (!part)
    return el("p", { class: "none" }, side === "before" ? "Not there yet." : "Not there any more.");
  const rows = part.pins.map(({ pin, words, node }) =>
    el(
      "tr",
      {},
      el("th", { scope: "row" }, words),
      el("td", {}, nodeButton(node), stand(side, node)),
      el(
        "td",
        { class: "figure" },
        expected(side, node),
        side === "after" && readAt(name, pin)
          ? el("div", { class: "read" }, `read ${readAt(name, pin)}`)
          : null,
      ),
    ),
  );
  return [
    el(
      "p",
      { class: "what" },
      part.what,
      part.place ? el("small", {}, ` ${place(part.place)}`) : null,
    ),
    part.remark ? el("p", { class: "remark" }, part.remark) : null,
    el(
      "table",
      {},
      el(
        "thead",
        {},
        el(
          "tr",
          {},
          ["pin", "on", "V expected"].map((word) => el("th", { scope: "col" }, word)),
        ),
      ),
      el("tbody", {}, rows),
    ),
    part.unused.length ? el("p", { class: "none" }, `Unused: ${part.unused.join(", ")}`) : null,
  ];
}

function state(found) {
  if (!found.before) return "new";
  if (!found.after) return "taken out";
  return JSON.stringify([found.before.what, found.before.pins]) ===
    JSON.stringify([found.after.what, found.after.pins])
    ? "stays as it is"
    : "changed";
}

function partPanel(name) {
  const found = piece("parts")?.[name];
  if (!found)
    return [
      el("h2", {}, name),
      el("p", {}, "There is no such part in the job any more."),
      partButton("", "Close"),
    ];
  const edits = found.edits.map((edit) =>
    el(
      "li",
      {},
      el(
        "button",
        { type: "button", class: "go", onclick: () => choose({ view: "steps", step: edit.step }) },
        `Step ${edit.step}`,
      ),
      ` ${edit.words}`,
      el("small", {}, edit.why),
    ),
  );
  return [
    el(
      "div",
      { class: "chosen" },
      el("h2", {}, name),
      el("span", { class: "state" }, state(found)),
      partButton("", "Close"),
    ),
    SIDES.map(([side, heading]) =>
      el("section", { class: side }, el("h3", {}, heading), sideOf(found[side], name, side)),
    ),
    el(
      "section",
      {},
      el("h3", {}, "Edits"),
      edits.length
        ? el("ol", { class: "edits" }, edits)
        : el("p", { class: "none" }, "No edit of the job touches it."),
    ),
  ];
}

/** The chosen position where it was tried, else the first that was. */
function triedRow(ties) {
  const row = rowOf(ties, choices.positions);
  return ties.rows.some((one) => one.join() === row.join()) ? row : ties.rows[0];
}

/** The ways to a node, kept for the drawing too. */
export const ways = { of: "", before: null, after: null };

export async function findWays() {
  const { node, positions } = choices;
  const of = JSON.stringify([node, positions, choices.view, choices.step]);
  if (ways.of === of) return;
  Object.assign(ways, { of, before: null, after: null });
  const asked = node ? SIDES.map(([side]) => side) : [];
  const told = await Promise.all(
    asked.map((side) => {
      const ties = piece(`ties.${side}`);
      return ties?.nodes[node]
        ? ask("way", { circuit: side, node, row: triedRow(ties).join(",") })
        : null;
    }),
  );
  if (ways.of !== of) return;
  asked.forEach((side, index) => {
    ways[side] = told[index];
  });
  choose({ ways: of });
}

export const forget = () => {
  ways.of = "";
};

function nodePanel(name) {
  const found = piece("nodes")?.[name];
  if (!found)
    return [
      el("h2", {}, name),
      el("p", {}, "There is no such node in the job any more."),
      nodeButton("", "Close"),
    ];
  const side = ([when, heading]) => {
    const ties = piece(`ties.${when}`);
    const at = standing(ties, name, choices.positions);
    const volts = expected(when, name);
    return el(
      "section",
      { class: when },
      el("h3", {}, heading),
      found[when].length === 0
        ? el("p", { class: "none" }, when === "before" ? "Not there yet." : "Not there any more.")
        : [
            el(
              "p",
              { class: "pins" },
              found[when].map(([part, pin], index) => [
                index ? ", " : "",
                partButton(part, `${lastName(part)} ${pin}`),
              ]),
            ),
            volts ? el("p", { class: "figure" }, `Expected ${volts} DC`) : null,
            at
              ? [
                  el(
                    "p",
                    { class: `standing ${at.how}` },
                    el("b", {}, HOWS[at.how][0]),
                    ` in this position: ${HOWS[at.how][1]}.`,
                    at.through.length ? ` Through ${at.through.join(", ")}.` : "",
                  ),
                  ways[when]?.words
                    ? el("p", { class: "way" }, el("b", {}, "Way now "), ways[when].words)
                    : el(
                        "p",
                        { class: "way" },
                        el("b", {}, "Way, worst case "),
                        ways[when]?.worst ?? "…",
                      ),
                  el("p", {}, "Hot when:"),
                  el(
                    "ul",
                    { class: "when" },
                    at.when.length
                      ? at.when.map((one) => el("li", {}, one.words))
                      : el("li", {}, "in no position tried; it is joined to the other blade"),
                  ),
                ]
              : el(
                  "p",
                  { class: "none" },
                  "No tie to the mains was found in the netlist as written.",
                ),
          ],
    );
  };
  return [
    el(
      "div",
      { class: "chosen" },
      el("h2", {}, name),
      el("span", { class: "state" }, "node"),
      nodeButton("", "Close"),
    ),
    SIDES.map(side),
  ];
}

function positionPanel() {
  const side = ([when, heading]) => {
    const all = standings(piece(`ties.${when}`), choices.positions);
    const groups = Object.entries(HOWS)
      .map(([how, [word, meaning]]) => [how, word, meaning, all.filter((one) => one.how === how)])
      .filter(([, , , ones]) => ones.length);
    return el(
      "section",
      { class: when },
      el(
        "h3",
        {},
        heading,
        el(
          "small",
          {},
          ` ${all.length} nodes tied, ${all.filter((one) => one.touchable).length} of them within reach`,
        ),
      ),
      groups.map(([how, word, meaning, ones]) =>
        el(
          "div",
          { class: `standing ${how}` },
          el("p", {}, el("b", {}, word), el("small", {}, ` ${meaning}`)),
          el(
            "p",
            { class: "names" },
            ones.map((one) => [
              nodeButton(one.node, lastName(one.node) === one.node ? one.node : one.node),
              one.touchable ? el("em", {}, "within reach") : null,
              " ",
            ]),
          ),
        ),
      ),
      all.length
        ? null
        : el("p", { class: "none" }, "No tie to the mains was found in the netlist as written."),
    );
  };
  return [
    el("div", { class: "chosen" }, el("h2", {}, "In this position")),
    el(
      "p",
      { class: "hint" },
      "Choose a part or a node in the drawing. The position is set above it; the meter decides.",
    ),
    SIDES.map(side),
  ];
}

export function showPanel() {
  const { part, node } = choices;
  fill(by("panel"), part ? partPanel(part) : node ? nodePanel(node) : positionPanel());
}

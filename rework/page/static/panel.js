// What is chosen: a part before and after with its edits and readings, a node with its ways, or the whole position.

import { by, el, fill } from "./dom.js";
import { closeButton, nodeButton, partButton } from "./links.js";
import { readingField } from "./record.js";
import { adjust, ask, choices, choose, piece } from "./store.js";
import { rowOf, standing, standings } from "./ties.js";
import { ABSENT, HOWS, UNPROBED, UNTIED } from "./words.js";

const SIDES = [
  ["before", "Before"],
  ["after", "After"],
];
const lastName = (name) => name.slice(name.lastIndexOf("/") + 1);

const place = (words) => words.slice(words.lastIndexOf("/") + 1).replace(/:(\d+)$/, ", line $1");

const expected = (side, node) => piece(`volts.${side}`)?.at?.[node] ?? "";

const isTied = (side, node) => Boolean(piece(`ties.${side}`)?.nodes[node]);

/** What a meter showed at a pin, against its band. */
function readAt(name, pin) {
  const row = piece("volts.after")?.read?.find((one) => one.part === name && one.pin === pin);
  return row ? el("div", { class: row.bad ? "read bad" : "read" }, `read ${row.words}`) : null;
}

/** Where to probe a node and what to expect there; on the line side nothing is probed. */
function probe(side, node, at) {
  if (side === "after" && isTied(side, node)) return el("small", { class: "unprobed" }, UNPROBED);
  return [
    expected(side, node),
    side === "after" ? [at.pin ? readAt(at.part, at.pin) : null, readingField(at.name)] : null,
  ];
}

function stand(side, node) {
  const found = choices.ties && standing(piece(`ties.${side}`), node, choices.positions);
  return found ? el("span", { class: `stand ${found.how}` }, HOWS[found.how][0]) : null;
}

function sideOf(part, name, side) {
  if (!part) return el("p", { class: "none" }, ABSENT[side]);
  const rows = part.pins.map(({ pin, words, node }) =>
    el(
      "tr",
      {},
      el("th", { scope: "row" }, words),
      el("td", {}, nodeButton(node), stand(side, node)),
      el("td", {}, probe(side, node, { name: `${name}.${pin}`, part: name, pin })),
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
          ["pin", "on", side === "after" ? "expected, and read" : "expected"].map((word) =>
            el("th", { scope: "col" }, word),
          ),
        ),
      ),
      el("tbody", {}, rows),
    ),
    part.unused.length ? el("p", { class: "none" }, `Unused: ${part.unused.join(", ")}`) : null,
  ];
}

function partPanel(name) {
  const found = piece("parts")?.[name];
  if (!found) return [el("h2", {}, name), el("p", {}, "Not in this job."), closeButton()];
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
      el("span", { class: "state" }, found.state),
      closeButton(),
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
        : el("p", { class: "none" }, "No step of the job changes it."),
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
  adjust({ ways: of });
}

export const forget = () => {
  ways.of = "";
};

function nodePanel(name) {
  const found = piece("nodes")?.[name];
  if (!found) return [el("h2", {}, name), el("p", {}, "Not in this job."), closeButton()];
  const side = ([when, heading]) => {
    const ties = piece(`ties.${when}`);
    const at = standing(ties, name, choices.positions);
    return el(
      "section",
      { class: when },
      el("h3", {}, heading),
      found[when].length === 0
        ? el("p", { class: "none" }, ABSENT[when])
        : [
            el(
              "p",
              { class: "pins" },
              found[when].map(([part, pin], index) => [
                index ? ", " : "",
                partButton(part, `${lastName(part)} ${pin}`),
              ]),
            ),
            el("p", {}, `Wire: ${found.wire[when]}`),
            el("div", { class: "probe" }, el("b", {}, "Expected "), probe(when, name, { name })),
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
                      : el("li", {}, "in no position tried: it is on the other side of the line"),
                  ),
                ]
              : el("p", { class: "none" }, UNTIED),
          ],
    );
  };
  return [
    el(
      "div",
      { class: "chosen" },
      el("h2", {}, name),
      el("span", { class: "state" }, "node"),
      closeButton(),
    ),
    SIDES.map(side),
  ];
}

function positionPanel() {
  const side = ([when, heading]) => {
    const all = standings(piece(`ties.${when}`), choices.positions);
    const live = all.filter((one) => one.live).length;
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
          ` ${all.length - live} nodes tied, ${all.filter((one) => one.touchable).length} of them within reach`,
          live ? `; ${live} live: do not touch` : "",
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
              nodeButton(one.node),
              one.touchable ? el("em", {}, "within reach") : null,
              " ",
            ]),
          ),
        ),
      ),
      all.length ? null : el("p", { class: "none" }, UNTIED),
    );
  };
  return [
    el("div", { class: "chosen" }, el("h2", {}, "In this position")),
    el("p", { class: "hint" }, "Choose a part or a node in the drawing, the netlist or a table."),
    SIDES.map(side),
  ];
}

export function showPanel() {
  const { part, node } = choices;
  fill(by("panel"), part ? partPanel(part) : node ? nodePanel(node) : positionPanel());
}

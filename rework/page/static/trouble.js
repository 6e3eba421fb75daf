// What the readings of the bench point to: asked for when its tab is looked at, again after each save. What is to be
// read next is lit on the drawing and the sockets, and typed here.

import { el } from "./dom.js";
import { nodeButton, partButton } from "./links.js";
import { lineField } from "./record.js";
import { ask, piece, put } from "./store.js";

const SETS = [
  ["before", "Before the job"],
  ["after", "After the job"],
];
const asked = { read: null, side: "", isDone: false };

/** Asks for the set before or after the job; "" is that of the last reading. */
function want(side) {
  const read = piece("read");
  if (!read || (asked.read === read && asked.side === side)) return;
  Object.assign(asked, { read, side, isDone: false });
  ask("trouble", { side }).then((told) => {
    if (asked.read !== read || asked.side !== side) return;
    asked.isDone = true;
    put("trouble", told ?? { cannot: ["No answer."] });
  });
}

/** The names of the parts, pins and nodes to light in the drawing of one side. */
export function nextPoints(side) {
  const told = piece("trouble");
  if (!told?.next || told.side !== side) return { nodes: new Set(), pins: new Set() };
  const { at, to } = told.next;
  return {
    nodes: new Set([at.node]), // the second lead is on common, or on the other end of a part
    pins: new Set([at, to].filter(({ part }) => part).map(({ part, pin }) => `${part}.${pin}`)),
  };
}

const percent = (chance) => `${Math.round(100 * chance)}%`;
const link = ({ part, node }, words) =>
  part && part in (piece("parts") ?? {})
    ? partButton(part, words)
    : node in (piece("nodes") ?? {})
      ? nodeButton(node, words)
      : words;
const list = (heading, items, attributes = {}) =>
  items.length
    ? [
        el("h4", {}, heading),
        el(
          "ul",
          attributes,
          items.map((item) => el("li", {}, item)),
        ),
      ]
    : null;

function grid(caption, columns, rows) {
  return el(
    "div",
    { class: "scroll", tabindex: 0, role: "group", "aria-label": caption },
    el(
      "table",
      { class: "cards" },
      el("caption", {}, caption),
      el(
        "thead",
        {},
        el(
          "tr",
          {},
          columns.map((column) => el("th", { scope: "col" }, column)),
        ),
      ),
      el(
        "tbody",
        {},
        rows.map(([first, ...others]) =>
          el(
            "tr",
            {},
            el("th", { scope: "row" }, first),
            others.map((cell, index) => el("td", { "data-label": columns[index + 1] }, cell)),
          ),
        ),
      ),
    ),
  );
}

function next(told) {
  const one = told.next;
  if (!one) return el("p", { class: "none" }, "No further reading that is safe now would help.");
  const set = one.powered ? "set switched on" : "plug out, discharged";
  return el(
    "section",
    { class: "next" },
    el("h3", {}, "Read next"),
    el("p", {}, el("b", {}, link(one.at, one.where)), `: ${one.what}, range ${one.range}, ${set}.`),
    el("p", {}, `A sound set reads ${one.sound}.`),
    told.cautions.map((words) => el("p", { class: "caution" }, el("b", {}, "Caution "), words)),
    told.is_open ? el("label", {}, "Read ", lineField(one.line)) : el("code", {}, one.line),
    grid(
      "What each outcome would mean",
      ["Reading", "Chance", "It is then"],
      one.outcomes.map((outcome) => [
        outcome.range,
        percent(outcome.chance),
        outcome.troubles.join("; ") + (outcome.more ? `; ${outcome.more} more` : ""),
      ]),
    ),
  );
}

const evidence = (rows) =>
  rows.length
    ? el(
        "ul",
        {},
        rows.map((row) =>
          el(
            "li",
            {},
            link(row.at, row.where),
            row.read ? `: ${row.read}, expected ${row.expected}` : "",
          ),
        ),
      )
    : "–";

function explained(told) {
  if (!told.explanations.length) return null;
  const trouble = ({ members }) => [
    link({ part: members[0].part }, members[0].words),
    members.length > 1
      ? el(
          "details",
          {},
          el("summary", {}, `${members.length - 1} alike on these readings`),
          el(
            "ul",
            {},
            members.slice(1).map((one) => el("li", {}, `${one.words} (${percent(one.chance)})`)),
          ),
        )
      : null,
  ];
  return grid(
    "What explains the readings",
    ["Trouble", "How sure", "For it", "Against it"],
    told.explanations.map((row) => [
      trouble(row),
      `${percent(row.chance)}, ${row.sureness}`,
      evidence(row.speaks_for),
      evidence(row.speaks_against),
    ]),
  );
}

const chooser = (told) =>
  el(
    "p",
    { class: "sets" },
    SETS.map(([side, words]) =>
      el(
        "button",
        { type: "button", "aria-pressed": String(told?.side === side), onclick: () => want(side) },
        words,
      ),
    ),
  );

/** The tab. */
export function trouble() {
  want(asked.side);
  const told = piece("trouble");
  const status = asked.isDone
    ? null
    : el("p", { class: "none", role: "status" }, "computing: every trouble of the set is solved");
  if (!told) return [chooser(told), status];
  if (told.cannot)
    return [chooser(told), status, told.cannot.map((words) => el("p", { class: "none" }, words))];
  return el("div", { class: asked.isDone ? "told" : "told older" }, [
    chooser(told),
    status,
    told.says ? el("p", { class: "verdict" }, told.says) : null,
    el(
      "p",
      { class: "note" },
      `Readings and signs: ${told.readings}, compared with a sound set and ${told.suspects - 1} troubles, each solved with the meter in its place.`,
    ),
    list("Leave the set unplugged", told.perils, { class: "flags" }),
    next(told),
    explained(told),
    list(
      "Two troubles at once would explain them: repair one, then read again",
      told.pairs.map((pair) => `${pair.words.join(" and ")} (${percent(pair.chance)})`),
    ),
    told.unsolved.length
      ? el(
          "details",
          {},
          el("summary", {}, `${told.unsolved.length} troubles without numbers, so not ranked`),
          el(
            "ul",
            {},
            told.unsolved.map((one) => el("li", {}, `${one.words}: ${one.why}`)),
          ),
        )
      : null,
    el("p", { class: "note" }, told.limits),
  ]);
}

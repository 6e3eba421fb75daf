// Every table of the job under the drawing; only the one that is open is made.

import { by, el, fill } from "./dom.js";
import { choices, choose, on, piece } from "./store.js";
import { partButton } from "./panel.js";
import { response } from "./plot.js";

const SIDES = [
  ["after", "After"],
  ["before", "Before"],
];
const ticked = new Set();

function table({ title, note, columns, rows, parts, marks }) {
  const known = piece("parts") ?? {};
  const cell = (text, column, part) => {
    const inner = column === 0 && part in known ? partButton(part, text) : text;
    return column === 0
      ? el("th", { scope: "row" }, inner)
      : el("td", { "data-label": columns[column] }, inner);
  };
  return el(
    "div",
    { class: "scroll" },
    el(
      "table",
      { class: "cards" },
      el("caption", {}, title, note ? el("small", {}, note) : null),
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
        rows.map((row, index) =>
          el(
            "tr",
            { class: marks[index] },
            row.map((text, column) => cell(text, column, parts[index])),
          ),
        ),
      ),
    ),
    rows.length ? null : el("p", { class: "none" }, "None."),
  );
}

function checkSide(side, heading) {
  const report = piece("check")?.[side];
  if (!report) return null;
  const reached = report.hazards.filter((one) => one.touchable);
  const others = report.hazards.filter((one) => !one.touchable);
  const hazard = (one) =>
    el(
      "li",
      {},
      el("b", {}, one.node),
      ` tied by ${one.through}: `,
      el("code", {}, one.words),
      el(
        "ul",
        {},
        one.when.map((words) => el("li", {}, words)),
      ),
      el("p", { class: "remedy" }, one.remedy),
    );
  const cautions = (weight, words) => {
    const found = report.cautions.filter((one) => one.weight === weight);
    return found.length
      ? [
          el("h4", {}, `${words}: ${found.length}`),
          el(
            "ul",
            {},
            found.map((one) =>
              el(
                "li",
                {},
                one.message,
                one.remedy ? el("p", { class: "remedy" }, one.remedy) : null,
              ),
            ),
          ),
        ]
      : null;
  };
  return el(
    "section",
    { class: side },
    el("h3", {}, heading),
    el("p", { class: `verdict ${piece("head").verdicts[side].bad ? "bad" : ""}` }, report.verdict),
    reached.length
      ? [
          el("h4", {}, `Within reach of a hand and tied to the mains: ${reached.length}`),
          el("ul", { class: "ties" }, reached.map(hazard)),
        ]
      : null,
    others.length
      ? [
          el("h4", {}, `Also tied, not within reach while the set is closed: ${others.length}`),
          el(
            "details",
            {},
            el("summary", {}, others.map((one) => one.node).join(", ")),
            el("ul", { class: "ties" }, others.map(hazard)),
          ),
        ]
      : null,
    report.more
      ? el("p", { class: "none" }, `and ${report.more} more; rework check --all prints them`)
      : null,
    report.live.length
      ? [
          el("h4", {}, `Live, not to be touched with the plug in: ${report.live.length}`),
          el(
            "ul",
            {},
            report.live.map((one) => el("li", {}, el("b", {}, one.node), `: ${one.where}`)),
          ),
        ]
      : null,
    cautions("must", "Must be mended"),
    cautions("mind", "To know and to measure"),
    el("p", { class: "note" }, report.note),
  );
}

function changes() {
  const found = piece("changes");
  if (!found) return null;
  const known = piece("parts") ?? {};
  const told = (sentence) => {
    const name = sentence.split(/[ :]/, 1)[0];
    return name in known
      ? el("li", {}, partButton(name), sentence.slice(name.length))
      : el("li", {}, sentence);
  };
  return [
    el(
      "p",
      { class: "counts" },
      found.counts.map(([word, count]) => el("span", {}, el("b", {}, count), ` ${word}`)),
    ),
    found.sentences.length
      ? el("ul", { class: "columns" }, found.sentences.map(told))
      : el("p", { class: "none" }, "No difference in meaning."),
  ];
}

function tick(key, words) {
  return el("input", {
    type: "checkbox",
    checked: ticked.has(key),
    "aria-label": words,
    onchange: (event) => (event.target.checked ? ticked.add(key) : ticked.delete(key)),
  });
}

function work() {
  return (piece("work") ?? []).map((group) =>
    el(
      "section",
      {},
      el("h3", {}, group.title),
      group.first.length
        ? el(
            "ul",
            { class: "first" },
            group.first.map((words) => el("li", {}, words)),
          )
        : null,
      el(
        "ol",
        { class: "hands" },
        group.steps.map((step) =>
          el(
            "li",
            {},
            tick(step.what, `Done: ${step.what}`),
            el("span", { class: "number" }, step.number),
            el(
              "div",
              {},
              el(
                "p",
                { class: "what" },
                step.part in (piece("parts") ?? {}) ? partButton(step.part, step.what) : step.what,
              ),
              step.cautions.map((caution) =>
                el("p", { class: "caution" }, el("b", {}, "Caution "), caution),
              ),
              el(
                "dl",
                {},
                [
                  ["where", step.where],
                  ["why", step.why],
                  ["check", step.check],
                ]
                  .filter(([, words]) => words)
                  .map(([name, words]) => [el("dt", {}, name), el("dd", {}, words)]),
              ),
            ),
          ),
        ),
      ),
    ),
  );
}

function tests() {
  return el(
    "ol",
    { class: "hands" },
    (piece("tests") ?? []).map((one) =>
      el(
        "li",
        {},
        tick(one.title, `Done: ${one.title}`),
        el("span", { class: "number" }, one.number),
        el(
          "div",
          {},
          el("p", { class: "what" }, one.title),
          el(
            "dl",
            {},
            [
              ["how", one.how],
              ["with", one.instrument],
              ["limit", one.limit],
              ["source", one.source],
              ["stop", one.stop],
            ].map(([name, words]) => [el("dt", {}, name), el("dd", {}, words)]),
          ),
          one.rows.length
            ? el(
                "ul",
                { class: "columns places" },
                one.rows.map((words) => el("li", {}, words)),
              )
            : null,
        ),
      ),
    ),
  );
}

const lists =
  (...names) =>
  () =>
    names.map((name) => piece("lists") && table(piece("lists")[name]));

/** What a sum says of both sides; while it is done anew, what it said before is shown as such. */
const lastReady = new Map();

function sum(name, more = () => null) {
  return () => [
    more(),
    SIDES.map(([side, heading]) => {
      const key = `${name}.${side}`;
      const now = piece(key);
      if (now?.state === "ready") lastReady.set(key, now);
      const older = now?.state === "computing" ? lastReady.get(key) : null;
      const found = now?.state === "ready" ? now : older;
      return el(
        "details",
        { class: older ? "older" : "", open: side === "after" },
        el(
          "summary",
          {},
          el("h3", {}, heading),
          el(
            "span",
            { class: "status" },
            now?.state === "ready"
              ? ""
              : now?.state === "none"
                ? "not computed"
                : older
                  ? "computing; these are from before the last save"
                  : "computing",
          ),
        ),
        now?.state === "none"
          ? now.why.map((words) => el("p", { class: "none" }, `Not computed: ${words}`))
          : null,
        found
          ? [
              (found.flags ?? []).length
                ? el(
                    "ul",
                    { class: "flags" },
                    found.flags.map((words) => el("li", {}, words)),
                  )
                : null,
              found.tables.map(table),
              found.notes.length
                ? el(
                    "details",
                    {},
                    el("summary", {}, "Assumptions"),
                    el(
                      "ul",
                      { class: "notes" },
                      found.notes.map((words) => el("li", {}, words)),
                    ),
                  )
                : null,
            ]
          : null,
      );
    }),
  ];
}

const TABS = [
  [
    "check",
    "Check",
    () => [checkSide("before", "Before"), checkSide("after", "After")],
    ["check", "head"],
  ],
  ["changes", "Changes", changes, ["changes", "parts"]],
  ["work", "Work order", work, ["work"]],
  ["parts", "Parts", lists("fit", "removed", "kept"), ["lists"]],
  ["wires", "Wires", lists("wires"), ["lists"]],
  ["volts", "Volts", sum("volts"), ["volts.before", "volts.after"]],
  ["ohms", "Ohms", sum("ohms"), ["ohms.before", "ohms.after"]],
  [
    "signal",
    "Signal",
    sum("signal", () => response(piece("signal.before"), piece("signal.after"))),
    ["signal.before", "signal.after"],
  ],
  ["touch", "Touch", sum("touch"), ["touch.before", "touch.after"]],
  ["faults", "Faults", sum("faults"), ["faults.before", "faults.after"]],
  ["tests", "Test plan", tests, ["tests"]],
];

function show() {
  const [name, , make] = TABS.find(([one]) => one === choices.tab);
  by("sheet").setAttribute("aria-labelledby", `tab-${name}`);
  by("sheet").className = `sheet ${name}`;
  fill(by("sheet"), make());
  for (const tab of by("tabs").children) {
    const chosen = tab.dataset.tab === name;
    tab.setAttribute("aria-selected", String(chosen));
    tab.tabIndex = chosen ? 0 : -1;
  }
}

function status() {
  for (const tab of by("tabs").children) {
    const sides = SIDES.map(([side]) => piece(`${tab.dataset.tab}.${side}`)).filter(Boolean);
    tab.querySelector(".busy").textContent = sides.some((one) => one.state === "computing")
      ? " computing"
      : sides.length && sides.every((one) => one.state === "none")
        ? " not computed"
        : "";
  }
}

export function startTables() {
  by("tabs").append(
    ...TABS.map(([name, words]) =>
      el(
        "button",
        {
          type: "button",
          role: "tab",
          id: `tab-${name}`,
          "data-tab": name,
          "aria-controls": "sheet",
          onclick: () => choose({ tab: name }),
        },
        words,
        el("small", { class: "busy" }),
      ),
    ),
  );
  by("tabs").addEventListener("keydown", (event) => {
    const at = TABS.findIndex(([name]) => name === choices.tab);
    const to = { ArrowRight: at + 1, ArrowLeft: at - 1, Home: 0, End: TABS.length - 1 }[event.key];
    if (to === undefined) return;
    event.preventDefault();
    choose({ tab: TABS[(to + TABS.length) % TABS.length][0] });
    by(`tab-${TABS[(to + TABS.length) % TABS.length][0]}`).focus();
  });
  on(["#tab"], show);
  for (const [name, , , keys] of TABS)
    on(keys, () => {
      if (choices.tab === name) show();
    });
  on(
    ["volts", "ohms", "signal", "touch", "faults"].flatMap((name) =>
      SIDES.map(([side]) => `${name}.${side}`),
    ),
    status,
  );
  show();
}

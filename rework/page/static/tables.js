// Every table of the job under the drawing; only the one that is open is made.

import { by, el, fill, refused } from "./dom.js";
import { linked, nodeButton, partButton } from "./links.js";
import { response } from "./plot.js";
import { ofTheSet, outcome, tick } from "./record.js";
import { ask, choices, choose, on, piece } from "./store.js";
import { trouble } from "./trouble.js";

const SIDES = [
  ["after", "After"],
  ["before", "Before"],
];

/** Puts a table on the clipboard, its cells apart by tabs, as a spreadsheet takes it. */
async function copy({ columns, rows }, button) {
  const text = [columns, ...rows].map((row) => row.join("\t")).join("\n");
  try {
    await navigator.clipboard.writeText(text);
    button.textContent = "Copied";
    refused("");
  } catch {
    refused("The browser does not let this page copy. Take the CSV.");
  }
}

/** A table of the report; `isNow`: what the server has under its name is this one. */
function table(shown, isNow = true) {
  const { title, note, columns, looks, rows, parts, marks } = shown;
  const known = piece("parts") ?? {};
  const cell = (text, column, part) => {
    const name = column === 0 && part in known;
    const inner = name ? partButton(part, text) : linked(text);
    return column === 0
      ? el("th", { scope: "row" }, inner)
      : el("td", { "data-label": columns[column], class: looks[column] }, inner);
  };
  const tools = el(
    "p",
    { class: "keep" },
    el(
      "button",
      {
        type: "button",
        "aria-label": `Copy: ${title}`,
        onclick: (event) => copy(shown, event.target),
      },
      "Copy",
    ),
    isNow &&
      el(
        "a",
        {
          href: `table/${shown.from}/${shown.key}.csv`,
          download: "",
          "aria-label": `CSV: ${title}`,
        },
        "CSV",
      ),
  );
  return el(
    "div",
    { class: "scroll", tabindex: 0, role: "group", "aria-label": title || columns.join(", ") },
    el(
      "table",
      { class: "cards" },
      el("caption", {}, title, tools, note ? el("small", {}, note) : null),
      el(
        "thead",
        {},
        el(
          "tr",
          {},
          columns.map((column, index) =>
            column
              ? el("th", { scope: "col", class: looks[index] }, column)
              : el("td", { class: looks[index] }),
          ),
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
    rows.length ? null : el("p", { class: "none" }, shown.why || "None."),
  );
}

function checkSide(side) {
  const report = piece("check")?.[side];
  if (!report) return null;
  const item = (one) =>
    el(
      "li",
      {},
      one.node ? [nodeButton(one.node), " "] : null,
      one.part && one.part in (piece("parts") ?? {}) ? [partButton(one.part), " "] : null,
      one.words,
      one.way ? el("code", {}, one.way) : null,
      one.when?.length
        ? el(
            "ul",
            {},
            one.when.map((words) => el("li", {}, words)),
          )
        : null,
      one.remedy ? el("p", { class: "remedy" }, one.remedy) : null,
    );
  return el(
    "section",
    { class: side },
    el("h3", {}, report.heading),
    el("p", { class: report.bad ? "verdict bad" : "verdict" }, report.verdict),
    report.sections.map((section) => [
      el("h4", {}, section.heading),
      el("ul", { class: "findings" }, section.items.map(item)),
    ]),
    report.more ? el("p", { class: "none" }, report.more) : null,
    el("p", { class: "note" }, report.note),
  );
}

// What a command says of the job: asked for when its tab is looked at, again after a save.
const askedAt = new Map();

/** One block of what a command says: a heading, lines or a table. */
function block(one, isNow) {
  if (one.table) return table(one.table, isNow);
  if (one.heading) return el("h3", {}, one.heading, one.more ? el("small", {}, one.more) : null);
  if (one.look === "list" || one.look === "close")
    return el(
      "ul",
      { class: one.look === "close" ? "flags" : "said" },
      one.lines.map((line) =>
        el("li", { class: line.startsWith(" ") ? "more" : null }, line.trim()),
      ),
    );
  const look = { good: "verdict", bad: "verdict bad" }[one.look] ?? "said";
  return one.lines.map((line) => el("p", { class: look }, line));
}

const said = (command) => () => {
  const at = piece("read")?.at;
  const answer = piece(`said.${command}`);
  const isNow = answer?.at === at;
  if (at && !isNow && askedAt.get(command) !== at) {
    askedAt.set(command, at);
    ask(`said/${command}`);
  }
  const status = answer ? "computing; this is from before the last save" : "computing";
  return [
    el("p", { class: "note" }, `rework ${command} ${piece("file")?.name ?? ""}`),
    isNow ? null : el("p", { class: "none", role: "status" }, status),
    el(
      "div",
      { class: isNow ? "" : "older" },
      (answer?.blocks ?? []).map((one) => block(one, isNow)),
    ),
  ];
};

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

const recordTrouble = () =>
  piece("record")?.why ? el("pre", { class: "error", tabindex: 0 }, piece("record").why) : null;

function work() {
  const groups = (piece("work") ?? []).map((group) =>
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
            tick("work", step.what),
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
  return [recordTrouble(), groups];
}

function tests() {
  const plan = el(
    "ol",
    { class: "hands" },
    (piece("tests") ?? []).map((one) =>
      el(
        "li",
        {},
        tick("test", one.title),
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
          outcome(one.title),
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
  return [recordTrouble(), ofTheSet(), plan];
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
              found.tables.map((one) => table(one, !older)),
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
  ["summary", "Summary", said("summary"), ["read", "said.summary", "parts"]],
  ["check", "Check", () => [checkSide("before"), checkSide("after")], ["check", "parts"]],
  ["changes", "Changes", changes, ["changes", "parts"]],
  ["work", "Work order", work, ["work", "record"]],
  ["parts", "Parts", lists("fit", "removed", "kept"), ["lists"]],
  ["wires", "Wires", lists("wires"), ["lists"]],
  ["supply", "Supply", said("supply"), ["read", "said.supply", "parts"]],
  ["options", "Options", said("options"), ["read", "said.options", "parts"]],
  ["relatives", "Relatives", said("relatives"), ["read", "said.relatives", "parts"]],
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
  ["tests", "Test plan", tests, ["tests", "record"]],
  ["trouble", "Trouble", trouble, ["read", "trouble", "parts"]],
];

function show() {
  const [name, , make] = TABS.find(([one]) => one === choices.tab) ?? TABS[1];
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

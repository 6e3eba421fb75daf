// What the bench types: readings into the job, ticks and results into the record beside it.

import { el, refused } from "./dom.js";
import { on, piece, send } from "./store.js";
import { OF_THE_SET } from "./words.js";

// The hashes of the files as this page left them, until the server tells of them.
let mine = {};
let last = Promise.resolve();

const jobSeen = () =>
  mine.job ??
  (piece("netlist") ?? []).find((file) => file.name === piece("file")?.name)?.seen ??
  "";
const recordSeen = () => mine.record ?? piece("record")?.seen ?? "";

/** Writes one thing after another, each on what the one before it left. */
function written(field, path, facts) {
  field.disabled = true;
  const turn = last.then(async () => {
    const { why, seen } = await send(path, facts());
    if (seen) mine = seen;
    field.disabled = false;
    refused(why);
    return !why;
  });
  last = turn;
  return turn;
}

/** A field for the reading of a meter at a pin or node; a bare number is volts. */
export function readingField(name) {
  const known = piece("readings")?.[name];
  return el("input", {
    class: "reading",
    value: known?.text ?? "",
    placeholder: "read",
    inputmode: "decimal",
    "aria-label": `Reading at ${name}`,
    "data-at": name,
    onkeydown: (event) => event.key === "Enter" && event.target.blur(),
    onchange: async (event) => {
      const field = event.target;
      const typed = field.value.trim().replace(/^([+-]?[\d.]+)$/, "$1 V");
      const facts = () => ({ seen: jobSeen(), at: known?.at ?? name, value: typed });
      if (!(await written(field, "reading", facts))) field.value = known?.text ?? "";
    },
  });
}

/** A field for the reading that a line of the job asks for, its amount written ___; a bare number is in its unit. */
export function lineField(line) {
  const [at, rest] = line.replace(/^reading /, "").split(/ (?=___)/);
  const unit = /___ (ohm|V)/;
  const value = (typed) => {
    if (/^(open|OL)$/i.test(typed)) return "open";
    return /^[+-]?[\d.]+$/.test(typed) ? rest.replace("___", typed) : rest.replace(unit, typed);
  };
  return el("input", {
    class: "reading",
    placeholder: unit.exec(rest)?.[1] ?? "read",
    "aria-label": `Reading: ${at}`,
    "data-line": line,
    onkeydown: (event) => event.key === "Enter" && event.target.blur(),
    onchange: async (event) => {
      const field = event.target;
      const typed = field.value.trim();
      const facts = () => ({ seen: jobSeen(), at, value: value(typed) });
      if (typed && !(await written(field, "reading", facts))) field.value = "";
    },
  });
}

const entryOf = (kind, what) =>
  (piece("record")?.entries ?? []).find((entry) => entry.kind === kind && entry.what === what);

/** A box to tick that the record keeps. */
export function tick(kind, what) {
  const entry = entryOf(kind, what);
  return el("input", {
    type: "checkbox",
    checked: Boolean(entry),
    title: entry ? `done ${entry.at.replace("T", " ")}` : null,
    "aria-label": `Done: ${what}`,
    onchange: async (event) => {
      const box = event.target;
      const ticked = box.checked;
      const facts = () => ({ ...entryOf(kind, what), kind, what, seen: recordSeen(), ticked });
      if (!(await written(box, "entry", facts))) box.checked = Boolean(entry);
    },
  });
}

/** What the record says of the whole job: kept as soon as it is typed. */
export function ofTheSet() {
  const field = (what) =>
    el(
      "label",
      {},
      what,
      el("input", {
        value: entryOf("set", what)?.result ?? "",
        "data-field": what,
        onchange: async (event) => {
          const box = event.target;
          const result = box.value.trim();
          const facts = () => ({
            kind: "set",
            what,
            result,
            seen: recordSeen(),
            ticked: Boolean(result),
          });
          if (!(await written(box, "entry", facts))) box.value = entryOf("set", what)?.result ?? "";
        },
      }),
    );
  return el(
    "div",
    { class: "outcome", role: "group", "aria-label": "Record" },
    OF_THE_SET.map(field),
  );
}

/** What was found in a test: result, pass or fail, by whom and with what; each is kept as soon as it is typed. */
export function outcome(what) {
  const entry = entryOf("test", what) ?? {};
  const keep = (name) => async (event) => {
    const field = event.target;
    const value = field.value;
    const facts = () => ({
      ...entryOf("test", what),
      kind: "test",
      what,
      [name]: value,
      seen: recordSeen(),
      ticked: true,
    });
    if (!(await written(field, "entry", facts))) field.value = entry[name] ?? "";
  };
  const field = (name, label) =>
    el(
      "label",
      {},
      label,
      el("input", { value: entry[name] ?? "", onchange: keep(name), "data-field": name }),
    );
  const verdict = el(
    "select",
    { onchange: keep("verdict"), "data-field": "verdict" },
    ["", "pass", "fail"].map((value) =>
      el("option", { value, selected: value === (entry.verdict ?? "") }, value || "–"),
    ),
  );
  return el(
    "div",
    { class: "outcome" },
    field("result", "Result"),
    el("label", {}, "Verdict", verdict),
    field("by", "By"),
    field("instrument", "Instrument"),
    entry.at ? el("small", {}, entry.at.replace("T", " ")) : null,
  );
}

export function startRecord() {
  on(["record", "netlist"], () => {
    mine = {};
  });
}

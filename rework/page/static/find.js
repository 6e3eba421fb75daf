// Find: a pattern held against names, types, values, colours and rules; * stands for any letters.

import { by, el, fill } from "./dom.js";
import { choices, choose, on, piece } from "./store.js";
import { pickNode, pickPart } from "./links.js";

const MOST = 60;
let at = -1;

/** The entries that a pattern finds: whole words first, then what only begins or holds it. */
export function matches(pattern) {
  const typed = pattern.trim().toLowerCase();
  const every = piece("index") ?? [];
  if (!typed) return [];
  if (typed.includes("*")) {
    const wild = new RegExp(
      `^${typed
        .split("*")
        .map((text) => text.replace(/[.+?^${}()|[\]\\]/g, "\\$&"))
        .join(".*")}$`,
    );
    return every.filter((entry) => entry.words.some((word) => wild.test(word)));
  }
  const whole = every.filter((entry) => entry.words.includes(typed));
  if (whole.length) {
    const named = (entry) => (entry.name.toLowerCase() === typed ? 0 : 1);
    return whole.sort((one, other) => named(one) - named(other));
  }
  return every.filter((entry) => entry.words.some((word) => word.includes(typed)));
}

const pick = (entry) => {
  if (entry.what === "part") pickPart(entry.name);
  else if (entry.what === "node") pickNode(entry.name);
  else choose({ view: "steps", step: entry.step });
};

function show(open = true) {
  const found = matches(by("find-name").value);
  const list = by("found");
  const typed = by("find-name").value.trim() !== "";
  at = Math.min(at, found.length - 1);
  by("find-name").setAttribute("aria-invalid", String(typed && !found.length));
  list.hidden = !open || !typed;
  by("find-name").setAttribute("aria-expanded", String(!list.hidden));
  if (at >= 0 && open) by("find-name").setAttribute("aria-activedescendant", `found-${at}`);
  else by("find-name").removeAttribute("aria-activedescendant");
  fill(
    list,
    found.slice(0, MOST).map((entry, index) =>
      el(
        "li",
        {
          role: "option",
          id: `found-${index}`,
          "aria-selected": String(index === at),
          ...(entry.what === "rule" ? {} : { [`data-${entry.what}`]: entry.name }),
          onclick: () => {
            pick(entry);
            show(false);
          },
        },
        el("b", {}, entry.name),
        el("span", {}, ` ${entry.told}`),
        el("small", {}, entry.what),
      ),
    ),
    typed && !found.length
      ? el(
          "li",
          { role: "option", "aria-disabled": "true", "aria-selected": "false" },
          "Nothing found.",
        )
      : null,
    found.length > MOST
      ? el(
          "li",
          { role: "option", "aria-selected": "false", "aria-disabled": "true" },
          `${found.length - MOST} more`,
        )
      : null,
  );
  return found;
}

export function startFind() {
  const input = by("find-name");
  input.addEventListener("input", () => {
    at = -1;
    show();
  });
  input.addEventListener("keydown", (event) => {
    const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
    if (event.key === "Escape") {
      input.value = "";
      choose({ find: "" });
      return void show(false);
    }
    if (!step) return;
    event.preventDefault();
    at = Math.max(-1, Math.min(at + step, Math.min(matches(input.value).length, MOST) - 1));
    show();
    by(`found-${at}`)?.scrollIntoView({ block: "nearest" });
  });
  by("find").addEventListener("submit", (event) => {
    event.preventDefault();
    const found = show(false);
    choose({ find: input.value.trim() });
    if (found.length) pick(found[Math.max(at, 0)]);
  });
  document.addEventListener("pointerdown", (event) => {
    if (!event.target.closest("#find")) show(false);
  });
  on(["#find", "index"], () => {
    if (document.activeElement === input) return;
    input.value = choices.find;
    show(false);
  });
}

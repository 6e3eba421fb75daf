// What the server has told, piece by piece, and what the person has chosen. Whoever shows something says what it hangs on.

const pieces = new Map();
const chosen = {
  view: "both",
  step: 0,
  part: "",
  node: "",
  tab: "check",
  ties: true,
  positions: {},
};
const listeners = new Map();

export const piece = (key) => pieces.get(key);
export const choices = chosen;

/** Calls `show` whenever one of the keys changes: a piece by its name, a choice by `#` and its name. */
export function on(keys, show) {
  for (const key of keys) listeners.set(key, [...(listeners.get(key) ?? []), show]);
}

const waiting = new Set();

function tell(key) {
  for (const show of listeners.get(key) ?? []) waiting.add(show);
  if (waiting.size) queueMicrotask(flush);
}

function flush() {
  const due = [...waiting];
  waiting.clear();
  for (const show of due) show();
}

export function put(key, value) {
  pieces.set(key, value);
  tell(key);
}

export function choose(changes) {
  for (const [name, value] of Object.entries(changes)) {
    if (chosen[name] === value) continue;
    chosen[name] = value;
    tell(`#${name}`);
  }
}

/** Asks the server for something beside the pieces; null where it has no such thing. */
export async function ask(path, facts = {}) {
  const answer = await fetch(`${path}?${new URLSearchParams(facts)}`).catch(() => null);
  return answer?.ok ? answer.json() : null;
}

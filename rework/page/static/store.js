// What the server has told, piece by piece, and what the person has chosen, which the address keeps.

const pieces = new Map();
const usual = {
  view: "after",
  step: 0,
  part: "",
  node: "",
  find: "",
  tab: "check",
  file: "",
  ties: true,
  positions: {},
};
const chosen = { ...usual };
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

/** Takes choices over; those that the address has make a new one, so that Back undoes them. */
export function choose(changes) {
  set(changes);
  const address = written();
  if (address !== (location.hash || "#")) history.pushState(null, "", address);
}

/** Takes over what follows from a choice, in the same address. */
export function adjust(changes) {
  set(changes);
  history.replaceState(null, "", written());
}

function set(changes) {
  for (const [name, value] of Object.entries(changes)) {
    if (JSON.stringify(chosen[name]) === JSON.stringify(value)) continue;
    chosen[name] = value;
    tell(`#${name}`);
  }
}

function written() {
  const facts = new URLSearchParams();
  for (const [name, value] of Object.entries(usual)) {
    if (name === "positions") {
      for (const [axis, position] of Object.entries(chosen.positions))
        facts.set(`at.${axis}`, position);
    } else if (chosen[name] !== value)
      facts.set(name, String(Number(chosen[name]) === 0 && name === "ties" ? 0 : chosen[name]));
  }
  return `#${facts}`;
}

/** Takes over what an address says; what it does not name is as usual. */
export function read() {
  const facts = new URLSearchParams(location.hash.slice(1));
  const changes = { ...usual, positions: {} };
  for (const [name, value] of facts) {
    if (name.startsWith("at.")) changes.positions[name.slice(3)] = value;
    else if (name === "step") changes.step = Math.max(0, Math.trunc(Number(value)) || 0);
    else if (name === "ties") changes.ties = value !== "0";
    else if (name in usual && name !== "positions") changes[name] = value;
  }
  set(changes);
}

/** Asks the server for something beside the pieces; null where it has no such thing. */
export async function ask(path, facts = {}) {
  const answer = await fetch(`${path}?${new URLSearchParams(facts)}`).catch(() => null);
  return answer?.ok ? answer.json() : null;
}

/** Sends what is to be written; returns why it was not, or nothing, and the hashes of the files then. */
export async function send(path, facts) {
  const answer = await fetch(path, {
    method: "POST",
    headers: { "content-type": "application/json" },
    body: JSON.stringify(facts),
  }).catch(() => null);
  if (answer?.ok) return { why: "", seen: await answer.json() };
  if (answer?.status === 409) return { why: (await answer.json()).refused };
  return { why: "Not written: rework view does not answer." };
}

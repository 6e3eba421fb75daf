// Elements from plain values. Text goes in as text, never as markup.

const SVG = "http://www.w3.org/2000/svg";

function filled(made, attributes, children) {
  for (const [name, value] of Object.entries(attributes)) {
    if (value === undefined || value === null || value === false) continue;
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else made.setAttribute(name, value === true ? "" : String(value));
  }
  made.append(
    ...children.flat(5).filter((child) => child !== null && child !== undefined && child !== false),
  );
  return made;
}

export const el = (tag, attributes = {}, ...children) =>
  filled(document.createElement(tag), attributes, children);
export const svg = (tag, attributes = {}, ...children) =>
  filled(document.createElementNS(SVG, tag), attributes, children);
export const by = (id) => document.getElementById(id);

/** A set of radio buttons that looks like one switch. */
export function choice(name, legend, values, chosen, change) {
  return el(
    "fieldset",
    { class: "choice" },
    el("legend", {}, legend),
    values.map(([value, words]) =>
      el(
        "label",
        {},
        el("input", {
          type: "radio",
          name,
          value,
          checked: value === chosen,
          onchange: () => change(value),
        }),
        el("span", {}, words),
      ),
    ),
  );
}

/** Replaces what an element holds only where it would not look the same. */
export function fill(host, ...children) {
  const made = el("div", {}, ...children);
  if (
    host.childNodes.length === made.childNodes.length &&
    [...made.childNodes].every((child, index) => child.isEqualNode(host.childNodes[index]))
  )
    return false;
  host.replaceChildren(...made.childNodes);
  return true;
}

/** Says why something was not done, until the next thing is. */
export function refused(words) {
  by("refused").hidden = !words;
  by("refused").textContent = words;
}

/** How far a drawn thing is moved by the groups it is in: as a transform, null where it is not. */
export function shiftOf(made) {
  const [dx, dy] = moved(made);
  return dx || dy ? `translate(${dx} ${dy})` : null;
}

function moved(made) {
  const matrix = made.closest("g[transform]")?.transform.baseVal.consolidate()?.matrix;
  return matrix ? [matrix.e, matrix.f] : [0, 0];
}

/** The box of a drawn thing in the measure of its sheet. */
export function boxOf(made) {
  const { x, y, width, height } = made.getBBox();
  const [dx, dy] = made.hasAttribute("transform") ? [0, 0] : moved(made);
  return { x: x + dx, y: y + dy, width, height };
}

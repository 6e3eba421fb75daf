// One pane with a drawing in it, and the window that all panes share: they pan and zoom together.

import { el, svg } from "./dom.js";

const TAGS = new Set(["path", "polygon", "polyline", "ellipse", "circle", "rect", "text", "g"]);
const STILL = 5;

/** The stretch of the sheet that is seen, in the drawing's own measure. */
export class Window {
  constructor() {
    this.panes = new Set();
    this.whole = true;
    this.box = [0, 0, 100, 100];
    this.at = { x: 0, y: 0, w: 100, h: 100 };
  }

  /** Takes the bounds of a sheet; a window that shows all of it goes on doing so. */
  bounds(box) {
    const other = JSON.stringify(box) !== JSON.stringify(this.box);
    this.box = box;
    if (this.whole && other) this.fit();
    else this.apply();
  }

  fit() {
    const [left, top, right, bottom] = this.box;
    this.whole = true;
    this.at = { x: left, y: top, w: right - left, h: bottom - top };
    this.apply();
  }

  move(dx, dy) {
    this.whole = false;
    this.at = { ...this.at, x: this.at.x + dx, y: this.at.y + dy };
    this.apply();
  }

  zoom(factor, x = this.at.x + this.at.w / 2, y = this.at.y + this.at.h / 2) {
    const most = 1.6 * (this.box[2] - this.box[0]);
    const w = Math.min(Math.max(this.at.w / factor, 60), most);
    const real = this.at.w / w;
    this.whole = false;
    this.at = {
      x: x - (x - this.at.x) / real,
      y: y - (y - this.at.y) / real,
      w,
      h: this.at.h / real,
    };
    this.apply();
  }

  /** Shows a place: moves there if it is out of sight, and near enough to read it. */
  reveal(box, pane) {
    const { x, y, w, h } = this.at;
    const inside =
      box.x >= x && box.y >= y && box.x + box.width <= x + w && box.y + box.height <= y + h;
    const scale = (pane.picture.clientWidth || 600) / w;
    if (inside && scale > 0.45) return;
    const width = Math.min(w, (pane.picture.clientWidth || 600) / 1.1);
    const height = (width / w) * h;
    this.whole = false;
    this.at = {
      x: box.x + box.width / 2 - width / 2,
      y: box.y + box.height / 2 - height / 2,
      w: width,
      h: height,
    };
    this.apply();
  }

  apply() {
    const { x, y, w, h } = this.at;
    for (const pane of this.panes) {
      pane.picture.setAttribute("viewBox", `${x} ${y} ${w} ${h}`);
      pane.picture.classList.toggle("whole", this.whole);
    }
  }
}

export class Pane {
  constructor(name, heading, seen, pick) {
    this.name = name;
    this.window = seen;
    this.pick = pick;
    this.groups = new Map();
    this.under = svg("g", { class: "under", "aria-hidden": "true" });
    this.sheet = svg("g", { class: "sheet" });
    this.above = svg("g", { class: "above", "aria-hidden": "true" });
    this.picture = svg(
      "svg",
      { class: "scene", tabindex: 0, role: "group", preserveAspectRatio: "xMidYMin meet" },
      this.under,
      this.sheet,
      this.above,
    );
    this.told = el("p", { class: "untold" });
    this.host = el(
      "figure",
      { class: "pane", "data-pane": name },
      el("figcaption", {}, el("b", {}, heading), el("span", { class: "more" })),
      this.picture,
      this.told,
    );
    this.pointers = new Map();
    seen.panes.add(this);
    this.#listen();
  }

  caption(words) {
    this.host.querySelector(".more").textContent = words;
  }

  /** Draws a scene; only what is not as it was is drawn anew. Returns how many pieces that were. */
  draw(scene, describe) {
    const cannot = !scene || scene.cannot;
    this.told.textContent = cannot ? (scene?.cannot ?? "Drawing …") : "";
    this.picture.toggleAttribute("hidden", Boolean(cannot));
    if (cannot) return 0;
    const first = this.groups.size === 0;
    const kept = new Map();
    let next = this.sheet.firstChild;
    let changed = 0;
    for (const group of scene.groups) {
      const text = JSON.stringify(group);
      let had = this.groups.get(group.key);
      if (had?.text !== text) {
        const made = this.#group(group, describe);
        if (had) {
          if (next === had.made) next = had.made.nextSibling;
          had.made.remove();
        }
        if (!first) {
          made.classList.add("fresh");
          changed += 1;
        }
        had = { text, made, facts: group.facts };
      }
      kept.set(group.key, had);
      if (next === had.made) next = next.nextSibling;
      else this.sheet.insertBefore(had.made, next);
    }
    for (const [key, { made }] of this.groups)
      if (!kept.has(key)) {
        made.remove();
        changed += first ? 0 : 1;
      }
    this.groups = kept;
    this.#rove();
    this.window.bounds(scene.box);
    const count = new Set([...kept.values()].map(({ facts }) => facts.part).filter(Boolean)).size;
    this.picture.setAttribute(
      "aria-label",
      `Drawing, ${this.host.querySelector("b").textContent.toLowerCase()}: ${count} parts. Arrow keys move the sheet, plus and minus zoom, 0 shows all, Enter goes to the parts.`,
    );
    return changed;
  }

  #group({ key, facts, shapes }, describe) {
    const made = svg("g", { "data-key": key });
    for (const [name, value] of Object.entries(facts)) made.setAttribute(`data-${name}`, value);
    if (facts.part) {
      made.setAttribute("role", "button");
      made.setAttribute("tabindex", "-1");
      made.setAttribute("aria-label", describe(facts));
    } else if (facts.node && !facts.pin) {
      made.setAttribute("role", "button");
      made.setAttribute("tabindex", "-1");
      made.setAttribute("aria-label", `Node ${facts.node}`);
    }
    made.append(...shapes.map((shape) => this.#shape(shape)));
    return made;
  }

  #shape([tag, attributes, inner]) {
    if (!TAGS.has(tag)) return "";
    const made = svg(tag, attributes);
    if (tag === "g") made.append(...inner.map((shape) => this.#shape(shape)));
    else if (inner) made.append(inner);
    return made;
  }

  /** Every drawn thing that stands for a part or node, with what it stands for. */
  *things() {
    for (const { made, facts } of this.groups.values()) {
      if (facts.part || facts.node)
        yield {
          made,
          part: facts.part ?? "",
          node: facts.node ?? "",
          isLine: Boolean(facts.pin || facts.line) && !facts.part,
          isWire: Boolean(facts.line),
        };
      for (const strip of made.querySelectorAll("g[data-node]"))
        yield { made: strip, part: "", node: strip.dataset.node, isStrip: true };
    }
  }

  of(part, node) {
    return [...this.things()].filter((thing) => (part ? thing.part === part : thing.node === node));
  }

  reveal(part, node) {
    const found = this.of(part, node).filter((thing) => !thing.isStrip || !part);
    const one = found.find((thing) => !thing.isLine) ?? found[0];
    if (one && this.host.isConnected) this.window.reveal(one.made.getBBox(), this);
    return Boolean(one);
  }

  // what hands do

  #rove() {
    const parts = [...this.sheet.querySelectorAll(":scope > [role=button]")];
    if (!parts.some((part) => part.tabIndex === 0) && parts[0]) parts[0].tabIndex = 0;
  }

  #point(event) {
    const turned = this.picture.getScreenCTM().inverse();
    return new DOMPoint(event.clientX, event.clientY).matrixTransform(turned);
  }

  #choose(target) {
    const strip = target.closest?.("g[data-node]");
    const block = target.closest?.("g[data-part]");
    if (strip && block && block.contains(strip) && strip !== block)
      this.pick({ part: block.dataset.part, node: "" });
    else if (block) this.pick({ part: block.dataset.part, node: "" });
    else if (strip) this.pick({ part: "", node: strip.dataset.node });
    else this.pick({ part: "", node: "" });
  }

  #listen() {
    const { picture, pointers } = this;
    picture.addEventListener(
      "wheel",
      (event) => {
        event.preventDefault();
        const at = this.#point(event);
        this.window.zoom(Math.exp(-event.deltaY * (event.ctrlKey ? 0.01 : 0.0016)), at.x, at.y);
      },
      { passive: false },
    );
    picture.addEventListener("pointerdown", (event) => {
      if (event.button > 0) return;
      if (pointers.size === 0) this.pressed = { target: event.target, moved: 0 };
      pointers.set(event.pointerId, event);
      picture.setPointerCapture(event.pointerId);
    });
    picture.addEventListener("pointermove", (event) => {
      const last = pointers.get(event.pointerId);
      if (!last) return;
      const was = this.#point(last);
      const now = this.#point(event);
      this.pressed.moved += Math.hypot(event.clientX - last.clientX, event.clientY - last.clientY);
      const other = [...pointers.values()].find((one) => one.pointerId !== event.pointerId);
      if (other) {
        const away = (one) => Math.hypot(one.clientX - other.clientX, one.clientY - other.clientY);
        const middle = this.#point(other);
        this.window.zoom(
          Math.max(away(event), 1) / Math.max(away(last), 1),
          (middle.x + now.x) / 2,
          (middle.y + now.y) / 2,
        );
      } else if (
        this.pressed.moved > STILL &&
        !(event.pointerType === "touch" && this.window.whole)
      ) {
        this.window.move(was.x - now.x, was.y - now.y);
      }
      pointers.set(event.pointerId, event);
    });
    const up = (event) => {
      if (!pointers.delete(event.pointerId) || pointers.size) return;
      if (event.type === "pointerup" && this.pressed.moved <= STILL)
        this.#choose(this.pressed.target);
    };
    picture.addEventListener("pointerup", up);
    picture.addEventListener("pointercancel", up);
    picture.addEventListener("dblclick", (event) => {
      const at = this.#point(event);
      this.window.zoom(1.8, at.x, at.y);
    });
    picture.addEventListener("keydown", (event) => this.#key(event));
    picture.addEventListener("focusin", (event) => {
      if (event.target === picture) return;
      for (const one of picture.querySelectorAll("[role=button][tabindex='0']")) one.tabIndex = -1;
      event.target.tabIndex = 0;
    });
  }

  #key(event) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[
      event.key
    ];
    const part = event.target !== this.picture ? event.target : null;
    if (event.key === "+" || event.key === "=") this.window.zoom(1.35);
    else if (event.key === "-") this.window.zoom(1 / 1.35);
    else if (event.key === "0") this.window.fit();
    else if (step && part) this.#next(part, step);
    else if (step)
      this.window.move((step[0] * this.window.at.w) / 8, (step[1] * this.window.at.h) / 8);
    else if (part && (event.key === "Enter" || event.key === " ")) this.#choose(part);
    else if (!part && event.key === "Enter") this.#middle()?.focus();
    else if (part && event.key === "Escape") this.picture.focus();
    else return;
    event.preventDefault();
    event.stopPropagation();
  }

  #centres() {
    return [...this.sheet.querySelectorAll(":scope > [role=button]")].map((made) => {
      const box = made.getBBox();
      return { made, x: box.x + box.width / 2, y: box.y + box.height / 2, box };
    });
  }

  #middle() {
    const { x, y, w, h } = this.window.at;
    const far = (one) => Math.hypot(one.x - x - w / 2, one.y - y - h / 2);
    return this.#centres().sort((one, other) => far(one) - far(other))[0]?.made;
  }

  /** Goes to the nearest part in a direction: what lies ahead counts, what lies aside counts double. */
  #next(from, [dx, dy]) {
    const all = this.#centres();
    const here = all.find((one) => one.made === from);
    let best = null;
    for (const one of all) {
      const ahead = (one.x - here.x) * dx + (one.y - here.y) * dy;
      const aside = Math.abs((one.x - here.x) * dy) + Math.abs((one.y - here.y) * dx);
      if (ahead > 2 && (!best || ahead + 2 * aside < best.cost))
        best = { ...one, cost: ahead + 2 * aside };
    }
    if (!best) return;
    best.made.focus({ preventScroll: true });
    this.window.reveal(best.box, this);
  }
}

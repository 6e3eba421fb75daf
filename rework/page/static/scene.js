// One pane with a drawing in it, and the window that all panes share: they pan and zoom together.

import { boxOf, el, fill, svg } from "./dom.js";

const TAGS = new Set(["path", "polygon", "polyline", "ellipse", "circle", "rect", "text", "g"]);
const STILL = 5;

/**
 * The stretch of the sheet that is seen: the upper left corner in the drawing's own measure, and
 * pixels of the screen to one of it. Panes of one window show the same stretch.
 */
export class Window {
  /** `readable`: from this scale on the words of the drawing can be read. */
  constructor(readable) {
    this.readable = readable;
    this.panes = new Set();
    this.follows = "read";
    this.box = [0, 0, 100, 100];
    this.first = this.box;
    this.at = { x: 0, y: 0, scale: 1 };
  }

  /** The pane whose size counts: the first that is seen. */
  get #size() {
    for (const { picture } of this.panes)
      if (picture.isConnected && picture.clientWidth)
        return [picture.clientWidth, picture.clientHeight];
    return [600, 400];
  }

  /** Takes the bounds of all sheets and of the first; a window nobody moved goes on as it was. */
  bounds(box, first) {
    this.box = box;
    this.first = first;
    this.resized();
  }

  resized() {
    if (this.follows === "read") this.read();
    else if (this.follows === "all") this.fit();
    else this.apply();
  }

  /** Shows all of every sheet. */
  fit() {
    this.#show(this.box, 0);
    this.follows = "all";
  }

  /** Shows as much of the first sheet as can be read. */
  read() {
    this.#show(this.first, this.readable);
    this.follows = "read";
  }

  #show([left, top, right, bottom], least) {
    const [wide, high] = this.#size;
    const whole = Math.min(wide / (right - left), high / (bottom - top));
    const scale = Math.max(whole, Math.min(least, Math.max(wide / (right - left), least)));
    const spare = wide / scale - (right - left);
    this.at = { x: left - Math.max(0, spare / 2), y: top, scale };
    this.apply();
  }

  /** Shows one sheet, as large as it can be read. */
  sheet(box) {
    this.#show(box, this.readable);
    this.follows = "";
  }

  move(dx, dy) {
    this.follows = "";
    this.at = { ...this.at, x: this.at.x + dx, y: this.at.y + dy };
    this.apply();
  }

  /** Zooms about a point, which stays where it is on the screen. */
  zoom(factor, x, y) {
    const { scale } = this.at;
    const least = 0.5 * Math.min(this.#size[0] / (this.box[2] - this.box[0]), this.readable);
    const next = Math.min(Math.max(scale * factor, least), 12);
    this.follows = "";
    this.at = {
      x: x - ((x - this.at.x) * scale) / next,
      y: y - ((y - this.at.y) * scale) / next,
      scale: next,
    };
    this.apply();
  }

  get seen() {
    const [wide, high] = this.#size;
    return { ...this.at, w: wide / this.at.scale, h: high / this.at.scale };
  }

  get showsAll() {
    const { x, y, w, h } = this.seen;
    const [left, top, right, bottom] = this.box;
    return x <= left && y <= top && x + w >= right && y + h >= bottom;
  }

  holds(box) {
    const { x, y, w, h } = this.seen;
    return box.x >= x && box.y >= y && box.x + box.width <= x + w && box.y + box.height <= y + h;
  }

  /** Shows a place: moves there if it is out of sight, and near enough to read it. */
  reveal(box) {
    if (this.holds(box) && this.at.scale > 0.7 * this.readable) return;
    this.at.scale = Math.max(this.at.scale, this.readable);
    this.centre(box);
  }

  /** Puts a place into the middle. */
  centre(box) {
    const { w, h } = this.seen;
    this.follows = "";
    this.at.x = box.x + box.width / 2 - w / 2;
    this.at.y = box.y + box.height / 2 - h / 2;
    this.apply();
  }

  apply() {
    const { x, y } = this.at;
    for (const pane of this.panes) {
      const { clientWidth: wide, clientHeight: high } = pane.picture;
      if (!wide) continue;
      const [w, h] = [wide / this.at.scale, high / this.at.scale];
      pane.picture.setAttribute("viewBox", [x, y, w, h].map((one) => one.toFixed(2)).join(" "));
      pane.picture.classList.toggle("whole", this.showsAll);
      pane.showMap({ x, y, w, h });
    }
  }
}

export class Pane {
  constructor(name, heading, seen, pick) {
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
    this.sheet.id = `sheet-${name}`;
    this.told = el("p", { class: "untold" });
    this.frame = svg("rect", { class: "frame" });
    this.map = svg(
      "svg",
      { class: "map", "aria-hidden": "true" },
      svg("use", { href: `#sheet-${name}`, tabindex: -1 }),
      this.frame,
    );
    this.host = el(
      "figure",
      { class: "pane", "data-pane": name },
      el(
        "figcaption",
        {},
        el("b", {}, heading),
        el("span", { class: "more" }),
        el("span", { class: "sheets" }),
        el("span", { class: "files" }),
      ),
      el("div", { class: "glass" }, this.picture, this.map, this.told),
    );
    this.pointers = new Map();
    this.pointed = null;
    seen.panes.add(this);
    this.#listen();
    new ResizeObserver(() => seen.resized()).observe(this.picture);
  }

  /** Shows where on the sheets the window is, while it does not show all of them. */
  showMap({ x, y, w, h }) {
    const [left, top, right, bottom] = this.window.box;
    const all = this.window.showsAll;
    this.map.toggleAttribute("hidden", all);
    if (all) return;
    this.map.setAttribute("viewBox", `${left} ${top} ${right - left} ${bottom - top}`);
    for (const [name, value] of Object.entries({ x, y, width: w, height: h }))
      this.frame.setAttribute(name, value.toFixed(1));
  }

  caption(words) {
    this.host.querySelector(".more").textContent = words;
  }

  /** Draws a scene; only what is not as it was is drawn anew. Returns how many pieces that were. */
  draw(scene, describe) {
    const cannot = !scene || scene.cannot;
    this.told.textContent = cannot ? (scene?.cannot ?? "Drawing …") : "";
    this.host.classList.toggle("blank", Boolean(cannot));
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
    this.described = scene.groups;
    this.window.bounds(scene.box, scene.sheets?.[0].box ?? scene.box);
    this.#sheets(scene.sheets ?? []);
    const count = new Set([...kept.values()].map(({ facts }) => facts.part).filter(Boolean)).size;
    this.picture.setAttribute(
      "aria-label",
      `Drawing, ${this.host.querySelector("b").textContent.toLowerCase()}: ${count} parts. Arrow keys move the sheet, plus and minus zoom, 0 shows all, Enter goes to the parts.`,
    );
    return changed;
  }

  /** Calls the symbols anew: what is known of their parts has changed. */
  name(describe) {
    for (const { key, facts } of this.described ?? [])
      if (facts.part) this.groups.get(key)?.made.setAttribute("aria-description", describe(facts));
  }

  /** The sheets by name, where there is more than one: each a way to it. */
  #sheets(sheets) {
    const host = this.host.querySelector(".sheets");
    fill(
      host,
      sheets.length < 2
        ? null
        : sheets.map(({ name, box }) =>
            el(
              "button",
              { type: "button", onclick: () => this.window.sheet(box), "data-box": box.join(" ") },
              name || "Amplifier",
            ),
          ),
    );
  }

  /** Offers the drawing as files; a sheet each. */
  offers(files) {
    fill(
      this.host.querySelector(".files"),
      files.map(([words, href]) => el("a", { href, download: "" }, words)),
    );
  }

  #group({ key, facts, shapes }, describe) {
    const made = svg("g", { "data-key": key });
    for (const [name, value] of Object.entries(facts)) made.setAttribute(`data-${name}`, value);
    if (facts.part) {
      made.setAttribute("role", "button");
      made.setAttribute("tabindex", "-1");
      made.setAttribute("aria-description", describe(facts));
    } else if (facts.node && !facts.pin) {
      made.setAttribute("role", "button");
      made.setAttribute("tabindex", "-1");
    }
    // The blanks part the words for who hears them; a symbol without words is called by its part.
    made.append(...shapes.flatMap((shape) => [this.#shape(shape), " "]));
    const words = made.textContent.replace(/\s+/g, " ").trim();
    if (facts.part && !words) made.setAttribute("aria-label", facts.part);
    else if (!facts.part && made.hasAttribute("role")) {
      const more = words && words !== facts.node ? `: ${words}` : "";
      made.setAttribute("aria-label", `Node ${facts.node}${more}`);
    }
    // A wire is thin: what the pointer meets is wider.
    if (facts.line)
      for (const line of made.querySelectorAll("path"))
        line.after(svg("path", { d: line.getAttribute("d"), class: "reach" }));
    return made;
  }

  #shape([tag, attributes, inner]) {
    if (!TAGS.has(tag)) return "";
    const made = svg(tag, attributes);
    if (tag === "g") made.append(...inner.flatMap((shape) => [this.#shape(shape), " "]));
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
        yield {
          made: strip,
          part: "",
          node: strip.dataset.node,
          isStrip: true,
          isLead: Boolean(strip.dataset.pin) && strip.querySelector("path") !== null,
        };
    }
  }

  of(part, node) {
    return [...this.things()].filter((thing) => (part ? thing.part === part : thing.node === node));
  }

  reveal(part, node) {
    const found = this.of(part, node).filter((thing) => !thing.isStrip || !part);
    const one = found.find((thing) => !thing.isLine) ?? found[0];
    if (one && this.host.isConnected) this.window.reveal(boxOf(one.made));
    return Boolean(one);
  }

  /** Zooms about what is chosen if it is in sight, else where the pointer was last, else the middle. */
  zoom(factor, part, node) {
    const found = this.of(part, node).find((thing) => !thing.isStrip);
    const box = (part || node) && found ? boxOf(found.made) : null;
    const { x, y, w, h } = this.window.seen;
    const chosen = box && this.window.holds(box);
    const at = chosen
      ? { x: box.x + box.width / 2, y: box.y + box.height / 2 }
      : (this.pointed ?? { x: x + w / 2, y: y + h / 2 });
    this.window.zoom(factor, at.x, at.y);
    if (chosen && !this.window.holds(box)) this.window.centre(box);
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
    picture.addEventListener("pointerleave", () => {
      this.pointed = null;
    });
    picture.addEventListener("pointermove", (event) => {
      if (event.pointerType === "mouse") this.pointed = this.#point(event);
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
        !(event.pointerType === "touch" && this.window.showsAll)
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
    this.map.addEventListener("pointerdown", (event) => {
      const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(
        this.map.getScreenCTM().inverse(),
      );
      const { x, y, w, h } = this.window.seen;
      this.window.move(at.x - x - w / 2, at.y - y - h / 2);
    });
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
    if (event.key === "+" || event.key === "=")
      this.zoom(1.35, event.target.dataset.part, event.target.dataset.node);
    else if (event.key === "-")
      this.zoom(1 / 1.35, event.target.dataset.part, event.target.dataset.node);
    else if (event.key === "0") this.window.fit();
    else if (step && part) this.#next(part, step);
    else if (step)
      this.window.move((step[0] * this.window.seen.w) / 8, (step[1] * this.window.seen.h) / 8);
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
    const { x, y, w, h } = this.window.seen;
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
    this.window.reveal(best.box);
  }
}

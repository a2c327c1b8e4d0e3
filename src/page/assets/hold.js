// Versions that are held: a row of thumbnails to compare, bring back, name and drop. All are drawn at one exposure, so that
// what looks brighter is brighter.

import { api, Gone, Stale } from "./api.js";
import { byId, make, put } from "./dom.js";

const THUMB = { width: 168, height: 96 };
/** A version in a row is kept with its picture: so many fit into memory and into sight. */
const MOST_HELD = 12;

export class Held {
  /** `{id, name, text, bitmap, frame, exposure, numbers}` in the order of holding. */
  list = [];
  /** What stands left and right of the divider: ids, or "now"; null when the stage is not split. */
  sides = null;
  #count = 0;
  #busy = false;

  constructor({ scene, live, picture, exposure, tell, changed }) {
    Object.assign(this, { scene, live, picture, exposure, tell, changed });
    byId("hold").addEventListener("click", () => this.hold());
    byId("split").addEventListener("click", () => this.toggleSplit());
    for (const side of ["left", "right"]) {
      byId(`split-${side}`).addEventListener("change", (event) => {
        this.sides[side] = event.target.value;
        this.show();
      });
    }
    live.addEventListener("picture", () => this.compose());
    live.addEventListener("numbers", () => {
      for (const held of this.list) if (!held.numbers && held.text === live.numbers.text) held.numbers = live.numbers;
    });
  }

  /** Forgets all: another scene was opened. */
  clear() {
    for (const held of this.list) held.bitmap?.close();
    this.list = [];
    this.sides = null;
    this.#count = 0;
    this.show();
  }

  async hold() {
    const { shown } = this.live;
    if (!shown || this.list.length >= MOST_HELD) return null;
    const { model } = this.scene.now;
    this.#count += 1;
    const first = model?.layers[0];
    const gap = first?.fields.find(({ key }) => key === "gap_mm")?.value;
    // What differs most often comes first: the card is narrow.
    const name = `${this.#count}: ${first ? `${typeof gap === "number" ? `${gap} mm, ` : ""}${first.title}` : "bare pixels"}`;
    // The first one that is held decides the exposure of all that follow.
    this.exposure.keep(shown.facts.exposure_ev);
    const held = { id: `held-${this.#count}`, name, text: this.scene.now.text, bitmap: null, frame: shown.frame, exposure: null, numbers: null };
    const now = shown.version === this.scene.version;
    held.bitmap = await createImageBitmap(shown.bitmap);
    if (now && shown.detail === "full") held.exposure = shown.facts.exposure_ev;
    if (this.live.numbers?.version === this.scene.version) held.numbers = this.live.numbers;
    this.list.push(held);
    if (!this.sides && this.list.length === 1) put(byId("split"), "disabled", null);
    this.tell(`Held: ${name}`);
    this.show();
    this.refresh();
    return held;
  }

  /** Draws anew what is held at another exposure or only as a quick picture, one after another. */
  async refresh() {
    if (this.#busy) return;
    this.#busy = true;
    try {
      for (;;) {
        const wanted = this.exposure.value();
        const held = this.list.find(({ exposure }) => exposure === null || (wanted !== null && Math.abs(exposure - wanted) > 1e-6));
        if (!held) break;
        const [width_px, height_px] = this.picture.size.map((side) => 2 * Math.round(side / 2));
        const { blob, facts } = await api.picture({ text: held.text, detail: "full", width_px, height_px, exposure_ev: wanted }, "-hold");
        const bitmap = await createImageBitmap(blob);
        held.bitmap?.close();
        Object.assign(held, { bitmap, frame: facts.frame_mm, exposure: wanted ?? facts.exposure_ev });
        this.show();
      }
      for (const held of this.list) held.numbers ??= await api.numbers(held.text, "-hold");
      this.show();
    } catch (fault) {
      // What is held keeps the picture that it has; a program that is gone or a newer question is no fault of it.
      if (!(fault instanceof Stale || fault instanceof Gone)) this.tell(`A held version could not be drawn: ${fault.message}`);
    }
    this.#busy = false;
  }

  toggleSplit() {
    this.sides = this.sides ? null : { left: this.list.at(-1)?.id ?? "now", right: "now" };
    this.show();
    if (this.sides) byId("divider").focus({ preventScroll: true });
  }

  /** Holds one against what is there now. */
  compare(held) {
    this.sides = { left: held.id, right: "now" };
    this.show();
    this.tell(`${held.name} on the left, now on the right`);
  }

  drop(held) {
    const at = this.list.indexOf(held);
    this.list.splice(at, 1);
    if (this.sides && Object.values(this.sides).includes(held.id)) this.sides = null;
    this.show();
    held.bitmap?.close();
    this.tell(`Dropped: ${held.name}`);
    (byId("held-list").children[Math.min(at, this.list.length - 1)]?.querySelector("button") ?? byId("hold")).focus();
  }

  #pictureOf(id) {
    if (id === "now") return this.live.shown && { ...this.live.shown, name: "now" };
    return this.list.find((held) => held.id === id) ?? null;
  }

  /** Puts the right pictures on the stage. */
  compose() {
    const { sides } = this;
    const now = this.#pictureOf("now");
    if (!now) return;
    const left = sides ? this.#pictureOf(sides.left) : now;
    const right = sides ? this.#pictureOf(sides.right) : null;
    this.picture.show(left ?? now, right);
  }

  show() {
    const { sides, list } = this;
    byId("held").hidden = list.length === 0;
    put(byId("split"), "disabled", list.length === 0);
    put(byId("hold"), "disabled", list.length >= MOST_HELD);
    put(byId("split"), "aria-pressed", String(sides !== null));
    byId("split-choice").hidden = !sides;
    if (sides) {
      const options = () => [{ id: "now", name: "now" }, ...list].map(({ id, name }) => make("option", { value: id }, name));
      for (const side of ["left", "right"]) {
        byId(`split-${side}`).replaceChildren(...options());
        byId(`split-${side}`).value = sides[side];
      }
    }
    this.#row();
    this.compose();
    this.changed(sides ? this.list.find(({ id }) => id === (sides.left === "now" ? sides.right : sides.left)) ?? null : null);
  }

  #row() {
    const row = byId("held-list");
    // A name that is being written keeps its box.
    const writing = row.contains(document.activeElement) && document.activeElement.tagName === "INPUT";
    if (writing && row.childElementCount === this.list.length) return this.list.forEach((held, i) => this.#thumb(row.children[i].querySelector("canvas"), held));
    row.replaceChildren(...this.list.map((held) => this.#card(held)));
  }

  #card(held) {
    const thumb = make("canvas", { width: THUMB.width, height: THUMB.height, "aria-hidden": "true" });
    this.#thumb(thumb, held);
    const compare = make("button.thumb", { type: "button", onclick: () => this.compare(held), title: "hold against what is there now" }, thumb);
    compare.setAttribute("aria-label", `Compare ${held.name} with now`);
    const name = make("input", { type: "text", "aria-label": "Name of this version", maxlength: 80 });
    name.value = held.name;
    name.addEventListener("input", () => (held.name = name.value));
    name.addEventListener("change", () => this.show());
    const back = make("button.quiet", { type: "button", "aria-label": `Bring back ${held.name}`, onclick: () => this.scene.restore(held.text, "version brought back").catch((fault) => this.tell(fault.message)) }, "Bring back");
    const drop = make("button.quiet", { type: "button", "aria-label": `Drop ${held.name}`, onclick: () => this.drop(held) }, "Drop");
    const chosen = this.sides && Object.values(this.sides).includes(held.id);
    return make(`li${chosen ? ".chosen" : ""}`, { "data-test": held.id }, compare, name, make("div.row", {}, back, drop));
  }

  #thumb(canvas, held) {
    if (!held.bitmap) return;
    const pen = canvas.getContext("2d");
    const fit = Math.min(THUMB.width / held.bitmap.width, THUMB.height / held.bitmap.height);
    const [width, height] = [held.bitmap.width * fit, held.bitmap.height * fit];
    pen.imageSmoothingQuality = "high";
    pen.drawImage(held.bitmap, (THUMB.width - width) / 2, (THUMB.height - height) / 2, width, height);
  }
}

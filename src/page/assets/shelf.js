// The cloth shelf: every cloth as a lit swatch, one pixel behind it at the same exposure, with filters; and the way to own cloth.

import { api } from "./api.js";
import { byId, make, put, say } from "./dom.js";
import { figure, withUnit } from "./words.js";

const BASIS = { label: "estimated from its label", measured: "measured", calibrated: "from photographs", bulk: "by its optical numbers" };
/** Where less than this share goes straight through, the bare pixel does not show. */
const CLOSED = 0.005;

export class Shelf {
  #cloths = null;
  #resolve = null;
  #cards = new Map();

  constructor() {
    this.dialog = byId("shelf");
    this.dialog.addEventListener("close", () => {
      this.#resolve?.(null);
      this.#resolve = null;
    });
    for (const id of ["shelf-search", "shelf-spread", "shelf-light", "shelf-thick", "shelf-closed", "shelf-order"]) byId(id).addEventListener("input", () => this.#filter());
    for (const button of this.dialog.querySelectorAll("[data-part]")) button.addEventListener("click", () => this.part(button.dataset.part));
    byId("shelf-all").addEventListener("click", () => {
      byId("shelf-filters").reset();
      this.#filter();
      byId("shelf-search").focus();
    });
    byId("shelf-filters").addEventListener("submit", (event) => event.preventDefault());
  }

  /** All cloths, asked for once and again when own cloth was added. */
  async cloths(again = false) {
    if (!this.#cloths || again) this.#cloths = (await api.shelf()).cloths;
    return this.#cloths;
  }

  /** Opens the shelf; the answer is the cloth that was taken, or null. `present` is the name of the one in use. */
  async pick(title, present) {
    say(byId("shelf-title"), title);
    this.present = present;
    this.part("ready");
    this.dialog.showModal();
    // On a touch screen the keyboard would cover the swatches.
    if (window.matchMedia("(hover: hover)").matches) byId("shelf-search").focus();
    const taken = new Promise((resolve) => (this.#resolve = resolve));
    try {
      await this.cloths();
      this.#lay();
    } catch (fault) {
      say(byId("shelf-count"), `The shelf could not be fetched: ${fault.message || "the program does not answer"}.`);
    }
    return taken;
  }

  /** Takes a cloth and closes. */
  take(cloth) {
    const resolve = this.#resolve;
    this.#resolve = null;
    this.dialog.close();
    resolve?.(cloth);
  }

  /** Shows one part: `ready`, `label` or `photo`. */
  part(name) {
    for (const button of this.dialog.querySelectorAll("[data-part]")) put(button, "aria-pressed", String(button.dataset.part === name));
    for (const section of this.dialog.querySelectorAll(".shelf-part")) section.hidden = section.id !== `part-${name}`;
  }

  /** Own cloth was made: it is on the shelf now. */
  async added(name) {
    await this.cloths(true);
    this.#lay();
    return this.#cloths.find((cloth) => cloth.name === name);
  }

  #lay() {
    const cloths = this.#cloths;
    const spots = cloths.map(({ spot_mm: spot }) => spot).sort((a, b) => a - b);
    // A third of the shelf each: little, middling, wide.
    this.thirds = [spots[Math.floor(spots.length / 3)], spots[Math.floor((2 * spots.length) / 3)]];
    const [low, high] = this.thirds.map((value) => figure(value, 2));
    const words = { any: "any", little: `little: spot up to ${low} mm`, middle: `middling: ${low} to ${high} mm`, wide: `wide: more than ${high} mm` };
    for (const option of byId("shelf-spread").options) option.textContent = words[option.value];
    byId("shelf-thick").max = Math.ceil(Math.max(...cloths.map(({ thickness_mm: thick }) => thick)));
    if (!byId("shelf-thick").dataset.touched) byId("shelf-thick").value = byId("shelf-thick").max;
    byId("shelf-thick").defaultValue = byId("shelf-thick").max;
    this.#cards = new Map(cloths.map((cloth) => [cloth, this.#card(cloth)]));
    this.#filter();
  }

  #card(cloth) {
    const facts = [
      `${figure(cloth.light_kept * 100, 2)} % of the light`,
      `spot ${withUnit(Number(cloth.spot_mm.toPrecision(2)), "mm")}`,
      `${withUnit(cloth.thickness_mm, "mm")} thick`,
    ];
    const bare = cloth.straight_share >= CLOSED ? `bare light through holes (${figure(cloth.straight_share * 100, 2)} %)` : null;
    const here = cloth.name === this.present;
    return make("li", {}, make("button.swatch", { type: "button", title: cloth.about, "data-test": `cloth-${cloth.name}`, "data-cloth": cloth.name, "aria-current": here ? "true" : null, onclick: () => this.take(cloth) },
      make("img", { src: cloth.swatch, alt: "", width: 160, height: 160, loading: "lazy" }),
      make("strong", {}, cloth.title),
      make("span.facts", {}, facts.join(" · ")),
      bare ? make("span.facts.bare", {}, bare) : null,
      make("span.basis", {}, `${cloth.own ? "own cloth, " : ""}${BASIS[cloth.basis] ?? cloth.basis}${here ? " · in use" : ""}`)));
  }

  #filter() {
    if (!this.#cloths) return;
    const search = byId("shelf-search").value.trim().toLowerCase();
    const spread = byId("shelf-spread").value;
    const least = Number(byId("shelf-light").value) / 100;
    const thick = byId("shelf-thick");
    thick.dataset.touched = thick.value === thick.max ? "" : "yes";
    say(byId("shelf-light-words"), least > 0 ? `at least ${Math.round(least * 100)} %` : "any");
    say(byId("shelf-thick-words"), thick.dataset.touched ? `at most ${thick.value} mm` : "any");
    const closed = byId("shelf-closed").checked;
    const fits = (cloth) => {
      const third = cloth.spot_mm <= this.thirds[0] ? "little" : cloth.spot_mm <= this.thirds[1] ? "middle" : "wide";
      return (!search || `${cloth.title} ${cloth.name} ${cloth.about}`.toLowerCase().includes(search)) && (spread === "any" || spread === third) &&
        cloth.light_kept >= least && (!thick.dataset.touched || cloth.thickness_mm <= Number(thick.value)) && (!closed || cloth.straight_share < CLOSED);
    };
    const orders = {
      light: (a, b) => b.light_kept - a.light_kept,
      spread: (a, b) => b.spot_mm - a.spot_mm,
      thin: (a, b) => a.thickness_mm - b.thickness_mm,
      name: (a, b) => a.title.localeCompare(b.title),
    };
    const found = this.#cloths.filter(fits).sort(orders[byId("shelf-order").value]);
    byId("shelf-list").replaceChildren(...found.map((cloth) => this.#cards.get(cloth)));
    say(byId("shelf-count"), found.length ? `${found.length} of ${this.#cloths.length} cloths. One pixel behind each, all at the same exposure.` : "No cloth is like that: let one of the filters go.");
  }
}

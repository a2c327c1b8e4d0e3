// The beginning: a demo, a file, or a few questions.

import { api, Gone, Refused, Stale } from "./api.js";
import { byId, make, put, say } from "./dom.js";
import { faultWords } from "./fields.js";
import { figure, typedNumber } from "./words.js";
import { fileName, textOf } from "./files.js";

/** Pictures of the demos: small, for they are only to tell them apart. */
const CARD = { width_px: 384, height_px: 216 };

/** Rooms in a maker's words, with the light in lux that they stand for (common practice, no source). */
const ROOMS = [[1, "a dark path"], [10, "a street with lamps"], [50, "a dim hall"], [150, "a living room"], [500, "a bright classroom"], [5000, "outdoors on a dull day"]];

export class Start {
  #pictures = false;

  /** `open(text, name, saved, {demo, others})` opens a scene, `take(files)` finds it among chosen files. */
  constructor(facts, shelf, open, take) {
    Object.assign(this, { facts, shelf, open });
    byId("demos").replaceChildren(...facts.demos.map((demo) => this.#demo(demo)));
    byId("open-file").addEventListener("change", (event) => {
      const files = [...event.target.files];
      event.target.value = "";
      if (files.length) take(files);
    });
    byId("open-button").addEventListener("click", () => byId("open-file").click());
    this.#questions();
  }

  /** Shows the beginning; `back` tells whether there is a scene to go back to. */
  show(back) {
    byId("start-back").hidden = !back;
    this.fault([]);
    if (!this.#pictures) this.#drawDemos();
  }

  fault(words) {
    const box = byId("start-fault");
    box.hidden = words.length === 0;
    byId("start-fault-list").replaceChildren(...words.map((word) => make("li", {}, word)));
    if (words.length) box.focus();
  }

  /** What went wrong, in words. */
  explain(problem) {
    if (problem instanceof Gone) return ["The program does not answer."];
    if (problem instanceof Refused) return problem.problems.map((each) => (each.line ? `Line ${each.line}: ` : "") + faultWords(each));
    return [problem.message];
  }

  async file(file, others = []) {
    try {
      await this.open(await textOf(file), fileName(file.name), true, { others });
    } catch (problem) {
      this.fault(this.explain(problem));
    }
  }

  #demo(demo) {
    const canvas = make("canvas", { width: CARD.width_px, height: CARD.height_px, "aria-hidden": "true" });
    demo.canvas = canvas;
    const name = demo.name.charAt(0).toUpperCase() + demo.name.slice(1).replace("-", ", ");
    const title = demo.title.toLowerCase() === name.toLowerCase() ? null : make("span", {}, demo.title);
    return make("li", {}, make("button.demo", {
      type: "button",
      "data-test": `demo-${demo.name}`,
      onclick: () => this.open(demo.text, `${demo.name}.yaml`, true, { demo: demo.name }).catch((problem) => this.fault(this.explain(problem))),
    }, canvas, make("strong", {}, name), title));
  }

  /** One after another, while the beginning is in sight. */
  async #drawDemos() {
    this.#pictures = true;
    for (const demo of this.facts.demos) {
      if (byId("start").hidden) {
        this.#pictures = false;
        return;
      }
      if (demo.drawn) continue;
      try {
        const { blob } = await api.picture({ text: demo.text, demo: demo.name, detail: "quick", ...CARD, exposure_ev: null }, "-demo");
        const bitmap = await createImageBitmap(blob);
        demo.canvas.getContext("2d").drawImage(bitmap, 0, 0, CARD.width_px, CARD.height_px);
        demo.canvas.classList.add("drawn");
        bitmap.close();
        demo.drawn = true;
      } catch (problem) {
        if (problem instanceof Gone || problem instanceof Stale) this.#pictures = false;
        if (problem instanceof Gone) return;
        // A demo without its picture is still a demo.
      }
    }
  }

  #questions() {
    const form = byId("questions");
    const select = byId("q-package");
    select.replaceChildren(...this.facts.packages.map(({ name, words }) => make("option", { value: name }, `${name}${words ? `: ${words}` : ""}`)));
    byId("q-room").replaceChildren(...ROOMS.map(([lux, words]) => make("option", { value: lux }, `${words} (${lux} lx)`)));
    byId("q-room").value = "10";
    const pitches = () => {
      const chosen = this.facts.packages.find(({ name }) => name === select.value);
      byId("q-pitches").replaceChildren(...(chosen?.pitches_mm ?? []).map((pitch) => make("option", { value: figure(pitch) }, `${figure(1000 / pitch, 3)} to the metre`)));
      const usual = chosen?.pitches_mm ?? [];
      byId("q-pitch").value = figure(usual.includes(16.67) ? 16.67 : usual[0] ?? 16.67);
      say(byId("q-pitch-help"), usual.length ? `Sold with ${usual.map((pitch) => figure(pitch)).join(", ")} mm from pixel to pixel.` : "");
    };
    select.addEventListener("change", pitches);
    pitches();
    const forms = () => {
      const form = new FormData(byId("questions")).get("form");
      byId("q-height-row").hidden = form !== "grid";
      say(byId("q-width-label"), form === "ring" ? "Diameter" : form === "grid" ? "Width" : "Length");
    };
    form.addEventListener("change", forms);
    forms();
    form.addEventListener("submit", (event) => this.#answered(event));
    byId("q-cloth-pick").addEventListener("click", async () => {
      const cloth = await this.shelf.pick("Which cloth covers the pixels?", byId("q-cloth").value);
      if (cloth) this.#cloth(cloth);
      byId("q-cloth-pick").focus();
    });
  }

  #cloth(cloth) {
    byId("q-cloth").value = cloth.name;
    this.own = cloth.own;
    say(byId("q-cloth-name"), cloth.title);
    put(byId("q-cloth-swatch"), "src", cloth.swatch);
    byId("q-cloth-swatch").hidden = !cloth.swatch;
  }

  async #answered(event) {
    event.preventDefault();
    const number = (id) => typedNumber(byId(id).value);
    const form = new FormData(event.target).get("form");
    const width = number("q-width");
    const wanted = { "q-pitch": "Pitch", "q-width": byId("q-width-label").textContent, "q-gap": "Gap", "q-distance": "Seen from", ...(form === "grid" ? { "q-height": "Height" } : {}) };
    const missing = Object.keys(wanted).filter((id) => number(id) === null);
    for (const id of Object.keys(wanted)) put(byId(id), "aria-invalid", missing.includes(id) ? "true" : null);
    if (missing.length) {
      this.fault(missing.map((id) => `${wanted[id]}: a number is needed. Found: \`${byId(id).value}\`.`));
      return byId(missing[0]).focus();
    }
    const answers = {
      form,
      package: byId("q-package").value,
      pitch_mm: number("q-pitch"),
      width_mm: width,
      height_mm: form === "grid" ? number("q-height") : form === "ring" ? width : 0,
      cloth: byId("q-cloth").value,
      gap_mm: number("q-gap"),
      distance_m: number("q-distance"),
      room_lx: Number(byId("q-room").value),
    };
    try {
      const { text } = await api.starter(answers);
      await this.open(text, "my-scene.yaml", false);
    } catch (problem) {
      this.fault(this.explain(problem));
    }
  }
}

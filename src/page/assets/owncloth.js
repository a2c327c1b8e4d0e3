// Own cloth: from its label, an estimate, or from photographs of one lit pixel behind it, a fit with its residual picture.

import { api, Gone } from "./api.js";
import { byId, keepAsFile, make, put, say } from "./dom.js";
import { faultWords } from "./fields.js";
import { typedNumber } from "./words.js";

/** All photographs of one cloth together: the bodies of calls are bounded. */
const MOST_BYTES = 48 * 1024 * 1024;

const number = (id) => typedNumber(byId(id).value);

async function base64(file) {
  const bytes = new Uint8Array(await file.arrayBuffer());
  let text = "";
  for (let at = 0; at < bytes.length; at += 0x8000) text += String.fromCharCode(...bytes.subarray(at, at + 0x8000));
  return btoa(text);
}

/** `1/60` or `0.0167`, as cameras write it; null where nothing is given. */
export function exposureTime(text) {
  const parts = text.trim().split("/").map(typedNumber);
  if (text.trim() === "") return null;
  if (parts.includes(null) || parts.length > 2 || parts[1] === 0) throw new Error(`\`${text}\` is no exposure time. Allowed: seconds, such as 1/60 or 0.0167.`);
  return parts.length === 2 ? parts[0] / parts[1] : parts[0];
}

export class OwnCloth {
  #photos = [];
  /** Ends of the scale on the first photograph, in its own image pixels. */
  #ends = [];
  #image = null;

  constructor(shelf, fibres) {
    this.shelf = shelf;
    byId("label-fibre").replaceChildren(...fibres.map((fibre) => make("option", {}, fibre)));
    byId("label-form").addEventListener("submit", (event) => this.#send(event, "label", () => this.#label()));
    byId("photo-form").addEventListener("submit", (event) => this.#send(event, "photo", () => this.#photo()));
    byId("photo-files").addEventListener("change", (event) => this.#chosen([...event.target.files]));
    byId("photo-scale").addEventListener("click", (event) => this.#clicked(event));
    byId("label-colour-text").addEventListener("input", (event) => /^#[0-9a-f]{6}$/i.test(event.target.value) && (byId("label-colour").value = event.target.value));
    byId("label-colour").addEventListener("input", (event) => (byId("label-colour-text").value = event.target.value));
    for (const id of ["x0", "y0", "x1", "y1"]) byId(`scale-${id}`).addEventListener("input", () => this.#typedEnds());
  }

  async #label() {
    const left = (id) => (byId(id).value.trim() === "" ? undefined : number(id));
    return api.estimate({
      title: byId("label-title").value.trim(),
      fibre: byId("label-fibre").value,
      areal_mass_g_m2: number("label-mass"),
      thickness_mm: number("label-thickness"),
      fibre_diameter_um: left("label-diameter"),
      cover: left("label-cover"),
      colour: byId("label-colour-text").value.trim(),
    });
  }

  async #photo() {
    if (this.#photos.length === 0) throw new Error("Choose at least one photograph.");
    if (this.#ends.length < 2) throw new Error("Mark the two ends of the scale on the first photograph.");
    const photos = [];
    for (const photo of this.#photos) {
      const gap = typedNumber(photo.gap.value);
      if (gap === null) throw new Error(`${photo.file.name}: the stand-off is missing.`);
      photos.push({ name: photo.file.name, base64: await base64(photo.file), stand_off_mm: gap, exposure_s: exposureTime(photo.time.value) });
    }
    return api.photo({ title: byId("photo-title").value.trim(), thickness_mm: number("photo-thickness"), photos, scale_mm: number("scale-mm"), scale_from: this.#ends.flat() });
  }

  async #send(event, kind, ask) {
    event.preventDefault();
    const button = event.submitter ?? event.target.querySelector("button[type=submit]");
    const fault = byId(`${kind}-fault`);
    const result = byId(`${kind}-result`);
    fault.hidden = true;
    result.replaceChildren();
    put(button, "aria-busy", "true");
    button.disabled = true;
    try {
      const made = await ask();
      this.#show(result, made);
    } catch (problem) {
      const words = problem instanceof Gone ? "The program does not answer." : problem.problems ? problem.problems.map(faultWords).join(" ") : problem.message;
      say(fault, words);
      fault.hidden = false;
      fault.focus();
    }
    button.disabled = false;
    put(button, "aria-busy", null);
  }

  async #show(result, made) {
    const use = make("button.main", {
      type: "button",
      "data-test": "use-own-cloth",
      onclick: async () => {
        const cloth = await this.shelf.added(made.name);
        this.shelf.take(cloth ?? { name: made.name, own: true, title: made.name });
      },
    }, "Use this cloth");
    const keep = make("button", { type: "button", onclick: () => keepAsFile(new Blob([made.text], { type: "application/yaml" }), `${made.name}.yaml`) }, "Save the cloth file");
    result.replaceChildren(...[
      make("h3", {}, "On the shelf now"),
      make("ul", {}, made.words.map((words) => make("li", {}, words))),
      made.report && make("img.report", { src: made.report, alt: "The photographs, what the found cloth would give, and what is left between them" }),
      make("div.row", {}, use, keep),
    ].filter(Boolean));
    use.focus();
    await this.shelf.added(made.name);
  }

  async #chosen(files) {
    const bytes = files.reduce((sum, { size }) => sum + size, 0);
    const fault = byId("photo-fault");
    fault.hidden = bytes <= MOST_BYTES;
    say(fault, bytes > MOST_BYTES ? "These photographs are larger than 48 MB together: choose fewer, or smaller ones." : "");
    if (bytes > MOST_BYTES) return;
    this.#ends = [];
    this.#photos = files.map((file) => ({
      file,
      gap: make("input.box", { type: "text", inputmode: "decimal", required: true, "aria-label": `Stand-off of ${file.name} in mm` }),
      time: make("input.box", { type: "text", inputmode: "text", placeholder: "1/60", "aria-label": `Exposure time of ${file.name} in s, if the file does not tell it` }),
    }));
    byId("photo-rows").replaceChildren(...this.#photos.map(({ file, gap, time }) => make("tr", {}, make("th", { scope: "row" }, file.name), make("td", {}, gap, make("span.unit", {}, " mm")), make("td", {}, time, make("span.unit", {}, " s")))));
    byId("photo-table").hidden = files.length === 0;
    this.#image?.close?.();
    this.#image = null;
    try {
      this.#image = files[0] ? await createImageBitmap(files[0]) : null;
    } catch {
      say(byId("photo-scale-words"), "The browser cannot show this photograph: type the places of the two ends.");
    }
    byId("photo-scale-part").hidden = files.length === 0;
    this.#paint();
  }

  #clicked(event) {
    if (!this.#image) return;
    const canvas = byId("photo-scale");
    const box = canvas.getBoundingClientRect();
    const at = [((event.clientX - box.left) / box.width) * this.#image.width, ((event.clientY - box.top) / box.height) * this.#image.height].map(Math.round);
    this.#ends = this.#ends.length >= 2 ? [at] : [...this.#ends, at];
    this.#ends.forEach(([x, y], i) => {
      byId(`scale-x${i}`).value = x;
      byId(`scale-y${i}`).value = y;
    });
    this.#paint();
  }

  #typedEnds() {
    const values = ["x0", "y0", "x1", "y1"].map((id) => number(`scale-${id}`));
    this.#ends = values.includes(null) ? [] : [values.slice(0, 2), values.slice(2)];
    this.#paint();
  }

  #paint() {
    const canvas = byId("photo-scale");
    const image = this.#image;
    canvas.hidden = !image;
    if (!image) return;
    const fit = Math.min(1, 900 / image.width);
    canvas.width = Math.round(image.width * fit);
    canvas.height = Math.round(image.height * fit);
    const pen = canvas.getContext("2d");
    pen.drawImage(image, 0, 0, canvas.width, canvas.height);
    pen.lineWidth = 2;
    const ends = this.#ends.map((end) => end.map((value) => value * fit));
    for (const colour of ["#000", "#fff"]) {
      pen.strokeStyle = colour;
      pen.setLineDash(colour === "#fff" ? [5, 5] : []);
      pen.beginPath();
      for (const [x, y] of ends) {
        pen.moveTo(x - 12, y);
        pen.lineTo(x + 12, y);
        pen.moveTo(x, y - 12);
        pen.lineTo(x, y + 12);
      }
      if (ends.length === 2) {
        pen.moveTo(...ends[0]);
        pen.lineTo(...ends[1]);
      }
      pen.stroke();
    }
    say(byId("photo-scale-words"), ["Click one end of something of known length in the first photograph.", "Now its other end.", "Click again to mark anew."][ends.length]);
  }
}

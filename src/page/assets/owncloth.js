// Own cloth: from its label, an estimate, or from photographs of one lit pixel behind it, a fit with its residual picture.

import { api, Gone } from "./api.js";
import { byId, keepAsFile, make, put, say } from "./dom.js";
import { faultWords } from "./fields.js";
import { PhotoForm } from "./photoform.js";
import { typedNumber } from "./words.js";

const number = (id) => typedNumber(byId(id).value);

/** A problem with the photograph or field that it is about. */
const aboutWords = (problem) => (problem.file && problem.file !== "the scene" ? `${problem.file}: ${faultWords(problem)}` : faultWords(problem));

/** The bytes of a data URL. */
const bytesOf = (url) => Uint8Array.from(atob(url.slice(url.indexOf(",") + 1)), (sign) => sign.charCodeAt(0));

export class OwnCloth {
  constructor(shelf, { fibres, packages }) {
    this.shelf = shelf;
    this.photos = new PhotoForm(packages);
    byId("label-fibre").replaceChildren(...fibres.map((fibre) => make("option", {}, fibre)));
    byId("label-form").addEventListener("submit", (event) => this.#send(event, "label", () => this.#label(), ""));
    byId("photo-form").addEventListener("submit", (event) => this.#send(event, "photo", async () => api.photo(await this.photos.question()), "Measuring the photographs and looking for the cloth: some seconds for each."));
    byId("label-colour-text").addEventListener("input", (event) => /^#[0-9a-f]{6}$/i.test(event.target.value) && (byId("label-colour").value = event.target.value));
    byId("label-colour").addEventListener("input", (event) => (byId("label-colour-text").value = event.target.value));
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

  async #send(event, kind, ask, meanwhile) {
    event.preventDefault();
    const button = event.submitter ?? event.target.querySelector("button[type=submit]");
    const fault = byId(`${kind}-fault`);
    const result = byId(`${kind}-result`);
    fault.hidden = true;
    result.replaceChildren(...(meanwhile ? [make("p.quiet", { role: "status" }, meanwhile)] : []));
    put(button, "aria-busy", "true");
    button.disabled = true;
    try {
      const made = await ask();
      this.#show(result, made);
    } catch (problem) {
      result.replaceChildren();
      const words = problem instanceof Gone ? "The program does not answer." : problem.problems ? problem.problems.map(aboutWords).join("\n") : problem.message;
      say(fault, words);
      fault.hidden = false;
      fault.focus();
    }
    button.disabled = false;
    put(button, "aria-busy", null);
  }

  #show(result, made) {
    const use = make("button.main", {
      type: "button",
      "data-test": "use-own-cloth",
      onclick: async () => {
        const cloth = await this.shelf.added(made.name);
        this.shelf.take(cloth ?? { name: made.name, own: true, title: made.name });
      },
    }, "Use this cloth");
    const keep = make("button", { type: "button", onclick: () => keepAsFile(new Blob([made.text], { type: "application/yaml" }), `${made.name}.yaml`) }, "Save the cloth file");
    const keepReport = made.report && make("button", { type: "button", onclick: () => keepAsFile(new Blob([bytesOf(made.report)], { type: "image/png" }), `${made.name}-report.png`) }, "Save the report");
    const report = made.report && make("img", { src: made.report, "data-test": "photo-report", alt: `The photographs, what the found cloth would give, and what is left between them. ${made.words.join(" ")}` });
    const frame = report && make("div.report", { tabindex: "0", role: "group", "aria-label": "Report" }, report);
    const larger = report && make("button", { type: "button", "aria-pressed": "false", onclick: () => put(larger, "aria-pressed", String(frame.classList.toggle("large"))) }, "Enlarge the report");
    const list = (lines) => make("ul", {}, lines.map((words) => make("li", {}, words.replaceAll(" %", "\u00a0%"))));
    result.replaceChildren(...[
      make("h3", {}, "On the shelf now"),
      make("div.row", {}, use, keep, keepReport, larger),
      list(made.words),
      made.remarks?.length ? make("h4", {}, "About the photographs") : null,
      made.remarks?.length ? list(made.remarks) : null,
      frame,
    ].filter(Boolean));
    use.focus({ preventScroll: true });
    // The picture has its height once it is decoded.
    (report ? report.decode() : Promise.resolve()).catch(() => {}).then(() => result.scrollIntoView({ block: "start" }));
    this.shelf.added(made.name).catch(() => {});
  }
}

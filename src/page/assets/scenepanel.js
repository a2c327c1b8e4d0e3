// The scene in a maker's words: pixels, the cloth from the pixels outwards, the light, and where it is seen from.

import { byId, make, put, say } from "./dom.js";
import { FieldList, faultWords } from "./fields.js";
import { withUnit } from "./words.js";

const startsWith = (path, start) => start.every((part, i) => path[i] === part);

export class ScenePanel {
  #lists = new Map();
  #layers = [];
  #groups = [];

  /** Names of the cloths that have a swatch; known when the shelf was fetched. */
  shelved = new Set();

  /** `pickCloth(index, isNew)` opens the shelf for a layer. */
  constructor(scene, pickCloth) {
    this.scene = scene;
    this.pickCloth = pickCloth;
    byId("add-layer").addEventListener("click", () => pickCloth(scene.now.model?.layers.length ?? 0, true));
    scene.addEventListener("change", () => this.show());
  }

  #list(id, ofGroup = false) {
    if (!this.#lists.has(id)) {
      const changed = (path, value, label) => this.scene.set(path, value, label);
      const left = (path, label) => this.scene.remove(path, label);
      this.#lists.set(id, new FieldList({ changed, left, waits: (path) => this.scene.waits(path) }, ofGroup));
    }
    return this.#lists.get(id);
  }

  show() {
    const { model, problems } = this.scene.now;
    const shown = new Set();
    const problemsOf = (path) => {
      const ours = problems.filter((problem) => problem.path && problem.path.length >= path.length && startsWith(problem.path, path));
      ours.forEach((problem) => shown.add(problem));
      return ours;
    };
    if (model) {
      say(byId("scene-words"), model.words?.join(" ") ?? "Not known while the file has problems.");
      this.#showGroups(model, problemsOf);
      this.#showLayers(model, problemsOf).forEach((problem) => shown.delete(problem));
      this.#place("light-fields", "light", model.light.fields, problemsOf);
      this.#place("view-fields", "view", model.view.fields, problemsOf);
      this.#place("board-fields", "board", [...model.board.fields, ...model.whole.fields], problemsOf);
    }
    this.#showRest(problems.filter((problem) => !shown.has(problem)));
  }

  #place(holder, id, fields, problemsOf) {
    const list = this.#list(id);
    if (!list.element.isConnected) byId(holder).replaceChildren(list.element);
    list.show(fields, problemsOf);
  }

  #showGroups(model, problemsOf) {
    const shape = model.groups.map(({ form }) => form).join();
    if (shape !== this.#groups.shape) {
      this.#groups = model.groups.map((group) => {
        const title = make("h3");
        const list = this.#list(`group ${group.index} ${group.form}`, true);
        // Of many groups only the first lies open: a drawn garment has one for each of its lines.
        const many = model.groups.length > 1;
        const element = many ? make("details.group", { open: group.index === 0 }, make("summary", {}, title), list.element) : make("div.group", {}, title, list.element);
        return { title, list, element };
      });
      this.#groups.shape = shape;
      byId("groups").replaceChildren(...this.#groups.map(({ element }) => element));
    }
    model.groups.forEach((group, i) => {
      say(this.#groups[i].title, group.title);
      const found = this.#groups[i].list.show(group.fields, problemsOf);
      if (found) this.#groups[i].element.open = true;
    });
  }

  #showLayers(model, problemsOf) {
    const inCloth = [];
    // Layers are told apart by their place: swapping a cloth keeps the controls, adding one makes new ones at its end.
    while (this.#layers.length > model.layers.length) this.#layers.pop().element.remove();
    model.layers.forEach((layer, i) => {
      this.#layers[i] ??= this.#newLayer(i);
      const view = this.#layers[i];
      if (!view.element.isConnected) byId("layers").append(view.element);
      say(view.title, layer.title ?? layer.cloth ?? "Cloth");
      say(view.facts, typeof layer.thickness_mm === "number" ? `${withUnit(layer.thickness_mm, "mm")} thick` : "");
      // A cloth from a file or written in place has no swatch: none is asked for.
      const swatch = layer.swatch ?? (this.shelved.has(layer.cloth) ? `/api/shelf/${encodeURIComponent(layer.cloth)}.png` : null);
      view.swatch.classList.toggle("missing", swatch === null);
      put(view.swatch, "src", swatch);
      problemsOf(["stack", i, "cloth"]).forEach((problem) => inCloth.push(problem));
      view.list.show(layer.fields.filter(({ key }) => key !== "cloth"), problemsOf);
    });
    byId("no-layers").hidden = model.layers.length > 0;
    // Faults of a cloth have no field here: they are told on top.
    return inCloth;
  }

  #newLayer(index) {
    const title = make("h3");
    const facts = make("p.quiet");
    const swatch = make("img", { alt: "", width: 56, height: 56 });
    swatch.addEventListener("error", () => swatch.classList.add("missing"));
    const list = this.#list(`layer ${index}`);
    const swap = make("button", { type: "button", "data-test": `swap-${index}`, onclick: () => this.pickCloth(index, false) }, "Swap cloth");
    const away = make("button.quiet", {
      type: "button",
      "data-test": `take-out-${index}`,
      onclick: () => {
        this.scene.remove(["stack", index], "layer taken out");
        byId("add-layer").focus();
      },
    }, "Take out");
    const name = `layer ${index + 1}`;
    swap.setAttribute("aria-label", `Swap cloth of ${name}`);
    away.setAttribute("aria-label", `Take out ${name}`);
    const element = make("li.layer", { "data-test": `layer-${index}` }, make("div.cloth", {}, swatch, make("div", {}, title, facts, make("div.row", {}, swap, away))), list.element);
    return { element, title, facts, swatch, list };
  }

  /** Problems that belong to no field in sight: told on top, with their line. */
  #showRest(problems) {
    const holder = byId("scene-problems");
    holder.hidden = problems.length === 0;
    const items = problems.map((problem) => make(`li.${problem.severity}`, {}, (problem.line ? `Line ${problem.line}: ` : "") + faultWords(problem)));
    const words = items.map((item) => item.textContent).join("\n");
    if (holder.dataset.words === words) return;
    holder.dataset.words = words;
    byId("scene-problem-list").replaceChildren(...items);
  }
}

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
  constructor(scene, pickCloth, tell) {
    this.tell = tell;
    this.scene = scene;
    this.pickCloth = pickCloth;
    byId("add-layer").addEventListener("click", () => pickCloth(scene.now.model?.layers.length ?? 0, true));
    byId("add-group").addEventListener("click", () => this.#addGroup(byId("add-group-form").value));
    scene.addEventListener("change", () => this.show());
  }

  #list(id) {
    if (!this.#lists.has(id)) {
      const changed = (path, value, label) => this.scene.set(path, value, label);
      const left = (path, label) => this.scene.remove(path, label);
      this.#lists.set(id, new FieldList({ changed, left, waits: (path) => this.scene.waits(path), change: (edits, label) => this.scene.change(edits, label) }));
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
      this.#place("supply-fields", "supply", model.supply.fields, problemsOf);
      this.#place("board-fields", "board", [...model.board.fields, ...model.whole.fields], problemsOf);
    }
    this.#showRest(problems.filter((problem) => !shown.has(problem)));
  }

  #place(holder, id, fields, problemsOf) {
    const list = this.#list(id);
    if (!list.element.isConnected) byId(holder).replaceChildren(list.element);
    list.show(fields, problemsOf);
  }

  /** Pixels with sensible values, below those that are there; inside a drawn outline, in its middle. */
  #addGroup(form) {
    const { model } = this.scene.now;
    if (!model || this.scene.busy) return;
    const value = (key) => model.groups.map(({ fields }) => fields.find((field) => field.key === key && field.given)?.value).find((given) => given !== undefined);
    const its = { package: String(value("package") ?? "5050"), pitch_mm: value("pitch_mm") ?? 16.67 };
    const [x, y] = model.corner_mm ?? [0, 0];
    const [wide, high] = model.size_mm ?? [0, 0];
    const round = (mm) => Math.round(mm * 10) / 10;
    const middle = round(x + wide / 2);
    const below = (half) => (model.outlined ? round(y + high / 2) : round(y - 30 - half));
    const long = (pixels) => (pixels - 1) * its.pitch_mm;
    const made = {
      strip: { ...its, count: 12, start_mm: [model.outlined ? round(middle - long(12) / 2) : round(x), below(0)] },
      ring: { package: its.package, count: 12, diameter_mm: round((12 * its.pitch_mm) / Math.PI), centre_mm: [middle, below((6 * its.pitch_mm) / Math.PI)] },
      grid: { ...its, columns: 8, rows: 4, centre_mm: [middle, below(long(4) / 2)] },
    }[form];
    this.scene.insert(["pixels"], model.groups.length, { [form]: made }, `${form} added`);
    this.tell(`Added: a ${form}, as group ${model.groups.length + 1}`);
    this.#openGroup = model.groups.length;
  }

  /** The group whose fields open when it appears. */
  #openGroup = 0;

  #showGroups(model, problemsOf) {
    const shape = model.groups.map(({ form }) => form).join();
    if (shape !== this.#groups.shape) {
      this.#groups = model.groups.map((group) => {
        const title = make("h3");
        const list = this.#list(`group ${group.index} ${group.form}`);
        const away = make("button.quiet", {
          type: "button",
          "data-test": `take-out-group-${group.index}`,
          "aria-label": `Take out group ${group.index + 1}: ${group.form}`,
          disabled: model.groups.length < 2,
          title: model.groups.length < 2 ? "a scene keeps one group of pixels at least" : null,
          onclick: () => {
            if (this.scene.busy) return;
            this.scene.remove(["pixels", group.index], `${group.form} taken out`);
            this.tell(`Taken out: group ${group.index + 1}. Undo brings it back.`);
            byId("add-group").focus();
          },
        }, "Take out");
        // Of many groups only the first lies open: a drawn garment has one for each of its lines.
        const many = model.groups.length > 1;
        const element = many ? make("details.group", { open: group.index === this.#openGroup }, make("summary", {}, title), list.element, away) : make("div.group", {}, title, list.element, away);
        return { title, list, element };
      });
      this.#groups.shape = shape;
      this.#openGroup = 0;
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
      put(view.outwards, "disabled", i === model.layers.length - 1);
      put(view.inwards, "disabled", i === 0);
      view.moves.hidden = model.layers.length < 2;
      problemsOf(["stack", i, "cloth"]).forEach((problem) => inCloth.push(problem));
      view.list.show(layer.fields.filter(({ key }) => key !== "cloth"), problemsOf);
    });
    byId("no-layers").hidden = model.layers.length > 0;
    this.#follow();
    // Faults of a cloth have no field here: they are told on top.
    return inCloth;
  }

  /** A layer that was moved, until it is shown at its new place: the hand goes with it. */
  #moved = null;

  #move(from, to) {
    const { model } = this.scene.now;
    if (this.scene.busy || !model?.layers[to]) return;
    const edits = [{ path: ["stack"], move: { from, to } }];
    // A dome or quilt belongs to the place next to the pixels: it stays there, under the cloth that is first now.
    const relief = Math.min(from, to) === 0 ? model.layers[0].fields.find(({ key, given }) => key === "relief" && given) : null;
    if (relief?.written) edits.push({ path: ["stack", 0, relief.value], set: relief.written }, { path: ["stack", 1, relief.value], remove: true });
    this.scene.change(edits, to > from ? "layer moved outwards" : "layer moved inwards");
    const name = model.layers[from].title ?? "Layer";
    this.#moved = { to, way: to > from ? "outwards" : "inwards", name: name, text: this.scene.now.text };
  }

  #follow() {
    const moved = this.#moved;
    if (!moved || this.scene.now.text === moved.text) return;
    this.#moved = null;
    const view = this.#layers[moved.to];
    if (!view) return;
    const [first, second] = moved.way === "outwards" ? [view.outwards, view.inwards] : [view.inwards, view.outwards];
    (first.disabled ? second : first).focus();
    this.tell(`${moved.name} moved ${moved.way}: now layer ${moved.to + 1} of ${this.#layers.length}, from the pixels outwards`);
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
    const outwards = make("button.quiet", { type: "button", "data-test": `outwards-${index}`, "aria-label": `Move ${name} outwards`, onclick: () => this.#move(index, index + 1) }, "Move outwards");
    const inwards = make("button.quiet", { type: "button", "data-test": `inwards-${index}`, "aria-label": `Move ${name} inwards`, onclick: () => this.#move(index, index - 1) }, "Move inwards");
    const moves = make("div.row.moves", {}, outwards, inwards);
    swap.setAttribute("aria-label", `Swap cloth of ${name}`);
    away.setAttribute("aria-label", `Take out ${name}`);
    const element = make("li.layer", { "data-test": `layer-${index}` }, make("div.cloth", {}, swatch, make("div", {}, title, facts, make("div.row", {}, swap, away), moves)), list.element);
    return { element, title, facts, swatch, list, outwards, inwards, moves };
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

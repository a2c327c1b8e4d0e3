// Parts of the scene that one may have or not, of which one form is chosen (a dome or a quilt, a kind of pattern, a battery), and
// lists of parts (keyframes).

import { fresh, make, put, say } from "./dom.js";
import { faultWords } from "./fields.js";

const startsWith = (path, start) => start.every((part, i) => path[i] === part);
const capital = (word) => word.charAt(0).toUpperCase() + word.slice(1);

/** A part with the choice of its form and the fields of the form that is chosen. `lists()` makes a list of fields. */
export class FormView {
  constructor(field, edits, lists) {
    this.edits = edits;
    const id = fresh("part");
    const test = `field-${field.path.join(".")}`;
    this.help = make("span.meaning", { id: `${id}-m` });
    this.name = make(field.alone ? "span" : "label", { id: `${id}-l`, for: field.alone ? null : id });
    const about = { id, "aria-describedby": `${id}-m ${id}-x`, "data-test": test };
    this.choice = field.alone ? make("input", { type: "checkbox", ...about, "aria-labelledby": `${id}-l` }) : make("select", about);
    this.choice.addEventListener("change", () => this.#chosen());
    this.fault = make("p.fault", { id: `${id}-x`, hidden: true });
    this.list = lists();
    const head = field.alone ? make("label.tick", {}, this.choice, this.name) : make("div.head", {}, this.name, " ", this.help);
    this.element = make("div.field.part", { "data-path": field.path.join("."), "data-kind": "form", role: "group", "aria-labelledby": `${id}-l` },
      head, field.alone ? this.help : make("div.controls", {}, this.choice), this.fault, this.list.element);
  }

  #chosen() {
    const { field, choice } = this;
    const wanted = field.alone ? (choice.checked ? field.choices[0]?.key : "") : choice.value;
    const edits = wanted ? field.choices.find(({ key }) => key === wanted)?.edits : field.none;
    if (edits?.length) this.edits.change(edits, wanted ? field.label : `${field.label} taken out`);
  }

  show(field, problems, problemsOf) {
    this.field = field;
    say(this.name, capital(field.label));
    const chosen = field.choices.find(({ key }) => key === field.value);
    const meaning = field.alone ? field.meaning : chosen?.meaning || field.meaning;
    say(this.help, meaning);
    this.help.hidden = !meaning || meaning.replace(/^(the|a|an) /, "") === field.label;
    if (field.alone) this.choice.checked = field.given;
    else {
      const keys = ["", ...field.choices.map(({ key }) => key)];
      if (keys.join() !== [...this.choice.options].map(({ value }) => value).join()) {
        this.choice.replaceChildren(make("option", { value: "" }, "none"), ...field.choices.map(({ key, label }) => make("option", { value: key }, label)));
      }
      this.choice.value = field.value ?? "";
    }
    // What a field inside tells is told there.
    const own = problems.filter(({ path }) => !field.fields.some((inner) => startsWith(path, inner.inside ?? inner.path)));
    say(this.fault, own.map(faultWords).join(" "));
    this.fault.hidden = own.length === 0;
    put(this.choice, "aria-invalid", own.length ? "true" : null);
    this.element.classList.toggle("faulty", own.length > 0);
    this.list.element.hidden = field.fields.length === 0;
    this.list.show(field.fields, problemsOf);
  }
}

/** A list of parts: each with its fields, a button to take it out, and one to add another. */
export class RowsView {
  #rows = [];

  constructor(field, edits, lists) {
    Object.assign(this, { edits, lists });
    const id = fresh("rows");
    this.name = make("span", { id });
    this.holder = make("ol.rows");
    this.fault = make("p.fault", { hidden: true });
    this.words = make("p.quiet", { hidden: true });
    this.add = make("button", { type: "button", "data-test": `add-${field.path.join(".")}`, onclick: () => this.#added() });
    this.element = make("div.field.part", { "data-path": field.path.join("."), "data-kind": "rows", role: "group", "aria-labelledby": id }, this.name, this.fault, this.holder, this.words, this.add);
  }

  #added() {
    const { field } = this;
    const next = { ...field.next };
    // Times go on in the same steps.
    const times = field.items.map(({ fields }) => fields.find(({ key }) => key === "at_s")?.value).filter((time) => typeof time === "number");
    if (typeof next.at_s === "number") next.at_s += times.length > 1 ? Math.max(0.1, times.at(-1) - times.at(-2)) : 1;
    this.edits.change([{ path: field.path, insert: field.count, value: next }], `${field.what} added`);
  }

  #row(index) {
    const title = make("strong");
    const list = this.lists();
    const away = make("button.quiet", {
      type: "button",
      onclick: () => {
        this.edits.change([{ path: this.field.items[index].path, remove: true }], `${this.field.what} taken out`);
        this.add.focus();
      },
    }, "Take out");
    return { title, list, away, element: make("li", {}, make("div.row", {}, title, away), list.element) };
  }

  show(field, problems, problemsOf) {
    this.field = field;
    const bare = capital(field.what.replace(/^(the|a|an) /, ""));
    say(this.name, capital(field.label));
    say(this.add, `Add ${field.what}`);
    this.add.hidden = !field.next || field.items.length < field.count;
    while (this.#rows.length > field.items.length) this.#rows.pop().element.remove();
    field.items.forEach((item, i) => {
      if (!this.#rows[i]) this.holder.append((this.#rows[i] = this.#row(i)).element);
      const row = this.#rows[i];
      say(row.title, `${bare} ${i + 1}`);
      row.away.setAttribute("aria-label", `Take out ${bare.toLowerCase()} ${i + 1}`);
      // The last one stays: without any there is no such part.
      put(row.away, "disabled", field.count < 2);
      row.list.show(item.fields, problemsOf);
    });
    const rest = field.count - field.items.length;
    this.words.hidden = rest <= 0;
    say(this.words, rest > 0 ? `${rest} more stand in the file.` : "");
    const own = problems.filter(({ path }) => !field.items.some((item) => item.fields.some((inner) => startsWith(path, inner.path))));
    say(this.fault, own.map(faultWords).join(" "));
    this.fault.hidden = own.length === 0;
  }
}

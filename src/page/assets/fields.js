// One field of the scene: label with unit, slider and box or another control, its meaning, and its faults beside it.

import { fresh, make, put, say } from "./dom.js";
import { FormView, RowsView } from "./forms.js";
import { figure, roundStep, toStep, typedNumber, withUnit } from "./words.js";

/** Positions of a slider that is not even: fine enough for single lux in a dark street and thousands in the sun. */
const UNEVEN_STEPS = 200;
/** The widest range that makes a slider of its own. */
const MOST_PLAIN_RANGE = 720;
/** A list of so few fields, none of them a main one, is shown without a fold. */
const FEW = 4;

/** How a slider's position and a value belong together: evenly, or with most of the way for small values where the range is vast. */
function scaleOf(field) {
  const [low, high] = field.usual ?? [field.least, field.most];
  if (!Number.isFinite(low) || !Number.isFinite(high) || high <= low) return null;
  const whole = field.kind === "whole";
  // Where nobody says what is usual, a slider over all that is allowed would be too coarse to be of use.
  const plain = !field.usual || (low === field.least && high === field.most);
  if (plain && high - low > MOST_PLAIN_RANGE) return null;
  if (!whole && low === 0 && high >= 400) {
    return {
      min: 0,
      max: UNEVEN_STEPS,
      step: 1,
      toValue: (at) => Number(((at / UNEVEN_STEPS) ** 3 * high).toPrecision(2)),
      toPlace: (value) => Math.cbrt(Math.max(0, value) / high) * UNEVEN_STEPS,
    };
  }
  const step = whole ? 1 : roundStep(high - low);
  return { min: low, max: high, step, toValue: (at) => toStep(at, step), toPlace: (value) => value };
}

/** What a fault says under a field: what, what is allowed, what next. */
export function faultWords(problem) {
  const found = problem.found ? ` Found: ${problem.found}.` : "";
  const allowed = problem.allowed ? ` Allowed: ${problem.allowed}.` : "";
  const next = problem.next ? ` ${problem.next}` : "";
  return `${problem.what.replace(/\.$/, "")}.${found}${allowed}${next}`;
}

/**
 * Shows a FIELD of the model; `changed(path, value, label)` and `left(path, label)` carry edits out, `waits(path)` tells whether
 * one is still to be sent.
 */
export class FieldView {
  #local = null;

  constructor(field, { changed, left, waits }) {
    Object.assign(this, { changed, left, waits, inputs: [] });
    const id = fresh("f");
    this.label = make("label", { for: id, id: `${id}-l` });
    this.unit = make("span.unit");
    this.out = make("button.leave", {
      type: "button",
      hidden: true,
      title: "back to the usual value",
      onclick: () => this.left(this.field.path, this.field.label),
    }, "leave out");
    this.help = make("span.meaning", { id: `${id}-m` });
    this.fault = make("p.fault", { id: `${id}-x`, hidden: true });
    this.controls = make("div.controls");
    this.element = make("div.field", { "data-path": field.path.join("."), "data-kind": field.kind }, make("div.head", {}, this.label, " ", this.help, " ", this.out), this.controls, this.fault);
    this.field = field;
    this.#build(id);
    for (const input of this.inputs) {
      input.setAttribute("aria-describedby", `${id}-m ${id}-x`);
      input.setAttribute("data-test", `field-${field.path.join(".")}${input.type === "range" ? "-slider" : ""}`);
    }
    this.show(field, []);
  }

  #build(id) {
    const { field } = this;
    const box = (extra = {}) => make("input.box", { type: "text", inputmode: "decimal", autocomplete: "off", spellcheck: "false", ...extra });
    if (field.kind === "number" || field.kind === "whole") {
      this.box = box({ id });
      this.scale = scaleOf(field);
      if (this.scale) {
        const { min, max, step } = this.scale;
        this.slider = make("input", { type: "range", min, max, step, "aria-labelledby": `${id}-l` });
        this.slider.addEventListener("input", () => this.#slid());
        this.controls.append(this.slider);
        this.inputs.push(this.slider);
      }
      this.box.addEventListener("input", () => this.#typed());
      this.box.addEventListener("keydown", (event) => this.#stepped(event));
      this.box.addEventListener("blur", () => this.#local === null && this.show(this.field, this.problems));
      this.controls.append(this.box, this.unit);
      this.inputs.push(this.box);
    } else if (field.kind === "pair") {
      this.boxes = ["first", "second"].map((which) => box({ "aria-label": `${field.label}, ${which}` }));
      this.boxes[0].id = id;
      for (const each of this.boxes) each.addEventListener("change", () => this.#paired());
      this.controls.append(this.boxes[0], make("span.times", { "aria-hidden": "true" }, "×"), this.boxes[1], this.unit);
      this.inputs.push(...this.boxes);
    } else if (field.kind === "numbers" || field.kind === "colours") {
      this.list = box({ id, inputmode: "text" });
      this.list.classList.add("wide");
      this.list.addEventListener("change", () => this.#listed());
      this.controls.append(this.list, this.unit);
      this.inputs.push(this.list);
    } else if (field.kind === "colour") {
      this.well = make("input", { type: "color", "aria-labelledby": `${id}-l` });
      this.box = box({ id, inputmode: "text", maxlength: 7, placeholder: "#rrggbb" });
      this.well.addEventListener("input", () => {
        this.box.value = this.well.value;
        this.#send(this.well.value);
      });
      this.box.addEventListener("input", () => {
        const text = this.box.value.trim();
        if (/^#[0-9a-f]{6}$/i.test(text)) this.#send(text);
        else this.#refuse(`\`${text}\` is no colour. Allowed: # and six hexadecimal digits, such as #ffd9a0.`);
      });
      this.controls.append(this.well, this.box);
      this.inputs.push(this.well, this.box);
    } else if (field.kind === "choice") {
      this.select = make("select", { id });
      this.select.addEventListener("change", () => this.#send(this.select.value));
      this.controls.append(this.select);
      this.inputs.push(this.select);
    } else if (field.kind === "flag") {
      this.tick = make("input", { type: "checkbox", id });
      this.tick.addEventListener("change", () => this.#send(this.tick.checked));
      this.controls.append(this.tick);
      this.inputs.push(this.tick);
    } else {
      this.box = box({ id, inputmode: "text" });
      this.box.classList.add("wide");
      this.box.addEventListener("change", () => this.#send(this.box.value));
      this.controls.append(this.box);
      this.inputs.push(this.box);
    }
  }

  #slid() {
    this.slider.classList.remove("open");
    const value = this.scale.toValue(Number(this.slider.value));
    this.box.value = figure(value);
    this.#tellSlider(value);
    this.#send(value);
  }

  #typed() {
    // Some numbers may also be a word, such as auto.
    const word = this.box.value.trim();
    if (this.field.choices?.includes(word)) return this.#send(word);
    const value = typedNumber(word);
    if (this.box.value.trim() === "" && this.field.needed === false) return this.left(this.field.path, this.field.label);
    if (value === null) return this.#refuse(`\`${this.box.value.trim()}\` is no number. Allowed: ${this.#range()}.`);
    if (this.slider) {
      this.slider.value = this.scale.toPlace(value);
      this.slider.classList.remove("open");
    }
    this.#tellSlider(value);
    this.#send(value);
  }

  /** Arrow keys in the box go one step, page keys ten. */
  #stepped(event) {
    const steps = { ArrowUp: 1, ArrowDown: -1, PageUp: 10, PageDown: -10 }[event.key];
    const value = typedNumber(this.box.value);
    if (steps === undefined || value === null) return;
    event.preventDefault();
    const step = this.field.kind === "whole" ? 1 : this.scale?.toValue === undefined || this.scale.max === UNEVEN_STEPS ? 1 : this.scale.step;
    const { least, most } = this.field;
    const next = Math.min(most ?? Infinity, Math.max(least ?? -Infinity, toStep(value + steps * step, step)));
    this.box.value = figure(next);
    this.#typed();
  }

  #paired() {
    const values = this.boxes.map((each) => typedNumber(each.value));
    if (values.includes(null)) return this.#refuse(`Both numbers are needed. Allowed: ${this.#range()}.`);
    this.#send(values);
  }

  /** Numbers or colours, one after another. */
  #listed() {
    const words = this.list.value.split(/[\s;]+|,(?=\s|#|$)/).filter((word) => word !== "");
    if (words.length === 0 && !this.field.needed) return this.field.given ? this.left(this.field.path, this.field.label) : this.#refuse(null);
    const ofColours = this.field.kind === "colours";
    const bad = words.find((word) => (ofColours ? !/^#[0-9a-f]{6}$/i.test(word) : typedNumber(word) === null));
    if (bad !== undefined || words.length === 0) return this.#refuse(`\`${bad ?? ""}\` is no ${ofColours ? "colour. Allowed: # and six hexadecimal digits each, such as #ffd9a0 #7fd0ff." : `number. Allowed: ${this.#range()}, with blanks between them.`}`);
    this.#send(ofColours ? words : words.map(typedNumber));
  }

  #range() {
    const { least, most, unit } = this.field;
    const range = Number.isFinite(least) && Number.isFinite(most) ? `${figure(least)} to ${withUnit(most, unit)}` : "any number";
    return [range, ...(this.field.choices ?? [])].join(", or ");
  }

  #send(value) {
    this.#refuse(null);
    this.changed(this.field.path, value, this.field.label);
  }

  /** A fault that is known before the program is asked; the scene keeps its last value. */
  #refuse(words) {
    this.#local = words;
    this.#tellFault(words ? [words] : []);
  }

  #tellFault(words) {
    say(this.fault, words.join(" "));
    this.fault.hidden = words.length === 0;
    this.element.classList.toggle("faulty", words.length > 0);
    for (const input of this.inputs) put(input, "aria-invalid", words.length ? "true" : null);
  }

  #tellSlider(value) {
    if (this.slider) put(this.slider, "aria-valuetext", withUnit(value, this.field.unit));
  }

  /** Shows newer values; `problems` are those of this field. */
  show(field, problems) {
    if (this.#local !== null && JSON.stringify(field.value) !== JSON.stringify(this.field.value)) this.#local = null;
    this.field = field;
    this.problems = problems;
    say(this.label, field.label);
    say(this.unit, field.unit ?? "");
    say(this.help, field.meaning);
    this.help.hidden = !field.meaning || field.meaning.toLowerCase() === field.label.toLowerCase();
    this.out.hidden = !(field.needed === false && field.given);
    put(this.out, "aria-label", `leave out ${field.label}: back to the usual value`);
    if (this.#local === null) this.#tellFault(problems.map(faultWords));
    // What the hand has set and the program has not seen yet stays, and so does what it found fault with.
    if (this.waits(field.path) || this.#local !== null || problems.some(({ severity }) => severity === "error")) return;
    const { value } = field;
    const none = value === null || value === undefined;
    if (this.slider) {
      const [low] = field.usual ?? [field.least];
      this.slider.value = this.scale.toPlace(none || typeof value !== "number" ? low : value);
      this.slider.classList.toggle("open", none || typeof value !== "number");
      put(this.slider, "aria-valuetext", none ? "not set" : typeof value === "number" ? withUnit(value, field.unit) : String(value));
    }
    if (this.list) {
      if (document.activeElement !== this.list) this.list.value = none ? "" : value.map((each) => (typeof each === "number" ? figure(each) : each)).join(" ");
      this.list.placeholder = "not set";
    } else if (this.boxes) this.boxes.forEach((each, i) => (each.value = none ? "" : figure(value[i])));
    else if (this.select) {
      const wanted = field.choices ?? [];
      if (this.select.options.length !== wanted.length) this.select.replaceChildren(...wanted.map((choice) => make("option", { value: choice }, String(choice).replaceAll("_", " "))));
      this.select.value = none ? "" : String(value);
    } else if (this.tick) this.tick.checked = value === true;
    else if (this.box) {
      // "8." on the way to "8.5" is 8 already: it is not written anew under the hand.
      const typed = document.activeElement === this.box && typedNumber(this.box.value) === value;
      if (!typed) this.box.value = none ? "" : typeof value === "number" ? figure(value) : String(value);
      if (none && field.kind !== "colour") this.box.placeholder = "not set";
      if (this.well && !none) this.well.value = value;
      if (this.well) this.well.classList.toggle("open", none);
    }
  }
}

/** A list of fields that keeps its controls as long as the same fields are there, so that focus and drags outlive an edit. */
export class FieldList {
  #views = [];
  #shape = "";

  /** `edits` is `{changed, left, waits, change}`, as a `FieldView` and its kin take them. */
  constructor(edits) {
    this.edits = edits;
    this.main = make("div.fields");
    this.more = make("div.fields");
    this.fold = make("details.more", {}, make("summary", {}, "More"), this.more);
    this.element = make("div", {}, this.main, this.fold);
  }

  #view(field) {
    const lists = () => new FieldList(this.edits);
    if (field.kind === "form") return new FormView(field, this.edits, lists);
    if (field.kind === "rows") return new RowsView(field, this.edits, lists);
    return new FieldView(field, this.edits);
  }

  /** Shows newer values; whether a fault is among them is the answer. */
  show(fields, problemsOf) {
    const shape = fields.map((field) => `${field.path.join(".")}:${field.kind}`).join("|");
    if (shape !== this.#shape) {
      this.#shape = shape;
      this.#views = fields.map((field) => this.#view(field));
      this.main.replaceChildren();
      this.more.replaceChildren();
      const all = fields.length <= FEW && !fields.some((field) => field.main);
      this.#views.forEach((view, i) => (all || fields[i].main ? this.main : this.more).append(view.element));
      this.fold.hidden = this.more.childElementCount === 0;
    }
    let [faulty, faultUnderMore] = [false, false];
    this.#views.forEach((view, i) => {
      const problems = problemsOf(fields[i].inside ?? fields[i].path);
      view.show(fields[i], problems, problemsOf);
      faulty ||= problems.length > 0;
      faultUnderMore ||= problems.length > 0 && this.more.contains(view.element);
    });
    // A fault must not hide in a fold.
    if (faultUnderMore) this.fold.open = true;
    return faulty;
  }
}

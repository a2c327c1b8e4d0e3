// The headline, the cautions and the numbers that matter, with their ranges; beside them those of a version held against.

import { byId, draw, make, put, say } from "./dom.js";
import { lookNamed } from "./words.js";

/** A change of the headline is told to screen readers when it has stood so long, in ms: a drag does not chatter. */
const TELL_AFTER_MS = 700;

/** Five lights that melt into each other: the sign of a look. How far each blurs is the only difference. */
export function lookSign(mark) {
  const blur = { hard: 0, show: 1.4, soft: 3, none: 5.5 }[mark] ?? 0;
  const id = `melt-${mark}`;
  const dots = [12, 30, 48, 66, 84].map((cx) => draw("circle", { cx, cy: 16, r: mark === "none" ? 9 : 5.5 }));
  return draw("svg", { viewBox: "0 0 96 32", class: `look-sign ${mark}`, "aria-hidden": "true", focusable: "false" },
    draw("defs", {}, draw("filter", { id, x: "-20%", y: "-60%", width: "140%", height: "220%" }, draw("feGaussianBlur", { stdDeviation: `${blur} ${blur * 0.6}` }))),
    draw("rect", { width: 96, height: 32, rx: 6, class: "cloth" }),
    draw("g", { filter: blur ? `url(#${id})` : null, class: "lights" }, dots));
}

export class Numbers {
  #rows = new Map();
  #timer = null;

  /** `tell(words)` speaks politely. */
  constructor(live, tell) {
    this.live = live;
    this.tell = tell;
    /** The version held against: `{name, numbers}` or null. */
    this.beside = null;
    live.addEventListener("numbers", () => this.show());
    live.addEventListener("cleared", () => this.clear());
  }

  show() {
    const { numbers } = this.live;
    if (!numbers) return;
    this.#headline(numbers.headline);
    this.#cautions(numbers.cautions);
    this.#table(numbers.numbers);
    put(byId("findings"), "data-shown-version", numbers.version);
  }

  /** Nothing is known yet. */
  clear() {
    const box = byId("headline");
    delete box.dataset.look;
    delete box.dataset.mark;
    byId("headline-sign").replaceChildren();
    say(byId("headline-word"), "…");
    say(byId("headline-words"), "");
    this.#cautions([]);
    this.#table([]);
    put(byId("findings"), "data-shown-version", null);
  }

  /** Greys the numbers while newer ones are on their way. */
  waiting(yes) {
    byId("findings").classList.toggle("older", yes);
    byId("brief").classList.toggle("older", yes);
  }

  #headline({ softness, words }) {
    const look = lookNamed(softness);
    const box = byId("headline");
    if (box.dataset.look !== softness) {
      box.dataset.look = softness;
      box.dataset.mark = look?.mark ?? "";
      byId("headline-sign").replaceChildren(lookSign(look?.mark ?? "hard"));
      say(byId("headline-word"), softness);
      clearTimeout(this.#timer);
      this.#timer = setTimeout(() => this.tell(`${softness}. ${words}`), TELL_AFTER_MS);
    }
    say(byId("headline-words"), words);
  }

  #cautions(cautions) {
    const list = byId("caution-list");
    const words = cautions.join("\n");
    if (list.dataset.words === words) return;
    list.dataset.words = words;
    list.replaceChildren(...cautions.map((caution) => make("li", {}, caution)));
    byId("cautions").hidden = cautions.length === 0;
  }

  #table(numbers) {
    const table = byId("number-table");
    const keys = numbers.map(({ key }) => key);
    if (keys.join() !== [...this.#rows.keys()].join()) {
      this.#rows = new Map(keys.map((key) => [key, this.#row()]));
      byId("number-rows").replaceChildren(...[...this.#rows.values()].map(({ element }) => element));
    }
    for (const number of numbers) {
      const row = this.#rows.get(number.key);
      say(row.name, number.name);
      say(row.meaning, number.meaning);
      // The range stands behind the value in brackets: it is set apart, quieter.
      const [, value, range] = /^(.*?)(\s*\(.*\))?$/s.exec(number.shown);
      say(row.value, value);
      say(row.range, (range ?? "").trim());
      const beside = this.beside?.numbers?.numbers.find(({ key }) => key === number.key);
      say(row.beside, this.beside ? beside?.shown ?? "…" : "");
    }
    table.classList.toggle("two", this.beside !== null);
    say(byId("number-beside"), this.beside ? this.beside.name : "");
    byId("number-beside").hidden = !this.beside;
  }

  #row() {
    const [name, meaning, value, range] = [make("span.name"), make("span.meaning"), make("span.value"), make("span.range")];
    const beside = make("td.beside");
    return { element: make("tr", {}, make("th", { scope: "row" }, name, meaning), make("td", {}, value, " ", range), beside), name, meaning, value, range, beside };
  }
}

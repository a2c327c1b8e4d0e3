// The numbers of all held versions beside those of now. What differs is told by a sign and by words, not by colour alone.

import { byId, make, put } from "./dom.js";

/** Two versions make a table; one stands beside the numbers themselves. */
const FEWEST = 2;

export class Compare {
  /** `list()` gives the held versions. */
  constructor(live, list) {
    Object.assign(this, { live, list });
    live.addEventListener("numbers", () => this.show());
    live.addEventListener("cleared", () => this.show());
  }

  show() {
    const { numbers } = this.live;
    const held = this.list();
    const shown = numbers !== null && numbers !== undefined && held.length >= FEWEST;
    byId("compare").hidden = !shown;
    if (!shown) return;
    const columns = [{ name: "now", numbers }, ...held];
    const facts = columns.flatMap((column) => column.numbers?.numbers ?? []);
    const rows = [...new Map(facts.map((number) => [number.key, number])).values()];
    const head = make("tr", {}, make("td"), ...columns.map(({ name, id }) => make("th", { scope: "col", "data-test": id ? `compare-${id}` : "compare-now" }, name)));
    const looks = make("tr", {}, make("th", { scope: "row" }, "look"), ...columns.map((column) => make("td", {}, column.numbers ? make("span.value", {}, column.numbers.headline.softness ?? "no dots to hide") : "…")));
    const row = (number) => make("tr", { "data-test": `compare-${number.key}` }, make("th", { scope: "row" }, number.name), ...columns.map((column, i) => this.#cell(column, number.key, i > 0 && numbers)));
    const text = JSON.stringify([columns.map(({ name, numbers: own }) => [name, own?.headline.softness, own?.numbers.map(({ shown: words }) => words)])]);
    if (this.text === text) return;
    this.text = text;
    byId("compare-table").replaceChildren(make("thead", {}, head), make("tbody", {}, looks, ...rows.map(row)));
  }

  #cell(column, key, now) {
    if (!column.numbers) return make("td", {}, "…");
    const number = column.numbers.numbers.find((each) => each.key === key);
    if (!number) return make("td", {}, make("span.unseen", {}, "none"), "–");
    const [, value, range] = /^(.*?)(\s*\(.*\))?$/s.exec(number.shown);
    const other = now ? now.numbers.find((each) => each.key === key) : null;
    const cell = make("td", {}, make("span.value", {}, value), make("span.range", {}, (range ?? "").trim()));
    if (now) cell.append(this.#sign(number, other));
    return cell;
  }

  /** How a number stands to that of now. */
  #sign(number, now) {
    if (!now) return make("span.sign", {}, "not now");
    if (number.shown === now.shown) return make("span.sign.same", {}, "= same");
    // A number without an end is more than any.
    const size = ({ value }) => value ?? Infinity;
    const sign = make("span.sign", {}, size(number) > size(now) ? "▲ more" : size(number) < size(now) ? "▼ less" : "≈ other range");
    put(sign, "data-differs", "true");
    return sign;
  }
}

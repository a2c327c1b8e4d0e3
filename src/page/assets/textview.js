// The scene file itself: editable, with the lines of its problems marked. What is typed here is the scene, at once.

import { byId, make, put, say } from "./dom.js";
import { faultWords } from "./fields.js";
import { Pause } from "./api.js";

/** Typing rests for so long, in ms, before the program reads the text. */
const READ_AFTER_MS = 200;

export class TextView {
  constructor(scene) {
    this.scene = scene;
    this.area = byId("text");
    this.lines = byId("text-lines");
    this.pause = new Pause(() => scene.type(this.area.value), READ_AFTER_MS);
    this.area.addEventListener("input", () => {
      this.#number();
      this.pause.ask();
    });
    this.area.addEventListener("blur", () => {
      this.pause.stop();
      scene.type(this.area.value);
    });
    this.area.addEventListener("scroll", () => (this.lines.scrollTop = this.area.scrollTop));
    scene.addEventListener("change", () => this.show());
  }

  /** Shows the text if somebody looks at it. */
  show() {
    if (byId("as-text").hidden) return;
    const { text } = this.scene.now;
    // What is being typed is newer than what was read.
    if (this.area.value !== text && (document.activeElement !== this.area || this.pause.asked !== true)) {
      const { selectionStart, selectionEnd, scrollTop } = this.area;
      this.area.value = text;
      this.area.setSelectionRange(selectionStart, selectionEnd);
      this.area.scrollTop = scrollTop;
    }
    this.#problems();
    this.#number();
  }

  #number() {
    const many = this.area.value.split("\n").length;
    const bad = new Map(this.scene.now.problems.filter(({ line }) => line).map(({ line, severity }) => [line, severity]));
    const key = many + JSON.stringify([...bad]);
    if (this.lines.dataset.key === key) return;
    this.lines.dataset.key = key;
    this.lines.replaceChildren(...Array.from({ length: many }, (_, i) => make(`span${bad.has(i + 1) ? `.${bad.get(i + 1)}` : ""}`, {}, String(i + 1))));
  }

  #problems() {
    const { problems } = this.scene.now;
    const list = byId("text-problems");
    say(byId("text-verdict"), problems.length === 0 ? "In order." : `${problems.length} ${problems.length === 1 ? "problem" : "problems"}:`);
    put(this.area, "aria-invalid", problems.some(({ severity }) => severity === "error") ? "true" : null);
    const items = problems.map((problem) => {
      const words = (problem.line ? `Line ${problem.line}: ` : "") + faultWords(problem);
      return make(`li.${problem.severity}`, {}, problem.line ? make("button.link", { type: "button", onclick: () => this.#go(problem) }, words) : words);
    });
    list.replaceChildren(...items);
  }

  /** Puts the cursor at a problem. */
  #go({ line, column }) {
    const before = this.area.value.split("\n").slice(0, line - 1).reduce((sum, text) => sum + text.length + 1, 0);
    const at = before + Math.max(0, (column ?? 1) - 1);
    this.area.focus();
    this.area.setSelectionRange(at, Math.max(at + 1, before + (this.area.value.split("\n")[line - 1]?.length ?? 0)));
    this.area.scrollTop = Math.max(0, (line - 4) * Number.parseFloat(getComputedStyle(this.area).lineHeight));
  }
}

// Motion: played only when asked for, with its flash caution beside it, and stopped by one press. Nothing here ever starts to
// move by itself, whatever the system's wish about motion is; where the system asks for less, that is said before playing.

import { api, Lane } from "./api.js";
import { byId, make, put, say } from "./dom.js";
import { faultWords } from "./fields.js";
import { figure } from "./words.js";

/** Largest side of a moving picture, in image pixels: many frames have to be drawn. */
const MOST_PX = 720;

export class Motion {
  #address = null;
  #lane;

  constructor(scene, picture, tell) {
    Object.assign(this, { scene, picture, tell });
    this.calm = window.matchMedia("(prefers-reduced-motion: reduce)");
    this.#lane = new Lane((job) => this.#play(job), (fault) => this.#failed(fault));
    byId("motion-play").addEventListener("click", () => (this.playing ? this.stop() : this.play()));
    byId("motion-stop").addEventListener("click", () => this.stop());
    scene.addEventListener("change", () => this.show());
    document.addEventListener("keydown", (event) => event.key === "Escape" && this.playing && !document.querySelector("dialog[open]") && this.stop());
  }

  get playing() {
    return this.#address !== null;
  }

  /** A scene that changed is no longer what plays: it stops, rather than show something that is not there. */
  show() {
    const pattern = this.scene.now.model?.light.pattern ?? null;
    byId("motion").hidden = pattern === null;
    say(byId("motion-name"), pattern ? `Pattern: ${pattern}.` : "");
    say(byId("motion-calm"), this.calm.matches ? "Your system asks for less motion: it plays only if you press Play." : "");
    if (this.playing && this.version !== this.scene.version) {
      this.stop();
      say(byId("motion-words"), "The scene has changed: play it anew.");
    }
  }

  play() {
    say(byId("motion-words"), "Drawing the frames …");
    put(byId("motion-play"), "aria-busy", "true");
    this.#lane.ask({ version: this.scene.version, text: this.scene.now.text });
  }

  async #play({ version, text }) {
    const [width, height] = this.picture.size;
    const factor = Math.min(1, MOST_PX / Math.max(width, height));
    const { blob, facts } = await api.motion({ text, width_px: 2 * Math.round((width * factor) / 2), height_px: 2 * Math.round((height * factor) / 2) });
    put(byId("motion-play"), "aria-busy", null);
    if (version !== this.scene.version) return say(byId("motion-words"), "The scene has changed: play it anew.");
    this.stop();
    this.version = version;
    this.#address = URL.createObjectURL(blob);
    const image = byId("motion-picture");
    image.src = this.#address;
    image.hidden = false;
    byId("motion-stop").hidden = false;
    byId("stage").classList.add("moving");
    say(byId("motion-play"), "Stop");
    const flash = facts.flash ?? { passes: null, words: [] };
    say(byId("motion-words"), `${facts.frames} frames, ${figure(facts.seconds, 3)} s, again and again.`);
    const box = byId("flash");
    box.hidden = false;
    box.dataset.passes = String(flash.passes);
    byId("flash-words").replaceChildren(...flash.words.map((words) => make("li", {}, words)));
    this.tell(`Motion plays. ${flash.words.join(" ")}`);
  }

  stop() {
    if (!this.playing) return;
    URL.revokeObjectURL(this.#address);
    this.#address = null;
    const image = byId("motion-picture");
    image.hidden = true;
    image.removeAttribute("src");
    byId("motion-stop").hidden = true;
    byId("stage").classList.remove("moving");
    say(byId("motion-play"), "Play");
    say(byId("motion-words"), "");
    byId("flash").hidden = true;
  }

  #failed(fault) {
    put(byId("motion-play"), "aria-busy", null);
    say(byId("motion-words"), (fault.problems ?? [{ what: "the program does not answer" }]).map(faultWords).join(" "));
  }
}

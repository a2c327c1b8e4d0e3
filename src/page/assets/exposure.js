// The exposure of the pictures. It is found for the first picture of a scene and then kept, so that a brighter scene looks
// brighter; "Set anew" finds it again. All versions that are held share it.

import { byId, put, say } from "./dom.js";
import { figure } from "./words.js";

/** Half a stop each time: a change that is seen well. */
const STEP_EV = 0.5;
const LIMITS_EV = [-10, 25];
/** Beyond this ratio of brightest places, against the picture for which the exposure was found, it no longer fits. */
const FAR = 6;

export class Exposure {
  #kept = null;
  #peak = null;

  /** `changed` is called when pictures must be drawn anew. */
  constructor(scene, changed) {
    this.changed = changed;
    // An exposure that is written into the scene is obeyed at once, so it must not be covered by the one that is kept.
    let written;
    scene.addEventListener("change", () => {
      const field = scene.now.model?.view.fields.find(({ key }) => key === "exposure_ev");
      const value = field?.given ? String(field.value) : null;
      if (written !== undefined && value !== written) this.reset();
      written = value;
    });
    byId("exposure-anew").addEventListener("click", () => {
      this.reset();
      changed();
    });
    byId("exposure-darker").addEventListener("click", () => this.#step(STEP_EV));
    byId("exposure-brighter").addEventListener("click", () => this.#step(-STEP_EV));
  }

  /** The exposure value at ISO 100 that is kept; null where it is still to be found. */
  value() {
    return this.#kept;
  }

  /** Keeps an exposure; one that is kept already stays. */
  keep(ev) {
    this.#kept ??= ev;
  }

  reset() {
    this.#kept = null;
    this.#peak = null;
  }

  #step(by) {
    if (this.#kept === null) return;
    this.#kept = Math.min(LIMITS_EV[1], Math.max(LIMITS_EV[0], Number((this.#kept + by).toFixed(2))));
    this.#peak = null;
    this.changed();
  }

  /** Tells the exposure of a picture, and whether it still fits. */
  show({ exposure_ev: ev, peak_cd_m2: peak }) {
    this.keep(ev);
    this.#peak ??= peak;
    say(byId("exposure-now"), `EV ${figure(ev, 3)}`);
    const ratio = peak / this.#peak;
    const words = ratio > FAR ? "Much brighter than this exposure was set for." : ratio < 1 / FAR ? "Much darker than this exposure was set for." : "";
    say(byId("exposure-hint"), words);
    put(byId("exposure"), "data-off", words ? "yes" : null);
  }
}

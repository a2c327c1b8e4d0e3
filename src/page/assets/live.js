// What follows a change: a quick picture at once, the full one when the hand rests, then numbers and the stand-off curve.
// Every answer belongs to a version of the text; an older one never takes the place of a newer one, nor a quick picture that of
// the full one of the same version. Where a question fails, what is shown stays, and the fault is told.

import { api, Lane, nextSeq, Pause } from "./api.js";

/** The hand rests when nothing changed for so long, in ms. */
const FULL_AFTER_MS = 250;
const NUMBERS_AFTER_MS = 120;
/** During a long drag the numbers follow at least so often, in ms. */
const NUMBERS_AT_MOST_MS = 500;
const CHART_AFTER_MS = 350;
/** Cancelled answers for one version that are asked for again. */
const MOST_RETRIES = 8;
/** Largest side of a picture that is asked for, in image pixels. */
const MOST_PX = 1920;
/** Curves that are kept: undo and redo show them without asking again. */
const MOST_CURVES = 12;

export class Live extends EventTarget {
  /** The picture that is shown: `{version, text, detail, seq, bitmap, frame, facts}`, the `size` and exposure (`asked`) it was asked for. */
  shown = null;
  numbers = null;
  chart = null;
  /** The curve that is being computed. */
  charting = null;
  /** The first version of the scene that is open: answers to earlier ones belong to another scene. */
  since = 0;
  #curves = new Map();

  /** `picture` is the stage; `exposure()` the exposure value that is kept, or null. */
  constructor(scene, picture, exposure) {
    super();
    Object.assign(this, { scene, picture, exposure });
    const failed = (kind) => (fault) => this.dispatchEvent(Object.assign(new Event("fault"), { fault, kind }));
    // An answer that was cancelled though nothing newer took its place (a cache that ran full, a race) is asked for again.
    let again = { version: 0, times: 0 };
    const stale = (pause) => (job) => {
      if (job.version !== scene.version) return;
      if (again.version !== job.version) again = { version: job.version, times: 0 };
      if ((again.times += 1) <= MOST_RETRIES) pause.ask();
    };
    this.quick = new Lane((job) => this.#picture(job), failed("picture"), stale({ ask: () => this.fullPause.ask() }));
    this.full = new Lane((job) => this.#picture(job), failed("picture"), stale({ ask: () => this.fullPause.ask() }));
    this.numberLane = new Lane((job) => this.#numbers(job), failed("numbers"), stale({ ask: () => this.numberPause.ask() }));
    this.chartLane = new Lane((job) => this.#chart(job), failed("gap-chart"), stale({ ask: () => this.chartPause.ask() }));
    this.fullPause = new Pause(() => this.#askFull(), FULL_AFTER_MS);
    this.numberPause = new Pause(() => this.#known && this.numberLane.ask(this.#job()), NUMBERS_AFTER_MS, NUMBERS_AT_MOST_MS);
    this.chartPause = new Pause(() => this.#askChart(), CHART_AFTER_MS);
    scene.addEventListener("change", () => this.changed());
  }

  #job(detail) {
    const { text, curve } = this.scene.now;
    return { text, curve, version: this.scene.version, detail };
  }

  /** The scene changed: everything that depends on it is asked anew. `again` asks even for the version that is shown. */
  changed(again = false) {
    if (this.scene.now.unread) return;
    if (!this.scene.now.usable) return this.#rest();
    // Before the work place is in sight there is no size to draw for.
    if (this.picture.size[0] === 0 || (!again && this.wanted === this.scene.version)) return;
    this.wanted = this.scene.version;
    this.#stopFull();
    this.quick.ask(this.#job("quick"));
    this.fullPause.ask();
    this.numberPause.ask();
    const known = this.#curves.get(this.scene.now.curve);
    if (known) this.#showChart(known);
    else if (this.charting !== this.scene.now.curve) {
      // A curve of something else is not worth its time; moving the cloth does not change it.
      this.chartStop?.abort();
      this.chartPause.ask();
      this.dispatchEvent(new Event("charting"));
    }
    this.dispatchEvent(new Event("waiting"));
  }

  /** Another scene was opened: nothing of the old one stays in sight. */
  clear() {
    this.#rest();
    this.since = this.scene.version;
    this.shown?.bitmap.close();
    this.shown = this.numbers = this.chart = null;
    this.#curves.clear();
    this.dispatchEvent(new Event("cleared"));
  }

  /** A full picture of something older is not worth its time. */
  #stopFull() {
    this.full.forget();
    this.fullStop?.abort();
  }

  #rest() {
    this.quick.forget();
    this.#stopFull();
    for (const pause of [this.fullPause, this.numberPause, this.chartPause]) pause.stop();
    this.dispatchEvent(new Event("waiting"));
  }

  /** The stage changed its size, or was zoomed into: the full picture is asked anew if it would show more or fit better. */
  sharper() {
    if (!this.shown || !this.scene.now.usable || this.picture.size[0] === 0) return;
    const { width_px: width, height_px: height } = this.#sized("full");
    const { width_px: had, height_px: high } = this.shown.size;
    if (width > had * 1.05 || Math.abs(width / height / (had / high) - 1) > 0.02) this.fullPause.ask();
  }

  #askFull() {
    // While quick ones are still under way the full one waits, so as not to be cancelled at once.
    if (this.quick.busy || this.scene.busy) return this.fullPause.ask();
    if (this.#known) this.full.ask(this.#job("full"));
  }

  /** Size of a picture: that of the stage, larger where it is zoomed into, half for a quick one. */
  #sized(detail) {
    const [width, height] = this.picture.size;
    const wished = detail === "quick" ? 0.5 : Math.min(2, this.picture.zoom);
    const factor = Math.min(wished, MOST_PX / Math.max(width, height));
    const even = (value) => Math.max(32, 2 * Math.round((value * factor) / 2));
    return { width_px: even(width), height_px: even(height) };
  }

  async #picture(job) {
    // A newer text waits: its quick picture comes first.
    if (job.detail === "full" && job.version !== this.scene.version) return;
    const seq = nextSeq();
    performance.mark("picture-asked", { detail: { seq, version: job.version, detail: job.detail } });
    const exposure_ev = this.exposure();
    const stop = job.detail === "full" ? (this.fullStop = new AbortController()) : null;
    const size = this.#sized(job.detail);
    const { blob, facts } = await api.picture({ text: job.text, detail: job.detail, ...size, exposure_ev, seq }, "", stop?.signal);
    const bitmap = await createImageBitmap(blob);
    if (job.version < this.since || !this.#newer(job, exposure_ev)) return bitmap.close();
    this.shown?.bitmap.close();
    this.shown = { version: job.version, text: job.text, detail: job.detail, seq, bitmap, frame: facts.frame_mm, facts, size, asked: exposure_ev };
    performance.mark("picture-shown", { detail: { seq, version: job.version, detail: job.detail } });
    this.dispatchEvent(new Event("picture"));
  }

  #newer(job, exposure) {
    const { shown } = this;
    if (exposure !== null && this.exposure() !== null && exposure !== this.exposure()) return false;
    if (!shown || job.version > shown.version) return true;
    return job.version === shown.version && !(shown.detail === "full" && job.detail === "quick" && shown.asked === exposure);
  }

  async #numbers(job) {
    const answer = await api.numbers(job.text);
    if (job.version < this.since || (this.numbers && this.numbers.version > job.version)) return;
    this.numbers = { ...answer, version: job.version, text: job.text };
    this.dispatchEvent(new Event("numbers"));
  }

  /** Whether the text can be asked about: it was read, and it is in order. */
  get #known() {
    return this.scene.now.usable && !this.scene.now.unread;
  }

  #askChart() {
    // The curve is slow and the picture should not wait for it.
    if (this.quick.busy) return this.chartPause.ask();
    if (this.#known) this.chartLane.ask(this.#job());
  }

  async #chart(job) {
    if (this.#curves.has(job.curve)) return;
    const { signal } = (this.chartStop = new AbortController());
    this.charting = job.curve;
    try {
      // The line at once, its range after it.
      for (const detail of ["quick", "full"]) {
        const answer = await api.gapChart(job.text, detail, signal);
        if (detail === "full") this.#keepCurve(job.curve, answer);
        if (job.curve === this.scene.now.curve) this.#showChart(answer);
      }
    } finally {
      this.charting = null;
    }
  }

  #keepCurve(curve, answer) {
    this.#curves.set(curve, answer);
    if (this.#curves.size > MOST_CURVES) this.#curves.delete(this.#curves.keys().next().value);
  }

  #showChart(chart) {
    this.chart = chart;
    this.dispatchEvent(new Event("chart"));
  }
}

// The picture on its stage: drawn at true proportions into a canvas, with zoom, pan, a scale bar in mm and, where two versions
// are held against each other, a divider. Every picture knows the piece of the garment that it shows (`frame_mm`), so that two
// pictures with different margins lie over each other millimetre by millimetre.

import { byId, put, say } from "./dom.js";
import { figure } from "./words.js";

const MOST_ZOOM = 24;
/** The scale bar takes at most this share of the stage's width. */
const BAR_SHARE = 0.3;
const ZOOM_STEP = 1.25;

/** The frame that holds all of several frames. */
const union = (frames) => [
  Math.min(...frames.map((frame) => frame[0])),
  Math.min(...frames.map((frame) => frame[1])),
  Math.max(...frames.map((frame) => frame[2])),
  Math.max(...frames.map((frame) => frame[3])),
];

export class Picture {
  /** `{bitmap, frame}` or null; `right` only while two versions are held against each other. */
  left = null;
  right = null;
  /** Zoom 1 shows the whole frame; the centre is in mm. */
  zoom = 1;
  centre = null;
  split = 0.5;
  #pending = false;
  #fingers = new Map();
  #pinch = null;

  /** `zoomed` is called when more detail could be of use. */
  constructor(zoomed) {
    this.zoomed = zoomed;
    this.stage = byId("stage");
    this.canvas = byId("picture");
    this.context = this.canvas.getContext("2d");
    this.divider = byId("divider");
    new ResizeObserver(() => this.#resized()).observe(this.stage);
    this.#listen();
    this.#listenDivider();
  }

  /** Width and height of the stage in points of the screen. */
  get size() {
    const dots = Math.min(2, window.devicePixelRatio || 1);
    return [Math.round(this.stage.clientWidth * dots), Math.round(this.stage.clientHeight * dots)];
  }

  show(left, right) {
    this.left = left;
    this.right = right;
    this.divider.hidden = !right;
    this.redraw();
  }

  redraw() {
    if (this.#pending) return;
    this.#pending = true;
    requestAnimationFrame(() => {
      this.#pending = false;
      this.#paint();
    });
  }

  #resized() {
    const [width, height] = this.size;
    if (this.canvas.width !== width || this.canvas.height !== height) {
      this.canvas.width = width;
      this.canvas.height = height;
      this.#paint();
      this.zoomed();
    }
  }

  get #frame() {
    return union([this.left, this.right].filter(Boolean).map(({ frame }) => frame));
  }

  /** Screen points per mm, and the mm at the stage's middle. */
  #view() {
    const frame = this.#frame;
    const fit = Math.min(this.canvas.width / (frame[2] - frame[0]), this.canvas.height / (frame[3] - frame[1]));
    const scale = fit * this.zoom;
    const whole = [(frame[0] + frame[2]) / 2, (frame[1] + frame[3]) / 2];
    if (this.zoom === 1 || !this.centre) this.centre = whole;
    // What is shown stays within the frame.
    const clamp = (value, low, high) => (low > high ? (low + high) / 2 : Math.min(high, Math.max(low, value)));
    const half = [this.canvas.width / scale / 2, this.canvas.height / scale / 2];
    this.centre = [0, 1].map((axis) => clamp(this.centre[axis], frame[axis] + half[axis], frame[axis + 2] - half[axis]));
    return { scale, centre: this.centre };
  }

  #paint() {
    const { context: pen, canvas } = this;
    pen.setTransform(1, 0, 0, 1, 0, 0);
    byId("scale").hidden = !this.left;
    if (!this.left) return pen.clearRect(0, 0, canvas.width, canvas.height);
    pen.fillStyle = "#101014";
    pen.fillRect(0, 0, canvas.width, canvas.height);
    const view = this.#view();
    const cut = Math.round(canvas.width * this.split);
    this.#lay(this.left, view, 0, this.right ? cut : canvas.width);
    if (this.right) this.#lay(this.right, view, cut, canvas.width);
    this.#scaleBar(view.scale);
    this.divider.style.left = `${this.split * 100}%`;
    say(byId("zoom-now"), `${Math.round(this.zoom * 100)} %`);
    this.stage.classList.toggle("zoomed", this.zoom > 1);
  }

  /** Draws one picture between two columns of the canvas. */
  #lay({ bitmap, frame }, { scale, centre }, from, to) {
    const { context: pen, canvas } = this;
    const x = (frame[0] - centre[0]) * scale + canvas.width / 2;
    const y = (centre[1] - frame[3]) * scale + canvas.height / 2;
    const width = (frame[2] - frame[0]) * scale;
    const height = (frame[3] - frame[1]) * scale;
    pen.save();
    pen.beginPath();
    pen.rect(from, 0, to - from, canvas.height);
    pen.clip();
    pen.imageSmoothingQuality = "high";
    if (width < canvas.width - 1 || height < canvas.height - 1) this.#beyond(bitmap, x, y, width, height);
    pen.drawImage(bitmap, x, y, width, height);
    pen.restore();
  }

  /** Beyond its frame the cloth goes on, nearly out of the light's reach: the picture's edges stand for it. */
  #beyond(bitmap, x, y, width, height) {
    const { context: pen, canvas } = this;
    const [right, bottom] = [x + width, y + height];
    const [w, h] = [bitmap.width, bitmap.height];
    // Corners first, then the four sides; half a point of overlap hides seams.
    pen.drawImage(bitmap, 0, 0, 1, 1, 0, 0, canvas.width, canvas.height);
    if (x > 0) pen.drawImage(bitmap, 0, 0, 1, h, 0, y, x + 0.5, height);
    if (right < canvas.width) pen.drawImage(bitmap, w - 1, 0, 1, h, right - 0.5, y, canvas.width - right + 0.5, height);
    if (y > 0) pen.drawImage(bitmap, 0, 0, w, 1, x, 0, width, y + 0.5);
    if (bottom < canvas.height) pen.drawImage(bitmap, 0, h - 1, w, 1, x, bottom - 0.5, width, canvas.height - bottom + 0.5);
  }

  /** A bar of a round number of mm. */
  #scaleBar(scale) {
    const dots = this.canvas.width / this.stage.clientWidth;
    const most = (this.stage.clientWidth * BAR_SHARE * dots) / scale;
    const ten = 10 ** Math.floor(Math.log10(most));
    const length = [5, 2, 1].find((lead) => lead * ten <= most) * ten;
    byId("scale-bar").style.width = `${(length * scale) / dots}px`;
    say(byId("scale-words"), `${figure(length)} mm`);
  }

  /** Zooms so that what is at a place of the stage (CSS points) stays there. */
  zoomBy(factor, x = this.stage.clientWidth / 2, y = this.stage.clientHeight / 2) {
    if (!this.left) return;
    const before = this.#at(x, y);
    this.zoom = Math.min(MOST_ZOOM, Math.max(1, this.zoom * factor));
    if (this.zoom < 1.01) this.zoom = 1;
    this.#view();
    const after = this.#at(x, y);
    this.centre = [this.centre[0] + before[0] - after[0], this.centre[1] + before[1] - after[1]];
    this.redraw();
    this.zoomed();
  }

  fit() {
    this.zoom = 1;
    this.centre = null;
    this.redraw();
    this.zoomed();
  }

  #at(x, y) {
    const { scale, centre } = this.#view();
    const dots = this.canvas.width / this.stage.clientWidth;
    return [centre[0] + (x * dots - this.canvas.width / 2) / scale, centre[1] - (y * dots - this.canvas.height / 2) / scale];
  }

  /** Pans by CSS points. */
  #pan(dx, dy) {
    if (!this.left) return;
    const { scale } = this.#view();
    const dots = this.canvas.width / this.stage.clientWidth;
    this.centre = [this.centre[0] - (dx * dots) / scale, this.centre[1] + (dy * dots) / scale];
    this.redraw();
  }

  #listen() {
    const { stage } = this;
    const place = (event) => {
      const box = stage.getBoundingClientRect();
      return [event.clientX - box.left, event.clientY - box.top];
    };
    stage.addEventListener("wheel", (event) => {
      // Where there is nothing to zoom out of, the wheel scrolls the page.
      if (this.zoom === 1 && event.deltaY > 0) return;
      event.preventDefault();
      this.zoomBy(Math.exp(-Math.sign(event.deltaY) * Math.min(0.25, Math.abs(event.deltaY) / 400)), ...place(event));
    }, { passive: false });
    this.canvas.addEventListener("pointerdown", (event) => {
      if (event.button !== 0) return;
      this.#fingers.set(event.pointerId, place(event));
      this.canvas.setPointerCapture(event.pointerId);
    });
    this.canvas.addEventListener("pointermove", (event) => {
      const old = this.#fingers.get(event.pointerId);
      if (!old) return;
      const now = place(event);
      this.#fingers.set(event.pointerId, now);
      if (this.#fingers.size === 1 && this.zoom > 1) this.#pan(now[0] - old[0], now[1] - old[1]);
      if (this.#fingers.size === 2) {
        const [a, b] = [...this.#fingers.values()];
        const span = Math.hypot(a[0] - b[0], a[1] - b[1]);
        if (this.#pinch) this.zoomBy(span / this.#pinch, (a[0] + b[0]) / 2, (a[1] + b[1]) / 2);
        this.#pinch = span;
      }
    });
    const lift = (event) => {
      this.#fingers.delete(event.pointerId);
      this.#pinch = null;
    };
    this.canvas.addEventListener("pointerup", lift);
    this.canvas.addEventListener("pointercancel", lift);
    this.canvas.addEventListener("dblclick", (event) => (this.zoom > 1 ? this.fit() : this.zoomBy(2.5, ...place(event))));
    stage.addEventListener("keydown", (event) => {
      if (event.target !== stage || event.ctrlKey || event.metaKey || event.altKey) return;
      const way = 40;
      const act = {
        "+": () => this.zoomBy(ZOOM_STEP),
        "=": () => this.zoomBy(ZOOM_STEP),
        "-": () => this.zoomBy(1 / ZOOM_STEP),
        0: () => this.fit(),
        ArrowLeft: () => this.#pan(way, 0),
        ArrowRight: () => this.#pan(-way, 0),
        ArrowUp: () => this.#pan(0, way),
        ArrowDown: () => this.#pan(0, -way),
      }[event.key];
      if (!act || (event.key.startsWith("Arrow") && this.zoom === 1)) return;
      event.preventDefault();
      act();
    });
    byId("zoom-in").addEventListener("click", () => this.zoomBy(ZOOM_STEP ** 2));
    byId("zoom-out").addEventListener("click", () => this.zoomBy(ZOOM_STEP ** -2));
    byId("zoom-fit").addEventListener("click", () => this.fit());
  }

  #listenDivider() {
    const { divider, stage } = this;
    const move = (split) => {
      this.split = Math.min(1, Math.max(0, split));
      put(divider, "aria-valuenow", Math.round(this.split * 100));
      this.redraw();
    };
    divider.addEventListener("pointerdown", (event) => {
      event.preventDefault();
      divider.focus();
      divider.setPointerCapture(event.pointerId);
    });
    divider.addEventListener("pointermove", (event) => {
      if (!divider.hasPointerCapture(event.pointerId)) return;
      const box = stage.getBoundingClientRect();
      move((event.clientX - box.left) / box.width);
    });
    divider.addEventListener("keydown", (event) => {
      const to = { ArrowLeft: this.split - 0.02, ArrowRight: this.split + 0.02, PageDown: this.split - 0.1, PageUp: this.split + 0.1, Home: 0, End: 1 }[event.key];
      if (to === undefined) return;
      event.preventDefault();
      move(to);
    });
    move(this.split);
  }
}

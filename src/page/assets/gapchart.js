// The stand-off curve: dot visibility over the gap below the first cloth, with a marker that moves the cloth.

import { byId, draw, make, put, say } from "./dom.js";
import { figure, lookOf, withUnit } from "./words.js";

/** The drawing's own points. Narrow enough for a telephone, where it is drawn at its own size. */
const [WIDTH, HEIGHT] = [460, 290];
const PLOT = { left: 50, right: 446, top: 26, bottom: 238 };
/** Dot visibilities beyond these all look alike. */
const [LEAST, MOST] = [0.1, 1000];
/** Steps of the marker in mm: an arrow key, with Shift, and a page key. */
const STEP_MM = 0.5;
const FINE_MM = 0.1;
const PAGE_MM = 5;
/** That the curve is being computed is told when it lasts so long, in ms. */
const TELL_AFTER_MS = 700;

const y = (visibility) => {
  const share = Math.log10(Math.min(MOST, Math.max(LEAST, visibility)) / LEAST) / Math.log10(MOST / LEAST);
  return PLOT.bottom - share * (PLOT.bottom - PLOT.top);
};
const n = (value) => String(Number(value.toFixed(2)));

export class GapChart {
  #chart = null;
  #dragging = false;

  /** `moved(gapMm)` is called while the marker moves. */
  constructor(live, scene, moved) {
    Object.assign(this, { live, scene, moved });
    this.holder = byId("gap-chart");
    this.#frame();
    live.addEventListener("chart", () => this.show(live.chart));
    live.addEventListener("cleared", () => this.clear());
    live.addEventListener("charting", () => this.#charting());
    live.addEventListener("fault", ({ kind }) => kind === "gap-chart" && this.#done(""));
    scene.addEventListener("change", () => this.#present());
  }

  /** What does not change: frame, thresholds, words. */
  #frame() {
    const text = (x, at, words, anchor = "end", kind = "tick") => draw("text", { x, y: at, "text-anchor": anchor, class: kind }, words);
    const level = (value) => draw("line", { x1: PLOT.left, x2: PLOT.right, y1: n(y(value)), y2: n(y(value)), class: "threshold" });
    const zone = (from, to, kind) => draw("rect", { x: PLOT.left, width: PLOT.right - PLOT.left, y: n(y(to)), height: n(y(from) - y(to)), class: `zone ${kind}` });
    this.ticks = draw("g");
    this.range = draw("path", { class: "range" });
    this.line = draw("path", { class: "curve" });
    this.vanish = draw("g", { class: "vanish" });
    this.handle = draw("circle", { r: 8, class: "handle" });
    this.value = draw("text", { "text-anchor": "middle", class: "now" });
    this.marker = draw("g", {
      class: "marker",
      role: "slider",
      tabindex: 0,
      id: "gap-marker",
      "data-test": "gap-marker",
      "aria-label": "Gap below the first cloth",
      "aria-orientation": "horizontal",
    }, draw("line", { y1: PLOT.top - 6, y2: PLOT.bottom }), this.handle, this.value);
    this.svg = draw("svg", { viewBox: `0 0 ${WIDTH} ${HEIGHT}`, role: "group", "aria-label": "Dot visibility over the gap" },
      zone(10, MOST, "hard"), zone(3, 10, "show"), zone(1, 3, "soft"), zone(LEAST, 1, "none"),
      level(10), level(3), level(1), this.ticks,
      [0.1, 1, 3, 10, 100, 1000].map((value) => text(PLOT.left - 7, y(value) + 4, figure(value))),
      text(PLOT.right - 6, y(10) - 5, "hard dots", "end", "zone-word"), text(PLOT.right - 6, y(3) - 6, "dots show", "end", "zone-word"),
      text(PLOT.right - 6, y(1) - 6, "soft", "end", "zone-word"), text(PLOT.right - 6, y(1) + 15, "no dots", "end", "zone-word"),
      this.range, this.line, this.vanish,
      draw("rect", { x: PLOT.left, y: PLOT.top, width: PLOT.right - PLOT.left, height: PLOT.bottom - PLOT.top, class: "frame" }),
      text((PLOT.left + PLOT.right) / 2, HEIGHT - 8, "gap between the pixels and the first cloth (mm)", "middle", "axis"),
      this.marker);
    this.words = make("ul.chart-words");
    this.state = make("p.quiet", { role: "status" });
    this.holder.append(this.svg, this.state, this.words);
    this.#listen();
  }

  /** Nothing is known yet. */
  clear() {
    this.#chart = null;
    this.holder.classList.add("empty");
    put(this.line, "d", null);
    put(this.range, "d", null);
    this.vanish.replaceChildren();
    this.words.replaceChildren();
  }

  /** Another curve is on its way: it is slow for large garments, and the old one holds no more. */
  #charting() {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => {
      this.holder.classList.add("old-curve");
      say(this.state, "The curve is being computed …");
    }, TELL_AFTER_MS);
  }
  #done(words) {
    clearTimeout(this.timer);
    say(this.state, words);
  }

  show(chart) {
    this.#chart = chart;
    this.#done("");
    this.holder.classList.remove("old-curve");
    this.holder.classList.remove("empty");
    const points = chart.gaps_mm.map((gap, i) => `${n(this.#x(gap))} ${n(y(chart.visibility[i]))}`);
    put(this.line, "d", `M${points.join("L")}`);
    if (chart.low && chart.high) {
      const edge = (values) => chart.gaps_mm.map((gap, i) => `${n(this.#x(gap))} ${n(y(values[i]))}`);
      put(this.range, "d", `M${edge(chart.high).join("L")}L${edge(chart.low).reverse().join("L")}Z`);
    } else put(this.range, "d", null);
    const { least_mm: least, most_mm: most } = chart;
    const step = [1, 2, 5, 10, 20, 50, 100].find((size) => (most - least) / size <= 8) ?? 100;
    const ticks = [];
    for (let gap = Math.ceil(least / step) * step; gap <= most + 1e-9; gap += step) {
      const at = n(this.#x(gap));
      ticks.push(draw("line", { x1: at, x2: at, y1: PLOT.top, y2: PLOT.bottom, class: "grid" }), draw("text", { x: at, y: PLOT.bottom + 17, "text-anchor": "middle", class: "tick" }, figure(gap)));
    }
    this.ticks.replaceChildren(...ticks);
    this.vanish.replaceChildren();
    if (chart.vanish_mm !== null) {
      const at = this.#x(chart.vanish_mm);
      this.vanish.append(draw("path", { d: `M${n(at)} ${n(y(1) - 6.5)}l6 10.5h-12Z` }), draw("title", {}, `dots vanish from ${figure(chart.vanish_mm, 3)} mm on`));
    }
    this.words.replaceChildren(...chart.words.map((words) => make("li", {}, words)));
    if (this.scene.now.model?.uneven) this.words.append(make("li", {}, "The stand-off is uneven: the gap is the one that stands at the first layer."));
    this.#present();
  }

  #x(gap) {
    const { least_mm: least, most_mm: most } = this.#chart;
    return PLOT.left + ((Math.min(most, Math.max(least, gap)) - least) / (most - least)) * (PLOT.right - PLOT.left);
  }

  /** The gap of the scene as it is. */
  get gap() {
    const field = this.scene.now.model?.layers[0]?.fields.find(({ key }) => key === "gap_mm");
    return typeof field?.value === "number" ? field.value : null;
  }

  #present() {
    const none = this.gap === null;
    this.holder.hidden = none;
    byId("no-gap").hidden = !(none && this.scene.now.model?.layers.length === 0);
    if (!none && !this.#dragging) this.#mark(this.gap);
  }

  #mark(gap) {
    if (!this.#chart) return;
    const { gaps_mm: gaps, visibility, least_mm: least, most_mm: most } = this.#chart;
    const at = this.#x(gap);
    const i = gaps.findIndex((value) => value >= gap);
    let seen = visibility[i < 0 ? gaps.length - 1 : Math.max(0, i)];
    if (i > 0) {
      const share = (gap - gaps[i - 1]) / (gaps[i] - gaps[i - 1]);
      seen = Math.exp(Math.log(visibility[i - 1]) * (1 - share) + Math.log(visibility[i]) * share);
    }
    put(this.marker, "transform", `translate(${n(at)} 0)`);
    put(this.handle, "cy", n(y(seen)));
    put(this.value, "y", PLOT.top - 11);
    put(this.value, "x", n(Math.max(PLOT.left - at + 20, Math.min(PLOT.right - at - 20, 0))));
    say(this.value, withUnit(gap, "mm"));
    put(this.marker, "aria-valuemin", least);
    put(this.marker, "aria-valuemax", most);
    put(this.marker, "aria-valuenow", figure(gap));
    put(this.marker, "aria-valuetext", `${figure(gap)} mm: ${lookOf(seen).word}, dot visibility ${figure(seen, 2)}`);
  }

  #move(gap) {
    const { least_mm: least, most_mm: most } = this.#chart;
    const rounded = Number(Math.min(most, Math.max(least, gap)).toFixed(1));
    this.#mark(rounded);
    this.moved(rounded);
  }

  #listen() {
    const { svg, marker } = this;
    const gapAt = (event) => {
      const box = svg.getBoundingClientRect();
      const x = ((event.clientX - box.left) / box.width) * WIDTH;
      const { least_mm: least, most_mm: most } = this.#chart;
      const gap = least + ((x - PLOT.left) / (PLOT.right - PLOT.left)) * (most - least);
      return Math.round(gap / FINE_MM / 2) * FINE_MM * 2;
    };
    // Anywhere in the plot will do: a finger need not hit the line.
    svg.addEventListener("pointerdown", (event) => {
      if (!this.#chart || event.button !== 0) return;
      event.preventDefault();
      this.#dragging = true;
      svg.setPointerCapture(event.pointerId);
      marker.focus({ preventScroll: true });
      this.#move(gapAt(event));
    });
    svg.addEventListener("pointermove", (event) => this.#dragging && this.#move(gapAt(event)));
    const end = () => (this.#dragging = false);
    svg.addEventListener("pointerup", end);
    svg.addEventListener("pointercancel", end);
    marker.addEventListener("keydown", (event) => {
      if (!this.#chart || event.ctrlKey || event.metaKey || event.altKey) return;
      const step = event.shiftKey ? FINE_MM : STEP_MM;
      const now = Number(marker.getAttribute("aria-valuenow"));
      const to = {
        ArrowRight: now + step, ArrowUp: now + step, ArrowLeft: now - step, ArrowDown: now - step,
        PageUp: now + PAGE_MM, PageDown: now - PAGE_MM, Home: this.#chart.least_mm, End: this.#chart.most_mm,
      }[event.key];
      if (to === undefined) return;
      event.preventDefault();
      this.#move(to);
    });
  }
}

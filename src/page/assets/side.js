// The stack from the side, to scale: board, pixels, the light that they send up, the air, the cloths. The first cloth can be
// dragged here as well; for the keyboard there is the gap's own slider.

import { byId, draw, put, say } from "./dom.js";
import { figure, withUnit } from "./words.js";

const [WIDTH, HEIGHT] = [320, 132];
const FLOOR = 112;
/** Room above the stack, for the outermost cloth's edge and its words. */
const HEAD = 14;
/** Heights in mm that the drawing shows: it changes its scale only from one to the next, not at every movement. */
const HEIGHTS_MM = [6, 12, 20, 35, 60, 100, 180, 320, 600, 1200];
/** Body of a pixel, seen from the side: width by height in mm, about that of the common packages. */
const BODY_MM = { 5050: [5, 1.6], 3535: [3.5, 1.5], 2020: [2, 0.9] };
/** Pixels are drawn so far apart where no pitch is known. */
const LONE_MM = 20;
const n = (value) => String(Number(value.toFixed(2)));

export class SideView {
  #mmPerPoint = 0.2;
  #drag = null;

  constructor(scene, moved) {
    this.scene = scene;
    this.moved = moved;
    this.light = draw("g", { class: "cones" });
    this.parts = draw("g");
    this.svg = draw("svg", { viewBox: `0 0 ${WIDTH} ${HEIGHT}`, role: "img" },
      draw("defs", {}, draw("linearGradient", { id: "cone", x1: 0, y1: 1, x2: 0, y2: 0 }, draw("stop", { offset: 0, class: "near" }), draw("stop", { offset: 1, class: "far" }))),
      this.light, this.parts);
    byId("side-view").append(this.svg);
    scene.addEventListener("change", () => this.show());
    this.#listen();
  }

  show() {
    const { model } = this.scene.now;
    if (!model) return;
    // What cannot be read, in a file with faults, takes no room.
    const length = (value) => (typeof value === "number" && value > 0 ? value : 0);
    const gapOf = (layer) => length(layer.fields.find(({ key }) => key === "gap_mm")?.value);
    const layers = model.layers.map((layer) => ({ ...layer, gap: gapOf(layer), thickness_mm: length(layer.thickness_mm) }));
    const height = layers.reduce((sum, layer) => sum + layer.gap + layer.thickness_mm, 0);
    const group = model.groups[0];
    const fieldOf = (key) => group?.fields.find((field) => field.key === key)?.value;
    const [bodyWide, bodyHigh] = BODY_MM[String(fieldOf("package") ?? "5050").slice(0, 4)] ?? BODY_MM[5050];
    const ring = fieldOf("diameter_mm");
    const around = ring ? ring * Math.sin(Math.PI / Math.max(2, fieldOf("count") ?? 2)) : 0;
    const pitch = length(fieldOf("pitch_mm")) || length(around) || LONE_MM;
    const shown = HEIGHTS_MM.find((limit) => limit >= height * 1.05) ?? height * 1.1;
    if (!this.#drag) this.#mmPerPoint = shown / (FLOOR - HEAD);
    const scale = 1 / this.#mmPerPoint;

    const parts = [draw("rect", { x: 0, y: FLOOR, width: WIDTH, height: 6, class: "board" })];
    const cones = [];
    const reach = (layers.length ? layers[0].gap : shown) * scale;
    const many = Math.ceil(WIDTH / 2 / Math.max(2, pitch * scale));
    for (let i = -Math.min(many, 60); i <= Math.min(many, 60); i += 1) {
      const x = WIDTH / 2 + i * pitch * scale;
      // A viewing angle of 120 degrees: at 60 degrees from the normal the light is half as strong.
      const spread = reach * Math.tan(Math.PI / 3);
      const half = (bodyWide / 2) * scale;
      if (reach > 0.5) cones.push(draw("path", { d: `M${n(x - half)} ${FLOOR}L${n(x - half - spread)} ${n(FLOOR - reach)}H${n(x + half + spread)}L${n(x + half)} ${FLOOR}Z` }));
      const tall = Math.min(bodyHigh * scale, Math.max(2, reach));
      parts.push(draw("rect", { x: n(x - half), y: n(FLOOR - tall), width: n(Math.max(1.2, 2 * half)), height: n(tall), rx: 1, class: "pixel" }));
    }
    let top = FLOOR;
    layers.forEach((layer, i) => {
      const below = top;
      top -= layer.gap * scale;
      const thick = Math.max(1.5, layer.thickness_mm * scale);
      parts.push(draw("rect", { x: 0, y: n(top - thick), width: WIDTH, height: n(thick), class: `cloth c${i % 3}${i === 0 ? " first" : ""}` }));
      if (layer.gap * scale > 13) {
        parts.push(draw("line", { x1: 10, x2: 10, y1: n(below - 1), y2: n(top + 1), class: "measure" }), draw("text", { x: 16, y: n((below + top) / 2 + 4), class: "measure-word" }, withUnit(layer.gap, "mm")));
      }
      top -= layer.thickness_mm * scale;
    });
    this.light.replaceChildren(...cones);
    this.parts.replaceChildren(...parts);
    const words = layers.map((layer) => `${figure(layer.gap)} mm of air, ${layer.title ?? "cloth"}`).join("; ");
    put(this.svg, "aria-label", `From the side, to scale: pixels ${figure(pitch, 3)} mm apart; ${words || "no cloth"}.`);
    say(byId("side-words"), layers.length ? `From the side, to scale. ${withUnit(height, "mm")} in all.` : "From the side, to scale. Bare pixels.");
    this.svg.classList.toggle("movable", layers.length > 0);
  }

  #listen() {
    const { svg } = this;
    svg.addEventListener("pointerdown", (event) => {
      const gap = this.scene.now.model?.layers[0]?.fields.find(({ key }) => key === "gap_mm")?.value;
      if (typeof gap !== "number" || event.button !== 0) return;
      event.preventDefault();
      this.#drag = { from: event.clientY, gap };
      svg.setPointerCapture(event.pointerId);
    });
    svg.addEventListener("pointermove", (event) => {
      if (!this.#drag) return;
      const perPoint = (this.#mmPerPoint * HEIGHT) / svg.getBoundingClientRect().height;
      const gap = this.#drag.gap + (this.#drag.from - event.clientY) * perPoint;
      this.moved(Math.max(0, Math.min(500, Math.round(gap * 5) / 5)));
    });
    const end = () => {
      if (!this.#drag) return;
      this.#drag = null;
      this.show();
    };
    svg.addEventListener("pointerup", end);
    svg.addEventListener("pointercancel", end);
  }
}

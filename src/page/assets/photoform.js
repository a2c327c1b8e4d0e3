// The form for photographs of own cloth: what each shows, at which stand-off, and the two ends of a known length.

import { byId, make, put, say } from "./dom.js";
import { typedNumber } from "./words.js";

/** All photographs of one cloth together: the bodies of calls are bounded. */
const MOST_BYTES = 80 * 1024 * 1024;
/** What a photograph shows; the one of the ruler is looked at here and goes nowhere. */
const SHOWS = { white: "pixel behind the cloth, white", red: "… lit red alone", green: "… lit green alone", blue: "… lit blue alone", bare: "bare pixel, no cloth", ruler: "ruler, for the scale" };
/** Side of what a loupe shows in image pixels. A place counts from the middle of the upper left pixel. */
const LOUPE_PX = 40;

const number = (id) => typedNumber(byId(id).value);

async function base64(file) {
  const bytes = new Uint8Array(await file.arrayBuffer());
  let text = "";
  for (let at = 0; at < bytes.length; at += 0x8000) text += String.fromCharCode(...bytes.subarray(at, at + 0x8000));
  return btoa(text);
}

/** `1/60` or `0.0167`, as cameras write it; null where nothing is given. */
export function exposureTime(text) {
  const parts = text.trim().replace(/\s*s$/, "").split("/").map(typedNumber);
  if (text.trim() === "") return null;
  if (parts.includes(null) || parts.length > 2 || parts[1] === 0) throw new Error(`\`${text}\` is no exposure time. Allowed: seconds, such as 1/60 or 0.0167.`);
  return parts.length === 2 ? parts[0] / parts[1] : parts[0];
}

/** A first guess from the name of a file; it stands in the form to be changed. */
const guess = (name) => (/ruler|scale/i.test(name) ? "ruler" : /bare/i.test(name) ? "bare" : "white");

export class PhotoForm {
  #photos = [];
  /** Ends of the scale in pixels of the picture in which they are marked. */
  #ends = [];
  #image = null;
  #shown = null;

  constructor(packages) {
    byId("photo-package").replaceChildren(...packages.map(({ name }) => make("option", { value: name, selected: name === "5050" }, name)));
    byId("photo-files").addEventListener("change", (event) => this.#chosen([...event.target.files]));
    byId("photo-scale").addEventListener("click", (event) => this.#clicked(event));
    for (const i of [0, 1]) {
      byId(`scale-loupe-${i}`).addEventListener("keydown", (event) => this.#nudged(event, i));
      byId(`scale-loupe-${i}`).addEventListener("click", (event) => this.#pressed(event, i));
    }
    for (const id of ["x0", "y0", "x1", "y1"]) byId(`scale-${id}`).addEventListener("input", () => this.#typedEnds());
  }

  /** What the form asks for; throws what is missing. */
  async question() {
    if (this.#photos.length === 0) throw new Error("Choose at least one photograph.");
    const behind = this.#photos.find(({ shows }) => !["bare", "ruler"].includes(shows.value));
    if (!behind) throw new Error("None of the photographs is said to show the lit pixel behind the cloth.");
    if (this.#ends.length < 2) throw new Error(`Mark the two ends of a known length in ${this.#shown?.file.name ?? "the photograph"}.`);
    if (number("scale-mm") === null) throw new Error("Say how far apart the two ends are.");
    await this.#sameSize(behind);
    const photos = [];
    for (const { file, shows, gap, time } of this.#photos.filter((photo) => photo.shows.value !== "ruler")) {
      const stand_off_mm = typedNumber(gap.value);
      if (shows.value !== "bare" && stand_off_mm === null) throw new Error(`${file.name}: the stand-off is missing.`);
      photos.push({ name: file.name, base64: await base64(file), shows: shows.value, stand_off_mm, exposure_s: exposureTime(time.value) });
    }
    return {
      title: byId("photo-title").value.trim(),
      thickness_mm: number("photo-thickness"),
      package: byId("photo-package").value,
      board_reflectance: Number(byId("photo-board").value),
      linear: byId("photo-linear").checked,
      photos,
      scale_mm: number("scale-mm"),
      scale_from: this.#ends.flat(),
    };
  }

  /** A scale marked in one picture holds in another only if both were taken alike. */
  async #sameSize(behind) {
    if (behind === this.#shown || !this.#image) return;
    const other = await createImageBitmap(behind.file).catch(() => null);
    const same = !other || (other.width === this.#image.width && other.height === this.#image.height);
    other?.close();
    if (!same) throw new Error(`${this.#shown.file.name} and ${behind.file.name} differ in size: photograph the ruler from the same place with the same camera.`);
  }

  async #chosen(files) {
    const bytes = files.reduce((sum, { size }) => sum + size, 0);
    const fault = byId("photo-fault");
    fault.hidden = bytes <= MOST_BYTES;
    say(fault, bytes > MOST_BYTES ? "These photographs are larger than 80 MB together: choose fewer, or smaller ones." : "");
    if (bytes > MOST_BYTES) return;
    const before = this.#photos;
    this.#photos = files.map((file) => before.find((old) => old.file.name === file.name && old.file.size === file.size) ?? this.#row(file));
    byId("photo-rows").replaceChildren(...this.#photos.map(({ row }) => row));
    byId("photo-table").hidden = files.length === 0;
    byId("photo-scale-part").hidden = files.length === 0;
    await this.#look();
  }

  #row(file) {
    const shows = make("select", { "aria-label": `What ${file.name} shows` }, Object.entries(SHOWS).map(([value, words]) => make("option", { value, selected: value === guess(file.name) }, words)));
    const gap = make("input.box", { type: "text", inputmode: "decimal", "aria-label": `Stand-off of ${file.name} in mm` });
    const time = make("input.box", { type: "text", inputmode: "text", placeholder: "1/60", "aria-label": `Exposure time of ${file.name} in s, if the file does not tell it` });
    const cell = (label, input, unit) => make("td", { "data-label": label }, input, unit && make("span.unit", {}, ` ${unit}`));
    const [gapCell, timeCell] = [cell("stand-off", gap, "mm"), cell("exposure time", time, "s")];
    const row = make("tr", {}, make("th", { scope: "row" }, file.name), cell("shows", shows), gapCell, timeCell);
    const asks = () => {
      gap.required = !["bare", "ruler"].includes(shows.value);
      gapCell.classList.toggle("none", !gap.required);
      gap.disabled = !gap.required;
      timeCell.classList.toggle("none", shows.value === "ruler");
      time.disabled = shows.value === "ruler";
    };
    shows.addEventListener("change", () => {
      asks();
      this.#look();
    });
    asks();
    return { file, shows, gap, time, row };
  }

  /** The picture in which the scale is marked: the ruler, where there is one, or the first. */
  async #look() {
    const wanted = this.#photos.find(({ shows }) => shows.value === "ruler") ?? this.#photos.find(({ shows }) => shows.value !== "bare") ?? this.#photos[0] ?? null;
    if (wanted === this.#shown) return;
    this.#shown = wanted;
    this.#ends = [];
    for (const id of ["x0", "y0", "x1", "y1"]) byId(`scale-${id}`).value = "";
    const image = wanted ? await createImageBitmap(wanted.file).catch(() => null) : null;
    if (wanted !== this.#shown) return image?.close();
    this.#image?.close();
    this.#image = image;
    this.#paint();
  }

  #clicked(event) {
    if (!this.#image) return;
    const box = byId("photo-scale").getBoundingClientRect();
    const at = [((event.clientX - box.left) / box.width) * this.#image.width, ((event.clientY - box.top) / box.height) * this.#image.height].map(Math.floor);
    this.#set(this.#ends.length >= 2 ? [at] : [...this.#ends, at]);
  }

  #nudged(event, i) {
    const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (!step || !this.#ends[i]) return;
    event.preventDefault();
    const far = event.shiftKey ? 10 : 1;
    this.#move(i, step.map((way) => far * way));
  }

  /** The place in a loupe becomes its end. */
  #pressed(event, i) {
    const box = event.target.getBoundingClientRect();
    const way = (at, from, size) => Math.round((LOUPE_PX * (at - from)) / size - LOUPE_PX / 2);
    this.#move(i, [way(event.clientX, box.left, box.width), way(event.clientY, box.top, box.height)]);
  }

  #move(i, by) {
    this.#set(this.#ends.map((end, j) => (j === i ? end.map((value, axis) => Math.max(0, value + by[axis])) : end)));
  }

  #set(ends) {
    this.#ends = ends;
    for (const i of [0, 1]) ["x", "y"].forEach((axis, j) => (byId(`scale-${axis}${i}`).value = ends[i]?.[j] ?? ""));
    this.#paint();
  }

  #typedEnds() {
    const values = ["x0", "y0", "x1", "y1"].map((id) => number(`scale-${id}`));
    this.#ends = [values.slice(0, 2), values.slice(2)].filter((end) => !end.includes(null));
    this.#paint();
  }

  #paint() {
    const canvas = byId("photo-scale");
    const image = this.#image;
    canvas.hidden = !image;
    const name = this.#shown?.file.name ?? "";
    const words = [`Press one end of a known length in ${name}, such as a mark of the ruler.`, "Now its other end.", "Put each end right in its enlarged picture: press its place there, or use the arrow keys. Press the photograph to mark anew."];
    say(byId("photo-scale-words"), image ? words[this.#ends.length] : `The browser cannot show ${name}: type the places of the two ends.`);
    for (const i of [0, 1]) this.#loupe(byId(`scale-loupe-${i}`), this.#ends[i]);
    if (!image) return;
    const fit = Math.min(1, 900 / image.width);
    canvas.width = Math.round(image.width * fit);
    canvas.height = Math.round(image.height * fit);
    put(canvas, "aria-label", `${name}: press the two ends of a known length, or type their places below`);
    const pen = canvas.getContext("2d");
    pen.drawImage(image, 0, 0, canvas.width, canvas.height);
    const ends = this.#ends.map((end) => end.map((value) => (value + 0.5) * fit));
    twice(pen, () => {
      for (const end of ends) cross(pen, end, 12);
      if (ends.length === 2) {
        pen.moveTo(...ends[0]);
        pen.lineTo(...ends[1]);
      }
    });
  }

  #loupe(canvas, end) {
    canvas.hidden = !end || !this.#image;
    if (canvas.hidden) return;
    const pen = canvas.getContext("2d");
    pen.imageSmoothingEnabled = false;
    pen.fillRect(0, 0, canvas.width, canvas.height);
    pen.drawImage(this.#image, end[0] + 0.5 - LOUPE_PX / 2, end[1] + 0.5 - LOUPE_PX / 2, LOUPE_PX, LOUPE_PX, 0, 0, canvas.width, canvas.height);
    twice(pen, () => cross(pen, [canvas.width / 2, canvas.height / 2], canvas.width / 5));
  }
}

/** Lines that show on dark and on bright ground. */
function twice(pen, lines) {
  pen.lineWidth = 2;
  for (const colour of ["#000", "#fff"]) {
    pen.strokeStyle = colour;
    pen.setLineDash(colour === "#fff" ? [5, 5] : []);
    pen.beginPath();
    lines();
    pen.stroke();
  }
}

function cross(pen, [x, y], arm) {
  pen.moveTo(x - arm, y);
  pen.lineTo(x + arm, y);
  pen.moveTo(x, y - arm);
  pen.lineTo(x, y + arm);
}

// The files that a scene names: drawings, lists, cloth files, pictures and photographs. They are read in the browser and sent to the
// program on this machine under the path by which the scene names them; nothing is opened by that path.

import { api, beside, Gone } from "./api.js";
import { byId, keepAsFile, make, say } from "./dom.js";
import { faultWords } from "./fields.js";

/** Larger files are told to be too large before they are read. */
const MOST_BYTES = 40 * 1024 * 1024;
const baseName = (path) => path.split("/").at(-1);

/** A file as the program takes it. */
async function asQuestion(file) {
  if (file.size > MOST_BYTES) throw new Error(`${file.name} is larger than 40 MB.`);
  const bytes = new Uint8Array(await file.arrayBuffer());
  if (/\.(ya?ml|svg|csv)$/i.test(file.name)) return { text: new TextDecoder().decode(bytes) };
  let binary = "";
  for (let at = 0; at < bytes.length; at += 0x8000) binary += String.fromCharCode(...bytes.subarray(at, at + 0x8000));
  return { base64: btoa(binary) };
}

/** Which of several files is the scene: the YAML file that has pixels. */
export async function sceneAmong(files) {
  const yaml = files.filter(({ name }) => /\.ya?ml$/i.test(name));
  for (const file of yaml) {
    if (file.size < 4 * 1024 * 1024 && /^["']?pixels["']?\s*:/m.test(await file.text())) return file;
  }
  return yaml[0] ?? (files.length === 1 ? files[0] : null);
}

export class Beside {
  /** Files that were brought, by path: sent again when the program was started anew. */
  #brought = new Map();

  constructor(scene, tell) {
    Object.assign(this, { scene, tell });
    const input = byId("beside-file");
    byId("beside-choose").addEventListener("click", () => input.click());
    input.addEventListener("change", async () => {
      const files = [...input.files];
      input.value = "";
      await this.add(files);
      byId("beside-choose").focus();
    });
    scene.addEventListener("change", () => this.show());
  }

  /** Another scene is opened: its files are its own. What is returned takes that back. */
  begin(demo) {
    const [before, brought] = [{ ...beside }, this.#brought];
    Object.assign(beside, { files: crypto.randomUUID(), demo });
    this.#brought = new Map();
    byId("beside-fault").hidden = true;
    return () => {
      Object.assign(beside, before);
      this.#brought = brought;
    };
  }

  /** Brings those files that a scene names; words for those that it does not, or that cannot be read. */
  async bring(files, named) {
    const words = [];
    for (const file of files) {
      const paths = named.filter(({ path }) => baseName(path).toLowerCase() === file.name.toLowerCase());
      if (paths.length === 0) {
        const asks = named.length ? `It names ${named.map(({ path }) => path).join(", ")}.` : "It names no files.";
        words.push(`${file.name}: the scene does not name it. ${asks}`);
      }
      for (const { path } of paths) {
        try {
          const question = { path, ...(await asQuestion(file)) };
          await api.bring(question);
          this.#brought.set(path, question);
        } catch (fault) {
          words.push(`${file.name}: ${(fault.problems ?? []).map(faultWords).join(" ") || (fault instanceof Gone ? "the program does not answer." : fault.message)}`);
        }
      }
    }
    return words;
  }

  /** Files chosen or dropped beside the scene that is open. */
  async add(files) {
    if (files.length === 0) return;
    // A demo with files of one's own is a scene like any other.
    if (beside.demo) {
      const demo = this.scene.now.files.filter(({ path }) => !files.some(({ name }) => name.toLowerCase() === baseName(path).toLowerCase()));
      const kept = await Promise.all(demo.filter(({ here }) => here).map(async ({ path }) => new File([(await api.download("", "file", { path })).blob], baseName(path))));
      beside.demo = null;
      files = [...kept, ...files];
    }
    const words = await this.bring(files, this.scene.now.files);
    say(byId("beside-fault"), words.join(" "));
    byId("beside-fault").hidden = words.length === 0;
    this.tell(words.length ? words.join(" ") : `Here now: ${files.map(({ name }) => name).join(", ")}`);
    this.scene.again();
  }

  /** Sends all again: the program was stopped and started. */
  async bringAgain() {
    for (const question of this.#brought.values()) await api.bring(question);
  }

  show() {
    const { files } = this.scene.now;
    byId("beside").hidden = files.length === 0;
    const photo = files.find(({ kind }) => kind === "photograph");
    const button = document.querySelector("[data-download=on-photo]");
    button.hidden = !photo;
    button.disabled = !photo?.here;
    say(button.querySelector("span"), photo?.here ? `PNG, the glow on ${baseName(photo.path)}` : "choose the photograph first, under the scene's files");
    const text = JSON.stringify([files, beside.demo]);
    if (this.text === text) return;
    this.text = text;
    const missing = files.filter(({ here }) => !here);
    byId("beside").classList.toggle("missing-some", missing.length > 0);
    say(byId("beside-words"), missing.length
      ? "Files that are missing must be chosen here; they can also be dropped on the page."
      : `A saved scene needs ${files.length === 1 ? "this file" : "these files"} beside it: keep ${files.length === 1 ? "it" : "them"} in the same folder, under the paths that the scene names.`);
    const item = ({ path, kind, here }) => {
      const take = here && beside.demo && kind !== "cloth" && make("button.quiet", { type: "button", "data-test": `take-${path}`, onclick: () => this.#take(path), "aria-label": `Download ${path}` }, "Download");
      return make("li", { "data-test": `beside-${path}` }, make("span.path", {}, path), make("span.quiet", {}, kind), make(here ? "span.here" : "span.missing", {}, here ? "✓ here" : "✗ missing"), take);
    };
    byId("beside-list").replaceChildren(...files.map(item));
  }

  async #take(path) {
    try {
      const { blob } = await api.download("", "file", { path });
      keepAsFile(blob, baseName(path));
      this.tell(`Downloaded: ${path}`);
    } catch (fault) {
      this.tell((fault.problems ?? []).map(faultWords).join(" ") || fault.message);
    }
  }
}

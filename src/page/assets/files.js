// Saving and loading the scene file, and what can be downloaded.

import { api, Gone } from "./api.js";
import { byId, keepAsFile, make, put, say } from "./dom.js";
import { faultWords } from "./fields.js";
import { fileStem } from "./words.js";

/** A scene is text; what is larger is something else, chosen by mistake. */
const MOST_BYTES = 4 * 1024 * 1024;

/** Text of a file that somebody chose or dropped. Throws an `Error` with words for the maker. */
export async function textOf(file) {
  if (file.size > MOST_BYTES) throw new Error(`${file.name} is larger than a scene can be (4 MB). A scene is a short text file that ends in .yaml.`);
  try {
    return new TextDecoder("utf-8", { fatal: true, ignoreBOM: true }).decode(await file.arrayBuffer());
  } catch {
    throw new Error(`${file.name} is not a text file. A scene is a short text file that ends in .yaml.`);
  }
}

export class Files {
  constructor(scene, tell) {
    Object.assign(this, { scene, tell });
    byId("save").addEventListener("click", () => this.save());
    for (const button of document.querySelectorAll("[data-download]")) button.addEventListener("click", () => this.download(button));
    // Whoever closes the tab with unsaved changes is asked by the browser.
    window.addEventListener("beforeunload", (event) => scene.changed && event.preventDefault());
    scene.addEventListener("change", () => this.show());
  }

  show() {
    const { scene } = this;
    byId("unsaved").hidden = !scene.changed;
    document.title = `${scene.changed ? "• " : ""}${scene.now.model?.name ?? "Scene"} – Weftlight`;
  }

  save() {
    const { scene } = this;
    keepAsFile(new Blob([scene.now.text], { type: "application/yaml" }), scene.name);
    scene.wasSaved();
    const named = scene.now.files.map(({ path }) => path).join(", ");
    this.tell(`Saved as ${scene.name}${named ? `; it needs beside it: ${named}` : ""}`);
  }

  async download(button) {
    const words = byId("download-words");
    if (button.getAttribute("aria-busy")) return;
    put(button, "aria-busy", "true");
    say(words, `Making: ${button.firstChild.textContent.trim()} …`);
    try {
      const { blob, name } = await api.download(this.scene.now.text, button.dataset.download);
      keepAsFile(blob, name);
      say(words, `Made: ${name}`);
    } catch (fault) {
      say(words, fault instanceof Gone ? "The program does not answer." : (fault.problems ?? []).map(faultWords).join(" ") || "It could not be made.");
    }
    put(button, "aria-busy", null);
  }

  /**
   * Whether another scene may take the place of this one: asks where changes would be lost.
   */
  async mayLeave() {
    const { scene } = this;
    if (!scene.changed || scene.now.text === "") return true;
    const dialog = byId("leave");
    say(byId("leave-words"), `The changes to ${scene.now.model?.name ?? scene.name} are not saved.`);
    dialog.returnValue = "stay";
    dialog.showModal();
    await new Promise((done) => dialog.addEventListener("close", done, { once: true }));
    if (dialog.returnValue === "save") this.save();
    return dialog.returnValue !== "stay";
  }
}

/** Lets a scene and the files beside it be dropped anywhere on the page. */
export function takeDrops(opened) {
  const target = document.documentElement;
  let depth = 0;
  const has = (event) => [...(event.dataTransfer?.types ?? [])].includes("Files") && !document.querySelector("dialog[open]");
  const over = (yes) => target.classList.toggle("dropping", yes);
  target.addEventListener("dragenter", (event) => has(event) && over((depth += 1) > 0));
  target.addEventListener("dragleave", (event) => has(event) && over((depth = Math.max(0, depth - 1)) > 0));
  target.addEventListener("dragover", (event) => has(event) && event.preventDefault());
  target.addEventListener("drop", (event) => {
    if (!has(event)) return;
    event.preventDefault();
    over(((depth = 0), false));
    const files = [...event.dataTransfer.files];
    if (files.length) opened(files);
  });
}

/** The name under which a scene is saved. */
export const fileName = (name) => (/\.ya?ml$/i.test(name) ? name : `${fileStem(name)}.yaml`);

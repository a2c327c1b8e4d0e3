// The scene text is the truth. This module holds it, its history and what the program read in it; edits go to the program
// and come back as new text, with comments and layout kept.

import { api, Gone, Lane, Refused } from "./api.js";

/** Edits of one field within this time, in ms, are one step of undo: a drag or a run of key presses. */
const ONE_STEP_MS = 1000;
/** Steps that can be undone: texts are small, and nobody goes back farther. */
const MOST_STEPS = 300;

const same = (a, b) => a.length === b.length && a.every((part, i) => part === b[i]);
const keyOf = (edit) => JSON.stringify(edit.path) + (edit.insert ?? "") + (edit.move ? JSON.stringify(edit.move) : "");
const isGap = (path) => same(path, ["stack", 0, "gap_mm"]);

export class Scene extends EventTarget {
  /** Past and coming states; the present one is `now`. A state is never changed once it was left. */
  #past = [];
  #coming = [];
  #last = { path: null, at: 0 };
  #waiting = new Map();
  #lane = new Lane(() => this.#sendEdits(), (fault, job) => this.#failed(fault, job));
  #reading = new Lane((job) => this.#read(job), (fault) => this.#failed(fault));
  #curve = 0;
  /** Grows when edits under way lose their meaning: another scene, a step back or forth. */
  #epoch = 0;
  #saved = "";

  /** `text`, its `model` and `files` (the last ones that could be read), `usable`, `problems`; `unread` while
   *  the program has not answered what a typed text means; `version` grows with every change of the text. */
  now = { text: "", model: null, files: [], usable: false, problems: [], curve: 0, label: "" };
  version = 0;
  name = "scene.yaml";

  get changed() {
    return this.now.text !== this.#saved;
  }
  get canUndo() {
    return this.#past.length > 0;
  }
  get canRedo() {
    return this.#coming.length > 0;
  }
  get undoLabel() {
    return this.now.label;
  }
  get redoLabel() {
    return this.#coming.at(-1)?.label ?? "";
  }
  /** Whether changes are still on their way to the program. */
  get busy() {
    return this.#lane.busy || this.#waiting.size > 0;
  }

  /** Puts another scene in place. The history starts anew. Throws what `api.read` throws. */
  async open(text, name, saved = true) {
    const read = await api.read(text);
    this.#past = [];
    this.#coming = [];
    this.#waiting.clear();
    this.name = name;
    this.#saved = saved ? text : "";
    this.#last = { path: null, at: 0 };
    this.#epoch += 1;
    this.now = { text, model: read.model ?? null, files: read.files ?? [], usable: read.usable, problems: read.problems, curve: (this.#curve += 1), label: "" };
    this.version += 1;
    this.#tell("change");
  }

  /** The text was saved. */
  wasSaved() {
    this.#saved = this.now.text;
    this.#tell("change");
  }

  /** Changes a value; a newer value for the same path replaces one that waits. */
  set(path, value, label) {
    this.#queue({ path, set: value }, label);
  }
  /** Takes a key or a list entry out. */
  remove(path, label) {
    this.#queue({ path, remove: true }, label);
  }
  /** Puts an entry into a list. */
  insert(path, index, value, label) {
    this.#queue({ path, insert: index, value }, label);
  }

  /** Several edits, one after another, as one step. */
  change(edits, label) {
    for (const edit of edits) {
      const key = keyOf(edit);
      this.#waiting.delete(key);
      this.#waiting.set(key, { edit, label });
    }
    this.#lane.ask(null);
  }

  #queue(edit, label) {
    this.change([edit], label);
  }

  /** The text stands, but what it names is another: files were brought. */
  again() {
    this.version += 1;
    this.now = { ...this.now, curve: (this.#curve += 1), unread: true };
    this.#reading.ask({ version: this.version, text: this.now.text });
  }

  async #sendEdits() {
    if (this.#waiting.size === 0) return;
    const sent = [...this.#waiting.values()];
    this.#waiting.clear();
    const { version } = this;
    const epoch = this.#epoch;
    const edits = sent.map(({ edit }) => edit);
    let read;
    try {
      read = await api.edit(this.now.text, edits);
    } catch (fault) {
      if (fault instanceof Refused) fault.paths = edits.map(({ path }) => path);
      // Nothing is lost when the program was stopped: the edits wait for it, behind newer ones for the same path.
      if (fault instanceof Gone && epoch === this.#epoch) this.#waitAgain(sent);
      throw fault;
    }
    // Undone or opened anew meanwhile: the answer belongs to a text that is gone.
    if (epoch !== this.#epoch) return;
    // Typed in the file meanwhile: the edits are made once more, to the text as it is now.
    if (version !== this.version) {
      this.#waitAgain(sent);
      return this.#lane.ask(null);
    }
    this.#take(read.text, read, sent.at(-1).label, edits);
    if (this.#waiting.size) this.#lane.ask(null);
  }

  /** The program is there again: what waited goes out, and what is shown is read anew. */
  resume() {
    if (this.#waiting.size) this.#lane.ask(null);
    else this.#reading.ask({ version: this.version, text: this.now.text });
  }

  #waitAgain(sent) {
    this.#waiting = new Map([...sent.map((entry) => [keyOf(entry.edit), entry]), ...this.#waiting]);
  }

  /** Whether a value for this path waits to be sent. */
  waits(path) {
    return this.#waiting.has(JSON.stringify(path));
  }

  /** Text typed by hand. It is the truth at once; what it means is known when the program has read it. */
  type(text) {
    if (text === this.now.text) return;
    this.#step(["text"], { ...this.now, text, curve: (this.#curve += 1), label: "text", unread: true });
    this.#reading.ask({ version: this.version, text });
    this.#tell("change");
  }

  /** A version from elsewhere (one that was held), as a step that can be undone. */
  async restore(text, label) {
    const read = await api.read(text);
    this.#epoch += 1;
    this.#take(text, read, label, null);
  }

  async #read({ version, text }) {
    const read = await api.read(text);
    if (version !== this.version) return;
    this.now = { ...this.now, usable: read.usable, problems: read.problems, model: read.model ?? this.now.model, files: read.files ?? this.now.files, unread: false };
    this.#tell("change");
  }

  #take(text, read, label, edits) {
    const gapOnly = edits !== null && edits.every((edit) => "set" in edit && isGap(edit.path));
    const curve = gapOnly ? this.now.curve : (this.#curve += 1);
    const model = read.model ?? this.now.model;
    const files = read.files ?? this.now.files;
    this.#step(edits?.length === 1 && "set" in edits[0] ? edits[0].path : null, { text, model, files, usable: read.usable, problems: read.problems, curve, label });
    this.#tell("change");
  }

  #step(path, state) {
    const at = performance.now();
    const goesOn = path !== null && this.#last.path !== null && same(path, this.#last.path) && at - this.#last.at < ONE_STEP_MS;
    if (!goesOn && this.now.text !== "") this.#past.push(this.now);
    if (this.#past.length > MOST_STEPS) this.#past.shift();
    this.#coming = [];
    this.#last = { path, at };
    this.now = state;
    this.version += 1;
  }

  undo() {
    this.#move(this.#past, this.#coming, "undone");
  }
  redo() {
    this.#move(this.#coming, this.#past, "redone");
  }
  #move(from, to, what) {
    if (from.length === 0) return;
    this.#waiting.clear();
    this.#epoch += 1;
    to.push(this.now);
    this.now = from.pop();
    this.#last = { path: null, at: 0 };
    this.version += 1;
    // A state left before the program had read it is read now.
    this.#reading.ask({ version: this.version, text: this.now.text });
    this.#tell("change");
    this.#tell(what);
  }

  #failed(fault) {
    this.dispatchEvent(Object.assign(new Event("fault"), { fault }));
  }
  #tell(what) {
    this.dispatchEvent(new Event(what));
  }
}

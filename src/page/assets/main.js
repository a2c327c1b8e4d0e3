// The page of `weftlight serve`: puts the parts together.
//
// For tests in a browser. These names stay:
// - `#start` is the beginning, `#bench` the work place; one of them is `hidden`. `[data-test=demo-NAME]` opens a demo,
//   `#open-file` takes a scene file, `#questions` is the form of questions (`#q-…` its fields, `[data-test=begin]` sends it).
// - `#picture` (canvas) has `data-wanted-version` (number of the scene's text, grows with each change), `data-shown-version`
//   (the version whose picture is shown), `data-shown-seq` (number of the question that brought it) and `data-detail`
//   (`quick` or `full`). A change is fully drawn when shown and wanted version agree and the detail is `full`.
//   `#findings` has `data-shown-version` for the numbers; `#headline` has `data-look` (the headline's words).
// - `performance` has the marks `change` (a new text is here), `picture-asked`, `picture-shown` (decoded and handed to the
//   stage), each with `detail: {version, seq, detail}`, and `input` when a control of the scene moved.
// - A field is `[data-path="stack.0.gap_mm"]`; its box `[data-test="field-stack.0.gap_mm"]`, its slider the same with
//   `-slider`, its fault `.fault`. `[data-test=swap-0]`, `[data-test=take-out-0]`, `#add-layer`; the shelf is `#shelf`, its
//   swatches `[data-test=cloth-NAME]`. `#gap-marker` is the marker of the curve, `#side-view svg` the side view.
// - `[data-test=outwards-0]`, `[data-test=inwards-0]` move a layer; `#add-group-form`, `#add-group`, `[data-test=take-out-group-0]`;
//   `#beside-list > [data-test=beside-PATH]`, `#beside-file`; `#compare-table` with `[data-test=compare-KEY]` rows.
// - `#hold`, `#split`, `#divider` (slider of the split view), `#held-list > li` with `[data-test=held-N]`; `#undo`, `#redo`,
//   `#save`, `#open`, `[data-download=preview]` and the like; `#tab-words`, `#tab-text`, `#text`; `#motion-play`, `#motion-stop`.
// - `#notice` tells that the program is gone or a question failed; `#live` is the polite region.

import { api, Gone, gone, Refused } from "./api.js";
import { Beside, sceneAmong } from "./beside.js";
import { Compare } from "./compare.js";
import { byId, make, put, say } from "./dom.js";
import { Exposure } from "./exposure.js";
import { faultWords } from "./fields.js";
import { Files, takeDrops } from "./files.js";
import { GapChart } from "./gapchart.js";
import { Held } from "./hold.js";
import { Live } from "./live.js";
import { Motion } from "./motion.js";
import { Numbers } from "./numbers.js";
import { OwnCloth } from "./owncloth.js";
import { Picture } from "./picture.js";
import { Scene } from "./scene.js";
import { ScenePanel } from "./scenepanel.js";
import { Shelf } from "./shelf.js";
import { SideView } from "./side.js";
import { Start } from "./start.js";
import { TextView } from "./textview.js";
import { figure } from "./words.js";

/** Waiting is told only when it lasts so long, in ms: what is quick must not flicker. */
const TELL_WAITING_MS = 350;

const tell = (words) => say(byId("live"), words);

const scene = new Scene();
const shelf = new Shelf();
const exposure = new Exposure(scene, () => {
  live.changed(true);
  if (exposure.value() !== null) held.refresh();
});
const picture = new Picture(() => live?.sharper());
const live = new Live(scene, picture, () => exposure.value());
let compare = null;
const numbers = new Numbers(live, tell);
const held = new Held({
  scene,
  live,
  picture,
  exposure,
  tell,
  changed(beside) {
    numbers.beside = beside;
    numbers.show();
    compare?.show();
  },
});
const moveGap = (gap) => {
  performance.mark("input");
  scene.set(["stack", 0, "gap_mm"], gap, "gap");
};
new GapChart(live, scene, moveGap);
new SideView(scene, moveGap);
compare = new Compare(live, () => held.list);
const beside = new Beside(scene, tell);
const panel = new ScenePanel(scene, pickCloth, tell);
new TextView(scene);
const files = new Files(scene, tell);
new Motion(scene, picture, tell);
let start = null;

byId("scene-panel").addEventListener("input", () => performance.mark("input"), { capture: true });

// ---- What is shown, and whether it is what was asked for ----

let waitingTimer = null;
function showState() {
  const { shown } = live;
  const stage = byId("picture");
  put(stage, "data-wanted-version", scene.version);
  const badge = byId("badge");
  const broken = !scene.now.usable;
  const behind = shown !== null && shown.version < scene.version;
  const words = () => (!live.shown ? (broken ? "no picture: the file has problems" : "no picture yet") : broken && behind ? "last picture that could be drawn" : live.shown.detail === "full" ? "full picture" : "quick picture");
  if (!behind || broken) say(byId("badge-words"), words());
  badge.dataset.state = broken ? "broken" : shown ? shown.detail : "none";
  clearTimeout(waitingTimer);
  const settle = () => {
    const pending = !broken && (live.shown?.version !== scene.version || live.shown?.detail !== "full");
    say(byId("badge-words"), !broken && live.shown?.version < scene.version ? "before the change" : words());
    badge.classList.toggle("busy", pending && !gone.now);
    numbers.waiting(!broken && live.numbers?.version !== scene.version);
  };
  if (broken || shown?.version === scene.version) settle();
  waitingTimer = setTimeout(settle, TELL_WAITING_MS);
}

live.addEventListener("waiting", showState);
live.addEventListener("cleared", () => {
  picture.show(null, null);
  for (const name of ["data-shown-version", "data-shown-seq", "data-detail"]) put(byId("picture"), name, null);
  put(byId("picture"), "aria-label", "Preview");
});
live.addEventListener("numbers", () => {
  showState();
  describe();
});
live.addEventListener("picture", () => {
  const { shown } = live;
  const stage = byId("picture");
  put(stage, "data-shown-version", shown.version);
  put(stage, "data-shown-seq", shown.seq);
  put(stage, "data-detail", shown.detail);
  if (exposure.value() === null) {
    exposure.keep(shown.facts.exposure_ev);
    held.refresh();
  }
  exposure.show(shown.facts);
  fault("picture", null);
  showState();
  describe();
});
live.addEventListener("chart", () => fault("gap-chart", null));
live.addEventListener("numbers", () => fault("numbers", null));

/** What the picture shows, for those who do not see it. */
function describe() {
  const { shown } = live;
  if (!shown) return;
  const [x0, y0, x1, y1] = shown.frame;
  const look = live.numbers?.headline.softness;
  const title = scene.now.model?.name ?? "the scene";
  put(byId("picture"), "aria-label", `Preview of ${title}${look ? `: ${look}` : ""}. ${figure(x1 - x0, 3)} by ${figure(y1 - y0, 3)} mm, exposure EV ${figure(shown.facts.exposure_ev, 3)}.`);
}

// ---- Faults and a program that is gone ----

const faults = new Map();
/** Tells what failed, by kind; the same kind replaces itself, `null` takes it back. */
function fault(kind, words) {
  if (words === null) faults.delete(kind);
  else faults.set(kind, words);
  const box = byId("notice");
  const lines = gone.now ? ["The program does not answer. Start `weftlight serve` again: this page goes on by itself, and nothing here is lost."] : [...new Set(faults.values())];
  const text = lines.join("\n");
  if (box.dataset.text === text) return;
  box.dataset.text = text;
  box.hidden = lines.length === 0;
  box.replaceChildren(...lines.map((line) => make("p", {}, line)));
}

const NAMES = { picture: "The picture could not be drawn", numbers: "The numbers could not be computed", "gap-chart": "The stand-off curve could not be computed", edit: "The change could not be made" };
function onFault({ fault: problem, kind = "edit" }) {
  if (problem instanceof Gone) return fault("gone", null);
  const words = problem instanceof Refused ? problem.problems.map(faultWords).join(" ") : problem.message;
  fault(kind, `${NAMES[kind]}: ${words}`);
  if (!(problem instanceof Refused)) console.error(problem);
}
scene.addEventListener("fault", onFault);
live.addEventListener("fault", onFault);
gone.tell = (now) => {
  document.documentElement.classList.toggle("gone", now);
  fault("gone", null);
  if (!now && !byId("bench").hidden) {
    // What the scene names is brought once more before anything is asked of it.
    beside.bringAgain().then(() => {
      scene.resume();
      live.changed(true);
    }, onFault);
  }
};

// ---- The scene and its history ----

scene.addEventListener("change", () => {
  performance.mark("change", { detail: { version: scene.version } });
  fault("edit", null);
  const undo = byId("undo");
  put(undo, "disabled", !scene.canUndo);
  put(byId("redo"), "disabled", !scene.canRedo);
  undo.title = scene.canUndo ? `Undo: ${scene.undoLabel} (Ctrl+Z)` : "Undo (Ctrl+Z)";
  byId("redo").title = scene.canRedo ? `Redo: ${scene.redoLabel} (Ctrl+Y)` : "Redo (Ctrl+Y)";
  say(byId("scene-name"), scene.now.model?.name ?? scene.name);
  showState();
});
/** From where the picture is seen, where that is not straight ahead. */
function showSight() {
  const value = (key) => scene.now.model?.view.fields.find((field) => field.key === key)?.value;
  const [side, from] = [value("side_deg"), value("from_deg")];
  const aside = typeof side === "number" && side > 0;
  byId("sight").hidden = !aside;
  byId("sight-words").hidden = !aside;
  if (!aside) return;
  const turn = (((typeof from === "number" ? from : 0) % 360) + 360) % 360;
  const where = ["the right", "the upper right", "above", "the upper left", "the left", "the lower left", "below", "the lower right"][Math.round(turn / 45) % 8];
  say(byId("sight"), `seen from ${figure(side, 3)}° to the side, from ${where}`);
}
scene.addEventListener("change", showSight);
scene.addEventListener("undone", () => tell("Undone"));
scene.addEventListener("redone", () => tell("Done again"));
byId("undo").addEventListener("click", () => scene.undo());
byId("redo").addEventListener("click", () => scene.redo());

document.addEventListener("keydown", (event) => {
  if (!(event.ctrlKey || event.metaKey) || event.altKey || byId("bench").hidden || document.querySelector("dialog[open]")) return;
  const key = event.key.toLowerCase();
  // Inside the scene file the browser's own undo is the finer one.
  const writing = event.target === byId("text") || (event.target.tagName === "INPUT" && event.target.type === "text" && event.target.closest("#held"));
  const act = key === "z" ? (event.shiftKey ? "redo" : "undo") : key === "y" ? "redo" : key === "s" ? "save" : null;
  if (!act || (writing && act !== "save")) return;
  event.preventDefault();
  if (act === "save") files.save();
  else scene[act]();
});

async function pickCloth(index, isNew) {
  const layer = scene.now.model?.layers[index];
  const cloth = await shelf.pick(isNew ? "A cloth to lay on top" : "Swap the cloth", layer?.cloth ?? "");
  if (cloth) {
    const value = cloth.own ? { shelf: cloth.name } : cloth.name;
    if (isNew) scene.insert(["stack"], index, { gap_mm: 0, cloth: value }, "layer added");
    else scene.set(["stack", index, "cloth"], value, "cloth");
    tell(isNew ? `Added: ${cloth.title}` : `Cloth: ${cloth.title}`);
  }
  (isNew ? byId("add-layer") : document.querySelector(`[data-test=swap-${index}]`))?.focus();
}

// ---- Beginning and work place ----

function place(bench) {
  byId("bench").hidden = !bench;
  byId("start").hidden = bench;
  for (const part of document.querySelectorAll(".bench-only")) part.hidden = !bench;
  if (bench) files.show();
  else {
    byId("unsaved").hidden = true;
    document.title = "Weftlight";
    start.show(scene.now.text !== "");
  }
}

/** Opens a scene, unless the one that is open should stay; `demo` is the demo that it is, `others` are files that lie beside it. */
async function open(text, name, saved, { demo = null, others = [] } = {}) {
  if (!(await files.mayLeave())) return;
  const back = beside.begin(demo);
  let strange = [];
  try {
    if (others.length) strange = await beside.bring(others, (await api.read(text)).files ?? []);
    exposure.reset();
    await scene.open(text, name, saved);
  } catch (problem) {
    back();
    throw problem;
  }
  live.clear();
  faults.clear();
  held.clear();
  place(true);
  picture.fit();
  live.changed(true);
  // A file that cannot be used is shown as text, where it can be mended.
  showTab(scene.now.model ? "words" : "text");
  window.scrollTo(0, 0);
  byId("scene-name").focus({ preventScroll: true });
  fault("beside", strange.length ? strange.join(" ") : null);
}

/** Files that were chosen or dropped: a scene and what lies beside it, or more for the scene that is open. */
async function take(chosen) {
  const main = await sceneAmong(chosen);
  const open = !byId("bench").hidden;
  const missing = scene.now.files.some(({ path }) => chosen.some(({ name }) => path.split("/").at(-1).toLowerCase() === name.toLowerCase()));
  if (open && (!main || (missing && !/^["']?pixels["']?\s*:/m.test(await main.text())))) return beside.add(chosen);
  if (!main) return start.fault(["Among these files is no scene: one that ends in .yaml and holds `pixels`."]);
  await start.file(main, chosen.filter((file) => file !== main));
}

function showTab(name) {
  for (const tab of ["words", "text"]) {
    put(byId(`tab-${tab}`), "aria-selected", String(tab === name));
    put(byId(`tab-${tab}`), "tabindex", tab === name ? "0" : "-1");
    byId(`as-${tab}`).hidden = tab !== name;
  }
  byId("scene-panel").dataset.tab = name;
  scene.dispatchEvent(new Event("change"));
}
for (const tab of ["words", "text"]) {
  byId(`tab-${tab}`).addEventListener("click", () => showTab(tab));
  byId(`tab-${tab}`).addEventListener("keydown", (event) => {
    if (!["ArrowLeft", "ArrowRight"].includes(event.key)) return;
    const other = tab === "words" ? "text" : "words";
    showTab(other);
    byId(`tab-${other}`).focus();
  });
}

byId("open").addEventListener("click", () => {
  place(false);
  byId("start-title").focus();
});
byId("start-back").addEventListener("click", () => {
  place(true);
  byId("open").focus();
});
for (const button of document.querySelectorAll("dialog [data-close]")) button.addEventListener("click", () => button.closest("dialog").close(button.value));
// A press beside an open menu closes it, and so does Escape.
const menu = byId("downloads");
document.addEventListener("pointerdown", (event) => menu.open && !menu.contains(event.target) && (menu.open = false));
menu.addEventListener("keydown", (event) => {
  if (event.key !== "Escape" || !menu.open) return;
  menu.open = false;
  menu.querySelector("summary").focus();
});

async function begin() {
  const facts = await api.start();
  say(byId("version"), facts.version);
  start = new Start(facts, shelf, open, take);
  new OwnCloth(shelf, facts);
  takeDrops(take);
  if (facts.scene) await open(facts.scene.text, facts.scene.name.endsWith(".yaml") ? facts.scene.name : `${facts.scene.name}.yaml`, true);
  else place(false);
  document.documentElement.classList.add("ready");
  panel.shelved = new Set((await shelf.cloths()).map(({ name }) => name));
  panel.show();
}
begin().catch((problem) => {
  if (!(problem instanceof Gone)) fault("start", problem.message);
});

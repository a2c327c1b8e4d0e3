const byId = (id) => document.getElementById(id);

/** Whether an element can be seen: drawn, not see-through, with a size. */
const visible = (element) => {
  if (!element?.checkVisibility({ opacityProperty: true, visibilityProperty: true, contentVisibilityAuto: true })) return false;
  const { width, height } = element.getBoundingClientRect();
  return width > 1 && height > 1 && getComputedStyle(element).clipPath !== "inset(50%)";
};

/** Whether an open dialog keeps an element out of reach. */
const behindDialog = (element) => {
  const dialog = document.querySelector("dialog[open]");
  return dialog !== null && !dialog.contains(element);
};

/** The element of a selector, brought to the middle of the window. */
const centre = (css) => {
  const element = document.querySelector(css);
  element.scrollIntoView({ block: "center", inline: "nearest", behavior: "instant" });
  return element;
};
/** Its middle in the window, after that. */
const middle = (css) => {
  const { x, y, width, height } = centre(css).getBoundingClientRect();
  return [x + width / 2, y + height / 2];
};

/** Rows of the table of numbers: name, value, range. */
const rows = () => [...byId("number-rows").rows].map((row) => ["name", "value", "range"].map((part) => row.querySelector(`.${part}`).textContent));

/** What the page tells of itself. */
const state = () => {
  const { wantedVersion, shownVersion, shownSeq, detail } = byId("picture").dataset;
  return {
    wanted: Number(wantedVersion ?? 0), shown: Number(shownVersion ?? 0), seq: Number(shownSeq ?? 0), detail: detail ?? "",
    numbers: Number(byId("findings").dataset.shownVersion ?? 0), look: byId("headline").dataset.look ?? "", rows: rows(),
    gap: document.querySelector('[data-test="field-stack.0.gap_mm"]')?.value ?? "", notice: byId("notice").innerText, badge: byId("badge-words").textContent,
  };
};

/** The state, once the newest text after a version is drawn in full and its numbers are there. */
const settledAfter = (version) => {
  const now = state();
  return now.wanted > version && now.shown === now.wanted && now.detail === "full" && now.numbers === now.wanted && now;
};

const nextFrame = () => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)));

/** What is painted in a part of a canvas (shares of its width and height): its fingerprint, how bright it is and in how many colours. */
const painted = (canvas, [x0, y0, x1, y1]) => {
  const [left, top] = [Math.round(canvas.width * x0), Math.round(canvas.height * y0)];
  const [width, height] = [Math.max(1, Math.round(canvas.width * x1) - left), Math.max(1, Math.round(canvas.height * y1) - top)];
  const { data } = canvas.getContext("2d").getImageData(left, top, width, height);
  let [print, sum, darkest, brightest] = [2166136261, 0, 255, 0];
  const colours = new Set();
  for (let i = 0; i < data.length; i += 4) {
    const [r, g, b] = [data[i], data[i + 1], data[i + 2]];
    print = Math.imul(print ^ ((r << 16) | (g << 8) | b), 16777619) >>> 0;
    const light = (r + g + b) / 3;
    [sum, darkest, brightest] = [sum + light, Math.min(darkest, light), Math.max(brightest, light)];
    colours.add(((r >> 3) << 10) | ((g >> 3) << 5) | (b >> 3));
  }
  return { print, mean: sum / (width * height), darkest, brightest, colours: colours.size };
};

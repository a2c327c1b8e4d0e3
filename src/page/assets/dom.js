// Small helpers for making and finding elements. No markup is ever made from strings that come from a file or an answer:
// everything goes in as text, so nothing in a scene can become part of the page.

const SVG = "http://www.w3.org/2000/svg";

/** The element with this id. */
export const byId = (id) => document.getElementById(id);

/**
 * Makes an element: `make("button.quiet", {type: "button", onclick: f}, "Undo")`.
 * Keys that start with `on` are listeners; `null`, `undefined` and `false` leave an attribute out, `true` sets it empty.
 */
export function make(what, attributes = {}, ...children) {
  const [tag, ...classes] = what.split(".");
  const element = document.createElement(tag);
  if (classes.length) element.className = classes.join(" ");
  return filled(element, attributes, children);
}

/** The same for drawings. */
export function draw(tag, attributes = {}, ...children) {
  return filled(document.createElementNS(SVG, tag), attributes, children);
}

function filled(element, attributes, children) {
  for (const [key, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (key.startsWith("on")) element.addEventListener(key.slice(2), value);
    else element.setAttribute(key, value === true ? "" : value);
  }
  element.append(...children.flat().filter((child) => child !== null && child !== undefined && child !== false));
  return element;
}

/** A text that changes only when it differs: screen readers and layout are left in peace. */
export function say(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

/** Sets an attribute, or takes it away where the value is null. */
export function put(element, name, value) {
  if (value === null || value === undefined || value === false) element.removeAttribute(name);
  else if (element.getAttribute(name) !== String(value)) element.setAttribute(name, value);
}

let count = 0;
/** An id that no other element has. */
export const fresh = (stem) => `${stem}-${(count += 1)}`;

/** Hands a blob to the browser as a file to keep. */
export function keepAsFile(blob, name) {
  const address = URL.createObjectURL(blob);
  const link = make("a", { href: address, download: name });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(address), 10_000);
}

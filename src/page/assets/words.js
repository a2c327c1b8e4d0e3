// Numbers and the few words that several parts share.

/** At most `digits` figures, without trailing noughts: 16.67, 0.4, 1200. */
export function figure(value, digits = 4) {
  if (value === null || value === undefined || !Number.isFinite(value)) return "";
  if (value !== 0 && Math.abs(value) >= 10 ** digits) return String(Math.round(value));
  return String(Number(value.toPrecision(digits)));
}

/** A number with its unit. */
export const withUnit = (value, unit) => figure(value) + (unit ? (unit === "°" ? "°" : `\u00a0${unit}`) : "");

/** What somebody typed, as a number; a comma counts as the decimal sign. `null` if it is none. */
export function typedNumber(text) {
  const plain = text.trim().replace("\u2212", "-").replace(",", ".");
  if (plain === "" || !/^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?$/i.test(plain)) return null;
  return Number(plain);
}

/** The words for how dots look, from hard to gone, with the dot visibility from which on they hold. */
export const LOOKS = [
  { word: "hard dots", from: 10, mark: "hard" },
  { word: "dots show", from: 3, mark: "show" },
  { word: "soft", from: 1, mark: "soft" },
  { word: "no dots", from: 0, mark: "none" },
];

/** The look of a dot visibility, by the definition that the command line uses. */
export const lookOf = (visibility) => LOOKS[visibility < 1 ? 3 : visibility <= 3 ? 2 : visibility < 10 ? 1 : 0];

/** The look with this word. */
export const lookNamed = (word) => LOOKS.find((look) => look.word === word) ?? null;

/** A file name from a scene's name. */
export const fileStem = (name) =>
  (name || "scene").toLowerCase().normalize("NFKD").replace(/[^a-z0-9]+/g, "-").replace(/^-+|-+$/g, "") || "scene";

/** Step of a slider: a round part of about a hundredth of its range. */
export function roundStep(range) {
  const raw = range / 100;
  const ten = 10 ** Math.floor(Math.log10(raw));
  const lead = raw / ten;
  return (lead >= 5 ? 5 : lead >= 2 ? 2 : 1) * ten;
}

/** Rounds to a step without the noise of binary fractions. */
export const toStep = (value, step) => Number((Math.round(value / step) * step).toPrecision(9));

// Words for figures, fields and verdicts.

/** Every state has a sign of its own, so that nothing is told by colour alone. */
export const SIGNS = {
  pass: "✓",
  review: "?",
  fail: "✕",
  error: "✕",
  warning: "!",
  advice: "i",
  undecided: "?",
  conforms: "✓",
  does_not_conform: "✕",
  not_proven: "?",
};

const UNITS = [
  ["_g_mm2", "g·mm²"],
  ["_n_m", "N·m"],
  ["_m_per_min", "m/min"],
  ["_rpm", "rpm"],
  ["_um", "µm"],
  ["_mm", "mm"],
  ["_kg", "kg"],
  ["_kw", "kW"],
  ["_deg", "°"],
  ["_n", "N"],
];

/** A field's name as words and its unit. */
export function fieldWords(name) {
  const [suffix, unit] = UNITS.find(([end]) => name.endsWith(end)) ?? ["", ""];
  return { words: sentence(name.slice(0, name.length - suffix.length)), unit };
}

/** Words from a name with underscores, the first letter large. */
export function sentence(name) {
  const words = name.replaceAll("_", " ");
  return words.charAt(0).toUpperCase() + words.slice(1);
}

/** A figure with so many digits after the point at most and its unit; "not known" for null. */
export function amount(value, digits = 0, unit = "") {
  if (value === null || value === undefined) return "not known";
  const figure = typeof value === "number" ? String(Number(value.toFixed(digits))) : String(value);
  return unit ? `${figure} ${unit}` : figure;
}

/** A share as a percentage. */
export function percent(share, digits = 0) {
  return share === null || share === undefined ? "not known" : `${(100 * share).toFixed(digits)} %`;
}

/** A count with its noun. */
export function count(number, noun, plural = `${noun}s`) {
  return `${number} ${number === 1 ? noun : plural}`;
}

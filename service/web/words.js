// Text for figures, fields and verdicts.

/** A sign for every state, so that colour alone carries no meaning. */
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
  ["_g_mm", "g·mm"],
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

/** A field's name in words, and its unit. */
export function fieldWords(name) {
  const [suffix, unit] = UNITS.find(([end]) => name.endsWith(end)) ?? ["", ""];
  return { words: sentence(name.slice(0, name.length - suffix.length)), unit };
}

/** A name with underscores in sentence case. */
export function sentence(name) {
  const words = name.replaceAll("_", " ");
  return words.charAt(0).toUpperCase() + words.slice(1);
}

/** A figure or an estimate with its range, rounded to `digits` decimals, with its unit; "not known" for null. */
export function amount(figureOrEstimate, digits = 0, unit = "") {
  const value = figureOrEstimate?.value ?? figureOrEstimate;
  if (value === null || value === undefined) return "not known";
  const rounded = (number) => String(Number(number.toFixed(digits)));
  const figure = typeof value === "number" ? rounded(value) : String(value);
  const { low, high } = typeof figureOrEstimate === "object" ? figureOrEstimate : { low: null, high: null };
  const range = typeof low === "number" && typeof high === "number" ? ` (${rounded(low)} to ${rounded(high)})` : "";
  return unit ? `${figure} ${unit}${range}` : `${figure}${range}`;
}

/** A share as a percentage. */
export function percent(share, digits = 0) {
  return share === null || share === undefined ? "not known" : `${(100 * share).toFixed(digits)} %`;
}

/** A joint as 'upper/lower'; undefined for none. */
export function jointWords(joint) {
  return joint ? `${joint.upper}/${joint.lower}` : undefined;
}

/** A count with its noun. */
export function count(number, noun, plural = `${noun}s`) {
  return `${number} ${number === 1 ? noun : plural}`;
}

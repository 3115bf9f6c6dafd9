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
  ["_n_m_per_mrad", "N·m/mrad"],
  ["_n_per_um", "N/µm"],
  ["_um_per_m", "µm/m"],
  ["_kg_mm2", "kg·mm²"],
  ["_kg_m3", "kg/m³"],
  ["_mpa", "MPa"],
  ["_gpa", "GPa"],
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

const SECTIONS = { policy: "Policy", machine: "Machine", gauge_plane: "Gauge plane", components: "Definition" };
const SKIPPED = new Set(["with", "statements", "of"]);

/** A place of a request in the words of the form: part and field, without a pointer. */
export function placeWords(pointer, request) {
  const steps = pointer.split("/").slice(1);
  if (steps.length === 0) return "Whole request";
  let [head, ...rest] = steps;
  let subject = SECTIONS[head] ?? sentence(head);
  if (head === "operations") {
    const id = request?.operations?.[rest[0]]?.id;
    subject = rest.length && request?.operations?.length > 1 ? `Operation ${id ?? rest[0]}` : "Operation";
    rest = rest.slice(1);
  } else if (head === "stack" && (rest[0] === "components" || rest[0] === "joints") && rest.length > 1) {
    const one = request?.stack?.[rest[0]]?.[rest[1]];
    const number = Number(rest[1]) + 1;
    if (rest[0] === "joints") subject = one?.upper ? `Joint ${one.upper} / ${one.lower}` : rest[1] === "-" ? "Joint" : `Joint ${number}`;
    else subject = typeof one?.id === "string" ? one.id : `Part ${number}`;
    rest = rest.slice(2);
  } else if (head === "stack") subject = "Stack";
  const names = rest.filter((step) => !SKIPPED.has(step) && !/^\d+$/.test(step)).map((step) => fieldWords(step).words.toLowerCase());
  return [subject, ...names].join(", ");
}

/** A name with underscores in sentence case. */
export function sentence(name) {
  const words = name.replaceAll("_", " ");
  return words.charAt(0).toUpperCase() + words.slice(1);
}

let inch = null;

/** Show quantities in these inch units (by the sign of the metric one), or in metric units for null. */
export function showUnits(table) {
  inch = table;
}

/** The sign of a metric unit, or of the unit that is shown for it. */
export function shownUnit(sign) {
  return inch?.[sign]?.sign ?? sign;
}

/** A figure or an estimate with its range, rounded to `digits` decimals, with its unit; "not known" for null. */
export function amount(figureOrEstimate, digits = 0, unit = "") {
  const value = figureOrEstimate?.value ?? figureOrEstimate;
  if (value === null || value === undefined) return "not known";
  const other = inch?.[unit];
  const rounded = (number) => (other ? inInches(number, other) : String(Number(number.toFixed(digits))));
  const figure = typeof value === "number" ? rounded(value) : String(value);
  const { low, high } = typeof figureOrEstimate === "object" ? figureOrEstimate : { low: null, high: null };
  const range = typeof low === "number" && typeof high === "number" ? ` (${rounded(low)} to ${rounded(high)})` : "";
  return unit ? `${figure} ${shownUnit(unit)}${range}` : `${figure}${range}`;
}

const LEAST_STEPS = 20;

/** A metric number in an inch unit: to the unit's step, or to three figures where that would leave too few. */
function inInches(number, { factor, step }) {
  const converted = number / factor;
  if (step === null || Math.abs(converted) < LEAST_STEPS * step) return plain(Number(converted.toPrecision(3)));
  return plain(Number((Math.round(converted / step) * step).toPrecision(12)));
}

function plain(number) {
  return Math.abs(number) < 1e-4 && number !== 0 ? number.toFixed(12).replace(/0+$/, "") : String(number);
}

/** A sentence with its quantities in the units that are shown. */
export function shownSentence(text) {
  if (!inch) return text;
  const signs = Object.keys(inch).sort((one, other) => other.length - one.length);
  const size = String.raw`Ø?-?\d+(?:\.\d+)?(?:–\d+(?:\.\d+)?)?`;
  const quantity = new RegExp(String.raw`(?<![\w.,/-])(?:(${size}) (to|and|×) )?(${size})[ \u00a0](${signs.join("|")})(?![\w/·²³])`, "gu");
  return text.replace(quantity, (_, low, word, high, sign) => {
    const shown = (one) => one.replaceAll(/-?\d+(?:\.\d+)?/g, (number) => inInches(Number(number), inch[sign]));
    return `${low === undefined ? "" : `${shown(low)} ${word} `}${shown(high)} ${inch[sign].sign}`;
  });
}

/** A value of a request as its field shows it: a number in the unit shown, a text as it was written. */
export function shownNumber(value, { unit }) {
  if (typeof value !== "number") return String(value);
  const other = inch?.[unit];
  return other ? plain(Number((value / other.factor).toPrecision(8))) : String(value);
}

/**
 * What a request states for a text in a field; undefined for none. Decimal point or comma. Without a unit it counts in
 * the unit that is shown; a length keeps its unit, other quantities become metric.
 */
export function statedNumber(text, { unit }) {
  const written = text.trim();
  if (written === "") return undefined;
  const other = inch?.[unit] ?? null;
  const bare = other && written.endsWith(other.sign) && unit !== "mm" ? written.slice(0, -other.sign.length).trim() : written;
  const number = Number(bare.replace(",", "."));
  if (Number.isFinite(number)) {
    if (!other) return number;
    return unit === "mm" ? `${bare.replace(",", ".")} in` : Number((number * other.factor).toPrecision(12));
  }
  return other && unit === "mm" && /^[\d\s/.-]+$/.test(written) ? `${written} in` : written;
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

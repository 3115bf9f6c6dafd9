// The view of the runout budget: a slider for the runout of each part, and the 95th percentile that follows.
import { amount, fill, make, percent, placeWords, planeOf, quantile, SIGNS, table, terms } from "./base.js";
import { createQuestionView, head } from "./question_view.js";
import { list } from "./reading_report.js";

const PAUSE_MS = 250;
/** A slider reaches so many times the value that it starts from. */
const REACH = 3;

/** Set up the view. */
export async function createView(element) {
  const sliders = make("fieldset", { hidden: true }, make("legend", {}, "Runout of each part, TIR, µm"), make("div", { class: "sliders" }));
  let timer = 0;
  let moving = false;
  const view = await createQuestionView(element, {
    yaml: "draft",
    examples: "budgets",
    button: "Compute",
    label: "Request, JSON",
    pieces: [sliders],
    answer: { path: "v1/budgets", show, empty: "Nothing computed yet. Move a slider, or press Compute." },
    changed: (text) => moving || offer(text),
  });
  offer(view.editor.text);

  /** A slider for each part of the request that states its runout. */
  function offer(text) {
    let parts;
    try {
      parts = JSON.parse(text).stack.components.filter((one) => largest(one) > 0);
    } catch {
      parts = [];
    }
    sliders.hidden = parts.length === 0;
    fill(sliders.lastChild, parts.map((part, index) => slider(part, index)));
  }

  function slider(part, index) {
    const id = `budget-part-${index}`;
    const start = largest(part);
    const range = make("input", { type: "range", id, min: "0", max: String(REACH * start), step: "0.1", value: String(start) });
    const field = make("input", { id: `${id}-value`, inputmode: "decimal", autocomplete: "off", value: String(start), "aria-label": `Runout of ${part.id}, µm` });
    range.addEventListener("input", () => { field.value = range.value; set(part, Number(range.value)); });
    field.addEventListener("input", () => {
      const value = Number(field.value.replace(",", "."));
      if (field.value.trim() === "" || !(value >= 0)) return field.setAttribute("aria-invalid", "true");
      field.removeAttribute("aria-invalid");
      range.value = String(value);
      return set(part, value);
    });
    return make("div", { class: "slider" }, make("label", { for: id }, part.id), range, field);
  }

  /** State this runout; several statements of a part keep the ratio that they started with. */
  function set(part, value) {
    const request = JSON.parse(view.editor.text);
    const { statements } = request.stack.components.find((one) => one.id === part.id).runout;
    part.runout.statements.forEach(({ tir_um: start }, index) => {
      statements[index].tir_um = Number(((start * value) / largest(part)).toFixed(3));
    });
    view.editor.text = JSON.stringify(request, null, 2);
    moving = true;
    view.own();
    moving = false;
    clearTimeout(timer);
    timer = setTimeout(view.ask, PAUSE_MS);
  }
}

function largest(part) {
  const stated = (part.runout?.statements ?? []).map((one) => one.tir_um);
  return stated.length && stated.every((one) => typeof one === "number") ? Math.max(...stated) : Number.NaN;
}

function show(box, report, request) {
  const { limit } = report;
  const name = limit?.plane ?? "gauge_plane";
  const p95 = quantile(planeOf(report, name), "p95");
  const known = p95 !== undefined && p95 !== null;
  const look = !known || !limit || !report.complete ? "review" : p95 <= limit.limit_um ? "pass" : "fail";
  fill(
    box,
    head(
      look,
      SIGNS[look],
      `95th percentile ${known ? amount(p95, 1, "µm") : "not known"}`,
      limit ? `Limit ${amount(limit.limit_um, 1, "µm")} at the ${name.replaceAll("_", " ")}; ${percent(limit.probability_within_limit?.assemblies, 1)} of assemblies within.` : `No limit stated; ${name.replaceAll("_", " ")}.`,
    ),
    contributors(report, name),
    required(report.required),
    list("Missing", report.not_stated.map((one) => `${one.quantity.replaceAll("_", " ")} (${(one.at ?? []).map((at) => placeWords(at, request)).join("; ")})`)),
  );
}

function contributors(report, name) {
  const rows = report.contributors.map((one) => [
    one.text,
    amount(one.stated_tir_um, 1),
    amount(one.tir_um[name], 1),
    make("span", { class: "share" }, make("meter", { min: "0", max: "1", value: String(one.share[name] ?? 0), "aria-hidden": "true" }), ` ${percent(one.share[name])}`),
    amount(one.p95_if_halved_um?.[name], 1),
  ]);
  const heads = ["contributor", "stated TIR, µm", "reading at the plane, µm", "share", "95th percentile if halved, µm"];
  return make("section", {}, make("h3", {}, "Contributors"), table("Share of each contributor", heads, rows, [1, 2, 3, 4]));
}

function required(told) {
  if (!told) return null;
  const pairs = told.contributors.map((one) => [one.id.replace(/^.*?:/, ""), `${amount(one.required_tir_um, 1, "µm")} in place of ${amount(one.stated_tir_um, 1, "µm")}`]);
  return make("section", {}, make("h3", {}, `Required for ${amount(told.target_um, 1, "µm")}`), terms(pairs));
}

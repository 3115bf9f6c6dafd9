// The view that searches the shelf: the stacks that meet a requirement, or what comes closest.
import { amount, count, fill, make, quantile, SIGNS, table } from "./base.js";
import { createQuestionView, head } from "./question_view.js";
import { list } from "./reading_report.js";

/** Set up the view. */
export async function createView(element) {
  await createQuestionView(element, {
    examples: "searches",
    button: "Search",
    label: "Parts on the shelf and requirement, JSON",
    answer: { path: "v1/searches", show, empty: "Nothing searched yet. State the parts at hand and what the stack has to reach." },
  });
}

function show(box, report) {
  const { counts, items, nearest } = report;
  const look = items.length ? items[0].verdict : "fail";
  fill(
    box,
    head(
      look,
      SIGNS[look],
      items.length ? `${count(items.length, "stack")} found` : "No stack found",
      `${count(counts.parts, "part")}, ${count(counts.orders_possible, "combination")} possible, ${counts.orders_cut} ruled out early, ${counts.judged} checked.`,
      report.complete ? null : "The search is not complete: state more of the requirement, or search fewer parts.",
      report.next === null ? null : "More stacks follow on the next page of the answer.",
    ),
    items.length ? found(items) : null,
    nearest.length ? closest(nearest) : null,
    list("Ruled out early", report.cut.map((one) => `${one.code} ${one.title}: ${count(one.orders, "combination")}`)),
    list("Failed the check", report.refused_by.map((one) => `${one.code} ${one.title}: ${count(one.orders ?? one.stacks ?? one.count, "combination")}`)),
    list("Notes", report.notes),
    list("Cautions", report.cautions),
  );
}

function found(items) {
  const plane = (one) => one.planes.find((each) => each.plane === "gauge_plane");
  const rows = items.map((one) => [
    `${one.place}. ${one.components.join(", ")}`,
    `${SIGNS[one.verdict]} ${one.verdict}`,
    amount(quantile(plane(one), "p95"), 1),
    amount(one.governing_speed?.speed_rpm),
    amount(one.tip_from_gauge_line_mm, 1),
    amount(one.tip_stiffness_n_per_um, 2),
    amount(one.mass_kg, 2),
    one.joints.map((each) => `${each.joint.upper}/${each.joint.lower}: grip ${amount(each.grip_length_mm, 1)}, projection ${amount(each.projection_mm, 1)}`).join("; ") || "as stated",
  ]);
  const heads = ["stack, from the spindle", "verdict", "runout, 95th percentile, µm", "highest speed, rpm", "projection, mm", "stiffness at tip, N/µm", "mass, kg", "to set, mm"];
  return make("section", {}, make("h3", {}, "Stacks"), table("Stacks found, in order of rank", heads, rows, [2, 3, 4, 5, 6]));
}

function closest(nearest) {
  const lines = nearest.map((one) => make("li", {}, make("strong", {}, one.components.join(", ")), make("ul", { class: "plain" }, one.reasons.map((why) => make("li", {}, `${why.code} ${why.title}: ${why.message}`)))));
  return make("section", {}, make("h3", {}, "Closest alternatives"), make("ul", { class: "plain" }, lines));
}

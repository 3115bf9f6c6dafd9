// The view of a work order at the gate: whether it may start, and for each operation what holds it.
import { count, fill, make, placeWords, SIGNS } from "./base.js";
import { createQuestionView, head } from "./question_view.js";
import { list } from "./reading_report.js";

const LOOKS = { release: "pass", hold: "review", stop: "fail" };

/** Set up the view. */
export async function createView(element) {
  await createQuestionView(element, {
    examples: "gates",
    button: "Decide",
    label: "Work order, JSON",
    answer: { path: "v1/gates", show, empty: "Nothing decided yet. State the order with its stacks, machine and operations." },
  });
}

function show(box, report, request) {
  const { counts } = report;
  const look = report.may_start ? "pass" : (LOOKS[report.decision] ?? "review");
  fill(
    box,
    head(
      // Only the field that a controller reads may show a release.
      look === "pass" && !report.may_start ? "review" : look,
      report.may_start ? SIGNS.pass : SIGNS[look === "fail" ? "fail" : "review"],
      report.may_start ? "May start" : `May not start: ${report.decision}`,
      `Order ${report.order ?? "not named"}: ${count(counts.operations, "operation")}, ${counts.release} released, ${counts.hold} on hold, ${counts.stop} stopped.`,
      `Profile ${report.profile.name}. ${report.signature ? "The decision is signed." : "The decision is not signed."}`,
    ),
    report.operations.map((one) => operation(one, request)),
    list("Not met", report.unmet.map((one) => one.text ?? one.message ?? JSON.stringify(one))),
    make("p", { class: "note digest" }, "Digest of the decision: ", make("code", {}, report.digest)),
    list("Cautions", report.cautions),
  );
}

function operation(one, request) {
  const look = LOOKS[one.decision] ?? "review";
  const reasons = one.reasons.map((why) => [`${why.effect}: ${why.code} ${why.title}. ${why.message}`, why.remedy]);
  const open = one.undecided.map((gap) => [
    `${gap.effect ?? "hold"}: ${gap.code} ${gap.title}, not decided. Missing: ${gap.lacks.map((lack) => lack.quantity.replaceAll("_", " ")).join(", ")}.`,
    gap.lacks.flatMap((lack) => lack.at).length ? `State: ${[...new Set(gap.lacks.flatMap((lack) => lack.at))].map((at) => placeWords(at, request)).join("; ")}.` : null,
  ]);
  return make(
    "section",
    {},
    make("h3", {}, make("span", { class: look }, make("span", { class: "sign", "aria-hidden": "true" }, SIGNS[look])), ` Operation ${one.id}: ${one.decision}`),
    make("p", {}, `Stack ${one.stack_id ?? "not named"}, verdict ${one.verdict}.`),
    make("ul", { class: "plain" }, [...reasons, ...open].map(([words, remedy]) => make("li", {}, words, remedy ? [" ", make("strong", {}, remedy)] : null))),
  );
}

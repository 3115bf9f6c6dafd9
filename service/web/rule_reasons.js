// Why a rule objects: asked from the rule catalogue when someone wants to know.
import { get } from "./api.js";
import { fill, make } from "./elements.js";

/** A closed box that fills itself when it is opened. */
export function ruleReasons(code) {
  const told = make("div", { "aria-live": "polite" });
  let asked = false;
  async function open(event) {
    if (asked || !event.target.open) return;
    asked = true;
    try {
      const rule = await get(`v1/rules/${encodeURIComponent(code)}`);
      fill(
        told,
        make("p", {}, rule.why),
        make("p", {}, make("strong", {}, "Known limits: "), rule.known_limits),
        make("p", {}, make("strong", {}, "Source: "), rule.source),
      );
    } catch (problem) {
      asked = false;
      fill(told, make("p", {}, problem.message));
    }
  }
  return make("details", { class: "reasons", ontoggle: open }, make("summary", {}, `Why rule ${code}`), told);
}

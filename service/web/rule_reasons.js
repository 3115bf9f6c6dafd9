// The reason for a rule, loaded from the rule catalogue on demand.
import { get } from "./api.js";
import { fill, make } from "./elements.js";

/** A collapsed box; its content is loaded when opened. */
export function ruleReasons(code) {
  const content = make("div", { "aria-live": "polite" });
  let requested = false;
  async function open(event) {
    if (requested || !event.target.open) return;
    requested = true;
    try {
      const rule = await get(`v1/rules/${encodeURIComponent(code)}`);
      fill(
        content,
        make("p", {}, rule.why),
        make("p", {}, make("strong", {}, "Known limits: "), rule.known_limits),
        make("p", {}, make("strong", {}, "Source: "), rule.source),
      );
    } catch (problem) {
      requested = false;
      fill(content, make("p", {}, problem.message));
    }
  }
  return make("details", { class: "reasons", ontoggle: open }, make("summary", {}, `About rule ${code}`), content);
}

// The answer beside a form: empty, waiting, problem or report.
import { fill, goToFirst, make, markFields, post, Problem, showProblem } from "./base.js";

/**
 * The answer of one route.
 *
 * `show(box, report, request)` fills the report; `places` lead to the faults; `empty` is told before the first answer.
 * `answerOf` asks where one document in JSON is not enough, `read` makes the request of its text.
 */
export function createAnswerBox(element, { path, show, places, empty, answerOf = post, read = JSON.parse }) {
  const find = (name) => element.querySelector(`[data-part="${name}"]`);
  const form = element.querySelector("form");
  let running = new AbortController();
  tell(empty);

  function tell(words) {
    fill(find("state"), words ? make("p", { class: "note" }, words) : null);
  }

  return {
    /** Ask with the text that `body` returns; a Problem that it throws is shown like one of the service. */
    async ask(body) {
      running.abort();
      running = new AbortController();
      const { signal } = running;
      showProblem(find("problem"), null);
      markFields(form, null);
      find("result").setAttribute("aria-busy", "true");
      tell("Waiting for the answer …");
      let text = "";
      try {
        text = body();
        show(find("report"), await answerOf(path, text, { signal }), read(text));
        find("report").hidden = false;
        find("status").textContent = find("report").querySelector(".verdict, h3").textContent;
        tell("");
      } catch (error) {
        if (error.name === "AbortError") return;
        if (!(error instanceof Problem)) throw error;
        find("report").hidden = true;
        tell("");
        showProblem(find("problem"), markFields(form, error.document, readOr(text)), places);
        goToFirst(error.document, places);
      } finally {
        if (!signal.aborted) find("result").removeAttribute("aria-busy");
      }
    },
    /** Show nothing again, for instance when another example was chosen. */
    clear() {
      running.abort();
      find("result").removeAttribute("aria-busy");
      find("report").hidden = true;
      showProblem(find("problem"), null);
      markFields(form, null);
      tell(empty);
    },
  };
}

/** The request in a text; undefined if it is not one document in JSON. */
function readOr(text) {
  try {
    return JSON.parse(text);
  } catch {
    return undefined;
  }
}

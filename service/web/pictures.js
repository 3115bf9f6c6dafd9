// Pictures that the service draws, put in as images with their own words beside them.
import { ask } from "./api.js";

/** The picture in a figure that holds an image, its words, a button to enlarge it and a link to save it. */
export function createPicture(figure) {
  const [image, words, larger, link] = ["img", "details", "button", "a"].map((tag) => figure.querySelector(tag));
  let address = null;

  function show(there) {
    figure.hidden = false;
    image.parentElement.hidden = larger.hidden = link.hidden = !there;
  }

  function tell(text, open) {
    words.querySelector("p").textContent = text;
    words.open = open;
  }

  larger.addEventListener("click", () => {
    const enlarged = figure.classList.toggle("larger");
    larger.setAttribute("aria-pressed", String(enlarged));
  });

  return {
    /** Ask for `v1/drawings?…` with this request and show what comes. */
    async show(query, body, signal) {
      const accept = "image/svg+xml";
      const { text } = await ask(`v1/drawings?${new URLSearchParams(query)}`, { method: "POST", body, accept, signal });
      const told = wordsOf(text);
      const made = URL.createObjectURL(new Blob([text], { type: accept }));
      image.src = made;
      image.alt = told.title;
      tell(told.description, words.open);
      link.href = made;
      link.download = `${query.picture}.svg`;
      show(true);
      if (address) URL.revokeObjectURL(address);
      address = made;
    },
    /** Say why there is no picture. */
    miss(reason) {
      tell(reason, true);
      show(false);
    },
  };
}

/** Title and description of a drawing. It is parsed apart from the page, so nothing in it runs. */
function wordsOf(svg) {
  const root = new DOMParser().parseFromString(svg, "image/svg+xml").documentElement;
  const words = (tag) => [...root.children].find((child) => child.localName === tag)?.textContent.trim() ?? "";
  return { title: words("title") || "Drawing of the stack", description: words("desc") };
}

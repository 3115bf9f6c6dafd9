// Drawings and charts of the service, each with its text description.
import { send } from "./api.js";

/** The picture in a figure with an image, a text description, an enlarge button and a save link. */
export function createPicture(figure) {
  const [image, words, larger, link] = ["img", "details", "button", "a"].map((tag) => figure.querySelector(tag));
  let address = null;

  function show(there) {
    figure.hidden = false;
    image.parentElement.hidden = larger.hidden = link.hidden = !there;
  }

  function describe(text, open) {
    words.querySelector("p").textContent = text;
    words.open = open;
  }

  larger.addEventListener("click", () => {
    const enlarged = figure.classList.toggle("larger");
    larger.setAttribute("aria-pressed", String(enlarged));
  });

  return {
    /** Request `v1/drawings?…` for this body and show the picture. */
    async show(query, body) {
      const accept = "image/svg+xml";
      const { text } = await send(`v1/drawings?${new URLSearchParams(query)}`, { method: "POST", body, accept });
      const labels = labelsOf(text);
      const made = URL.createObjectURL(new Blob([text], { type: accept }));
      image.src = made;
      image.alt = labels.title;
      describe(labels.description, words.open);
      link.href = made;
      link.download = `${query.picture}.svg`;
      show(true);
      if (address) URL.revokeObjectURL(address);
      address = made;
    },
    /** Show why there is no picture. */
    showMissing(reason) {
      describe(reason, true);
      show(false);
    },
  };
}

/** Title and description of a drawing; parsed apart from the page, so no script in it runs. */
function labelsOf(svg) {
  const root = new DOMParser().parseFromString(svg, "image/svg+xml").documentElement;
  const words = (tag) => [...root.children].find((child) => child.localName === tag)?.textContent.trim() ?? "";
  return { title: words("title") || "Drawing of the stack", description: words("desc") };
}

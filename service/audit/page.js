// The stacks of an audit: filters, groups by cause and part, a sortable list, and the report of each stack.
"use strict";
(() => {
  const ROW = { library: 0, line: 1, stack: 2, verdict: 3, open: 4, machine: 5, p95: 6, parts: 7, items: 8, problem: 9, labels: 10 };
  const ITEM = { kind: 0, code: 1, severity: 2, operation: 3, parts: 4, state: 5, covered: 6, message: 7, before: 8, remedy: 9, at: 10 };
  const SEVERITIES = ["error", "warning", "advice"];
  const VERDICTS = ["pass", "review", "fail", "not judged"];
  const PAGE = 100;
  const MORE = 50;
  const blocks = [...document.querySelectorAll("script.stacks")];
  const told = JSON.parse(document.getElementById("told").textContent);
  const root = document.getElementById("explorer");
  let rows = [];
  // Findings on parts of the library stand among the causes; they have places, and no report.
  const partRows = (told.parts || []).map(([places, item]) => Object.assign([-1, 0, null, "", "", "", null, item[ITEM.parts], [item], "", ""], { places }));
  let sort = { key: "verdict", down: true };
  let page = 0;

  function make(tag, properties = {}, ...children) {
    const element = document.createElement(tag);
    for (const [name, value] of Object.entries(properties)) {
      if (name === "class") element.className = value;
      else if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
      else if (value !== null && value !== false) element.setAttribute(name, value === true ? "" : value);
    }
    element.append(...children.filter((one) => one !== null && one !== ""));
    return element;
  }

  async function inflated(text) {
    const bytes = Uint8Array.from(atob(text), (one) => one.charCodeAt(0));
    const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate-raw"));
    return new Response(stream).json();
  }

  const many = (number, word) => `${number.toLocaleString("en")} ${word}${number === 1 ? "" : "s"}`;
  const kindOf = (item) => (item[ITEM.kind] ? "undecided" : item[ITEM.severity]);
  const nameOf = (row) => row[ROW.stack] || "unnamed";
  const placeOf = (row) => `${told.libraries[row[ROW.library]]}, line ${row[ROW.line]}`;
  // What keeps stacks from being judged comes first: nothing else is known of them.
  const NOT_JUDGED = ["AUD-020", "REF-050"];
  const rank = (item) => (NOT_JUDGED.includes(item[ITEM.code]) ? NOT_JUDGED.indexOf(item[ITEM.code]) - 3
    : item[ITEM.kind] ? 3 : SEVERITIES.indexOf(item[ITEM.severity]));

  // --- filters -----------------------------------------------------------------------------------------------------

  const filters = {};

  function field(name, label, control) {
    control.id = `filter-${name}`;
    control.addEventListener("input", () => { page = 0; show(); });
    filters[name] = control;
    return make("div", { class: "field" }, make("label", { for: control.id }, label), control);
  }

  function choice(all, options) {
    const select = make("select", {}, make("option", { value: "" }, all));
    for (const [value, text] of options) select.append(make("option", { value }, text));
    return select;
  }

  function controls() {
    const codes = new Map();
    const parts = new Set();
    const machines = new Set();
    for (const row of rows) {
      if (row[ROW.machine]) machines.add(row[ROW.machine]);
      for (const part of row[ROW.parts]) parts.add(part);
      for (const item of row[ROW.items]) codes.set(item[ITEM.code], (codes.get(item[ITEM.code]) || 0) + 1);
    }
    for (const row of partRows) codes.set(row[ROW.items][0][ITEM.code], (codes.get(row[ROW.items][0][ITEM.code]) || 0) + 1);
    const listed = make("datalist", { id: "all-parts" }, ...[...parts].sort().map((value) => make("option", { value })));
    const part = make("input", { type: "search", list: "all-parts", autocomplete: "off" });
    const form = make("form", { class: "filters", role: "search", "aria-label": "Filter stacks", onsubmit: (event) => event.preventDefault() },
      field("text", "Text", make("input", { type: "search", autocomplete: "off" })),
      field("code", "Rule", choice("all rules", [...codes].sort().map(([code, count]) => [code, `${code} ${told.titles[code] || ""} (${count})`]))),
      field("severity", "Severity", choice("all severities", [...SEVERITIES, "undecided", "not judged"].map((one) => [one, one]))),
      field("part", "Part number", part), listed,
      field("machine", "Machine", choice("all machines", [...machines].sort().map((one) => [one, one]))),
      field("verdict", "Verdict", choice("all verdicts", VERDICTS.map((one) => [one, one]))),
      told.against ? field("state", "Change", choice("all findings", [["new", "new"], ["updated", "changed"], ["unchanged", "unchanged"]])) : "",
      told.covers ? field("covered", "Waived or in the baseline", choice("shown", [["open", "left out"], ["covered", "these only"]])) : "",
      field("view", "Arrange by", choice("cause, then part", [["list", "stack"]])),
      make("button", { type: "button", onclick: reset }, "Clear filters"));
    return form;
  }

  function reset() {
    for (const [name, control] of Object.entries(filters)) if (name !== "view") control.value = "";
    page = 0;
    show();
    filters.text.focus();
  }

  // The findings of a row that pass the filters; null if the row does not.
  function chosen(row, wanted) {
    if (wanted.machine && row[ROW.machine] !== wanted.machine) return null;
    if (wanted.verdict && row[ROW.verdict] !== wanted.verdict) return null;
    if (wanted.text && !textOf(row).includes(wanted.text)) return null;
    if (wanted.part && !row[ROW.parts].some((one) => one.toLowerCase().includes(wanted.part))) return null;
    if (wanted.severity === "not judged") return row[ROW.problem] ? [] : null;
    const narrow = wanted.code || wanted.severity || wanted.state || wanted.covered || wanted.part;
    const items = row[ROW.items].filter((item) =>
      (!wanted.code || item[ITEM.code] === wanted.code) &&
      (!wanted.severity || kindOf(item) === wanted.severity) &&
      (!wanted.state || item[ITEM.state] === wanted.state) &&
      (!wanted.covered || (wanted.covered === "covered") === Boolean(item[ITEM.covered])) &&
      (!wanted.part || !item[ITEM.parts].length || item[ITEM.parts].some((one) => one.toLowerCase().includes(wanted.part))));
    if (narrow && !items.length && !(wanted.part && !wanted.code && !wanted.severity && !wanted.state && !wanted.covered)) return null;
    return items;
  }

  const texts = new Map();
  function textOf(row) {
    let text = texts.get(row);
    if (text === undefined) {
      const said = row[ROW.items].map((item) => `${item[ITEM.code]} ${item[ITEM.message]}`).join(" ");
      text = `${nameOf(row)} ${row[ROW.parts].join(" ")} ${row[ROW.machine]} ${row[ROW.labels]} ${row[ROW.problem]} ${said}`.toLowerCase();
      texts.set(row, text);
    }
    return text;
  }

  function show() {
    const wanted = Object.fromEntries(Object.entries(filters).map(([name, control]) => [name, control.value.trim()]));
    wanted.text = wanted.text.toLowerCase();
    wanted.part = wanted.part.toLowerCase();
    const found = [];
    let count = 0;
    for (const row of rows) {
      const items = chosen(row, wanted);
      if (items) { found.push([row, items]); count += items.length; }
    }
    const shownParts = [];
    if (wanted.view !== "list") {
      for (const row of partRows) {
        const items = chosen(row, wanted);
        if (items && items.length) { shownParts.push([row, items]); count += 1; }
      }
    }
    document.getElementById("found").textContent =
      `${many(found.length, "stack")} of ${rows.length.toLocaleString("en")}, ${many(count, "finding")} and undecided rules`;
    document.getElementById("results").replaceChildren(...(wanted.view === "list" ? list(found) : groups([...found, ...shownParts])));
  }

  // --- by cause, then part -----------------------------------------------------------------------------------------

  function groups(found) {
    const causes = new Map();
    for (const [row, items] of found) {
      if (row[ROW.problem]) add(causes, "not judged", { rank: -1, title: "could not be judged" }, row, null);
      for (const item of items) {
        const key = `${item[ITEM.code]} ${kindOf(item)}`;
        add(causes, key, { rank: rank(item), code: item[ITEM.code], kind: kindOf(item), title: told.titles[item[ITEM.code]] || "" }, row, item);
      }
    }
    if (!causes.size) return [make("p", {}, found.length ? "No findings on these stacks." : "No stack matches the filters.")];
    const sorted = [...causes.values()].sort((one, two) => one.rank - two.rank || two.stacks.size - one.stacks.size || (one.code < two.code ? -1 : 1));
    return sorted.map((cause) => folded("cause", [
      cause.code ? make("strong", {}, cause.code) : "", cause.code ? " " : "",
      cause.kind ? make("span", { class: `${cause.kind}-word` }, cause.kind) : make("span", { class: "fail-word" }, "not judged"),
      ` ${cause.title} `, make("span", { class: "amount" }, amount(cause.stacks))], () => partsOf(cause)));
  }

  function amount(stacks) {
    const [first] = stacks;
    return first && first.places ? many(stacks.size, "entry").replace("entrys", "entries") : many(stacks.size, "stack");
  }

  function add(causes, key, about, row, item) {
    let cause = causes.get(key);
    if (!cause) causes.set(key, cause = { ...about, stacks: new Set(), hits: [] });
    cause.stacks.add(row);
    cause.hits.push([row, item]);
  }

  function partsOf(cause) {
    const parts = new Map();
    for (const hit of cause.hits) {
      const listed = hit[1] && hit[1][ITEM.parts].length ? hit[1][ITEM.parts] : ["no single part"];
      for (const part of new Set(listed)) {
        if (!parts.has(part)) parts.set(part, []);
        parts.get(part).push(hit);
      }
    }
    const sorted = [...parts].sort((one, two) => two[1].length - one[1].length || (one[0] < two[0] ? -1 : 1));
    return [shownBySteps(sorted, ([part, hits]) => folded("part", [make("strong", {}, part), " ",
      make("span", { class: "amount" }, amount(new Set(hits.map((hit) => hit[0]))))], () => [hitsOf(hits)]), "part", make("div"))];
  }

  function hitsOf(hits) {
    const body = make("tbody");
    const table = make("div", { class: "table" }, make("table", {},
      make("thead", {}, make("tr", {}, ...["Stack", "Machine", "Finding"].map((one) => make("th", { scope: "col" }, one)))), body));
    const holder = make("div", {}, table);
    shownBySteps(hits, ([row, item]) => make("tr", {},
      make("th", { scope: "row" }, opener(row)),
      make("td", {}, row[ROW.machine] || "not stated"),
      make("td", {}, item ? said(item) : row[ROW.problem])), "stack", body, holder);
    return holder;
  }

  function said(item) {
    const operation = item[ITEM.operation] ? `Operation ${item[ITEM.operation]}: ` : "";
    return make("span", {}, operation + item[ITEM.message], ...tags(item));
  }

  function tags(item) {
    const found = [];
    if (item[ITEM.state] === "new") found.push(" ", make("span", { class: "tag new" }, "new"));
    if (item[ITEM.state] === "updated") {
      const before = (item[ITEM.before] || []).filter((one) => one !== null);
      found.push(" ", make("span", { class: "tag" }, before.length ? `changed, before: ${before.join(", limit ")}` : "changed"));
    }
    if (item[ITEM.covered]) found.push(" ", make("span", { class: "tag" }, item[ITEM.covered]));
    return found;
  }

  function folded(kind, summary, content) {
    const details = make("details", { class: kind }, make("summary", {}, ...summary));
    details.addEventListener("toggle", () => {
      if (details.open && details.children.length === 1) details.append(...content());
    });
    return details;
  }

  function shownBySteps(all, row, word, into, holder = into) {
    let shown = 0;
    const button = make("button", { type: "button", onclick: more }, "");
    function more() {
      const next = all.slice(shown, shown + MORE).map(row);
      into.append(...next);
      shown += next.length;
      button.remove();
      if (shown < all.length) {
        button.textContent = `Show more: ${many(all.length - shown, word)} left`;
        holder.append(button);
      }
      if (shown > MORE) (next[0].querySelector("button, summary") || button).focus();
    }
    more();
    return holder;
  }

  // --- one list ----------------------------------------------------------------------------------------------------

  const counted = (row, kind) => row[ROW.items].reduce((sum, item) => sum + (kindOf(item) === kind ? 1 : 0), 0);
  const COLUMNS = [
    ["stack", "Stack", nameOf],
    ["place", "Place", (row) => row[ROW.library] * 1e9 + row[ROW.line]],
    ["machine", "Machine", (row) => row[ROW.machine]],
    ["verdict", "Verdict", (row) => VERDICTS.indexOf(row[ROW.verdict]) * 1000 + counted(row, "error") * 30 + counted(row, "warning")],
    ["errors", "Errors", (row) => counted(row, "error"), true],
    ["warnings", "Warnings", (row) => counted(row, "warning"), true],
    ["undecided", "Undecided", (row) => counted(row, "undecided"), true],
    ["runout", "Runout p95, µm", (row) => (row[ROW.p95] === null ? -1 : row[ROW.p95]), true],
  ];

  function list(found) {
    if (!found.length) return [make("p", {}, "No stack matches the filters.")];
    const by = COLUMNS.find((one) => one[0] === sort.key)[2];
    const keyed = found.map(([row], number) => [by(row), number, row]);
    keyed.sort((one, two) => (one[0] < two[0] ? -1 : one[0] > two[0] ? 1 : 0) * (sort.down ? -1 : 1) || one[1] - two[1]);
    const last = Math.ceil(keyed.length / PAGE) - 1;
    page = Math.min(page, last);
    const heads = COLUMNS.map(([key, label, , figure]) => make("th", {
      scope: "col", class: figure ? "figure" : "", "aria-sort": sort.key === key ? (sort.down ? "descending" : "ascending") : null },
    make("button", { type: "button", class: "head", onclick: () => reorder(key) }, label, make("span", { "aria-hidden": "true" }, sort.key === key ? (sort.down ? " ▼" : " ▲") : ""))));
    const lines = keyed.slice(page * PAGE, (page + 1) * PAGE).map(([, , row]) => make("tr", {},
      make("th", { scope: "row" }, opener(row)),
      make("td", {}, placeOf(row)),
      make("td", {}, row[ROW.machine] || "not stated"),
      make("td", {}, make("span", { class: `${row[ROW.verdict] === "not judged" ? "fail" : row[ROW.verdict]}-word` }, row[ROW.verdict]),
        row[ROW.open] !== row[ROW.verdict] ? ` (${row[ROW.open]} without covered findings)` : ""),
      ...["error", "warning", "undecided"].map((kind) => make("td", { class: "figure" }, String(counted(row, kind)))),
      make("td", { class: "figure" }, row[ROW.p95] === null ? "not known" : row[ROW.p95].toFixed(1))));
    const turn = (step) => () => { page += step; show(); document.getElementById("results").querySelector(step > 0 ? ".next" : ".previous")?.focus(); };
    return [
      make("div", { class: "table" }, make("table", {}, make("caption", {}, "Stacks; a name opens its report, a head sorts."),
        make("thead", {}, make("tr", {}, ...heads)), make("tbody", {}, ...lines))),
      make("p", { class: "pages" },
        make("button", { type: "button", class: "previous", disabled: page === 0, onclick: turn(-1) }, "Previous page"),
        ` Page ${page + 1} of ${last + 1} `,
        make("button", { type: "button", class: "next", disabled: page === last, onclick: turn(1) }, "Next page"))];
  }

  function reorder(key) {
    sort = { key, down: sort.key === key ? !sort.down : !["stack", "place", "machine"].includes(key) };
    page = 0;
    show();
    root.querySelector("th[aria-sort] button")?.focus();
  }

  // --- report ------------------------------------------------------------------------------------------------------

  const dialog = make("dialog", { "aria-labelledby": "report-title" });

  function opener(row) {
    if (row.places) return make("span", {}, row.places);
    return make("button", { type: "button", class: "open", onclick: () => open(row) }, nameOf(row));
  }

  async function open(row) {
    const sections = (await inflated(JSON.parse(blocks[row.block].textContent).reports))[row.place];
    const items = row[ROW.items];
    dialog.replaceChildren(
      make("form", { method: "dialog" }, make("button", {}, "Close")),
      make("h2", { id: "report-title", tabindex: "-1" }, nameOf(row)),
      make("p", {}, make("strong", { class: `${row[ROW.verdict] === "not judged" ? "fail" : row[ROW.verdict]}-word` }, row[ROW.verdict]),
        `; ${placeOf(row)}; machine ${row[ROW.machine] || "not stated"}`, row[ROW.labels] ? `; ${row[ROW.labels]}` : ""),
      row[ROW.parts].length ? make("p", {}, row[ROW.parts].join(" + ")) : "",
      row[ROW.problem] ? make("p", {}, row[ROW.problem]) : "",
      ...found("Findings", items.filter((one) => !one[ITEM.kind])),
      ...found("Undecided", items.filter((one) => one[ITEM.kind])),
      ...(sections || []).map((one) => section(one, "h3")));
    dialog.showModal();
    dialog.scrollTop = 0;
    document.getElementById("report-title").focus();
  }

  function found(title, items) {
    if (!items.length) return [];
    return [make("h3", {}, title), make("ul", { class: "findings" }, ...items.map((item) => make("li", {},
      make("span", { class: `${kindOf(item)}-word` }, kindOf(item)), " ", make("strong", {}, item[ITEM.code]), ` ${told.titles[item[ITEM.code]] || ""}. `,
      said(item), item[ITEM.remedy] ? ` ${item[ITEM.remedy]}` : "", item[ITEM.at].length ? make("span", { class: "note" }, ` At ${item[ITEM.at].join(", ")}.`) : "")))];
  }

  function section([title, gap, facts, tables, parts, notes], level) {
    const held = make("section", {}, make(level, {}, title));
    if (gap) held.append(make("p", {}, gap));
    if (facts.length) held.append(make("dl", {}, ...facts.flatMap(([label, value]) => [make("dt", {}, label), make("dd", {}, value)])));
    for (const [caption, heads, lines, words] of tables) {
      held.append(make("div", { class: "table", tabindex: "0", role: "group", "aria-label": caption }, make("table", {}, make("caption", {}, caption),
        make("thead", {}, make("tr", {}, ...heads.map((one, place) => make("th", { scope: "col", class: place < words ? "" : "figure" }, one)))),
        make("tbody", {}, ...lines.map((cells) => make("tr", {}, ...cells.map((one, place) => (place
          ? make("td", { class: place < words ? "" : "figure" }, one)
          : make("th", { scope: "row" }, one)))))))));
    }
    for (const one of parts) held.append(section(one, "h4"));
    for (const one of notes) held.append(make("p", { class: "note" }, one));
    return held;
  }

  // --- start -------------------------------------------------------------------------------------------------------

  async function start() {
    const read = await Promise.all(blocks.map((one) => inflated(JSON.parse(one.textContent).rows)));
    read.forEach((some, block) => some.forEach((row, place) => { row.block = block; row.place = place; }));
    rows = read.flat();
    root.replaceChildren(controls(), make("p", { id: "found", role: "status" }), make("div", { id: "results" }));
    document.body.append(dialog);
    document.body.dataset.ready = "true";
    show();
  }

  start().catch(() => { root.replaceChildren(make("p", {}, "This browser cannot read the stacks in this page; a current one can.")); });
})();

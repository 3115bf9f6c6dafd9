"""The start page searches the shelf, follows a budget, decides a work order and audits a library."""

from __future__ import annotations

import json
import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, Route, expect

from service.examples import BATCH_LINES, BUDGET_EXAMPLES, GATE_EXAMPLES, SEARCH_EXAMPLES

OpenPage = Callable[..., Page]

VIEWS = {"search": "Search", "budget": "Compute", "gate": "Decide", "audit": "Audit"}
"""Views of one route with their buttons."""


def _open(open_page: OpenPage, name: str) -> Page:
    page = open_page(f"/#{name}")
    expect(page.locator(f"#{name} [data-part=state]")).to_contain_text("yet")
    return page


def _press(page: Page, name: str) -> None:
    page.get_by_role("button", name=VIEWS[name], exact=True).click()


def _head(page: Page, name: str) -> str:
    word = page.locator(f"#{name} .verdict-word")
    expect(word).to_be_visible()
    return word.inner_text()


@pytest.mark.parametrize("name", VIEWS)
def test_empty_slow_and_wrong_are_told(open_page: OpenPage, name: str) -> None:
    """Before the answer the view says so, while it waits, too; nothing is sent for nothing; a fault has its place."""
    page = _open(open_page, name)
    state, area = page.locator(f"#{name} [data-part=state]"), page.locator(f"#{name} textarea")
    held: list[Route] = []
    page.route("**/v1/**", lambda route: held.append(route))
    _press(page, name)
    expect(state).to_have_text("Waiting for the answer …")
    page.unroute("**/v1/**")
    for text, told in (("", "Nothing to send"), ('{"a": }', "line 1")):
        area.fill(text)
        _press(page, name)
        shown = page.locator(f"#{name} .problem, #{name} [data-part=report]").locator("visible=true")
        expect(shown.first).to_contain_text(told if name != "audit" or not text else "not judged")
    page.locator(f"#{name} select").select_option(index=0)
    expect(state).to_contain_text("yet")


_FAULTS = {
    "search": ("components/KB-32-25/mass_kg", "KB-32-25, mass"),
    "budget": ("stack/components/0/gauge_length_mm", "holder, gauge length"),
    "gate": ("operations/1/spindle_speed_rpm", "Operation 20, spindle speed"),
    "calibration": ("assemblies/4/readings/0/tir_um", "Assembly 5, reading 1, tir"),
}
"""Views with a place of their example, and what the page calls it."""


@pytest.mark.parametrize("name", _FAULTS)
def test_a_fault_is_at_its_field_in_words(open_page: OpenPage, name: str) -> None:
    """The text is marked and described, the problem names part and field without a pointer and leads there."""
    page = _open(open_page, name)
    area, problem = page.locator(f"#{name} textarea"), page.locator(f"#{name} .problem")
    request = json.loads(area.input_value())
    pointer, words = _FAULTS[name]
    *steps, last = [int(step) if step.isdigit() else step for step in pointer.split("/")]
    holder = request
    for step in steps:
        holder = holder[step]
    before, holder[last] = holder.get(last), "so much"
    area.fill(json.dumps(request, indent=1))
    page.locator(f"#{name} button.main").click()
    expect(problem.get_by_role("button", name=words)).to_be_visible()
    expect(problem).not_to_contain_text(pointer)
    expect(area).to_have_attribute("aria-invalid", "true")
    expect(area).to_have_accessible_description(re.compile(f"^{words}: "))
    problem.get_by_role("button", name=words).click()
    assert area.evaluate("area => area.value.slice(area.selectionStart, area.selectionEnd)").endswith('"so much"')
    holder[last] = before
    if before is None:
        del holder[last]
    area.fill(json.dumps(request))
    page.locator(f"#{name} button.main").click()
    expect(page.locator(f"#{name} .verdict").first).to_be_visible()
    expect(area).not_to_have_attribute("aria-invalid", "true")


@pytest.mark.parametrize("name", VIEWS)
def test_the_answer_is_printed_alone(open_page: OpenPage, name: str) -> None:
    """Verdict and tables on at most two sheets, nothing cut off at the side, without the form."""
    page = _open(open_page, name)
    page.evaluate("() => { window.printed = 0; window.print = () => { window.printed += 1; }; }")
    _press(page, name)
    _head(page, name)
    page.get_by_role("button", name="Print answer").click()
    assert page.evaluate("window.printed") == 1
    page.emulate_media(media="print", color_scheme="dark")
    expect(page.locator(f"#{name} .verdict").first).to_be_visible()
    for hidden in ("nav", f"#{name} .ask"):
        expect(page.locator(hidden)).to_be_hidden()
    page.set_viewport_size({"width": 680, "height": 1000})
    assert page.evaluate("document.documentElement.scrollWidth") <= 680
    # what scrolls on the screen is whole on paper
    wide = page.locator(f"#{name} .table").evaluate_all("all => all.map(one => one.scrollWidth - one.clientWidth)")
    assert max(wide, default=0) <= 1
    sheets = page.pdf(format="A4")
    assert 1 <= sheets.count(b"/Type /Page\n") + sheets.count(b"/Type /Page ") <= 2


def test_a_line_that_is_not_judged_is_named_in_words(open_page: OpenPage) -> None:
    """The table of an audit has part and field."""
    page = _open(open_page, "audit")
    broken = json.loads(json.dumps(_STACKS[1]))
    broken["stack"]["components"][0] = {"kind": "base_holder", "id": "chuck", "mass_kg": "heavy"}
    page.locator("#audit textarea").fill(json.dumps(broken) + "\n")
    _press(page, "audit")
    row = page.locator("#audit tbody tr").first
    expect(row).to_contain_text("chuck, mass: ")
    expect(row).not_to_contain_text("/stack")


def test_the_shelf_is_searched(open_page: OpenPage) -> None:
    """What is found has its runout and what to set; where nothing is, what comes closest has its reasons."""
    page = _open(open_page, "search")
    assert json.loads(page.locator("#search textarea").input_value()) == SEARCH_EXAMPLES["reach-and-clearance"].request
    _press(page, "search")
    assert _head(page, "search") == "1 stack found"
    expect(page.locator("#search tbody tr")).to_contain_text("grip 47")
    page.locator("#search select").select_option("nothing-found")
    _press(page, "search")
    expect(page.locator("#search .verdict-word")).to_have_text("No stack found")
    expect(page.locator("#search [data-part=report]")).to_contain_text("the minimum is 300 mm")


def test_the_percentile_follows_the_slider(open_page: OpenPage) -> None:
    """A truer part gives a lower figure, by slider and by number; the statements of a part keep their ratio."""
    page = _open(open_page, "budget")
    _press(page, "budget")
    before = _head(page, "budget")
    assert before == "95th percentile 10.3 µm"
    slider = page.get_by_label("holder", exact=True)
    slider.focus()
    with page.expect_response("**/v1/budgets") as answered:
        page.keyboard.press("Home")
    (plane,) = [one for one in answered.value.json()["planes"] if one["plane"] == "gauge_plane"]
    p95 = plane["predictions"][0]["quantiles_um"]["p95"]
    assert p95 < 10
    truer = f"95th percentile {p95:.1f} µm"
    expect(page.locator("#budget .verdict-word")).to_have_text(truer)
    page.get_by_label("Runout of holder, µm").fill("6")
    expect(slider).to_have_value("6")
    sent = json.loads(page.locator("#budget textarea").input_value())
    stated, start = (
        [one["tir_um"] for one in each["stack"]["components"][0]["runout"]["statements"]]
        for each in (sent, BUDGET_EXAMPLES["stated"].request)
    )
    assert stated == [2 * one for one in start]
    expect(page.locator("#budget .verdict-word")).not_to_have_text(truer)


def test_a_work_order_starts_only_where_the_answer_says_so(open_page: OpenPage) -> None:
    """The held operation names what is missing; without it the order may start; `may_start` alone shows that."""
    page = _open(open_page, "gate")
    _press(page, "gate")
    assert _head(page, "gate") == "May not start: hold"
    expect(page.locator("#gate [data-part=report]")).to_contain_text("State the spindle speed")
    order = json.loads(json.dumps(GATE_EXAMPLES["one-operation-held"].request))
    del order["operations"][1]
    page.locator("#gate textarea").fill(json.dumps(order))
    _press(page, "gate")
    expect(page.locator("#gate .verdict-word")).to_have_text("May start")

    def withdraw(route: Route) -> None:
        answer = route.fetch()
        route.fulfill(response=answer, json=answer.json() | {"may_start": False})

    page.route("**/v1/gates", withdraw)
    _press(page, "gate")
    expect(page.locator("#gate .verdict.review")).to_contain_text("May not start")


_STACKS = [json.loads(line) for line in BATCH_LINES.splitlines() if line.strip()]


@pytest.mark.parametrize(
    "files",
    [
        pytest.param({"lines.ndjson": BATCH_LINES}, id="lines"),
        pytest.param({"all.json": json.dumps(_STACKS[0] | {"stacks": _STACKS[1:3]})}, id="document"),
        pytest.param({f"{n}.json": json.dumps(_STACKS[0] | one) for n, one in enumerate(_STACKS[1:3])}, id="files"),
    ],
)
def test_a_file_is_audited(open_page: OpenPage, files: dict[str, str]) -> None:
    """Lines, a document and several files give the same two verdicts, the worst first."""
    page = _open(open_page, "audit")
    page.locator("#audit input[type=file]").set_input_files(
        [{"name": name, "mimeType": "application/json", "buffer": text.encode()} for name, text in files.items()]
    )
    assert _head(page, "audit") == "2 stacks: 1 pass, 0 review, 1 fail"
    rows = page.locator("#audit tbody").last.locator("tr")
    states = [row.locator("td").first.inner_text() for row in rows.all()]
    assert states == [*(["✕ problem"] if len(rows.all()) == 3 else []), "✕ fail", "✓ pass"]


_DROP_TWO = """form => {
  const dataTransfer = new DataTransfer();
  for (const name of ["one.json", "two.json"]) dataTransfer.items.add(new File(["{}"], name));
  form.dispatchEvent(new DragEvent("drop", { dataTransfer, cancelable: true }));
}"""


@pytest.mark.parametrize("name", ["search", "budget", "gate", "calibration"])
def test_two_files_where_one_is_asked_for_are_refused(open_page: OpenPage, name: str) -> None:
    """None is left out in silence."""
    page = _open(open_page, name)
    page.locator(f"#{name} form").evaluate(_DROP_TWO)
    expect(page.locator(f"#{name} .problem")).to_contain_text("one file at a time")


def test_the_start_page_is_small(open_page: OpenPage) -> None:
    """The views but the first are fetched when they are opened."""
    names: list[str] = []
    page = open_page("/")
    expect(page.locator("#check .verdict-word")).to_contain_text("Pass")
    page.on("request", lambda request: names.append(request.url.rpartition("/")[2]))
    page.get_by_role("link", name="Work order").click()
    expect(page.locator("#gate [data-part=state]")).to_contain_text("yet")
    assert "gate_view.js" in names
    assert not {"search_view.js", "audit_view.js"} & set(names)

"""The report page has the same numbers as the report, and is self-contained."""

from __future__ import annotations

import base64
import hashlib
import json
import random
import re
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import Element

import pytest

from rules.schema.parsing import BadRequestError, parse_request
from rules.schema.report import Report
from service.sheets.page import PAGE_HEADERS, report_page
from tests.support.extreme_requests import extreme_request
from tests.support.pages import (
    IN_ANY_ORDER,
    by_id,
    expected_figures,
    figures_shown,
    loose_numbers,
    misshown,
    parsed,
    words,
)
from tests.support.random_stacks import random_stack
from tests.support.stacks import assessor, deviation, figures_in

STACKS = {file.stem: file for file in sorted((Path(__file__).parents[2] / "demo_data/stacks").glob("*.json"))}

UGLY = "</style><script>alert(1)</script>&amp;\"'{{ 7 * 7 }}"


@cache
def _request(name: str) -> dict[str, Any]:
    data: dict[str, Any] = json.loads(STACKS[name].read_text("utf-8"))
    if name == "14-short-grip":
        data["policy"] = {"thresholds": [{"code": "OVH-010", "threshold": "max_length_to_diameter", "value": 5}]}
    return data


def _made(request: dict[str, Any]) -> tuple[Report, str]:
    report, derived = assessor().assess_instructed(parse_request(json.loads(json.dumps(request))))
    return report, report_page(report, derived)


@cache
def _read(name: str) -> tuple[dict[str, Any], str, Element]:
    report, page = _made(_request(name))
    return json.loads(report.model_dump_json()), page, parsed(page)


def _diameters(tree: Element) -> list[float]:
    """Return the tool's diameter on the front, which the request alone has."""
    facts = [one for one in tree.iter("div") if words(one).startswith(("Cutting diameter", "Diameter"))]
    return [figure for one in facts if one.find("dt") is not None for figure in figures_shown(one)]


def _check_figures(report: dict[str, Any], tree: Element) -> None:
    for part, expected in expected_figures(report).items():
        shown = figures_shown(by_id(tree, part))
        assert (sorted(shown) if part in IN_ANY_ORDER else shown) == expected, part
    assert set(figures_shown(tree)) - set(_diameters(tree)) <= set(figures_in(report))
    assert misshown(tree) == []


@pytest.mark.parametrize("name", STACKS)
def test_every_figure_is_that_of_the_report(name: str) -> None:
    """Part by part the page shows the numbers of the JSON report, all of them, each rounded at most for the eye."""
    report, _, tree = _read(name)
    _check_figures(report, tree)


@pytest.mark.parametrize("name", STACKS)
def test_no_number_comes_from_elsewhere(name: str) -> None:
    """Numbers in running text are words of the report, or belong to the few names the page itself knows."""
    report, _, tree = _read(name)
    told = set(re.findall(r"\d+(?:[.,]\d+)*", json.dumps(report, ensure_ascii=False)))
    # a sentence says 17 mm of 17.0
    told |= {number.removesuffix(".0") for number in told}
    told |= {str(value) for value in report["summary"].values()}
    told |= set(re.findall(r"\d+", report["provenance"]["request_sha256"][:12]))
    told |= set(re.findall(r"\d+", report["assembly"]["record"]["instruction_sha256"][:12]))
    parts = {part.get("part_number", "") for part in _request(name)["stack"]["components"]}
    told |= set(re.findall(r"\d+(?:[.,]\d+)*", " ".join(parts)))
    told |= {str(number) for number in range(1, 30)}  # order of cleaning
    assert loose_numbers(tree) - told <= {"95", "256"}  # 95 % below; SHA-256


@pytest.mark.parametrize("name", STACKS)
def test_nothing_that_matters_is_left_out(name: str) -> None:
    """Verdict, findings, gaps, cautions, steps, blanks, changes and digests are all there, each in its part."""
    report, _, tree = _read(name)
    head = words(next(tree.iter("header")))
    assert head.startswith(f"{report['verdict'].upper()} {report['stack_id']}")
    assert f"{report['summary']['undecided']} undecided" in head
    said: dict[str, list[str]] = {
        "findings": [
            text
            for one in report["findings"]
            for text in (
                one["severity"],
                one["code"],
                one["title"],
                one["message"],
                f"Remedy {one['remedy']}",
                one["source"],
                *one["at"],
            )
        ],
        "undecided": [
            text
            for one in report["undecided"]
            for text in (one["code"], one["title"], *(field for lack in one["lacks"] for field in lack["at"]))
        ],
        "stack": [one["component"] for one in report["geometry"]["components"]],
        "runout": [one["text"] for one in report["runout"]["contributors"]],
        "stiffness": [
            *report["stiffness"]["notes"],
            *(one["component"] or "" for one in report["stiffness"]["shares"]),
        ],
        "grip": ["{upper}/{lower}".format(**one["joint"]) for one in report["grip"]],
        "mass": [one["component"] for one in report["mass"]["components"]],
        "cautions": report["cautions"],
        "instruction": [
            *(
                text
                for step in report["assembly"]["steps"]
                for text in (
                    step["text"],
                    *step["from_maker"],
                    *(one["quantity"].replace("_", " ") for one in step["not_stated"]),
                )
            ),
            *(text for one in report["assembly"]["reasons"] for text in (one["code"] or "", one["text"])),
            *([acceptance["rule"]] if (acceptance := report["assembly"]["acceptance"]) else []),
        ],
        "record": [
            report["assembly"]["record"]["release"],
            report["assembly"]["record"]["instruction_sha256"],
            *(
                one["name"].capitalize() if one["group"] == "signature" else one["name"]
                for one in report["assembly"]["record"]["blanks"]
            ),
        ],
        "disassembly": [step["text"] for step in report["assembly"]["disassembly"]],
        "changes": [one["code"] for one in report["provenance"]["deviations"]],
        "provenance": [
            report["provenance"]["request_sha256"],
            report["provenance"]["rulebook_sha256"],
            *report["provenance"]["rulebooks"],
            *report["decided"],
        ],
    }
    for part, texts in said.items():
        element = by_id(tree, part)
        shown = "" if element is None else words(element)
        assert [text for text in texts if " ".join(text.split()) not in shown] == [], part


def test_these_stacks_show_everything() -> None:
    """The checks above would prove nothing on pages without findings, gaps, shrink fits, loads, stops and changes."""
    reports = [_read(name)[0] for name in STACKS]
    assert {one["verdict"] for one in reports} == {"pass", "review", "fail"}
    assert {finding["severity"] for one in reports for finding in one["findings"]} == {"error", "warning", "advice"}
    assert any(one["undecided"] for one in reports)
    assert any(not one["runout"]["complete"] for one in reports)
    assert any(grip["shrink_fit"] for one in reports for grip in one["grip"])
    assert any(it["load"]["source"] for one in reports for it in one["operations"])
    assert {one["assembly"]["state"] for one in reports} == {"build", "build_do_not_release", "do_not_build"}
    assert any(one["provenance"]["deviations"] for one in reports)


@pytest.mark.parametrize("name", STACKS)
def test_a_page_needs_nothing_else(name: str) -> None:
    """No script, nothing to fetch, no style but the one whose digest the policy names."""
    _, page, tree = _read(name)
    tags = {str(one.tag).rpartition("}")[2] for one in tree.iter()}
    assert not tags & {"script", "link", "img", "image", "iframe", "object", "embed", "form", "base", "foreignObject"}
    for one in tree.iter():
        assert "style" not in one.attrib
        assert not [key for key in one.attrib if key.startswith("on") or key.endswith("src")]
        assert one.get("href", "#").startswith("#")
    assert not re.search(r"url\((?!#)|@import|expression\(", page)
    assert set(re.findall(r"\w+://[^\"'\s<]+", page)) <= {"http://www.w3.org/2000/svg"}  # a name, nothing is fetched
    (style,) = tree.iter("style")
    digest = base64.b64encode(hashlib.sha256((style.text or "").encode()).digest()).decode()
    (policy,) = (one.get("content", "") for one in tree.iter("meta") if one.get("http-equiv"))
    for told in (policy, PAGE_HEADERS["Content-Security-Policy"]):
        assert f"default-src 'none'; style-src 'sha256-{digest}';" in told
        assert "unsafe" not in told


@pytest.mark.parametrize("name", STACKS)
def test_a_page_can_be_read_aloud(name: str) -> None:
    """One first heading, no level left out, landmarks, tables with caption and heads, unique ids, named pictures."""
    _, _, tree = _read(name)
    assert tree.get("lang") == "en"
    levels = [int(str(one.tag)[1]) for one in tree.iter() if re.fullmatch(r"h[1-6]", str(one.tag))]
    assert levels.count(1) == 1
    assert levels[0] == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))
    for landmark in ("header", "nav", "main", "footer"):
        assert len(list(tree.iter(landmark))) == 1
    for table in tree.iter("table"):
        caption = table.find("caption")
        assert caption is not None
        assert words(caption)
        assert all(head.get("scope") == "col" for head in table.find("thead").iter("th"))  # type: ignore[union-attr]
        for row in table.find("tbody").iter("tr"):  # type: ignore[union-attr]
            assert [cell.get("scope") for cell in row if cell.tag == "th"] == ["row"]
    ids = [one.get("id") for one in tree.iter() if one.get("id")]
    assert len(ids) == len(set(ids))
    for one in tree.iter():
        assert set(one.get("aria-labelledby", "").split()) <= set(ids)
        if (target := one.get("href")) is not None:
            assert target[1:] in ids
        if str(one.tag).endswith("svg"):
            assert one.get("aria-hidden") == "true" or (one.get("role") == "img" and one.get("aria-labelledby"))


@pytest.mark.parametrize("verdict", ["pass", "review", "fail"])
def test_the_verdict_is_told_by_word_and_sign(verdict: str) -> None:
    """Colour is never alone: each verdict has its own word and its own shape."""
    signs = {}
    for name in STACKS:
        report, _, tree = _read(name)
        heading = next(tree.iter("h1"))
        sign = next(one for one in heading.iter() if str(one.tag).endswith("svg"))
        signs[report["verdict"]] = [tuple(sorted(one.attrib.items())) for one in sign.iter()]
        assert report["verdict"].upper() in words(heading)
    assert all(shape != signs[verdict] for other, shape in signs.items() if other != verdict)


def _luminance(colour: str) -> float:
    channels = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    linear = [one / 12.92 if one <= 0.04045 else ((one + 0.055) / 1.055) ** 2.4 for one in channels]
    return sum(weight * one for weight, one in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_text_has_contrast(scheme: str) -> None:
    """Literature: every colour of text has at least 4.5 : 1 on paper and tint (WCAG 2.2, success criterion 1.4.3)."""
    (style,) = _read("14-short-grip")[2].iter("style")
    light, dark = re.findall(r":root {([^}]*)}", style.text or "")
    variables = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", light if scheme == "light" else dark))
    texts = set(re.findall(r"(?<![-\w])color: var\(--(\w+)\)", style.text or "")) - {"paper"}
    assert len(texts) >= 5
    for ground in ("paper", "tint"):
        for text in texts:
            dim, bright = sorted((_luminance(variables[ground]), _luminance(variables[text])))
            assert (bright + 0.05) / (dim + 0.05) >= 4.5, (text, ground)


def test_texts_of_the_caller_are_no_markup() -> None:
    """A part number that is markup stays text, and what HTML has no character for is replaced."""
    request = json.loads(json.dumps(_request("14-short-grip")))
    for part in request["stack"]["components"]:
        part["part_number"] = UGLY + "\ufffe"
    _, page = _made(request)
    tree = parsed(page)
    assert "script" not in {str(one.tag) for one in tree.iter()}
    assert [words(one) for one in tree.iter("bdi")] == [UGLY + "\ufffd"] * len(request["stack"]["components"])
    assert UGLY in words(tree)


def _uglier(value: Any, key: str = "") -> Any:
    if isinstance(value, dict):
        return {name: _uglier(inner, name) for name, inner in value.items()}
    if isinstance(value, list):
        return [_uglier(inner, key) for inner in value]
    free = ("stack_id", "code", "title", "message", "at", "remedy", "source", "unit", "quantity", "name")
    free += ("component", "joint", "text", "caution", "not_stated", "from_maker", "rule", "notes", "cautions", "book")
    free += (
        "decided",
        "rulebooks",
        "threshold",
        "version",
        "service",
        "rulebook_sha256",
        "judgement_sha256",
        "grade",
        "best_grade",
    )
    return UGLY if isinstance(value, str) and key in free and value not in ("milling", "stated") else value


@pytest.mark.parametrize("name", ["05-shrink-fit-coarse-shank", "14-short-grip", "15-incomplete-library-entry"])
def test_no_text_of_a_report_is_markup(name: str) -> None:
    """Whatever any text of a report holds, an operator's rulebooks included, it stays text."""
    report, derived = assessor().assess_instructed(parse_request(json.loads(json.dumps(_request(name)))))
    ugly = Report.model_validate(_uglier(json.loads(report.model_dump_json())))
    page = report_page(ugly, derived)
    assert "<script" not in page
    assert UGLY in words(parsed(page))


def test_a_verdict_by_replaced_rules_says_so() -> None:
    """Beside the verdict, and with the file that the rule in force stands in."""
    report, derived = assessor().assess_instructed(parse_request(_request(min(STACKS))))
    assert not report.provenance.deviations
    assert "Judged by changed rules" not in report_page(report, derived)
    replaced = [deviation("rule", "COL-010", safety=True, book="shop/<a>.yaml")]
    provenance = report.provenance.model_copy(update={"deviations": replaced})
    page = report_page(report.model_copy(update={"provenance": provenance}), derived)
    assert "Judged by changed rules" in page
    assert "safety rule, replaced by shop/&lt;a&gt;.yaml" in page


def test_the_same_report_gives_the_same_bytes() -> None:
    """Nothing on the page depends on when or how often it is made."""
    for name in STACKS:
        assert _made(_request(name))[1] == _read(name)[1]


def test_a_report_without_instruction_is_refused() -> None:
    """The page always holds the work instruction, so a report without one is no report for it."""
    report, derived = assessor().assess_derived(parse_request(json.loads(json.dumps(_request("14-short-grip")))))
    with pytest.raises(ValueError, match="work instruction"):
        report_page(report, derived)


def _generated(seeds: range) -> int:
    judged = 0
    for seed in seeds:
        try:
            report, page = _made(random_stack(random.Random(seed)))
        except BadRequestError:
            continue
        _check_figures(json.loads(report.model_dump_json()), parsed(page))
        judged += 1
    return judged


@pytest.mark.parametrize("stacks", [20, pytest.param(200, marks=pytest.mark.long)])
def test_every_generated_stack_gets_a_true_page(stacks: int) -> None:
    """However senseless the stack, the page is valid and its figures are the report's."""
    assert _generated(range(stacks)) > stacks / 2


@pytest.mark.parametrize("requests", [8, pytest.param(50, marks=pytest.mark.long)])
def test_numbers_at_the_ends_of_their_range_are_shown(requests: int) -> None:
    """However large or small the numbers of a request, the page is valid and true."""
    for seed in range(requests):
        report, page = _made(extreme_request(random.Random(seed)))
        _check_figures(json.loads(report.model_dump_json()), parsed(page))


def test_a_stack_with_an_undefined_part_gets_a_page() -> None:
    """Where nothing is known of the stack the page says so, and still holds finding, instruction and cautions."""
    request = {
        "stack": {"id": "KB-X", "components": [{"kind": "reference", "of": {"from": "request", "key": "KB-NONE"}}]}
    }
    report, page = _made(request)
    tree = parsed(page)
    _check_figures(json.loads(report.model_dump_json()), tree)
    assert report.findings[0].message in words(tree)
    assert "a part it refers to is not defined" in words(tree)
    assert all(one in words(tree) for one in report.cautions)


@pytest.mark.long
def test_thousand_generated_stacks_get_true_pages() -> None:
    """The full-size form."""
    assert _generated(range(1_000, 2_000)) > 500

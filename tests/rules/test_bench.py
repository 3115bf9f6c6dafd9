"""Remarks, examples, coverage, differences and the schema of rulebooks."""

from __future__ import annotations

import json
from collections import Counter
from datetime import date
from importlib.resources import files
from pathlib import Path
from typing import Any

import jsonschema_rs
import pytest
import yaml
from jsonschema import Draft202012Validator

from rules.assessor import Assessor
from rules.bench import books_of, coverage, difference, remarks, rulebook_schema, try_examples
from rules.rulebook.loader import base_names, base_request
from rules.schema.parsing import parse_request
from rules.stack.view import request_vocabulary

_RULE: dict[str, Any] = {
    "code": "HS-010",
    "title": "Too many teeth",
    "severity": "advice",
    "for": "component",
    "where": 'kind == "cutter"',
    "require": "teeth <= max_teeth",
    "thresholds": {"max_teeth": {"value": 3, "minimum": 1, "maximum": 9}},
    "message": "{component}: {teeth} teeth",
    "why": "The gullets fill.",
    "remedy": "Use fewer teeth.",
    "source": "trials",
    "owner": "toolroom",
    "examples": {
        "fires": [{"name": "four", "base": "nut_collet"}],
        "silent": [{"name": "two", "base": "nut_collet", "set": {"/stack/components/2/teeth": 2}}],
        "undecided": [{"name": "not stated", "base": "nut_collet", "remove": ["/stack/components/2/teeth"]}],
    },
}
_CUTTER = _RULE["where"]
_ADJUST: dict[str, Any] = {"code": "HS-010", "thresholds": {"max_teeth": 5}, "reason": "new tools", "owner": "toolroom"}


def _folder(folder: Path, rules: list[dict[str, Any]], adjust: list[dict[str, Any]] | None = None) -> Path:
    folder.mkdir(exist_ok=True)
    book = {"book": "house", "version": "1", "title": "House rules", "rules": rules, "adjust": adjust or []}
    folder.joinpath("house.yaml").write_text(json.dumps(book, default=str), encoding="utf-8")
    return folder


def _without(*names: str, **changes: Any) -> dict[str, Any]:
    return {name: one for name, one in _RULE.items() if name not in names} | changes


def test_built_in_rules_have_no_remarks() -> None:
    """They are complete, which is an error otherwise."""
    assert remarks(books_of([])) == []


@pytest.mark.parametrize(
    ("rule", "reasons"),
    [
        (_RULE, []),
        (_without("why"), ["no why"]),
        (_without("remedy"), ["no remedy"]),
        (_without("source"), ["no source"]),
        (_without("owner"), ["no owner"]),
        (_without("examples"), ["no example that fires", "no example that stays silent", "no example that is undec"]),
        (_without("examples", where='kind == "cutter" && stated(teeth)'), ["no example that f", "no example that st"]),
        (
            _without(where=_CUTTER + ' && labels.cell == "B"'),
            ["undecided for every stack without labels"],
        ),
        (_without(where=_CUTTER + ' && stated(labels.cell) && labels.cell == "B"'), []),
        (_without(replaced_by="GRIP-010"), ["replaced by GRIP-010; remove it"]),
        (_without(replaced_by="HS-099"), ["replaced by HS-099, which does not exist"]),
        (
            _without(code="OVH-010", replaces=True, severity="error", examples={}),
            ["no example", "no example", "no example", "raises the severity from advice to error"],
        ),
    ],
)
def test_what_a_rule_of_a_shop_lacks(tmp_path: Path, rule: dict[str, Any], reasons: list[str]) -> None:
    """Each is a warning with the line of the rule."""
    found = remarks(books_of([_folder(tmp_path / "house", [rule])]))
    assert [one.reason[: len(start)] for one, start in zip(found, reasons, strict=True)] == reasons
    assert {(one.level, one.code) for one in found} <= {("warning", rule["code"])}


@pytest.mark.parametrize(
    ("changes", "reasons"),
    [
        ({}, []),
        ({"thresholds": {"max_teeth": 3.0}}, ["sets max_teeth to 3, which it is already"]),
        ({"severity": "advice"}, ["sets the severity advice, which"]),
        ({"severity": "error"}, ["raises the severity from advice to error"]),
        ({"until": date(2031, 5, 3)}, ["ended on 2031-05-03 and no longer counts"]),
        ({"until": date(2031, 5, 4)}, ["ends on 2031-05-04"]),
        ({"until": date(2031, 6, 3)}, ["ends on 2031-06-03"]),
        ({"until": date(2031, 6, 4)}, []),
        ({"thresholds": {}, "disable": True}, ["switches the rule off everywhere", "has no end"]),
        ({"thresholds": {}, "disable": True, "where": "teeth > 8", "until": date(2032, 1, 1)}, []),
    ],
)
def test_what_an_adjustment_does(tmp_path: Path, changes: dict[str, Any], reasons: list[str]) -> None:
    """Changes that change nothing, raise a severity, switch off, end soon or have ended."""
    today = date(2031, 5, 4)
    book = books_of([_folder(tmp_path / "house", [_RULE], [_ADJUST | changes])], today)
    found = remarks(book, today)
    assert [one.reason[: len(start)] for one, start in zip(found, reasons, strict=True)] == reasons


def test_no_end_is_remarked_on_without_a_day(tmp_path: Path) -> None:
    """Nothing reads a clock."""
    book = books_of([_folder(tmp_path / "house", [_RULE], [_ADJUST | {"until": date(2001, 1, 1)}])])
    assert remarks(book) == []


def test_examples_are_tried(tmp_path: Path) -> None:
    """Each is compared with what it is listed under."""
    examples = {"fires": _RULE["examples"]["fires"], "silent": [{"name": "also four", "base": "nut_collet"}]}
    book = books_of([_folder(tmp_path / "house", [_without(examples=examples)])])
    tried = try_examples(book, [book.rule("HS-010")])
    assert [(one.name, one.says, one.does, one.holds) for one in tried] == [
        ("four", "fires", "fires", True),
        ("also four", "silent", "fires", False),
    ]


def test_coverage_counts_subjects(tmp_path: Path) -> None:
    """Each subject of the kind has one outcome in each request; an unreadable or invalid request is a fault."""
    assessor = Assessor.load([_folder(tmp_path / "house", [_RULE])])
    request = base_request("nut_collet")
    two, none = base_request("nut_collet"), base_request("nut_collet")
    two["stack"]["components"][2]["teeth"] = 2
    del none["stack"]["components"][2]["teeth"]
    bad = {**request, "operations": request["operations"] * 2}
    found = coverage(assessor, [None, *map(parse_request, (request, two, none, bad))])
    assert (found.stacks, found.faults) == (3, 2)
    assert found.counts["HS-010"] == Counter(fires=1, holds=1, undecided=1, not_concerned=6)
    assert found.never("fires", own=True) == []
    assert "KNOB-010" in found.never("fires", "holds", "undecided")


def test_coverage_agrees_with_the_reports(tmp_path: Path) -> None:
    """Fired and undecided subjects are the findings and gaps of the reports."""
    assessor = Assessor.load([_folder(tmp_path / "house", [_RULE])])
    requests = [parse_request(base_request(name)) for name in base_names()]
    found = coverage(assessor, requests)
    reports = [assessor.assess(one) for one in requests]
    fired = Counter(one.code for report in reports for one in report.findings)
    undecided = Counter(one.code for report in reports for one in report.undecided)
    assert {code: counted["fires"] for code, counted in found.counts.items() if counted["fires"]} == fired
    assert {code: counted["undecided"] for code, counted in found.counts.items() if counted["undecided"]} == undecided


def test_the_difference_of_two_sets_of_books(tmp_path: Path) -> None:
    """Rules added, removed and changed, and the verdicts and findings that change with their first places."""
    gone = _without(code="HS-020")
    stricter = _without(severity="error")
    come = _without(code="HS-030", require="teeth <= 9", thresholds={}, examples={})
    old = Assessor.load([_folder(tmp_path / "old", [_RULE, gone])])
    new = Assessor.load([_folder(tmp_path / "new", [stricter, come], [_ADJUST | {"where": "teeth == 4"}])])
    requests = []
    for place, teeth in enumerate((2, 4, 8)):
        request = base_request("nut_collet")
        request["stack"]["components"][2]["teeth"] = teeth
        requests.append((f"line {place}", parse_request(request)))
    found = difference(old, new, requests)
    assert (found.added, found.removed, found.adjusted) == (("HS-030",), ("HS-020",), True)
    assert found.changed == (("HS-010", ("severity",)),)
    assert [tuple(one) for one in found.verdicts] == [("pass to fail", 1, ("line 2",))]
    assert [tuple(one) for one in found.findings] == [
        ("HS-020: advice to nothing", 2, ("line 1", "line 2")),
        ("HS-010: advice to error", 1, ("line 2",)),
        ("HS-010: advice to nothing", 1, ("line 1",)),
    ]
    assert difference(old, old, requests).is_empty


_SCHEMA = rulebook_schema(request_vocabulary())


def test_the_schema_admits_the_built_in_books() -> None:
    """It is a valid schema, and every book of this package satisfies it."""
    jsonschema_rs.meta.validate(_SCHEMA)
    validator = jsonschema_rs.Draft202012Validator(_SCHEMA)
    books = [one for one in files("rules").joinpath("books").iterdir() if one.name.endswith(".yaml")]
    checked = [
        list(validator.iter_errors(yaml.safe_load(book.read_text(encoding="utf-8"))))
        for book in books
        if book.name != "vocabulary.yaml"
    ]
    assert len(checked) > 10
    assert checked == [[]] * len(checked)


@pytest.mark.parametrize(
    "rule", [_without("title"), _without(severity="fatal"), _without(sevrity="error"), _without(thresholds={"a": "x"})]
)
def test_the_schema_refuses_what_the_loader_refuses(rule: dict[str, Any]) -> None:
    """Missing, misspelt and wrong fields."""
    book = {"book": "house", "version": "1", "title": "House rules", "rules": [rule]}
    assert not Draft202012Validator(_SCHEMA).is_valid(book)


def test_the_schema_describes_and_completes() -> None:
    """Every field has a description, and every kind of subject its names with their meaning and unit."""
    for name in ("RuleEntry", "AdjustmentEntry", "Example", "Examples"):
        fields = _SCHEMA["$defs"][name]["properties"]
        assert all("description" in field for field in fields.values()), name
    names = {one.get("const"): one.get("description") for one in _SCHEMA["$defs"]["names_of_joint"]["anyOf"]}
    assert names["grip_length_mm"] == "grip length [mm]"
    assert "side_lock" in names["upper.coupling"]

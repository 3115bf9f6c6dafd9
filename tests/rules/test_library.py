"""``from rules import check``: use as a library, without a server."""

from __future__ import annotations

import json
import pkgutil
import subprocess
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pytest
from pydantic import BaseModel

import rules
from rules import BadRequestError, Checker, check
from rules.assessor import Assessor
from rules.schema.parsing import parse_request
from rules.schema.request import CheckRequest, StackRequest

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "demo_data"
STACK = DEMO / "stacks" / "14-short-grip.json"


@pytest.fixture(scope="module")
def checker() -> Checker:
    return Checker()


@pytest.mark.parametrize(
    "form",
    [
        bytes,
        bytes.decode,
        json.loads,
        lambda data: CheckRequest.model_validate_json(data),
        lambda data: StackRequest.model_validate_json(data),
        lambda data: {"stack": CheckRequest.model_validate_json(data).stack, **_without(json.loads(data), "stack")},
    ],
    ids=["bytes", "str", "dict", "model", "base model", "dict with models"],
)
def test_every_form_of_a_request_gets_one_report(form: Callable[[bytes], Any], checker: Checker) -> None:
    """The report is, byte for byte, the one that the service gives for this JSON."""
    data = STACK.read_bytes()
    expected = Assessor.load().assess(parse_request(json.loads(data))).model_dump_json()
    assert checker.check(form(data)).model_dump_json() == expected


def _without(request: Mapping[str, Any], name: str) -> dict[str, Any]:
    return {key: value for key, value in request.items() if key != name}


def test_a_request_is_left_as_it_was(checker: Checker) -> None:
    """A caller's dictionary may be sent again."""
    request = json.loads(STACK.read_bytes())
    checker.check(request)
    assert request == json.loads(STACK.read_bytes())


@pytest.mark.parametrize(
    ("request_", "pointer", "detail"),
    [
        ({"stack": {"components": []}, "operatons": []}, "/operatons", "did you mean 'operations'?"),
        ({"stack": {"components": [{"id": "a", "kind": "collet", "mass_kg": float("nan")}]}}, None, "NaN"),
        ({"stack": {"components": [{"id": "a", "kind": "collet", "mass_kg": 1j}]}}, "", "complex"),
        ({"stack": {"components": [{"id": "\ud800", "kind": "collet"}]}}, "/stack/components/0/id", "surrogate"),
        (b'{"stack": 1, "stack": 2}', "", "duplicated"),
        (b'{"stack":\n oops}', "", "line 2, column 2"),
        ("\ud800", "", "not UTF-8"),
        (b"\xff", "", "not UTF-8"),
        ("", "", "empty"),
        (b"[" * 100_000, "", ""),
        ([], "", ""),
        (None, "", ""),
        (object(), "", "object"),
    ],
)
def test_an_invalid_request_is_a_bad_request(request_: Any, pointer: str | None, detail: str, checker: Checker) -> None:
    """Each fault has a JSON Pointer and a reason; nothing else is raised, whatever is given."""
    with pytest.raises(BadRequestError) as caught:
        checker.check(request_)
    assert any(fault.pointer == pointer or pointer is None for fault in caught.value.faults)
    assert detail in str(caught.value)


def test_a_dictionary_within_itself_is_a_bad_request(checker: Checker) -> None:
    """It has no form in JSON."""
    request: dict[str, Any] = {}
    request["stack"] = request
    with pytest.raises(BadRequestError, match="JSON"):
        checker.check(request)


def test_a_threshold_that_no_rule_has_is_a_bad_request(checker: Checker) -> None:
    """As over HTTP, with its pointer."""
    request = json.loads(STACK.read_bytes()) | {
        "policy": {"thresholds": [{"code": "GRIP-010", "threshold": "no_such", "value": 1}]}
    }
    with pytest.raises(BadRequestError) as caught:
        checker.check(request)
    assert [fault.pointer for fault in caught.value.faults] == ["/policy/thresholds/0/threshold"]


@pytest.mark.parametrize(
    ("name", "file", "answers"),
    [
        ("check", "stacks/14-short-grip.json", "verdict"),
        ("runout_budget", "stacks/14-short-grip.json", "planes"),
        ("read_gauge", "readings/01-gauge-pin-within-limit.json", "next_step"),
        ("compare", "comparisons/deep-rib.json", "alternatives"),
        ("decide_release", "orders/kb-wo-2107.json", "decision"),
        ("find_stacks", "searches/deep-rib.json", "items"),
    ],
)
def test_every_question_is_offered_twice(name: str, file: str, answers: str, checker: Checker) -> None:
    """As a method, and as a function that asks the built-in rules; both give one answer."""
    data = (DEMO / file).read_bytes()
    by_method, by_function = getattr(checker, name)(data), getattr(rules, name)(data)
    assert isinstance(by_method, BaseModel)
    assert getattr(by_method, answers)
    assert by_method == by_function
    with pytest.raises(BadRequestError):
        getattr(rules, name)({"no_such_field": 1})


def test_own_rulebooks_and_catalogue_are_loaded(tmp_path: Path) -> None:
    """Folders may be given as text; the report names the rules and the catalogue in force."""
    part = {"kind": "collet", "id": "collet"}
    (tmp_path / "parts.json").write_text(json.dumps({"KB-C": part}), encoding="utf-8")
    own = Checker(catalogue=str(tmp_path))
    assert own.check(STACK.read_bytes()).provenance != check(STACK.read_bytes()).provenance


def test_defects_of_own_folders_are_told(tmp_path: Path) -> None:
    """With the file that holds them."""
    (tmp_path / "own.yaml").write_text("rules: 1\n", encoding="utf-8")
    with pytest.raises(rules.RulebookError, match=r"own\.yaml"):
        Checker(rulebooks=[tmp_path])
    with pytest.raises(rules.CatalogueError, match=r"own\.yaml"):
        Checker(catalogue=tmp_path)


def test_no_module_has_the_name_of_what_is_offered() -> None:
    """Importing it would put it in the place of the function."""
    assert not {module.name for module in pkgutil.iter_modules(rules.__path__)} & set(rules.__all__)
    assert sorted(rules.__all__, key=str.lower) == sorted(set(rules.__all__), key=str.lower)
    assert set(rules.__all__) <= set(dir(rules))
    assert all(getattr(rules, name).__doc__ for name in rules.__all__)
    with pytest.raises(AttributeError, match="chekc"):
        rules.chekc  # noqa: B018


def test_nothing_is_loaded_before_it_is_used() -> None:
    """A client that wants the models alone does not pay for the engine."""
    told = "import sys, rules, rules.schema.report; print(*(n for n in sys.modules if n.startswith('rules')))"
    loaded = subprocess.run([sys.executable, "-c", told], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    assert "rules.schema.report" in loaded
    assert not {"rules.checker", "rules.assessor", "rules.rulebook"} & set(loaded.split())

"""What rests on standards is told, and every answer uses assumed values visibly or refuses them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from rules.assessor import Assessor
from rules.budget import full_budget
from rules.comparison import compare
from rules.explanation import explain
from rules.reading.reading import read_gauge
from rules.schema.budget import BudgetRequest
from rules.schema.comparison import ComparisonRequest
from rules.schema.explanation import ExplanationRequest
from rules.schema.parsing import BadRequestError, parse, parse_request
from rules.schema.reading import ReadingRequest
from rules.schema.search import SearchRequest
from rules.schema.short_form import full_form, read_yaml
from rules.search.search import search
from service.sheets.questions import print_comparison
from service.sheets.text import PlainText

ASSESSOR = Assessor.load()
_DEMO = Path(__file__).resolve().parents[3] / "demo_data"

_STACK = """\
stack:
  - generic:holder:HSK-A63:iso15488-32:100
  - iso15488:32:12
  - {part: "din6535:HA12:83", cutting_diameter_mm: 12, projection_mm: 40}
machine: {spindle: HSK-A63}
operation: {spindle_speed_rpm: 6000, runout_limit_um: 20}
"""


def _data(**policy: str) -> dict[str, Any]:
    found: dict[str, Any] = full_form(read_yaml(_STACK.encode()))
    return {**found, "policy": policy} if policy else found


def test_a_value_of_a_standard_names_the_rules_that_need_it() -> None:
    """Those that lack the field if the part does not bring the value: found by stating the part without it."""
    report = ASSESSOR.assess(parse_request(_data()))
    told = {one.quantity: one for one in report.stated_by_standard}
    assert set(told) == {"runout_tir", "shank_length", "shank_tolerance", "material"}
    assert {"RUN-010", "RUN-020"} <= set(told["runout_tir"].used_by)
    for one in told.values():
        assert one.used_by == sorted(set(one.used_by))
    bare = _data()
    bare["stack"]["components"][1]["with"] = {"runout": None}
    lacks = {
        gap.code
        for gap in ASSESSOR.assess(parse_request(bare)).undecided
        for lack in gap.lacks
        if "/stack/components/1/with/runout" in lack.at
    }
    assert lacks
    assert set(told["runout_tir"].used_by) == lacks


def test_assumptions_leave_what_stands_in_the_standard() -> None:
    """The same list, whatever is assumed beside it."""
    plain, assumed = (ASSESSOR.assess(parse_request(_data(**policy))) for policy in ({}, {"unstated": "typical"}))
    assert assumed.assumptions
    assert assumed.stated_by_standard == plain.stated_by_standard


def _reading(policy: dict[str, str]) -> Any:
    data = json.loads((_DEMO / "readings" / "01-gauge-pin-within-limit.json").read_bytes())
    return read_gauge(parse(ReadingRequest, {**data, "policy": policy}), ASSESSOR.book, ASSESSOR.catalogue)


def _search(policy: dict[str, str]) -> Any:
    data = json.loads((_DEMO / "searches" / "small-mill-far-out.json").read_bytes())
    return search(parse(SearchRequest, {**data, "policy": policy}), ASSESSOR)


_REFUSING = {
    "budget": lambda policy: full_budget(parse(BudgetRequest, _data(**policy)), ASSESSOR.book),
    "reading": _reading,
    "explanation": lambda policy: explain(parse(ExplanationRequest, {**_data(**policy), "code": "RUN-010"}), ASSESSOR),
    "search": _search,
}


@pytest.mark.parametrize("unstated", ["typical", "cautious"])
@pytest.mark.parametrize("name", _REFUSING)
def test_what_assumes_nothing_says_so(name: str, unstated: str) -> None:
    """By the pointer of the policy; 'undecided' is what it does anyhow."""
    with pytest.raises(BadRequestError) as caught:
        _REFUSING[name]({"unstated": unstated})
    (fault,) = caught.value.faults
    assert (fault.pointer, fault.code) == ("/policy/unstated", "not_one_of")
    assert "assumes nothing" in fault.detail
    assert name in fault.detail
    assert _REFUSING[name]({"unstated": "undecided"}) is not None


def test_a_comparison_shows_what_it_assumes() -> None:
    """Each alternative as its own check, in JSON and text; without the policy there are none but joint stiffnesses."""
    stacks = [_data()["stack"], _data()["stack"]]
    stacks[1] = {**stacks[1], "components": [*stacks[1]["components"]]}
    stacks[1]["components"][1] = {**stacks[1]["components"][1], "of": {"from": "standard", "key": "iso15488:32:12:1"}}
    data = {
        "alternatives": [{"name": name, "stack": one} for name, one in zip(("two", "one"), stacks, strict=True)],
        "operations": _data()["operations"],
        "machine": _data()["machine"],
    }
    report = compare(parse(ComparisonRequest, {**data, "policy": {"unstated": "typical"}}), ASSESSOR)
    own = ASSESSOR.assess(parse_request(_data(unstated="typical")))
    assert report.alternatives[0].assumptions == own.assumptions
    assert report.alternatives[0].planes == own.runout.planes
    out = PlainText()
    print_comparison(report, out.console)
    assert out.text().count("Assumed: ") == 2
    plain = compare(parse(ComparisonRequest, data), ASSESSOR)
    assert {it.quantity for one in plain.alternatives for it in one.assumptions} <= {"joint_stiffness"}

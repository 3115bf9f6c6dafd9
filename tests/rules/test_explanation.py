"""What an explanation says of a rule agrees with the check, and leads to the fields of the request."""

from __future__ import annotations

import copy
import json
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest

from rules.assessor import Assessor
from rules.explanation import explain
from rules.rulebook.expression import Gap
from rules.rulebook.loader import base_names, base_request
from rules.schema.explanation import ExplanationReport, ExplanationRequest, SubjectExplanation
from rules.schema.parsing import BadRequestError, parse, parse_request

_STACKS = sorted(Path(__file__).parents[2].glob("demo_data/stacks/*.json"))

_BOOK = """\
book: house
version: "1"
title: House rules
rules:
  - {code: HS-010, title: Fast side lock, severity: error, for: joint, where: upper.coupling == "side_lock",
     require: operation.spindle_speed_rpm <= max_rpm, thresholds: {max_rpm: 8000 rpm},
     message: "{joint}: {operation.spindle_speed_rpm} rpm"}
  - {code: HS-020, title: No carbide, severity: warning, for: stack,
     require: 'components.all(c, c.material != "cemented_carbide")', message: carbide}
  - {code: HS-030, title: Either, severity: advice, for: component, where: kind == "cutter",
     require: (teeth <= 3 || cutting_diameter_mm > 30) && overall_length_mm < 500, message: either}
  - {code: HS-040, title: Not here, severity: advice, for: stack,
     require: 'components.exists(c, c.kind == "reducer")', message: none}
adjust:
  - {code: HS-040, disable: true, reason: not yet, owner: toolroom}
"""


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Assessor:
    """The built-in rules with those of a shop."""
    folder = tmp_path_factory.mktemp("house")
    folder.joinpath("house.yaml").write_text(_BOOK, encoding="utf-8")
    return Assessor.load([folder])


@pytest.fixture(scope="module")
def assessor() -> Assessor:
    """The built-in rules."""
    return Assessor.load()


def _explained(assessor: Assessor, request: dict[str, Any], code: str) -> ExplanationReport:
    return explain(parse(ExplanationRequest, {**request, "code": code}), assessor)


def _judged_once(assessor: Assessor) -> Assessor:
    """The assessor for any number of questions about one request, which it analyses and judges for the first alone."""
    one, engine = copy.copy(assessor), copy.copy(assessor.engine)
    one.situations = _first_of(assessor.situations)  # type: ignore[method-assign]
    one.engine = engine
    engine.standings, engine.judge = _first_of(engine.standings), _first_of(engine.judge)  # type: ignore[method-assign]
    return one


def _first_of(ask: Callable[..., Any]) -> Callable[..., Any]:
    """The first answer again; one for each sequence of facts, which the situations keep alive."""
    made: dict[int, Any] = {}

    def of(first: Any, *others: Any) -> Any:
        key = id(first) if isinstance(first, Sequence) else 0
        if key not in made:
            made[key] = ask(first, *others)
        return made[key]

    return of


@pytest.fixture(scope="module")
def explanations(house: Assessor) -> Callable[[dict[str, Any]], Mapping[str, ExplanationReport]]:
    """What is explained of every rule of the shop on a request, made once for the tests that ask."""
    made: dict[str, dict[str, ExplanationReport]] = {}

    def of(request: dict[str, Any]) -> Mapping[str, ExplanationReport]:
        text = json.dumps(request)
        if text not in made:
            once = _judged_once(house)
            made[text] = {rule.code: _explained(once, request, rule.code) for rule in house.book.rules}
        return made[text]

    return of


def _at(request: Any, pointer: str) -> Any:
    for step in pointer.split("/")[1:]:
        request = request[int(step)] if isinstance(request, list) else request[step.replace("~1", "/")]
    return request


def _requests() -> list[Any]:
    stacks = [pytest.param(json.loads(one.read_text(encoding="utf-8")), id=one.stem) for one in _STACKS]
    return [*stacks, *(pytest.param(base_request(name), id=name) for name in base_names())]


@pytest.mark.parametrize("request_", _requests())
def test_outcomes_are_those_of_the_check(
    house: Assessor, explanations: Callable[[dict[str, Any]], Mapping[str, ExplanationReport]], request_: dict[str, Any]
) -> None:
    """Each finding and each undecided rule of the report is the outcome on one subject, and there are no others."""
    request_.pop("include", None)
    report = house.assess(parse_request(request_))
    said = Counter(
        [(one.code, "fires", one.operation, one.severity) for one in report.findings]
        + [(one.code, "undecided", one.operation, one.severity) for one in report.undecided]
    )
    explained: Counter[tuple[str, str, str | None, str]] = Counter()
    idle = set()
    for rule in (rule for rule in house.book.rules if rule.applies_to != "part"):
        one = explanations(request_)[rule.code]
        explained.update(
            (rule.code, subject.outcome, subject.operation, str(subject.severity))
            for subject in one.subjects
            if subject.outcome in ("fires", "undecided")
        )
        if one.not_judged is not None:
            idle.add(rule.code)
    assert explained == said
    if len(request_.get("operations") or ()) < 2:
        assert idle == {one.code for one in report.not_judged}


@pytest.mark.parametrize("request_", _requests())
def test_stated_values_stand_where_their_places_say(
    explanations: Callable[[dict[str, Any]], Mapping[str, ExplanationReport]], request_: dict[str, Any]
) -> None:
    """A pointer of a value that the request states leads to that value; lengths may be written with their unit."""
    request_.pop("include", None)
    met = 0
    for explained in explanations(request_).values():
        for subject in explained.subjects:
            for value in subject.values:
                if value.state != "stated":
                    continue
                (place,) = value.at
                stated = _at(request_, place)
                assert stated == value.value or isinstance(stated, str)
                met += 1
    assert met > 10


@pytest.mark.parametrize("name", base_names())
def test_a_view_gives_every_value_with_its_place(assessor: Assessor, name: str) -> None:
    """`get` and `seen` agree on every property of every subject, and only what does not exist has no place."""
    situation = assessor.situations(parse_request(base_request(name))).each[0]
    for fact in situation.analysis.facts:
        view = situation.view_of(fact)
        for prop in assessor.book.vocabulary.of(fact.kind):
            seen = view.seen(prop)
            assert seen.value == view.get(prop), (fact.key, prop)
            assert (seen.value is None) == (not seen.places) or isinstance(seen.value, Gap), (fact.key, prop)


def test_a_joint_that_is_not_stated_lacks_only_fields_of_joints(assessor: Assessor) -> None:
    """What is computed for other joints does not exist for it, and is not missing."""
    request = base_request("nut_collet")
    request["stack"].pop("joints")
    situation = assessor.situations(parse_request(request)).each[0]
    views = [situation.view_of(fact) for fact in situation.analysis.facts if fact.kind == "joint"]
    assert [view.get("clamping_min_mm") is None for view in views] == [True, True, False]
    assert all(isinstance(view.get("tilting_stiffness_n_m_per_mrad"), Gap) for view in views)


@pytest.mark.parametrize(
    ("speed", "code", "outcome", "to_pass"),
    [
        (9000, "HS-010", "fires", ["spindle speed is at most 8000 rpm", "; now 9000 rpm."]),
        (8000, "HS-010", "holds", []),
        (None, "HS-010", "undecided", ["State operation spindle speed", "(/operations/0/spindle_speed_rpm)"]),
        (
            9000,
            "HS-020",
            "fires",
            ["Of every component:", "is not cemented carbide", "; now see /stack/components/1."],
        ),
        (
            9000,
            "HS-030",
            "fires",
            ["teeth is at most 3, or", "is more than 30 mm", "; now teeth 4, cutting diameter 20 mm."],
        ),
    ],
)
def test_what_would_have_to_change(
    house: Assessor, speed: float | None, code: str, outcome: str, to_pass: list[str]
) -> None:
    """The conditions that do not hold, in words, with the present values; or the fields that are missing."""
    request = base_request("side_lock")
    if speed is None:
        del request["operations"][0]["spindle_speed_rpm"]
    else:
        request["operations"][0]["spindle_speed_rpm"] = speed
    concerned = [one for one in _explained(house, request, code).subjects if one.outcome != "not_concerned"]
    assert [one.outcome for one in concerned] == [outcome]
    assert len(concerned[0].to_pass) == min(len(to_pass), 1)
    assert [part for part in to_pass if part not in concerned[0].to_pass[0]] == []


def _only(report: ExplanationReport) -> SubjectExplanation:
    (one,) = (one for one in report.subjects if one.outcome != "not_concerned")
    return one


def test_thresholds_are_those_in_force(assessor: Assessor) -> None:
    """A threshold that the request sets stands in the explanation and in its words."""
    request = base_request("nut_collet")
    changed = {"code": "COL-020", "threshold": "max_collapse", "value": 0.5}
    report = _explained(assessor, {**request, "policy": {"thresholds": [changed]}}, "COL-020")
    assert _only(report).thresholds == {"max_collapse": 0.5}
    assert "0.5" in report.require.words
    assert "0.9" in _explained(assessor, request, "COL-020").require.words


def test_a_rule_that_is_off_says_so(house: Assessor) -> None:
    """It has no severity, and the reason is the adjustment."""
    report = _explained(house, base_request("side_lock"), "HS-040")
    assert [(one.outcome, one.severity) for one in report.subjects] == [("not_concerned", None)]
    assert report.not_judged == "An adjustment switches the rule off."


def test_each_operation_is_explained(house: Assessor) -> None:
    """A rule that reads the operation has an outcome for each; another rule has one."""
    request = base_request("side_lock")
    first = request["operations"][0]
    request["operations"] = [first, {**first, "id": "20", "spindle_speed_rpm": 9000}]
    subjects = _explained(house, request, "HS-010").subjects
    assert [(one.operation, one.outcome) for one in subjects if one.subject == "holder/end-mill"] == [
        ("10", "holds"),
        ("20", "fires"),
    ]
    assert {one.operation for one in _explained(house, request, "HS-020").subjects} == {None}


def test_places_lead_into_definitions(house: Assessor) -> None:
    """A field of a referenced component is where its definition states it."""
    request = base_request("side_lock")
    part = request["stack"]["components"][0]
    request["components"] = {"SL": part}
    request["stack"]["components"][0] = {"id": "holder", "kind": "reference", "of": {"from": "request", "key": "SL"}}
    one = _only(_explained(house, request, "HS-010"))
    assert [value.at for value in one.values if value.name == "upper.coupling"] == [
        ["/components/SL/workpiece_side/coupling"]
    ]


def test_an_unknown_rule_is_a_fault(assessor: Assessor) -> None:
    """The fault points at the code."""
    with pytest.raises(BadRequestError) as caught:
        _explained(assessor, base_request("side_lock"), "HS-999")
    assert [one.pointer for one in caught.value.faults] == ["/code"]

"""Comparison of alternatives: exact pairs, dominance, sentences with their numbers, and an answer to every request."""

from __future__ import annotations

import copy
import json
import random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.assessor import Assessor
from rules.comparison import compare
from rules.rulebook.loader import base_request
from rules.schema.comparison import MAX_ALTERNATIVES, MAX_IN_ALL_PAIRS, ComparisonReport, ComparisonRequest
from rules.schema.parsing import BadRequestError, parse, parse_request
from tests.support.random_stacks import random_stack
from tests.support.stacks import known, quantile

ASSESSOR = Assessor.load()


def _compare(request: dict[str, Any]) -> ComparisonReport:
    return compare(parse(ComparisonRequest, request), ASSESSOR)


def _alternatives(stacks: dict[str, Any], **rest: Any) -> dict[str, Any]:
    return {"alternatives": [{"name": name, "stack": stack} for name, stack in stacks.items()], **rest}


def _varied() -> dict[str, Any]:
    """Four ways of one base: as it is, longer, slower and truer, and with a runout not stated."""
    base = base_request("press_in")
    stacks = {name: copy.deepcopy(base["stack"]) for name in ("plain", "long", "true", "gap")}
    stacks["long"]["joints"][-1]["grip_length_mm"] -= 4
    stacks["true"]["components"][0]["max_speed_rpm"] = 12000
    for part in stacks["true"]["components"]:
        for statement in part.get("runout", {"statements": ()})["statements"]:
            statement["tir_um"] /= 2
    del stacks["gap"]["components"][1]["runout"]
    return _alternatives(stacks, operations=base["operations"], machine=base["machine"])


def _by_name(report: ComparisonReport) -> dict[str, Any]:
    return {one.name: one for one in report.alternatives}


def _straight_stack(count: int) -> dict[str, Any]:
    """A stack whose reading at the gauge plane is made of so many equal vectors at random angles."""
    holder: dict[str, Any] = {
        "id": "holder",
        "kind": "base_holder",
        "workpiece_side": {"coupling": "declared"},
        "gauge_length_mm": 50,
        "runout": {"statements": [{"tir_um": 0, "at_mm": 0}]},
    }
    middle = [
        {
            "id": f"x{n}",
            "kind": "extension",
            "machine_side": {"coupling": "declared"},
            "workpiece_side": {"coupling": "declared"},
            "gauge_length_mm": 20,
        }
        for n in range(1, count)
    ]
    cutter = {"id": "cutter", "kind": "cutter", "machine_side": {"coupling": "declared"}, "gauge_length_mm": 30}
    shaking = [part | {"runout": {"character": "offset", "statements": [{"tir_um": 7, "at_mm": 0}]}} for part in middle]
    last = cutter | {"runout": {"character": "offset", "statements": [{"tir_um": 7, "at_mm": 0}]}}
    return {"components": [holder, *shaking, last]}


@pytest.mark.parametrize(("first", "second"), [(1, 2), (2, 2), (2, 3), (3, 1), (3, 4), (5, 2), (6, 5), (1, 8)])
def test_bernardi(first: int, second: int) -> None:
    """Literature: of n and m unit vectors, m + n ≥ 3, the m reach farther with m/(m + n); Bernardi, arXiv:1007.4870."""
    report = _compare(_alternatives({"a": _straight_stack(first), "b": _straight_stack(second)}))
    (pair,) = report.reads_less
    assert (pair.first, pair.second, pair.equal) == ("a", "b", False)
    assert pair.probability == pytest.approx(second / (first + second), abs=2e-6)


@pytest.mark.parametrize(("other", "equal", "probability"), [(7, True, 0.0), (8, False, 1.0), (6, False, 0.0)])
def test_two_fixed_readings(other: float, equal: bool, probability: float) -> None:
    """One vector each of measured size reads a fixed amount: a tie is told as one, not as a chance."""
    first, second = _straight_stack(1), _straight_stack(1)
    for one in (first, second):
        one["components"][-1]["runout"]["law"] = "measured"
    second["components"][-1]["runout"]["statements"][0]["tir_um"] = other
    (pair,) = _compare(_alternatives({"a": first, "b": second})).reads_less
    assert (pair.equal, pair.probability) == (equal, probability)


def test_each_is_judged_as_alone() -> None:
    """Verdict, findings, planes and mass are those of a check of the stack."""
    request = _varied()
    shared = {name: value for name, value in request.items() if name != "alternatives"}
    for one, given_stack in zip(_compare(request).alternatives, request["alternatives"], strict=True):
        alone = ASSESSOR.assess(parse_request({"stack": given_stack["stack"], **shared}))
        assert (one.verdict, one.summary, one.planes, one.mass_kg) == (
            alone.verdict, alone.summary, alone.runout.planes, alone.mass.total_kg,
        )  # fmt: skip
        assert [item.code for item in one.findings] == [item.code for item in alone.findings]


def test_dominance_and_sentences() -> None:
    """Who is longer for nothing is dominated; who trades stays; who is not known stays and says what is missing."""
    report = _compare(_varied())
    assert report.non_dominated == ["plain", "true", "gap"]
    told = _by_name(report)
    assert told["long"].dominated_by == ["plain"]
    assert told["long"].because.startswith("Dominated by plain: worse on ")
    assert "projection (203.0 mm, 4.0 mm more than" in told["long"].because
    half = known(quantile(told["true"], "gauge_plane"))
    margin = known(quantile(told["plain"], "gauge_plane")) - half
    assert f"(95th percentile {half:.1f} µm, {margin:.1f} µm less" in told["true"].because
    assert "worse on speed (12000 rpm, 3000 rpm less)" in told["true"].because
    assert "runout, worst case and speed (runout of coll" in told["gap"].because


def test_criteria_are_a_table() -> None:
    """Values in the order of the request, null where not known, the best by the right direction."""
    report = _compare(_varied())
    rows = {row.criterion: row for row in report.criteria}
    assert rows["speed_limit"].values == [15000, 15000, 12000, None]
    assert (rows["speed_limit"].better, rows["speed_limit"].best) == ("higher", ["plain", "long"])
    assert rows["runout_p95"].values[3] is None
    assert rows["runout_p95"].best == ["true"]
    assert rows["projection"].values == [199, 203, 199, 199]
    assert rows["undecided"].values[3] > 0


def test_who_fails_says_so_and_dominates_nobody_who_does_not() -> None:
    """A shank outside the range fails, whatever else it is better in."""
    request = _varied()
    failing = request["alternatives"][2]["stack"]
    failing["components"][0]["max_speed_rpm"] = 15000
    failing["components"][3]["workpiece_side"] |= {"clamping_min_mm": 6, "clamping_max_mm": 7}
    report = _compare(request)
    told = _by_name(report)
    assert told["true"].verdict == "fail"
    assert told["true"].because.endswith(" clamping range (8 mm, limit 7 mm).")
    assert not any("true" in one.dominated_by for one in report.alternatives if one.verdict != "fail")
    assert "than true" not in told["plain"].because


def test_failing_by_policy_is_told() -> None:
    """Where undecided rules fail a stack, the sentence says that the policy did."""
    report = _compare(_varied() | {"policy": {"on_undecided": "fail"}})
    assert _by_name(report)["gap"].because.startswith("Fails under the policy: ")
    assert "undecided" in _by_name(report)["gap"].because


def test_a_capability_has_no_worst_case() -> None:
    """What has no hard limit is not comparable in the worst case, and says why."""
    request = _varied()
    request["alternatives"][0]["stack"]["components"][1]["runout"]["law"] = "capability"
    told = _by_name(_compare(request))["plain"]
    assert quantile(told, "gauge_plane", "p100", "worst_case") is None
    assert "worst case (a contributor has no hard limit)" in told.because
    assert told.dominated_by == []


def test_an_unstated_speed_is_no_high_speed() -> None:
    """A holder without a stated speed does not win by what its cutter may turn, even where no speed is asked."""
    request = _varied()
    del request["operations"], request["alternatives"][0]["stack"]["components"][0]["max_speed_rpm"]
    report = _compare(request)
    assert report.alternatives[0].speed_complete is False
    assert next(row for row in report.criteria if row.criterion == "speed_limit").values[0] is None
    assert "speed (max speed of holder is not stated)" in report.alternatives[0].because


def test_equal_alternatives_are_level() -> None:
    """Nobody dominates a twin, and the sentence says that nothing tells them apart."""
    stack = base_request("press_in")["stack"]
    report = _compare(_alternatives({"a": stack, "b": stack}))
    assert report.non_dominated == ["a", "b"]
    assert {one.because for one in report.alternatives} == {"Equal to the others on every known criterion."}
    assert report.reads_less[0].probability == pytest.approx(0.5, abs=1e-6)


def test_names_used_again_are_numbered() -> None:
    """The second 'a' is called 'a#2' everywhere, and a note says so."""
    request = _varied()
    for one in request["alternatives"][:3]:
        one["name"] = "a"
    report = _compare(request)
    assert [one.name for one in report.alternatives] == ["a", "a#2", "a#3", "gap"]
    assert report.notes == ["The name a is used 3 times; a#2 and a#3 are numbered in order."]
    assert {(pair.first, pair.second) for pair in report.reads_less} >= {("a", "a#2"), ("a#3", "gap")}


@pytest.mark.parametrize("count", [2, MAX_IN_ALL_PAIRS, MAX_IN_ALL_PAIRS + 1, MAX_ALTERNATIVES])
def test_pairs_are_all_or_against_the_first(count: int) -> None:
    """Up to twelve, every pair; beyond, each against the first, and a note says so."""
    stacks = {}
    for n in range(count):
        stack = _straight_stack(2)
        stack["components"][-1]["runout"]["statements"][0]["tir_um"] = 7 + n / 8
        stacks[f"s{n}"] = stack
    report = _compare(_alternatives(stacks))
    everyone = count <= MAX_IN_ALL_PAIRS
    assert report.pairs == ("all" if everyone else "against_first")
    assert len(report.reads_less) == (count * (count - 1) // 2 if everyone else count - 1)
    assert everyone or {pair.first for pair in report.reads_less} == {"s0"}
    assert any("against s0 only" in note for note in report.notes) is not everyone
    assert all(pair.probability is not None and pair.probability >= 0.5 for pair in report.reads_less)


@pytest.mark.parametrize("order", [(3, 2, 1, 0), (1, 3, 0, 2), (2, 0, 3, 1)])
def test_the_order_changes_nothing_but_the_order(order: tuple[int, ...]) -> None:
    """Shuffled alternatives get the same words, the same set, and the same chances."""
    request = _varied()
    shuffled = request | {"alternatives": [request["alternatives"][n] for n in order]}
    plain, other = _compare(request), _compare(shuffled)
    assert _unordered(plain) == _unordered(other)
    assert [one.name for one in other.alternatives] == [one["name"] for one in shuffled["alternatives"]]


def _unordered(report: ComparisonReport) -> Any:
    """The report without its order; a chance from either side."""
    names = [one.name for one in report.alternatives]
    chances = {}
    for pair in report.reads_less:
        less = pair.probability
        chances[pair.first, pair.second] = less
        chances[pair.second, pair.first] = None if less is None else round(1.0 - less, 6)
    rounded = {pair: None if value is None else pytest.approx(value, abs=2e-6) for pair, value in chances.items()}
    return (
        {one.name: one.model_copy(update={"dominated_by": sorted(one.dominated_by)}) for one in report.alternatives},
        {row.criterion: (dict(zip(names, row.values, strict=True)), sorted(row.best)) for row in report.criteria},
        sorted(report.non_dominated),
        rounded,
        sorted(report.cautions),
    )


@settings(max_examples=60)
@given(st.integers(0, 2**32), st.integers(2, 5))
def test_every_request_is_answered(number: int, count: int) -> None:
    """Senseless stacks side by side get a report in the order of the request, with somebody undominated."""
    rng = random.Random(number)
    made = [random_stack(rng) for _ in range(count)]
    request = {"alternatives": [{"name": f"n{rng.randint(0, 2)}", "stack": one["stack"]} for one in made]}
    request |= {name: value for name, value in made[0].items() if name != "stack"}
    try:
        parsed = parse(ComparisonRequest, request)
    except BadRequestError:
        return
    report = compare(parsed, ASSESSOR)
    names = [one.name for one in report.alternatives]
    assert len(set(names)) == count
    assert report.non_dominated
    for one in report.alternatives:
        assert one.because.endswith(".")
        assert (one.name in report.non_dominated) is not bool(one.dominated_by)
        assert set(one.dominated_by) < set(names)
    assert ComparisonReport.model_validate_json(report.model_dump_json()) == report


def test_the_same_request_gives_the_same_bytes() -> None:
    """Asked twice, one answer; and the request is left as it was."""
    request = _varied()
    kept = json.dumps(request)
    assert _compare(request).model_dump_json() == _compare(request).model_dump_json()
    assert json.dumps(request) == kept


@pytest.mark.parametrize(
    ("thresholds", "pointer"),
    [
        ([{"code": "OVH-999", "threshold": "max_length_to_diameter", "value": 7}], "/policy/thresholds/0/code"),
        ([{"code": "OVH-010", "threshold": "max_length_to_diameter", "value": 1e9}], "/policy/thresholds/0/value"),
    ],
)
def test_wrong_thresholds_are_pointed_at(thresholds: Any, pointer: str) -> None:
    """As in a check, and the pointer leads into this request."""
    with pytest.raises(BadRequestError) as caught:
        _compare(_varied() | {"policy": {"thresholds": thresholds}})
    assert [fault.pointer for fault in caught.value.faults] == [pointer]

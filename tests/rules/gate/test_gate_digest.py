"""Digests of decisions: computed from the report alone, changed by all judged data, and expected."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.assessor import Assessor
from rules.gate.gate import gate
from rules.schema.gate import REQUIREMENTS, GateReport, GateRequest
from rules.schema.parsing import BadRequestError, parse
from tests.support.operations import change
from tests.support.orders import decided, order_of
from tests.support.stacks import assessor

Order = dict[str, Any]

EXTRA = """\
book: shop
version: "1"
title: The shop's own
rules:
  - code: SHOP-010
    title: Many teeth
    severity: warning
    for: operation
    where: has(spindle_speed_rpm)
    require: spindle_speed_rpm <= max_rpm
    thresholds:
      max_rpm: {value: 8000, unit: rpm, minimum: 1, maximum: 100000, meaning: speed the shop likes}
    message: "{spindle_speed_rpm} rpm; the shop likes {max_rpm} rpm."
    observed: spindle_speed_rpm
    limit: max_rpm
    unit: rpm
    why: Habit.
    remedy: Turn slower.
    known_limits: None.
    source: common practice
    examples:
      fires: [{name: as given, base: press_in}]
      silent: [{name: slower, base: press_in, set: {"/operations/0/spindle_speed_rpm": 7000}}]
"""


def _canonical(value: object) -> str:
    text = json.dumps(value, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


@pytest.mark.parametrize("names", [("good",), ("good", "warning", "undecided"), ("error", "advice", "no machine")])
def test_the_digest_can_be_made_from_the_report_alone(names: tuple[str, ...]) -> None:
    """First principles: SHA-256 over sorted compact JSON of the fields the contract names, nothing else at hand."""
    told = json.loads(decided(order_of(*names, required=["cutter", "machine"])).model_dump_json())
    record = {
        "form": 1,
        "service": told["provenance"]["service"],
        "version": told["provenance"]["version"],
        "judgement_sha256": told["provenance"]["judgement_sha256"],
        "catalogue_sha256": told["provenance"]["catalogue_sha256"],
        "aliases_sha256": told["provenance"]["aliases_sha256"],
        "profile_sha256": told["profile"]["sha256"],
        "input_sha256": told["input_sha256"],
        "required": told["required"],
        "decision": told["decision"],
        "operations": [
            {name: one[name] for name in ("id", "decision", "verdict")}
            | {name: [it["code"] for it in one[name]] for name in ("reasons", "undecided", "advice")}
            for one in told["operations"]
        ],
    }
    assert told["digest"] == _canonical(record)


JUDGED: dict[str, Callable[[Order], object]] = {
    "order": lambda order: order.update(order="KB-WO-0010"),
    "revision": lambda order: order.update(revision="B"),
    "id": lambda order: order["operations"][1].update(id="21"),
    "speed": lambda order: change(order["operations"][1], {"spindle_speed_rpm": 9001}),
    "limit": lambda order: change(order["operations"][0], {"runout_limit_um": 61}),
    "stack": lambda order: order["operations"][0]["stack"]["components"][0].update(mass_kg=1.21),
    "joint": lambda order: order["operations"][0]["stack"]["joints"][0].update(grip_length_mm=54),
    "machine": lambda order: order["operations"][1]["machine"].update(max_speed_rpm=16001),
    "machine of the order": lambda order: order.update(machine={"kind": "stated", "max_speed_rpm": 16000}),
    "components": lambda order: order.update(components={"KB": {"kind": "collet", "id": "c"}}),
    "policy": lambda order: order.update(policy={"on_warning": "fail"}),
    "threshold": lambda order: order.update(
        policy={"thresholds": [{"code": "OVH-010", "threshold": "max_length_to_diameter", "value": 6}]}
    ),
    "own policy": lambda order: order["operations"][0].update(policy={"on_undecided": "fail"}),
    "required": lambda order: order.update(required=["machine"]),
    "fewer": lambda order: order["operations"].pop(),
    "sequence": lambda order: order["operations"].reverse(),
}
"""Changes of something that is judged, or that says what is judged."""


def _digest_after(change: Callable[[Order], object]) -> str:
    order = order_of("good", "good")
    change(order)
    return decided(order).digest


def test_whatever_is_judged_moves_the_digest() -> None:
    """Every change leads to a digest of its own, also where the decision stays."""
    digests = {name: _digest_after(change) for name, change in JUDGED.items()}
    digests["unchanged"] = _digest_after(lambda _: None)
    assert len(set(digests.values())) == len(digests), digests


SAME: dict[str, Callable[[Order], object]] = {
    "context": lambda order: order.update(context={"job": [1, {"a": None}]}),
    "other context": lambda order: order.update(context={}),
    "reports": lambda order: order.update(include=["runout"]),
    "null written out": lambda order: order.update(revision=None, machine=None, policy=None),
    "required written out": lambda order: order.update(required=sorted(REQUIREMENTS)),
    "unit of a length": lambda order: order["operations"][0]["machine"].update(max_tool_length_mm=304.8),
    "whole number": lambda order: change(order["operations"][0], {"spindle_speed_rpm": 9000.0}),
    "keys turned round": lambda order: order["operations"][0].update(
        limits=dict(reversed(order["operations"][0]["limits"].items()))
    ),
}
"""Changes of nothing that is judged."""


@pytest.mark.parametrize("name", SAME)
def test_what_is_not_judged_moves_nothing(name: str) -> None:
    """Context, presentation, units and ways of writing leave the digest as it is."""
    assert _digest_after(SAME[name]) == _digest_after(lambda _: None)


def test_the_order_of_definitions_moves_nothing() -> None:
    """Keys of components and thresholds stand in any order."""
    parts = {name: {"kind": "collet", "id": name} for name in ("a", "b")}
    one = order_of("good", components=parts)
    other = order_of("good", components=dict(reversed(parts.items())))
    assert decided(one).digest == decided(other).digest


JSON_VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=8,
)
ORDER = order_of("good")
PLAIN = decided(ORDER)


@settings(max_examples=60)
@given(st.dictionaries(st.text(), JSON_VALUES, max_size=4))
def test_a_context_comes_back_and_decides_nothing(context: dict[str, Any]) -> None:
    """Whatever it holds, it comes back equal, with the keys in their order, and the digest is that without it."""
    report = gate(GateRequest.model_validate({**ORDER, "context": context}), assessor())
    assert json.dumps(report.context) == json.dumps(context)
    assert (report.digest, report.input_sha256) == (PLAIN.digest, PLAIN.input_sha256)
    assert report.context_sha256 == _canonical(context)


def test_the_digest_of_a_context() -> None:
    """Null without one, the same for any order of keys, another for another value."""
    digests = [
        decided({**ORDER, "context": context}).context_sha256
        for context in (None, {"a": 1, "b": 2}, {"b": 2, "a": 1}, {"a": 1, "b": 3}, {})
    ]
    assert digests[0] is None
    assert digests[1] == digests[2]
    assert len(set(digests)) == 4


def _expected(report: GateReport, **changes: Any) -> dict[str, Any]:
    """What a caller keeps of an answer and sends again."""
    source = report.provenance
    kept = {
        "digest": report.digest,
        "input_sha256": report.input_sha256,
        "judgement_sha256": source.judgement_sha256,
        "rulebook_sha256": source.rulebook_sha256,
        "catalogue_sha256": source.catalogue_sha256,
        "aliases_sha256": source.aliases_sha256,
        "profile_sha256": report.profile.sha256,
        "version": source.version,
    }
    return kept | changes


def _again(order: Order, expect: dict[str, Any], by: Assessor | None = None) -> GateReport:
    return gate(parse(GateRequest, {**order, "expect": expect}), by or assessor())


@pytest.mark.parametrize("names", [("good",), ("good", "warning"), ("error", "undecided", "no speed")])
def test_an_order_that_is_sent_again_meets_its_digests(names: tuple[str, ...]) -> None:
    """Same order, same rules: nothing unmet, the same digest, and only a release may start."""
    order = order_of(*names, context={"job": 7})
    report = decided(order)
    told = _again(order, _expected(report))
    assert (told.unmet, told.digest, told.decision) == ([], report.digest, report.decision)
    assert told.may_start is report.may_start is (report.decision == "release")


@pytest.mark.parametrize("name", JUDGED)
def test_a_changed_order_may_not_start(name: str) -> None:
    """Order and decision are not those expected, whatever the decision is now."""
    order = order_of("good", "good")
    report = decided(order)
    JUDGED[name](order)
    told = _again(order, _expected(report))
    assert not told.may_start
    names = {one.name for one in told.unmet}
    assert names == ({"digest"} if name == "required" else {"digest", "input_sha256"})


def test_other_rules_are_told(tmp_path: Path) -> None:
    """The same order under other rulebooks: not started, even where the decision would be the same."""
    (tmp_path / "shop.yaml").write_text(EXTRA, encoding="utf-8")
    newer = Assessor.load([tmp_path])
    order = order_of("good")
    told = _again(order, _expected(decided(order)), newer)
    assert not told.may_start
    assert {one.name for one in told.unmet} == {"judgement_sha256", "rulebook_sha256", "digest"}
    (rules,) = [one for one in told.unmet if one.name == "rulebook_sha256"]
    assert (rules.expected, rules.found) == (assessor().book.digest, newer.book.digest)


def test_another_catalogue_is_told(tmp_path: Path) -> None:
    """Mounted components are part of what decides, used or not."""
    (tmp_path / "parts.json").write_text('{"KB": {"kind": "collet", "id": "c"}}', encoding="utf-8")
    mounted = Assessor.load(catalogue=tmp_path)
    order = order_of("good")
    told = _again(order, _expected(gate(parse(GateRequest, order), mounted)))
    assert not told.may_start
    (one,) = [one for one in told.unmet if one.name == "catalogue_sha256"]
    assert (one.expected, one.found) == (mounted.catalogue.digest, None)


def test_another_alias_file_is_told(tmp_path: Path) -> None:
    """It says what the names of an order mean, whether the order has any."""
    file = tmp_path / "aliases.yaml"
    file.write_text("- {pattern: KB cone, becomes: HSK-A63, reason: house name}", encoding="utf-8")
    named = Assessor.load(aliases=file)
    order = order_of("good")
    report = gate(parse(GateRequest, order), named)
    assert report.digest != gate(parse(GateRequest, order), assessor()).digest
    told = _again(order, _expected(report))
    assert not told.may_start
    (one,) = [one for one in told.unmet if one.name == "aliases_sha256"]
    assert (one.expected, one.found) == (named.catalogue.digests.aliases_sha256, None)
    assert _again(order, _expected(report), by=named).unmet == []


@pytest.mark.parametrize(
    "name",
    [
        *("version", "judgement_sha256", "rulebook_sha256", "catalogue_sha256", "aliases_sha256", "profile_sha256"),
        *("input_sha256", "digest"),
    ],
)
def test_each_expectation_holds_the_order(name: str) -> None:
    """One alone is enough; it is named with what was found."""
    order = order_of("good")
    assert decided(order).may_start
    wrong = "0.0.1" if name == "version" else "a" * 64
    told = _again(order, {name: wrong})
    assert (told.decision, told.may_start) == ("release", False)
    found = _expected(decided(order))[name]
    assert [(one.name, one.expected, one.found) for one in told.unmet] == [(name, wrong, found)]


def test_an_expectation_moves_no_digest() -> None:
    """What is expected is not what is decided."""
    order = order_of("good")
    told = _again(order, {"digest": "a" * 64})
    assert (told.digest, told.input_sha256) == (decided(order).digest, decided(order).input_sha256)


@pytest.mark.parametrize(
    "loosened",
    [
        {"policy": {"thresholds": [{"code": "OVH-010", "threshold": "max_length_to_diameter", "value": 5}]}},
        {"required": ["machine"]},
    ],
    ids=["threshold", "requirement"],
)
def test_a_loosened_release_may_not_start(loosened: dict[str, Any]) -> None:
    """The decision stands, but somebody has to look at what was changed or waived."""
    report = decided(order_of("good", **loosened))
    assert (report.decision, report.may_start) == ("release", False)


@pytest.mark.parametrize("digest", ["", "0" * 63, "0" * 65, "A" * 64, "g" * 64, "0" * 63 + "\n"])
def test_a_digest_has_sixty_four_digits(digest: str) -> None:
    """Anything else is refused and pointed at."""
    with pytest.raises(BadRequestError) as caught:
        parse(GateRequest, {**ORDER, "expect": {"digest": digest}})
    assert [fault.pointer for fault in caught.value.faults] == ["/expect/digest"]

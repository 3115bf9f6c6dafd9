"""Judgements of the engine: order, undecided rules, thresholds, and rejected facts."""

from __future__ import annotations

import copy
import math
import random
from types import MappingProxyType
from typing import Any

import numpy as np
import pytest

from rules.rulebook.engine import Engine, Judgement
from rules.rulebook.fact import Fact, FactError
from tests.support.rulebooks import book_of, component, joint, rule_entry, small_book, small_views, stack

SHORT: dict[str, Any] = {"grip_length_mm": 5.0, "minimum_grip_mm": 20.0, "clearance_um": 5.0}
LONG: dict[str, Any] = {**SHORT, "grip_length_mm": 40.0}


@pytest.fixture(scope="module")
def engine() -> Engine:
    return Engine(small_book())


def fired(judgement: Judgement) -> list[tuple[str, str]]:
    return [(finding.rule.code, finding.fact.key) for finding in judgement.fired]


def test_findings_come_by_code_then_by_order_of_the_facts(engine: Engine) -> None:
    """Whatever order the engine fires in."""
    facts = [joint("c/d", **SHORT), stack(total_mass_kg=9.0, allowed_mass_kg=8.0), joint("a/b", **SHORT)]
    assert fired(engine.judge(facts)) == [
        ("GRIP-010", "joint:c/d"),
        ("GRIP-010", "joint:a/b"),
        ("GRIP-020", "joint:c/d"),
        ("GRIP-020", "joint:a/b"),
        ("MASS-010", "stack"),
    ]


def test_the_order_of_the_facts_changes_the_order_of_findings_and_nothing_else(engine: Engine) -> None:
    """The same set of findings for twenty orders of one request."""
    facts = [joint(f"j{number}/k", **(SHORT if number % 3 else LONG)) for number in range(12)]
    expected = set(fired(engine.judge(facts)))
    rng = random.Random(1)
    for _ in range(20):
        rng.shuffle(facts)
        assert set(fired(engine.judge(facts))) == expected


@pytest.mark.parametrize(
    ("grip", "fires"),
    [(math.nextafter(20.0, 0.0), True), (20.0, False), (math.nextafter(20.0, 99.0), False)],
)
def test_the_limit_itself_passes(engine: Engine, grip: float, fires: bool) -> None:
    """Below the limit by the last bit of a double is below."""
    judgement = engine.judge([joint(grip_length_mm=grip, minimum_grip_mm=20.0)])
    assert (("GRIP-010", "joint:a/b") in fired(judgement)) is fires


def test_a_stack_without_findings_is_decided_not_skipped(engine: Engine) -> None:
    """No finding, and every code that was looked at is listed."""
    judgement = engine.judge([joint(**LONG), stack(total_mass_kg=1.0, allowed_mass_kg=8.0)])
    assert judgement == Judgement((), (), ("GRIP-010", "GRIP-020", "MASS-010"))


def test_what_is_lacking_leaves_a_rule_undecided_and_says_what_would_supply_it(engine: Engine) -> None:
    """The properties in the order the rule names them, each with the pointers of the fact."""
    fact = joint(lacking=("minimum_grip_mm", "grip_length_mm"), clearance_um=3.0)
    judgement = engine.judge([fact])
    assert [(gap.rule.code, dict(gap.lacking)) for gap in judgement.undecided] == [
        (
            "GRIP-010",
            {
                "grip_length_mm": ("/joints/0/grip_length_mm",),
                "minimum_grip_mm": ("/joints/0/minimum_grip_mm",),
            },
        ),
        ("GRIP-020", {"grip_length_mm": ("/joints/0/grip_length_mm",)}),
    ]
    assert judgement.undecided[0].fact is fact
    assert (judgement.fired, judgement.decided) == ((), ())


def test_what_does_not_concern_a_subject_is_neither_decided_nor_undecided(engine: Engine) -> None:
    """One property that is of no concern outweighs another that is lacking."""
    judgement = engine.judge([joint(lacking=("grip_length_mm",))])
    assert judgement == Judgement((), (), ())


def test_a_rule_undecided_anywhere_does_not_count_as_decided(engine: Engine) -> None:
    """Though it was decided, and fired, on another subject."""
    judgement = engine.judge([joint("a/b", **SHORT), joint("b/c", ("grip_length_mm",), minimum_grip_mm=20.0)])
    assert ("GRIP-010", "joint:a/b") in fired(judgement)
    assert [gap.rule.code for gap in judgement.undecided] == ["GRIP-010"]
    assert judgement.decided == ("GRIP-020",)


def test_nothing_to_judge_gives_an_empty_judgement(engine: Engine) -> None:
    """No facts, and facts no rule is about."""
    empty = Judgement((), (), ())
    assert engine.judge([]) == empty
    assert engine.judge([component(mass_kg=1.0), joint()]) == empty


def test_thresholds_set_by_a_request_hold_for_that_request_only(engine: Engine) -> None:
    """The finding carries the values in effect; the next request finds the book's own."""
    facts = [joint(**LONG)]
    assert fired(engine.judge(facts)) == []
    judgement = engine.judge(facts, {"GRIP-020": {"least_mm": 45.0}})
    assert fired(judgement) == [("GRIP-020", "joint:a/b")]
    assert dict(judgement.fired[0].thresholds) == {"least_mm": 45.0, "loose_um": 25}
    assert fired(engine.judge(facts)) == []
    assert dict(engine.judge([joint(**SHORT)]).fired[1].thresholds) == {"least_mm": 10, "loose_um": 25}


def test_thresholds_of_one_name_in_two_rules_are_two() -> None:
    """Setting the one leaves the other."""
    limit = {"least": {"value": 10, "unit": "mm", "minimum": 0, "maximum": 99, "meaning": "m"}}
    rules = [rule_entry(code, require="grip_length_mm >= least", thresholds=limit) for code in ("AA-001", "AA-002")]
    engine = Engine(book_of(rules))
    judgement = engine.judge([joint(grip_length_mm=20.0)], {"AA-002": {"least": 30}})
    assert fired(judgement) == [("AA-002", "joint:a/b")]


def test_a_threshold_that_may_not_be_set_is_refused(engine: Engine) -> None:
    """With the reasons of check_overrides."""
    with pytest.raises(ValueError, match="least_mm: 51 must lie between 0 and 50 mm"):
        engine.judge([joint(**LONG)], {"GRIP-020": {"least_mm": 51}})


def test_the_request_is_left_as_it_was(engine: Engine) -> None:
    """Read-only mappings will do, and nothing in them changes."""
    plain = [joint("a/b", **SHORT), joint("b/c", ("grip_length_mm",), minimum_grip_mm=20.0)]
    facts = [
        Fact(
            fact.kind,
            fact.key,
            fact.at,
            MappingProxyType(dict(fact.known)),
            MappingProxyType(dict(fact.lacking)),
        )
        for fact in plain
    ]
    overrides = {"GRIP-020": {"least_mm": 12.0}}
    before = copy.deepcopy(overrides)
    assert fired(engine.judge(facts, overrides)) == fired(engine.judge(plain, before))
    assert [(fact.known, fact.lacking) for fact in facts] == [(fact.known, fact.lacking) for fact in plain]
    assert overrides == before


def test_text_of_a_request_never_reaches_the_parser(engine: Engine) -> None:
    """Quotes, braces, percent signs, control characters and a NUL are text like any other."""
    for text in ('"', "\\", '","kind":"marker', "%s%d", "\x00", "\n", "é", "\ud800", "{joint}"):
        facts = [
            joint(f"{text}/b", socket_form="plain", shank_form=text, clamped=True),
            joint("c/d", **SHORT),
        ]
        assert fired(engine.judge(facts)) == [
            ("GRIP-010", "joint:c/d"),
            ("GRIP-020", "joint:c/d"),
            ("JOIN-010", facts[0].key),
        ]


def test_numbers_of_arrays_are_numbers(engine: Engine) -> None:
    """A double of numpy counts as one."""
    judgement = engine.judge([joint(grip_length_mm=np.float64(5.0), minimum_grip_mm=20)])
    assert fired(judgement) == [("GRIP-010", "joint:a/b")]


@pytest.mark.parametrize(
    ("facts", "reason"),
    [
        ([joint(**SHORT), joint(**SHORT)], "two facts have the same key"),
        (
            [joint(**{**SHORT, "grip_length_mm": "5"})],
            "must be a finite number, not '5'",
        ),
        ([joint(**{**SHORT, "grip_length_mm": True})], "must be a finite number, not True"),
        ([joint(**{**SHORT, "grip_length_mm": math.nan})], "must be a finite number, not nan"),
        (
            [joint(**{**SHORT, "grip_length_mm": -math.inf})],
            "must be a finite number, not -inf",
        ),
        ([joint(**{**SHORT, "grip_length_mm": None})], "must be a finite number, not None"),
        ([joint(**{**SHORT, "grip_length_mm": 10**400})], "grip_length_mm must be a finite number"),
        ([joint(socket_form="plain", shank_form=1, clamped=True)], "shank_form must be text, not 1"),
        ([joint(socket_form="plain", shank_form="plain", clamped=1)], "clamped must be a flag, not 1"),
        ([joint(**SHORT, joint=5)], "joint must be text, not 5"),
        ([joint(reach_mm=5)], "no property 'reach_mm' on a joint"),
        ([joint(lacking=("reach_mm",))], "no property 'reach_mm' on a joint"),
        ([joint(lacking=("grip_length_mm",), grip_length_mm=5)], "both known and lacking: grip_length_mm"),
        ([Fact("spindle", "s", (), {}, {})], "there are no facts of the kind 'spindle'"),
        ([Fact("marker", "s", (), {}, {})], "there are no facts of the kind 'marker'"),
        ([Fact("joint", "j", (), {"joint": "j", "upper": "u"}, {})], "j: lacks lower, which every joint has"),
        ([joint(str(number)) for number in range(10_001)], "10001 facts in one request; at most 10000"),
    ],
)
def test_a_fact_that_contradicts_the_vocabulary_is_refused(engine: Engine, facts: list[Fact], reason: str) -> None:
    """Before the engine sees anything: a wrong type would be compared silently."""
    with pytest.raises(FactError) as caught:
        engine.judge(facts)
    assert reason in str(caught.value)


def test_many_facts_are_all_judged(engine: Engine) -> None:
    """Two thousand joints, every third of them short."""
    facts = [joint(f"{number}/x", **(LONG if number % 3 else SHORT)) for number in range(2_000)]
    assert len(engine.judge(facts).fired) == 2 * len(range(0, 2_000, 3))


def test_shapes_without_end_are_judged_right(engine: Engine) -> None:
    """More shapes of facts than plans are kept: each still gets its own answer, and memory has an end."""
    values: dict[str, Any] = {
        "clearance_um": 1.0,
        "socket_form": "plain",
        "shank_form": "plain",
        "clamped": True,
        "sealed": True,
        "shank_mm": 6.0,
        "minimum_grip_mm": 1.0,
    }
    names = sorted(values)
    rng = random.Random(2)
    shapes: set[tuple[str, ...]] = set()
    while len(shapes) < 5_000:
        rng.shuffle(names)
        known = {name: values[name] for name in names[: rng.randint(0, 7)]}
        shapes.add(tuple(known))
        judgement = engine.judge([joint(**known, grip_length_mm=5.0)])
        assert fired(judgement) == ([("GRIP-020", "joint:a/b")] if "clearance_um" in known else [])
    assert len(engine._portions[0]._plans) <= 4_096


def test_lists_of_one_name_are_each_that_of_their_rule() -> None:
    """Two rules ask the same words of several components, and mean different lists."""
    asked = {"require": "components.all(c, c.component_kind in right)"}
    lists = {"GRIP-010": ["extension"], "GRIP-020": ["collet"]}
    engine = Engine(book_of(rule_entry(code, lists={"right": right}, **asked) for code, right in lists.items()))
    facts = [joint(), component(kind="extension")]
    assert fired(engine.judge(facts, view_of=small_views(facts))) == [("GRIP-020", "joint:a/b")]

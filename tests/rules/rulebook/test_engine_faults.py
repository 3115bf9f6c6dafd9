"""A failure of the engine is an error, never a judgement without findings."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import durable_rules_engine
import pytest

import rules.rulebook.engine
from rules.rulebook.engine import SESSIONS, Engine, EngineFaultError
from rules.rulebook.fact import Fact
from rules.rulebook.lowering import ordered
from tests.support.rulebooks import book_of, joint, rule_entry

FACTS = [joint(f"{number}/x", grip_length_mm=5.0 + number) for number in range(3)]


class Core:
    """The engine's core with some calls replaced; each replacement is handed the original first."""

    def __init__(self, **replaced: Callable[..., Any]) -> None:
        self._replaced = replaced

    def __getattr__(self, name: str) -> Any:
        original = getattr(durable_rules_engine, name)
        replacement = self._replaced.get(name)
        if replacement is None:
            return original
        return lambda *arguments: replacement(original, *arguments)


@pytest.fixture
def engine() -> Engine:
    """Under a code of its own: engines on equal conditions share a compiled set."""
    return Engine(book_of([rule_entry("FAULT-010")]))


@pytest.fixture
def replace(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    def do(**replaced: Callable[..., Any]) -> None:
        monkeypatch.setattr(rules.rulebook.engine, "core", Core(**replaced))

    return do


@pytest.fixture(autouse=True)
def _recovers(engine: Engine, monkeypatch: pytest.MonkeyPatch) -> Any:
    """Whatever happened in a test, the same engine then judges rightly, more often than it has sessions."""
    yield
    monkeypatch.setattr(rules.rulebook.engine, "core", durable_rules_engine)
    for _ in range(2 * SESSIONS):
        assert len(engine.judge(FACTS).fired) == 3


def refused(engine: Engine, words: str, facts: list[Fact] = FACTS) -> None:
    with pytest.raises(EngineFaultError, match=words):
        engine.judge(facts)


@pytest.mark.parametrize("lost", [0, 1, 2])
def test_a_fact_the_engine_never_sees_is_a_fault(engine: Engine, replace: Any, lost: int) -> None:
    """The first, the middle or the last: the catch-all has not counted it."""

    last: list[Any] = []

    def forget(assert_fact: Any, handle: int, text: str) -> Any:
        if f'"key":{lost},' not in text:
            last[:] = assert_fact(handle, text)
        return tuple(last)

    replace(assert_fact=forget)
    refused(engine, "of 3 facts the engine saw 2")


def test_a_fact_no_rule_takes_is_a_fault(engine: Engine, replace: Any) -> None:
    """Not even the catch-all, as when the core misread its kind."""

    def misread(assert_fact: Any, handle: int, text: str) -> Any:
        return assert_fact(handle, text.replace('"kind":"joint"', '"sort":"joint"'))

    replace(assert_fact=misread)
    refused(engine, r"the engine did not take a fact \(result 1\)")


def test_a_match_that_is_never_run_is_a_fault(engine: Engine, replace: Any) -> None:
    """The engine stops handing out matches half way."""
    left = iter(range(4))

    def stop(complete: Any, handle: int, state: int) -> Any:
        return complete(handle, state) if next(left, None) is not None else None

    replace(complete_and_start_action=stop)
    refused(engine, "of 3 facts the engine saw")


def test_an_error_while_a_match_is_run_is_a_fault(engine: Engine, replace: Any) -> None:
    """It is not swallowed: there is no judgement."""

    def fail(complete: Any, handle: int, state: int) -> Any:
        complete(handle, state)
        raise durable_rules_engine.error("Could not complete action, error code: 307")

    replace(complete_and_start_action=fail)
    refused(engine, "the engine failed: Could not complete action, error code: 307")


def test_any_other_exception_comes_through(engine: Engine, replace: Any) -> None:
    """Nothing between the engine and its caller catches what it does not know."""

    def fail(*_: Any) -> Any:
        raise ZeroDivisionError

    replace(complete_and_start_action=fail)
    with pytest.raises(ZeroDivisionError):
        engine.judge(FACTS)


def test_an_error_while_a_fact_is_taken_is_a_fault(engine: Engine, replace: Any) -> None:
    """In the midst of the facts: those already taken give no judgement either."""

    def fail(assert_fact: Any, handle: int, text: str) -> Any:
        if '"key":1,' in text:
            raise durable_rules_engine.error("Could not assert fact, error code: 303")
        return assert_fact(handle, text)

    replace(assert_fact=fail)
    refused(engine, "error code: 303")


def test_no_memory_is_a_fault(engine: Engine, replace: Any) -> None:
    """As the core tells it when its sessions are used up."""

    def fail(*_: Any) -> Any:
        raise MemoryError

    replace(assert_fact=fail)
    refused(engine, "the engine failed")


@pytest.mark.parametrize(
    "answer",
    [
        '{"GRIP-010":{"m":{"sid":"other","key":0,"kind":"joint"}}}',
        '{"GRIP-010":{"m":{"key":0,"sid":"0"}}}',
        '{"GRIP-010":[]}',
        "",
    ],
)
def test_an_answer_for_another_session_or_in_another_form_is_a_fault(engine: Engine, replace: Any, answer: str) -> None:
    """One request must never see another's findings."""

    def swap(start: Any, handle: int, state: int) -> Any:
        state_text, text = start(handle, state)
        return (state_text, answer if '"joint"' in text else text)

    replace(start_action_for_state=swap)
    refused(engine, "another session or an unknown form")


def test_a_rule_that_fires_where_it_can_not_be_decided_is_a_fault(engine: Engine, replace: Any) -> None:
    """The flags of the plan and the engine's answer must agree."""
    undecidable = joint("a/b", lacking=["grip_length_mm"])

    def invent(start: Any, handle: int, state: int) -> Any:
        state_text, text = start(handle, state)
        return (state_text, text.replace('"key":1,', '"key":0,'))

    replace(start_action_for_state=invent)
    refused(engine, "engine saw|where it can't be decided", [undecidable, joint("b/c", grip_length_mm=1.0)])


def test_a_session_whose_marker_is_not_seen_is_a_fault_and_never_deleted(engine: Engine, replace: Any) -> None:
    """Deleting it would crash the process; it is given up, and another name takes its place."""
    deleted: list[str] = []
    replace(
        start_action_for_state=lambda *_: None,
        delete_state=lambda *arguments: deleted.append(arguments[-1]),
    )
    for _ in range(5):
        refused(engine, "the engine matched none of the facts asserted")
    assert deleted == []


def test_a_session_that_can_not_be_deleted_is_a_fault(engine: Engine, replace: Any) -> None:
    """Its name is not used again: what it holds must not meet another request."""
    names: list[str] = []

    def note(assert_fact: Any, handle: int, text: str) -> Any:
        if '"marker"' in text:
            names.append(text.split('"')[3])
        return assert_fact(handle, text)

    def fail(*_: Any) -> Any:
        raise durable_rules_engine.error("Could not delete state, error code: 309")

    replace(delete_state=fail, assert_fact=note)
    refused(engine, "a session can't be closed")
    replace(assert_fact=note)
    for _ in range(3 * SESSIONS):
        engine.judge(FACTS)
    assert names.count(names[0]) == 1
    assert len(set(names)) == SESSIONS + 1


def test_every_session_is_deleted(engine: Engine, replace: Any) -> None:
    """Also the one of a stack without findings, and one that ended in a fault."""
    opened: list[str] = []
    deleted: list[str] = []

    def note(delete: Any, handle: int, sid: str) -> Any:
        deleted.append(sid)
        return delete(handle, sid)

    def mark(assert_fact: Any, handle: int, text: str) -> Any:
        if '"marker"' in text:
            opened.append(text.split('"')[3])
        if '"key":2,' in text:
            raise durable_rules_engine.error("broken")
        return assert_fact(handle, text)

    replace(delete_state=note, assert_fact=mark)
    assert engine.judge([joint("a/b", grip_length_mm=99.0)]).fired == ()
    refused(engine, "broken")
    assert opened == deleted
    assert len(set(opened)) == 2


def test_facts_that_meet_in_the_engines_identity_are_both_judged(engine: Engine, replace: Any) -> None:
    """The core calls the second one observed; it is put again under another key, and its finding comes."""
    tries: list[str] = []

    def observe(assert_fact: Any, handle: int, text: str) -> Any:
        if '"key":1,' in text or '"key":100001,' in text:
            tries.append(text)
            return (2, 1)
        return assert_fact(handle, text)

    replace(assert_fact=observe)
    assert [finding.fact.key for finding in engine.judge(FACTS).fired] == [fact.key for fact in FACTS]
    assert len(tries) == 2


def test_a_fact_that_is_always_called_observed_is_a_fault(engine: Engine, replace: Any) -> None:
    """It is not passed over."""
    replace(assert_fact=lambda assert_fact, handle, text: (2, 1) if '"joint"' in text else assert_fact(handle, text))
    refused(engine, "mistook a fact for an earlier one")


def test_a_set_the_core_does_not_compile_is_a_fault(replace: Any) -> None:
    """At start, not at the first request."""

    def fail(*_: Any) -> Any:
        raise durable_rules_engine.error("Could not create ruleset, error code: 104")

    replace(create_ruleset=fail)
    with pytest.raises(EngineFaultError, match="can't be compiled"):
        Engine(book_of([rule_entry("FAULT-020")]))


def test_two_facts_of_one_identity_are_both_judged() -> None:
    """First principles: the core keeps 32 bits of a fact; for these two, found by search, they are equal.

    The core itself is asked first, so that the test can't pass on two facts it tells apart.
    """
    lengths = (90_545.0, 37_287.0)
    handle = durable_rules_engine.create_ruleset("identity", '{"r":{"all":[{"m":{"$ex":{"kind":1}}}]}}')
    text = '{"sid":"0","key":%d,"kind":"joint","f0":1,"v0":%d}'
    taken = [
        durable_rules_engine.assert_fact(handle, text % (key, number))[0] for key, number in enumerate(ordered(lengths))
    ]
    assert taken == [0, 2]
    engine = Engine(book_of([rule_entry("SAME-010", require="grip_length_mm <= 0")]))
    facts = [joint(f"{length}/x", grip_length_mm=length) for length in lengths]
    assert [engine._portions[0]._plan(fact, frozenset()).template for fact in facts] == [
        text.replace('"0"', '"%s"')
    ] * 2
    assert [finding.fact.key for finding in engine.judge(facts).fired] == [fact.key for fact in facts]

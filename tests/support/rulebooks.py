"""Small rulebooks and facts for the tests of the rulebook machinery and of the engine."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Any, Final

from rules.rulebook.book import Rule, Rulebook, RuleEntry
from rules.rulebook.expression import COLLECTIONS, Gap, Result, Subjects
from rules.rulebook.fact import KINDS, Fact
from rules.rulebook.linting import lint_entry
from rules.rulebook.loader import load_books, rule_of
from rules.rulebook.vocabulary import LABELS, Property, Vocabulary, load_vocabulary

BOOKS = Path(__file__).parent.parent / "rules" / "rulebook" / "books"


def _stated(kind: str, unit: str = "none", **more: Any) -> Property:
    return Property.model_validate({"type": kind, "unit": unit, "meaning": "stated", "from_request": True, **more})


STATED: Final[Mapping[str, Property]] = {
    LABELS: _stated("text"),
    "machine.power_kw": _stated("number", "kW"),
    "machine.reach_mm": _stated("number", "mm"),
    "machine.runout_um": _stated("number", "um"),
    "machine.fluid": _stated("text", values=("none", "oil", "water")),
    "machine.enclosed": _stated("flag"),
}
"""What a request of the tests states; a subject sees it, but it is not on its fact."""


@cache
def small_vocabulary() -> Vocabulary:
    """Return the vocabulary beside the small books, with what a request states for each kind."""
    return replace(load_vocabulary(BOOKS / "vocabulary.yaml"), stated=dict.fromkeys(KINDS, STATED))


@cache
def small_book() -> Rulebook:
    return load_books([BOOKS], small_vocabulary())


def rule_entry(code: str = "GRIP-010", kind: str = "joint", **changes: Any) -> dict[str, Any]:
    """Return a valid rule as read from YAML, with changes."""
    return {
        "code": code,
        "title": "A rule",
        "severity": "error",
        "for": kind,
        "require": "grip_length_mm >= 20",
        "message": "Too short.",
        "why": "Because.",
        "remedy": "Do otherwise.",
        "known_limits": "None known.",
        "source": "common practice",
        "examples": {
            "fires": [{"name": "changed", "base": "plain"}],
            "silent": [{"name": "as given", "base": "plain"}],
        },
        **changes,
    }


def defects_of(raw: Mapping[str, Any], vocabulary: Vocabulary | None = None) -> list[str]:
    """Return what the linter finds in a rule as read from YAML."""
    found: list[str] = []
    lint_entry(RuleEntry.model_validate(raw), vocabulary or small_vocabulary(), lambda _, reason: found.append(reason))
    return found


def book_of(entries: Iterable[Mapping[str, Any]], vocabulary: Vocabulary | None = None) -> Rulebook:
    """Return a rulebook of these rules without files, by default over the small vocabulary."""
    vocabulary = vocabulary or small_vocabulary()
    rules: list[Rule] = []
    for number, raw in enumerate(entries):
        entry = RuleEntry.model_validate(raw)
        defects: list[str] = []
        checked = lint_entry(entry, vocabulary, lambda _, reason, defects=defects: defects.append(reason))  # type: ignore[misc]
        assert checked is not None, defects
        rules.append(rule_of(entry, checked, "test", "test.yaml", number + 1))
    rules.sort(key=lambda rule: rule.code)
    digest = hashlib.sha256(repr(rules).encode()).hexdigest()
    return Rulebook(tuple(rules), vocabulary, (), digest)


@dataclass(frozen=True, slots=True)
class SmallView:
    """What one subject sees: its own properties, what its request states, and the other subjects."""

    fact: Fact
    facts: Sequence[Fact] = ()
    stated: Mapping[str, Result] = field(default_factory=dict)
    kinds: dict[str, Subjects[SmallView]] = field(default_factory=dict, compare=False, repr=False)

    def get(self, name: str) -> Result:
        """Return a value; None for what this subject does not have."""
        fields = self.fact.lacking.get(name)
        if fields is not None:
            return Gap({name: fields})
        return self.fact.known[name] if name in self.fact.known else self.stated.get(name)

    def subjects(self, over: str) -> Sequence[SmallView]:
        """Return every component or joint, also the subject itself; the same ones to every view of a request."""
        if over not in self.kinds:
            facts = [fact for fact in self.facts if fact.kind == COLLECTIONS[over]]
            self.kinds[over] = Subjects(SmallView(fact, self.facts, self.stated, self.kinds) for fact in facts)
        return self.kinds[over]


def small_views(facts: Sequence[Fact], stated: Mapping[str, Result] | None = None) -> Callable[[Fact], SmallView]:
    """Return what each subject of a request sees."""
    kinds: dict[str, Subjects[SmallView]] = {}
    return lambda fact: SmallView(fact, facts, stated or {}, kinds)


def joint(key: str = "a/b", lacking: Iterable[str] = (), **known: Any) -> Fact:
    """Return a joint with these known properties."""
    upper, _, lower = key.partition("/")
    names = {"joint": key, "upper": upper, "lower": lower}
    return Fact("joint", f"joint:{key}", ("/joints/0",), names | known, {n: (f"/joints/0/{n}",) for n in lacking})


def component(key: str = "a", kind: str = "extension", lacking: Iterable[str] = (), **known: Any) -> Fact:
    """Return a component with these known properties."""
    at = f"/stack/components/{key}"
    names = {"component": key, "component_kind": kind}
    return Fact("component", f"component:{key}", (at,), names | known, {n: (f"{at}/{n}",) for n in lacking})


def stack(lacking: Iterable[str] = (), **known: Any) -> Fact:
    """Return the stack with these known properties."""
    return Fact("stack", "stack", ("/stack",), {"stack": "T-1"} | known, {n: (f"/stack/{n}",) for n in lacking})

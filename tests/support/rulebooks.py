"""Small rulebooks and facts for the tests of the rulebook machinery and of the engine."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from functools import cache
from pathlib import Path
from typing import Any

from rules.rulebook.book import Rule, Rulebook, RuleEntry
from rules.rulebook.fact import Fact
from rules.rulebook.loader import lint_entry, load_books
from rules.rulebook.vocabulary import Vocabulary, load_vocabulary

BOOKS = Path(__file__).parent.parent / "rules" / "rulebook" / "books"


@cache
def small_vocabulary() -> Vocabulary:
    return load_vocabulary(BOOKS / "vocabulary.yaml")


@cache
def small_book() -> Rulebook:
    return load_books([BOOKS], small_vocabulary())


def rule_entry(code: str = "GRIP-010", **changes: Any) -> dict[str, Any]:
    """Return a valid rule as read from YAML, with changes."""
    return {
        "code": code,
        "title": "A rule",
        "severity": "error",
        "applies_to": "joint",
        "needs": ["grip_length_mm"],
        "when": {"all": [{"grip_length_mm": {"less_than": 20}}]},
        "message": "{joint}: too short.",
        "unit": "mm",
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


def book_of(entries: Iterable[Mapping[str, Any]], vocabulary: Vocabulary | None = None) -> Rulebook:
    """Return a rulebook of these rules without files, by default over the small vocabulary."""
    vocabulary = vocabulary or small_vocabulary()
    rules: list[Rule] = []
    for number, raw in enumerate(entries):
        entry = RuleEntry.model_validate(raw)
        defects: list[str] = []
        condition = lint_entry(entry, vocabulary, lambda _, reason, defects=defects: defects.append(reason))
        assert condition is not None, defects
        fields = {name: getattr(entry, name) for name in RuleEntry.model_fields}
        rules.append(Rule(**fields, condition=condition, book="test", file="test.yaml", line=number + 1))
    rules.sort(key=lambda rule: rule.code)
    digest = hashlib.sha256(repr(rules).encode()).hexdigest()
    return Rulebook(tuple(rules), vocabulary, (), digest)


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

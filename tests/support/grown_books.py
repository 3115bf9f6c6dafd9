"""The built-in rulebooks cut short, or grown by rules drawn at random about what a stack really has."""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType
from typing import Final

from rules.rulebook.fact import KINDS, Fact
from rules.rulebook.limits import MAX_RULES_PER_KIND, lint_limits
from rules.rulebook.model import Rulebook
from rules.rulebook.vocabulary import Property, Vocabulary
from tests.support.random_rules import random_rule
from tests.support.rulebooks import book_of

__all__ = ["MOST", "grown_book"]

MOST: Final = MAX_RULES_PER_KIND * len(KINDS)
"""Rules that a book can have: the engine carries 400, but only so many a kind of subject."""


def grown_book(book: Rulebook, count: int, facts: Sequence[Fact], seed: int = 1) -> Rulebook:
    """Return a book of so many rules: the first ones of this book, or all of it and random ones beside.

    The random ones speak of properties that are known in these facts, so that each has something to judge.
    Raises ValueError for more than :data:`MOST`.
    """
    if count > MOST:
        raise ValueError(f"at most {MOST} rules")
    rules = list(book.rules[:count])
    rng = random.Random(seed)
    words = _known(book.vocabulary, facts)
    while len(rules) < count:
        # long rules on many properties would fill a fact before a kind has all the rules it may have
        written = random_rule(rng, f"TEST-{len(rules):03d}", words, most=2)
        (rule,) = book_of([written], words).rules
        # a kind that is full is drawn again
        if not lint_limits((*rules, rule)):
            rules.append(rule)
    return replace(book, rules=tuple(sorted(rules, key=lambda one: one.code)))


def _known(vocabulary: Vocabulary, facts: Sequence[Fact]) -> Vocabulary:
    kinds: Mapping[str, Mapping[str, Property]] = {
        kind: {
            name: one
            for name, one in vocabulary.of(kind).items()
            if any(fact.kind == kind and name in fact.known for fact in facts)
        }
        for kind in KINDS
    }
    return replace(vocabulary, kinds=MappingProxyType(kinds))

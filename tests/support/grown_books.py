"""The built-in rulebooks, shortened or extended by random rules on properties of real stacks."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from rules.rulebook.book import Rulebook
from rules.rulebook.expression import View
from rules.rulebook.fact import KINDS, Fact
from rules.rulebook.vocabulary import Property, Vocabulary
from tests.oracles.plain_evaluator import evaluate
from tests.support.random_rules import random_rule
from tests.support.rulebooks import book_of

__all__ = ["grown_book"]


def grown_book(
    book: Rulebook, count: int, facts: Sequence[Fact], seed: int = 1, views: Callable[[Fact], View] | None = None
) -> Rulebook:
    """Return a book with this number of rules: the first ones of this book, or all of them and random ones.

    Random rules use properties that are known in these facts, so that each is decided. With the ``views`` of the facts,
    only rules that stay silent on them are taken.
    """
    rules = list(book.rules[:count])
    rng = random.Random(seed)
    words = book.vocabulary
    names = _known(words, facts)
    while len(rules) < count:
        written = random_rule(rng, f"TEST-{len(rules):03d}", words, most=2, names=names)
        one = book_of([written], words)
        if views is None or not evaluate(one, facts, None, views)[0]:
            rules.extend(one.rules)
    return replace(book, rules=tuple(sorted(rules, key=lambda one: one.code)))


def _known(vocabulary: Vocabulary, facts: Sequence[Fact]) -> Mapping[str, Mapping[str, Property]]:
    return {
        kind: {
            name: one
            for name, one in vocabulary.of(kind).items()
            if any(fact.kind == kind and name in fact.known for fact in facts)
        }
        for kind in KINDS
    }

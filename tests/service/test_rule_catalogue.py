"""The catalogue lists the same items for every rule, in the same order."""

from __future__ import annotations

import pytest

from rules.assessor import Assessor
from rules.rulebook.catalogue import catalogue

PARTS = [
    "What it checks",
    "Message",
    "Why",
    "Needs",
    "Thresholds",
    "Known limits",
    "Example that fires",
    "Remedy",
    "Source",
]


@pytest.fixture(scope="module")
def sections(assessor: Assessor) -> dict[str, str]:
    """Text under each rule's heading, by code."""
    parts = catalogue(assessor.book, "a command").split("\n## ")[1:]
    return {part.split(":")[0]: part for part in parts}


def test_every_rule_has_a_heading(sections: dict[str, str], assessor: Assessor) -> None:
    """In the order of the codes, with its title."""
    assert list(sections) == [rule.code for rule in assessor.book.rules]
    assert all(sections[rule.code].startswith(f"{rule.code}: {rule.title}\n") for rule in assessor.book.rules)


def test_every_rule_has_the_same_parts_in_order(sections: dict[str, str]) -> None:
    """No part is left out, even where there is nothing to say, and none is empty."""
    for code, text in sections.items():
        parts = text.split("\n### ")[1:]
        assert [part.split("\n")[0] for part in parts] == PARTS, code
        assert all(part.split("\n", 1)[1].strip() for part in parts), code


def test_the_words_are_those_of_the_rule(sections: dict[str, str], assessor: Assessor) -> None:
    """Reason, remedy, source, limits, needs and thresholds stand under their rule."""
    for rule in assessor.book.rules:
        text = sections[rule.code]
        for words in (rule.message, rule.why, rule.remedy, rule.source, rule.known_limits):
            assert words in text
        for name in (*rule.needs, *rule.thresholds):
            assert f"- `{name}`" in text
        assert f"require: {rule.require}\n" in text
        assert f"where: {rule.where or 'true'}\n" in text
        assert all(example.name in text for example in rule.examples.fires[:1])

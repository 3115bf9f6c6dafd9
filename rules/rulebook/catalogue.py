"""The catalogue of rules as Markdown: the same parts of every rule, in the same order."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterator
from typing import Final

from rules.rulebook.book import Example, Rule, Rulebook, Threshold
from rules.rulebook.linting import rule_in_words

__all__ = ["catalogue"]

_HEAD: Final = """\
# Rule catalogue

Generated from the rulebooks by `{command}`; do not edit.

Names in braces are replaced by values when a rule fires.
A rule that lacks one of its needs is reported as undecided.
A threshold may be moved between its bounds by `policy.thresholds` of a request.
"""


def catalogue(book: Rulebook, command: str, codes: Collection[str] | None = None) -> str:
    """Return the catalogue of the rules with these codes, of all if None; ``command`` is what writes it."""
    lines = [_HEAD.format(command=command)]
    for rule in book.rules:
        if codes is None or rule.code in codes:
            lines += _rule(rule, book)
    return "\n".join(lines)


def _rule(rule: Rule, book: Rulebook) -> Iterator[str]:
    safety = ", a safety rule" if rule.safety else ""
    subject = f"{'an' if rule.applies_to[0] in 'aeiou' else 'a'} {rule.applies_to}"
    yield f"## {rule.code}: {rule.title}\n"
    yield f"{rule.severity.capitalize()} on {subject}{safety}; rulebook `{rule.book}`.\n"
    yield "### What it checks\n"
    if rule.scope is not None:
        yield f"Where {rule_in_words(rule, rule.scope, book.vocabulary)}:\n"
    yield f"{_sentence(rule_in_words(rule, rule.requirement, book.vocabulary))}\n"
    yield f"```\nwhere: {rule.where or 'true'}\nrequire: {rule.require}\n```\n"
    yield f"### Message\n\n{rule.message}\n"
    yield f"### Why\n\n{rule.why or 'Not stated.'}\n"
    yield "### Needs\n"
    meanings = book.vocabulary.of(rule.applies_to)
    yield from _items(f"`{name}`{_unit(meanings[name].unit)}: {meanings[name].meaning}" for name in rule.needs)
    yield "### Thresholds\n"
    yield from _items(
        f"`{name}` = {one.value:g}{_unit(one.unit or 'none')}, {_bounds(one)}: {one.meaning or 'no meaning stated'}"
        for name, one in rule.thresholds.items()
    )
    yield f"### Known limits\n\n{rule.known_limits or 'Not stated.'}\n"
    yield "### Example that fires\n"
    yield from _items(_changes(rule.examples.fires[0]) if rule.examples.fires else iter(()))
    yield f"### Remedy\n\n{rule.remedy}\n"
    yield f"### Source\n\n{rule.source}\n"


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}."


def _bounds(one: Threshold) -> str:
    return "fixed" if one.minimum is None or one.maximum is None else f"{one.minimum:g} to {one.maximum:g}"


def _items(items: Iterator[str]) -> Iterator[str]:
    listed = [f"- {item}" for item in items]
    yield "\n".join(listed) + "\n" if listed else "None.\n"


def _changes(example: Example) -> Iterator[str]:
    yield f"{example.name}; base request `{example.base}`"
    for pointer, value in example.set.items():
        yield f"`{pointer}` set to `{json.dumps(value, ensure_ascii=False)}`"
    for pointer in example.remove:
        yield f"`{pointer}` removed"


def _unit(unit: str) -> str:
    return "" if unit == "none" else f" [{unit}]"

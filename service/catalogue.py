"""The rule catalogue as Markdown: a heading a rule, the same parts in the same order."""

from __future__ import annotations

import json
from collections.abc import Iterator

from rules.rulebook.book import Example, Rule, Rulebook

__all__ = ["catalogue"]

_HEAD = """\
# Rule catalogue

Generated from the rulebooks beside this file by `python -m service catalogue`; do not edit.

What stands in braces is filled in when a rule fires.
A rule that lacks one of its needs is reported as undecided.
A threshold may be moved between its bounds by `policy.thresholds` of a request.
"""


def catalogue(book: Rulebook) -> str:
    """The catalogue of these rules."""
    lines = [_HEAD]
    for rule in book.rules:
        lines += _rule(rule, book)
    return "\n".join(lines)


def _rule(rule: Rule, book: Rulebook) -> Iterator[str]:
    safety = ", a safety rule" if rule.safety else ""
    subject = f"{'an' if rule.applies_to[0] in 'aeiou' else 'a'} {rule.applies_to}"
    yield f"## {rule.code}: {rule.title}\n"
    yield f"{rule.severity.capitalize()} on {subject}{safety}; rulebook `{rule.book}`.\n"
    yield f"### What it checks\n\n{rule.message}\n"
    yield f"### Why\n\n{rule.why}\n"
    yield "### Needs\n"
    meanings = book.vocabulary.of(rule.applies_to)
    yield from _items(f"`{name}`{_unit(meanings[name].unit)}: {meanings[name].meaning}" for name in rule.needs)
    yield "### Thresholds\n"
    yield from _items(
        f"`{name}` = {one.value:g}{_unit(one.unit)}, {one.minimum:g} to {one.maximum:g}: {one.meaning}"
        for name, one in rule.thresholds.items()
    )
    yield f"### Known limits\n\n{rule.known_limits}\n"
    yield "### Example that fires\n"
    yield from _items(_changes(rule.examples.fires[0]))
    yield f"### Remedy\n\n{rule.remedy}\n"
    yield f"### Source\n\n{rule.source}\n"


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

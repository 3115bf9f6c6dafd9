"""Thresholds set by a request: which may be moved, and how far."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from rules.rulebook.model import Rulebook

__all__ = ["OverrideProblem", "Overrides", "check_overrides", "threshold_in_force"]

Overrides = Mapping[str, Mapping[str, float]]
"""Rule code to threshold name to value, in the threshold's own unit."""


@dataclass(frozen=True, slots=True)
class OverrideProblem:
    """One threshold that can't be set so; ``threshold`` is empty when the rule itself is unknown."""

    code: str
    threshold: str
    reason: str


def check_overrides(book: Rulebook, overrides: Overrides) -> list[OverrideProblem]:
    """Every override that names no threshold of the book, is no finite number or lies outside its bounds."""
    problems: list[OverrideProblem] = []
    for code, wanted in overrides.items():
        try:
            rule = book.rule(code)
        except KeyError:
            problems.append(OverrideProblem(code, "", f"there is no rule {code}"))
            continue
        for name, value in wanted.items():
            if (threshold := rule.thresholds.get(name)) is None:
                known = ", ".join(sorted(rule.thresholds)) or "none"
                problems.append(OverrideProblem(code, name, f"the rule has no threshold {name}; known: {known}"))
            elif isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
                problems.append(OverrideProblem(code, name, f"{value!r} is no finite number"))
            elif not threshold.minimum <= value <= threshold.maximum:
                bounds = f"between {threshold.minimum:g} and {threshold.maximum:g} {threshold.unit}"
                problems.append(OverrideProblem(code, name, f"{value:g} must lie {bounds}"))
    return problems


def threshold_in_force(book: Rulebook, overrides: Overrides, code: str, name: str) -> float | None:
    """Return what a threshold is for one request; None where no book has it."""
    asked = overrides.get(code, {}).get(name)
    if asked is not None:
        return asked
    try:
        return book.rule(code).thresholds[name].value
    except KeyError:
        return None

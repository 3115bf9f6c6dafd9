"""Findings and undecided rules as the report tells them."""

from __future__ import annotations

from collections.abc import Mapping

from rules.quantities.models import LackingFact, made
from rules.quantities.rounding import rounded, rounded_for_people
from rules.rulebook.book import Fired, Rule
from rules.rulebook.book import Undecided as UndecidedRule
from rules.rulebook.fact import Value, render
from rules.rulebook.vocabulary import Property
from rules.schema.report import Finding, Undecided

__all__ = ["finding", "undecided"]


def _value(fired: Fired, name: str | None) -> float | str | None:
    if name is None:
        return None
    value = fired.thresholds.get(name, fired.fact.known.get(name))
    if isinstance(value, bool) or value is None:
        return None
    return value if isinstance(value, str) else rounded(value, fired.rule.unit)


def _margin(rule: Rule, observed: float | str | None, limit: float | str | None) -> float | None:
    """Distance to the limit in the sense of the rule's own comparison: negative where it is broken."""
    if rule.sense is None or not isinstance(observed, float) or not isinstance(limit, float):
        return None
    return rounded(limit - observed if rule.sense == "at most" else observed - limit, rule.unit)


def _told(fired: Fired, properties: Mapping[str, Property]) -> dict[str, Value]:
    """Return the values for a message, rounded unless that would hide by how much a limit is broken."""
    rule = fired.rule
    exact = {**fired.fact.known, **fired.thresholds}
    told: dict[str, Value] = {}
    for name in rule.told:
        value = exact[name]
        if isinstance(value, bool | str):
            told[name] = value
        else:
            unit = properties[name].unit if name in properties else rule.thresholds[name].unit
            told[name] = rounded_for_people(value, unit)
    observed, limit = rule.observed, rule.limit
    if observed and limit and told[observed] == told[limit]:
        told |= {observed: exact[observed], limit: exact[limit]}
    return told


def finding(fired: Fired, properties: Mapping[str, Property]) -> Finding:
    """Tell a rule that fired; properties is the vocabulary of the fact's kind."""
    rule, values = fired.rule, _told(fired, properties)
    observed, limit = _value(fired, rule.observed), _value(fired, rule.limit)
    return made(
        Finding,
        code=rule.code,
        severity=rule.severity,
        title=rule.title,
        message=render(rule.message, values),
        at=list(fired.fact.at),
        observed=observed,
        limit=limit,
        unit=None if rule.unit == "none" else rule.unit,
        margin=_margin(rule, observed, limit),
        remedy=render(rule.remedy, values),
        source=rule.source,
    )


def undecided(item: UndecidedRule) -> Undecided:
    """Tell a rule that could not be decided."""
    return made(
        Undecided,
        code=item.rule.code,
        severity=item.rule.severity,
        title=item.rule.title,
        at=list(item.fact.at),
        lacks=[made(LackingFact, fact=name, fields=list(fields)) for name, fields in item.lacking.items()],
    )

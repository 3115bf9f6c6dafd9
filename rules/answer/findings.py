"""Findings and undecided rules as the report tells them.

Pointers to referenced components, led to where the request defines them.

Fields of a request in words: '/stack/components/1/runout' is the runout of collet-1.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Final

from rules.quantities.models import LackingFact, construct
from rules.quantities.rounding import rounded, rounded_for_people
from rules.rulebook.book import Fired, Rule
from rules.rulebook.book import Undecided as UndecidedRule
from rules.rulebook.fact import Value, render
from rules.rulebook.vocabulary import Property
from rules.schema.components import ComponentReference
from rules.schema.report import AssemblyStep, Finding, Report, Undecided
from rules.schema.request import Stack

__all__ = ["enumerated", "field_in_words", "finding", "repointed", "undecided"]


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
    return construct(
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
    return construct(
        Undecided,
        code=item.rule.code,
        severity=item.rule.severity,
        title=item.rule.title,
        at=list(item.fact.at),
        lacks=[construct(LackingFact, fact=name, fields=list(fields)) for name, fields in item.lacking.items()],
    )


def repointed(report: Report, homes: Mapping[str, str]) -> Report:
    """Return the report with every pointer below a reference led to the definition it names.

    The reference itself keeps its pointer: it says which part of the stack is meant.
    """

    def lead(pointer: str) -> str:
        steps = pointer.split("/", 4)
        home = homes.get("/".join(steps[:4])) if len(steps) > 4 else None
        return pointer if home is None else f"{home}/{steps[4]}"

    def leads(pointers: Sequence[str]) -> list[str]:
        return [lead(pointer) for pointer in pointers]

    def lacks(facts: Sequence[LackingFact]) -> list[LackingFact]:
        return [fact.model_copy(update={"fields": leads(fact.fields)}) for fact in facts]

    def steps(drafts: Sequence[AssemblyStep]) -> list[AssemblyStep]:
        return [one.model_copy(update={"at": leads(one.at), "not_stated": leads(one.not_stated)}) for one in drafts]

    assembly = report.assembly
    if assembly is not None:
        assembly = assembly.model_copy(
            update={"steps": steps(assembly.steps), "disassembly": steps(assembly.disassembly)}
        )
    return report.model_copy(
        update={
            "findings": [one.model_copy(update={"at": leads(one.at)}) for one in report.findings],
            "undecided": [
                one.model_copy(update={"at": leads(one.at), "lacks": lacks(one.lacks)}) for one in report.undecided
            ],
            "runout": report.runout.model_copy(update={"not_stated": lacks(report.runout.not_stated)}),
            "assembly": assembly,
            "grip": [one.model_copy(update={"at": leads(one.at)}) for one in report.grip],
        }
    )


_UNIT: Final = re.compile(r"_(?:mm|um|gmm|kg|rpm|deg)$")
_LONGEST_LIST: Final = 3


def field_in_words(pointer: str, stack: Stack) -> str:
    """Name a field of the request.

    >>> stack = Stack.model_validate({"components": [{"kind": "collet", "id": "c1"}]})
    >>> field_in_words("/stack/components/0/workpiece_side/length_mm", stack)
    'workpiece side length of c1'
    """
    steps = pointer.split("/")[1:]
    number, rest = "".join(steps[2:3]), steps[3:]
    if steps[:2] == ["stack", "components"]:
        if not number.isdigit():
            return "the cutter at the end"
        entry = stack.components[int(number)]
        owner = entry.id or (entry.of if isinstance(entry, ComponentReference) else "")
    elif steps[:2] == ["stack", "joints"]:
        joints = stack.joints or []
        joint = joints[int(number)] if number.isdigit() and int(number) < len(joints) else None
        owner = "a joint" if joint is None else f"{joint.upper}/{joint.lower}"
    else:
        owner, rest = f"the {steps[0]}", steps[1:]
    words = " ".join(_UNIT.sub("", step).replace("_", " ") for step in rest if not step.isdigit())
    return f"{words} of {owner}" if words else owner


def enumerated(words: Sequence[str]) -> str:
    """List one word or more, the first few by name.

    >>> enumerated(["a", "b"]), enumerated(["a", "b", "c", "d", "e"])
    ('a and b', 'a, b, c and 2 more')
    """
    shown = list(words[:_LONGEST_LIST])
    if len(words) > _LONGEST_LIST:
        shown.append(f"{len(words) - _LONGEST_LIST} more")
    return shown[0] if len(shown) == 1 else f"{', '.join(shown[:-1])} and {shown[-1]}"

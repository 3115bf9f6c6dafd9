"""Findings and undecided rules of one stack as a library audit keeps them, with an identity that outlasts one run.

The identity names what was found and where, by names alone: stack, rule, components, operation. It holds no index and
no number, so it survives another order of lines, components and joints, and another measured value.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Sequence
from typing import Any, Final, Literal, NamedTuple, TypeAlias

from rules.gaps import part_name
from rules.schema.components import ComponentReference
from rules.schema.report import Finding, Quantity, Report, Severity, Undecided, Verdict
from rules.schema.request import DEFAULT_POLICY, CheckRequest

__all__ = ["VERDICTS", "AuditItem", "Kind", "StackPart", "identity_of", "items_of", "parts_of_stack"]

VERDICTS: Final[tuple[Verdict, ...]] = ("pass", "review", "fail")
"""Verdicts, the best first."""

Kind: TypeAlias = Literal["finding", "undecided"]


class StackPart(NamedTuple):
    """A component of a stack by its names."""

    id: str
    """Name in the stack, else the key of its definition."""
    part: str
    """Part number, else key, else id."""


class AuditItem(NamedTuple):
    """A finding, or a rule that could not be decided."""

    identity: str
    """SHA-256, see :func:`identity_of`."""
    kind: Kind
    code: str
    severity: Severity
    weight: Verdict
    """Verdict that it alone would give its stack, by the stack's policy."""
    message: str
    """Message of a finding; of an undecided rule what it lacks."""
    remedy: str = ""
    operation: str | None = None
    at: tuple[str, ...] = ()
    """JSON Pointers into the request."""
    parts: tuple[StackPart, ...] = ()
    """Components that it concerns."""
    observed: float | str | None = None
    limit: float | str | None = None
    unit: str | None = None

    @property
    def values(self) -> tuple[Any, ...]:
        """Return what may change while the identity stays: severity, numbers, missing quantities."""
        words = self.message if self.kind == "undecided" else ""
        return (self.severity, self.observed, self.limit, words)


def identity_of(kind: Kind, stack: str | None, code: str, names: Iterable[str], operation: str | None = None) -> str:
    """Return the SHA-256 over kind, stack id, code, ids of the components and operation.

    Parameters
    ----------
    kind
        A decided rule is another matter than an undecided one.
    stack
        Id of the stack; None for a part of the library.
    code
        Code of the rule.
    names
        Ids of the components, in any order.
    operation
        Id of the operation, since another operation is another case.

    Returns
    -------
    str
        64 hexadecimal digits.
    """
    named = [kind, stack, code, sorted(set(names)), operation]
    return hashlib.sha256(json.dumps(named, ensure_ascii=True, separators=(",", ":")).encode("ascii")).hexdigest()


def parts_of_stack(request: CheckRequest) -> tuple[StackPart, ...]:
    """Return the components of a stack, from the spindle side."""
    return tuple(_part(entry, request) for entry in request.stack.components)


def _part(entry: Any, request: CheckRequest) -> StackPart:
    name = part_name(entry, request)
    if isinstance(entry, ComponentReference):
        return StackPart(entry.id or entry.of.key, name)
    return StackPart(entry.id, name)


def items_of(report: Report, request: CheckRequest) -> tuple[AuditItem, ...]:
    """Return the findings of a report, then its undecided rules."""
    if not report.findings and not report.undecided:
        return ()
    policy = request.policy or DEFAULT_POLICY
    parts = parts_of_stack(request)
    # A stack without an id is known by its parts.
    stack = request.stack.id or "unnamed: " + ", ".join(one.part for one in parts)
    weights: dict[str, Verdict] = {"error": "fail", "warning": policy.on_warning, "advice": "pass"}
    found = [_finding(one, stack, weights[one.severity], request, parts) for one in report.findings]
    found += [_undecided(one, stack, policy.on_undecided, request, parts) for one in report.undecided]
    return tuple(found)


def _finding(one: Finding, stack: str, weight: Verdict, request: CheckRequest, parts: Sequence[StackPart]) -> AuditItem:
    concerned = _concerned(one.at, request, parts)
    return AuditItem(
        identity=identity_of("finding", stack, one.code, (part.id for part in concerned), one.operation),
        kind="finding",
        code=one.code,
        severity=one.severity,
        weight=weight,
        message=one.message,
        remedy=one.remedy,
        operation=one.operation,
        at=tuple(one.at),
        parts=concerned,
        observed=_value(one.observed),
        limit=_value(one.limit),
        unit=None if one.observed is None else one.observed.unit,
    )


def _value(quantity: Quantity | None) -> float | str | None:
    return None if quantity is None else quantity.value


def _undecided(
    one: Undecided, stack: str, weight: Verdict, request: CheckRequest, parts: Sequence[StackPart]
) -> AuditItem:
    lacking = sorted({at for lack in one.lacks for at in lack.at})
    concerned = _concerned(one.at, request, parts)
    fields = _concerned(lacking, request, parts)
    lacks = ", ".join(dict.fromkeys(lack.quantity.replace("_", " ") for lack in one.lacks)) or "data"
    of = ", ".join(dict.fromkeys(part.id for part in fields))
    return AuditItem(
        identity=identity_of("undecided", stack, one.code, (part.id for part in concerned), one.operation),
        kind="undecided",
        code=one.code,
        severity=one.severity,
        weight=weight,
        message=f"Not decided; missing: {lacks}" + (f" ({of})." if of else "."),
        operation=one.operation,
        at=tuple(lacking or one.at),
        parts=fields or concerned,
    )


def _concerned(at: Iterable[str], request: CheckRequest, parts: Sequence[StackPart]) -> tuple[StackPart, ...]:
    """Return the components that pointers lead to, in the order of the stack."""
    places = sorted({place for one in at for place in _places(one, request, parts)})
    return tuple(parts[place] for place in places)


def _places(at: str, request: CheckRequest, parts: Sequence[StackPart]) -> Iterator[int]:
    steps = [step.replace("~1", "/").replace("~0", "~") for step in at.split("/")[1:]]
    if steps[:2] == ["stack", "components"] and len(steps) > 2 and steps[2].isdecimal():
        if int(steps[2]) < len(parts):
            yield int(steps[2])
    elif steps[:2] == ["stack", "joints"] and len(steps) > 2 and steps[2].isdecimal():
        joints = request.stack.joints or ()
        if int(steps[2]) < len(joints):
            joint = joints[int(steps[2])]
            yield from (place for place, one in enumerate(parts) if one.id in (joint.upper, joint.lower))
    elif steps[:1] == ["components"] and len(steps) > 1:
        for place, entry in enumerate(request.stack.components):
            if isinstance(entry, ComponentReference) and entry.of.key == steps[1]:
                yield place

"""One report of the checks with nothing assumed, with typical and with cautious values.

Nothing that rests on an assumption is more than a reason to look: an error becomes a warning, and the verdict is
review at best.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from math import inf, log
from typing import Final, NamedTuple, TypeAlias

from rules.assumptions.laying import SET, Assumed
from rules.quantities.models import construct
from rules.schema.report import AssumedRange, Assumption, Finding, JointEnds, Report, Severity, Undecided
from rules.schema.request import AssumptionSet, Machine, StackRequest

__all__ = ["Result", "Results", "combined", "dependence", "lacking", "relief", "results", "weighty"]


class _Key(NamedTuple):
    quantity: str
    plane: str | None
    joint: str | None
    operation: str | None


class Result(NamedTuple):
    """A figure of a report that may rest on assumptions."""

    value: float
    limit: float | None
    unit: str
    joint: JointEnds | None


Results: TypeAlias = Mapping[_Key, Result]

_ON_DATA: Final = ("DAT-", "PLA-")
"""Rules on what is stated: contradictions and implausible values; an assumed value is neither."""

_SLIPS: Final = 1.0
"""Safety factor at which a clamp slips."""


def lacking(report: Report) -> list[str]:
    """Return the pointers of the fields that undecided rules and the runout lack."""
    undecided = [pointer for one in report.undecided for gap in one.lacks for pointer in gap.at]
    return [*undecided, *(pointer for gap in report.runout.not_stated for pointer in gap.at)]


def results(report: Report, request: StackRequest) -> dict[_Key, Result]:
    """Return the figures of a report on which a decision may rest.

    Runout is the 95th percentile of assemblies, speed the lowest limit, grip the safety factor of each joint.
    """
    return dict(_results(report, request))


def _results(report: Report, request: StackRequest) -> Iterator[tuple[_Key, Result]]:
    limits: dict[str, float] = {}
    for limited in (one.runout for one in report.operations if one.runout is not None):
        limits[limited.plane] = min(limited.limit_um, limits.get(limited.plane, inf))
    for plane in report.runout.planes:
        found = plane.prediction()
        if found is not None and "p95" in found.quantiles_um:
            limit = limits.get(plane.plane)
            yield _Key("runout_tir", plane.plane, None, None), Result(found.quantiles_um["p95"], limit, "um", None)
    machine = request.machine if isinstance(request.machine, Machine) else None
    if report.mass.total_kg is not None:
        most = None if machine is None else machine.max_tool_mass_kg
        yield _Key("mass", None, None, None), Result(report.mass.total_kg, most, "kg", None)
    if report.balance.unbalance_p95_g_mm is not None:
        permitted = [one.balance.permissible_g_mm for one in report.operations if one.balance is not None]
        least = min((one for one in permitted if one is not None), default=None)
        yield _Key("unbalance", None, None, None), Result(report.balance.unbalance_p95_g_mm, least, "g.mm", None)
    if report.stiffness.tip_stiffness_n_per_um is not None:
        value = report.stiffness.tip_stiffness_n_per_um.value
        yield _Key("stiffness", None, None, None), Result(value, None, "N/um", None)
    for one in report.operations:
        speed = one.speed
        if speed is not None and speed.governing is not None:
            key = _Key("speed_limit", None, None, one.id)
            yield key, Result(speed.governing.speed_rpm.value, speed.programmed_rpm, "/min", None)
        for grip in one.grip:
            if grip.safety_factor is not None:
                key = _Key("safety_factor", None, str(grip.joint), one.id)
                yield key, Result(grip.safety_factor.value, _SLIPS, "1", grip.joint)
        bending = one.bending
        if bending is not None and bending.deflection_um is not None:
            key = _Key("deflection", None, None, one.id)
            yield key, Result(bending.deflection_um.value, bending.deflection_limit_um, "um", None)


def combined(
    unassumed: Report,
    judged: Report,
    other: Report,
    assumed: Sequence[Assumed],
    dependences: Sequence[float | None],
    ends: tuple[Results, Results],
    own: AssumptionSet | None = None,
) -> Report:
    """Return the report for people: what is known, what is likely, and what that rests on.

    Parameters
    ----------
    unassumed
        Report with nothing assumed.
    judged
        Report with the end of the policy, typical or cautious.
    other
        Report with the other end.
    assumed
        Assumed values, as laid.
    dependences
        Of each value: how much the most affected result depends on it, 1; None where no result does.
    ends
        Results with typical and with cautious values.
    own
        The shop's own set of assumed values; provenance names it where a value is from it.

    Returns
    -------
    Report
        With the findings of both: what nothing assumed decides stays as it is; an error on assumed values is a
        warning; what only the other end finds is advice.
    """
    open_rules = {_place(one): one for one in unassumed.undecided}
    first = len(judged.assumptions)
    order = sorted(range(len(assumed)), key=lambda place: -(dependences[place] or 0.0))
    ids = {assumed[place].at: f"A{first + number}" for number, place in enumerate(order, start=1)}
    known = {_place(one) for one in unassumed.findings}
    findings: list[Finding] = []
    for one in judged.findings:
        if _place(one) in known:
            findings.append(one)
        elif not one.code.startswith(_ON_DATA):
            findings.append(_on_assumptions(one, open_rules, ids))
    shown = {_place(one) for one in findings}
    findings += [one for one in unassumed.findings if _place(one) not in shown]
    shown |= known
    for one in other.findings:
        if _place(one) not in shown and one.severity != "advice" and not one.code.startswith(_ON_DATA):
            findings.append(_possible(one, open_rules, ids))
    findings.sort(key=lambda item: _ORDER[item.severity])
    used: dict[str, list[str]] = {}
    for gap in unassumed.undecided:
        for pointer in (pointer for lack in gap.lacks for pointer in lack.at):
            used.setdefault(pointer, []).append(gap.code)
    values = [
        _assumption(assumed[place], ids[assumed[place].at], dependences[place], used.get(assumed[place].at, []))
        for place in order
    ]
    counts = [item.severity for item in findings]
    summary = judged.summary.model_copy(
        update={
            "errors": counts.count("error"),
            "warnings": counts.count("warning"),
            "advice": counts.count("advice"),
            "assumed": judged.summary.assumed + len(values),
        }
    )
    return judged.model_copy(
        update={
            "findings": findings,
            "summary": summary,
            "assumptions": [*values, *judged.assumptions],
            "ranges": _ranges(*ends),
            "provenance": judged.provenance.model_copy(update=_named(assumed, own)),
        }
    )


def _named(assumed: Sequence[Assumed], own: AssumptionSet | None) -> dict[str, str | None]:
    """Return name and digest of the set for the provenance."""
    if own is None or all(one.confidence != "calibrated" for one in assumed):
        return {"assumption_set": SET}
    return {"assumption_set": own.name, "assumption_set_sha256": own.sha256}


_ORDER: Final[Mapping[str, int]] = {"error": 0, "warning": 1, "advice": 2}

_Place: TypeAlias = tuple[str, tuple[str, ...], str | None]


def _place(one: Finding | Undecided) -> _Place:
    return one.code, tuple(one.at), one.operation


def _rests_on(one: Finding, open_rules: Mapping[_Place, Undecided], ids: Mapping[str, str]) -> list[str]:
    """Return the ids of the values that decided a rule; all of them where the rule did not even concern the stack."""
    gap = open_rules.get(_place(one))
    lacked = [] if gap is None else [pointer for lack in gap.lacks for pointer in lack.at]
    names = [ids[pointer] for pointer in dict.fromkeys(lacked) if pointer in ids]
    return [*one.rests_on, *sorted(names or ids.values(), key=lambda name: int(name[1:]))]


def _on_assumptions(one: Finding, open_rules: Mapping[_Place, Undecided], ids: Mapping[str, str]) -> Finding:
    severity: Severity = "warning" if one.severity == "error" else one.severity
    return one.model_copy(
        update={
            "severity": severity,
            "rests_on": _rests_on(one, open_rules, ids),
            "message": f"Likely, on assumed values: {one.message}",
        }
    )


def _possible(one: Finding, open_rules: Mapping[_Place, Undecided], ids: Mapping[str, str]) -> Finding:
    return one.model_copy(
        update={
            "severity": "advice",
            "rests_on": _rests_on(one, open_rules, ids),
            "message": f"Possible, at the other end of the assumed values: {one.message}",
        }
    )


def _assumption(one: Assumed, name: str, dependence: float | None, used_by: Sequence[str]) -> Assumption:
    typical, cautious = one.shown
    low = high = None
    if isinstance(typical, (int, float)) and isinstance(cautious, (int, float)):
        low, high = float(min(typical, cautious)), float(max(typical, cautious))
    return construct(
        Assumption,
        id=name,
        at=one.at,
        quantity=one.quantity,
        subject=one.subject,
        category=one.category,
        value=float(typical) if isinstance(typical, (int, float)) else typical,
        low=low,
        high=high,
        unit=one.unit,
        set=one.set,
        source=one.source,
        confidence=one.confidence.replace(" ", "_"),
        dependence=None if dependence is None else float(f"{dependence:.2g}"),
        used_by=sorted(set(used_by)),
    )


def dependence(single: Results, typical: Results, cautious: Results, *, decides: bool = False) -> float | None:
    """Return how much a decision depends on one value, 1.

    A result with a limit counts by the factor by which it changes, over the factor to its limit, both as logarithms;
    one that keeps its limit at both ends decides nothing, and no more does a result without a limit. Where no runout
    has a limit, the runout counts by its own factor, since it is what a stack is first asked for.

    Parameters
    ----------
    single
        Results with this value alone at its cautious end.
    typical
        Results with every value at its typical end.
    cautious
        Results with every value at its cautious end.
    decides
        Whether the value alone changes what a rule finds, so that it is 1 at least.

    Returns
    -------
    float or None
        None where no result depends on anything assumed.
    """
    found = [_DECIDES] if decides else []
    runout_limited = any(key.quantity == _RUNOUT and one.limit is not None for key, one in typical.items())
    for key, one in typical.items():
        changed = single.get(key)
        if changed is None:
            continue
        moved = _factor(one.value, changed.value)
        if one.limit is not None:
            share = moved / max(_factor(one.value, one.limit), _NEAREST)
            safe = _kept(key, one) and _kept(key, cautious.get(key, changed))
            found.append(min(share, _UNDECISIVE) if safe else share)
        elif key.quantity == _RUNOUT and not runout_limited:
            found.append(min(moved, _UNLIMITED_RUNOUT))
        else:
            found.append(min(moved * _UNDECISIVE, _UNDECISIVE))
    return max(found, default=None)


def _kept(key: _Key, one: Result) -> bool:
    if one.limit is None:
        return True
    return one.value >= one.limit if key.quantity in _AT_LEAST else one.value <= one.limit


_AT_LEAST: Final = frozenset({"speed_limit", "safety_factor"})
"""Results that keep their limit above it."""


def relief(report: Report, own: Assumed, typical: Results) -> float:
    """Return how much a runout above its limit depends on an assumed runout that may be better than assumed, 1.

    Without this contributor the mean square is less by its share, and the 95th percentile about by the root of that.
    """
    most = 0.0
    if own.quantity != _RUNOUT:
        return most
    for plane in report.runout.planes:
        result = typical.get(_Key(_RUNOUT, plane.plane, None, None))
        if result is None or result.limit is None or result.value <= result.limit or result.limit <= 0.0:
            continue
        named = [
            one for one in report.runout.contributors if one.component == own.subject and one.kind == "part_runout"
        ]
        share = min(sum(one.share.get(plane.plane) or 0.0 for one in named), _ALL)
        most = max(most, -0.5 * log(1.0 - share) / max(_factor(result.value, result.limit), _NEAREST))
    return most


_ALL: Final = 0.999

_RUNOUT: Final = "runout_tir"

_DECIDES: Final = 1.0

_NEAREST: Final = 0.05
"""Least factor to a limit, as a logarithm: about a twentieth."""

_UNLIMITED_RUNOUT: Final = 0.99
"""Most that a runout without a limit counts: the figure that is asked for, but not a decision."""

_UNDECISIVE: Final = 0.1
"""Most that a result counts on which no decision rests."""


def _factor(value: float, other: float) -> float:
    """Return the size of the natural logarithm of a ratio; without one, the difference over the larger size."""
    if value > 0.0 and other > 0.0:
        return abs(log(other / value))
    return abs(other - value) / max(abs(value), abs(other), 1e-12)


def weighty(report: Report) -> frozenset[_Place]:
    """Return what the errors and warnings of a report are about, without those on contradictory data."""
    return frozenset(
        _place(one) for one in report.findings if one.severity != "advice" and not one.code.startswith(_ON_DATA)
    )


def _ranges(typical: Results, cautious: Results) -> list[AssumedRange]:
    """Return the results that differ between the ends, with two significant figures."""
    rows = []
    for key in dict.fromkeys((*typical, *cautious)):
        one, other = typical.get(key), cautious.get(key)
        known = one or other
        if known is None or (one is not None and other is not None and one.value == other.value):
            continue
        rows.append(
            construct(
                AssumedRange,
                quantity=key.quantity,
                plane=key.plane,
                joint=known.joint,
                operation=key.operation,
                typical=None if one is None else float(f"{one.value:.2g}"),
                cautious=None if other is None else float(f"{other.value:.2g}"),
                limit=known.limit,
                unit=known.unit,
            )
        )
    return rows

"""Comparison of alternatives for one operation: each judged by itself, ranked by criteria, with reasons in words.

An alternative is dominated if another is at least as good on every criterion and better on one.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final

from rules.analysis import StackAnalysis
from rules.answer.findings import enumerated, field_in_words
from rules.answer.provenance import provenance
from rules.assessor import Assessor
from rules.quantities.missing import Missing
from rules.quantities.rounding import rounded, rounded_for_people
from rules.quantities.units import ucum
from rules.random_vectors.comparison import chances_of_less
from rules.random_vectors.random_sum import RandomClocking
from rules.runout.analysis import law_at
from rules.schema.comparison import (
    MAX_IN_ALL_PAIRS,
    AlternativeReport,
    ComparedFinding,
    ComparisonReport,
    ComparisonRequest,
    CriterionName,
    CriterionReport,
    ReadsLess,
)
from rules.schema.report import Finding, Report
from rules.schema.request import CheckRequest

__all__ = ["compare", "dominators", "non_dominated"]


@dataclass(frozen=True, slots=True)
class Judged:
    """One alternative with its report."""

    name: str
    report: Report
    derived: StackAnalysis

    @property
    def fails(self) -> bool:
        """Whether the verdict is fail."""
        return self.report.verdict == "fail"


@dataclass(frozen=True, slots=True)
class Criterion:
    """One criterion; its value is rounded as in the report, so that no invisible difference decides."""

    name: CriterionName
    words: str
    unit: str | None
    higher_is_better: bool
    value: Callable[[Judged], float | None]


def _p95(judged: Judged) -> float | None:
    plane = judged.report.runout.plane("gauge_plane")
    return None if plane is None else plane.quantile_um("p95")


def _worst(judged: Judged) -> float | None:
    plane = judged.report.runout.plane("gauge_plane")
    return None if plane is None else plane.quantile_um("p100", "worst_case")


def _speed(judged: Judged) -> float | None:
    governing = judged.report.lowest_limit
    return governing.speed_rpm.value if governing is not None and judged.report.speed_complete else None


def _stiffness(judged: Judged) -> float | None:
    stiffness = judged.report.stiffness.tip_stiffness_n_per_um
    return None if stiffness is None else stiffness.value


CRITERIA: Final = (
    Criterion("runout_p95", "runout", "um", False, _p95),
    Criterion("runout_worst_case", "worst case", "um", False, _worst),
    Criterion("projection", "projection", "mm", False, lambda one: one.report.geometry.tip_mm),
    Criterion("speed_limit", "speed", "rpm", True, _speed),
    Criterion("stiffness", "stiffness", "N/um", True, _stiffness),
    Criterion("joints", "joints", None, False, lambda one: len(one.derived.chain.joints)),
    Criterion("errors", "errors", None, False, lambda one: one.report.summary.errors),
    Criterion("warnings", "warnings", None, False, lambda one: one.report.summary.warnings),
    Criterion("undecided", "undecided rules", None, False, lambda one: one.report.summary.undecided),
)


def missing_for(judged: Judged, criterion: Criterion) -> str:
    """Return a sentence on the missing data of an unknown value."""
    fields: list[str] = []
    derived = judged.derived
    if criterion.name in ("runout_p95", "runout_worst_case"):
        fields = [*_fields(derived.contributors.lacking), *_fields(derived.geometry.gauge_plane)]
        if not fields and criterion.name == "runout_worst_case":
            return "a contributor has no hard limit"
    elif criterion.name == "projection":
        fields = _fields(derived.geometry.tip)
    elif criterion.name == "speed_limit":
        fields = _fields(derived.speed_limits.lacking)
    elif criterion.name == "stiffness":
        fields = _fields(derived.stiffness.bending)
    if not fields:
        return "no data"
    words = dict.fromkeys(field_in_words(field, derived.chain.request.stack) for field in fields)
    return f"{enumerated(list(words))} {'is' if len(words) == 1 else 'are'} not stated"


def _fields(value: object) -> list[str]:
    return list(value.fields) if isinstance(value, Missing) else []


Row = Sequence[float | None]


def dominators(rows: Sequence[Row], higher_is_better: Sequence[bool], classes: Sequence[int]) -> list[tuple[int, ...]]:
    """Return for each alternative the indices of those that dominate it.

    a dominates b: class a ≤ class b, no criterion worse, at least one better

    Parameters: ``rows``, one per alternative, with one value per criterion, None where unknown; ``higher_is_better``,
    one per criterion; ``classes``, one per alternative: an alternative of a higher class dominates none of a lower
    class. Unknown values are not comparable: an alternative without a value neither dominates nor is dominated. A
    criterion without any known value is left out. Dominance is therefore a strict partial order, and at least one
    alternative is not dominated. Raises ValueError for NaN and for lengths that differ. Source: Pareto order, first
    principles.

    >>> dominators([[1.0, 5.0], [2.0, 5.0], [None, 9.0]], [False, True], [0, 0, 0])
    [(), (0,), ()]
    """
    if len(classes) != len(rows) or any(len(row) != len(higher_is_better) for row in rows):
        raise ValueError("one class per alternative and one value per criterion")
    if any(value is not None and math.isnan(value) for row in rows for value in row):
        raise ValueError("a value must be a number or None")
    used = [n for n in range(len(higher_is_better)) if any(row[n] is not None for row in rows)]
    costs = [_costs(row, used, higher_is_better) for row in rows]
    return [
        tuple(
            a
            for a, theirs in enumerate(costs)
            if own is not None and theirs is not None and classes[a] <= classes[b] and _beats(theirs, own)
        )
        for b, own in enumerate(costs)
    ]


def non_dominated(rows: Sequence[Row], higher_is_better: Sequence[bool], classes: Sequence[int]) -> list[int]:
    """Return the indices of the alternatives that are not dominated; parameters and errors as `dominators`.

    >>> non_dominated([[1.0, 5.0], [2.0, 5.0], [None, 9.0]], [False, True], [0, 0, 0])
    [0, 2]
    """
    return [n for n, found in enumerate(dominators(rows, higher_is_better, classes)) if not found]


def _costs(row: Row, used: Sequence[int], higher_is_better: Sequence[bool]) -> tuple[float, ...] | None:
    """Return the values with signs such that less is better, or None where one is unknown."""
    values = [(-value if higher_is_better[n] else value) for n in used if (value := row[n]) is not None]
    return tuple(values) if len(values) == len(used) else None


def _beats(first: tuple[float, ...], second: tuple[float, ...]) -> bool:
    return first != second and all(a <= b for a, b in zip(first, second, strict=True))


CriterionRow = Sequence[float | None]

_UNITS: Final = {"um": "µm", "g.mm": "g·mm", "N.m": "N·m", "N/um": "N/µm", "Cel": "°C", "deg": "°", "/min": "rpm"}
_ROUNDED_AS: Final = {"/min": "rpm", "g.mm": "g mm", "N.m": "N m", "%": "percent", "Cel": "degC", "1": "ratio"}
_DECIMALS: Final = {"um": 1, "rpm": 0, "N/um": 2}
_MOST_DECIMALS: Final = 4


def because(
    index: int, judged: Sequence[Judged], rows: Sequence[CriterionRow], dominated_by: Sequence[Sequence[str]]
) -> str:
    """Return the sentence of one alternative.

    Parameters: all alternatives, their values by criterion, and the names of those that dominate each. It is compared
    with those that do not fail, if there are any, else with all others.
    """
    own = judged[index]
    if own.fails:
        return _failure(own)
    others = [n for n in range(len(judged)) if n != index]
    rivals = [n for n in others if not judged[n].fails] or others
    # the order of the alternatives must not decide the name given in a tie
    rivals.sort(key=lambda n: (bool(dominated_by[n]), judged[n].name))
    sentences = [_contest(index, rivals, judged, rows, sorted(dominated_by[index]))]
    unknown: dict[str, list[str]] = {}
    for criterion, value in zip(CRITERIA, rows[index], strict=True):
        if value is None:
            unknown.setdefault(missing_for(own, criterion), []).append(criterion.words)
    if unknown:
        sentences.append("Not known: " + "; ".join(f"{enumerated(of)} ({why})" for why, of in unknown.items()) + ".")
    return " ".join(sentence for sentence in sentences if sentence)


def _failure(own: Judged) -> str:
    findings = own.report.findings
    errors = [_with_values(item) for item in findings if item.severity == "error"]
    if errors:
        return f"Fails: {enumerated(list(dict.fromkeys(errors)))}."
    warnings = [_with_values(item) for item in findings if item.severity == "warning"]
    gaps = own.report.summary.undecided
    causes = list(dict.fromkeys(warnings)) or [f"{gaps} {'rule is' if gaps == 1 else 'rules are'} undecided"]
    return f"Fails under the policy: {enumerated(causes)}."


def _with_values(item: Finding) -> str:
    observed, limit = item.observed, item.limit
    if observed is None or limit is None or isinstance(observed.value, str) or isinstance(limit.value, str):
        return item.title
    unit = observed.unit or "1"
    as_unit, values = _ROUNDED_AS.get(unit, unit), (observed.value, limit.value)
    shown, bound = (f"{rounded_for_people(value, as_unit):.10g}" for value in values)
    if shown == bound:
        return item.title
    words = "" if unit == "1" else f" {_UNITS.get(unit, unit)}"
    return f"{item.title} ({shown}{words}, limit {bound}{words})"


@dataclass(frozen=True, slots=True)
class _Contest:
    """One criterion on which the alternative is compared with the best of the others."""

    criterion: Criterion
    value: float
    best: float
    rival: str
    ahead: float
    """Difference to the best of the others; negative if worse."""
    someone_worse: bool


def _contests(
    index: int, rivals: Sequence[int], judged: Sequence[Judged], rows: Sequence[CriterionRow]
) -> Iterator[_Contest]:
    for n, criterion in enumerate(CRITERIA):
        value = rows[index][n]
        theirs = [(held, judged[rival].name) for rival in rivals if (held := rows[rival][n]) is not None]
        if value is None or not theirs:
            continue
        values = [held for held, _ in theirs]
        best = (max if criterion.higher_is_better else min)(values)
        rival = next(name for held, name in theirs if held == best)
        ahead = value - best if criterion.higher_is_better else best - value
        yield _Contest(criterion, value, best, rival, ahead, any(held != best for held in values))


def _contest(
    index: int,
    rivals: Sequence[int],
    judged: Sequence[Judged],
    rows: Sequence[CriterionRow],
    dominated_by: Sequence[str],
) -> str:
    contests = list(_contests(index, rivals, judged, rows))
    clauses: list[str] = []
    named = ""  # an alternative is named at its first mention
    for verb, chosen in (
        ("better", [one for one in contests if one.ahead > 0.0]),
        ("worse", [one for one in contests if one.ahead < 0.0]),
    ):
        items = []
        for one in chosen:
            than = "" if one.rival == named else f" than {one.rival}"
            items.append(f"{one.criterion.words} ({_distance(one)}{than})")
            named = one.rival
        if items:
            clauses.append(f"{verb} on {_all(items)}")
    if dominated_by:
        return f"Dominated by {enumerated(dominated_by)}: {'; '.join(clauses)}."
    level = [one.criterion.words for one in contests if one.ahead == 0.0 and one.someone_worse]
    if level:
        clauses.append(f"equal to the best on {_all(level)}")
    if clauses:
        text = "; ".join(clauses)
        return f"{text[0].upper()}{text[1:]}."
    return "Equal to the others on every known criterion." if contests else ""


def _distance(one: _Contest) -> str:
    """Return value and difference to the best of the others, with enough decimals to show the difference."""
    unit, distance = one.criterion.unit, abs(one.ahead)
    decimals = 0 if unit is None else _DECIMALS.get(unit, 1)
    while decimals < _MOST_DECIMALS and round(distance, decimals) == 0.0:
        decimals += 1
    words = "" if unit is None else f" {_UNITS.get(unit, unit)}"
    own = f"{one.value:.{decimals}f}{words}"
    if one.criterion.name == "runout_p95":
        own = f"95th percentile {own}"
    return f"{own}, {distance:.{decimals}f}{words} {'more' if one.value > one.best else 'less'}"


def _all(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


Rows = list[list[float | None]]


def compare(request: ComparisonRequest, assessor: Assessor) -> ComparisonReport:
    """Return the comparison of all alternatives, each judged by itself.

    Raises :class:`~rules.schema.parsing.BadRequestError` for thresholds that no rule has or allows, and
    :class:`~rules.rulebook.engine.EngineFaultError` when the engine fails.
    """
    names = _unique([one.name for one in request.alternatives])
    judged = [
        Judged(
            name,
            *assessor.assess_derived(
                CheckRequest(
                    stack=one.stack,
                    components=request.components,
                    machine=request.machine,
                    gauge_plane=request.gauge_plane,
                    operations=request.operations,
                    policy=request.policy,
                )
            ),
        )
        for name, one in zip(names, request.alternatives, strict=True)
    ]
    rows: Rows = [[criterion.value(one) for criterion in CRITERIA] for one in judged]
    beaten = dominators(rows, [one.higher_is_better for one in CRITERIA], [int(one.fails) for one in judged])
    dominated_by = [[names[n] for n in found] for found in beaten]
    everyone = len(judged) <= MAX_IN_ALL_PAIRS
    return ComparisonReport(
        alternatives=[
            _alternative(one, found, because(n, judged, rows, dominated_by))
            for n, (one, found) in enumerate(zip(judged, dominated_by, strict=True))
        ],
        criteria=_criteria(names, rows),
        non_dominated=[name for name, found in zip(names, dominated_by, strict=True) if not found],
        pairs="all" if everyone else "against_first",
        reads_less=_reads_less(
            judged, list(combinations(range(len(judged)), 2)) if everyone else [(0, n) for n in range(1, len(judged))]
        ),
        notes=_notes(request, names, rows),
        cautions=list(dict.fromkeys(text for one in judged for text in one.report.cautions)),
        provenance=provenance(request, request.policy, assessor.book, assessor.catalogue.digests),
    )


def _unique(names: Sequence[str]) -> list[str]:
    """Return unique names, with numbers for repeated ones; no name in a request contains '#'."""
    seen: Counter[str] = Counter()
    unique = []
    for name in names:
        seen[name] += 1
        unique.append(name if seen[name] == 1 else f"{name}#{seen[name]}")
    return unique


def _alternative(one: Judged, dominated_by: Sequence[str], why: str) -> AlternativeReport:
    report = one.report
    return AlternativeReport(
        name=one.name,
        stack_id=report.stack_id,
        verdict=report.verdict,
        summary=report.summary,
        findings=[ComparedFinding(code=it.code, severity=it.severity, title=it.title) for it in report.findings],
        assumptions=report.assumptions,
        planes=report.runout.planes,
        runout_complete=report.runout.complete,
        tip_from_gauge_line_mm=report.geometry.tip_mm,
        mass_kg=report.mass.total_kg,
        governing_speed=report.lowest_limit,
        speed_complete=report.speed_complete,
        tip_stiffness_n_per_um=report.stiffness.tip_stiffness_n_per_um,
        joint_count=len(one.derived.chain.joints),
        component_count=len(one.derived.chain.request.stack.components),
        dominated_by=list(dominated_by),
        because=why,
    )


def _criteria(names: Sequence[str], rows: Rows) -> list[CriterionReport]:
    reports = []
    for n, criterion in enumerate(CRITERIA):
        values = [row[n] for row in rows]
        known = [value for value in values if value is not None]
        best = (max if criterion.higher_is_better else min)(known, default=None)
        reports.append(
            CriterionReport(
                criterion=criterion.name,
                unit=None if criterion.unit is None else ucum(criterion.unit),
                better="higher" if criterion.higher_is_better else "lower",
                values=values,
                best=[name for name, value in zip(names, values, strict=True) if value is not None and value == best],
            )
        )
    return reports


def _reads_less(judged: Sequence[Judged], pairs: Sequence[tuple[int, int]]) -> list[ReadsLess]:
    laws: list[RandomClocking] = []
    place: dict[int, int] = {}
    for n, one in enumerate(judged):
        plane, contributors = one.derived.geometry.gauge_plane, one.derived.contributors
        if contributors.lacking is None and not isinstance(plane, Missing):
            place[n] = len(laws)
            laws.append(law_at(plane, contributors.known))
    known = [(a, b) for a, b in pairs if a in place and b in place]
    found = dict(zip(known, chances_of_less(laws, [(place[a], place[b]) for a, b in known]), strict=True))
    answers = []
    for a, b in pairs:
        chance = found.get((a, b))
        answers.append(
            ReadsLess(
                first=judged[a].name,
                second=judged[b].name,
                probability=None if chance is None else rounded(chance.less, "ratio"),
                equal=None if chance is None else chance.equal,
            )
        )
    return answers


def _notes(request: ComparisonRequest, names: Sequence[str], rows: Rows) -> list[str]:
    notes = []
    for name, count in Counter(one.name for one in request.alternatives).items():
        if count > 1:
            numbered = [f"{name}#{n}" for n in range(2, count + 1)]
            verb = "is" if count == 2 else "are"
            notes.append(f"The name {name} is used {count} times; {enumerated(numbered)} {verb} numbered in order.")
    if len(names) > MAX_IN_ALL_PAIRS:
        notes.append(
            f"More than {MAX_IN_ALL_PAIRS} alternatives: the probability of less runout is given for each against"
            f" {names[0]} only."
        )
    for n, criterion in enumerate(CRITERIA):
        if all(row[n] is None for row in rows):
            notes.append(
                f"{criterion.words[0].upper()}{criterion.words[1:]} is unknown for every alternative and was not"
                " compared."
            )
    return notes

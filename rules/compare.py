"""Alternatives for one operation: each is judged by itself, then they are set against each other."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import combinations

from rules.answer.findings import enumerated
from rules.answer.provenance import provenance
from rules.assess import Assessor
from rules.mechanics.dominance import dominators
from rules.quantities.missing import Lack
from rules.quantities.rounding import rounded
from rules.random_vectors.comparison import chances_of_less
from rules.random_vectors.random_sum import RandomClocking
from rules.reporting.comparison_criteria import CRITERIA, Judged
from rules.reporting.comparison_words import because
from rules.runout.analysis import law_at
from rules.schema.comparison import (
    MAX_IN_ALL_PAIRS,
    AlternativeReport,
    ComparedFinding,
    ComparisonReport,
    ComparisonRequest,
    CriterionReport,
    ReadsLess,
)
from rules.schema.request import CheckRequest

__all__ = ["compare"]

Rows = list[list[float | None]]


def compare(request: ComparisonRequest, assessor: Assessor) -> ComparisonReport:
    """Judge every alternative and compare them.

    Raises :class:`~rules.schema.parsing.BadRequestError` for thresholds that no rule has or allows, and
    :class:`~rules.rulebook.engine.EngineFaultError` when the engine failed.
    """
    names = _unique([one.name for one in request.alternatives])
    judged = [
        Judged(
            name,
            *assessor.assess_derived(
                CheckRequest(
                    stack=one.stack,
                    components=request.components,
                    operation=request.operation,
                    machine=request.machine,
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
        provenance=provenance(request, request.policy, assessor.book, assessor.catalogue.digest),
    )


def _unique(names: Sequence[str]) -> list[str]:
    """Number the names used again; no name of a request holds a '#'."""
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
        stack=report.stack,
        verdict=report.verdict,
        summary=report.summary,
        findings=[ComparedFinding(code=it.code, severity=it.severity, title=it.title) for it in report.findings],
        gauge_plane=report.runout.gauge_plane,
        tip=report.runout.tip,
        runout_complete=report.runout.complete,
        projection_mm=report.geometry.tip_mm,
        mass_kg=report.mass.total_kg,
        governing_speed=report.speed.governing,
        speed_complete=report.speed.complete,
        tip_stiffness_n_per_um=report.stiffness.tip_stiffness_n_per_um,
        joints=len(one.derived.chain.joints),
        components=len(one.derived.chain.request.stack.components),
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
                unit=criterion.unit,
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
        if contributors.lacking is None and not isinstance(plane, Lack):
            place[n] = len(laws)
            laws.append(law_at(plane, contributors.known))
    known = [(a, b) for a, b in pairs if a in place and b in place]
    found = dict(zip(known, chances_of_less(laws, [(place[a], place[b]) for a, b in known]), strict=True))
    told = []
    for a, b in pairs:
        chance = found.get((a, b))
        told.append(
            ReadsLess(
                first=judged[a].name,
                second=judged[b].name,
                probability=None if chance is None else rounded(chance.less, "ratio"),
                equal=None if chance is None else chance.equal,
            )
        )
    return told


def _notes(request: ComparisonRequest, names: Sequence[str], rows: Rows) -> list[str]:
    notes = []
    for name, count in Counter(one.name for one in request.alternatives).items():
        if count > 1:
            numbered = [f"{name}#{n}" for n in range(2, count + 1)]
            verb = "is" if count == 2 else "are"
            notes.append(f"The name {name} is used {count} times; {enumerated(numbered)} {verb} numbered by order.")
    if len(names) > MAX_IN_ALL_PAIRS:
        notes.append(
            f"More than {MAX_IN_ALL_PAIRS} alternatives: which reads less is told for each against {names[0]} only."
        )
    for n, criterion in enumerate(CRITERIA):
        if all(row[n] is None for row in rows):
            notes.append(f"{criterion.words[0].upper()}{criterion.words[1:]} is known of none and decides nothing.")
    return notes

"""Why an alternative wins or loses, in words made of its numbers."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from rules.answer.findings import enumerated
from rules.quantities.rounding import rounded_for_people
from rules.reporting.comparison_criteria import CRITERIA, Criterion, Judged, missing_for
from rules.schema.report import Finding

__all__ = ["because"]

Row = Sequence[float | None]

_UNITS: Final = {"um": "µm", "g mm": "g·mm", "N m": "N·m", "percent": "%", "N/um": "N/µm", "degC": "°C"}
_BARE: Final = frozenset({"none", "ratio", "count"})
_DECIMALS: Final = {"um": 1, "rpm": 0, "N/um": 2}
_MOST_DECIMALS: Final = 4


def because(index: int, judged: Sequence[Judged], rows: Sequence[Row], dominated_by: Sequence[Sequence[str]]) -> str:
    """Return the sentence of one alternative.

    Parameters: all alternatives, their values by criterion, and the names of those that dominate each. It is held
    against those that do not fail, where there are any, else against all others.
    """
    own = judged[index]
    if own.fails:
        return _failure(own)
    others = [n for n in range(len(judged)) if n != index]
    rivals = [n for n in others if not judged[n].fails] or others
    # the order of the alternatives must not choose whom a tie names
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
    errors = [_objection(item) for item in findings if item.severity == "error"]
    if errors:
        return f"Fails: {enumerated(list(dict.fromkeys(errors)))}."
    warnings = [_objection(item) for item in findings if item.severity == "warning"]
    gaps = own.report.summary.undecided
    causes = list(dict.fromkeys(warnings)) or [f"{gaps} {'rule is' if gaps == 1 else 'rules are'} undecided"]
    return f"Fails by the policy: {enumerated(causes)}."


def _objection(item: Finding) -> str:
    if not isinstance(item.observed, float) or not isinstance(item.limit, float):
        return item.title
    unit = item.unit or "none"
    told, limit = (f"{rounded_for_people(value, unit):.10g}" for value in (item.observed, item.limit))
    if told == limit:
        return item.title
    return f"{item.title} ({told} against {limit}{'' if unit in _BARE else f' {_UNITS.get(unit, unit)}'})"


@dataclass(frozen=True, slots=True)
class _Contest:
    """One criterion in which the alternative meets the best of its rivals."""

    criterion: Criterion
    value: float
    best: float
    rival: str
    ahead: float
    """How much better it is than the best rival; negative where worse."""
    someone_worse: bool


def _contests(index: int, rivals: Sequence[int], judged: Sequence[Judged], rows: Sequence[Row]) -> Iterator[_Contest]:
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
    index: int, rivals: Sequence[int], judged: Sequence[Judged], rows: Sequence[Row], dominated_by: Sequence[str]
) -> str:
    contests = list(_contests(index, rivals, judged, rows))
    clauses: list[str] = []
    named = ""  # a rival is named where the reader meets it first
    for verb, chosen in (
        ("wins", [one for one in contests if one.ahead > 0.0]),
        ("loses", [one for one in contests if one.ahead < 0.0]),
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
        clauses.append(f"level with the best on {_all(level)}")
    if clauses:
        text = "; ".join(clauses)
        return f"{text[0].upper()}{text[1:]}."
    return "No better and no worse than the others in anything that is known." if contests else ""


def _distance(one: _Contest) -> str:
    """Value and distance to the best rival, with the decimals that show the distance."""
    unit, distance = one.criterion.unit, abs(one.ahead)
    decimals = 0 if unit is None else _DECIMALS.get(unit, 1)
    while decimals < _MOST_DECIMALS and round(distance, decimals) == 0.0:
        decimals += 1
    words = "" if unit is None else f" {_UNITS.get(unit, unit)}"
    own = f"{one.value:.{decimals}f}{words}"
    if one.criterion.name == "runout_p95":
        own = f"95 % read below {own}"
    return f"{own}, {distance:.{decimals}f}{words} {'more' if one.value > one.best else 'less'}"


def _all(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"

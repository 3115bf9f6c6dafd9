"""The order of the results, by criteria one after another."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType
from typing import Final

from rules.schema.search import RankCriterion, SearchRequest
from rules.searching.judging import JudgedStack

__all__ = ["criteria_of", "rank_key", "sort_key"]

_USUAL: Final[tuple[RankCriterion, ...]] = (
    "verdict", "runout_p95", "projection", "stiffness", "components", "mass",
)  # fmt: skip

_VERDICTS: Final = {"pass": 0.0, "review": 1.0, "fail": 2.0}


def _runout(one: JudgedStack) -> float | None:
    plane = one.report.runout.gauge_plane
    return None if plane is None or not one.report.runout.complete else plane.p95_um


def _stiffness(one: JudgedStack) -> float | None:
    stiffness = one.report.stiffness.tip_stiffness_n_per_um
    return None if stiffness is None else -stiffness


_VALUES: Final[Mapping[RankCriterion, Callable[[JudgedStack], float | None]]] = MappingProxyType(
    {
        "verdict": lambda one: _VERDICTS[one.verdict],
        "runout_p95": _runout,
        "projection": lambda one: one.report.geometry.tip_mm,
        "stiffness": _stiffness,
        "components": lambda one: float(len(one.built.keys)),
        "mass": lambda one: one.report.mass.total_kg,
    }
)
"""Smaller is better; None where it is not known."""


def criteria_of(request: SearchRequest) -> list[RankCriterion]:
    """Return the criteria in the order in which they decide."""
    return list(dict.fromkeys(request.rank_by or _USUAL))


def rank_key(one: JudgedStack, criteria: Sequence[RankCriterion]) -> list[float | None]:
    """Return one number a criterion, rounded as the report tells it, so that no difference decides that nobody sees."""
    return [_VALUES[name](one) for name in criteria]


def sort_key(key: Sequence[float | None], components: Sequence[str]) -> tuple[object, ...]:
    """Return what sorts results: numbers before what is not known, ties by the names of the components.

    >>> sorted([[None], [2.0], [1.0]], key=lambda key: sort_key(key, ()))
    [[1.0], [2.0], [None]]
    """
    return (*((value is None, value or 0.0) for value in key), tuple(components))

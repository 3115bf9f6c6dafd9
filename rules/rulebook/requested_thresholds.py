"""The thresholds a request sets: allowed by the book, or faults with their places in the request."""

from __future__ import annotations

from rules.rulebook.book import OverrideProblem, Overrides, Rulebook, check_overrides
from rules.schema.parsing import MAX_NAME, BadRequestError, Fault, pointer
from rules.schema.request import Policy

__all__ = ["requested_thresholds"]


def requested_thresholds(policy: Policy | None, book: Rulebook) -> Overrides:
    """Return the thresholds the policy sets, none where it sets none.

    Raises :class:`~rules.schema.parsing.BadRequestError` for thresholds that no rule has or allows.
    """
    overrides = (policy.thresholds if policy else None) or {}
    if overrides and (problems := check_overrides(book, overrides)):
        raise BadRequestError(_fault(problem) for problem in problems)
    return overrides


def _fault(problem: OverrideProblem) -> Fault:
    """Locate a wrong threshold; a name that is not to be repeated is left out of the pointer and of the words."""
    if len(problem.threshold) > MAX_NAME or not problem.threshold.isprintable():
        return Fault(pointer(("policy", "thresholds", problem.code)), "a threshold of this name is not known")
    steps = ("policy", "thresholds", problem.code, *([problem.threshold] if problem.threshold else ()))
    return Fault(pointer(steps), problem.reason)

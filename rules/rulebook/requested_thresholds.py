"""The thresholds a request sets: allowed by the book, or faults with their places in the request."""

from __future__ import annotations

from rules.input_faults import MAX_NAME, pointer
from rules.model.policy import Policy
from rules.requests import BadRequestError, Fault
from rules.rulebook.book import OverrideProblem, Overrides, Rulebook, check_overrides

__all__ = ["requested_thresholds"]


def requested_thresholds(policy: Policy | None, book: Rulebook) -> Overrides:
    """Return the thresholds the policy sets, none where it sets none.

    Raises :class:`~rules.requests.BadRequestError` for thresholds that no rule has or allows.
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

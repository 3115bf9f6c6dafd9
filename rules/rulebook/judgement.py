"""What the engine says about the facts of one request."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from rules.rulebook.fact import Fact
from rules.rulebook.model import Rule

__all__ = ["Fired", "Judgement", "Undecided"]


@dataclass(frozen=True, slots=True)
class Fired:
    """A rule that objects to a subject; ``thresholds`` are the values in effect, with the overrides."""

    rule: Rule
    fact: Fact
    thresholds: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Undecided:
    """A rule that concerns a subject but lacks properties, each with the request fields that supply it."""

    rule: Rule
    fact: Fact
    lacking: Mapping[str, tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class Judgement:
    """Findings and gaps, ordered by code, then by the order of the facts.

    ``decided`` are the codes, sorted, of the rules that were decided on at least one subject and are
    undecided on none: a rule stands in ``decided``, in ``undecided`` or, concerning no subject, in neither.
    """

    fired: tuple[Fired, ...]
    undecided: tuple[Undecided, ...]
    decided: tuple[str, ...]

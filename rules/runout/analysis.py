"""The runout budget: sum of the contributors at a plane under random clocking."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from types import MappingProxyType
from typing import Final, NamedTuple

from rules.quantities.missing import Missing, OrMissing, when_known
from rules.random_vectors.random_sum import (
    Answer,
    Question,
    RandomClocking,
    best_clocking,
    gaussian_sigma,
    variance_shares,
)
from rules.rulebook.fact import Properties
from rules.runout.contributors import Contributor
from rules.runout.formulas import Eccentricity, Tir, eccentricity_of, tir_of
from rules.schema.components import RunoutLaw
from rules.schema.request import DEFAULT_POLICY, Operation, Policy

__all__ = [
    "Levels",
    "PlaneBudget",
    "PlaneLaw",
    "Vector",
    "budget_at",
    "law_at",
    "law_of",
    "plane_law",
    "runout_properties",
    "spread_of",
    "vectors_at",
]


_LEVELS: Final = (0.5, 0.8, 0.95, 0.99)


class Vector(NamedTuple):
    """Contribution of one contributor at one plane: half of its reading, as a vector."""

    amplitude: complex
    """At its limit, or as measured."""
    law: RunoutLaw
    """Meaning of the amplitude: the size, a limit of it, or what 95 % of parts keep."""
    group: int | None
    """Vectors of one group have known relative directions; None for a random direction."""
    least_share: float | None = None
    """Of a limit: the size is uniform from this share of it; None where the vector is uniform over the disc."""


class Levels(NamedTuple):
    """Quantiles of the total indicator reading, µm, and the share within the limit."""

    p50_um: Tir
    p80_um: Tir
    p95_um: Tir
    p99_um: Tir
    within_limit: float | None


class PlaneBudget(NamedTuple):
    """Predicted total indicator reading at one plane, µm."""

    z_mm: float
    assemblies: Levels
    """Sizes anywhere up to their limits."""
    at_limits: Levels
    """Every part at its limit, only the clocking left to chance."""
    best_clocking_um: Tir | None
    """None where no joint can be re-clocked."""
    worst_case_um: Tir | None
    own_tir_um: tuple[Tir, ...]
    """Largest reading of each contributor alone at this plane."""
    shares: tuple[float, ...]
    """Share of each contributor in the mean square reading; negative where a known direction reduces it."""

    def judged(self, policy: Policy | None) -> Levels:
        """Return the levels that the rules judge."""
        return self.at_limits if (policy or DEFAULT_POLICY).judged_runout == "parts_at_limits" else self.assemblies


def vectors_at(z_mm: float, contributors: Iterable[Contributor]) -> list[Vector]:
    """Return the contributions at z; a contributor with several lines has several vectors."""
    return [
        Vector(line.at(z_mm), item.law, item.group, item.least_share) for item in contributors for line in item.lines
    ]


class _Sums(NamedTuple):
    """Vectors by kind: amplitudes of the fixed sizes (one per group), radii, bands, sigmas; the sum of each group."""

    rings: list[float]
    discs: list[float]
    bands: list[tuple[float, float]]
    sigmas: list[float]
    groups: dict[int, complex]

    def law(self, *, at_limits: bool = False) -> RandomClocking:
        """Return the law of the sum."""
        sigma = math.hypot(*self.sigmas)
        if at_limits:
            return RandomClocking([*self.rings, *self.discs, *(high for _, high in self.bands)], sigma)
        return RandomClocking(self.rings, sigma, self.discs, self.bands)

    def mean_square(self) -> float:
        """Return the mean square of the sum: there are no cross terms between groups."""
        return math.fsum(
            [
                *(a * a for a in self.rings),
                *(0.5 * a * a for a in self.discs),
                *((high * high + high * low + low * low) / 3.0 for low, high in self.bands),
                *(2.0 * sigma * sigma for sigma in self.sigmas),
            ]
        )


def _sums(vectors: Sequence[Vector]) -> _Sums:
    found = _Sums([], [], [], [], {})
    groups = found.groups
    for vector in vectors:
        size = abs(vector.amplitude)
        if vector.law == "capability":
            found.sigmas.append(gaussian_sigma(size))
        elif vector.group is not None:
            groups[vector.group] = groups.get(vector.group, 0j) + vector.amplitude
        elif size == 0.0:
            continue
        elif vector.law == "measured":
            found.rings.append(size)
        elif vector.least_share is not None:
            found.bands.append((vector.least_share * size, size))
        else:
            found.discs.append(size)
    found.rings.extend([size for size in map(abs, groups.values()) if size > 0.0])
    return found


def law_of(vectors: Sequence[Vector], *, at_limits: bool = False) -> RandomClocking:
    """Return the law of the sum of vectors, with random clocking between groups."""
    return _sums(vectors).law(at_limits=at_limits)


def spread_of(vectors: Sequence[Vector]) -> tuple[float, float]:
    """Return the root mean square of the sum of vectors, and the largest sum of the bounded ones."""
    sums = _sums(vectors)
    return math.sqrt(sums.mean_square()), sums.law(at_limits=True).greatest


def law_at(z_mm: float, contributors: Iterable[Contributor]) -> RandomClocking:
    """Return the law of the eccentricity of assemblies at z, µm."""
    return law_of(vectors_at(z_mm, contributors))


class PlaneLaw(NamedTuple):
    """Contributors at one plane, and the figures required of their sum."""

    z_mm: float
    contributors: Sequence[Contributor]
    vectors: list[Vector]
    sums: _Sums
    law: RandomClocking
    """Of assemblies."""
    limit_um: Tir | None

    def questions(self) -> tuple[Question, Question]:
        """Return the figures for the budget, of assemblies and of parts at their limits."""
        radii = () if self.limit_um is None else (eccentricity_of(self.limit_um),)
        return Question(self.law, _LEVELS, radii), Question(self.sums.law(at_limits=True), _LEVELS, radii)

    def budget(self, assemblies: Answer, at_limits: Answer) -> PlaneBudget:
        """Return the budget from the answers; sums are eccentricities, the budget is in readings."""
        return PlaneBudget(
            self.z_mm,
            _levels(assemblies),
            _levels(at_limits),
            _best_clocking(self.z_mm, self.contributors),
            None if self.sums.sigmas else tir_of(Eccentricity(self.law.greatest)),
            tuple([tir_of(Eccentricity(abs(item.line.at(self.z_mm)))) for item in self.contributors]),
            self._shares(),
        )

    def _shares(self) -> tuple[float, ...]:
        """Return the share of each contributor in the mean square reading."""
        groups = self.sums.groups
        of_vectors = iter(
            variance_shares(
                [_effective(vector) for vector in self.vectors],
                [gaussian_sigma(abs(one.amplitude)) if one.law == "capability" else 0.0 for one in self.vectors],
                [_effective(one) if one.group is None else groups.get(one.group, 0j) for one in self.vectors],
            )
        )
        return tuple([math.fsum([next(of_vectors) for _ in item.lines]) for item in self.contributors])


def _effective(vector: Vector) -> complex:
    """Return the amplitude of a fixed size with the same mean square; 0 for a capability."""
    if vector.law == "capability":
        return 0j
    if vector.law == "measured":
        return vector.amplitude
    share = vector.least_share
    return vector.amplitude * (_ROOT_HALF if share is None else math.sqrt((1.0 + share + share * share) / 3.0))


_ROOT_HALF: Final = math.sqrt(0.5)


def _levels(answer: Answer) -> Levels:
    p50, p80, p95, p99 = (tir_of(Eccentricity(radius)) for radius in answer.quantiles)
    return Levels(p50, p80, p95, p99, answer.chances[0] if answer.chances else None)


def _best_clocking(z_mm: float, contributors: Iterable[Contributor]) -> Tir | None:
    """Return the lowest reading by clocking with every part at its limit; None where no joint can be re-clocked.

    Contributors that cannot be re-clocked against each other are taken in line, or as measured.
    """
    sizes: dict[int, float] = {}
    measured: dict[tuple[int, int], complex] = {}
    for item in contributors:
        amplitude, place = item.line.at(z_mm), item.turns_with
        if item.group is None:
            sizes[place] = sizes.get(place, 0.0) + abs(amplitude)
        else:
            measured[place, item.group] = measured.get((place, item.group), 0j) + amplitude
    for (place, _), total in measured.items():
        sizes[place] = sizes.get(place, 0.0) + abs(total)
    return tir_of(Eccentricity(best_clocking(list(sizes.values())))) if len(sizes) > 1 else None


def plane_law(z_mm: float, contributors: Sequence[Contributor], limit_um: Tir | None) -> PlaneLaw:
    """Return the contributors at z and the figures required of their sum."""
    vectors = vectors_at(z_mm, contributors)
    sums = _sums(vectors)
    return PlaneLaw(z_mm, contributors, vectors, sums, sums.law(), limit_um)


def budget_at(z_mm: float, contributors: Sequence[Contributor], limit_um: Tir | None) -> PlaneBudget:
    """Return the budget at z; for several budgets `RandomClocking.figures_of` is quicker."""
    plane = plane_law(z_mm, contributors, limit_um)
    return plane.budget(*RandomClocking.figures_of(plane.questions()))


_JUDGED: Final[Mapping[str, str]] = MappingProxyType(
    {"assemblies": "95 % of assemblies", "parts_at_limits": "95 % with every part at its limit"}
)


def runout_properties(
    fact: Properties,
    operation: Operation,
    policy: Policy | None,
    at_limit: OrMissing[PlaneBudget],
    at_tip: OrMissing[PlaneBudget],
) -> None:
    """Add runout, its limit and its ratio to the feed per tooth."""
    if operation.runout_limit_um is not None:
        fact.add("runout_limit_um", operation.runout_limit_um)
        fact.add("runout_plane", "the tip" if operation.runout_limit_at == "tip" else "the gauge plane")
        fact.add("runout_of", _JUDGED[(policy or DEFAULT_POLICY).judged_runout])
        fact.add("runout_p95_um", when_known(lambda b: b.judged(policy).p95_um, at_limit))
        fact.add("runout_at_limits_p95_um", when_known(lambda b: b.at_limits.p95_um, at_limit))
        if isinstance(at_limit, Missing) or at_limit.worst_case_um is not None:
            fact.add("runout_worst_um", when_known(lambda b: b.worst_case_um, at_limit))
    if operation.feed_per_tooth_mm is not None:
        feed = operation.feed_per_tooth_mm
        fact.add("feed_per_tooth_mm", feed)
        fact.add("tip_runout_p95_um", when_known(lambda b: b.judged(policy).p95_um, at_tip))
        fact.add(
            "runout_to_feed_percent",
            when_known(lambda b: b.judged(policy).p95_um / (feed * 1000.0) * 100.0, at_tip),
        )

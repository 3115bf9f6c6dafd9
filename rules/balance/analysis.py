"""Unbalance of a stack from residual unbalance and eccentric masses, and its balance quality grade."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import Final, NamedTuple

from rules.balance.formulas import (
    balance_speed_rpm,
    clamping_unbalance_g_mm,
    permissible_unbalance_g_mm,
    quality_mm_per_s,
    rotating_force_n,
)
from rules.couplings.sides import COUPLINGS
from rules.quantities.missing import (
    Missing,
    OrMissing,
    missing_of,
    or_missing,
    when_all_known,
    when_both_known,
    when_known,
)
from rules.quantities.tables import Row, UnknownEntryError, read_rows
from rules.random_vectors.random_sum import Answer, Question
from rules.rulebook.fact import Properties
from rules.runout.analysis import Vector, law_of, spread_of
from rules.runout.contributors import Contributors
from rules.schema.request import NO_OPERATION, Operation
from rules.stack.chain import Chain
from rules.stack.mass import Masses

__all__ = [
    "CoupleSum",
    "StackBalance",
    "UnbalanceSum",
    "UnbalanceVectors",
    "balance_of",
    "balance_properties",
    "couple_sum",
    "finest_kept",
    "grade_value",
    "grades",
    "unbalance_question",
    "unbalance_sum",
    "unbalance_vectors",
]


class BalanceGrade(Row):
    """A balance quality grade."""

    grade: str
    value_mm_per_s: float


@cache
def _values() -> dict[str, float]:
    return {row.grade: row.value_mm_per_s for row in read_rows("balance_grades", BalanceGrade)}


def grades() -> tuple[str, ...]:
    """Return the names of the grades, finest first."""
    return tuple(_values())


def grade_value(name: str) -> float:
    """Return the number of a grade: permissible specific unbalance times angular speed, mm/s.

    >>> grade_value("G2.5")
    2.5

    Raises :class:`UnknownEntryError` for an unknown grade.
    """
    value = _values().get(name)
    if value is None:
        raise UnknownEntryError("balance_grades", name, grades())
    return value


def finest_kept(quality_mm_per_s: float) -> str | None:
    """Return the name of the finest grade that a quality meets; None beyond the coarsest.

    >>> finest_kept(2.6), finest_kept(6.3)
    ('G6.3', 'G6.3')
    """
    return next((name for name, value in _values().items() if value >= quality_mm_per_s), None)


_NOTHING_GMM: Final = 1e-6
"""Smallest unbalance; below it there is no speed limit."""


class UnbalanceSum(NamedTuple):
    """Static unbalance of the stack under random clocking, g·mm."""

    p95: float
    worst: float | None
    """None where a contributor has no upper bound."""


class CoupleSum(NamedTuple):
    """Couple of the unbalances about the gauge line, g·mm²."""

    rms: float
    """Root mean square over all clocking angles."""
    worst: float | None
    """None where a contributor has no upper bound."""


class UnbalanceVectors(NamedTuple):
    """Vectors of unbalance, and the couple of each about the gauge line."""

    static: tuple[Vector, ...]
    """g·mm."""
    couple: tuple[Vector, ...]
    """g·mm²."""


class StackBalance(NamedTuple):
    """Balance of the stack and its grade; None for a figure that does not apply."""

    unbalance: OrMissing[UnbalanceSum]
    couple: OrMissing[CoupleSum]
    permissible_g_mm: OrMissing[float] | None
    highest_speed_rpm: OrMissing[float] | None
    """None without a required grade or without unbalance."""
    rotating_force_n: OrMissing[float] | None
    quality_mm_per_s: OrMissing[float] | None
    """Balance quality of the 95th-percentile unbalance at the programmed speed, e·ω."""
    best_grade: OrMissing[str] | None
    """Finest grade met at the programmed speed; None beyond the coarsest."""
    seating_g_mm: OrMissing[float] | None


def unbalance_question(vectors: Sequence[Vector]) -> Question:
    """Return the figures required of vectors under random clocking."""
    return Question(law_of(vectors), (0.95,))


def unbalance_sum(vectors: Sequence[Vector], question: Question, answer: Answer) -> UnbalanceSum:
    """Return the sum of vectors under random clocking, from the answer."""
    bounded = not any(vector.law == "capability" for vector in vectors)
    return UnbalanceSum(answer.quantiles[0], question.law.greatest if bounded else None)


def couple_sum(vectors: Sequence[Vector]) -> CoupleSum:
    """Return the sum of couples under random clocking; its mean square is exact for any distribution."""
    rms, greatest = spread_of(vectors)
    return CoupleSum(rms, None if any(vector.law == "capability" for vector in vectors) else greatest)


def unbalance_vectors(chain: Chain, contributors: Contributors, masses: Masses) -> OrMissing[UnbalanceVectors]:
    """Return the vectors of residual unbalance, at each centre of mass, and of mass times eccentricity."""
    residuals = [or_missing(member.part.unbalance_g_mm, member.at, "unbalance_g_mm") for member in chain.members]
    lacking = missing_of(contributors.lacking, *residuals, *masses.masses, *masses.centres)
    if lacking:
        return lacking
    bodies = [
        (m, z)
        for m, z in zip(masses.masses, masses.centres, strict=True)
        if isinstance(m, float) and isinstance(z, float)
    ]
    own = [u for u in residuals if isinstance(u, float)]
    static = [Vector(u, "measured", None) for u in own]
    couple = [Vector(u * abs(z), "measured", None) for u, (_, z) in zip(own, bodies, strict=True)]
    for item in contributors.known:
        # kg · µm = g·mm; one contributor displaces all parts beyond it in one direction, so these add before clocking
        for line in item.lines:
            total: complex = 0.0
            moment: complex = 0.0
            for m, z in bodies[item.displaces_from :]:
                u = m * line.at(z)
                total += u
                moment += u * z
            static.append(Vector(total, item.law, item.group, item.least_share))
            couple.append(Vector(moment, item.law, item.group, item.least_share))
    return UnbalanceVectors(tuple(static), tuple(couple))


def _quality(mass_kg: float, unbalance: UnbalanceSum, speed_rpm: float) -> float:
    return quality_mm_per_s(mass_kg, unbalance.p95, speed_rpm)


def balance_of(
    chain: Chain,
    masses: Masses,
    unbalance: OrMissing[UnbalanceSum],
    couple: OrMissing[CoupleSum],
    speed: OrMissing[float] | None,
) -> StackBalance:
    """Return the figures of the unbalance at the programmed speed and the required grade."""
    required = (chain.operation or NO_OPERATION).stated_limits.balance_grade
    if chain.is_read_only:
        return StackBalance(unbalance, couple, None, None, None, None, None, None)
    force: OrMissing[float] | None = None
    quality: OrMissing[float] | None = None
    best: OrMissing[str] | None = None
    if speed is not None:
        force = when_both_known(lambda u, n: rotating_force_n(u.p95, n), unbalance, speed)
        quality = when_all_known(_quality, masses.total, unbalance, speed)
        best = quality if isinstance(quality, Missing) else finest_kept(quality)
    permissible: OrMissing[float] | None = None
    highest: OrMissing[float] | None = None
    seating: OrMissing[float] | None = None
    if required is not None:
        grade = grade_value(required)
        if speed is not None:
            permissible = when_both_known(lambda m, n: permissible_unbalance_g_mm(grade, m, n), masses.total, speed)
            seating = _seating(chain, masses)
        if isinstance(unbalance, Missing) or unbalance.p95 > _NOTHING_GMM:
            highest = when_both_known(lambda m, u: balance_speed_rpm(grade, m, u.p95), masses.total, unbalance)
    return StackBalance(unbalance, couple, permissible, highest, force, quality, best, seating)


def _seating(chain: Chain, masses: Masses) -> OrMissing[float] | None:
    """Return the unbalance from reseating the spindle taper: m·e; None for a coupling without a known e."""
    side = chain.members[0].machine_side if chain.members else None
    if side is None:
        return None
    eccentricity = COUPLINGS[side.coupling].described.seating_eccentricity_um
    return (
        None if eccentricity is None else when_known(lambda m: clamping_unbalance_g_mm(m, eccentricity), masses.total)
    )


def balance_properties(fact: Properties, operation: Operation, balance: StackBalance) -> None:
    """Add unbalance, the limit of the grade and the highest speed within it."""
    grade = operation.stated_limits.balance_grade
    if grade is None:
        return
    fact.add("balance_grade", grade)
    fact.add("balance_speed_rpm", balance.highest_speed_rpm)
    fact.add("unbalance_g_mm", when_known(lambda u: u.p95, balance.unbalance))
    fact.add("permissible_g_mm", balance.permissible_g_mm)
    fact.add("seating_g_mm", balance.seating_g_mm)

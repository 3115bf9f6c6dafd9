"""Unbalance of a stack from residual unbalance and eccentric masses, and its balance quality grade."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import Final, NamedTuple

from rules.balance.formulas import (
    balance_speed_rpm,
    bearing_shares,
    clamping_unbalance_g_mm,
    permissible_unbalance_g_mm,
    plane_shares,
    quality_mm_per_s,
    rotating_force_n,
)
from rules.couplings.sides import COUPLINGS
from rules.quantities.missing import (
    Missing,
    OrMissing,
    all_known,
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
from rules.schema.components import RunoutLaw
from rules.schema.request import NO_OPERATION, Operation
from rules.stack.chain import Chain, Member
from rules.stack.mass import Masses
from rules.stack.outlines import density_of
from rules.stack.positions import Positions

__all__ = [
    "BalanceSums",
    "CoupleSum",
    "Permitted",
    "StackBalance",
    "UnbalanceSum",
    "UnbalanceVectors",
    "balance_of",
    "balance_properties",
    "balance_questions",
    "balance_sums",
    "couple_sum",
    "finest_kept",
    "grade_value",
    "grades",
    "permitted_mass",
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
    planes_mm: tuple[float, float]
    """Gauge line and last clamping face, or the tip where there is none."""
    planes: tuple[tuple[Vector, ...], ...]
    """The same unbalance in the two planes, g·mm."""
    in_spindle: tuple[Vector, ...]
    """With the repeatability of the taper, g·mm."""
    bearings: tuple[tuple[Vector, ...], ...]
    """Unbalance that bears on front and rear bearing, with that of the taper, g·mm; empty if they are not stated."""


class BalanceSums(NamedTuple):
    """Sums of the vectors under random clocking."""

    static: UnbalanceSum
    couple: CoupleSum
    planes_mm: tuple[float, float]
    planes: tuple[UnbalanceSum, ...]
    in_spindle: UnbalanceSum
    bearings: tuple[UnbalanceSum, ...]


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
    sums: OrMissing[BalanceSums]
    permitted: OrMissing[Permitted] | None
    """Mass that the permissible unbalance rests on."""
    bearing_forces_n: OrMissing[tuple[float, ...]] | None
    """On front and rear bearing at the programmed speed, 95th percentile; None if the bearings are not stated."""


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


def balance_questions(vectors: UnbalanceVectors) -> list[Question]:
    """Return the sums required: static, in each plane, in the spindle and on each bearing."""
    return [unbalance_question(one) for one in _summed(vectors)]


def _summed(vectors: UnbalanceVectors) -> list[tuple[Vector, ...]]:
    return [vectors.static, *vectors.planes, vectors.in_spindle, *vectors.bearings]


def balance_sums(vectors: UnbalanceVectors, questions: Sequence[Question], answers: Sequence[Answer]) -> BalanceSums:
    """Return the sums from the answers to `balance_questions`."""
    static, first, second, in_spindle, *bearings = (
        unbalance_sum(*one) for one in zip(_summed(vectors), questions, answers, strict=True)
    )
    couple = couple_sum(vectors.couple)
    return BalanceSums(static, couple, vectors.planes_mm, (first, second), in_spindle, tuple(bearings))


class _Eccentric(NamedTuple):
    """One vector of unbalance: its resultant, g·mm, and its moment about the gauge line, g·mm²."""

    static: complex
    moment: complex
    law: RunoutLaw = "measured"
    group: int | None = None
    least_share: float | None = None

    def at(self, constant: float, per_mm: float) -> Vector:
        """The part constant + per_mm·z of the unbalance at z."""
        return Vector(constant * self.static + per_mm * self.moment, self.law, self.group, self.least_share)


def _cause_kg(mass: OrMissing[float], outline: OrMissing[float]) -> OrMissing[float]:
    """Return the greater of stated and computed mass, which causes the more unbalance off its axis."""
    return mass if isinstance(mass, Missing) or isinstance(outline, Missing) else max(mass, outline)


def unbalance_vectors(
    chain: Chain, geometry: Positions, contributors: Contributors, masses: Masses
) -> OrMissing[UnbalanceVectors]:
    """Return the vectors of residual unbalance, at each centre of mass, and of mass times eccentricity."""
    residuals = [or_missing(member.part.unbalance_g_mm, member.at, "unbalance_g_mm") for member in chain.members]
    lacking = missing_of(contributors.lacking, *residuals, *masses.masses, *masses.centres)
    if lacking:
        return lacking
    causes = [_cause_kg(*pair) for pair in zip(masses.masses, masses.outline_masses, strict=True)]
    bodies = [
        (m, z) for m, z in zip(causes, masses.centres, strict=True) if isinstance(m, float) and isinstance(z, float)
    ]
    own = [u for u in residuals if isinstance(u, float)]
    found = [_Eccentric(u, u * z) for u, (_, z) in zip(own, bodies, strict=True)]
    for item in contributors.known:
        # kg · µm = g·mm; one contributor displaces all parts beyond it in one direction, so these add before clocking
        for line in item.lines:
            total: complex = 0.0
            moment: complex = 0.0
            for m, z in bodies[item.displaces_from :]:
                u = m * line.at(z)
                total += u
                moment += u * z
            found.append(_Eccentric(total, moment, item.law, item.group, item.least_share))
    seated = list(found)
    reach = _seat_um(chain)[1]
    if reach is not None:
        total, moment = sum([m for m, _ in bodies]), sum([m * z for m, z in bodies])
        seated.append(_Eccentric(reach * total, reach * moment))
    far = _second_plane(geometry)
    bearings: list[tuple[Vector, ...]] = []
    stated = None if chain.machine is None else chain.machine.bearings
    if stated is not None:
        at, per = bearing_shares(0.0, stated.front_mm, stated.spacing_mm), 1.0 / stated.spacing_mm
        bearings = [tuple([one.at(at[0], per) for one in seated]), tuple([one.at(at[1], -per) for one in seated])]
    near, beyond = plane_shares(0.0, 0.0, far)
    return UnbalanceVectors(
        tuple([one.at(1.0, 0.0) for one in found]),
        tuple([one.at(0.0, 1.0) for one in found]),
        (0.0, far),
        (tuple([one.at(near, -1.0 / far) for one in found]), tuple([one.at(beyond, 1.0 / far) for one in found])),
        tuple([one.at(1.0, 0.0) for one in seated]),
        tuple(bearings),
    )


_APART_MM: Final = 1.0
"""Least distance of the two planes."""
_UNIT_PLANE_MM: Final = 100.0
"""Second plane where neither clamping face nor tip has a position beyond the gauge line."""


def _second_plane(geometry: Positions) -> float:
    """Return the position of the second plane: the last clamping face, else the tip."""
    for place in (geometry.last_clamping_face, geometry.tip):
        if isinstance(place, float) and place >= _APART_MM:
            return place
    return _UNIT_PLANE_MM


def _seat_um(chain: Chain) -> tuple[float | None, float | None]:
    """Return the eccentricity from reseating the spindle taper, at best and up to; None for an unknown one."""
    side = chain.members[0].machine_side if chain.members else None
    if side is None:
        return None, None
    described = COUPLINGS[side.coupling].described
    return described.seating_eccentricity_um, described.seating_eccentricity_up_to_um


class Permitted(NamedTuple):
    """Mass that a permissible unbalance may rest on, kg."""

    kg: float
    stated_kg: float
    """The same components as stated."""


def permitted_mass(chain: Chain, masses: Masses) -> OrMissing[Permitted]:
    """Return the mass that a permissible unbalance may rest on, so that overstating a mass permits nothing.

    Of each component the lesser of stated and computed mass; of a base holder the outline with a solid taper bounds the
    stated mass. Knobs, and collets without an outline, are left out, since nothing bounds their mass. Any other mass
    that is stated without an outline is not checked, so the outline is missing.
    """
    kept: list[OrMissing[float]] = []
    stated_kg = 0.0
    for member, mass, outline in zip(chain.members, masses.masses, masses.outline_masses, strict=True):
        stated = member.part.mass_kg
        if member.part.kind == "collet" and isinstance(outline, Missing):
            continue
        if stated is None or isinstance(outline, Missing):
            kept.append(mass if stated is None else outline)
        elif member.part.kind == "base_holder":
            kept.append(_bounded(member, stated, outline))
        else:
            kept.append(min(stated, outline))
        if isinstance(mass, float):
            stated_kg += mass
    if not kept:
        return Missing(("/stack/components/-",))
    return when_known(lambda found: Permitted(sum(found), stated_kg), all_known(kept))


def _bounded(member: Member, stated: float, outline: float) -> float:
    side, density = member.machine_side, density_of(member)
    volume = None if side is None else COUPLINGS[side.coupling].taper_mm3(side)
    return stated if volume is None or isinstance(density, Missing) else min(stated, outline + volume * density * 1e-9)


def _quality(mass_kg: float, unbalance: UnbalanceSum, speed_rpm: float) -> float:
    return quality_mm_per_s(mass_kg, unbalance.p95, speed_rpm)


def balance_of(
    chain: Chain, masses: Masses, sums: OrMissing[BalanceSums], speed: OrMissing[float] | None
) -> StackBalance:
    """Return the figures of the unbalance at the programmed speed and the required grade."""
    required = (chain.operation or NO_OPERATION).stated_limits.balance_grade
    unbalance, couple = when_known(lambda one: one.static, sums), when_known(lambda one: one.couple, sums)
    if chain.is_read_only:
        return StackBalance(unbalance, couple, None, None, None, None, None, None, sums, None, None)
    force: OrMissing[float] | None = None
    quality: OrMissing[float] | None = None
    best: OrMissing[str] | None = None
    forces: OrMissing[tuple[float, ...]] | None = None
    if speed is not None:
        force = when_both_known(lambda u, n: rotating_force_n(u.p95, n), unbalance, speed)
        quality = when_all_known(_quality, masses.total, unbalance, speed)
        best = quality if isinstance(quality, Missing) else finest_kept(quality)
        if chain.machine is not None and chain.machine.bearings is not None:
            forces = when_both_known(_bearing_forces, sums, speed)
    permissible: OrMissing[float] | None = None
    highest: OrMissing[float] | None = None
    seating: OrMissing[float] | None = None
    permitted: OrMissing[Permitted] | None = None
    if required is not None:
        grade = grade_value(required)
        permitted = permitted_mass(chain, masses)
        if speed is not None:
            permissible = when_both_known(lambda m, n: permissible_unbalance_g_mm(grade, m.kg, n), permitted, speed)
            seating = _seating(chain, masses)
        if isinstance(unbalance, Missing) or unbalance.p95 > _NOTHING_GMM:
            highest = when_both_known(lambda m, u: balance_speed_rpm(grade, m.kg, u.p95), permitted, unbalance)
    return StackBalance(unbalance, couple, permissible, highest, force, quality, best, seating, sums, permitted, forces)


def _bearing_forces(sums: BalanceSums, speed_rpm: float) -> tuple[float, ...]:
    return tuple([rotating_force_n(one.p95, speed_rpm) for one in sums.bearings])


def _seating(chain: Chain, masses: Masses) -> OrMissing[float] | None:
    """Return the unbalance from reseating the spindle taper at best: m·e; None for a coupling without a known e."""
    eccentricity = _seat_um(chain)[0]
    return (
        None if eccentricity is None else when_known(lambda m: clamping_unbalance_g_mm(m, eccentricity), masses.total)
    )


def balance_properties(fact: Properties, chain: Chain, operation: Operation, balance: StackBalance) -> None:
    """Add unbalance, the limit of the grade and the highest speed within it, and the forces on the bearings."""
    bearings = None if chain.machine is None else chain.machine.bearings
    if bearings is not None and balance.bearing_forces_n is not None:
        rating = or_missing(bearings.dynamic_rating_n, "/machine/bearings", "dynamic_rating_n")
        front = when_known(lambda forces: forces[0], balance.bearing_forces_n)
        fact.add("bearing_force_n", front)
        fact.add("bearing_rating_n", rating)
        fact.add("bearing_load_share", when_both_known(lambda force, most: force / most, front, rating))
    grade = operation.stated_limits.balance_grade
    if grade is None:
        return
    fact.add("balance_grade", grade)
    fact.add("balance_speed_rpm", balance.highest_speed_rpm)
    fact.add("unbalance_g_mm", when_known(lambda u: u.p95, balance.unbalance))
    fact.add("permissible_g_mm", balance.permissible_g_mm)
    fact.add("seating_g_mm", balance.seating_g_mm)
    if balance.seating_g_mm is not None:
        fact.add("unbalance_in_spindle_g_mm", when_known(lambda one: one.in_spindle.p95, balance.sums))
    if balance.permitted is not None:
        fact.add("permitted_mass_kg", when_known(lambda one: one.kg, balance.permitted))
        fact.add("stated_stack_kg", when_known(lambda one: one.stated_kg, balance.permitted))
        fact.add("overstated_mass_ratio", when_known(lambda one: one.stated_kg / one.kg - 1.0, balance.permitted))

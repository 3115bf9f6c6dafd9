"""Stacks that were judged, as the report of a search tells them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from rules.quantities.missing import Lack
from rules.quantities.rounding import rounded, rounded_or_none
from rules.schema.search import JointSetting, NearMiss, RankCriterion, SearchResult
from rules.searching.building import Built, SetJoint
from rules.searching.judging import JudgedStack
from rules.searching.ranking import rank_key, sort_key
from rules.stack.positions import Geometry

__all__ = ["near_miss", "ranked"]


def ranked(kept: Sequence[JudgedStack], criteria: Sequence[RankCriterion]) -> list[SearchResult]:
    """Return results, the best first."""
    keyed = [(rank_key(one, criteria), one) for one in kept]
    keyed.sort(key=lambda item: sort_key(item[0], item[1].built.keys))
    return [_result(place, one, key) for place, (key, one) in enumerate(keyed, start=1)]


def near_miss(one: JudgedStack) -> NearMiss:
    """Return a stack that is not kept, with everything that stands against it."""
    return NearMiss(
        components=list(one.built.keys),
        reasons=list(one.reasons),
        projection_mm=one.report.geometry.tip_mm,
        check=_check(one.built),
    )


def _result(place: int, one: JudgedStack, key: list[float | None]) -> SearchResult:
    report, geometry = one.report, one.derived.geometry
    plane = report.runout.gauge_plane if report.runout.complete else None
    frequencies = report.stiffness.bending_frequencies_hz
    return SearchResult(
        place=place,
        components=list(one.built.keys),
        joints=[_joint(joint, one.built, geometry) for joint in one.built.joints],
        verdict=one.verdict,
        not_known=list(one.not_known),
        summary=report.summary,
        codes=list(dict.fromkeys(finding.code for finding in report.findings)),
        undecided=list(dict.fromkeys(gap.code for gap in report.undecided)),
        projection_mm=report.geometry.tip_mm,
        tool_projection_mm=rounded_or_none(geometry.projections[-1], "mm"),
        runout_p95_um=None if plane is None else plane.p95_um,
        governing_speed=report.speed.governing,
        speed_complete=report.speed.complete,
        mass_kg=report.mass.total_kg,
        tip_stiffness_n_per_um=report.stiffness.tip_stiffness_n_per_um,
        bending_frequency_hz=frequencies[0] if frequencies else None,
        rank_key=key,
        check=_check(one.built),
    )


def _joint(joint: SetJoint, built: Built, geometry: Geometry) -> JointSetting:
    projection = geometry.projections[joint.upper]
    return JointSetting(
        upper=built.names[joint.upper],
        lower=built.names[joint.upper + 1],
        grip_length_mm=joint.set_mm,
        longest_mm=joint.grip.longest_mm,
        shortest_mm=joint.grip.shortest_mm,
        drawn_out_mm=rounded(joint.grip.longest_mm - joint.set_mm, "mm"),
        projection_mm=None if isinstance(projection, Lack) else rounded(projection, "mm"),
    )


def _check(built: Built) -> dict[str, Any]:
    return built.check.model_dump(mode="json", exclude_unset=True, exclude_none=True)

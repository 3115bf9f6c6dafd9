"""Sections of the report on designations, standard parts, geometry and mass."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from rules.quantities.missing import when_both_known
from rules.quantities.models import construct
from rules.quantities.rounding import rounded_or_none
from rules.schema.components import ComponentReference
from rules.schema.report import (
    ComponentMass,
    GeometryReport,
    LabelReport,
    MassReport,
    PositionReport,
    StandardValue,
    UnderstoodDesignation,
)
from rules.schema.request import StackRequest
from rules.stack.chain import Chain, Resolved
from rules.stack.mass import Masses
from rules.stack.positions import Positions

__all__ = ["geometry_section", "labels_section", "mass_section", "standard_section", "understood_section"]


def labels_section(request: StackRequest) -> list[LabelReport]:
    """Every label of the request, then those of its components, each in the order of their names."""
    parts = [(one.id, one.labels) for one in request.stack.components if not isinstance(one, ComponentReference)]
    return [
        construct(LabelReport, component=component, name=name, text=labels[name])
        for component, labels in [(None, request.labels), *parts]
        for name in sorted(labels or {})
        if labels
    ]


def understood_section(resolved: Resolved) -> list[UnderstoodDesignation]:
    """Every designation, with what it was understood as."""
    return [
        construct(
            UnderstoodDesignation,
            at=one.at,
            designation=one.designation,
            became=one.became,
            understood_as=one.words,
            left_open=one.left_open,
        )
        for one in resolved.understood
    ]


def standard_section(resolved: Resolved, used: Mapping[str, Sequence[str]]) -> list[StandardValue]:
    """Every value that a standard part brings; ``used`` has codes of rules by the pointer of the field they need."""
    return [
        construct(
            StandardValue,
            id=f"S{number}",
            at=at,
            quantity=one.quantity,
            value=one.value,
            unit=one.unit,
            source=one.source,
            confidence=one.confidence.replace(" ", "_"),
            used_by=sorted(set(used.get(at, ()))),
        )
        for number, (at, one) in enumerate(resolved.by_standard, start=1)
    ]


def geometry_section(chain: Chain, geometry: Positions) -> GeometryReport:
    """Positions along the axis."""
    return construct(
        GeometryReport,
        datum="gauge_line",
        last_clamping_face_mm=rounded_or_none(geometry.last_clamping_face, "mm"),
        tip_mm=rounded_or_none(geometry.tip, "mm"),
        tip_from_last_clamping_face_mm=rounded_or_none(
            when_both_known(lambda tip, face: tip - face, geometry.tip, geometry.last_clamping_face), "mm"
        ),
        components=[
            construct(
                PositionReport,
                component=member.part.id,
                from_mm=rounded_or_none(place.start, "mm"),
                to_mm=rounded_or_none(place.face, "mm"),
            )
            for member, place in zip(chain.members, geometry.places, strict=True)
        ],
    )


def mass_section(chain: Chain, masses: Masses) -> MassReport:
    """Mass of the stack and of each component, and its position."""
    return construct(
        MassReport,
        total_kg=rounded_or_none(masses.total, "kg"),
        centre_of_mass_from_gauge_line_mm=rounded_or_none(masses.centre, "mm"),
        transverse_inertia_kg_mm2=rounded_or_none(masses.inertia, "kg mm2"),
        tilting_moment_n_m=rounded_or_none(masses.tilting_moment_n_m, "N m"),
        components=[
            construct(
                ComponentMass,
                component=member.part.id,
                mass_kg=rounded_or_none(mass, "kg"),
                centre_of_mass_from_gauge_line_mm=rounded_or_none(centre, "mm"),
                transverse_inertia_kg_mm2=rounded_or_none(inertia, "kg mm2"),
            )
            for member, mass, centre, inertia in zip(
                chain.members, masses.masses, masses.centres, masses.inertias, strict=True
            )
        ],
    )

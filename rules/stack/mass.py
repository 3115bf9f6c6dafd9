"""Mass, centre of mass and transverse inertia of each component, stated or from its outline."""

from __future__ import annotations

from typing import Final, NamedTuple

from rules.quantities.missing import Missing, OrMissing, all_known, missing_of, or_missing, when_both_known, when_known
from rules.stack.chain import Chain, Member
from rules.stack.formulas import Body, Frustum, body_of
from rules.stack.outlines import density_of, has_no_wall
from rules.stack.positions import Position, Positions

__all__ = ["Masses", "masses_of"]

_STANDARD_GRAVITY_M_PER_S2: Final = 9.80665
"""Standard acceleration of free fall (3rd CGPM, 1901)."""


class Masses(NamedTuple):
    """Mass properties of a stack."""

    masses: tuple[OrMissing[float], ...]
    """Per member, kg."""
    centres: tuple[OrMissing[float], ...]
    """Per member: axial position of the centre of mass, mm from the gauge line."""
    outline_masses: tuple[OrMissing[float], ...]
    """Per member: mass of the outline, kg; for a base holder, of the part beyond the gauge line."""
    inertias: tuple[OrMissing[float], ...]
    """Per member: moment of inertia about a diameter through its own centre of mass, kg·mm²."""
    total: OrMissing[float]
    """Total mass, knobs included, kg."""
    centre: OrMissing[float]
    """Centre of mass of the links, mm from the gauge line, without the knob."""
    inertia: OrMissing[float]
    """Transverse inertia of the links about their common centre of mass, kg·mm²."""
    tilting_moment_n_m: OrMissing[float]
    """Moment of the weight of the links about the gauge line, with the axis horizontal."""


class _Part(NamedTuple):
    """Mass properties of one component, as in `Masses`."""

    mass: OrMissing[float]
    centre: OrMissing[float]
    outline_mass: OrMissing[float]
    inertia: OrMissing[float]


def _body(member: Member) -> OrMissing[Body]:
    """Return the mass properties of the outline, if outline and material are stated."""
    profile = member.part.profile
    if not profile or has_no_wall(profile):
        return Missing((f"{member.at}/profile",))
    density = density_of(member)
    if isinstance(density, Missing):
        return density
    pieces = [
        Frustum(piece.length_mm, piece.outer_mm, piece.outer_end_mm or piece.outer_mm, piece.bore_mm or 0.0)
        for piece in profile
    ]
    return body_of(pieces, density)


def _part(member: Member, place: Position) -> _Part:
    outline = _body(member)
    if isinstance(outline, Missing):
        return _Part(_mass(member, None), _centre(member, place, None), outline, _inertia(member, None))
    # the outline of a base holder starts at the gauge line, without the taper, so it gives no total mass
    whole = None if member.part.kind == "base_holder" else outline
    return _Part(_mass(member, whole), _centre(member, place, whole), outline.mass_kg, _inertia(member, whole))


def _mass(member: Member, body: Body | None) -> OrMissing[float]:
    stated = member.part.mass_kg
    if stated is not None:
        return stated
    return Missing((f"{member.at}/mass_kg",)) if body is None else body.mass_kg


def _centre(member: Member, place: Position, body: Body | None) -> OrMissing[float]:
    part = member.part
    own: OrMissing[float]
    if part.centre_of_mass_mm is not None:
        own = part.centre_of_mass_mm
    elif body is not None:
        own = body.centre_mm
    elif part.kind == "collet":
        # a collet is short and about uniform, so its middle is accurate enough
        own = when_both_known(lambda face, start: (face - start) / 2.0, place.face, place.start)
    else:
        own = Missing((f"{member.at}/centre_of_mass_mm",))
    return when_both_known(lambda start, centre: start + centre, place.start, own)


def _inertia(member: Member, body: Body | None) -> OrMissing[float]:
    """Return the stated inertia, else that of the outline in proportion to the stated mass."""
    part = member.part
    if part.transverse_inertia_kg_mm2 is not None:
        return part.transverse_inertia_kg_mm2
    if body is None:
        return Missing((f"{member.at}/transverse_inertia_kg_mm2",))
    share = 1.0 if part.mass_kg is None else part.mass_kg / body.mass_kg
    return body.transverse_inertia_kg_mm2 * share


def _common(
    masses: tuple[OrMissing[float], ...], centres: tuple[OrMissing[float], ...], inertias: tuple[OrMissing[float], ...]
) -> tuple[OrMissing[float], OrMissing[float], OrMissing[float]]:
    """Return centre of mass, transverse inertia about it and tilting moment of all links."""
    lacking = missing_of(*masses, *centres)
    if lacking is not None or not masses:
        lack = lacking or Missing(("/stack/components/-",))
        return lack, lack, lack
    each = [(m, z) for m, z in zip(masses, centres, strict=True) if isinstance(m, float) and isinstance(z, float)]
    moment = sum([m * z for m, z in each])
    centre = moment / sum([m for m, _ in each])
    inertia = when_known(lambda own: sum(own) + sum([m * (z - centre) ** 2 for m, z in each]), all_known(inertias))
    return centre, inertia, abs(moment) * 1e-3 * _STANDARD_GRAVITY_M_PER_S2


def masses_of(chain: Chain, geometry: Positions) -> Masses:
    """Return the mass properties of all components."""
    parts = [_part(member, place) for member, place in zip(chain.members, geometry.places, strict=True)]
    masses = tuple([part.mass for part in parts])
    centres = tuple([part.centre for part in parts])
    inertias = tuple([part.inertia for part in parts])
    shown = tuple([part.outline_mass for part in parts])
    knobs = [or_missing(member.part.mass_kg, member.at, "mass_kg") for member in chain.knobs]
    every = (*masses, *knobs)
    total: OrMissing[float] = when_known(sum, all_known(every)) if every else Missing(("/stack/components/-",))
    centre, inertia, moment = _common(masses, centres, inertias)
    return Masses(masses, centres, shown, inertias, total, centre, inertia, moment)

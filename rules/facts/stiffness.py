"""How the stack bends: stiffness at the tip, where it gives way, and its first bending frequencies."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import accumulate
from typing import Final, Literal, NamedTuple

from rules.cutting.analysis import CuttingLoad
from rules.facts.beam_pieces import Beam, beam_of
from rules.mechanics.beam import Spring, tip_compliance
from rules.mechanics.beam_frequencies import bending_frequencies
from rules.quantities.missing import Lack, Maybe, lift
from rules.stack.chain import Chain, JointCase
from rules.stack.mass import Masses
from rules.stack.outlines import OutlinePiece
from rules.stack.positions import Geometry

__all__ = ["Share", "StackStiffness", "stiffness_of"]

_N_PER_MM: Final = 1e3
"""N/mm in one N/µm."""
_N_MM_PER_RAD: Final = 1e6
"""N·mm/rad in one N·m/mrad."""


class Share(NamedTuple):
    """What one component or one joint's spring has in the deflection of the tip."""

    name: str
    kind: Literal["component", "joint", "spindle"]
    share: float


class Bending(NamedTuple):
    """What follows from the outline alone."""

    compliance_um_per_n: float
    shares: tuple[Share, ...]


class StackStiffness(NamedTuple):
    """Bending of the stack as a beam held at the gauge line."""

    bending: Maybe[Bending]
    deflection_um: Maybe[float] | None
    """Under the force across the axis at the tip; None where none is asked."""
    frequencies_hz: Maybe[tuple[float, ...]]
    """First bending frequencies, lowest first."""
    springs: bool
    """Whether any joint or the spindle gives way; otherwise all are rigid."""


def _spring(z_mm: float, radial: float | None, tilting: float | None) -> Spring | None:
    if radial is None and tilting is None:
        return None
    return Spring(
        z_mm,
        None if radial is None else radial * _N_PER_MM,
        None if tilting is None else tilting * _N_MM_PER_RAD,
    )


def _springs(chain: Chain, geometry: Geometry) -> tuple[list[Spring], list[tuple[str, Literal["joint", "spindle"]]]]:
    """Return the springs in order, and what each belongs to."""
    found: list[tuple[Spring | None, str, Literal["joint", "spindle"]]] = []
    machine = chain.request.machine
    if machine is not None:
        spindle = _spring(
            0.0, machine.spindle_radial_stiffness_n_per_um, machine.spindle_tilting_stiffness_n_m_per_mrad
        )
        found.append((spindle, "spindle", "spindle"))
    cases: list[tuple[JointCase | None, Maybe[float]]] = [(chain.spindle_joint, 0.0)]
    cases.extend((case, geometry.places[index].face) for index, case in enumerate(chain.joints))
    for case, face in cases:
        if case is None or case.statement is None or isinstance(face, Lack):
            continue
        stated = case.statement
        one = _spring(face, stated.radial_stiffness_n_per_um, stated.tilting_stiffness_n_m_per_mrad)
        found.append((one, case.name, "joint"))
    known = [(spring, name, kind) for spring, name, kind in found if spring is not None]
    return [spring for spring, _, _ in known], [(name, kind) for _, name, kind in known]


def _on_boundaries(springs: Sequence[Spring], beam: Beam) -> list[Spring]:
    """Set each spring on the end of a piece nearest to it; they differ by rounding at most."""
    if not springs:
        return []
    ends = list(accumulate((segment.length_mm for segment in beam.segments), initial=0.0))
    return [
        Spring(
            min(ends, key=lambda end, at=spring.z_mm: abs(end - at)),  # type: ignore[misc]
            spring.radial_n_per_mm,
            spring.tilting_n_mm_per_rad,
        )
        for spring in springs
    ]


def _bending(
    chain: Chain,
    beam: Beam,
    springs: Sequence[Spring],
    owners: Sequence[tuple[str, Literal["joint", "spindle"]]],
) -> Bending:
    compliance = tip_compliance(beam.segments, springs)
    total = compliance.total_mm_per_n
    parts = [0.0] * len(chain.links)
    for carried_by, own in zip(beam.carried_by, compliance.per_segment_mm_per_n, strict=True):
        for index, fraction in carried_by:
            parts[index] += own * fraction
    shares = [
        Share(link.part.id, "component", part / total)
        for link, part in zip(chain.links, parts, strict=True)
        if part > 0.0
    ]
    shares.extend(
        Share(name, kind, own / total) for (name, kind), own in zip(owners, compliance.per_spring_mm_per_n, strict=True)
    )
    return Bending(total * 1e3, tuple(shares))


def stiffness_of(
    chain: Chain,
    geometry: Geometry,
    outlines: tuple[Maybe[tuple[OutlinePiece, ...]], ...],
    masses: Masses,
    load: CuttingLoad,
) -> StackStiffness:
    """Return the bending of the stack; what its outline, material or masses do not tell is lacking."""
    springs, owners = _springs(chain, geometry)
    beam, masses_lack = beam_of(chain, geometry, outlines, masses, [spring.z_mm for spring in springs])
    bending: Maybe[Bending]
    frequencies: Maybe[tuple[float, ...]]
    if isinstance(beam, Lack):
        bending = frequencies = beam
    else:
        springs = _on_boundaries(springs, beam)
        bending = _bending(chain, beam, springs, owners)
        frequencies = bending_frequencies(beam.segments, springs) if masses_lack is None else masses_lack
    deflection: Maybe[float] | None = None
    if load.radial_force_n is not None:
        deflection = lift(lambda bent, force: bent.compliance_um_per_n * force, bending, load.radial_force_n)
    return StackStiffness(bending, deflection, frequencies, bool(springs))

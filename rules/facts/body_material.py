"""What a component is made of: its own statements first, then the table of materials."""

from __future__ import annotations

from rules.facts.chain import Link
from rules.quantities.missing import Lack, Maybe, given
from rules.tables import materials

__all__ = ["density_of", "expansion_of", "poisson_ratio_of", "yield_of", "youngs_modulus_of"]


def _tabled(link: Link) -> materials.Material | Lack:
    name = link.part.material
    return Lack((f"{link.at}/material",)) if name is None else materials.material(name)


def density_of(link: Link) -> Maybe[float]:
    """Return the density, kg/m³."""
    if link.part.density_kg_m3 is not None:
        return link.part.density_kg_m3
    tabled = _tabled(link)
    return tabled if isinstance(tabled, Lack) else tabled.density_kg_m3


def youngs_modulus_of(link: Link) -> Maybe[float]:
    """Return Young's modulus, GPa."""
    if link.part.youngs_modulus_gpa is not None:
        return link.part.youngs_modulus_gpa
    tabled = _tabled(link)
    return tabled if isinstance(tabled, Lack) else tabled.youngs_modulus_gpa


def poisson_ratio_of(link: Link) -> Maybe[float]:
    """Return Poisson's ratio."""
    tabled = _tabled(link)
    return tabled if isinstance(tabled, Lack) else tabled.poisson_ratio


def expansion_of(link: Link) -> Maybe[float]:
    """Return the coefficient of linear thermal expansion, 1e-6/K."""
    tabled = _tabled(link)
    return tabled if isinstance(tabled, Lack) else tabled.expansion_1e6_per_k


def yield_of(link: Link) -> Maybe[float]:
    """Return the yield stress, MPa; the table leaves it open where grade and hardness decide."""
    if link.part.yield_mpa is not None:
        return link.part.yield_mpa
    tabled = _tabled(link)
    if isinstance(tabled, Lack):
        return Lack((f"{link.at}/yield_mpa",))
    return given(tabled.yield_mpa, link.at, "yield_mpa")

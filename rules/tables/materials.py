"""Materials of components."""

from __future__ import annotations

from functools import cache

from rules.quantities.tables import Row, UnknownEntryError, read_rows

__all__ = ["Material", "material", "materials"]


class Material(Row):
    """A material with round values for estimates."""

    material: str
    title: str
    density_kg_m3: float
    youngs_modulus_gpa: float
    poisson_ratio: float
    yield_mpa: float | None
    expansion_1e6_per_k: float


@cache
def _materials() -> dict[str, Material]:
    return {row.material: row for row in read_rows("materials", Material)}


def materials() -> tuple[str, ...]:
    """Names of the materials."""
    return tuple(_materials())


def material(name: str) -> Material:
    """A material by name; raises :class:`UnknownEntryError` for an unknown one.

    >>> material("steel").density_kg_m3
    7850.0
    """
    found = _materials().get(name)
    if found is None:
        raise UnknownEntryError("materials", name, materials())
    return found

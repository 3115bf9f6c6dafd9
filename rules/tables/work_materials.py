"""Work materials: the cutting force of each."""

from __future__ import annotations

from functools import cache
from typing import Literal

from rules.quantities.tables import Row, UnknownEntryError, read_rows

__all__ = ["WorkMaterial", "work_material", "work_materials"]


class WorkMaterial(Row):
    """A group of work materials with its specific cutting force."""

    work_material: str
    title: str
    iso_513_group: Literal["P", "M", "K", "N", "S", "H"]
    unit_force_mpa: float
    exponent: float
    radial_ratio: float


@cache
def _work_materials() -> dict[str, WorkMaterial]:
    return {row.work_material: row for row in read_rows("work_materials", WorkMaterial)}


def work_materials() -> tuple[str, ...]:
    """Names of the work materials."""
    return tuple(_work_materials())


def work_material(name: str) -> WorkMaterial:
    """A work material by name; raises :class:`UnknownEntryError` for an unknown one.

    >>> work_material("c45").unit_force_mpa, work_material("c45").iso_513_group
    (2220.0, 'P')
    """
    if name not in _work_materials():
        raise UnknownEntryError("work_materials", name, work_materials())
    return _work_materials()[name]

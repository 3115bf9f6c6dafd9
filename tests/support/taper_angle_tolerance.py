"""Angle tolerances of cones by grade and length."""

from __future__ import annotations

from functools import cache

from rules.quantities.tables import Row, UnknownEntryError, read_rows

__all__ = ["GRADES", "angle_tolerance_urad"]

GRADES = (3, 4, 5)
"""Grades AT3 to AT5."""


class _Angle(Row):
    over_mm: float
    up_to_mm: float
    at3_urad: float
    at4_urad: float
    at5_urad: float

    def grade(self, number: int) -> float:
        return {3: self.at3_urad, 4: self.at4_urad, 5: self.at5_urad}[number]


@cache
def _angles() -> tuple[_Angle, ...]:
    return read_rows("taper_angle_tolerance", _Angle)


def angle_tolerance_urad(length_mm: float, grade: int) -> float | None:
    """Return the tolerance of the taper angle for the length of a cone (mm), µrad; None outside the table.

    >>> angle_tolerance_urad(65.4, 4)
    63.0

    Raises :class:`UnknownEntryError` for a grade other than 3, 4 or 5.
    """
    if grade not in GRADES:
        raise UnknownEntryError("taper_angle_tolerance", grade, GRADES)
    for row in _angles():
        if row.over_mm < length_mm <= row.up_to_mm:
            return row.grade(grade)
    return None

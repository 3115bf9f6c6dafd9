"""Balance quality grades."""

from __future__ import annotations

from functools import cache

from rules.quantities.tables import Row, UnknownEntryError, read_rows

__all__ = ["BalanceGrade", "finest_kept", "grade_value", "grades"]


class BalanceGrade(Row):
    """A balance quality grade."""

    grade: str
    value_mm_per_s: float


@cache
def _values() -> dict[str, float]:
    return {row.grade: row.value_mm_per_s for row in read_rows("balance_grades", BalanceGrade)}


def grades() -> tuple[str, ...]:
    """Names of the grades, finest first."""
    return tuple(_values())


def grade_value(name: str) -> float:
    """Product of permissible specific unbalance and angular speed of a grade, mm/s.

    >>> grade_value("G2.5")
    2.5

    Raises :class:`UnknownEntryError` for an unknown grade.
    """
    value = _values().get(name)
    if value is None:
        raise UnknownEntryError("balance_grades", name, grades())
    return value


def finest_kept(quality_mm_per_s: float) -> str | None:
    """Name of the finest grade that a quality keeps, or None beyond the coarsest.

    >>> finest_kept(2.6), finest_kept(6.3)
    ('G6.3', 'G6.3')
    """
    return next((name for name, value in _values().items() if value >= quality_mm_per_s), None)

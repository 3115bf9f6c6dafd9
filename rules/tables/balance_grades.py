"""Balance quality grades."""

from __future__ import annotations

from functools import cache

from rules.tables.load import Row, UnknownEntryError, read_rows

__all__ = ["BalanceGrade", "grade_value", "grades"]


class BalanceGrade(Row):
    """A balance quality grade."""

    grade: str
    value_mm_per_s: float


@cache
def _grades() -> dict[str, BalanceGrade]:
    return {row.grade: row for row in read_rows("balance_grades", BalanceGrade)}


def grades() -> tuple[str, ...]:
    """Names of the grades, finest first."""
    return tuple(_grades())


def grade_value(name: str) -> float:
    """Product of permissible specific unbalance and angular speed of a grade, mm/s.

    >>> grade_value("G2.5")
    2.5

    Raises :class:`UnknownEntryError` for an unknown grade.
    """
    if name not in _grades():
        raise UnknownEntryError("balance_grades", name, grades())
    return _grades()[name].value_mm_per_s

"""Limits of size by ISO 286-1: deviations from tolerance class and nominal size."""

from __future__ import annotations

import re
from bisect import bisect_left
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import Final, NamedTuple

from rules.quantities.tables import Row, read_rows

__all__ = [
    "GRADES",
    "HOLE_LETTERS",
    "MAX_NOMINAL_MM",
    "SHAFT_LETTERS",
    "Limits",
    "SizeOutOfRangeError",
    "ToleranceClass",
    "UnknownToleranceError",
    "limits",
    "parse_class",
    "standard_tolerance_um",
]

GRADES: Final = tuple(range(3, 14))
"""Grades IT3 to IT13."""

_UPPER_LETTERS: Final = ("c", "d", "e", "f", "g", "h")
SHAFT_LETTERS: Final = (*_UPPER_LETTERS, "j", "js", "k", "m", "n", "p", "r", "s")
HOLE_LETTERS: Final = ("C", "D", "E", "F", "G", "H", "JS")
MAX_NOMINAL_MM: Final = 500.0
_J_COLUMNS: Final = {5: "j5_j6", 6: "j5_j6", 7: "j7"}
_CLASS: Final = re.compile(r"([a-z]{1,2}|[A-Z]{1,2})([0-9]{1,2})")


class UnknownToleranceError(ValueError):
    """An unknown tolerance class."""


class SizeOutOfRangeError(ValueError):
    """A nominal size outside the tables."""


class Limits(NamedTuple):
    """Limits of size as deviations from the nominal size, µm."""

    lower_um: float
    upper_um: float


class ToleranceClass(NamedTuple):
    """A parsed tolerance class: letter in lower case, grade, hole or shaft."""

    letter: str
    grade: int
    hole: bool


class _Grades(Row):
    over_mm: float
    up_to_mm: float
    it3: float
    it4: float
    it5: float
    it6: float
    it7: float
    it8: float
    it9: float
    it10: float
    it11: float
    it12: float
    it13: float


class _Main(Row):
    over_mm: float
    up_to_mm: float
    d: float
    e: float
    f: float
    g: float
    h: float
    j5_j6: float
    j7: float
    k: float
    m: float
    n: float
    p: float


class _Intermediate(Row):
    over_mm: float
    up_to_mm: float
    c: float
    r: float
    s: float


@dataclass(frozen=True, slots=True)
class _Columns:
    """A table as columns over its ranges, so that a look-up is one bisection."""

    upper_mm: tuple[float, ...]
    columns: dict[str, tuple[float, ...]]

    def at(self, nominal_mm: float, column: str) -> float:
        return self.columns[column][bisect_left(self.upper_mm, nominal_mm)]


def _columns(rows: tuple[_Grades, ...] | tuple[_Main, ...] | tuple[_Intermediate, ...]) -> _Columns:
    names = type(rows[0]).model_fields.keys() - Row.model_fields.keys()
    return _Columns(
        upper_mm=tuple(row.up_to_mm for row in rows),
        columns={name: tuple(getattr(row, name) for row in rows) for name in names},
    )


@cache
def _standard_tolerances() -> _Columns:
    return _columns(read_rows("iso_286", _Grades))


@cache
def _main_deviations() -> _Columns:
    return _columns(read_rows("iso_286_shafts", _Main))


@cache
def _intermediate_deviations() -> _Columns:
    return _columns(read_rows("iso_286_shafts_intermediate", _Intermediate))


@lru_cache(maxsize=1024)
def parse_class(tolerance_class: str) -> ToleranceClass:
    """Parse a tolerance class; lower-case letters are shafts, capitals holes.

    >>> parse_class("js6")
    ToleranceClass(letter='js', grade=6, hole=False)

    Raises :class:`UnknownToleranceError` for a text that is no class, an unknown letter or grade.
    """
    match = _CLASS.fullmatch(tolerance_class)
    if match is None:
        raise UnknownToleranceError(f"{tolerance_class!r} is not a tolerance class of ISO 286 such as 'h6' or 'H7'")
    letter, grade = match[1], int(match[2])
    hole = letter.isupper()
    known = HOLE_LETTERS if hole else SHAFT_LETTERS
    if letter not in known:
        part = "hole" if hole else "shaft"
        raise UnknownToleranceError(
            f"{tolerance_class!r}: {letter!r} is not known for a {part}; known: {', '.join(known)}"
        )
    if grade not in GRADES:
        raise UnknownToleranceError(f"{tolerance_class!r}: grades IT{GRADES[0]} to IT{GRADES[-1]} are known")
    return ToleranceClass(letter.lower(), grade, hole)


def standard_tolerance_um(nominal_mm: float, grade: int) -> float:
    """Return the standard tolerance IT of a nominal size (mm) and grade, µm.

    >>> standard_tolerance_um(30.0, 7)
    21.0

    Source: ISO 286-1:2010, Table 1.  Raises :class:`SizeOutOfRangeError` outside 0 < nominal ≤ 500 mm,
    :class:`UnknownToleranceError` for a grade outside IT3 to IT13.
    """
    _check_size(nominal_mm)
    if grade not in GRADES:
        raise UnknownToleranceError(f"IT{grade} is not known; IT{GRADES[0]} to IT{GRADES[-1]} are")
    return _standard_tolerances().at(nominal_mm, f"it{grade}")


@lru_cache(maxsize=8192)
def limits(nominal_mm: float, tolerance_class: str, *, hole: bool) -> Limits:
    """Return the limits of size of a shaft or hole as deviations from the nominal size.

    Shafts c to h: es from the table, ei = es - IT; k to s: ei from the table, es = ei + IT; js: ± IT/2
    (not rounded, where the standard allows rounding an odd IT7 to IT11 down); holes C to H: EI = -es.

    :param nominal_mm: nominal size, mm, 0 < nominal ≤ 500
    :param tolerance_class: for example ``"h6"`` or ``"H7"``
    :param hole: true for a hole; must agree with the case of the letter
    :return: lower and upper deviation, µm

    >>> limits(25.0, "H7", hole=True)
    Limits(lower_um=0.0, upper_um=21.0)
    >>> limits(20.0, "g6", hole=False)
    Limits(lower_um=-20.0, upper_um=-7.0)

    Source: ISO 286-1:2010.  Raises :class:`UnknownToleranceError` or :class:`SizeOutOfRangeError`.
    """
    wanted = parse_class(tolerance_class)
    if wanted.hole is not hole:
        raise UnknownToleranceError(
            f"{tolerance_class!r} is a class for a {'hole' if wanted.hole else 'shaft'},"
            f" where a {'hole' if hole else 'shaft'} is meant"
        )
    tolerance = standard_tolerance_um(nominal_mm, wanted.grade)
    if wanted.letter == "js":
        return Limits(-tolerance / 2, tolerance / 2)
    deviation = _shaft_deviation_um(nominal_mm, wanted.letter, wanted.grade)
    if wanted.hole:
        return Limits(0.0 - deviation, tolerance - deviation)
    if wanted.letter in _UPPER_LETTERS:
        return Limits(deviation - tolerance, deviation)
    return Limits(deviation, deviation + tolerance)


def _shaft_deviation_um(nominal_mm: float, letter: str, grade: int) -> float:
    if letter == "k" and not 4 <= grade <= 7:
        return 0.0
    if letter == "j":
        if grade not in _J_COLUMNS:
            raise UnknownToleranceError(f"j{grade} is not known; j5, j6 and j7 are")
        return _main_deviations().at(nominal_mm, _J_COLUMNS[grade])
    if letter in ("c", "r", "s"):
        return _intermediate_deviations().at(nominal_mm, letter)
    return _main_deviations().at(nominal_mm, letter)


def _check_size(nominal_mm: float) -> None:
    if not 0 < nominal_mm <= MAX_NOMINAL_MM:
        raise SizeOutOfRangeError(f"nominal size {nominal_mm:g} mm lies outside 0 to {MAX_NOMINAL_MM:g} mm")

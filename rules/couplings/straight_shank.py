"""Straight shanks: length, tolerance and flats by standard and diameter."""

from __future__ import annotations

from functools import cache
from typing import Literal

from rules.quantities.tables import Row, UnknownEntryError, read_rows

__all__ = ["ShankFlat", "diameters", "flat", "shank_length", "standards", "tolerance"]

ShankForm = Literal["plain", "side_lock_flat", "inclined_flat"]


class _Shank(Row):
    standard_name: str
    diameter_mm: float
    shank_length_mm: float
    length_plus_mm: float | None


class _Form(Row):
    standard_name: str
    form: ShankForm
    letter: str
    tolerance: str


class ShankFlat(Row):
    """Flats of a shank."""

    standard_name: str
    form: ShankForm
    diameter_mm: float
    flats: int
    flat_width_mm: float | None
    flat_position_mm: float | None
    height_mm: float | None
    flat_spacing_mm: float | None


@cache
def _lengths() -> dict[str, dict[float, float]]:
    lengths: dict[str, dict[float, float]] = {}
    for row in read_rows("straight_shank", _Shank):
        lengths.setdefault(row.standard_name, {})[row.diameter_mm] = row.shank_length_mm
    return lengths


@cache
def _tolerances() -> dict[tuple[str, str], str]:
    return {(row.standard_name, row.form): row.tolerance for row in read_rows("straight_shank_forms", _Form)}


@cache
def _flats() -> dict[tuple[str, str, float], ShankFlat]:
    return {(row.standard_name, row.form, row.diameter_mm): row for row in read_rows("straight_shank_flats", ShankFlat)}


def standards() -> tuple[str, ...]:
    """Names of the shank standards."""
    return tuple(_lengths())


def _known(standard: str) -> str:
    if standard not in _lengths():
        raise UnknownEntryError("straight_shank", standard, standards())
    return standard


def diameters(standard: str) -> tuple[float, ...]:
    """Nominal diameters of a standard, mm, ascending."""
    return tuple(_lengths()[_known(standard)])


def shank_length(standard: str, diameter_mm: float) -> float | None:
    """Length of the shank, mm, or None for a diameter the standard does not list.

    >>> shank_length("din_6535", 20.0), shank_length("din_6535", 6.35)
    (50.0, None)

    Raises :class:`UnknownEntryError` for an unknown standard.
    """
    return _lengths()[_known(standard)].get(diameter_mm)


def tolerance(standard: str, form: str) -> str | None:
    """Tolerance class of the diameter, or None where the standard has no such form.

    >>> tolerance("din_1835", "plain"), tolerance("iso_3338", "inclined_flat")
    ('h8', None)
    """
    return _tolerances().get((_known(standard), form))


def flat(standard: str, form: str, diameter_mm: float) -> ShankFlat | None:
    """Flats of a shank, or None where they are not stated."""
    return _flats().get((_known(standard), form, diameter_mm))

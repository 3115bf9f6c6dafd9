"""8° nut collets: capacity, length, collapse and run-out classes. Press-in collets."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from types import MappingProxyType
from typing import Final, Literal, NamedTuple

from pydantic import Field

from rules.couplings.definition import Coupling, Ends, Side, Value, Word
from rules.quantities.missing import OrMissing, when_known
from rules.quantities.models import Model, Token
from rules.quantities.tables import Row, Texts, UnknownEntryError, read_rows

__all__ = [
    "NUT_COLLET",
    "PRESS_COLLET",
    "RUNOUT_CLASSES",
    "Capacity",
    "NutCollet",
    "NutColletSize",
    "PressCollet",
    "RunoutLimit",
    "capacity",
    "clamping_range",
    "collapse",
    "collet",
    "length",
    "nut_torque",
    "runout_limit",
    "sizes",
]

RUNOUT_CLASSES = (1, 2)
"""Classes of ISO 15488; 2 is the normal one."""


class NutCollet(Model):
    """8° collet and its socket with clamping nut, ISO 15488."""

    coupling: Literal["nut_collet"]
    size: Literal["8", "11", "16", "20", "25", "32", "40", "50"] | None = Field(
        None, description="Size of the collet series.", examples=["16"]
    )


class PressCollet(Model):
    """Press-in collet and its socket. There is no open standard, so equal shop designations fit."""

    coupling: Literal["press_collet"]
    designation: Token | None = Field(
        None,
        description="The shop's designation of the seat; both ends must have the same.",
        examples=["own-26"],
    )


class Capacity(NamedTuple):
    """Smallest and largest shank, mm."""

    min_mm: float
    max_mm: float


class RunoutLimit(NamedTuple):
    """Run-out (total indicator reading, µm) at a gauge length (mm); None where no limit is stated."""

    gauge_length_mm: float
    tir_um: float | None


class NutColletSize(Row):
    """A size of the series."""

    size: str
    big_end_mm: float
    length_mm: float
    capacity_min_mm: float
    capacity_max_mm: float
    nut_thread: str


class _Collapse(Row):
    sizes: Texts
    over_mm: float
    up_to_mm: float | None
    collapse_mm: float


class _Runout(Row):
    over_mm: float
    over_included: bool
    up_to_mm: float
    gauge_length_mm: float
    class_1_um: float | None
    class_2_um: float | None


class _Torque(Row):
    size: str
    at_least_n_m: float
    at_most_n_m: float
    small_shank_share: float


@cache
def _torques() -> dict[str, _Torque]:
    return {row.size: row for row in read_rows("nut_collet_torque", _Torque)}


@cache
def _collets() -> dict[str, NutColletSize]:
    return {row.size: row for row in read_rows("nut_collet", NutColletSize)}


@cache
def _collapses() -> dict[str, tuple[_Collapse, ...]]:
    rows = read_rows("nut_collet_collapse", _Collapse)
    return {size: tuple(row for row in rows if size in row.sizes) for size in sizes()}


@cache
def _runouts() -> tuple[_Runout, ...]:
    return read_rows("nut_collet_runout", _Runout)


def sizes() -> tuple[str, ...]:
    """Sizes of the series, ascending."""
    return tuple(_collets())


def collet(size: str) -> NutColletSize:
    """Return the row of a size; raises :class:`UnknownEntryError` for an unknown one."""
    if size not in _collets():
        raise UnknownEntryError("nut_collet", size, sizes())
    return _collets()[size]


def capacity(size: str) -> Capacity:
    """Smallest and largest shank that a size of the series holds, mm.

    >>> capacity("32")
    Capacity(min_mm=2.0, max_mm=20.0)
    """
    row = collet(size)
    return Capacity(row.capacity_min_mm, row.capacity_max_mm)


def nut_torque(size: str, shank_mm: float | None) -> tuple[float, float] | None:
    """Return the usual torque of a plain nut, N·m, from and up to; less for a small shank, None for an unknown one.

    A shank of at most 0.7 of the largest of the series counts as small.

    >>> nut_torque("20", 13.0), nut_torque("20", 9.0), nut_torque("20", None)
    ((68.0, 75.0), (40.8, 45.0), None)

    Raises :class:`UnknownEntryError` for an unknown size.
    """
    if shank_mm is None:
        return None
    row, largest = _torques()[size], capacity(size).max_mm
    share = row.small_shank_share if shank_mm <= _SMALL_SHANK * largest else 1.0
    return row.at_least_n_m * share, row.at_most_n_m * share


_SMALL_SHANK: Final = 0.7
"""A shank 30 % below the largest of the series takes less torque."""


def length(size: str) -> float:
    """Length of the collet, mm."""
    return collet(size).length_mm


def collapse(size: str, nominal_mm: float) -> float:
    """Return the collapse of a collet below its nominal bore, mm.

    >>> collapse("16", 3.0), collapse("16", 6.0), collapse("11", 6.0)
    (0.5, 1.0, 0.5)

    Raises :class:`UnknownEntryError` for an unknown size, ValueError for a bore that is not positive.
    """
    collet(size)
    for row in _collapses()[size]:
        if row.over_mm < nominal_mm and (row.up_to_mm is None or nominal_mm <= row.up_to_mm):
            return row.collapse_mm
    raise ValueError(f"a collet's nominal bore must be positive, not {nominal_mm} mm")


def clamping_range(size: str, nominal_mm: float) -> Capacity:
    """Return the smallest and largest shank of one collet: nominal bore less collapse, and nominal bore, mm.

    >>> clamping_range("32", 10.0)
    Capacity(min_mm=9.0, max_mm=10.0)
    """
    return Capacity(nominal_mm - collapse(size, nominal_mm), nominal_mm)


def runout_limit(bore_mm: float, runout_class: int) -> RunoutLimit | None:
    """Return the run-out of a collet by nominal bore (mm) and class; None for a bore outside the table.

    >>> runout_limit(6.0, 2)
    RunoutLimit(gauge_length_mm=16.0, tir_um=15.0)

    Raises :class:`UnknownEntryError` for an unknown class.
    """
    if runout_class not in RUNOUT_CLASSES:
        raise UnknownEntryError("nut_collet_runout", runout_class, RUNOUT_CLASSES)
    for row in _runouts():
        if (row.over_mm < bore_mm or (row.over_included and bore_mm == row.over_mm)) and bore_mm <= row.up_to_mm:
            return RunoutLimit(row.gauge_length_mm, row.class_1_um if runout_class == 1 else row.class_2_um)
    return None


def _size(ends: Ends) -> OrMissing[str]:
    size: OrMissing[str] = ends.lower.stated("size")
    return size


def _nut_thread(ends: Ends) -> Word:
    return when_known(lambda size: collet(size).nut_thread, _size(ends))


class _NutCollet(Coupling):
    name = "nut_collet"
    machine_side = NutCollet
    workpiece_side = NutCollet
    tilts_about_face = True
    tightened_about_axis = True
    needed_fields = ("size",)
    property_names = ("socket_size", "collet_size")
    words = MappingProxyType({"size": _size, "nut_thread": _nut_thread})

    def properties(self, ends: Ends) -> Iterator[tuple[str, Value]]:
        if self.both(ends):
            yield "socket_size", ends.upper.stated("size")
            yield "collet_size", ends.lower.stated("size")

    def usual_torque_n_m(self, side: Side, shank_mm: float | None) -> tuple[float, float] | None:
        size: str | None = getattr(side, "size", None)
        return None if size is None else nut_torque(size, shank_mm)


class _PressCollet(Coupling):
    name = "press_collet"
    machine_side = PressCollet
    workpiece_side = PressCollet
    uses_press = True
    needed_fields = ("designation",)
    property_names = ("socket_designation", "collet_designation")
    words = MappingProxyType({"designation": lambda ends: ends.first("designation", ends.upper)})

    def properties(self, ends: Ends) -> Iterator[tuple[str, Value]]:
        if self.both(ends):
            yield "socket_designation", ends.upper.stated("designation")
            yield "collet_designation", ends.lower.stated("designation")


NUT_COLLET = _NutCollet()
PRESS_COLLET = _PressCollet()

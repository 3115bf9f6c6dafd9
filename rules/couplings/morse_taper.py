"""Morse tapers by number."""

from __future__ import annotations

from functools import cache

from rules.quantities.tables import Row, UnknownEntryError, read_rows

__all__ = ["MorseTaper", "gauge_diameter", "sizes", "taper"]


class MorseTaper(Row):
    """A Morse taper number."""

    size: str
    gauge_diameter_mm: float
    taper: float


@cache
def _tapers() -> dict[str, MorseTaper]:
    return {row.size: row for row in read_rows("morse_taper", MorseTaper)}


def sizes() -> tuple[str, ...]:
    """Morse taper numbers, ascending."""
    return tuple(_tapers())


def taper(size: str) -> MorseTaper:
    """Row of a number; raises :class:`UnknownEntryError` for an unknown one."""
    if size not in _tapers():
        raise UnknownEntryError("morse_taper", size, sizes())
    return _tapers()[size]


def gauge_diameter(size: str) -> float:
    """Diameter at the gauge line, mm."""
    return taper(size).gauge_diameter_mm

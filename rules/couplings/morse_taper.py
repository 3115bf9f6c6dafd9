"""Morse tapers by number."""

from __future__ import annotations

from functools import cache
from types import MappingProxyType
from typing import Final, Literal

from pydantic import Field

from rules.couplings.definition import Cone, Ends, Interchange, Side, Taper, Word
from rules.quantities.missing import Missing
from rules.quantities.models import Model
from rules.quantities.tables import Row, UnknownEntryError, read_rows

__all__ = ["MORSE_TAPER", "MorseTaper", "MorseTaperSize", "gauge_diameter", "sizes", "taper"]


class MorseTaper(Model):
    """Morse taper, ISO 296."""

    coupling: Literal["morse_taper"]
    size: Literal["0", "1", "2", "3", "4", "5", "6"] | None = Field(
        None, description="Morse taper number.", examples=["3"]
    )
    form: Literal["tang", "drawbar_thread"] | None = Field(
        None, description="Held by friction and a tang, or drawn in by a thread.", examples=["drawbar_thread"]
    )


class MorseTaperSize(Row):
    """A Morse taper number."""

    size: str
    gauge_diameter_mm: float
    taper: float


@cache
def _tapers() -> dict[str, MorseTaperSize]:
    return {row.size: row for row in read_rows("morse_taper", MorseTaperSize)}


def sizes() -> tuple[str, ...]:
    """Morse taper numbers, ascending."""
    return tuple(_tapers())


def taper(size: str) -> MorseTaperSize:
    """Row of a number; raises :class:`UnknownEntryError` for an unknown one."""
    if size not in _tapers():
        raise UnknownEntryError("morse_taper", size, sizes())
    return _tapers()[size]


def gauge_diameter(size: str) -> float:
    """Diameter at the gauge line, mm."""
    return taper(size).gauge_diameter_mm


def _form(ends: Ends) -> Word:
    form: Word = ends.first("form", ends.lower, lower_first=True)
    return form


class _MorseTaper(Taper):
    name = "morse_taper"
    machine_side = MorseTaper
    workpiece_side = MorseTaper
    needed_fields = ("size", "form")
    decided_by = "form"
    words = MappingProxyType(
        {
            "tang": lambda ends: "" if _form(ends) == "tang" else None,
            "drawbar_thread": lambda ends: "" if _form(ends) == "drawbar_thread" else None,
            "form_unknown": lambda ends: "" if isinstance(_form(ends), Missing) else None,
        }
    )

    def interchange(self, one: str, other: str) -> Interchange:
        return "fits" if one == other else "differs"

    def cone(self, side: Side) -> Cone | None:
        if not isinstance(side, MorseTaper) or side.size is None:
            return None
        row = taper(side.size)
        length = _LENGTH_SHARE * row.gauge_diameter_mm
        small = row.gauge_diameter_mm - length * row.taper
        return Cone(length, row.gauge_diameter_mm, small, assumed="length of the taper")


_LENGTH_SHARE: Final = 3.3
"""Length of the taper over its gauge diameter, which is 2.9 to 4.4; from memory, for drawings."""


MORSE_TAPER = _MorseTaper()

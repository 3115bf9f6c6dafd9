"""Hollow taper shanks: sizes, forms and the cone of each form."""

from __future__ import annotations

import math
from functools import cache
from types import MappingProxyType
from typing import Final, Literal

from pydantic import Field

from rules.couplings.definition import Cone, End, Interchange, Side, Taper, compare_forms
from rules.quantities.missing import Missing, OrMissing
from rules.quantities.models import Model
from rules.quantities.tables import Row, Texts, UnknownEntryError, read_rows

__all__ = [
    "HOLLOW_TAPER",
    "HollowTaper",
    "form",
    "forms",
    "gauge_diameter",
    "interchange",
    "shank_length",
    "size_row",
    "sizes",
]


class HollowTaper(Model):
    """Hollow taper shank with face contact, ISO 12164."""

    coupling: Literal["hollow_taper"]
    size: Literal["25", "32", "40", "50", "63", "80", "100", "125", "160"] | None = Field(
        None, description="Nominal size: the flange diameter, mm.", examples=["63"]
    )
    form: Literal["A", "AB", "AS", "B", "C", "CB", "CS", "D", "E", "EB", "ES", "F", "T"] | None = Field(
        None, description="Form letter of ISO 12164.", examples=["A"]
    )


class HollowTaperSize(Row):
    """A nominal size."""

    size: str
    flange_diameter_mm: float
    gauge_diameter_mm: float
    shank_length_mm: float
    clamping_force_kn: float | None


class HollowTaperForm(Row):
    """A form of the hollow taper shank."""

    form: str
    standard_name: str
    use: str
    automatic_change: bool
    cone_sizes_down: int
    drive: Literal["shank_keys", "flange_keys", "none"]
    interchange_group: str
    not_settled_with: Texts


_TAPER: Final = 1.0 / 9.98
"""Taper on the diameter."""

_GAUGE_SHARE: Final = 0.1
"""Distance of the gauge diameter behind the flange face over the nominal size; from memory, for drawings."""

_BORE_SHARE: Final = 0.7
"""Bore of the hollow shank over the gauge diameter; from memory, for drawings."""


@cache
def _sizes() -> dict[str, HollowTaperSize]:
    return {row.size: row for row in read_rows("hollow_taper", HollowTaperSize)}


@cache
def _forms() -> dict[str, HollowTaperForm]:
    return {row.form: row for row in read_rows("hollow_taper_forms", HollowTaperForm)}


@cache
def _cone(size: str, form_name: str) -> HollowTaperSize | None:
    """Return the row of the size whose cone this form has; None below the smallest."""
    position = sizes().index(size_row(size).size) - form(form_name).cone_sizes_down
    return _sizes()[sizes()[position]] if position >= 0 else None


def sizes() -> tuple[str, ...]:
    """Nominal sizes, ascending."""
    return tuple(_sizes())


def forms() -> tuple[str, ...]:
    """Form letters."""
    return tuple(_forms())


def size_row(size: str) -> HollowTaperSize:
    """Row of a nominal size; raises :class:`UnknownEntryError` for an unknown one."""
    if size not in _sizes():
        raise UnknownEntryError("hollow_taper", size, sizes())
    return _sizes()[size]


def form(name: str) -> HollowTaperForm:
    """A form by letter; raises :class:`UnknownEntryError` for an unknown one."""
    if name not in _forms():
        raise UnknownEntryError("hollow_taper_forms", name, forms())
    return _forms()[name]


def gauge_diameter(size: str, form_name: str = "A") -> float | None:
    """Diameter of the cone at the gauge line, mm, or None where it is not stated.

    Forms B, D and F have the cone of the next smaller size:

    >>> gauge_diameter("63"), gauge_diameter("63", "B")
    (48.01, 38.009)
    """
    cone = _cone(size, form_name)
    return None if cone is None else cone.gauge_diameter_mm


def shank_length(size: str, form_name: str = "A") -> float | None:
    """Length of the hollow shank behind the flange face, mm, or None where it is not stated."""
    cone = _cone(size, form_name)
    return None if cone is None else cone.shank_length_mm


def interchange(one: str, other: str) -> Interchange:
    """Whether two forms of one nominal size fit the same receiver.

    >>> interchange("A", "C"), interchange("A", "E"), interchange("A", "B")
    ('fits', 'not_settled', 'differs')
    """
    return compare_forms(form(one), form(other))


class _HollowTaper(Taper):
    name = "hollow_taper"
    machine_side = HollowTaper
    workpiece_side = HollowTaper
    tilts_about_face = True
    seats_on_flange = True
    face_contact = True
    needed_fields = ("size", "form")
    decided_by = "form"
    words = MappingProxyType({"form": lambda ends: ends.first("form", ends.lower, lower_first=True)})

    def interchange(self, one: str, other: str) -> Interchange:
        return interchange(one, other)

    def for_manual_change(self, form: str) -> bool | None:
        return not _forms()[form].automatic_change

    def seat_length(self, end: End) -> OrMissing[float] | None:
        side = end.side
        if not isinstance(side, HollowTaper):
            return None
        if side.size is None or side.form is None:
            return Missing(tuple(f"{end.at}/{name}" for name in self.needed_fields if getattr(side, name) is None))
        return shank_length(side.size, side.form)

    def flange_diameter(self, side: Side) -> float | None:
        if not isinstance(side, HollowTaper) or side.size is None:
            return None
        return size_row(side.size).flange_diameter_mm

    def cone(self, side: Side) -> Cone | None:
        if not isinstance(side, HollowTaper) or side.size is None:
            return None
        form_name = side.form or "A"
        diameter, length = gauge_diameter(side.size, form_name), shank_length(side.size, form_name)
        if diameter is None or length is None:
            return None
        large = diameter + _GAUGE_SHARE * float(side.size) * _TAPER
        bore = _BORE_SHARE * diameter
        assumed = "bore of the shank" if side.form else "form and bore of the shank"
        return Cone(length, large, large - length * _TAPER, bore, assumed=assumed)

    def taper_mm3(self, side: Side) -> float | None:
        if not isinstance(side, HollowTaper) or side.size is None or side.form is None:
            return None
        diameter, length = gauge_diameter(side.size, side.form), shank_length(side.size, side.form)
        # as a cylinder, the most that it can be
        return None if diameter is None or length is None else math.pi / 4.0 * diameter**2 * length

    def clamping_force_n(self, side: Side) -> float | None:
        if not isinstance(side, HollowTaper) or side.size is None or side.form not in ("A", "C"):
            return None
        force = size_row(side.size).clamping_force_kn
        return None if force is None else 1000.0 * force


HOLLOW_TAPER = _HollowTaper()

"""7/24 steep tapers: sizes, forms and interchangeability, and the retention knobs that fit them."""

from __future__ import annotations

import math
from functools import cache
from typing import Literal

from pydantic import Field

from rules.couplings.definition import Cone, End, Interchange, Side, Taper, compare_forms
from rules.quantities.missing import Missing, OrMissing
from rules.quantities.models import Model
from rules.quantities.tables import Row, Texts, UnknownEntryError, read_rows

__all__ = [
    "STEEP_TAPER",
    "SteepTaper",
    "form",
    "forms",
    "gauge_diameter",
    "interchange",
    "knob",
    "knob_thread",
    "knobs",
    "shank",
    "shank_of_family",
    "sizes",
    "takes_knob",
    "taper_length",
    "thread_for_knob",
]


SteepTaperForm = Literal[
    "iso_7388_1_a",
    "iso_7388_1_ad",
    "iso_7388_1_af",
    "iso_7388_1_u",
    "iso_7388_1_ud",
    "iso_7388_1_uf",
    "iso_7388_2_j",
    "iso_7388_2_jd",
    "iso_7388_2_jf",
    "mas_403",
    "asme_b5_50",
    "iso_297",
]


class SteepTaper(Model):
    """7/24 taper of ISO 7388-1, ISO 7388-2, ASME B5.50, MAS 403 or ISO 297."""

    coupling: Literal["steep_taper"]
    size: Literal["30", "35", "40", "45", "50", "55", "60"] | None = Field(
        None, description="Taper number.", examples=["40"]
    )
    form: SteepTaperForm | None = Field(
        None,
        description="Flange, drive and knob family, which the cone does not show.",
        examples=["iso_7388_2_jd"],
    )


class _Cone(Row):
    size: str
    gauge_diameter_mm: float


class SteepTaperFormRow(Row):
    """A form of the 7/24 shank."""

    form: str
    title: str
    standard_name: str
    dimensions: str
    flange: Literal["metric_v", "inch_v", "thick_v", "plain"]
    gripper_groove: bool
    drive_keys: Literal["equal", "unequal"]
    orientation_notch: bool | None
    knob_thread_system: Literal["metric", "inch"] | None
    coolant: Literal["none", "central", "flange"] | None
    interchange_group: str
    not_settled_with: Texts


class SteepTaperShank(Row):
    """Dimensions of a shank family in one size."""

    family: str
    size: str
    taper_length_mm: float
    small_end_mm: float | None
    flange_diameter_mm: float | None
    flange_underside_mm: float | None
    slot_width_mm: float | None
    knob_thread: str


@cache
def _cones() -> dict[str, _Cone]:
    return {row.size: row for row in read_rows("steep_taper", _Cone)}


@cache
def _forms() -> dict[str, SteepTaperFormRow]:
    return {row.form: row for row in read_rows("steep_taper_forms", SteepTaperFormRow)}


@cache
def _shanks() -> dict[tuple[str, str], SteepTaperShank]:
    return {(row.family, row.size): row for row in read_rows("steep_taper_shanks", SteepTaperShank)}


def sizes() -> tuple[str, ...]:
    """Taper numbers."""
    return tuple(_cones())


def forms() -> tuple[str, ...]:
    """Names of the forms."""
    return tuple(_forms())


def gauge_diameter(size: str) -> float:
    """Diameter at the gauge line, mm; raises :class:`UnknownEntryError` for an unknown size.

    >>> gauge_diameter("40")
    44.45
    """
    if size not in _cones():
        raise UnknownEntryError("steep_taper", size, sizes())
    return _cones()[size].gauge_diameter_mm


def form(name: str) -> SteepTaperFormRow:
    """A form by name; raises :class:`UnknownEntryError` for an unknown one."""
    if name not in _forms():
        raise UnknownEntryError("steep_taper_forms", name, forms())
    return _forms()[name]


def shank(form_name: str, size: str) -> SteepTaperShank | None:
    """Dimensions of a form in a size, or None where they are not stated.

    Raises :class:`UnknownEntryError` for an unknown form or size.
    """
    return shank_of_family(form(form_name).dimensions, size)


def shank_of_family(family: str, size: str) -> SteepTaperShank | None:
    """Dimensions of a shank family in a size, or None where they are not stated."""
    if size not in _cones():
        raise UnknownEntryError("steep_taper", size, sizes())
    return _shanks().get((family, size))


def knob_thread(form_name: str, size: str) -> str | None:
    """Thread for the retention knob or drawbar, or None where it is not stated.

    >>> knob_thread("iso_7388_2_jd", "40"), knob_thread("asme_b5_50", "40")
    ('M16', '5/8-11 UNC')
    """
    found = shank(form_name, size)
    return None if found is None else found.knob_thread


def taper_length(form_name: str, size: str) -> float | None:
    """Length of the cone behind the gauge line, mm, or None where it is not stated."""
    found = shank(form_name, size)
    return None if found is None else found.taper_length_mm


def interchange(one: str, other: str) -> Interchange:
    """Whether two forms of one size fit the same spindle and changer.

    >>> interchange("mas_403", "iso_7388_2_jf"), interchange("mas_403", "asme_b5_50")
    ('fits', 'differs')
    """
    return compare_forms(form(one), form(other))


class RetentionKnob(Row):
    """A knob form."""

    form: str
    title: str
    standard_name: str
    threads_from: str
    fits_groups: Texts
    head_angle_deg: float | None
    head_angle_from: Literal["axis", "square"] | None
    through_hole: bool | None


@cache
def _knobs() -> dict[str, RetentionKnob]:
    return {row.form: row for row in read_rows("retention_knobs", RetentionKnob)}


def knobs() -> tuple[str, ...]:
    """Names of the knob forms."""
    return tuple(_knobs())


def knob(name: str) -> RetentionKnob:
    """A knob form by name; raises :class:`UnknownEntryError` for an unknown one."""
    if name not in _knobs():
        raise UnknownEntryError("retention_knobs", name, knobs())
    return _knobs()[name]


def takes_knob(side: object) -> bool | None:
    """Whether this end is held by a retention knob or in another way; None for another coupling."""
    return side.form != "iso_297" if isinstance(side, SteepTaper) else None


def thread_for_knob(side: SteepTaper) -> str | None:
    """Thread for the knob by the end's size and form, or None where one of them or the thread is not stated."""
    return None if side.size is None or side.form is None else knob_thread(side.form, side.size)


class _SteepTaper(Taper):
    name = "steep_taper"
    machine_side = SteepTaper
    workpiece_side = SteepTaper
    tilts_about_face = True
    needed_fields = ("size", "form")

    def for_manual_change(self, form: str) -> bool | None:
        return not _forms()[form].gripper_groove

    def interchange(self, one: str, other: str) -> Interchange:
        return interchange(one, other)

    def seat_length(self, end: End) -> OrMissing[float] | None:
        side = end.side
        if not isinstance(side, SteepTaper):
            return None
        if side.size is None or side.form is None:
            return Missing(tuple(f"{end.at}/{name}" for name in self.needed_fields if getattr(side, name) is None))
        return taper_length(side.form, side.size)

    def cone(self, side: Side) -> Cone | None:
        if not isinstance(side, SteepTaper) or side.size is None:
            return None
        row = None if side.form is None else shank(side.form, side.size)
        stated = row is not None
        row = row or next((one for one in _shanks().values() if one.size == side.size), None)
        if row is None:
            return None
        large = gauge_diameter(side.size)
        small = row.small_end_mm or large - 7.0 / 24.0 * row.taper_length_mm
        return Cone(row.taper_length_mm, large, small, assumed=None if stated else "length of the taper")

    def taper_mm3(self, side: Side) -> float | None:
        if not isinstance(side, SteepTaper) or side.size is None or side.form is None:
            return None
        length = taper_length(side.form, side.size)
        if length is None:
            return None
        large = gauge_diameter(side.size)
        small = large - 7.0 / 24.0 * length
        return math.pi / 12.0 * length * (large * large + large * small + small * small)

    def flange_diameter(self, side: Side) -> float | None:
        if not isinstance(side, SteepTaper) or side.size is None or side.form is None:
            return None
        row = shank(side.form, side.size)
        return None if row is None else row.flange_diameter_mm


STEEP_TAPER = _SteepTaper()

"""7/24 steep tapers: the cone by size, the forms that share it, and what keeps them apart.

Retention knobs: thread, head angle and the shanks they are made for.
"""

from __future__ import annotations

from functools import cache
from typing import Literal

from rules.couplings.definition import Interchange, compare_forms
from rules.quantities.tables import Row, Texts, UnknownEntryError, read_rows

__all__ = [
    "flange_underside",
    "form",
    "forms",
    "gauge_diameter",
    "head_angle_to_axis",
    "interchange",
    "knob",
    "knob_thread",
    "knobs",
    "made_for",
    "shank",
    "sizes",
    "taper_length",
    "thread",
]


class _Cone(Row):
    size: str
    gauge_diameter_mm: float


class SteepTaperForm(Row):
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
def _forms() -> dict[str, SteepTaperForm]:
    return {row.form: row for row in read_rows("steep_taper_forms", SteepTaperForm)}


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


def form(name: str) -> SteepTaperForm:
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


def flange_underside(form_name: str, size: str) -> float | None:
    """From the gauge line to the flange's workpiece-side face, mm, or None where it is not stated."""
    found = shank(form_name, size)
    return None if found is None else found.flange_underside_mm


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


def thread(name: str, size: str) -> str | None:
    """Thread of a knob for a taper number, or None where it is not stated."""
    found = shank_of_family(knob(name).threads_from, size)
    return None if found is None else found.knob_thread


def head_angle_to_axis(name: str) -> float | None:
    """Angle of the gripped face to the axis, degrees, or None where it is not stated.

    >>> head_angle_to_axis("iso_7388_3_ad"), head_angle_to_axis("mas_403_45")
    (75.0, 45.0)
    """
    found = knob(name)
    if found.head_angle_deg is None:
        return None
    return found.head_angle_deg if found.head_angle_from == "axis" else 90.0 - found.head_angle_deg


def made_for(name: str, form_name: str) -> bool:
    """Whether the knob form is made for a steep taper form.

    >>> made_for("mas_403_45", "iso_7388_2_jd"), made_for("mas_403_45", "iso_7388_1_ad")
    (True, False)
    """
    return form(form_name).interchange_group in knob(name).fits_groups

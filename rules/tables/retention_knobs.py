"""Retention knobs: thread, head angle and the shanks they are made for."""

from __future__ import annotations

from functools import cache
from typing import Literal

from rules.quantities.tables import Row, Texts, UnknownEntryError, read_rows
from rules.tables import steep_taper

__all__ = ["RetentionKnob", "head_angle_to_axis", "knob", "knobs", "made_for", "thread"]


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
    found = steep_taper.shank_of_family(knob(name).threads_from, size)
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
    return steep_taper.form(form_name).interchange_group in knob(name).fits_groups

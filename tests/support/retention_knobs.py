"""."""

from __future__ import annotations

from rules.couplings.steep_taper import form, knob, shank_of_family

__all__ = ["head_angle_to_axis", "made_for", "thread"]


def thread(name: str, size: str) -> str | None:
    """Return the thread of a knob for a taper number; None where it is not stated."""
    found = shank_of_family(knob(name).threads_from, size)
    return None if found is None else found.knob_thread


def head_angle_to_axis(name: str) -> float | None:
    """Return the angle of the gripped face to the axis, degrees; None where it is not stated.

    >>> head_angle_to_axis("iso_7388_3_ad"), head_angle_to_axis("mas_403_45")
    (75.0, 45.0)
    """
    found = knob(name)
    if found.head_angle_deg is None:
        return None
    return found.head_angle_deg if found.head_angle_from == "axis" else 90.0 - found.head_angle_deg


def made_for(name: str, form_name: str) -> bool:
    """Return whether the knob form is for a steep taper form.

    >>> made_for("mas_403_45", "iso_7388_2_jd"), made_for("mas_403_45", "iso_7388_1_ad")
    (True, False)
    """
    return form(form_name).interchange_group in knob(name).fits_groups

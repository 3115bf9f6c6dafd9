"""Which rules are settled by a part, a joint or a knob alone, whatever else stands in the stack."""

from __future__ import annotations

from typing import Final

from rules.rulebook.book import Fired, Rule
from rules.rulebook.condition import PropertyRef, comparisons

__all__ = ["BY_GRIP", "BY_JOINT", "BY_KNOB", "BY_PART", "reads", "refuses"]

BY_PART: Final = frozenset(
    {
        "component_kind",
        "spindle_speed_rpm",
        "component_max_speed_rpm",
        "peripheral_speed_m_per_min",
        "max_cutting_speed_m_per_min",
        "passes_coolant",
        "clamping_span_mm",
        "collet_largest_mm",
        "series_capacity_mm",
        "tolerance_span_um",
        "runout_distance_mm",
        "angle_without_measurement",
        "stated_length_mm",
        "outline_length_mm",
        "outline_mismatch_mm",
        "thinnest_wall_mm",
    }
)
"""Properties of a component that follow from itself and the operation: a speed that follows from another part is
lacking where the part stands alone, and settles nothing."""

BY_JOINT: Final = frozenset(
    {
        "upper_coupling",
        "lower_coupling",
        "mates",
        "spindle_mates",
        "upper_size",
        "lower_size",
        "upper_form",
        "lower_form",
        "forms_interchange",
        "socket_size",
        "collet_size",
        "socket_designation",
        "collet_designation",
        "arbor_pilot_mm",
        "cutter_pilot_mm",
        "arbor_drive",
        "cutter_drive",
        "upper_designation",
        "lower_designation",
        "upper_gender",
        "lower_gender",
        "upper_diameter_mm",
        "lower_diameter_mm",
        "bore_diameter_mm",
        "shank_diameter_mm",
        "clearance_min_um",
        "clearance_max_um",
        "shrink_interference_min_um",
        "shank_lower_um",
        "h6_lower_um",
        "flat_needed",
        "shank_form",
        "flatted_in_round_clamp",
        "clamping_min_mm",
        "clamping_max_mm",
        "collapse_share",
        "minimum_grip_mm",
        "collet_length_mm",
        "standard_shank_mm",
        "bore_depth_mm",
        "shank_length_mm",
    }
)
"""Properties of a joint that follow from its two parts."""

BY_GRIP: Final = frozenset({"grip_length_mm", "grip_to_collet_length"})
"""Properties that follow too, where the grip length is no matter of choice."""

BY_KNOB: Final = frozenset(
    {
        "knob_lacking",
        "knob_form",
        "drawbar_form",
        "knob_angle_deg",
        "drawbar_angle_deg",
        "knob_thread",
        "taper_thread",
    }
)
"""Properties of a stack that follow from holder, knob and machine."""


def reads(rule: Rule) -> frozenset[str]:
    """Return every property a rule looks at."""
    names = set(rule.needs)
    for one in comparisons(rule.condition):
        names.add(one.left)
        if isinstance(one.right, PropertyRef):
            names.add(one.right.name)
    return frozenset(names)


def refuses(fired: Fired, settled_by: frozenset[str]) -> bool:
    """Whether what fired is an error of a rule that looks at nothing but these properties."""
    return fired.rule.severity == "error" and reads(fired.rule) <= settled_by

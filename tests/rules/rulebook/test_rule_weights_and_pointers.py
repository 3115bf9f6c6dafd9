"""Severity and pointers of each built-in rule, listed by hand.

Users rely on these two tables: an error stops a tool, a safety rule cannot be lowered unnoticed, and pointers give the
fields to change. They are not read from the rulebooks.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from rules import check
from rules.assessor import Assessor

STACKS = Path(__file__).resolve().parents[3] / "demo_data" / "stacks"

# code -> severity, safety, what it is judged on
RULES = {
    "ARB-010": ("error", True, "joint"),
    "ARB-020": ("error", True, "joint"),
    "BAL-010": ("advice", False, "operation"),
    "BAL-020": ("advice", False, "operation"),
    "BAL-030": ("warning", True, "operation"),
    "BAL-040": ("advice", False, "operation"),
    "BOR-010": ("error", False, "joint"),
    "BOR-020": ("error", True, "joint"),
    "BOR-030": ("warning", False, "joint"),
    "BOR-040": ("warning", False, "joint"),
    "BOR-050": ("error", True, "joint"),
    "COL-010": ("error", True, "joint"),
    "COL-020": ("advice", False, "joint"),
    "COL-030": ("error", False, "component"),
    "COL-040": ("error", True, "joint"),
    "COL-050": ("error", True, "joint"),
    "COOL-010": ("error", False, "component"),
    "COOL-020": ("error", False, "operation"),
    "CUT-010": ("error", False, "operation"),
    "CUT-020": ("warning", False, "operation"),
    "CUT-030": ("error", False, "operation"),
    "CUT-040": ("error", False, "operation"),
    "CUT-050": ("advice", False, "operation"),
    "DAT-010": ("error", False, "component"),
    "DAT-020": ("error", False, "component"),
    "DAT-030": ("warning", False, "component"),
    "DAT-040": ("error", False, "component"),
    "DAT-050": ("error", False, "component"),
    "DAT-060": ("warning", False, "component"),
    "DAT-070": ("warning", False, "component"),
    "DAT-080": ("warning", False, "component"),
    "DAT-090": ("warning", False, "component"),
    "DCL-010": ("error", False, "joint"),
    "DCL-020": ("error", False, "joint"),
    "DCL-030": ("error", False, "joint"),
    "GRIP-010": ("error", True, "joint"),
    "GRIP-020": ("warning", True, "joint"),
    "GRIP-030": ("warning", True, "joint"),
    "GRIP-040": ("error", False, "joint"),
    "GRIP-050": ("error", False, "joint"),
    "GRIP-060": ("error", False, "joint"),
    "GRIP-070": ("error", True, "joint"),
    "GRIP-080": ("warning", True, "joint"),
    "JNT-010": ("error", True, "joint"),
    "KNOB-010": ("error", True, "stack"),
    "KNOB-020": ("error", True, "stack"),
    "KNOB-030": ("error", True, "stack"),
    "KNOB-040": ("error", True, "stack"),
    "LIB-010": ("warning", False, "part"),
    "LIB-020": ("advice", False, "part"),
    "LIB-030": ("warning", False, "part"),
    "MCH-010": ("error", True, "stack"),
    "MCH-020": ("error", True, "stack"),
    "MCH-030": ("error", True, "stack"),
    "MCH-040": ("error", True, "stack"),
    "MCH-050": ("error", False, "operation"),
    "MCH-060": ("error", False, "operation"),
    "MCH-070": ("advice", False, "operation"),
    "MCH-080": ("warning", False, "operation"),
    "MCH-090": ("warning", False, "operation"),
    "MCH-100": ("warning", False, "operation"),
    "OVH-010": ("advice", False, "component"),
    "OVH-020": ("warning", False, "component"),
    "OVH-030": ("warning", False, "component"),
    "OVH-040": ("advice", False, "component"),
    "PLA-010": ("error", False, "component"),
    "PLA-020": ("error", False, "component"),
    "PLA-030": ("error", False, "component"),
    "PLA-040": ("error", False, "joint"),
    "PLA-050": ("error", False, "joint"),
    "PLA-060": ("error", False, "joint"),
    "PLA-070": ("error", False, "joint"),
    "PLA-080": ("error", False, "operation"),
    "PLA-090": ("error", False, "component"),
    "PLA-100": ("error", False, "component"),
    "PLA-110": ("error", False, "component"),
    "PLA-120": ("error", False, "component"),
    "PLA-210": ("warning", False, "component"),
    "PLA-220": ("warning", False, "component"),
    "PLA-230": ("warning", False, "component"),
    "PLA-240": ("warning", False, "component"),
    "PLA-250": ("warning", False, "operation"),
    "PLA-260": ("warning", False, "operation"),
    "PLA-270": ("warning", False, "component"),
    "PLA-280": ("warning", False, "component"),
    "PLA-290": ("warning", False, "component"),
    "PLA-300": ("warning", False, "component"),
    "PLA-310": ("warning", False, "component"),
    "PLA-320": ("warning", False, "component"),
    "PLA-330": ("warning", False, "component"),
    "PLA-340": ("warning", False, "component"),
    "PLA-350": ("warning", False, "component"),
    "PLA-360": ("warning", False, "component"),
    "PLA-370": ("warning", False, "component"),
    "PLA-380": ("warning", False, "joint"),
    "PLA-390": ("warning", False, "joint"),
    "REF-010": ("error", True, "component"),
    "REF-020": ("error", True, "component"),
    "REF-030": ("error", True, "component"),
    "REF-050": ("warning", True, "component"),
    "RUN-010": ("error", False, "operation"),
    "RUN-020": ("advice", False, "operation"),
    "RUN-030": ("advice", False, "operation"),
    "RUN-040": ("warning", False, "operation"),
    "RUN-050": ("warning", False, "stack"),
    "RUN-060": ("warning", False, "operation"),
    "SHK-010": ("warning", False, "joint"),
    "SHK-020": ("warning", False, "joint"),
    "SHR-010": ("error", True, "joint"),
    "SHR-020": ("warning", True, "joint"),
    "SHR-030": ("error", True, "joint"),
    "SID-010": ("error", True, "joint"),
    "SID-020": ("error", True, "joint"),
    "SPD-010": ("error", True, "component"),
    "SPD-020": ("error", True, "operation"),
    "SPD-030": ("error", False, "operation"),
    "SPD-040": ("error", True, "operation"),
    "SPD-050": ("warning", False, "component"),
    "SPD-060": ("advice", True, "component"),
    "SPD-070": ("error", False, "operation"),
    "SPD-080": ("advice", False, "operation"),
    "SPN-010": ("error", True, "joint"),
    "STA-010": ("warning", False, "component"),
    "STF-010": ("error", False, "operation"),
    "STF-020": ("warning", True, "operation"),
    "STF-030": ("warning", False, "operation"),
    "STF-040": ("warning", False, "operation"),
    "STF-050": ("advice", False, "operation"),
    "STF-060": ("advice", False, "operation"),
    "STF-070": ("warning", False, "operation"),
    "STK-010": ("error", False, "component"),
    "STK-020": ("warning", False, "stack"),
    "STK-030": ("warning", False, "stack"),
    "STK-040": ("error", False, "component"),
    "STK-050": ("error", False, "stack"),
    "STK-060": ("error", False, "stack"),
    "TAP-010": ("error", True, "joint"),
    "TAP-020": ("error", True, "joint"),
    "TAP-030": ("error", True, "joint"),
    "THR-010": ("error", False, "joint"),
    "THR-020": ("error", False, "joint"),
    "THR-030": ("warning", False, "joint"),
    "TPG-010": ("error", False, "operation"),
    "TPG-020": ("error", False, "operation"),
    "TPG-030": ("advice", False, "operation"),
    "TPG-040": ("error", False, "operation"),
    "TPG-050": ("warning", False, "operation"),
    "TPG-060": ("warning", False, "operation"),
    "TPG-070": ("warning", False, "operation"),
}

_COLLET_AND_SHANK = ["/stack/components/1/workpiece_side", "/stack/components/2/machine_side", "/stack/joints/0"]
_CHUCK_AND_SHANK = ["/stack/components/0/workpiece_side", "/stack/components/1/machine_side", "/stack/joints/0"]

# stack, code -> the fields that the objection is about
POINTERS = {
    ("03-deep-rib-nut-collets", "RUN-010"): ["/operations/0"],
    ("01-deep-rib-shrink-extension", "RUN-030"): ["/operations/0"],
    ("03-deep-rib-nut-collets", "RUN-040"): ["/operations/0"],
    ("05-shrink-fit-coarse-shank", "BOR-050"): _CHUCK_AND_SHANK,
    ("05-shrink-fit-coarse-shank", "SHK-010"): _CHUCK_AND_SHANK,
    ("05-shrink-fit-coarse-shank", "SHR-030"): _CHUCK_AND_SHANK,
    ("06-side-lock-inch", "BOR-040"): _COLLET_AND_SHANK,
    ("07-side-lock-plain-shank", "BOR-040"): _COLLET_AND_SHANK,
    ("07-side-lock-plain-shank", "SID-010"): _COLLET_AND_SHANK,
    ("08-hydraulic-with-sleeve", "OVH-010"): ["/stack/components/2"],
    ("09-inch-flange-on-metric-mill", "KNOB-020"): ["/stack"],
    ("09-inch-flange-on-metric-mill", "TAP-020"): ["/machine/spindle", "/stack/components/1/machine_side"],
    ("10-quarter-inch-in-metric-collet", "COL-010"): [
        "/stack/components/2/workpiece_side",
        "/stack/components/3/machine_side",
        "/stack/joints/0",
    ],
    ("11-high-speed-finisher", "BAL-010"): ["/operations/0"],
    ("11-high-speed-finisher", "OVH-010"): ["/stack/components/1"],
    ("11-high-speed-finisher", "SPD-020"): ["/operations/0"],
    ("12-face-mill-too-wide", "MCH-030"): ["/stack"],
    ("13-drill-without-coolant-path", "COOL-010"): ["/stack/components/1"],
    ("14-short-grip", "GRIP-010"): _CHUCK_AND_SHANK,
    ("14-short-grip", "OVH-020"): ["/stack/components/1"],
    ("17-heavy-cut-in-a-collet", "GRIP-070"): _COLLET_AND_SHANK,
    ("18-slender-reach-at-speed", "OVH-020"): ["/stack/components/1"],
    ("18-slender-reach-at-speed", "SPD-080"): ["/operations/0"],
    ("18-slender-reach-at-speed", "STF-010"): ["/operations/0"],
    ("18-slender-reach-at-speed", "STF-050"): ["/operations/0"],
}

# stack 15 -> code, the fields it is about, the fields that would decide it
UNDECIDED = {
    "GRIP-050": (_CHUCK_AND_SHANK, ["/stack/components/1/machine_side/length_mm"]),
    "RUN-010": (["/operations/0"], ["/stack/components/1/runout"]),
    "RUN-020": (["/operations/0"], ["/stack/components/1/runout"] * 3),
    "RUN-060": (["/operations/0"], ["/stack/components/1/runout"] * 2),
}


def test_severity_safety_and_subject_of_every_rule() -> None:
    """A rule that is added, dropped or weighed anew needs a change here, too."""
    assert {one.code: (one.severity, one.safety, one.applies_to) for one in Assessor.load().book.rules} == RULES


@pytest.mark.parametrize(("stack", "code"), POINTERS)
def test_an_objection_points_at_the_fields_it_is_about(stack: str, code: str) -> None:
    """Both sides of a joint and its statement; a component; the operation."""
    report = check(json.loads((STACKS / f"{stack}.json").read_text(encoding="utf-8")))
    (finding,) = [one for one in report.findings if one.code == code]
    assert list(finding.at) == POINTERS[stack, code]
    assert finding.severity == RULES[code][0]


@pytest.mark.parametrize("code", UNDECIDED)
def test_an_undecided_rule_points_at_what_is_missing(code: str) -> None:
    """What it is about, and the field to state."""
    report = check(json.loads((STACKS / "15-incomplete-library-entry.json").read_text(encoding="utf-8")))
    (gap,) = [one for one in report.undecided if one.code == code]
    assert (list(gap.at), [field for lack in gap.lacks for field in lack.at]) == UNDECIDED[code]

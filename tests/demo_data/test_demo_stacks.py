"""The stacks of the demo get the intended verdicts."""

from __future__ import annotations

from pathlib import Path

import pytest

from rules.assessor import Assessor
from rules.couplings.sides import WorkpieceSide
from rules.schema.parsing import parse_request
from rules.schema.request import CheckRequest
from rules.schema.strict_json import parse_json

STACKS = Path(__file__).resolve().parents[2] / "demo_data" / "stacks"
ASSESSOR = Assessor.load()

EXPECTED = {
    "01-deep-rib-shrink-extension": ("pass", {"RUN-030"}, set()),
    "02-deep-rib-gauge-pin": ("pass", set(), set()),
    "03-deep-rib-nut-collets": ("fail", {"RUN-010", "RUN-040"}, set()),
    "04-shrink-fit-rougher": ("pass", set(), set()),
    "05-shrink-fit-coarse-shank": ("fail", {"BOR-050", "RUN-040", "SHK-010", "SHR-030"}, set()),
    "06-side-lock-inch": ("review", {"BOR-040", "RUN-040"}, set()),
    "07-side-lock-plain-shank": ("fail", {"BOR-040", "RUN-040", "SID-010"}, set()),
    "08-hydraulic-with-sleeve": ("pass", {"OVH-010", "RUN-030"}, set()),
    "09-inch-flange-on-metric-mill": ("fail", {"KNOB-020", "RUN-040", "TAP-020"}, set()),
    "10-quarter-inch-in-metric-collet": ("fail", {"COL-010", "RUN-040"}, set()),
    "11-high-speed-finisher": ("fail", {"BAL-010", "OVH-010", "RUN-030", "SPD-020"}, set()),
    "12-face-mill-too-wide": ("fail", {"MCH-030", "RUN-030"}, set()),
    "13-drill-without-coolant-path": ("fail", {"COOL-010", "RUN-040"}, set()),
    "14-short-grip": ("fail", {"GRIP-010", "OVH-020", "RUN-030"}, set()),
    "15-incomplete-library-entry": (
        "review",
        set(),
        {
            *("BAL-020", "GRIP-050", "GRIP-070", "GRIP-080", "MCH-070", "RUN-010", "RUN-020", "RUN-030", "RUN-040"),
            *("RUN-060", "SHR-030", "SPD-020", "STF-010", "STF-040", "STF-070"),
        },
    ),
    "16-carbide-shank-with-head": ("pass", {"RUN-030"}, set()),
    "17-heavy-cut-in-a-collet": ("fail", {"GRIP-070", "MCH-070", "RUN-040"}, set()),
    "18-slender-reach-at-speed": ("fail", {"OVH-020", "RUN-030", "SPD-080", "STF-010", "STF-050"}, set()),
    "19-press-in-collet": ("pass", {"RUN-030"}, set()),
    "20-threaded-head-on-extension": ("pass", {"RUN-030"}, set()),
}


def _request(name: str) -> CheckRequest:
    return parse_request(parse_json((STACKS / f"{name}.json").read_bytes()))


def test_every_stack_is_expected() -> None:
    """No stack without an expectation, and none expected that is not there."""
    assert {file.stem for file in STACKS.glob("*.json")} == set(EXPECTED)


@pytest.mark.parametrize("name", EXPECTED)
def test_verdict_and_findings(name: str) -> None:
    """Verdict, findings and undecided rules are those the stack was built for."""
    report = ASSESSOR.assess(_request(name))
    found = (
        report.verdict,
        {item.code for item in report.findings},
        {item.code for item in report.undecided},
    )
    assert found == EXPECTED[name]


def test_the_shop_uses_the_couplings_of_the_trade() -> None:
    """Steep, hollow and polygonal tapers; press-in, nut collet, shrink, hydraulic and side-lock; metric and inch."""
    used = set()
    for name in EXPECTED:
        for part in _request(name).stack.components:
            for end in ("machine_side", "workpiece_side"):
                side: WorkpieceSide | None = getattr(part, end, None)
                used.add(None if side is None else side.coupling)
    assert used >= {
        "steep_taper", "hollow_taper", "polygonal_taper", "press_collet", "nut_collet", "shrink_fit",
        "hydraulic", "side_lock", "milling_chuck", "shell_mill_arbor", "declared", "threaded_head",
    }  # fmt: skip
    assert any(' in"' in file.read_text(encoding="utf-8") for file in STACKS.glob("*.json"))

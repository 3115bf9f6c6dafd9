"""The predicted runout, compared with turning every part of the stack through every direction.

Nothing of the service takes part but the answer. The positions along the axis are worked out by hand from each
request. A part with one reading keeps it up to the place of the reading; beyond, the reading grows with the distance
from the point about which the part tilts: the gauge line for a hollow or steep taper, the mouth of an 8° collet, the
middle of any other grip. The share of assemblies below a reading is then the mean over all directions of the parts, and
over all sizes up to their limits.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pytest
from scipy.stats import ncx2

from rules import check
from rules.assessor import Assessor
from rules.budget import full_budget
from rules.schema.budget import BudgetRequest

STACKS = Path(__file__).resolve().parents[2] / "demo_data" / "stacks"


class Tilt(NamedTuple):
    """A part that reads so much up to one place, and more beyond about its pivot; mm from the gauge line, µm."""

    reads_um: float
    pivot_mm: float
    read_at_mm: float

    def reading_um(self, z_mm: float) -> float:
        return self.reads_um * max(1.0, (z_mm - self.pivot_mm) / (self.read_at_mm - self.pivot_mm))


class Skew(NamedTuple):
    """A part with a reading at each of two places."""

    first_um: float
    first_at_mm: float
    second_um: float
    second_at_mm: float

    def reading_um(self, z_mm: float) -> float:
        share = (z_mm - self.first_at_mm) / (self.second_at_mm - self.first_at_mm)
        return self.first_um * (1 - share) + self.second_um * share


class Shift(NamedTuple):
    """A part that reads the same everywhere."""

    reads_um: float

    def reading_um(self, z_mm: float) -> float:
        return self.reads_um + 0 * z_mm


class Play(Shift):
    """A shank at the wall of its bore: any clearance up to the largest."""


Part = Tilt | Skew | Shift

# gauge plane and tip, mm from the gauge line, then the parts in the order of the stack
BY_HAND: dict[str, tuple[float, float, list[Part]]] = {
    # hydraulic chuck of 120 mm, extension of 130 mm held over 50 mm, mill of 63 mm held over 36 mm
    "01-deep-rib-shrink-extension": (224, 227, [Tilt(3, 0, 170), Tilt(5, 95, 224), Tilt(5, 182, 224)]),
    # chuck of 120 mm, collet of 40 mm, extension of 130 mm held over 50 mm, collet of 27.5 mm, mill held over 36 mm
    "03-deep-rib-nut-collets": (
        224,
        227,
        [Tilt(3, 0, 120), Tilt(20, 120, 170), Tilt(5, 120, 200), Tilt(15, 200, 225), Tilt(5, 200, 224)],
    ),
    "04-shrink-fit-rougher": (126, 129, [Tilt(3, 0, 126), Tilt(5, 68, 126)]),
    # 2.75 in and 4 in, gauge plane stated at 40 mm; 3/4 in H7/h6 leaves 21 + 13 = 34 µm of clearance at most
    # (ISO 286-2, 18 to 30 mm)
    "06-side-lock-inch": (109.85, 120.65, [Tilt(4, 0, 69.85), Play(34), Tilt(8, 44.45, 109.85)]),
    # chuck of 80 mm, sleeve of 52 mm held over 50 mm, mill of 110 mm held over 46 mm
    "08-hydraulic-with-sleeve": (118, 146, [Tilt(3, 0, 130), Tilt(2, 55, 118), Tilt(6, 59, 118)]),
    # 2.76 in = 70.104 mm
    "09-inch-flange-on-metric-mill": (
        100.104,
        102.104,
        [Tilt(3, 0, 70.104), Tilt(15, 70.104, 95.104), Tilt(5, 70.104, 100.104)],
    ),
    "11-high-speed-finisher": (78, 86, [Tilt(3, 0, 78), Tilt(5, 43, 78)]),
    "12-face-mill-too-wide": (110, 110, [Skew(4, 60, 5, 110), Shift(20)]),
    "13-drill-without-coolant-path": (110, 143, [Tilt(3, 0, 80), Tilt(15, 80, 105), Tilt(15, 80, 110)]),
    "14-short-grip": (242, 245, [Tilt(3, 0, 170), Tilt(5, 104, 242), Tilt(5, 200, 242)]),
    "16-carbide-shank-with-head": (208, 208, [Skew(4, 90, 6, 150), Tilt(4, 59, 178), Shift(15)]),
    "17-heavy-cut-in-a-collet": (148, 152, [Tilt(3, 0, 100), Tilt(20, 100, 140), Tilt(6, 100, 148)]),
    "19-press-in-collet": (110, 112, [Skew(1.5, 80, 3, 110), Tilt(3, 61, 110), Tilt(5, 60, 110)]),
}

TOGETHER = {"06-side-lock-inch": 3, "16-carbide-shank-with-head": 2}
"""Number of parts, from the end of the stack, that cannot be re-clocked against each other."""

STEPS = {0: 1, 1: 20_000, 2: 1200, 3: 150}
"""Directions of each part but the first and the last, whose angle is integrated in closed form."""


def share_below(reading_um: float, readings_um: Sequence[float], sigma_um: float = 0.0) -> float:
    """Return the share of all directions in which the parts together read less.

    sigma_um is the deviation per axis of parts that vary, as a reading. Two vectors s and c at the angle φ have the
    sum √(s² + c² + 2sc·cos φ); a vector s and a plane Gaussian keep within r by the noncentral chi-square law.
    """
    *turned, last = sorted(readings_um) if sigma_um == 0 else [*sorted(readings_um), math.nan]
    steps = STEPS[len(turned) - 1]
    sum_so_far: Any = np.array([turned[-1]], dtype=complex)
    for size in turned[:-1]:
        directions = np.exp(2j * np.pi * (np.arange(steps) + 0.5) / steps)
        sum_so_far = (sum_so_far[:, None] + size * directions).ravel()
    lengths = np.abs(sum_so_far)
    if sigma_um:
        return float(np.mean(ncx2.cdf((reading_um / sigma_um) ** 2, 2, (lengths / sigma_um) ** 2)))
    cosine = (reading_um**2 - lengths**2 - last**2) / (2 * lengths * last)
    return float(np.mean(1 - np.arccos(np.clip(cosine, -1, 1)) / np.pi))


DRAWN = 200_000


def share_of_assemblies(reading_um: float, readings_um: Sequence[float], parts: Sequence[Part]) -> float:
    """Return the share of assemblies below a reading, with every part anywhere up to its limit.

    The largest disc is integrated in closed form, as the overlap of two circles; the others are drawn.
    """
    random = np.random.default_rng(7)
    sizes = sorted(zip(readings_um, parts, strict=True), key=lambda one: (not isinstance(one[1], Play), one[0]))
    (*others, (last, _)) = sizes
    total = np.zeros(DRAWN, dtype=complex)
    for size, part in others:
        lengths = size * random.random(DRAWN) ** (1.0 if isinstance(part, Play) else 0.5)
        total += lengths * np.exp(2j * np.pi * random.random(DRAWN))
    apart = np.maximum(np.abs(total), 1e-9)
    first = np.arccos(np.clip((apart**2 + reading_um**2 - last**2) / (2 * apart * reading_um), -1, 1))
    second = np.arccos(np.clip((apart**2 + last**2 - reading_um**2) / (2 * apart * last), -1, 1))
    common = reading_um**2 * (first - np.sin(2 * first) / 2) + last**2 * (second - np.sin(2 * second) / 2)
    return float(np.mean(common)) / (np.pi * last**2)


def test_the_share_of_assemblies_knows_two_equal_discs() -> None:
    """First principles: within the common radius, 1 − 3√3/(4π)."""
    expected = 1 - 3 * math.sqrt(3) / (4 * math.pi)
    assert share_of_assemblies(1, [1, 1], [Shift(1), Shift(1)]) == pytest.approx(expected, abs=3e-3)


def _report(name: str) -> tuple[dict[str, Any], dict[str, Any]]:
    request = json.loads((STACKS / f"{name}.json").read_text(encoding="utf-8"))
    return request, check(request).model_dump(mode="json")["runout"]


def test_the_mean_over_directions_knows_two_vectors_at_right_angles() -> None:
    """3 and 4 read less than 5 in just the half of the directions that lie beyond the right angle."""
    assert share_below(5, [3, 4]) == pytest.approx(0.5, abs=1e-12)


def test_the_mean_over_directions_knows_three_equal_vectors() -> None:
    """Literature: Kluyver (1906), three unit steps end within one unit with probability 1/4."""
    assert share_below(1, [1, 1, 1]) == pytest.approx(0.25, abs=1e-3)


LEVELS = {"p50": 0.50, "p80": 0.80, "p95": 0.95, "p99": 0.99}


def _holds(quantiles: dict[str, float], sizes: list[float], sigma: float = 0.0) -> None:
    """Each quantile, as exactly as it is rounded to nanometres, has its share of the assemblies below it."""
    assert quantiles.keys() == LEVELS.keys()
    for name, share in LEVELS.items():
        low, high = (share_below(quantiles[name] + error, sizes, sigma) for error in (-6e-4, 6e-4))
        assert low - 1e-3 <= share <= high + 1e-3


@pytest.mark.parametrize("plane", ["gauge_plane", "tip"])
@pytest.mark.parametrize("name", BY_HAND)
def test_predicted_runout_of_a_demo_stack(name: str, plane: str) -> None:
    """Median, 95 %, worst case, best clocking and the share within the limit, at both planes."""
    request, runout = _report(name)
    gauge_mm, tip_mm, parts = BY_HAND[name]
    z_mm = gauge_mm if plane == "gauge_plane" else tip_mm
    readings = [abs(part.reading_um(z_mm)) for part in parts]
    (answer,) = [one for one in runout["planes"] if one["plane"] == plane]
    assert answer["from_gauge_line_mm"] == pytest.approx(z_mm)
    assert [item["tir_um"][plane] for item in runout["contributors"]] == pytest.approx(readings, abs=6e-4)
    told = {one["of"]: one for one in answer["predictions"]}
    assert told["worst_case"]["quantiles_um"]["p100"] == pytest.approx(sum(readings), abs=6e-4)
    together = TOGETHER.get(name, 1)
    clocked = [*readings[:-together], sum(readings[-together:])]
    lowest = max(0, 2 * max(clocked) - sum(clocked))
    assert ("best_clocking" in told) == (len(clocked) > 1)
    if "best_clocking" in told:
        assert told["best_clocking"]["quantiles_um"]["p0"] == pytest.approx(lowest, abs=1e-3)
    _holds(told["parts_at_limits"]["quantiles_um"], readings)
    for level, share in LEVELS.items():
        below = share_of_assemblies(told["assemblies"]["quantiles_um"][level], readings, parts)
        assert below == pytest.approx(share, abs=4e-3)
    limit = request["operations"][0]["limits"]["runout"]
    limit["plane"] = plane
    within = check(request).operation.runout.probability_within_limit
    assert within == {
        "assemblies": pytest.approx(share_of_assemblies(limit["tir_um"], readings, parts), abs=4e-3),
        "parts_at_limits": pytest.approx(share_below(limit["tir_um"], readings), abs=1e-3),
    }


@pytest.mark.parametrize("name", ["01-deep-rib-shrink-extension", "13-drill-without-coolant-path"])
def test_predicted_runout_of_a_cutter_that_varies(name: str) -> None:
    """Where 95 % of the cutters keep the limit, its σ per axis is the limit over √(-2·ln 0.05)."""
    request, _ = _report(name)
    request["stack"]["components"][-1]["runout"]["law"] = "capability"
    told = {one.of: one.quantiles_um for one in check(request).runout.planes[0].predictions}
    z_mm, _, parts = BY_HAND[name]
    *sizes, limit = [part.reading_um(z_mm) for part in parts]
    sigma = limit / math.sqrt(-2 * math.log(0.05))
    _holds(told["parts_at_limits"], sizes, sigma)
    assert "worst_case" not in told


@pytest.mark.parametrize(("extension_deg", "mill_deg"), [(0, 0), (0, 90), (40, 210), (180, 0)])
def test_two_parts_clocked_to_each_other_add_as_vectors(extension_deg: float, mill_deg: float) -> None:
    """Measured and clocked, extension and mill are one vector, which the chuck meets in any direction."""
    request, _ = _report("01-deep-rib-shrink-extension")
    for part, angle in zip(request["stack"]["components"][1:], (extension_deg, mill_deg), strict=True):
        part["runout"]["law"] = "measured"
        part["runout"]["statements"][0]["angle_deg"] = angle
    request["stack"]["joints"][1]["clocking_deg"] = 30
    told = {one.of: one.quantiles_um for one in check(request).runout.planes[1].predictions}
    _, z_mm, parts = BY_HAND["01-deep-rib-shrink-extension"]
    chuck, extension, mill = [part.reading_um(z_mm) for part in parts]
    between = math.radians(mill_deg + 30 - extension_deg)
    both = math.sqrt(extension**2 + mill**2 + 2 * extension * mill * math.cos(between))
    assert told["worst_case"]["p100"] == pytest.approx(chuck + both, abs=1e-3)
    _holds(told["parts_at_limits"], [chuck, both])


def test_two_measured_parts_that_are_not_clocked_meet_at_any_angle() -> None:
    """Each knows its own high point; nothing says how the joint between them was turned, so all three are random."""
    request, _ = _report("01-deep-rib-shrink-extension")
    for part, angle in zip(request["stack"]["components"][1:], (0, 180), strict=True):
        part["runout"]["law"] = "measured"
        part["runout"]["statements"][0]["angle_deg"] = angle
    tip = check(request).runout.plane("tip")
    _, z_mm, parts = BY_HAND["01-deep-rib-shrink-extension"]
    readings = [part.reading_um(z_mm) for part in parts]
    assert tip.quantile_um("p100", "worst_case") == pytest.approx(sum(readings), abs=1e-3)
    assert share_below(tip.quantile_um("p95", "parts_at_limits"), readings) == pytest.approx(0.95, abs=2e-3)


@pytest.mark.parametrize("name", ["01-deep-rib-shrink-extension", "13-drill-without-coolant-path", "14-short-grip"])
def test_full_budget_of_a_demo_stack(name: str) -> None:
    """Four levels at both planes, and the 95 % reading with each part in turn at half of its runout."""
    request, _ = _report(name)
    told = {key: request[key] for key in ("stack", "operations", "machine")}
    budget = full_budget(BudgetRequest.model_validate(told), Assessor.load().book)
    gauge_mm, tip_mm, parts = BY_HAND[name]
    for place, (plane, z_mm) in enumerate((("gauge_plane", gauge_mm), ("tip", tip_mm))):
        readings = [abs(part.reading_um(z_mm)) for part in parts]
        answer = budget.planes[place]
        assert answer.plane == plane
        assert answer.predictions[1].of == "parts_at_limits"
        _holds(answer.predictions[1].quantiles_um, readings)
        for number, one in enumerate(budget.contributors):
            halved = [reading / 2 if number == other else reading for other, reading in enumerate(readings)]
            assert share_of_assemblies(one.p95_if_halved_um[plane], halved, parts) == pytest.approx(0.95, abs=4e-3)

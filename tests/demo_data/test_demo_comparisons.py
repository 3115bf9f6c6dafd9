"""The comparison of the demo has the intended outcome."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest

from rules.assessor import Assessor
from rules.comparison import compare
from rules.schema.comparison import ComparisonReport, ComparisonRequest
from rules.schema.parsing import parse
from rules.schema.strict_json import parse_json
from tests.support.stacks import quantile

DEMO = Path(__file__).resolve().parents[2] / "demo_data"
COMPARISONS = DEMO / "comparisons"


@pytest.fixture(scope="module")
def report() -> ComparisonReport:
    data = parse_json((COMPARISONS / "deep-rib.json").read_bytes())
    return compare(parse(ComparisonRequest, data), Assessor.load())


def _json(file: Path) -> Any:
    return json.loads(file.read_text(encoding="utf-8"))


def test_every_comparison_is_expected() -> None:
    """No file without an expectation."""
    assert {file.name for file in COMPARISONS.iterdir()} == {"deep-rib.json"}


def test_the_stacks_are_those_of_the_shop() -> None:
    """Two of the alternatives are stacks 01 and 03 to the letter, for the operation and machine of stack 01."""
    told = _json(COMPARISONS / "deep-rib.json")
    first = _json(DEMO / "stacks" / "01-deep-rib-shrink-extension.json")
    third = _json(DEMO / "stacks" / "03-deep-rib-nut-collets.json")
    assert [one["stack"] for one in told["alternatives"][:2]] == [first["stack"], third["stack"]]
    assert (told["operations"], told["machine"]) == (first["operations"], first["machine"])


def test_verdicts(report: ComparisonReport) -> None:
    """Extension and one piece pass; nut collets fail the runout limit. All three reach equally far."""
    assert {one.name: one.verdict for one in report.alternatives} == {
        "extension": "pass",
        "nut-collets": "fail",
        "one-piece": "pass",
    }
    assert {one.tip_from_gauge_line_mm for one in report.alternatives} == {227}
    best = {row.criterion: row.best for row in report.criteria}
    assert best["runout_p95"] == best["joints"] == ["one-piece"]
    assert best["speed_limit"] == ["extension"]


def test_which_reads_less(report: ComparisonReport) -> None:
    """First principles: one piece is two vectors of up to 5 µm TIR at the gauge plane.

    At their limits they read 10·|cos(φ/2)| with φ at random, so the median is 10·cos(π/4), the 95th percentile
    10·cos(π/40) and the worst case 10 µm. Up to their limits they follow the law of two equal discs.
    """
    (one_piece,) = [one for one in report.alternatives if one.name == "one-piece"]
    for name, angle in (("p50", math.pi / 4), ("p95", math.pi / 40)):
        found = quantile(one_piece, "gauge_plane", name, "parts_at_limits")
        assert found == pytest.approx(10 * math.cos(angle), abs=1e-3)
    for name, ratio in (("p50", 0.891291), ("p80", 1.301643), ("p95", 1.623796), ("p99", 1.808880)):
        assert quantile(one_piece, "gauge_plane", name) == pytest.approx(5 * ratio, abs=1e-3)
    assert quantile(one_piece, "gauge_plane", "p100", "worst_case") == 10
    chances = {(pair.first, pair.second): pair.probability for pair in report.reads_less}
    extension_lower = chances["extension", "one-piece"]
    assert extension_lower is not None
    assert 0.4 < extension_lower < 0.5
    assert chances["extension", "nut-collets"] == pytest.approx(0.98, abs=0.01)


def test_the_extension_by_hand(report: ComparisonReport) -> None:
    """First principles: the chuck tilts about the face of its flange, at the gauge line.

    Its 3 µm are stated 50 mm before its face at 120 mm, and the gauge plane lies at 224 mm. Extension and end mill
    state 5 µm each at that plane.
    """
    (extension,) = [one for one in report.alternatives if one.name == "extension"]
    assert quantile(extension, "gauge_plane", "p100", "worst_case") == pytest.approx(3 * 224 / 170 + 5 + 5, abs=1e-3)

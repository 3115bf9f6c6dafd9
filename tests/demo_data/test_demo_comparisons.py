"""The shop's comparison gets the outcome it was built for."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from rules.assessor import Assessor
from rules.comparison import compare
from rules.schema.comparison import ComparisonReport, ComparisonRequest
from rules.schema.parsing import parse
from rules.schema.strict_json import parse_json

DEMO = Path(__file__).resolve().parents[2] / "demo_data"
COMPARISONS = DEMO / "comparisons"


@pytest.fixture(scope="module")
def report() -> ComparisonReport:
    data = parse_json((COMPARISONS / "deep-pocket.json").read_bytes())
    return compare(parse(ComparisonRequest, data), Assessor.load())


def _json(file: Path) -> Any:
    return json.loads(file.read_text(encoding="utf-8"))


def test_every_comparison_is_expected() -> None:
    """No file without an expectation."""
    assert {file.name for file in COMPARISONS.iterdir()} == {"deep-pocket.json"}


def test_the_stacks_are_those_of_the_shop() -> None:
    """Two of the alternatives are stacks 01 and 03 to the letter, for the operation and machine of stack 01."""
    told = _json(COMPARISONS / "deep-pocket.json")
    first = _json(DEMO / "stacks" / "01-deep-pocket-press-in.json")
    third = _json(DEMO / "stacks" / "03-deep-pocket-nut-collets.json")
    assert [one["stack"] for one in told["alternatives"][:2]] == [first["stack"], third["stack"]]
    assert (told["operation"], told["machine"]) == (first["operation"], first["machine"])


def test_verdicts_and_dominance(report: ComparisonReport) -> None:
    """Press-in collets and one piece trade runout, speed and joints; nut collets are beaten by both."""
    assert {one.name: one.verdict for one in report.alternatives} == {
        "press-in": "pass",
        "nut-collets": "fail",
        "one-piece": "pass",
    }
    assert report.non_dominated == ["press-in", "one-piece"]
    assert {one.projection_mm for one in report.alternatives} == {166}
    best = {row.criterion: row.best for row in report.criteria}
    assert best["runout_p95"] == best["joints"] == ["one-piece"]
    assert best["speed_limit"] == ["press-in"]
    assert best["stiffness"] == ["one-piece"]


def test_which_reads_less(report: ComparisonReport) -> None:
    """Golden: stacked in press-in collets reads less than one piece three times in four, for all its higher p95.

    One piece is two vectors of 5 and 1.5 µm, which read at least 7 µm; half of the press-in assemblies read less
    than that by themselves (first principles).
    """
    chances = {(pair.first, pair.second): pair.probability for pair in report.reads_less}
    assert chances["press-in", "one-piece"] == pytest.approx(0.762379, abs=2e-6)
    assert chances["press-in", "nut-collets"] == pytest.approx(0.999024, abs=2e-6)
    told = {one.name: one for one in report.alternatives}
    one_piece, press_in = told["one-piece"].gauge_plane, told["press-in"].gauge_plane
    assert one_piece is not None
    assert press_in is not None
    assert (one_piece.best_clocking_um, one_piece.worst_case_um) == (7.0, 13.0)
    assert press_in.p50_um < one_piece.best_clocking_um
    assert press_in.p95_um > one_piece.p95_um


def test_sentences_tell_the_trade(report: ComparisonReport) -> None:
    """Each says by how much, in its unit, and whom it is held against."""
    told = {one.name: one.because for one in report.alternatives}
    assert told["press-in"].startswith("Wins on speed (18000 rpm, 2000 rpm more than one-piece); loses on runout (")
    assert told["nut-collets"] == "Fails: Runout above the limit (55.38 against 20 µm)."
    assert told["one-piece"].startswith("Wins on runout (95 % read below 13.0 µm, 0.6 µm less than press-in)")

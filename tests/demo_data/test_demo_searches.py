"""The searches of the demo have the intended outcome."""

from __future__ import annotations

from pathlib import Path

import pytest

from rules.assessor import Assessor
from rules.schema.parsing import parse
from rules.schema.search import SearchReport, SearchRequest
from rules.schema.strict_json import parse_json
from rules.search.search import search

SEARCHES = Path(__file__).resolve().parents[2] / "demo_data" / "searches"


@pytest.fixture(scope="module")
def reports() -> dict[str, SearchReport]:
    assessor = Assessor.load()
    return {
        file.stem: search(parse(SearchRequest, parse_json(file.read_bytes())), assessor)
        for file in sorted(SEARCHES.iterdir())
    }


def test_every_search_is_expected(reports: dict[str, SearchReport]) -> None:
    """No file without an expectation."""
    assert set(reports) == {"deep-rib", "small-mill-far-out"}


def test_the_deep_rib_is_reached_in_several_ways(reports: dict[str, SearchReport]) -> None:
    """In one piece and on an extension; all reach, and the lowest runout comes first."""
    report = reports["deep-rib"]
    assert report.complete
    assert report.items[0].components == ["KB-A63-shrink-08-200", "KB-ball-nose-08"]
    assert report.items[1].components == [
        "KB-A63-hydraulic-20-120",
        "KB-extension-20-shrink-08-130",
        "KB-ball-nose-08",
    ]
    assert {len(one.components) for one in report.items} == {2, 3}
    assert all(
        one.tip_from_gauge_line_mm is not None and 215 <= one.tip_from_gauge_line_mm <= 240 for one in report.items
    )
    pulled_out = [joint.drawn_out_mm for one in report.items for joint in one.joints if joint.drawn_out_mm]
    assert pulled_out == [13]
    assert [one.key for one in report.left_out] == ["KB-A63-shrink-08-160"]
    assert {one.code for one in report.refused_by} == {"REQ-030", "RUN-010"}


def test_the_small_mill_does_not_reach_so_far_within_the_limit(reports: dict[str, SearchReport]) -> None:
    """What reaches reads too much, and one holder is too slow."""
    report = reports["small-mill-far-out"]
    assert (report.items, report.complete) == ([], True)
    assert [[it.code for it in one.reasons] for one in report.nearest] == [["RUN-010"]] * 3
    assert [(one.key, one.code) for one in report.left_out] == [("KB-A63-side-lock-20-080", "SPD-010")]

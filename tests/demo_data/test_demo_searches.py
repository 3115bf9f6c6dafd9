"""The shop's searches get the outcome they were built for."""

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
    assert set(reports) == {"deep-pocket", "small-mill-far-out"}


def test_the_deep_pocket_is_reached_in_several_ways(reports: dict[str, SearchReport]) -> None:
    """From one piece to five; all reach, and the truest stands first."""
    report = reports["deep-pocket"]
    assert report.complete
    assert report.results[0].components == ["KB-HT63-S08-120", "KB-EM8L-4"]
    assert {len(one.components) for one in report.results} == {2, 3, 4, 5}
    assert all(one.projection_mm is not None and 160 <= one.projection_mm <= 200 for one in report.results)
    drawn = {tuple(one.components): [joint.drawn_out_mm for joint in one.joints] for one in report.results}
    assert drawn["KB-HT63-P12-130", "KB-P12-8", "KB-EM8-4"] == [4]
    assert [one.key for one in report.left_out] == ["KB-HT63-S16-120"]
    assert {one.code for one in report.refused_by} == {"REQ-030", "RUN-010"}


def test_the_small_mill_does_not_get_so_far_so_true(reports: dict[str, SearchReport]) -> None:
    """Who reaches reads too much, who reads little enough is too short, and one holder may not turn so fast."""
    report = reports["small-mill-far-out"]
    assert (report.results, report.complete) == ([], True)
    assert [[it.code for it in one.reasons] for one in report.nearest] == [["RUN-010"], ["RUN-010"], ["REQ-010"]]
    assert [(one.key, one.code) for one in report.left_out] == [("KB-HT63-L16-065", "SPD-010")]

"""The toolroom's rulebook is complete, its examples hold, and it says what the shop wants."""

from __future__ import annotations

import copy
from pathlib import Path
from typing import Any

import pytest

from rules.assessor import Assessor
from rules.bench import remarks, try_examples
from rules.rulebook.loader import base_request
from rules.schema.parsing import parse_request

_FOLDER = Path(__file__).parents[2] / "demo_data" / "rulebooks"


@pytest.fixture(scope="module")
def toolroom() -> Assessor:
    """The built-in rules with those of the toolroom."""
    return Assessor.load([_FOLDER])


def test_there_is_nothing_to_remark_on(toolroom: Assessor) -> None:
    """Every rule has reason, remedy, source, owner and examples."""
    assert remarks(toolroom.book) == []
    assert len(toolroom.book.own) == 12
    assert [one.entry.code for one in toolroom.book.adjustments] == ["KBT-010"]


def test_every_example_holds(toolroom: Assessor) -> None:
    """Each rule does on its examples what they say."""
    tried = try_examples(toolroom.book, [toolroom.book.rule(code) for code in sorted(toolroom.book.own)])
    assert len(tried) > 40
    assert [one for one in tried if not one.holds] == []


def _speaks(assessor: Assessor, request: dict[str, Any]) -> dict[str, str]:
    report = assessor.assess(parse_request(request))
    fired = {one.code: one.severity for one in report.findings if one.code.startswith("KBT")}
    return {**{one.code: "undecided" for one in report.undecided if one.code.startswith("KBT")}, **fired}


_SIDE_LOCK: dict[str, Any] = {**base_request("side_lock"), "labels": {"cell": "A", "pass": "roughing"}}
_SIDE_LOCK["stack"]["components"][1]["material"] = "high_speed_steel"
_SIDE_LOCK["machine"]["id"] = "mill 2"
_SIDE_LOCK["operations"][0]["cut"] = {"kind": "milling", "work_material": "c45"}


@pytest.mark.parametrize(
    ("mill", "cell", "speed", "said"),
    [
        ("mill 2", "A", 7000, {}),
        ("mill 2", "A", 8001, {"KBT-010": "error"}),
        ("mill 3", "A", 7000, {"KBT-010": "error"}),
        ("mill 3", "A", 6000, {}),
        ("mill 3", "B", 7000, {}),
        ("mill 3", "B", 9001, {"KBT-010": "error", "KBT-090": "error"}),
        (None, "A", 7000, {"KBT-010": "error", "KBT-090": "undecided"}),
    ],
)
def test_the_adjustment_counts_on_one_machine_in_one_cell(
    toolroom: Assessor, mill: str | None, cell: str, speed: float, said: dict[str, str]
) -> None:
    """The stricter limit holds where it cannot be told whether the adjustment counts."""
    request = copy.deepcopy(_SIDE_LOCK)
    request["machine"]["id"], request["labels"]["cell"] = mill, cell
    request["operations"][0]["spindle_speed_rpm"] = speed
    assert _speaks(toolroom, request) == said

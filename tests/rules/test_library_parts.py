"""Rules on the parts of a whole library: one number with different data, twins, values far from their class."""

from __future__ import annotations

from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest

from rules.assessor import Assessor
from rules.library import MOST_PARTS, LibraryParts, PartFinding
from rules.rulebook.loader import base_request

ASSESSOR = Assessor.load()


def _holder(number: str | None = None, **changes: Any) -> dict[str, Any]:
    holder: dict[str, Any] = deepcopy(base_request("nut_collet")["stack"]["components"][0])
    return {**holder, **({} if number is None else {"part_number": number}), **changes}


def _found(*parts: dict[str, Any], assessor: Assessor = ASSESSOR) -> list[PartFinding]:
    library = LibraryParts()
    for line, part in enumerate(parts, 1):
        library.add(f"line {line}", part)
    return list(library.findings(assessor))


def _codes(*parts: dict[str, Any]) -> list[tuple[str, str]]:
    return [(one.code, one.part) for one in _found(*parts)]


def test_the_same_part_twice_is_no_finding() -> None:
    """An id, a description and the order of fields are no data."""
    again = dict(reversed(_holder("H-1", id="other", description="the same").items()))
    assert _codes(_holder("H-1"), again) == []


def test_one_number_with_different_data_names_what_differs_and_where() -> None:
    """The second set of data is the finding; the first may be the right one."""
    (one,) = _found(_holder("H-1"), _holder("H-1", mass_kg=1.2, max_speed_rpm=18000), _holder("H-1"))
    assert (one.code, one.severity, one.places) == ("LIB-010", "warning", ("line 2",))
    assert one.message.endswith("this one differs from the first in: mass_kg, max_speed_rpm.")


def test_parts_without_a_number_may_differ() -> None:
    """Ids are names of a stack: the holder of one stack is not that of another."""
    assert _codes(_holder(mass_kg=1.2), _holder()) == []


def test_the_same_data_under_two_numbers_is_found_on_both() -> None:
    """Neither of them is more right than the other."""
    assert _codes(_holder("H-1"), _holder("H-2"), _holder("H-3", mass_kg=1.3)) == [
        ("LIB-020", "H-1"),
        ("LIB-020", "H-2"),
    ]


@pytest.mark.parametrize(
    ("masses", "outlier"),
    [
        # robust deviations by hand: the median of 1.00 ... 1.08 is 1.04, of the distances 0.02, so σ is 0.029652
        ([1.00, 1.01, 1.02, 1.03, 1.04, 1.05, 1.06, 1.07, 1.08], None),
        ([1.00, 1.01, 1.02, 1.03, 1.04, 1.05, 1.06, 1.07, 1.27], None),  # 7.76 deviations
        ([1.00, 1.01, 1.02, 1.03, 1.04, 1.05, 1.06, 1.07, 1.29], "H-8"),  # 8.43
        ([1.00, 1.01, 1.02, 1.03, 1.04, 1.05, 12.9], None),  # too few to compare
        ([1.0] * 9 + [1.1], None),  # 5 times the least spread of 2 %
        ([1.0] * 9 + [1.17], "H-9"),  # 8.5 times
    ],
)
def test_a_value_far_from_its_class(masses: list[float], outlier: str | None) -> None:
    """Distances from the median in robust standard deviations, the limit being 8."""
    parts = [_holder(f"H-{n}", mass_kg=mass, id=f"h{n}", gauge_length_mm=80 + n) for n, mass in enumerate(masses)]
    found = [one.part for one in _found(*parts) if one.code == "LIB-030"]
    assert found == ([] if outlier is None else [outlier])


def test_what_a_shop_asks_of_its_library(tmp_path: Path) -> None:
    """A rule on parts reads what they state; what is not stated is not passed over."""
    (tmp_path / "shop.yaml").write_text(
        """
book: shop
version: "1"
title: Shop
rules:
  - {code: SHOP-010, title: Speed of holders, severity: error, for: part, where: kind == "base_holder",
     require: max_speed_rpm >= 15000, message: "{part} turns {max_speed_rpm} rpm."}
""",
        encoding="utf-8",
    )
    assessor = Assessor.load([tmp_path])
    silent = _holder("H-1")
    del silent["max_speed_rpm"]
    found = _found(silent, _holder("H-2", max_speed_rpm=12000), _holder("H-3"), assessor=assessor)
    shop = {(one.part, one.decided, one.message) for one in found if one.code == "SHOP-010"}
    assert shop == {
        ("H-1", False, "Not decided: H-1 does not state max speed."),
        ("H-2", True, "H-2 turns 12000 rpm."),
    }


def test_requests_definitions_and_what_is_no_part() -> None:
    """Definitions count, references and broken entries do not."""
    library = LibraryParts()
    request = base_request("nut_collet")
    library.add_request("a", request)
    library.add_request("b", {"components": {"K": _holder("H-9")}})
    for nothing in (None, 3, [], {}, {"stack": None}, {"stack": {"components": 3}}, {"components": [1]}):
        library.add_request("c", nothing)
    for entry in (None, {"kind": "reference", "of": {"from": "request", "key": "K"}}, {"kind": "no such"}, {"id": "x"}):
        library.add("d", entry)
    assert len(library) == 4


def test_the_number_of_parts_is_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    """Parts beyond the bound are counted, known ones still recognised."""
    assert MOST_PARTS >= 10_000
    monkeypatch.setattr("rules.library.MOST_PARTS", 2)
    library = LibraryParts()
    for number in ("H-1", "H-2", "H-3", "H-1"):
        library.add("line", _holder(number))
    assert (len(library), library.left_out) == (2, 1)

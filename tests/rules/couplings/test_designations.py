"""Designations of standards and of the trade: what each means, and what is not known stays open."""

from __future__ import annotations

import re
from typing import Any

import pytest
from pydantic import TypeAdapter

from rules.couplings.designation import EndName, understood
from rules.couplings.sides import MachineSide, SpindleSide, WorkpieceSide
from rules.quantities.tables import table
from tests.support.stacks import report_of

_ENDS: dict[EndName, TypeAdapter[Any]] = {
    "machine_side": TypeAdapter(MachineSide),
    "workpiece_side": TypeAdapter(WorkpieceSide),
    "spindle": TypeAdapter(SpindleSide),
}


@pytest.mark.parametrize("row", table("designations").rows, ids=lambda row: row["example"])
def test_every_row_has_an_example_that_is_an_end(row: dict[str, Any]) -> None:
    """The example is understood at each end that the row names, by a coupling of the contract."""
    for name in row["ends"]:
        found = understood(row["example"], name)
        assert found is not None
        _ENDS[name].validate_python(dict(found.fields))


@pytest.mark.parametrize(
    ("designation", "end", "fields"),
    [
        # ISO 12164-1 names shank and size in one word; blanks and hyphens differ from print to print
        ("HSK-A63", "spindle", {"coupling": "hollow_taper", "form": "A", "size": "63"}),
        ("hsk a 63", "machine_side", {"coupling": "hollow_taper", "form": "A", "size": "63"}),
        ("DIN 69893-1 HSK-C 40", "machine_side", {"coupling": "hollow_taper", "form": "C", "size": "40"}),
        # ISO 7388-1:2007 designates "7388-1 - AD - 40"
        ("ISO 7388-1 - AD - 40", "spindle", {"coupling": "steep_taper", "form": "iso_7388_1_ad", "size": "40"}),
        ("ISO 7388-2 40 J", "machine_side", {"coupling": "steep_taper", "form": "iso_7388_2_j", "size": "40"}),
        ("SK 50", "spindle", {"coupling": "steep_taper", "size": "50"}),
        # DIN 6535: form HA, 12 mm; its table gives 45 mm
        (
            "DIN 6535 HA 12",
            "machine_side",
            {"coupling": "cylindrical", "diameter_mm": 12.0, "form": "plain", "tolerance": "h6", "length_mm": 45.0},
        ),
        ("Ø12,7 h6", "machine_side", {"coupling": "cylindrical", "diameter_mm": 12.7, "tolerance": "h6"}),
        ("20 H7", "workpiece_side", {"coupling": "cylindrical", "diameter_mm": 20.0, "tolerance": "H7"}),
        ("ISO 15488 - 32", "workpiece_side", {"coupling": "nut_collet", "size": "32"}),
        ("MT3", "spindle", {"coupling": "morse_taper", "size": "3"}),
        ("PSC 63", "machine_side", {"coupling": "polygonal_taper", "size": "63"}),
    ],
)
def test_designations_of_the_standards(designation: str, end: EndName, fields: dict[str, Any]) -> None:
    """As the standards and the trade write them."""
    found = understood(designation, end)
    assert found is not None
    assert dict(found.fields) == fields


@pytest.mark.parametrize(
    ("designation", "end"),
    [
        ("HSK-A64", "spindle"),  # no such size in ISO 12164-1
        ("DIN 6535 HA 12", "spindle"),  # a shank is no spindle
        ("12 H7", "machine_side"),  # capitals are bores (ISO 286-1)
        ("12 h6", "workpiece_side"),
        ("capsule 26", "workpiece_side"),
        ("HSK-A63 HSK-A63", "spindle"),
        ("", "spindle"),
        ("(?:", "spindle"),
    ],
)
def test_what_is_not_known_has_no_meaning(designation: str, end: EndName) -> None:
    """Nothing is guessed."""
    assert understood(designation, end) is None


def test_no_row_can_be_made_slow() -> None:
    """No pattern repeats what repeats, so a long text costs no more than its length."""
    for row in table("designations").rows:
        assert not re.search(r"[+*]\)[+*]", row["pattern"])


def _request(designation: str) -> dict[str, Any]:
    side = {"coupling": "designated", "designation": designation}
    holder = {"kind": "base_holder", "id": "holder", "machine_side": side, "gauge_length_mm": 100}
    return {
        "stack": {"components": [holder]},
        "machine": {"kind": "stated", "spindle": {"coupling": "hollow_taper", "size": "63", "form": "A"}},
    }


def test_a_designated_end_is_judged_as_the_stated_one() -> None:
    """A designation and its fields give the same findings; the report says what it was understood as."""
    stated = _request("")
    stated["stack"]["components"][0]["machine_side"] = {"coupling": "hollow_taper", "size": "50", "form": "A"}
    first, second = (report_of(one) for one in (_request("HSK-A50"), stated))
    assert first.findings
    assert first.findings == second.findings
    (told,) = first.understood
    assert told.designation == "HSK-A50"
    assert told.at == "/stack/components/0/machine_side"
    assert told.understood_as is not None


def test_an_unknown_designation_is_undecided_not_refused() -> None:
    """The text stays, and rules on that end lack it."""
    report = report_of(_request("capsule 26"))
    assert report.verdict == "review"
    assert [one.understood_as for one in report.understood] == [None]
    lacked = {pointer for one in report.undecided for gap in one.lacks for pointer in gap.at}
    assert "/stack/components/0/machine_side" in lacked

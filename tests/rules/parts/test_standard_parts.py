"""Standard parts: what the number fixes is there with its source, and nothing else."""

from __future__ import annotations

from typing import Any

import pytest

from rules.parts.standard_parts import FAMILIES, standard_part, standard_parts
from tests.support.stacks import report_of


@pytest.mark.parametrize(
    ("key", "tir_um", "at_mm"),
    [
        # ISO 15488:2003, Table 4: nominal bore over 1.6 to 3 mm at 10 mm; 10 to 18 at 40 mm; classes 1 and 2
        ("iso15488:16:3", 15.0, 10.0),
        ("iso15488:16:3:1", 10.0, 10.0),
        ("iso15488:32:12", 20.0, 40.0),
        ("iso15488:32:12:1", 15.0, 40.0),
        ("iso15488:32:20", 20.0, 50.0),
    ],
)
def test_run_out_of_collets(key: str, tir_um: float, at_mm: float) -> None:
    """By class and nominal bore."""
    part = standard_part(key)
    assert part is not None
    assert part.component.runout is not None
    (statement,) = part.component.runout.statements
    assert (statement.tir_um, statement.at_mm) == (tir_um, at_mm)
    assert part.component.runout.law == "limit"
    assert "ISO 15488:2003, Table 4" in part.stated[0].source


@pytest.mark.parametrize(
    # DIN 6535:1992: shank lengths, +2/0 mm
    ("key", "length"),
    [("din6535:HA6:57", 36.0), ("din6535:HA12:83", 45.0), ("din6535:HB20:104", 50.0), ("din6535:HE32:133", 60.0)],
)
def test_shanks(key: str, length: float) -> None:
    """The standard fixes length, tolerance and material, not the edges."""
    part = standard_part(key)
    assert part is not None
    component: Any = part.component
    assert component.machine_side.length_mm == length
    assert component.machine_side.tolerance == "h6"
    assert component.cutting_diameter_mm is None


@pytest.mark.parametrize(
    "key",
    [
        *("iso15488:32:40", "iso15488:33:12", "iso15488:32:12:3", "iso15488:32", "iso15488:32:-1", "iso15488:32:1e3"),
        *("din6535:HA7:57", "din6535:HX12:83", "din6535:HA12:0", "din2269:30:1:60", "din2269:12:9:60"),
        *("generic:holder:capsule:shrink-12:90", "generic:holder:HSK-A63:shrink-12:9000", "generic:", "", "a" * 200),
        *("generic:rod:steel:12h6:100", "ISO15488:32:12"),
    ],
)
def test_no_such_part(key: str) -> None:
    """Sizes outside a standard, unknown ends and other texts name nothing."""
    assert standard_part(key) is None


def test_every_listed_part_and_example_exists() -> None:
    """Keys are unique, and each starts with the name of its family."""
    keys = [part.key for part in standard_parts()]
    assert len(keys) == len(set(keys)) > 100
    for family in FAMILIES:
        assert all(standard_part(key) is not None and key.startswith(family.name) for key in family.examples)


def _stack(**over: Any) -> dict[str, Any]:
    collet = {"kind": "reference", "id": "c", "of": {"from": "standard", "key": "iso15488:32:12"}}
    holder = {
        "kind": "reference",
        "id": "h",
        "of": {"from": "standard", "key": "generic:holder:HSK-A63:iso15488-32:90"},
    }
    return {"stack": {"components": [holder, collet | ({"with": over} if over else {})]}}


def test_a_reference_brings_the_part_and_says_what_the_standard_states() -> None:
    """A field laid over it wins, and is then no longer a value of the standard."""
    (told,) = report_of(_stack()).stated_by_standard
    assert (told.value, told.unit, told.confidence) == (20.0, "um", "standard")
    own = {"statements": [{"tir_um": 4, "at_mm": 40}]}
    assert report_of(_stack(runout=own)).stated_by_standard == []


def test_an_unknown_key_is_a_finding() -> None:
    """As for a key that no catalogue has."""
    request = _stack()
    request["stack"]["components"][1]["of"]["key"] = "iso15488:32:400"
    assert report_of(request).verdict == "fail"


def test_nothing_of_a_request_replaces_a_standard_part() -> None:
    """A definition of the same key under ``components`` is not looked at."""
    request = _stack()
    request["components"] = {"iso15488": {"kind": "collet", "id": "x", "mass_kg": 9}}
    assert report_of(request).stated_by_standard == report_of(_stack()).stated_by_standard

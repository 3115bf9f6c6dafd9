"""A finding cites the rows of the tables that decided it, and is no surer than the least sure of them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from rules.quantities.tables import table
from rules.rulebook.loader import base_request, load_vocabulary
from rules.schema.report import Finding
from tests.support.stacks import report_of


def _finding(stack: str, code: str) -> Finding:
    (file,) = Path("demo_data/stacks").glob(f"{stack}-*.json")
    (found,) = [one for one in report_of(json.loads(file.read_bytes())).findings if one.code == code]
    return found


@pytest.mark.parametrize(
    ("stack", "code", "name", "column", "value", "confidence"),
    [
        ("09", "KNOB-020", "retention_knobs", "form", "asme_b5_50_45", "from memory"),
        ("09", "TAP-020", "steep_taper_forms", "form", "asme_b5_50", "from memory"),
        ("17", "GRIP-070", "work_materials", "work_material", "42crmo4", "common practice"),
        ("17", "MCH-070", "hollow_taper", "size", "63", "from memory"),
    ],
)
def test_the_row_is_cited(stack: str, code: str, name: str, column: str, value: str, confidence: str) -> None:
    """A knob finding rests on a table from memory, though a standard stands in the rule."""
    found = _finding(stack, code)
    rows = [row for row in table(name).rows if row[column] == value]
    assert found.confidence == confidence
    assert all(row["source"] in found.source for row in rows)


@pytest.mark.parametrize(
    ("bore", "shank", "quantity"),
    [
        ({}, "cemented_carbide", "friction"),
        ({"assembled": "heated"}, "cemented_carbide", "friction"),
        ({"assembled": "heated"}, "steel", "friction_heated"),
        ({"assembled": "heated_degreased"}, "steel", "friction_degreased"),
        ({"friction": 0.16}, "steel", None),
    ],
)
def test_the_friction_of_a_shrink_fit_is_cited(bore: dict[str, Any], shank: str, quantity: str | None) -> None:
    """The row that counted, and none beside a stated friction or a stated load."""
    request = base_request("shrink")
    holder, tool = request["stack"]["components"]
    holder["workpiece_side"] |= bore
    tool["material"] = shank
    request["operations"][0]["load"] = {"torque_n_m": 5000}
    (found,) = [one for one in report_of(request).findings if one.code == "GRIP-070"]
    cited = [row["source"] for row in table("shrink_joint").rows if row["quantity"] == quantity]
    assert found.source.endswith("".join(f": {one}" for one in cited) or "DIN 7190 for interference")


def test_a_rule_without_a_table_has_no_confidence() -> None:
    """A limit stated by the caller is no figure of a table."""
    assert _finding("12", "MCH-030").confidence is None


def test_tables_of_the_vocabulary_exist() -> None:
    """Each named table has the columns that choose its row, and the properties belong to the same subject."""
    for properties in load_vocabulary().kinds.values():
        for name, one in properties.items():
            for known, columns in (one.tables or {}).items():
                assert columns.keys() <= table(known).columns.keys(), name
                assert all(text.startswith("=") or text in properties for text in columns.values()), name

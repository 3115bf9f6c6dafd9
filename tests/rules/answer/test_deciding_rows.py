"""A finding cites the rows of the tables that decided it, and is no surer than the least sure of them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from rules.quantities.tables import table
from rules.rulebook.loader import load_vocabulary
from rules.schema.report import Finding
from tests.support.stacks import report_of


def _finding(stack: str, code: str) -> Finding:
    (file,) = Path("demo_data/stacks").glob(f"{stack}-*.json")
    (found,) = [one for one in report_of(json.loads(file.read_bytes())).findings if one.code == code]
    return found


@pytest.mark.parametrize(
    ("stack", "code", "name", "column", "value"),
    [
        ("09", "KNOB-020", "retention_knobs", "form", "asme_b5_50_45"),
        ("09", "TAP-020", "steep_taper_forms", "form", "asme_b5_50"),
    ],
)
def test_the_row_is_cited(stack: str, code: str, name: str, column: str, value: str) -> None:
    """A knob finding rests on a table from memory, though a standard stands in the rule."""
    found = _finding(stack, code)
    rows = [row for row in table(name).rows if row[column] == value]
    assert found.confidence == "from memory"
    assert all(row["source"] in found.source for row in rows)


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

"""Values for shrink joints: complete, each with name, unit and source."""

from __future__ import annotations

import pytest

from rules.grip.shrink import ShrinkJointValue, shrink_joint, shrink_joint_from
from rules.quantities import tables
from rules.quantities.tables import TableError, read_rows


@pytest.mark.parametrize(
    ("quantity", "value", "unit", "confidence"),
    [
        ("friction", 0.12, "1", "from memory"),
        ("joining_play_share", 0.001, "1", "common practice"),
        ("smoothing_factor", 0.8, "1", "from memory"),
        ("reference_temperature_c", 20.0, "°C", "standard"),
    ],
)
def test_values_as_remembered_and_practised(quantity: str, value: float, unit: str, confidence: str) -> None:
    """Literature (from memory): friction and smoothing by DIN 7190, 20 °C by ISO 1; play by common practice."""
    row = next(row for row in tables.table("shrink_joint").rows if row["quantity"] == quantity)
    assert getattr(shrink_joint(), quantity) == row["value"] == value
    assert (row["unit"], row["confidence"]) == (unit, confidence)


def test_a_missing_or_surplus_value_is_refused_by_name() -> None:
    """A value lost or invented in the table is told with the file's name, never defaulted."""
    rows = read_rows("shrink_joint", ShrinkJointValue)
    with pytest.raises(TableError, match=r"shrink_joint\.yaml.*friction"):
        shrink_joint_from(tuple(row for row in rows if row.quantity != "friction"))
    with pytest.raises(TableError, match=r"shrink_joint\.yaml.*colour"):
        shrink_joint_from((*rows, rows[0].model_copy(update={"quantity": "colour"})))

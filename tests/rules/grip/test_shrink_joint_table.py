"""Values for shrink joints: complete, each with name, unit and source."""

from __future__ import annotations

import pytest

from rules.grip.shrink import ShrinkJointValue, shrink_joint, shrink_joint_from
from rules.quantities import tables
from rules.quantities.tables import TableError, read_rows


def test_each_value_has_its_own_name_and_unit() -> None:
    """A value is read by the name of its row; friction and shares are plain numbers, the temperature is in °C."""
    rows = {row["quantity"]: row for row in tables.table("shrink_joint").rows}
    assert rows.keys() == {
        "friction",
        "friction_heated",
        "friction_degreased",
        "joining_play_share",
        "smoothing_most",
        "smoothing_least",
        "reference_temperature_c",
    }
    for quantity, row in rows.items():
        assert getattr(shrink_joint(), quantity) == row["value"]
        assert row["unit"] == ("°C" if quantity.endswith("_c") else "1")
    assert len({row["value"] for row in rows.values()}) == len(rows)


def test_a_missing_or_surplus_value_is_refused_by_name() -> None:
    """A value lost or invented in the table is told with the file's name, never defaulted."""
    rows = read_rows("shrink_joint", ShrinkJointValue)
    with pytest.raises(TableError, match=r"shrink_joint\.yaml.*friction"):
        shrink_joint_from(tuple(row for row in rows if row.quantity != "friction"))
    with pytest.raises(TableError, match=r"shrink_joint\.yaml.*colour"):
        shrink_joint_from((*rows, rows[0].model_copy(update={"quantity": "colour"})))

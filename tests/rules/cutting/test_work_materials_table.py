"""Work materials: every named group of ISO 513, plausible numbers, gaps rejected."""

from __future__ import annotations

import pytest

from rules.cutting.analysis import work_material, work_materials
from rules.quantities import tables
from rules.quantities.tables import UnknownEntryError


@pytest.mark.parametrize(
    ("group", "names"),
    [
        ("P", {"s235", "e295", "c45", "c60", "16mncr5", "42crmo4"}),
        ("M", {"x5crni18_10"}),
        ("K", {"grey_cast_iron_250"}),
        ("N", {"wrought_aluminium", "cast_aluminium"}),
        ("S", {"ti6al4v"}),
        ("H", set()),
    ],
)
def test_groups_of_iso_513(group: str, names: set[str]) -> None:
    """Literature: ISO 513: P steel, M stainless steel, K cast iron, N non-ferrous, S heat-resistant and titanium."""
    assert {name for name in work_materials() if work_material(name).iso_513_group == group} == names


@pytest.mark.parametrize("name", work_materials())
def test_numbers_are_sensible(name: str) -> None:
    """Literature (from memory): 400 to 3000 N/mm², an exponent of 0.1 to 0.3; common practice: ratio 0.3 to 0.5."""
    row = work_material(name)
    assert 400 < row.unit_force_mpa < 3000
    assert 0.1 < row.exponent < 0.3
    assert 0.3 <= row.radial_ratio <= 0.5


def test_harder_groups_press_harder() -> None:
    """Common practice: light metal is cut with less than half the force of steel, and pushes back least."""
    light = [work_material(name) for name in work_materials() if work_material(name).iso_513_group == "N"]
    others = [work_material(name) for name in work_materials() if work_material(name).iso_513_group in "PMS"]
    assert max(row.unit_force_mpa for row in light) < min(row.unit_force_mpa for row in others)
    assert max(row.radial_ratio for row in light) < min(row.radial_ratio for row in others)


def test_where_handbooks_differ_the_row_says_so() -> None:
    """The note of a row gives the range its number was taken from."""
    notes = {row["work_material"]: row["note"] for row in tables.table("work_materials").rows}
    ranged = {name for name, note in notes.items() if note is not None and note.startswith("tables: ")}
    assert ranged == {"grey_cast_iron_250", "wrought_aluminium", "cast_aluminium", "ti6al4v"}


def test_unknown_work_materials_are_refused() -> None:
    """Nothing is guessed from a neighbour."""
    with pytest.raises(UnknownEntryError, match=r"'c46'; known: s235, e295, c45"):
        work_material("c46")

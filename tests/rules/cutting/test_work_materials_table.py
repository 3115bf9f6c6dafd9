"""Work materials: every named group of ISO 513, plausible numbers, gaps rejected."""

from __future__ import annotations

import math
from typing import get_args

import pytest

from rules.cutting.analysis import work_material, work_materials
from rules.quantities import tables
from rules.quantities.tables import UnknownEntryError
from rules.schema.request import WorkMaterial


@pytest.mark.parametrize(
    ("group", "names", "numbers"),
    [
        ("P", {"s235", "e295", "c45", "c60", "16mncr5", "42crmo4"}, {1, 2, 3, 5, 6, 7, 8, 9, 10, 11, 12, 13}),
        ("M", {"x5crni18_10"}, {14}),
        ("K", {"grey_cast_iron_250"}, {15, 16, 17, 18}),
        ("N", {"wrought_aluminium", "cast_aluminium"}, {21, 22, 23, 24, 25}),
        ("S", {"ti6al4v"}, {31, 32, 33, 34, 35, 36, 37}),
        ("H", {"hrc45", "hrc48", "hrc50", "hrc52"}, {38, 39, 40, 41}),
    ],
)
def test_groups_of_iso_513(group: str, names: set[str], numbers: set[int]) -> None:
    """Literature: ISO 513: P steel, M stainless, K cast iron, N non-ferrous, S heat-resistant and titanium, H hard."""
    found = {name for name in work_materials() if work_material(name).iso_513_group == group}
    assert found == names | {f"{group.lower()}{number}" for number in numbers}
    for number in numbers:
        assert work_material(f"{group.lower()}{number}").vdi_3323_group == number


def test_contract_and_table_name_the_same_materials() -> None:
    """A request can name every row and nothing else."""
    assert get_args(WorkMaterial) == work_materials()


@pytest.mark.parametrize("name", work_materials())
def test_numbers_are_sensible(name: str) -> None:
    """Literature (from memory): 400 to 4700 N/mm², exponent 0.1 to 0.3, ratio 0.3 to 0.5, rake 2 or 6°."""
    row = work_material(name)
    assert 400 < row.unit_force_mpa <= 4700
    assert 0.1 < row.exponent < 0.3
    assert 0.3 <= row.radial_ratio <= 0.5
    assert 0.2 <= row.spread <= 0.45
    assert row.reference_rake_deg == (2 if row.iso_513_group == "K" else 6)
    stated = [row.strength_mpa, row.hardness_hb, row.hardness_hrc]
    assert sum(value is not None for value in stated) == (row.vdi_3323_group is not None or name.startswith("hrc"))


def test_harder_groups_press_harder() -> None:
    """Common practice: light metal is cut with less than half the force of hard metal, and pushes back least."""
    light = [work_material(name) for name in work_materials() if work_material(name).iso_513_group == "N"]
    others = [work_material(name) for name in work_materials() if work_material(name).iso_513_group in "PMSH"]
    assert max(row.unit_force_mpa for row in light) < min(row.unit_force_mpa for row in others)
    assert max(row.radial_ratio for row in light) < min(row.radial_ratio for row in others)


@pytest.mark.parametrize("hrc", [45, 48, 50, 52])
def test_hardened_steel_lies_between_its_neighbours(hrc: int) -> None:
    """Common practice: logarithmic from 2150 at 38 HRC, groups 9 and 11, to group 38 at 55 HRC."""
    between = math.exp(math.log(2150) + (hrc - 38) / 17 * math.log(4600 / 2150))
    assert work_material(f"hrc{hrc}").unit_force_mpa == pytest.approx(between, rel=0.06)


def test_where_handbooks_differ_the_row_says_so() -> None:
    """The note of a row gives the range its number was taken from."""
    notes = {row["work_material"]: row["note"] for row in tables.table("work_materials").rows}
    ranged = {name for name, note in notes.items() if note is not None and note.startswith("tables: ")}
    assert ranged == {"grey_cast_iron_250", "wrought_aluminium", "cast_aluminium", "ti6al4v", "s36", "s37"}


def test_unknown_work_materials_are_refused() -> None:
    """Nothing is guessed from a neighbour."""
    with pytest.raises(UnknownEntryError, match=r"'c46'; known: s235, e295, c45"):
        work_material("c46")

"""Couplings, materials and balance grades."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import get_args

import pytest

from rules.balance import analysis
from rules.couplings import hollow_taper
from rules.couplings.definition import Clocking
from rules.couplings.sides import COUPLINGS, accepts, coupling
from rules.quantities import tables
from rules.quantities.tables import UnknownEntryError
from rules.schema.components import Material
from rules.schema.request import BalanceGrade
from rules.stack import outlines
from tests.support.tapers import taper_rate

GENERAL_TABLES = {
    *("assumed_bodies", "assumed_torques", "assumed_values", "balance_grades", "bare_tapers", "designations"),
    *("gauge_pin_classes", "ground_rods", "interface_stiffness", "work_materials"),
}
HOLD_SHANKS = {"collet_bore", "cylindrical", "side_lock", "shrink_fit", "hydraulic", "milling_chuck"}


def test_every_coupling_is_known() -> None:
    """The fifteen couplings of a stack."""
    assert set(COUPLINGS) == HOLD_SHANKS | {
        "steep_taper",
        "hollow_taper",
        "polygonal_taper",
        "nut_collet",
        "press_collet",
        "shell_mill_arbor",
        "morse_taper",
        "threaded_head",
        "declared",
    }


def test_what_accepts_what() -> None:
    """Bores that grip take straight shanks, everything else takes its own kind; nothing takes a bare bore."""
    for workpiece_side in COUPLINGS:
        for machine_side in COUPLINGS:
            wanted = "cylindrical" if workpiece_side in HOLD_SHANKS else workpiece_side
            assert accepts(workpiece_side, machine_side) is (machine_side == wanted)


def test_ends_agree_with_what_is_accepted() -> None:
    """A coupling that accepts something has a workpiece side; what it accepts has a machine side."""
    for name in COUPLINGS:
        row = coupling(name)
        assert set(row.ends) <= {"machine_side", "workpiece_side"}
        assert "workpiece_side" in row.ends
        assert all("machine_side" in coupling(taken).ends for taken in row.described.accepts)
    assert {n for n in COUPLINGS if "machine_side" not in coupling(n).ends} == HOLD_SHANKS - {"cylindrical"}


@pytest.mark.parametrize(
    ("joint_class", "names"),
    [
        ("taper", {"steep_taper", "hollow_taper", "polygonal_taper", "morse_taper"}),
        ("collet_seat", {"nut_collet", "press_collet"}),
        ("grip", HOLD_SHANKS),
        ("arbor", {"shell_mill_arbor"}),
        ("threaded", {"threaded_head"}),
        ("declared", {"declared"}),
    ],
)
def test_joint_classes(joint_class: str, names: set[str]) -> None:
    """Each coupling makes one class of joint."""
    assert {name for name in COUPLINGS if coupling(name).joint_class == joint_class} == names


def test_couplings_name_tables_that_exist_and_leave_none_out() -> None:
    """Every table named exists; every table of dimensions belongs to a coupling."""
    named = {table for name in COUPLINGS for table in coupling(name).described.tables}
    assert named == set(tables.tables()) - GENERAL_TABLES


@pytest.mark.parametrize(
    ("name", "form", "expected"),
    [
        ("steep_taper", None, Clocking("indexed", 2)),
        ("steep_taper", "mas_403", Clocking("indexed", 2)),
        ("hollow_taper", "A", Clocking("indexed", 1)),
        ("hollow_taper", "F", Clocking("free", None)),
        ("hollow_taper", None, Clocking("not_stated", None)),
        ("polygonal_taper", None, Clocking("indexed", 3)),
        ("nut_collet", None, Clocking("free", None)),
        ("shrink_fit", None, Clocking("free", None)),
        ("side_lock", None, Clocking("indexed", 1)),
        ("morse_taper", "tang", Clocking("indexed", 2)),
        ("morse_taper", "drawbar_thread", Clocking("free", None)),
        ("shell_mill_arbor", "keys", Clocking("indexed", 2)),
        ("threaded_head", None, Clocking("not_stated", None)),
        ("declared", None, Clocking("not_stated", None)),
    ],
)
def test_clocking(name: str, form: str | None, expected: Clocking) -> None:
    """From memory of the drives: how a joint may be turned; not stated where the form is missing."""
    assert coupling(name).clocking(form) == expected


def test_every_hollow_taper_form_has_its_clocking() -> None:
    """Forms without keys are free, forms with keys are indexed."""
    for form in hollow_taper.forms():
        kind = "free" if hollow_taper.form(form).drive == "none" else "indexed"
        assert coupling("hollow_taper").clocking(form).kind == kind


def test_indexed_couplings_state_their_positions() -> None:
    """Positions stand exactly where a coupling is indexed."""
    for row in tables.table("coupling_clocking").rows:
        assert (row["clocking"] == "indexed") is (row["clocking_positions"] is not None)
    for one in COUPLINGS.values():
        described = one.described
        assert (described.clocking == "indexed") is (described.clocking_positions is not None)


def test_taper_rates() -> None:
    """Couplings without a rate of taper of their own have none."""
    assert taper_rate("steep_taper") == 7 / 24
    assert taper_rate("morse_taper") is None
    assert taper_rate("nut_collet") is None


def test_unknown_couplings_are_refused() -> None:
    """Unknown names on either side are errors, not 'does not fit'."""
    for call in (
        lambda: accepts("string", "cylindrical"),
        lambda: accepts("cylindrical", "string"),
        lambda: coupling("string"),
    ):
        with pytest.raises(UnknownEntryError, match="'string'; known: steep_taper"):
            call()


def test_materials_are_those_a_component_may_state() -> None:
    """The public contract's materials and the table's are the same."""
    assert set(outlines.materials()) == set(get_args(Material))


@pytest.mark.parametrize("name", outlines.materials())
def test_materials_are_physically_sensible(name: str) -> None:
    """First principles: isotropic Poisson's ratio, wave speed of a solid, yield strain below 1 %."""
    row = outlines.material(name)
    assert 0 < row.poisson_ratio < 0.5
    assert 3000 < (row.youngs_modulus_gpa * 1e9 / row.density_kg_m3) ** 0.5 < 12000
    assert 2 < row.expansion_1e6_per_k < 30
    assert row.yield_mpa is None or row.yield_mpa < 0.01 * row.youngs_modulus_gpa * 1000


@pytest.mark.parametrize(
    ("name", "density", "modulus", "tolerance"),
    [
        ("steel", 7850, 210, 0.02),
        ("high_speed_steel", 8160, 220, 0.05),
        ("cemented_carbide", 14500, 610, 0.05),
        ("tungsten_heavy_alloy", 17500, 350, 0.08),
        ("aluminium", 2700, 70, 0.03),
        ("titanium", 4430, 114, 0.03),
    ],
)
def test_materials_against_textbook_values(name: str, density: float, modulus: float, tolerance: float) -> None:
    """Literature (general engineering tables, from memory): density and Young's modulus."""
    row = outlines.material(name)
    assert row.density_kg_m3 == pytest.approx(density, rel=tolerance)
    assert row.youngs_modulus_gpa == pytest.approx(modulus, rel=tolerance)


def test_unknown_materials_and_grades_are_refused() -> None:
    """No default material, no default grade."""
    with pytest.raises(UnknownEntryError, match="steel"):
        outlines.material("wood")
    with pytest.raises(UnknownEntryError, match=r"G2\.5"):
        analysis.grade_value("G3")


def test_the_finest_grade_that_a_quality_keeps() -> None:
    """A quality at a grade's own figure keeps it, one just above keeps the next coarser, beyond all of them none."""
    grades = analysis.grades()
    for name, coarser in zip(grades, [*grades[1:], None], strict=True):
        value = analysis.grade_value(name)
        assert analysis.finest_kept(value) == name
        assert analysis.finest_kept(math.nextafter(value, math.inf)) == coarser


def test_balance_grades_rise_by_about_two_and_a_half() -> None:
    """Literature: ISO 21940-11, grades G0.4 to G4000 a factor of about 2.5 apart."""
    values = [analysis.grade_value(name) for name in analysis.grades()]
    assert (values[0], values[-1], len(values)) == (0.4, 4000, 11)
    assert all(2.45 < b / a < 2.6 for a, b in pairwise(values))


def test_grades_are_named_by_their_value_and_cover_the_public_contract() -> None:
    """'G6.3' means 6.3 mm/s; every grade a request may ask for is in the table."""
    for name in analysis.grades():
        assert analysis.grade_value(name) == float(name.removeprefix("G"))
    assert set(get_args(BalanceGrade)) <= set(analysis.grades())

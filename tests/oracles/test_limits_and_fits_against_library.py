"""Limits and fits compared with the ISO 286 library pressfit, for all sizes, letters and grades of both.

Deviations on both sides of every edge are compared beside the table, in tests/rules/tables; here follow the
inside of the ranges, any size between, the fits made of them, and fits whose numbers are ours alone.
"""

from __future__ import annotations

import itertools

import pressfit
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pressfit import tables as library

from rules.grip.formulas import clearance_um
from rules.grip.tolerances import GRADES, MAX_NOMINAL_MM, SHAFT_LETTERS, UnknownToleranceError, limits
from rules.quantities import tables
from tests.support.fits import fit_kind, limit_sizes_mm

LETTERS = sorted(set(library.SHAFT_LETTERS) & set(SHAFT_LETTERS))
ALL_GRADES = sorted(library.GRADES)


def _edges() -> list[float]:
    """Every edge of a range in either source, the library's letter-dependent ones and ours."""
    ours = {
        row["up_to_mm"]
        for table in ("iso_286", "iso_286_shafts", "iso_286_shafts_intermediate")
        for row in tables.table(table).rows
    }
    theirs = {edge for ranges in library.DEV_SUBBAND.values() for edge, _ in ranges}
    return sorted({float(edge) for edge in (*ours, *library.IT_BANDS, *theirs)})


EDGES = _edges()
INSIDE = [(low + high) / 2 for low, high in itertools.pairwise([0.0, *EDGES])]


def _agree(nominal_mm: float, hole_grade: int, letter: str, grade: int) -> None:
    theirs = pressfit.fit(f"H{hole_grade}/{letter}{grade}", nominal_mm)
    hole = limits(nominal_mm, f"H{hole_grade}", hole=True)
    shaft = limits(nominal_mm, f"{letter}{grade}", hole=False)
    told = f"{nominal_mm} {theirs.spec}"
    assert hole == (theirs.hole_ei_um, theirs.hole_es_um), told
    assert shaft == (theirs.shaft_ei_um, theirs.shaft_es_um), told
    clearance = clearance_um(hole, shaft)
    assert clearance == theirs.clearance_um, told
    assert fit_kind(*clearance) == theirs.kind, told
    assert limit_sizes_mm(nominal_mm, shaft) == pytest.approx(theirs.shaft_limits_mm, abs=0.000051), told
    assert limit_sizes_mm(nominal_mm, hole) == pytest.approx(theirs.hole_limits_mm, abs=0.000051), told


@pytest.mark.parametrize("letter", LETTERS)
@pytest.mark.parametrize("grade", ALL_GRADES)
def test_fits_inside_every_range_and_on_every_edge(letter: str, grade: int) -> None:
    """Literature (pressfit 0.1): limits, clearances and kind of H7 with every shaft, exactly."""
    for nominal in (*INSIDE, *EDGES):
        _agree(nominal, 7, letter, grade)


@given(
    st.floats(0.001, MAX_NOMINAL_MM),
    st.sampled_from(ALL_GRADES),
    st.sampled_from(LETTERS),
    st.sampled_from(ALL_GRADES),
)
def test_any_fit_of_any_size(nominal: float, hole_grade: int, letter: str, grade: int) -> None:
    """Literature (pressfit 0.1): any size up to 500 mm, holes H5 to H11, exactly."""
    _agree(nominal, hole_grade, letter, grade)


def test_what_only_one_of_the_two_knows() -> None:
    """u is the library's alone and refused here, j and r are ours alone; it knows fewer grades, as many sizes."""
    assert set(library.SHAFT_LETTERS) - set(LETTERS) == {"u"}
    assert set(SHAFT_LETTERS) - set(LETTERS) == {"j", "r"}
    assert set(ALL_GRADES) <= set(GRADES)
    assert library.MAX_SIZE == MAX_NOMINAL_MM
    with pytest.raises(UnknownToleranceError, match="'u' is not known"):
        limits(25.0, "u6", hole=False)


@pytest.mark.parametrize(
    ("nominal_mm", "shaft", "low", "high"),
    [
        (25.0, "s6", -48, -14),
        (50.0, "s6", -59, -18),
        (50.0, "k6", -18, 23),
        (50.0, "p6", -42, -1),
        (6.0, "h6", 0, 20),
        (8.0, "h6", 0, 24),
        (10.0, "h6", 0, 24),
        (12.0, "h6", 0, 29),
        (16.0, "h6", 0, 29),
        (20.0, "h6", 0, 34),
        (25.0, "h6", 0, 34),
        (32.0, "h6", 0, 41),
        (40.0, "h6", 0, 41),
        (50.0, "h6", 0, 41),
        (6.0, "p6", -20, 0),
        (10.0, "p6", -24, 0),
        (16.0, "p6", -29, 0),
    ],
)
def test_usual_fits_with_h7(nominal_mm: float, shaft: str, low: int, high: int) -> None:
    """First principles: C_min = EI − es, C_max = ES − ei, by hand from the standard's table; the library agrees.

    H7/p6 up to 18 mm only just touches at its loosest: a line fit, still counted as interference.
    """
    found = clearance_um(limits(nominal_mm, "H7", hole=True), limits(nominal_mm, shaft, hole=False))
    assert found == (low, high)
    assert pressfit.fit(f"H7/{shaft}", nominal_mm).clearance_um == (low, high)


@pytest.mark.parametrize(
    ("nominal_mm", "tolerance_class", "right", "wrong"),
    [
        (8.0, "g6", (-14, -5), (-17, -8)),
        (30.0, "H7", (0, 21), (0, 25)),
        (50.0, "H7", (0, 25), (0, 30)),
        (50.0, "p6", (26, 42), (32, 51)),
    ],
)
def test_where_printed_pages_are_wrong(
    nominal_mm: float, tolerance_class: str, right: tuple[int, int], wrong: tuple[int, int]
) -> None:
    """Literature (machine-drawing textbook): some pages take the next range at its lower edge, or g = −8 at 8 mm."""
    hole = tolerance_class[0].isupper()
    found = limits(nominal_mm, tolerance_class, hole=hole)
    assert found == right
    assert found != wrong
    theirs = pressfit.fit(tolerance_class + "/h6" if hole else f"H7/{tolerance_class}", nominal_mm)
    assert right == ((theirs.hole_ei_um, theirs.hole_es_um) if hole else (theirs.shaft_ei_um, theirs.shaft_es_um))

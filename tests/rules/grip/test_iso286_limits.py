"""Limits of size by ISO 286: ranges, letters, mirror rule, errors, and agreement with a library."""

from __future__ import annotations

import itertools
import math

import pressfit
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pressfit import tables as other

from rules.grip.tolerances import (
    GRADES,
    HOLE_LETTERS,
    MAX_NOMINAL_MM,
    SHAFT_LETTERS,
    Limits,
    SizeOutOfRangeError,
    UnknownToleranceError,
    limits,
    parse_class,
    standard_tolerance_um,
)
from rules.quantities import tables

MAIN_EDGES = [3, 6, 10, 18, 30, 50, 80, 120, 180, 250, 315, 400, 500]
ALL_EDGES = sorted({*MAIN_EDGES, 40, 65, 100, 140, 160, 200, 225, 280, 355, 450})
SIZES = sorted(
    {size for edge in ALL_EDGES for size in (edge - 0.001, float(edge), edge + 0.001) if size <= 500} | {1.0}
)
# Upper limit of the range, ei, IT.
J6 = [
    (3.0, -2, 6),
    (6.0, -2, 8),
    (10.0, -2, 9),
    (18.0, -3, 11),
    (30.0, -4, 13),
    (50.0, -5, 16),
    (80.0, -7, 19),
]
J7 = [
    (3.0, -4, 10),
    (6.0, -4, 12),
    (10.0, -5, 15),
    (18.0, -6, 18),
    (30.0, -8, 21),
    (50.0, -10, 25),
    (120.0, -15, 35),
]
BOTH_KNOW = [letter for letter in other.SHAFT_LETTERS if letter in SHAFT_LETTERS]


@pytest.mark.parametrize("grade", other.GRADES)
def test_standard_tolerances_agree_with_the_other_library(grade: int) -> None:
    """Oracle: every range and both sides of every edge, IT5 to IT11."""
    for size in SIZES:
        assert standard_tolerance_um(size, grade) == other.it_value(size, grade), size


@pytest.mark.parametrize("letter", BOTH_KNOW)
@pytest.mark.parametrize("grade", other.GRADES)
def test_shaft_limits_agree_with_the_other_library(letter: str, grade: int) -> None:
    """Oracle: shafts c to h, js, k, m, n, p, s on both sides of every edge up to 500 mm."""
    for size in SIZES:
        found = pressfit.fit(f"H7/{letter}{grade}", size)
        assert limits(size, f"{letter}{grade}", hole=False) == (found.shaft_ei_um, found.shaft_es_um), size
        assert limits(size, f"H{grade}", hole=True) == (0, other.it_value(size, grade)), size


def test_the_other_library_knows_all_letters_but_j_and_r() -> None:
    """What the oracle does not cover is j and r, checked below and among the published fits."""
    assert set(SHAFT_LETTERS) - set(BOTH_KNOW) == {"j", "r"}


@pytest.mark.parametrize(
    ("nominal_mm", "tolerance_class", "expected"),
    [
        (25.0, "j5", (-4, 5)),
        (60.0, "j7", (-12, 18)),
        (110.0, "j6", (-9, 13)),
        *((size, "j6", (lower, lower + it)) for size, lower, it in J6),
        *((size, "j7", (lower, lower + it)) for size, lower, it in J7),
        (20.0, "r6", (28, 41)),
        (40.0, "r6", (34, 50)),
        (60.0, "r6", (41, 60)),
        (75.0, "r6", (43, 62)),
        (90.0, "r6", (51, 73)),
        (110.0, "r6", (54, 76)),
    ],
)
def test_shafts_j_and_r(nominal_mm: float, tolerance_class: str, expected: tuple[int, int]) -> None:
    """Literature: DIN ISO 286-1 as the JavaScript library rf-tolerance transcribes it, r from 6 mm up."""
    assert limits(nominal_mm, tolerance_class, hole=False) == expected


def test_r_lies_between_p_and_s_in_every_range() -> None:
    """First principles: ISO 286-1 takes r as the geometric mean of p and s; the table rounds it."""
    for edge in ALL_EDGES:
        p, r, s = (limits(float(edge), f"{letter}6", hole=False).lower_um for letter in "prs")
        assert r == pytest.approx(math.sqrt(p * s), abs=1.2), edge


@pytest.mark.parametrize(
    ("grade", "units"), [(6, 10), (7, 16), (8, 25), (9, 40), (10, 64), (11, 100), (12, 160), (13, 250)]
)
def test_standard_tolerances_follow_the_tolerance_unit(grade: int, units: int) -> None:
    """First principles: IT = so many i of the range's mean; 6 % apart at most, 16 % up to 6 mm where the
    standard departs from plain rounding."""
    for row in tables.table("iso_286").rows:
        mean = math.sqrt(max(row["over_mm"], 1) * row["up_to_mm"])
        unit = 0.45 * math.cbrt(mean) + 0.001 * mean
        assert row[f"it{grade}"] == pytest.approx(units * unit, rel=0.06 if row["over_mm"] >= 6 else 0.16)


def test_standard_tolerances_grow_with_grade_and_size() -> None:
    """A coarser grade or a larger size never has the smaller tolerance."""
    table = [[standard_tolerance_um(float(edge), grade) for grade in GRADES] for edge in MAIN_EDGES]
    assert all(row == sorted(row) and len(set(row)) == len(row) for row in table)
    assert all(list(column) == sorted(column) for column in zip(*table, strict=True))


@pytest.mark.parametrize("name", ["iso_286", "iso_286_shafts", "iso_286_shafts_intermediate"])
def test_ranges_join_without_gap_from_0_to_500(name: str) -> None:
    """Every range starts where the one before ends."""
    rows = tables.table(name).rows
    assert rows[0]["over_mm"] == 0
    assert rows[-1]["up_to_mm"] == MAX_NOMINAL_MM
    assert all(a["up_to_mm"] == b["over_mm"] for a, b in itertools.pairwise(rows))


@pytest.mark.parametrize(("nominal_mm", "upper_um"), [(29.999, 21), (30.0, 21), (30.001, 25), (50.0, 25), (50.001, 30)])
def test_an_edge_belongs_to_the_range_below(nominal_mm: float, upper_um: float) -> None:
    """'Over … up to and including': 30 mm is in 18 to 30, 50 mm in 30 to 50."""
    assert limits(nominal_mm, "H7", hole=True) == (0, upper_um)


@given(
    nominal_mm=st.floats(min_value=0.001, max_value=500),
    letter=st.sampled_from([letter for letter in HOLE_LETTERS if letter != "JS"]),
    grade=st.sampled_from(GRADES),
)
@settings(deadline=None, derandomize=True)
def test_a_hole_mirrors_the_shaft_of_its_letter(nominal_mm: float, letter: str, grade: int) -> None:
    """First principles: EI = -es for C to H, and the widths are equal."""
    hole = limits(nominal_mm, f"{letter}{grade}", hole=True)
    shaft = limits(nominal_mm, f"{letter.lower()}{grade}", hole=False)
    assert hole == Limits(-shaft.upper_um, -shaft.lower_um)


@given(nominal_mm=st.floats(min_value=0.001, max_value=500), grade=st.sampled_from(GRADES))
@settings(deadline=None, derandomize=True)
def test_js_lies_evenly_about_the_nominal_size(nominal_mm: float, grade: int) -> None:
    """js and JS are ± IT/2, unrounded."""
    half = standard_tolerance_um(nominal_mm, grade) / 2
    assert limits(nominal_mm, f"js{grade}", hole=False) == (-half, half)
    assert limits(nominal_mm, f"JS{grade}", hole=True) == (-half, half)


@pytest.mark.parametrize(("grade", "lower_um"), [(3, 0), (4, 2), (7, 2), (8, 0)])
def test_k_has_its_deviation_in_grades_4_to_7_only(grade: int, lower_um: float) -> None:
    """k starts at the table's value in IT4 to IT7 and at 0 elsewhere."""
    assert limits(25.0, f"k{grade}", hole=False).lower_um == lower_um


@pytest.mark.parametrize(
    "text", ["", "h", "6", "h 6", "6h", "Hh7", "h6 ", "h06x", "q6", "u6", "K7", "P7", "h2", "h14", "h0"]
)
def test_unknown_classes_are_refused(text: str) -> None:
    """A class that is none, or whose letter or grade is not known, raises and quotes the text."""
    with pytest.raises(UnknownToleranceError, match=repr(text)):
        parse_class(text)


@pytest.mark.parametrize("text", ["j8", "j4", "j11"])
def test_j_is_known_in_grades_5_to_7(text: str) -> None:
    """Other grades of j are refused, not guessed."""
    with pytest.raises(UnknownToleranceError):
        limits(10.0, text, hole=False)


def test_the_case_must_suit_the_part() -> None:
    """'h6' for a hole or 'H7' for a shaft is a mistake, not a choice."""
    with pytest.raises(UnknownToleranceError, match="'h6' is a class for a shaft"):
        limits(10.0, "h6", hole=True)
    with pytest.raises(UnknownToleranceError, match="'H7' is a class for a hole"):
        limits(10.0, "H7", hole=False)


@pytest.mark.parametrize("nominal_mm", [0.0, -1.0, 500.001, math.inf, math.nan])
def test_sizes_outside_the_tables_are_refused(nominal_mm: float) -> None:
    """Nothing is extrapolated."""
    with pytest.raises(SizeOutOfRangeError):
        limits(nominal_mm, "h6", hole=False)
    with pytest.raises(SizeOutOfRangeError):
        standard_tolerance_um(nominal_mm, 6)


def test_grades_outside_the_table_are_refused() -> None:
    """IT3 to IT13 are known, their neighbours are not."""
    for grade in (2, 14):
        with pytest.raises(UnknownToleranceError, match=f"IT{grade} "):
            standard_tolerance_um(10.0, grade)

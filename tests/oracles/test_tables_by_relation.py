"""Numbers of the standards' tables, each calculated a second time from an independent relation.

Inch sizes from their inches, preferred numbers from ISO 3, tolerances from the rules of ISO 286-1, lengths that two
standards share from the other one. Where no relation is known, the row of the standard is repeated here with its
source; "from memory" means not read from the standard. ``FIGURES`` is the number of checked figures per table; a new
table needs an entry.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import pytest

from rules.quantities.tables import table, table_names

IN = 25.4
R10 = [16, 20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315]
"""ISO 3:1973, series R10."""
R5 = [6, 10, 16, 25, 40, 63, 100, 160, 250, 400, 630]
"""ISO 3:1973, series R5, 6.3 rounded to 6 as ISO 1947 has it."""

HOLLOW = [25, 32, 40, 50, 63, 80, 100, 125, 160]
MORSE_IN = [0.3561, 0.475, 0.7, 0.938, 1.231, 1.748, 2.494]
MORSE_IN_PER_FOOT = [0.62460, 0.59858, 0.59941, 0.60235, 0.62326, 0.63151, 0.62565]
STEEP_IN = [1.25, 1.5, 1.75, 2.25, 2.75, 3.5, 4.25]
MAIN_RANGES = [0, 3, 6, 10, 18, 30, 50, 80, 120, 180, 250, 315, 400, 500]
PARTED = [30, 40, 50, 65, 80, 100, 120, 140, 160, 180, 200, 225, 250, 280, 315, 355, 400, 450, 500]
HARDMETAL = [2, 3, 4, 5, 6, 8, 10, 12, 14, 16, 18, 20, 25, 32]
STEEL = [3, 4, 5, 6, 8, 10, 12, 16, 20, 25, 32, 40, 50, 63]


def _shank(diameter: float) -> int:
    """Length by diameter; up to 32 mm DIN 6535 (February 1992), above it DIN 1835-1 and ISO 3338-1, from memory."""
    steps = [(5, 28), (8, 36), (10, 40), (14, 45), (18, 48), (20, 50), (25, 56), (32, 60), (40, 70), (50, 80), (63, 90)]
    return next(length for up_to, length in steps if diameter <= up_to)


Columns = Mapping[str, list[Any]]

# table, and those of its rows that are meant -> column -> the figures of these rows in order
EXPECTED: list[tuple[str, Mapping[str, Any], Columns]] = [
    # the shank is half as long as the flange is wide; ISO 12164-1, diameters from memory
    (
        "hollow_taper",
        {},
        {
            "flange_diameter_mm": HOLLOW,
            "shank_length_mm": [math.floor(size / 2 + 0.5) for size in HOLLOW],
            "gauge_diameter_mm": [19.006, 24.007, 30.007, 38.009, 48.010, 60.012, 75.013, 95.016, 120.016],
        },
    ),
    # Machinery's Handbook 27th ed., p. 1313, in inches
    ("steep_taper", {}, {"gauge_diameter_mm": [round(size * IN, 4) for size in STEEP_IN]}),
    (
        "steep_taper_shanks",
        {"family": "asme_b5_50"},
        {
            "taper_length_mm": [round(one * IN, 4) for one in (1.875, 2.687, 3.25, 4.0, 6.375)],
            "flange_diameter_mm": [round(one * IN, 4) for one in (1.812, 2.5, 3.25, 3.875, 5.5)],
            "flange_underside_mm": [0.75 * IN] * 5,
            "slot_width_mm": [round(one * IN, 4) for one in (0.645, 0.645, 0.77, 1.02, 1.02)],
        },
    ),
    # the cones of ISO 297 are those of MAS 403-1982
    (
        "steep_taper_shanks",
        {"family": "iso_297"},
        {
            "taper_length_mm": [48.4, 65.4, 82.8, 101.8],
            "slot_width_mm": [16.1, 16.1, 19.3, 25.7],
            "flange_diameter_mm": [50, 63, 80, 97.5],
        },
    ),
    # ISO 7388-1 form A, formerly DIN 69871-1, from memory
    (
        "steep_taper_shanks",
        {"family": "iso_7388_1_a"},
        {
            "taper_length_mm": [47.8, 68.4, 82.7, 101.75, 161.9],
            "flange_diameter_mm": [50, 63.55, 82.55, 97.5, 155],
            "flange_underside_mm": [19.1] * 5,
        },
    ),
    # MAS 403-1982: flange and gap; the small end is the gauge diameter less 7/24 of the length, rounded in print
    (
        "steep_taper_shanks",
        {"family": "mas_403"},
        {
            "taper_length_mm": [48.4, 56.4, 65.4, 82.8, 101.8, 126.8, 161.8],
            "small_end_mm": [17.633, 21.65, 25.375, 33.0, 40.158, 51.917, 60.758],
            "flange_diameter_mm": [46, 53, 63, 85, 100, 120, 155],
            "flange_underside_mm": [20 + 2, 22 + 2, 25 + 2, 30 + 3, 35 + 3, 40 + 3, 45 + 3],
            "slot_width_mm": [16.1, 16.1, 16.1, 19.3, 25.7, 25.7, 25.7],
        },
    ),
    # inch sizes and tapers a foot as in engineering handbooks, from memory
    (
        "morse_taper",
        {},
        {
            "gauge_diameter_mm": [round(one * IN, 3) for one in MORSE_IN],
            "taper": [round(one / 12, 5) for one in MORSE_IN_PER_FOOT],
        },
    ),
    # one series of preferred numbers, a grade two steps from the next; ISO 1947 (withdrawn), from memory
    (
        "taper_angle_tolerance",
        {},
        {
            "over_mm": R5[:-1],
            "up_to_mm": R5[1:],
            "at3_urad": R10[9::-1],
            "at4_urad": R10[11:1:-1],
            "at5_urad": R10[13:3:-1],
        },
    ),
    # ISO 26623-1, from memory
    (
        "polygonal_taper",
        {},
        {
            "flange_diameter_mm": [32, 40, 50, 63, 80, 100],
            "mean_diameter_mm": [22, 28, 35, 44, 55, 72],
            "eccentricity_mm": [0.7, 0.9, 1.12, 1.4, 1.75, 2.2],
            "clamping_force_kn": [15, 20, 25, 30, 40, 60],
        },
    ),
    # ISO 6462, from memory; keys go in steps of 2 mm
    (
        "shell_mill_arbor",
        {},
        {
            "pilot_diameter_mm": [16, 22, 27, 32, 40, 50, 60],
            "pilot_length_mm": [17, 19, 21, 24, 27, 30, 40],
            "key_width_mm": [8 + 2 * step for step in range(7)],
            "screw_thread": ["M8", "M10", "M12", "M16", "M20", "M24", "M30"],
        },
    ),
    # ISO 15488:2003, from memory; 8 and 50 common practice
    (
        "nut_collet",
        {},
        {
            "big_end_mm": [8.5, 11.5, 17, 21, 26, 33, 41, 52],
            "length_mm": [13.5, 18, 27.5, 31.5, 34, 40, 46, 60],
            "capacity_min_mm": [0.5, 0.5, 0.5, 1, 1, 2, 3, 6],
            "capacity_max_mm": [5, 7, 10, 13, 16, 20, 26, 34],
            "nut_thread": [
                f"M{one}" for one in ["10×0.75", "14×0.75", "22×1.5", "25×1.5", "32×1.5", "40×1.5", "50×1.5", "64×2"]
            ],
        },
    ),
    # ISO 15488:2003, Table 4
    (
        "nut_collet_runout",
        {},
        {
            "over_mm": [1, 1.6, 3, 6, 10, 18, 26],
            "up_to_mm": [1.6, 3, 6, 10, 18, 26, 34],
            "gauge_length_mm": [6, 10, 16, 25, 40, 50, 60],
            "class_1_um": [10, 10, 10, 10, 15, 15, None],
            "class_2_um": [15, 15, 15, 15, 20, 20, None],
        },
    ),
    # 0.5 mm up to 3 mm and 1 mm above, as in print; the smallest and the largest size common practice
    ("nut_collet_collapse", {}, {"over_mm": [0, 3, 0, 0], "collapse_mm": [0.5, 1, 0.5, 2]}),
    (
        "straight_shank",
        {"standard_name": "din_6535"},
        {"diameter_mm": HARDMETAL, "shank_length_mm": [_shank(one) for one in HARDMETAL], "length_plus_mm": [2] * 14},
    ),
    ("straight_shank", {"standard_name": "din_1835"}, {"diameter_mm": STEEL, "shank_length_mm": [*map(_shank, STEEL)]}),
    ("straight_shank", {"standard_name": "iso_3338"}, {"diameter_mm": STEEL, "shank_length_mm": [*map(_shank, STEEL)]}),
    # DIN 6535 (February 1992), 20 to 32 mm; below from memory
    (
        "straight_shank_flats",
        {},
        {
            "diameter_mm": [6, 8, 10, 12, 14, 16, 18, 20, 25, 32],
            "flats": [1] * 8 + [2] * 2,
            "flat_width_mm": [4.2, 5.5, 7, 8, None, 10, None, 11, 12, 14],
            "height_mm": [5.1, 6.9, 8.5, 10.4, None, 14.2, None, 18.2, 23, 30],
            "flat_position_mm": [None] * 7 + [25, 32, 36],
            "flat_spacing_mm": [None] * 8 + [17, 19],
        },
    ),
    # ISO 286-1:2010, 4.1: the main ranges
    ("iso_286", {}, {"over_mm": MAIN_RANGES[:-1], "up_to_mm": MAIN_RANGES[1:]}),
    # ISO 286-1:2010: main ranges; j from memory of the standard's Table 5
    (
        "iso_286_shafts",
        {},
        {
            "over_mm": MAIN_RANGES[:-1],
            "up_to_mm": MAIN_RANGES[1:],
            "h": [0] * 13,
            "j5_j6": [-2, -2, -2, -3, -4, -5, -7, -9, -11, -13, -16, -18, -20],
            "j7": [-4, -4, -5, -6, -8, -10, -12, -15, -18, -21, -26, -28, -32],
        },
    ),
    # ISO 286-1:2010, intermediate ranges; r from memory of its Table 5
    (
        "iso_286_shafts_intermediate",
        {},
        {
            "over_mm": [0, 3, 6, 10, 18, *PARTED[:-1]],
            "up_to_mm": [3, 6, 10, 18, *PARTED],
            "r": [10, 15, 19, 23, 28, 34, 34, 41, 43, 51, 54, 63, 65, 68, 77, 80, 84, 94, 98, 108, 114, 126, 132],
        },
    ),
    # ISO 21940-11:2016, Table 1: the grade is named by e·ω in mm/s
    ("balance_grades", {}, {"value_mm_per_s": [0.4, 1, 2.5, 6.3, 16, 40, 100, 250, 630, 1600, 4000]}),
    # round values of engineering tables, from memory
    (
        "materials",
        {},
        {
            "density_kg_m3": [7850, 7800, 7900, 8160, 14500, 17500, 2700, 4430, 3900, 6800],
            "youngs_modulus_gpa": [210, 210, 200, 220, 600, 350, 70, 114, 380, 430],
            "poisson_ratio": [0.3, 0.3, 0.3, 0.29, 0.22, 0.28, 0.33, 0.34, 0.23, 0.23],
            "expansion_1e6_per_k": [11.5, 11.5, 16, 11.5, 5.5, 5.3, 23.5, 8.6, 8, 8],
            "yield_mpa": [None, 1200, 190, None, None, 600, 250, 830, None, None],
        },
    ),
    # German handbooks of machining, upper values, from memory
    (
        "work_materials",
        {},
        {
            "unit_force_mpa": [1780, 1990, 2220, 2130, 2100, 2500, 2350, 1160, 830, 780, 1400],
            "exponent": [0.17, 0.26, 0.14, 0.18, 0.26, 0.26, 0.21, 0.26, 0.23, 0.27, 0.24],
            "radial_ratio": [0.4, 0.4, 0.4, 0.4, 0.4, 0.4, 0.5, 0.4, 0.3, 0.3, 0.5],
        },
    ),
    # DIN 7190, from memory; the play common practice; the temperature ISO 1
    ("shrink_joint", {}, {"value": [0.12, 0.001, 0.8, 20]}),
    # 15° from the square is 75° from the axis; the two MAS heads are named by their angle
    ("retention_knobs", {}, {"head_angle_deg": [15, 15, None, None, None, None, 15, 15, 45, 60, 15, 45]}),
    # forms B, D and F have the flange of one size more on the same cone
    ("hollow_taper_forms", {}, {"form": list("ABCDEFT"), "cone_sizes_down": [0, 1, 0, 1, 0, 1, 0]}),
    # one way with keys of unequal depth, two ways with a tang or two keys, any without
    ("coupling_clocking", {}, {"clocking_positions": [1, 1, 1, 1, None, None, 1, 2, None, 2, 1]}),
]

FIGURES = {
    "balance_grades": 11,
    "coupling_clocking": 11,
    "hollow_taper": 27,
    "hollow_taper_forms": 14,
    "iso_286": 26,
    "iso_286_shafts": 65,
    "iso_286_shafts_intermediate": 69,
    "materials": 50,
    "morse_taper": 14,
    "nut_collet": 40,
    "nut_collet_collapse": 8,
    "nut_collet_runout": 35,
    "polygonal_taper": 24,
    "retention_knobs": 12,
    "shell_mill_arbor": 28,
    "shrink_joint": 4,
    "steep_taper": 7,
    "steep_taper_shanks": 82,
    "straight_shank": 98,
    "straight_shank_flats": 60,
    "taper_angle_tolerance": 50,
    "work_materials": 33,
}

ELSEWHERE = {
    "couplings": "words, and the tapers of the couplings, which tests/published/test_tapers_published.py holds",
    "steep_taper_forms": "words only",
    "straight_shank_forms": "words only",
    "body_materials": "words only",
    "iso_13399": "words only",
    "cautions": "words only",
    "assembly": "words only",
    "gate_requirements": "words only",
}


def test_each_table_states_how_many_of_its_figures_are_held() -> None:
    """A table is here, with its count, or said to be held elsewhere."""
    counted: dict[str, int] = {}
    for name, _, columns in EXPECTED:
        counted[name] = counted.get(name, 0) + sum(map(len, columns.values()))
    assert counted == FIGURES
    assert set(table_names()) - set(FIGURES) <= set(ELSEWHERE)


@pytest.mark.parametrize(
    ("name", "meant", "columns"), EXPECTED, ids=["-".join((one[0], *one[1].values())) for one in EXPECTED]
)
def test_figures_of_a_table(name: str, meant: Mapping[str, Any], columns: Columns) -> None:
    """Column by column, all rows."""
    rows = [row for row in table(name).rows if all(row[key] == value for key, value in meant.items())]
    for column, figures in columns.items():
        assert len(rows) == len(figures)
        for row, figure in zip(rows, figures, strict=True):
            exact = pytest.approx(figure, abs=1e-9, rel=0) if isinstance(figure, int | float) else figure
            assert row[column] == exact, (column, row)


# ISO 286-1:2010, Annex B: grades from 6 on follow R5 of the unit i, so five grades on is ten times as much
def test_grades_twelve_and_thirteen_are_ten_times_seven_and_eight() -> None:
    """All ranges; IT11 is ten times IT6 but from 3 to 6 mm, where 80 became 75."""
    for row in table("iso_286").rows:
        assert row["it12"] == 10 * row["it7"]
        assert row["it13"] == 10 * row["it8"]
        assert row["it11"] == (75 if row["up_to_mm"] == 6 else 10 * row["it6"])


def test_grades_three_to_five_are_a_geometric_series() -> None:
    """ISO 286-1, Annex B: IT2 to IT4 are parted evenly by ratio between IT1 and IT5, then rounded."""
    for row in table("iso_286").rows:
        assert row["it4"] == pytest.approx(math.sqrt(row["it3"] * row["it5"]), abs=0.65)


def test_small_ends_of_steep_tapers_follow_from_seven_in_24() -> None:
    """Gauge diameter less 7/24 of the length; the print rounds to a micrometre."""
    for row, inches in zip(
        [row for row in table("steep_taper_shanks").rows if row["family"] == "mas_403"], STEEP_IN, strict=True
    ):
        assert row["small_end_mm"] == pytest.approx(inches * IN - row["taper_length_mm"] * 7 / 24, abs=6e-4)


# ISO 286-1:2010, Annex B, deviations in µm of the geometric mean of a range in mm, before rounding
RULES = {
    "d": (16, 0.44),
    "e": (11, 0.41),
    "f": (5.5, 0.41),
    "g": (2.5, 0.34),
    "n": (-5, 0.34),
    "k": (-0.6, 1 / 3),
}


@pytest.mark.parametrize("letter", RULES)
def test_shaft_deviations_follow_the_rules_of_the_standard(letter: str) -> None:
    """Within what rounding leaves; the first range departs from the rules."""
    factor, power = RULES[letter]
    for row in table("iso_286_shafts").rows[1:]:
        mean = math.sqrt(max(row["over_mm"], 1) * row["up_to_mm"])
        rule = -factor * mean**power
        assert row[letter] == pytest.approx(rule, abs=1.05 + 0.03 * abs(rule)), (letter, row["up_to_mm"])


def test_shaft_m_is_what_two_holes_leave() -> None:
    """ISO 286-1, Annex B: m is IT7 less IT6, but for the first range."""
    grades = {row["up_to_mm"]: row for row in table("iso_286").rows}
    for row in table("iso_286_shafts").rows[1:]:
        assert row["m"] == grades[row["up_to_mm"]]["it7"] - grades[row["up_to_mm"]]["it6"]

"""Figures of the tables checked from outside: by a rule of a standard, by another standard, by a print.

``HELD`` states for each table how many changed figures these checks notice. A test measures it: each figure is changed
in its last digit, then in its first, and every check runs again. A figure without a source outside stays unchecked,
because a second copy typed from the table would prove nothing.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from fractions import Fraction
from functools import cache
from itertools import pairwise
from typing import Any, Final, NamedTuple, TypeAlias

import pressfit.tables as library
import pytest

from rules.quantities.tables import table, table_names
from tests.support import printed_tables as printed

INCH: Final = 25.4

Rows: TypeAlias = Sequence[Mapping[str, Any]]
Tables: TypeAlias = Mapping[str, Rows]
Relation: TypeAlias = Callable[[Tables], None]

RELATIONS: Final[list[tuple[frozenset[str], Relation]]] = []


def about(*names: str) -> Callable[[Relation], Relation]:
    """Note a relation with the tables that it reads."""

    def note(relation: Relation) -> Relation:
        RELATIONS.append((frozenset(names), relation))
        return relation

    return note


def _column(rows: Rows, name: str) -> list[Any]:
    return [row[name] for row in rows]


def _by(rows: Rows, key: str) -> dict[Any, Mapping[str, Any]]:
    return {row[key]: row for row in rows}


def _family(tables: Tables, name: str) -> dict[str, Mapping[str, Any]]:
    return _by([row for row in tables["steep_taper_shanks"] if row["family"] == name], "size")


def _exactly(value: float) -> Any:
    return pytest.approx(value, rel=0, abs=1e-9)


# ISO 3:1973: preferred numbers are powers of the tenth, twentieth ... root of ten, rounded


def _preferred(series: int, first: int, count: int, step: int = 1) -> list[float]:
    """Exact members of a series of preferred numbers, from 10^(first/series) on."""
    return [10 ** ((first + step * number) / series) for number in range(count)]


@about("balance_grades")
def balance_grades_are_every_second_number_of_r5(tables: Tables) -> None:
    """ISO 21940-11:2016, 6.3: a grade is named by e·ω in mm/s; grades lie a factor 2.5 apart, as every second of R5."""
    values = _column(tables["balance_grades"], "value_mm_per_s")
    assert values == [float(row["grade"].removeprefix("G")) for row in tables["balance_grades"]]
    assert values == pytest.approx(_preferred(5, -2, len(values), step=2), rel=0.02)


@about("taper_angle_tolerance")
def angle_tolerances_are_preferred_numbers(tables: Tables) -> None:
    """ISO 1947: lengths go in R5, angles in R10, a grade is two numbers from the next; R10 has 1.25, 3.15 and 6.3."""
    rows = tables["taper_angle_tolerance"]
    r10 = [1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0]
    for grade, first in ((3, 21), (4, 23), (5, 25)):
        steps = [first - number for number in range(len(rows))]
        assert _column(rows, f"at{grade}_urad") == pytest.approx([r10[one % 10] * 10 ** (one // 10) for one in steps])
    bounds = [rows[0]["over_mm"], *_column(rows, "up_to_mm")]
    assert bounds == [6, *(r10[one % 10] * 10 ** (one // 10) for one in range(10, 29, 2))]
    assert all(above["over_mm"] == below["up_to_mm"] for below, above in pairwise(rows))


@about("taper_angle_tolerance")
def at4_over_a_printed_cone_is_the_printed_tolerance(tables: Tables) -> None:
    """MAS 403-1982 prints AT4 as a diameter for seven lengths."""
    for length, tolerance_mm in printed.AT4.items():
        (row,) = (row for row in tables["taper_angle_tolerance"] if row["over_mm"] < length <= row["up_to_mm"])
        assert round(row["at4_urad"] * length / 1e6, 4) == tolerance_mm


@about("hollow_taper")
def hollow_tapers_are_built_on_preferred_numbers(tables: Tables) -> None:
    """ISO 3: flanges from 25 mm are R10, shanks half as long; cones from 19 mm every fourth of R40, and a few µm."""
    rows = tables["hollow_taper"]
    flanges, shanks = _column(rows, "flange_diameter_mm"), _column(rows, "shank_length_mm")
    assert flanges == [float(row["size"]) for row in rows]
    assert flanges == pytest.approx(_preferred(10, 14, len(rows)), rel=0.02)
    assert all(abs(shank - flange / 2) <= 0.5 for shank, flange in zip(shanks, flanges, strict=True))
    assert _column(rows, "gauge_diameter_mm") == pytest.approx(_preferred(40, 51, len(rows), step=4), rel=0.02)


@about("steep_taper", "steep_taper_shanks")
def steep_tapers_are_whole_inches_and_quarters(tables: Tables) -> None:
    """MAS 403-1982 and ASME B5.50-1985: the gauge diameters, in millimetres and in inches."""
    rows = _by(tables["steep_taper"], "size")
    for size, gauge, *_ in printed.MAS_403:
        assert rows[size]["gauge_diameter_mm"] == _exactly(gauge)
    for size, inches, *_ in printed.ASME_B5_50:
        assert rows[size]["gauge_diameter_mm"] == _exactly(inches * INCH)


@about("steep_taper", "steep_taper_shanks")
def small_ends_follow_from_seven_in_24(tables: Tables) -> None:
    """ISO 7388-1 and MAS 403: d = D − 7/24·L; the print rounds to a micrometre."""
    gauges = _by(tables["steep_taper"], "size")
    for size, row in _family(tables, "mas_403").items():
        small = gauges[size]["gauge_diameter_mm"] - row["taper_length_mm"] * 7 / 24
        assert row["small_end_mm"] == pytest.approx(small, abs=6e-4)


@about("steep_taper_shanks")
def shanks_of_mas_403_as_printed(tables: Tables) -> None:
    """MAS 403-1982, table of tool shanks; that thickness and gap add up to the flange's underside is from memory."""
    rows = _family(tables, "mas_403")
    for size, _, length, thread, thickness, gap, flange, slot, _, small in printed.MAS_403:
        row = rows[size]
        assert (row["taper_length_mm"], row["small_end_mm"], row["knob_thread"]) == (length, small, thread)
        assert (row["flange_diameter_mm"], row["slot_width_mm"]) == (flange, slot)
        assert row["flange_underside_mm"] == thickness + gap


@about("steep_taper_shanks")
def inch_shanks_as_printed(tables: Tables) -> None:
    """ASME B5.50-1985 in Machinery's Handbook, 27th ed., p. 1313, times 25.4."""
    rows = _family(tables, "asme_b5_50")
    for size, _, length, thread, flange, slot in printed.ASME_B5_50:
        row = rows[size]
        assert row["taper_length_mm"] == _exactly(length * INCH)
        assert row["flange_diameter_mm"] == _exactly(flange * INCH)
        assert row["flange_underside_mm"] == _exactly(0.750 * INCH)
        assert (row["slot_width_mm"], row["knob_thread"]) == (_exactly(slot * INCH), thread)


@about("steep_taper_shanks")
def cones_of_iso_297_are_those_of_mas_403(tables: Tables) -> None:
    """Length, slot and thread by size; MAS 403-1982 as printed. The flanges are R10, but 97.5 mm."""
    others = {row[0]: row for row in printed.MAS_403}
    for size, row in _family(tables, "iso_297").items():
        _, _, length, thread, _, _, _, slot, _, _ = others[size]
        assert (row["taper_length_mm"], row["slot_width_mm"], row["knob_thread"]) == (length, slot, thread)


@about("steep_taper_shanks")
def form_a_has_the_inch_flange_and_the_metric_thread(tables: Tables) -> None:
    """Common practice: ISO 7388-1 form A grew out of the inch shank; all but the largest flange are within 4 mm."""
    inch, metric = ({row[0]: row for row in rows} for rows in (printed.ASME_B5_50, printed.MAS_403))
    for size, row in _family(tables, "iso_7388_1_a").items():
        assert row["knob_thread"] == metric[size][3]
        assert row["taper_length_mm"] == pytest.approx(inch[size][2] * INCH, abs=0.2)
        assert row["flange_underside_mm"] == pytest.approx(0.750 * INCH, abs=0.051)
        if size != "60":
            assert row["flange_diameter_mm"] == pytest.approx(inch[size][4] * INCH, abs=4.0)


@about("morse_taper")
def morse_tapers_from_three_inch_dimensions(tables: Tables) -> None:
    """ASME B5.10: C = (A − D)/P, and the gauge diameter is A; inches turned into millimetres."""
    rows = _by(tables["morse_taper"], "size")
    for size, large, small, depth in printed.MORSE:
        assert rows[size]["gauge_diameter_mm"] == pytest.approx(large * INCH, abs=5.1e-4)
        assert rows[size]["taper"] == pytest.approx((large - small) / depth, abs=6e-6)


@about("morse_taper")
def morse_tapers_as_one_in(tables: Tables) -> None:
    """DIN 807 (November 1966): 1:19.212 and so on."""
    for row in tables["morse_taper"]:
        assert row["taper"] == pytest.approx(1 / printed.MORSE_ONE_IN[row["size"]], abs=6e-6)


@about("polygonal_taper")
def polygonal_tapers_as_printed(tables: Tables) -> None:
    """ISO 26623-1:2020: sizes are flanges and R10; threads and forces on a public page; 44 and 1.4 mm on a drawing."""
    rows = tables["polygonal_taper"]
    assert _column(rows, "flange_diameter_mm") == [float(row["size"]) for row in rows]
    assert _column(rows, "flange_diameter_mm") == pytest.approx(_preferred(10, 15, len(rows)), rel=0.02)
    for row in rows:
        assert (row["knob_thread"], row["clamping_force_kn"]) == printed.POLYGONAL[row["size"]]
    one = _by(rows, "size")["63"]
    assert (one["mean_diameter_mm"], one["eccentricity_mm"]) == (44, 1.4)


@about("shell_mill_arbor")
def arbor_screws_are_first_choice_threads(tables: Tables) -> None:
    """ISO 261, first choice from 8 mm up: 8, 10, 12, 16, 20, 24, 30; a screw fits through its pilot."""
    rows = tables["shell_mill_arbor"]
    assert _column(rows, "screw_thread") == [f"M{size}" for size in (8, 10, 12, 16, 20, 24, 30)]
    for row in rows:
        assert float(row["screw_thread"][1:]) <= row["pilot_diameter_mm"] / 2


@about("nut_collet")
def nut_threads_as_printed(tables: Tables) -> None:
    """ISO 15488:2003, Table 2; sizes 8 and 50 are not in the standard."""
    rows = _by(tables["nut_collet"], "size")
    for size, thread in printed.NUT_THREADS.items():
        assert rows[size]["nut_thread"] == thread


@about("nut_collet")
def a_nut_goes_over_its_collet(tables: Tables) -> None:
    """First principles: bore < collet < thread. ISO 15488:2003, Table 4, ends at 26 mm, the largest bore of size 40."""
    for row in tables["nut_collet"]:
        thread = float(re.findall(r"M([\d.]+)", row["nut_thread"])[0])
        assert 0 < row["capacity_min_mm"] < row["capacity_max_mm"] < row["big_end_mm"] < thread
        assert row["big_end_mm"] == pytest.approx(float(row["size"]), abs=2.0)
    assert _by(tables["nut_collet"], "size")["40"]["capacity_max_mm"] == printed.NUT_COLLET_RUNOUT[-1][1]


@about("nut_collet_torque")
def torques_of_nuts_were_foot_pounds(tables: Tables) -> None:
    """Exact: 1 ft·lb is 1.3558 N·m; the shop's table has multiples of five, of two for the smallest nut."""
    rows = tables["nut_collet_torque"]
    for row in rows:
        step = 2 if row["size"] == "8" else 5
        whole = {round(1.3558179 * number) for number in range(step, 200, step)}
        assert {row["at_least_n_m"], row["at_most_n_m"]} <= whole
        assert row["at_least_n_m"] < row["at_most_n_m"]
        assert row["small_shank_share"] == 0.6
    assert _column(rows, "size") == _column(tables["nut_collet"], "size")
    for name in ("at_least_n_m", "at_most_n_m"):
        assert _column(rows, name) == sorted(_column(rows, name))


@about("nut_collet_runout")
def runout_of_collets_as_printed(tables: Tables) -> None:
    """ISO 15488:2003, Table 4, all six rows; the table here has a seventh, beyond the standard, without limits."""
    names = ("over_mm", "up_to_mm", "gauge_length_mm", "class_1_um", "class_2_um")
    rows = [tuple(row[name] for name in names) for row in tables["nut_collet_runout"]]
    assert rows[:-1] == printed.NUT_COLLET_RUNOUT
    assert rows[-1][0] == rows[-2][1]


@about("nut_collet_collapse")
def collets_close_as_printed(tables: Tables) -> None:
    """A public page on ISO 15488 collets: 2 mm closes to 1.5 mm, 6 mm to 5 mm; 0.5 mm up to 3 mm, 1 mm above."""
    usual = [row for row in tables["nut_collet_collapse"] if "16" in row["sizes"]]
    assert [(row["over_mm"], row["up_to_mm"], row["collapse_mm"]) for row in usual] == [(0, 3, 0.5), (3, None, 1)]


@about("straight_shank")
def shank_lengths_are_those_of_din_6535(tables: Tables) -> None:
    """DIN 6535 (February 1992); JIS B 4005:1998 rests on ISO 3338, whose lengths up to 32 mm are the same."""
    rows = tables["straight_shank"]
    hardmetal = {row["diameter_mm"]: row for row in rows if row["standard_name"] == "din_6535"}
    assert {size: row["shank_length_mm"] for size, row in hardmetal.items()} == printed.DIN_6535_LENGTHS
    assert {row["length_plus_mm"] for row in hardmetal.values()} == {2}
    for name in ("din_1835", "iso_3338"):
        others = {row["diameter_mm"]: row["shank_length_mm"] for row in rows if row["standard_name"] == name}
        shared = printed.DIN_6535_LENGTHS.keys() - {2, 14, 18}
        assert {size: length for size, length in others.items() if size <= 32} == {
            size: printed.DIN_6535_LENGTHS[size] for size in shared
        }


@about("straight_shank_flats")
def flats_as_printed(tables: Tables) -> None:
    """DIN 6535 (February 1992), form HB, 6 to 10 and 20 to 32 mm; one flat up to 20 mm, two above."""
    rows = _by(tables["straight_shank_flats"], "diameter_mm")
    for diameter, *figures in printed.DIN_6535_FLATS:
        names = ("flats", "flat_width_mm", "height_mm", "flat_position_mm", "flat_spacing_mm")
        assert [rows[diameter][name] for name in names] == figures
    assert rows.keys() == printed.DIN_6535_LENGTHS.keys() - {2, 3, 4, 5}
    assert all(row["flats"] == (1 if diameter <= 20 else 2) for diameter, row in rows.items())


# ISO 286


@about("iso_286")
@about("iso_286_shafts")
def main_ranges_and_no_gap(tables: Tables) -> None:
    """The main ranges of the library pressfit 0.1."""
    for name in tables.keys() & {"iso_286", "iso_286_shafts"}:
        assert _column(tables[name], "up_to_mm") == library.IT_BANDS
        assert _column(tables[name], "over_mm") == [0, *library.IT_BANDS[:-1]]


@about("iso_286")
def standard_tolerances_of_another_library(tables: Tables) -> None:
    """IT5 to IT11 of the library pressfit 0.1."""
    for grade, values in library.IT.items():
        assert _column(tables["iso_286"], f"it{grade}") == values


@about("iso_286")
def coarse_grades_are_ten_times_finer_ones(tables: Tables) -> None:
    """ISO 286-1:2010, Annex B: from IT6 on, five grades make a factor of ten."""
    assert _column(tables["iso_286"], "it12") == [10 * value for value in library.IT[7]]
    assert _column(tables["iso_286"], "it13") == [10 * value for value in library.IT[8]]


@about("iso_286")
def fine_grades_as_printed(tables: Tables) -> None:
    """ISO 286-1, Table 1, on a public page that ends at 315 mm."""
    for grade, values in printed.IT_LOW.items():
        assert _column(tables["iso_286"], f"it{grade}")[: len(values)] == values


@about("iso_286")
def fine_grades_are_a_geometric_series(tables: Tables) -> None:
    """ISO 286-1, Annex B: IT2 to IT4 lie evenly by ratio between IT1 = 0.8 + 0.02·D and IT5; then rounded."""
    for row in tables["iso_286"]:
        lowest = 0.8 + 0.02 * math.sqrt(max(row["over_mm"], 1) * row["up_to_mm"])
        ratio = (row["it5"] / lowest) ** 0.25
        assert row["it3"] == pytest.approx(lowest * ratio**2, rel=0.08, abs=1.0)
        assert row["it4"] == pytest.approx(lowest * ratio**3, rel=0.08, abs=1.0)


@about("iso_286_shafts")
def main_shafts_of_another_library(tables: Tables) -> None:
    """d to h and k to p of the library pressfit 0.1."""
    for letter, values in library.DEV_MAIN.items():
        assert _column(tables["iso_286_shafts"], letter) == values


@about("iso_286_shafts")
def shafts_j_of_a_third_library(tables: Tables) -> None:
    """DIN ISO 286-1 as rf-tolerance transcribes it."""
    for column, values in printed.SHAFTS_J.items():
        assert _column(tables["iso_286_shafts"], column) == values


@about("iso_286_shafts_intermediate")
def shafts_c_and_s_of_another_library(tables: Tables) -> None:
    """Ranges and deviations of the library pressfit 0.1; it joins the two ranges from 30 to 50 mm for s."""
    rows = tables["iso_286_shafts_intermediate"]
    assert [(row["up_to_mm"], row["c"]) for row in rows] == library.DEV_SUBBAND["c"]
    assert _column(rows, "over_mm") == [0, *_column(rows, "up_to_mm")[:-1]]
    assert _column(rows, "s") == [library.shaft_deviation(up_to, "s", 6) for up_to in _column(rows, "up_to_mm")]


@about("iso_286_shafts_intermediate")
def shafts_r_of_a_third_library(tables: Tables) -> None:
    """DIN ISO 286-1 as rf-tolerance transcribes it, from 6 mm up; below, r is the geometric mean of p and s."""
    rows = tables["iso_286_shafts_intermediate"]
    assert {row["up_to_mm"]: row["r"] for row in rows if row["over_mm"] >= 6} == printed.SHAFT_R
    for row in rows[:2]:
        mean = math.sqrt(library.shaft_deviation(row["up_to_mm"], "p", 6) * row["s"])
        assert row["r"] == pytest.approx(mean, abs=1.0)


RULES: Final = {
    "d": (16, 0.44),
    "e": (11, 0.41),
    "f": (5.5, 0.41),
    "g": (2.5, 0.34),
    "n": (-5, 0.34),
    "k": (-0.6, 1 / 3),
}
"""ISO 286-1:2010, Annex B: deviation in µm as −a·D^b of the geometric mean D of a range in mm, before rounding."""


@about("iso_286_shafts")
def shafts_follow_the_rules_of_the_standard(tables: Tables) -> None:
    """ISO 286-1:2010, Annex B, within what rounding leaves, and m is IT7 less IT6; the first range departs."""
    for row, it6, it7 in [*zip(tables["iso_286_shafts"], library.IT[6], library.IT[7], strict=True)][1:]:
        for letter, (factor, power) in RULES.items():
            rule = -factor * math.sqrt(row["over_mm"] * row["up_to_mm"]) ** power
            assert row[letter] == pytest.approx(rule, abs=1.05 + 0.03 * abs(rule)), (letter, row["up_to_mm"])
        assert row["m"] == it7 - it6


# Materials

MIXED: Final = {
    "cemented_carbide": [(0.90, 15630), (0.10, 8900)],
    "tungsten_heavy_alloy": [(0.92, 19250), (0.08, 8400)],
}
"""Shares by mass and densities of tungsten carbide and cobalt, and of tungsten and nickel with iron; kg/m³."""

ELASTIC: Final = {
    "steel": (212, 0.293),
    "stainless_steel": (215, 0.283),
    "aluminium": (70.3, 0.345),
    "titanium": (120, 0.361),
    "ceramic": (400, 0.22),
}
"""Dowling, Mechanical Behavior of Materials, Table 5.2: Young's modulus in GPa, Poisson's ratio."""

MECHANICAL: Final = {
    "steel": (7850, 12, None),
    "stainless_steel": (7860, 17, 207),
    "aluminium": (2710, 24, 255),
    "titanium": (4430, 9.4, 924),
}
"""Hibbeler, Mechanics of Materials, table of average mechanical properties, for A36, 304, 6061-T6 and Ti-6Al-4V:
density in kg/m³, thermal expansion in 1e-6/K, yield in MPa."""


@about("materials")
def densities_of_mixtures(tables: Tables) -> None:
    """First principles: masses and volumes of the parts add up."""
    rows = _by(tables["materials"], "material")
    for name, parts in MIXED.items():
        assert rows[name]["density_kg_m3"] == pytest.approx(1 / sum(share / one for share, one in parts), rel=0.01)


@about("materials")
def elastic_constants_of_a_textbook(tables: Tables) -> None:
    """Dowling, Table 5.2; textbooks differ by some per cent."""
    rows = _by(tables["materials"], "material")
    for name, (modulus, ratio) in ELASTIC.items():
        assert rows[name]["youngs_modulus_gpa"] == pytest.approx(modulus, rel=0.075)
        assert rows[name]["poisson_ratio"] == pytest.approx(ratio, abs=0.025)


@about("materials")
def properties_of_a_textbook(tables: Tables) -> None:
    """Hibbeler, average mechanical properties; textbooks differ by some per cent."""
    rows = _by(tables["materials"], "material")
    for name, (density, expansion, strength) in MECHANICAL.items():
        assert rows[name]["density_kg_m3"] == pytest.approx(density, rel=0.006)
        assert rows[name]["expansion_1e6_per_k"] == pytest.approx(expansion, rel=0.09)
        if strength is not None:
            assert rows[name]["yield_mpa"] == pytest.approx(strength, rel=0.11)


@about("work_materials")
def cutting_forces_as_printed(tables: Tables) -> None:
    """Table of a public manual on clamping forces: k_c over feed with the edge at 45°, so h = f·sin 45°."""
    rows = _by(tables["work_materials"], "work_material")
    for name, forces in printed.UNIT_FORCES.items():
        row = rows[name]
        for feed, force in zip((0.16, 0.25, 0.4, 0.63, 1.0, 1.6), forces, strict=True):
            chip = feed * math.sin(math.radians(45))
            assert row["unit_force_mpa"] * chip ** -row["exponent"] == pytest.approx(force, rel=0.035)


@about("work_materials")
def cutting_forces_of_the_groups(tables: Tables) -> None:
    """Shop tables by group of VDI 3323; named steels are those of their group; hard steels lie between two groups."""
    rows = _by(tables["work_materials"], "work_material")
    groups = {
        row["vdi_3323_group"]: row
        for name, row in rows.items()
        if row["title"] and name[1:].isdigit() and len(name) < 4
    }
    for number, (force, exponent) in printed.UNIT_FORCES_OF_GROUPS.items():
        assert (groups[number]["unit_force_mpa"], groups[number]["exponent"]) == (force, exponent)
    for name, number in (("16mncr5", 6), ("42crmo4", 9)):
        for column in ("vdi_3323_group", "unit_force_mpa", "exponent", "strength_mpa", "tapping_force_mpa"):
            assert rows[name][column] == groups[number][column]
    for name in ("hrc45", "hrc48", "hrc50", "hrc52"):
        between = 2150 * (4600 / 2150) ** ((rows[name]["hardness_hrc"] - 38) / 17)
        assert rows[name]["unit_force_mpa"] == pytest.approx(between, rel=0.06)


@about("shrink_joint")
def sizes_are_stated_at_20_degrees(tables: Tables) -> None:
    """ISO 1:2016."""
    assert _by(tables["shrink_joint"], "quantity")["reference_temperature_c"]["value"] == 20


@about("retention_knobs")
def heads_are_named_by_their_angle(tables: Tables) -> None:
    """The common name states the angle of four knobs."""
    for row in tables["retention_knobs"]:
        named = re.findall(r"(\d+)° head", row["title"])
        assert not named or row["head_angle_deg"] == float(named[0])


# Assumed values: mechanics, other tables, and the order that a cautious value must have


@about("assumed_torques", "straight_shank")
def shrink_torques_follow_from_the_thick_cylinder(tables: Tables) -> None:
    """Lamé with Coulomb friction: carbide shank (600 GPa, 0.22), steel hub of 1.7 diameters, 0.8 of interference."""
    lengths = {
        row["diameter_mm"]: row["shank_length_mm"]
        for row in tables["straight_shank"]
        if row["standard_name"] == "din_6535"
    }
    hub = ((1.7**2 + 1) / (1.7**2 - 1) + 0.3) / 210e3
    for row in tables["assumed_torques"]:
        if row["seat"] != "shrink_fit":
            continue
        d = row["diameter_mm"]
        for name, interference in (("typical_n_m", 1.0 * d + 3.0), ("cautious_n_m", 0.6 * d + 2.0)):
            pressure = 0.8e-3 * interference / (d * (hub + (1 - 0.22) / 600e3))
            assert row[name] == pytest.approx(0.12 * pressure * math.pi * d**2 * lengths[d] / 2e3, rel=0.04)


@about("assumed_torques")
def a_larger_clamp_holds_more_and_the_cautious_value_less(tables: Tables) -> None:
    """Common practice: capacity grows at least with the diameter."""
    for seat in {row["seat"] for row in tables["assumed_torques"]}:
        rows = [row for row in tables["assumed_torques"] if row["seat"] == seat]
        assert all(0.4 < row["cautious_n_m"] / row["typical_n_m"] < 0.8 for row in rows)
        for one, other in pairwise(rows):
            for name in ("typical_n_m", "cautious_n_m"):
                assert other[name] / one[name] > other["diameter_mm"] / one["diameter_mm"]


@about("bare_tapers", "steep_taper", "steep_taper_shanks")
def bare_steep_tapers_weigh_what_they_displace(tables: Tables) -> None:
    """First principles: frustum of taper 7/24 less the bore of the knob over 0.55 of it, flange, 7.85 g/cm³."""
    gauge = {row["size"]: row["gauge_diameter_mm"] for row in tables["steep_taper"]}
    for row in tables["bare_tapers"]:
        if row["coupling"] != "steep_taper":
            continue
        shank = _family(tables, row["family"] or "iso_7388_1_a")[row["size"]]
        assert row["cone_mm"] == pytest.approx(shank["taper_length_mm"], abs=0.051)
        assert row["flange_mm"] == shank["flange_underside_mm"]
        assert row["flange_diameter_mm"] == shank["flange_diameter_mm"]
        large, length = gauge[row["size"]], row["cone_mm"]
        small = large - length * 7 / 24
        bore = float(shank["knob_thread"].removeprefix("M"))
        cone = math.pi / 12 * length * (large**2 + large * small + small**2) - math.pi / 4 * bore**2 * 0.55 * length
        flange = math.pi / 4 * row["flange_diameter_mm"] ** 2 * row["flange_mm"] * 0.88
        assert row["mass_kg"] == pytest.approx((cone + flange) * 7.85e-6, rel=0.10)


@about("bare_tapers")
def bare_hollow_tapers_have_the_flange_of_their_size(tables: Tables) -> None:
    """ISO 12164-1 and ISO 26623-1: the size is the diameter of the flange; a hollow shank is half as long."""
    for row in tables["bare_tapers"]:
        if row["coupling"] != "steep_taper":
            assert row["flange_diameter_mm"] == float(row["size"])
            share = 0.5 if row["coupling"] == "hollow_taper" else 0.45
            assert row["cone_mm"] == pytest.approx(share * float(row["size"]), abs=0.051)
            flange = math.pi / 4 * row["flange_diameter_mm"] ** 2 * row["flange_mm"] * 7.85e-6
            assert 0.8 < row["mass_kg"] / flange < 1.6


@about("assumed_values")
def cautious_values_are_on_the_cautious_side(tables: Tables) -> None:
    """More runout, unbalance and mass; less speed, strength, grip and body."""
    more = {"holder_runout_um", "cutter_runout_um", "unbalance_g_mm_per_kg", "mass_factor"}
    for row in tables["assumed_values"]:
        assert (row["cautious"] > row["typical"]) == (row["quantity"] in more)
        if row["quantity"] == "max_speed_rpm":
            assert row["cautious"] == pytest.approx(0.7 * row["typical"], abs=1)
        if row["quantity"] == "cutter_runout_um":
            assert row["typical"] == pytest.approx(row["cautious"] / 2, abs=2.1)


@about("assumed_values")
def larger_tapers_run_slower(tables: Tables) -> None:
    """First principles: the rim speed limits, so the permitted speed falls with the size."""
    rows = [row for row in tables["assumed_values"] if row["quantity"] == "max_speed_rpm" and " " in row["category"]]
    for kind in {row["category"].rstrip("0123456789") for row in rows}:
        speeds = [row["typical"] for row in rows if row["category"].rstrip("0123456789") == kind]
        assert speeds == sorted(speeds, reverse=True)


@about("assumed_bodies")
def bodies_grow_with_what_they_hold(tables: Tables) -> None:
    """A body is wider than its bore or collet, and wider the more it holds."""
    for seat in {row["seat"] for row in tables["assumed_bodies"]}:
        rows = [row for row in tables["assumed_bodies"] if row["seat"] == seat]
        outers = _column(rows, "outer_mm")
        assert outers == sorted(set(outers))
        assert all(1.2 < row["outer_mm"] / float(row["size"]) < 4.5 for row in rows)


@about("gauge_pin_classes")
def pin_classes_double(tables: Tables) -> None:
    """DIN 2269:1998, class 0 ± 0.5 µm; each next class permits twice as much (from memory)."""
    assert _column(tables["gauge_pin_classes"], "deviation_um") == [0.5, 1, 2]
    roundness = _column(tables["gauge_pin_classes"], "roundness_um")
    assert all(one < row["deviation_um"] for one, row in zip(roundness, tables["gauge_pin_classes"], strict=True))


@about("ground_rods")
def longer_and_thinner_rods_are_less_straight(tables: Tables) -> None:
    """First principles: a rod bends more the longer and the thinner it is; the ranges leave no gap."""
    rows = tables["ground_rods"]
    for row in rows:
        assert row["over_mm"] < row["up_to_mm"] <= 30
        assert row["length_over_mm"] < row["length_up_to_mm"] < 150
    for one, other in pairwise(rows):
        if one["over_mm"] == other["over_mm"]:
            assert one["length_up_to_mm"] == other["length_over_mm"]
            assert one["concentricity_um"] <= other["concentricity_um"]
        else:
            assert one["up_to_mm"] == other["over_mm"]
    for longest in {row["length_up_to_mm"] for row in rows}:
        values = [row["concentricity_um"] for row in rows if row["length_up_to_mm"] == longest]
        assert values == sorted(values, reverse=True)


# fmt: off
_METRIC_STRESS_AREAS = {
    3: 5.03, 4: 8.78, 5: 14.2, 6: 20.1, 8: 36.6, 10: 58.0, 12: 84.3, 14: 115, 16: 157, 18: 192, 20: 245, 22: 303,
    24: 353, 27: 459, 30: 561, 33: 694, 36: 817, 39: 976,
}
"""By diameter of the coarse thread, mm²; ISO 898-1:2013, Table 4 (from memory)."""

_COARSE_STRESS_AREAS = {
    0.073: 0.00263, 0.086: 0.00370, 0.099: 0.00487, 0.112: 0.00604, 0.125: 0.00796, 0.138: 0.00909, 0.164: 0.0140,
    0.19: 0.0175, 0.216: 0.0242, 0.25: 0.0318, 0.3125: 0.0524, 0.375: 0.0775, 0.4375: 0.1063, 0.5: 0.1419,
    0.5625: 0.182, 0.625: 0.226, 0.75: 0.334, 0.875: 0.462, 1: 0.606,
}
_FINE_STRESS_AREAS = {
    0.06: 0.00180, 0.086: 0.00394, 0.099: 0.00523, 0.112: 0.00661, 0.125: 0.00830, 0.138: 0.01015, 0.164: 0.01474,
    0.19: 0.0200, 0.216: 0.0258, 0.25: 0.0364, 0.3125: 0.0580, 0.375: 0.0878, 0.4375: 0.1187, 0.5: 0.1599,
    0.5625: 0.203, 0.625: 0.256, 0.75: 0.373, 0.875: 0.509,
}
"""By diameter in in, in²; ASME B1.1-2003, Tables of UNC and UNF (from memory)."""
# fmt: on


@about("metric_threads")
def metric_threads_have_their_stress_areas(tables: Tables) -> None:
    """A_s = π/4 (d - 0.9382 P)²; pitches grow with the diameter, and the fine ones are finer."""
    rows = tables["metric_threads"]
    assert _column(rows, "diameter_mm") == sorted(set(_column(rows, "diameter_mm")))
    coarse = [row for row in rows if row["coarse_mm"] is not None]
    assert _column(coarse, "coarse_mm") == sorted(_column(coarse, "coarse_mm"))
    for row in coarse:
        assert all(0.0 < fine < row["coarse_mm"] < row["diameter_mm"] / 3 for fine in row["fine"])
        area = math.pi / 4 * (row["diameter_mm"] - 0.9382 * row["coarse_mm"]) ** 2
        assert area == pytest.approx(_METRIC_STRESS_AREAS.get(row["diameter_mm"], area), rel=5e-3)
    assert {row["diameter_mm"] for row in coarse} >= set(_METRIC_STRESS_AREAS)


@about("unified_threads")
def unified_threads_have_their_stress_areas(tables: Tables) -> None:
    """A_t = 0.7854 (D - 0.9743/n)²; numbered sizes are 0.060 in and 0.013 in for each number."""
    rows = {row["diameter_in"]: row for row in tables["unified_threads"]}
    assert list(rows) == sorted(rows)
    for inches, row in rows.items():
        numbered = inches < 0.25
        size = [Fraction(part) for part in row["size"].split()]
        assert inches == pytest.approx(0.060 + 0.013 * float(size[0]) if numbered else float(sum(size)), abs=1e-9)
        if row["coarse_per_in"] is not None and row["fine_per_in"] is not None:
            assert row["coarse_per_in"] < row["fine_per_in"]
    for column, areas in (("coarse_per_in", _COARSE_STRESS_AREAS), ("fine_per_in", _FINE_STRESS_AREAS)):
        for inches, area in areas.items():
            found = 0.7854 * (inches - 0.9743 / rows[inches][column]) ** 2
            assert found == pytest.approx(area, rel=5e-3), inches


# What a changed figure would meet


class Held(NamedTuple):
    """Figures of a table, and how many changes of a last digit and of a first digit are noticed."""

    figures: int
    last_digit: int
    first_digit: int


HELD: Final = {
    "assumed_bodies": Held(33, 0, 17),
    "assumed_torques": Held(81, 10, 63),
    "assumed_values": Held(98, 6, 62),
    "bare_tapers": Held(84, 49, 71),
    "gauge_pin_classes": Held(6, 4, 4),
    "ground_rods": Held(75, 46, 54),
    "balance_grades": Held(11, 11, 11),
    "coupling_clocking": Held(12, 0, 0),
    "hollow_taper": Held(34, 18, 27),
    "hollow_taper_forms": Held(13, 0, 0),
    "interface_stiffness": Held(24, 0, 0),
    "iso_286": Held(169, 165, 169),
    "iso_286_shafts": Held(169, 169, 169),
    "iso_286_shafts_intermediate": Held(115, 114, 115),
    "materials": Held(45, 2, 21),
    "metric_threads": Held(73, 48, 70),
    "morse_taper": Held(14, 14, 14),
    "nut_collet": Held(40, 8, 17),
    "nut_collet_collapse": Held(9, 5, 5),
    "nut_collet_runout": Held(33, 31, 31),
    "nut_collet_torque": Held(24, 24, 24),
    "polygonal_taper": Held(30, 20, 20),
    "retention_knobs": Held(8, 4, 4),
    "shell_mill_arbor": Held(28, 7, 7),
    "shrink_joint": Held(7, 1, 1),
    "steep_taper": Held(7, 7, 7),
    "steep_taper_shanks": Held(103, 96, 98),
    "straight_shank": Held(98, 86, 86),
    "straight_shank_flats": Held(52, 40, 40),
    "taper_angle_tolerance": Held(50, 50, 50),
    "unified_threads": Held(83, 65, 67),
    "work_materials": Held(335, 113, 125),
}
"""Tables with figures; every other table holds words alone."""


def _digits(figure: float | str) -> list[int]:
    return [place for place, sign in enumerate(str(figure)) if sign.isdigit()]


def _changed(figure: float | str, place: int) -> Any:
    """The figure with one digit more at a place of its text, 9 becoming 8."""
    text = str(figure)
    digit = 8 if text[place] == "9" else int(text[place]) + 1
    return type(figure)(f"{text[:place]}{digit}{text[place + 1 :]}")


def test_a_figure_is_changed_by_one_digit() -> None:
    """In its last digit, in its first, and in the text of a thread."""
    assert [_changed(19.006, place) for place in (0, 5)] == [29.006, 19.007]
    assert [_changed(-1.9, place) for place in _digits(-1.9)] == [-2.9, -1.8]
    assert _changed("M19×0.75", 2) == "M18×0.75"


@cache
def _all_rows() -> Tables:
    return {name: [dict(row) for row in table(name).rows] for name in table_names()}


def _figures(name: str) -> Iterator[tuple[int, str, float | str]]:
    """Numbers and threads of a table, by row and column."""
    for number, row in enumerate(_all_rows()[name]):
        for column in table(name).columns:
            cell = row[column]
            is_number = isinstance(cell, int | float) and not isinstance(cell, bool)
            if is_number or (isinstance(cell, str) and column.endswith("thread")):
                yield number, column, cell


def _noticed(name: str, row: int, column: str, figure: Any) -> bool:
    """Does a relation fail when this one figure is another?"""
    rows = [*_all_rows()[name]]
    rows[row] = {**rows[row], column: figure}
    tables = {**_all_rows(), name: rows}
    for names, relation in RELATIONS:
        if name in names:
            try:
                relation(tables)
            except (AssertionError, ArithmeticError, LookupError, ValueError):
                return True
    return False


@pytest.mark.parametrize("relation", [relation for _, relation in RELATIONS], ids=lambda one: one.__name__)
def test_relation(relation: Relation) -> None:
    """The tables as they are keep it."""
    relation(_all_rows())


@pytest.mark.parametrize("name", table_names())
def test_each_table_states_how_much_of_it_is_held(name: str) -> None:
    """Counted by changing every figure of the table; a table of words has no figures."""
    figures = [*_figures(name)]
    found = [
        (_noticed(name, row, column, _changed(cell, _digits(cell)[-1])), _noticed(name, row, column, _first(cell)))
        for row, column, cell in figures
    ]
    last, first = (sum(column) for column in zip(*found, strict=True)) if found else (0, 0)
    assert Held(len(figures), last, first) == HELD.get(name, Held(0, 0, 0))


def _first(figure: float | str) -> Any:
    """The figure with its first digit that is not 0 changed."""
    places = _digits(figure)
    return _changed(figure, next((place for place in places if str(figure)[place] != "0"), places[-1]))

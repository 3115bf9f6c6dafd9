"""Steep, hollow, polygonal and Morse tapers, knobs and arbors: look-ups, gaps and interchangeability."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise, product
from types import ModuleType

import pytest

from rules.couplings import hollow_taper, morse_taper, polygonal_taper, shell_mill_arbor, steep_taper
from rules.quantities.tables import UnknownEntryError
from tests.support import retention_knobs, taper_angle_tolerance

STEEP_FORMS = [
    "iso_7388_1_a",
    "iso_7388_1_ad",
    "iso_7388_1_af",
    "iso_7388_1_u",
    "iso_7388_1_ud",
    "iso_7388_1_uf",
    "iso_7388_2_j",
    "iso_7388_2_jd",
    "iso_7388_2_jf",
    "mas_403",
    "asme_b5_50",
    "iso_297",
]


def test_every_steep_taper_form_is_known() -> None:
    """The forms are those of the open standards."""
    assert sorted(steep_taper.forms()) == sorted(STEEP_FORMS)
    assert steep_taper.sizes() == ("30", "35", "40", "45", "50", "55", "60")


@pytest.mark.parametrize(
    ("one", "other", "expected"),
    [
        ("iso_7388_1_a", "iso_7388_1_af", "fits"),
        ("iso_7388_2_jd", "iso_7388_2_jf", "fits"),
        ("mas_403", "iso_7388_2_j", "fits"),
        ("iso_7388_1_u", "iso_7388_1_uf", "fits"),
        ("iso_7388_1_ud", "asme_b5_50", "not_settled"),
        ("iso_7388_1_ad", "mas_403", "differs"),
        ("iso_7388_1_ad", "asme_b5_50", "differs"),
        ("mas_403", "asme_b5_50", "differs"),
        ("iso_297", "iso_7388_1_a", "differs"),
    ],
)
def test_what_interchanges_among_steep_tapers(one: str, other: str, expected: str) -> None:
    """Coolant path alone keeps nothing apart; flange and drive do; what is not known is not called a fit."""
    assert steep_taper.interchange(one, other) == expected


@pytest.mark.parametrize("module", [steep_taper, hollow_taper])
def test_interchange_is_symmetric_and_a_form_fits_itself(module: ModuleType) -> None:
    """The order of the two forms does not matter, and unsettled groups are groups that exist."""
    forms = module.forms()
    groups = {module.form(name).interchange_group for name in forms}
    for one, other in product(forms, repeat=2):
        found = module.interchange(one, other)
        assert found == module.interchange(other, one)
        assert one != other or found == "fits"
    for name in forms:
        row = module.form(name)
        assert set(row.not_settled_with) <= groups - {row.interchange_group}


def test_forms_of_one_steep_group_share_everything_but_the_coolant() -> None:
    """One interchange group, one flange, one drive, one set of dimensions."""
    for one, other in product(STEEP_FORMS, repeat=2):
        a, b = steep_taper.form(one), steep_taper.form(other)
        if a.interchange_group == b.interchange_group:
            assert (a.dimensions, a.flange, a.drive_keys, a.gripper_groove) == (
                b.dimensions,
                b.flange,
                b.drive_keys,
                b.gripper_groove,
            )


def test_what_is_not_stated_is_none_and_what_is_unknown_is_an_error() -> None:
    """A gap in a table gives None, an unknown form or size an error that lists the known ones."""
    assert steep_taper.knob_thread("iso_7388_1_u", "40") is None
    assert steep_taper.taper_length("iso_7388_1_a", "35") is None
    for call in (
        lambda: steep_taper.gauge_diameter("41"),
        lambda: steep_taper.knob_thread("mas_403", "41"),
    ):
        with pytest.raises(UnknownEntryError, match="'41'; known: 30, 35"):
            call()
    with pytest.raises(UnknownEntryError, match="'unheard_of'"):
        steep_taper.taper_length("unheard_of", "40")


def test_lengths_and_diameters_of_steep_tapers_grow_with_the_size() -> None:
    """A larger number is a larger cone in every family, and no cone ends in a point."""
    for name in STEEP_FORMS:
        known = [shank for size in steep_taper.sizes() if (shank := steep_taper.shank(name, size))]
        for small, large in pairwise(known):
            assert small.taper_length_mm < large.taper_length_mm
            assert steep_taper.gauge_diameter(small.size) < steep_taper.gauge_diameter(large.size)
        for shank in known:
            assert steep_taper.gauge_diameter(shank.size) - shank.taper_length_mm * 7 / 24 > 0


def test_every_knob_suits_a_group_and_shares_its_thread() -> None:
    """A knob's thread is its shank's thread at every size; its groups exist."""
    groups = {steep_taper.form(name).interchange_group for name in STEEP_FORMS}
    for name in steep_taper.knobs():
        knob = steep_taper.knob(name)
        assert knob.fits_groups
        assert set(knob.fits_groups) <= groups
        assert (knob.head_angle_deg is None) is (knob.head_angle_from is None)
        for form, size in product(STEEP_FORMS, steep_taper.sizes()):
            if retention_knobs.made_for(name, form):
                assert retention_knobs.thread(name, size) == steep_taper.knob_thread(form, size)


@pytest.mark.parametrize(
    ("name", "to_axis"),
    [
        ("iso_7388_3_ad", 75),
        ("din_69872_a", 75),
        ("jis_b_6339", 75),
        ("mas_403_45", 45),
        ("mas_403_60", 60),
        ("asme_b5_50_45", 45),
        ("iso_7388_3_jd", None),
    ],
)
def test_head_angles_are_brought_to_the_axis(name: str, to_axis: float | None) -> None:
    """From memory: angles counted from a plane square to the axis are turned into angles to the axis."""
    assert retention_knobs.head_angle_to_axis(name) == to_axis


def test_unknown_knobs_are_refused() -> None:
    """A knob form nobody described is an error, not a fit."""
    with pytest.raises(UnknownEntryError, match="mas_403_45"):
        steep_taper.knob("mas_403_i")
    assert retention_knobs.thread("iso_7388_3_ud", "40") is None


def test_hollow_taper_forms_b_d_and_f_carry_the_next_smaller_cone() -> None:
    """From memory of DIN 69893: the flange is one size larger for the same cone."""
    for smaller, larger in pairwise(hollow_taper.sizes()):
        for form in "BDF":
            assert hollow_taper.gauge_diameter(larger, form) == hollow_taper.gauge_diameter(smaller, "A")
            assert hollow_taper.shank_length(larger, form) == hollow_taper.shank_length(smaller, "A")
        for form in "ACET":
            assert hollow_taper.gauge_diameter(larger, form) == hollow_taper.gauge_diameter(larger)
    assert hollow_taper.gauge_diameter("25", "B") is None
    assert hollow_taper.shank_length("25", "F") is None
    assert [hollow_taper.size_row(size).flange_diameter_mm for size in hollow_taper.sizes()] == [
        float(size) for size in hollow_taper.sizes()
    ]


@pytest.mark.parametrize(
    ("one", "other", "expected"),
    [
        ("A", "C", "fits"),
        ("A", "T", "fits"),
        ("B", "D", "fits"),
        ("A", "E", "not_settled"),
        ("A", "B", "differs"),
        ("E", "F", "differs"),
        ("C", "D", "differs"),
    ],
)
def test_what_interchanges_among_hollow_tapers(one: str, other: str, expected: str) -> None:
    """From memory of ISO 12164: same cone and drive fit, without keys left open, another cone differs."""
    assert hollow_taper.interchange(one, other) == expected


def test_hollow_taper_drive_and_change_by_form() -> None:
    """Literature: ISO 12164-1:2023 scope: A grooved for automatic change, C manual; keys from memory."""
    assert [form for form in hollow_taper.forms() if not hollow_taper.form(form).automatic_change] == [
        *("C", "D", "CB", "CS"),
    ]
    assert [form for form in hollow_taper.forms() if hollow_taper.form(form).drive == "none"] == ["E", "F", "EB", "ES"]


@pytest.mark.parametrize(
    "call",
    [
        lambda: hollow_taper.size_row("64"),
        lambda: hollow_taper.gauge_diameter("63", "X"),
        lambda: polygonal_taper.taper("64"),
        lambda: morse_taper.taper("7"),
        lambda: taper_angle_tolerance.angle_tolerance_urad(50.0, 6),
    ],
)
def test_unknown_sizes_and_forms_are_refused(call: Callable[[], object]) -> None:
    """Nothing is guessed from a neighbour."""
    with pytest.raises(UnknownEntryError, match="known: "):
        call()


@pytest.mark.parametrize(
    ("length_mm", "expected"),
    [(6.0, None), (6.001, 200), (63.0, 80), (63.001, 63), (630.0, 25), (630.001, None)],
)
def test_angle_tolerances_by_length(length_mm: float, expected: float | None) -> None:
    """From memory of ISO 1947, grade AT4: over … up to and including; outside the table None."""
    assert taper_angle_tolerance.angle_tolerance_urad(length_mm, 4) == expected


@pytest.mark.parametrize("length_mm", [8.0, 50.0, 90.0, 500.0])
def test_a_finer_grade_has_the_smaller_angle(length_mm: float) -> None:
    """AT3 < AT4 < AT5, each step about 1.6."""
    values = [taper_angle_tolerance.angle_tolerance_urad(length_mm, grade) for grade in (3, 4, 5)]
    for fine, coarse in pairwise(values):
        assert fine is not None
        assert coarse is not None
        assert coarse / fine == pytest.approx(1.6, abs=0.05)


def test_shell_mill_arbors() -> None:
    """From memory of ISO 6462: the list of pilots; an unlisted pilot is None."""
    assert all(shell_mill_arbor.arbor(float(pilot)) for pilot in (16, 22, 27, 32, 40, 50, 60))
    arbor = shell_mill_arbor.arbor(27.0)
    assert arbor is not None
    assert (arbor.key_width_mm, arbor.pilot_tolerance, arbor.bore_tolerance) == (12, "h6", "H7")
    assert shell_mill_arbor.arbor(25.4) is None

"""Inertia, tilting moment and contradictory masses of stacks, calculated by hand."""

from __future__ import annotations

import math

import pytest

from rules.quantities.missing import Missing
from rules.rulebook.loader import base_request
from rules.schema.parsing import parse_request
from tests.support.stacks import analysis_of, codes, derived_of, known, one_rod, report_of

ROD_KG = 7850e-9 * math.pi / 4 * 20**2 * 120
"""⌀20 × 120 mm of steel."""
ROD_INERTIA = ROD_KG * (3 * 10**2 + 120**2) / 12


def test_inertia_of_a_rod_by_its_outline() -> None:
    """First principles: m·(3r² + L²)/12 about a diameter through the middle."""
    masses = derived_of(one_rod({"length_mm": 120, "outer_mm": 20})).masses
    assert known(masses.inertias[0]) == pytest.approx(ROD_INERTIA, rel=1e-12)
    assert known(masses.inertia) == pytest.approx(ROD_INERTIA, rel=1e-12)
    assert known(masses.outline_masses[0]) == pytest.approx(ROD_KG, rel=1e-12)


def test_inertia_grows_with_the_stated_mass() -> None:
    """First principles: the same shape, half as heavy again, has half as much inertia again."""
    masses = derived_of(one_rod({"length_mm": 120, "outer_mm": 20}, mass_kg=1.5 * ROD_KG)).masses
    assert known(masses.inertias[0]) == pytest.approx(1.5 * ROD_INERTIA, rel=1e-12)
    assert known(masses.outline_masses[0]) == pytest.approx(ROD_KG, rel=1e-12)


def test_stated_inertia_wins() -> None:
    """What is stated stands, whatever outline and mass would give."""
    rod = one_rod({"length_mm": 120, "outer_mm": 20}, mass_kg=2 * ROD_KG, transverse_inertia_kg_mm2=77)
    assert derived_of(rod).masses.inertias == (77,)


@pytest.mark.parametrize("field", ["density_kg_m3", "mass_kg"])
def test_own_density_and_stated_mass_weigh_alike(field: str) -> None:
    """First principles: twice the density and twice the mass are the same body."""
    value = 2 * 7850 if field == "density_kg_m3" else 2 * ROD_KG
    masses = derived_of(one_rod({"length_mm": 120, "outer_mm": 20}, **{field: value})).masses
    assert known(masses.total) == pytest.approx(2 * ROD_KG, rel=1e-12)
    assert known(masses.inertias[0]) == pytest.approx(2 * ROD_INERTIA, rel=1e-12)


def test_inertia_of_the_stack_by_the_parallel_axes() -> None:
    """First principles: J = Σ J_i + Σ m_i·(z_i − z_c)²; 1.1 kg at 15 mm, 0.38 kg at 70 mm."""
    request = base_request("shell_mill")
    request["stack"]["components"][0]["transverse_inertia_kg_mm2"] = 900
    request["stack"]["components"][1]["transverse_inertia_kg_mm2"] = 110
    centre = (1.1 * 15 + 0.38 * 70) / 1.48
    by_hand = 900 + 110 + 1.1 * (15 - centre) ** 2 + 0.38 * (70 - centre) ** 2
    assert known(derived_of(request).masses.inertia) == pytest.approx(by_hand, rel=1e-12)
    # the two bodies as one: reduced mass times the square of their distance
    assert by_hand == pytest.approx(1010 + 1.1 * 0.38 / 1.48 * 55**2, rel=1e-12)


def test_holder_is_not_weighed_by_its_outline() -> None:
    """A base holder's taper is not drawn: its outline tells no mass, centre or inertia, only what shows."""
    request = base_request("shell_mill")
    holder = request["stack"]["components"][0]
    del holder["mass_kg"], holder["centre_of_mass_mm"]
    masses = derived_of(request).masses
    assert masses.masses[0] == Missing(("/stack/components/0/mass_kg",))
    assert masses.centres[0] == Missing(("/stack/components/0/centre_of_mass_mm",))
    assert masses.inertias[0] == Missing(("/stack/components/0/transverse_inertia_kg_mm2",))
    shows = 7850e-9 * math.pi / 4 * (63**2 * 26 + 48**2 * 24)
    assert known(masses.outline_masses[0]) == pytest.approx(shows, rel=1e-12)
    assert masses.tilting_moment_n_m == Missing(
        ("/stack/components/0/mass_kg", "/stack/components/0/centre_of_mass_mm"),
    )


def test_tilting_moment_counts_from_the_gauge_line() -> None:
    """First principles: g·Σ m·z; a holder whose centre lies behind the line balances what hangs before it."""
    request = base_request("shell_mill")
    request["stack"]["components"][0]["centre_of_mass_mm"] = -20
    assert known(derived_of(request).masses.tilting_moment_n_m) == pytest.approx(
        9.80665e-3 * (0.38 * 70 - 1.1 * 20), rel=1e-12
    )
    request["stack"]["components"][0]["centre_of_mass_mm"] = -30
    assert known(derived_of(request).masses.tilting_moment_n_m) == pytest.approx(
        9.80665e-3 * (1.1 * 30 - 0.38 * 70), rel=1e-12
    )


def test_knob_takes_no_part_in_the_tilting_moment() -> None:
    """The knob stands behind the gauge line at a place nobody states; leaving it out is cautious."""
    request = base_request("press_in")
    before = derived_of(request).masses
    request["stack"]["components"][5]["mass_kg"] = 0.9
    after = derived_of(request).masses
    assert after.tilting_moment_n_m == before.tilting_moment_n_m
    assert after.centre == before.centre
    assert known(after.total) - known(before.total) == pytest.approx(0.8)


def _mismatch(request: dict[str, object], index: int) -> object:
    facts = [fact for fact in analysis_of(parse_request(request)).facts if fact.kind == "component"]
    return facts[index].known.get("mass_mismatch_ratio")


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize("step", [-1e-9, 0.0, 1e-9])
def test_stated_mass_may_lie_a_quarter_off(side: int, step: float) -> None:
    """First principles: just under, at and just over the limit, too heavy or too light; only beyond it DAT-070 warns.

    The limit is set to what the engine sees at a quarter, so that rounding of the stated mass does not decide.
    """
    rod = one_rod({"length_mm": 120, "outer_mm": 20}, mass_kg=ROD_KG * (1 + 0.25 * side))
    ratio = _mismatch(rod, 0)
    assert isinstance(ratio, float)
    assert ratio == pytest.approx(0.25, rel=1e-12)
    rod["policy"] = {"thresholds": [{"code": "DAT-070", "threshold": "most_ratio", "value": ratio - step}]}
    assert ("DAT-070" in codes(report_of(rod))) is (step > 0)


@pytest.mark.parametrize(("share", "warned"), [(0.249, False), (0.251, True), (-0.249, False), (-0.251, True)])
def test_default_limit_of_the_mass(share: float, warned: bool) -> None:
    """The rulebook's own limit is a quarter of the outline's mass."""
    rod = one_rod({"length_mm": 120, "outer_mm": 20}, mass_kg=ROD_KG * (1 + share))
    assert ("DAT-070" in codes(report_of(rod))) is warned


@pytest.mark.parametrize(("share", "warned"), [(5.0, False), (0.751, False), (0.749, True)])
def test_holder_may_weigh_more_than_shows(share: float, warned: bool) -> None:
    """First principles: a holder's taper adds to what shows of it, so only a mass too small contradicts."""
    request = base_request("shell_mill")
    shows = 7850e-9 * math.pi / 4 * (63**2 * 26 + 48**2 * 24)
    request["stack"]["components"][0]["mass_kg"] = share * shows
    assert _mismatch(request, 0) == pytest.approx(max(0.0, 1 - share))
    assert ("DAT-070" in codes(report_of(request))) is warned

"""Springs at the gauge line and at the joints, shear, tap tests, and what the report says they rest on."""

from __future__ import annotations

import math
from typing import Any

import pytest

from rules.bending import interfaces
from rules.bending.analysis import Bending
from rules.bending.interfaces import Band
from rules.rulebook.loader import base_request
from tests.support.operations import change
from tests.support.stacks import (
    CARBIDE_GPA,
    STEEL_GPA,
    bent_by_hand,
    codes,
    derived_of,
    holder_and_cutter,
    known,
    named,
    report_of,
    ring_mm4,
)

STEEL, CARBIDE = STEEL_GPA * 1e3, CARBIDE_GPA * 1e3
"""N/mm²."""
SEAT = "spindle/holder"


def _bending(request: dict[str, Any]) -> Bending:
    bending = derived_of(request).stiffness.bending
    assert isinstance(bending, Bending), bending
    return bending


def _given_way(request: dict[str, Any], joint: str) -> float:
    """Return what a joint with typical stiffness adds to the compliance, mm/N."""
    bending = _bending(request)
    shares = {named(one.joint): one.share for one in bending.shares if one.kind != "component"}
    return shares[joint] * bending.compliance_um_per_n.typical / 1e3


def _spring(diameter: float, lever: float, radial: tuple[float, float], tilting: tuple[float, float]) -> list[float]:
    """Return 1/(k·E·D) + l²/(k·E·D³) for the soft, the typical and the stiff factors, mm/N."""
    ends = [(radial[0], tilting[0]), (math.sqrt(math.prod(radial)), math.sqrt(math.prod(tilting)))]
    ends.append((radial[1], tilting[1]))
    return [1 / (r * 210e3 * diameter) + lever**2 / (t * 210e3 * diameter**3) for r, t in ends]


def test_seat_and_joint_of_a_hollow_taper_holder() -> None:
    """First principles: seat 0.02 to 0.08·E·63³ and 0.01 to 0.1·E·63 at z = 0, shank 0.1 to 1·E·12³ at the face."""
    request = holder_and_cutter()
    seat = _spring(63, 110, (0.01, 0.1), (0.02, 0.08))
    joint = _spring(12, 50, (0.02, 0.2), (0.1, 1.0))
    assert _given_way(request, SEAT) == pytest.approx(seat[1], rel=1e-12)
    assert _given_way(request, "holder/end-mill") == pytest.approx(joint[1], rel=1e-12)
    compliance = _bending(request).compliance_um_per_n
    assert (compliance.soft - compliance.stiff) / 1e3 == pytest.approx(
        seat[0] + joint[0] - seat[2] - joint[2], rel=1e-9
    )


@pytest.mark.parametrize(
    ("side", "flange", "tilting"),
    [
        ({"coupling": "hollow_taper", "size": "40", "form": "A"}, 40, (0.02, 0.08)),
        ({"coupling": "polygonal_taper", "size": "50"}, 50, (0.02, 0.08)),
        ({"coupling": "steep_taper", "size": "50", "form": "mas_403"}, 100, (0.01, 0.04)),
        # without a size the outline at the gauge line counts
        ({"coupling": "steep_taper"}, 40, (0.01, 0.04)),
        ({"coupling": "hollow_taper"}, 40, (0.02, 0.08)),
        (None, 40, (0.01, 0.08)),
    ],
)
def test_seat_by_taper(side: dict[str, Any] | None, flange: float, tilting: tuple[float, float]) -> None:
    """First principles: the flange of the taper scales its seat; a taper without face contact is half as stiff."""
    request = holder_and_cutter()
    request["stack"]["components"][0]["machine_side"] = side
    if side is None:
        del request["stack"]["components"][0]["machine_side"]
    by_hand = _spring(flange, 110, (0.01, 0.1), tilting)[1]
    assert _given_way(request, SEAT) == pytest.approx(by_hand, rel=1e-12)


def test_joint_without_a_shank_scales_with_the_slimmer_side() -> None:
    """First principles: a face mill of 50 mm on an arbor of 40 mm: 0.1 to 1·E·40³."""
    request = base_request("shell_mill")
    holder, mill = request["stack"]["components"][:2]
    holder["profile"][-1]["outer_mm"], mill["profile"][0]["outer_mm"] = 40, 50
    face, tip = derived_of(request).geometry.places[0].face, derived_of(request).geometry.tip
    lever = known(tip) - known(face)
    assert _given_way(request, f"{holder['id']}/{mill['id']}") == pytest.approx(
        _spring(40, lever, (0.02, 0.2), (0.1, 1.0))[1], rel=1e-9
    )


def test_seat_of_a_collet_counts_once() -> None:
    """The joint of collet and shank stands for both; a stated seat of the collet is added."""
    request = base_request("nut_collet")
    stiffness = derived_of(request).stiffness
    assert [named(one.joint) for one in stiffness.interfaces] == ["spindle/holder", "collet-1/end-mill"]
    request["stack"]["joints"].append({"upper": "holder", "lower": "collet-1", "tilting_stiffness_n_m_per_mrad": 30})
    stated = derived_of(request).stiffness
    assert [named(one.joint) for one in stated.interfaces] == ["spindle/holder", "holder/collet-1", "collet-1/end-mill"]
    assert stated.rests_on == stiffness.rests_on


def test_what_is_stated_is_not_assumed() -> None:
    """A stated stiffness replaces its assumption alone; with all stated there is no range."""
    request = holder_and_cutter()
    joint = request["stack"]["joints"][0]
    joint["tilting_stiffness_n_m_per_mrad"] = 20
    assert _given_way(request, "holder/end-mill") == pytest.approx(
        50**2 / 20e6 + _spring(12, 0, (0.02, 0.2), (0.1, 1.0))[1], rel=1e-12
    )
    assert len(report_of(request).assumptions) == 3
    joint["radial_stiffness_n_per_um"] = 40
    request["stack"]["joints"].append(
        {
            "upper": "spindle",
            "lower": "holder",
            "radial_stiffness_n_per_um": 300,
            "tilting_stiffness_n_m_per_mrad": 2000,
        }
    )
    request["machine"] = {"kind": "stated"}
    report = report_of(request)
    assert report.assumptions == []
    assert report.summary.assumed == 0
    assert report.provenance.assumption_set is None
    stiffness = report.stiffness.tip_stiffness_n_per_um
    assert stiffness is not None
    assert (stiffness.low, stiffness.high, stiffness.rests_on) == (None, None, [])


def test_shear_over_an_overlap(monkeypatch: pytest.MonkeyPatch) -> None:
    """First principles: Σ l/(k·G·A): over the grip holder and shank carry the shear together, like bending."""
    monkeypatch.setattr(interfaces, "_between", lambda *_: None)

    def stiffness(outer: float, bore: float, modulus: float, nu: float) -> float:
        square = (bore / outer) ** 2
        k = 6 * (1 + nu) * (1 + square) ** 2 / ((7 + 6 * nu) * (1 + square) ** 2 + (20 + 12 * nu) * square)
        return k * modulus / (2 * (1 + nu)) * math.pi / 4 * (outer**2 - bore**2)

    holder, shank = stiffness(40, 12, STEEL, 0.3), stiffness(12, 0, CARBIDE, 0.22)
    shear = 30 / holder + 30 / (holder + shank) + 50 / shank
    i_holder, i_shank = STEEL * ring_mm4(40, 12), CARBIDE * ring_mm4(12)
    bent = bent_by_hand([(0, 30, i_holder), (30, 60, i_holder + i_shank), (60, 110, i_shank)], 110)
    compliance = _bending(holder_and_cutter()).compliance_um_per_n
    assert compliance == pytest.approx([1e3 * (bent + shear)] * 3, rel=1e-12)


def test_rotary_inertia_of_a_short_thick_stack(monkeypatch: pytest.MonkeyPatch) -> None:
    """First principles: ⌀40/20 × 80 mm of steel has 4192.5 Hz with shear and rotary inertia (transfer matrix)."""
    monkeypatch.setattr(interfaces, "_between", lambda *_: None)
    rod = {"id": "rod", "kind": "cutter", "material": "steel"}
    rod["profile"] = [{"length_mm": 80, "outer_mm": 40, "bore_mm": 20}]  # type: ignore[assignment]
    found = derived_of({"stack": {"components": [rod]}}).stiffness.frequencies_hz
    assert isinstance(found, tuple)
    assert found[0].typical == pytest.approx(4192.5, rel=2e-3)


# What the report says


def test_estimates_have_the_ends_and_name_what_they_rest_on() -> None:
    """Every id is listed once, and the value lies within its range."""
    report = report_of(base_request("long_reach"))
    ids = [one.id for one in report.assumptions]
    assert ids == [f"A{number}" for number in range(1, 7)]
    assert report.summary.assumed == 6
    assert report.provenance.assumption_set == "interface_stiffness"
    stiffness = report.stiffness
    for one in (stiffness.tip_compliance_um_per_n, stiffness.critical_speed_rpm, *stiffness.bending_frequencies_hz):
        assert one is not None
        assert one.low is not None
        assert one.high is not None
        assert one.low < one.value < one.high
        assert one.rests_on == ids
    assert [(one.at, one.unit) for one in report.assumptions[:2]] == [
        ("/stack/joints/-/radial_stiffness_n_per_um", "N/um"),
        ("/stack/joints/-/tilting_stiffness_n_m_per_mrad", "N.m/mrad"),
    ]
    tilting = report.assumptions[1]
    assert tilting.low is not None
    assert tilting.high is not None
    assert tilting.value == pytest.approx(math.sqrt(tilting.low * tilting.high), rel=1e-3)
    assert report.assumptions[0].used_by == ["SPD-080", "STF-050", "STF-060"]


def test_a_finding_names_the_assumptions_and_the_joint_that_decides() -> None:
    """A slender extension in a shank joint is softest there."""
    request = base_request("long_reach")
    change(request["operations"][0], {"spindle_speed_rpm": 24_000})
    (finding,) = [one for one in report_of(request).findings if one.code == "SPD-080"]
    assert finding.severity == "advice"
    assert finding.rests_on == ["A1", "A2", "A3", "A4", "A5", "A6"]
    deciding = _bending(request).deciding
    assert deciding is not None
    assert f"(by the assumed stiffness of {named(deciding.joint)}, soft end)" in finding.message


@pytest.mark.parametrize(
    ("stated", "code"),
    [
        ({}, "SPD-080"),
        ({"spindle_tilting_stiffness_n_m_per_mrad": 1000}, "SPD-040"),
        ({"spindle_radial_stiffness_n_per_um": 200}, "SPD-040"),
    ],
)
def test_only_a_known_spindle_makes_the_critical_speed_an_error(stated: dict[str, float], code: str) -> None:
    """Advice while the spindle is not stated, an error otherwise, both at the soft end."""
    request = base_request("long_reach")
    request["machine"] |= stated
    critical = report_of(request).stiffness.critical_speed_rpm
    assert critical is not None
    assert critical.low is not None
    for share, fires in ((0.749, False), (0.751, True)):
        change(request["operations"][0], {"spindle_speed_rpm": round(share * critical.low, 1)})
        assert ({"SPD-040", "SPD-080"} & codes(report_of(request)) == {code}) is fires


def test_a_tap_test_rules() -> None:
    """Its frequency is the first, without a range; only higher ones are left of the computed ones."""
    request = base_request("long_reach")
    computed = report_of(request).stiffness.bending_frequencies_hz
    request["stack"]["tap_test_hz"] = 700
    report = report_of(request)
    frequencies = report.stiffness.bending_frequencies_hz
    assert (frequencies[0].value, frequencies[0].low, frequencies[0].rests_on) == (700, None, [])
    assert frequencies[1:] == computed[1:]
    assert report.stiffness.critical_speed_rpm == frequencies[0].model_copy(update={"value": 42_000.0})
    assert any("tap test" in note for note in report.stiffness.notes)
    change(request["operations"][0], {"spindle_speed_rpm": 40_000})
    (finding,) = [one for one in report_of(request).findings if one.code == "SPD-040"]
    assert finding.rests_on == []
    assert "(by the tap test)" in finding.message


def test_a_tap_test_needs_no_outline() -> None:
    """Measured is known, whatever is not stated."""
    request = base_request("long_reach")
    del request["stack"]["components"][2]["profile"]
    request["stack"]["tap_test_hz"] = 700
    report = report_of(request)
    assert [one.value for one in report.stiffness.bending_frequencies_hz] == [700]
    assert "SPD-040" in report.decided
    assert report.assumptions == []


def test_deflection_between_the_ends_is_a_warning() -> None:
    """Beyond the stiff end it is an error, within the range a warning, below the soft end nothing."""
    request = base_request("press_in")
    request["operations"][0]["load"] = {"radial_force_n": 60}
    deflection = derived_of(request).stiffness.deflection_um
    assert isinstance(deflection, Band)
    for limit, code in (
        (deflection.stiff * 0.99, {"STF-010"}),
        (deflection.stiff * 1.01, {"STF-040"}),
        (deflection.soft * 0.99, {"STF-040"}),
        (deflection.soft * 1.01, set()),
    ):
        request["operations"][0]["limits"]["deflection_um"] = limit
        assert codes(report_of(request)) & {"STF-010", "STF-040"} == code


def test_no_critical_speed_above_all_stated_limits() -> None:
    """A face mill that would be critical far beyond its marked speed has no such limit."""
    report = report_of(base_request("shell_mill"))
    critical = report.stiffness.critical_speed_rpm
    assert critical is not None
    assert critical.value > 100_000
    assert "critical_speed" not in {one.cause for one in report.speed.limits}


def test_a_critical_speed_that_rests_on_assumptions_is_no_limit_alone() -> None:
    """Without any stated limit there is none to compare it with; measured, it is one."""
    request = base_request("long_reach")
    del request["machine"]["max_speed_rpm"]
    for part in request["stack"]["components"]:
        part.pop("max_speed_rpm", None)
    assert report_of(request).speed.limits == []
    request["stack"]["tap_test_hz"] = 700
    (limit,) = report_of(request).speed.limits
    assert (limit.cause, limit.speed_rpm.value) == ("critical_speed", 0.75 * 42_000)


# Seat under the cutting force


@pytest.mark.parametrize(
    ("side", "drawbar", "limit"),
    [
        ({"coupling": "hollow_taper", "size": "63", "form": "A"}, None, 18_000 * 0.9 * 63 / 4e3),
        ({"coupling": "hollow_taper", "size": "63", "form": "A"}, 9000, 9000 * 0.9 * 63 / 4e3),
        ({"coupling": "hollow_taper", "size": "63", "form": "E"}, None, None),
        ({"coupling": "polygonal_taper", "size": "50"}, None, None),
        ({"coupling": "polygonal_taper", "size": "50"}, 25_000, 25_000 * 0.9 * 50 / 4e3),
        ({"coupling": "steep_taper", "size": "40", "form": "mas_403"}, 12_000, None),
    ],
)
def test_moment_at_which_the_face_opens(side: dict[str, Any], drawbar: float | None, limit: float | None) -> None:
    """First principles: F·D/4 with D of 0.9 of the flange; tapers without face contact have no such limit."""
    request = base_request("shrink")
    request["stack"]["components"][0]["machine_side"] = side
    if drawbar is not None:
        request["machine"]["drawbar_force_n"] = drawbar
    request["operations"][0]["load"] = {"radial_force_n": 600}
    derived = derived_of(request)
    of = next(fact.known for fact in derived.facts if fact.kind == "operation")
    if limit is None:
        assert "lift_off_moment_n_m" not in of
        return
    assert of["lift_off_moment_n_m"] == pytest.approx(limit, rel=1e-12)
    assert of["seat_moment_n_m"] == pytest.approx(0.6 * known(derived.geometry.tip), rel=1e-12)

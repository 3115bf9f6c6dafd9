"""Properties of bending: stiffer material bends less, more projection bends more, other data have no effect."""

from __future__ import annotations

import copy
import json
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.bending import interfaces
from rules.quantities.missing import Missing
from rules.quantities.models import parse_length
from rules.rulebook.loader import base_names, base_request
from tests.support.operations import change
from tests.support.stacks import derived_of, report_of

DEMOS = Path(__file__).parents[3] / "demo_data" / "stacks"
ROUNDING = 1e-9
"""Share by which an equal figure may differ."""


def _stacks() -> dict[str, dict[str, Any]]:
    """Return the base requests and the demo stacks whose bending and frequency are known."""
    found = {name: base_request(name) for name in base_names()}
    found |= {path.stem: json.loads(path.read_text(encoding="utf-8")) for path in sorted(DEMOS.glob("*.json"))}
    return {name: request for name, request in found.items() if _figures(request) is not None}


def _figures(request: dict[str, Any]) -> tuple[float, float] | None:
    """Return compliance at the tip (µm/N) and first frequency (Hz)."""
    stiffness = derived_of(request).stiffness
    if isinstance(stiffness.bending, Missing) or isinstance(stiffness.frequencies_hz, Missing):
        return None
    return stiffness.bending.compliance_um_per_n.typical, stiffness.frequencies_hz[0].typical


def _known(request: dict[str, Any]) -> tuple[float, float]:
    figures = _figures(request)
    assert figures is not None
    return figures


STACKS = _stacks()
names = st.sampled_from(sorted(STACKS))


def _stack(name: str) -> dict[str, Any]:
    return copy.deepcopy(STACKS[name])


def test_most_stacks_take_part() -> None:
    """The properties below are tried on bases and demo stacks of every kind of joint."""
    assert len(STACKS) >= 18
    assert set(base_names()) <= set(STACKS)


@given(name=names, data=st.data(), factor=st.floats(1.001, 3))
def test_stiffer_material_never_bends_more_nor_rings_lower(name: str, data: Any, factor: float) -> None:
    """First principles: compliance is a sum of terms in 1/E; by Rayleigh no frequency falls when a part stiffens."""
    request = _stack(name)
    parts = [part for part in request["stack"]["components"] if part["kind"] not in ("collet", "retention_knob")]
    part = data.draw(st.sampled_from(parts))
    modulus = data.draw(st.floats(1, 1500 / factor))
    part["youngs_modulus_gpa"] = modulus
    before = _known(request)
    part["youngs_modulus_gpa"] = modulus * factor
    after = _known(request)
    assert after[0] <= before[0] * (1 + ROUNDING)
    assert after[1] >= before[1] * (1 - ROUNDING)


@given(name=names, factor=st.floats(1.01, 3))
def test_all_of_it_stiffer_bends_in_proportion(name: str, factor: float) -> None:
    """First principles: with every modulus times k the compliance of a rigidly held beam is 1/k, its frequency √k."""
    request = _stack(name)
    request.pop("machine", None)
    for joint in request["stack"].get("joints") or ():
        joint.pop("radial_stiffness_n_per_um", None)
        joint.pop("tilting_stiffness_n_m_per_mrad", None)
    for part in request["stack"]["components"]:
        part["youngs_modulus_gpa"] = 200
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(interfaces, "_between", lambda *_: None)
        before = _known(request)
        for part in request["stack"]["components"]:
            part["youngs_modulus_gpa"] = 200 * factor
        after = _known(request)
    assert after[0] == pytest.approx(before[0] / factor, rel=1e-9)
    assert after[1] == pytest.approx(before[1] * factor**0.5, rel=1e-9)


@given(
    name=st.sampled_from(["press_in", "long_reach", "nut_collet", "shrink", "side_lock"]),
    data=st.data(),
    shorter=st.floats(0.01, 8),
)
def test_a_shorter_grip_is_never_stiffer(name: str, data: Any, shorter: float) -> None:
    """First principles: what is not held stands out; bending grows with every millimetre of it."""
    request = _stack(name)
    joint = data.draw(st.sampled_from(request["stack"]["joints"]))
    before = _known(request)
    joint["grip_length_mm"] -= shorter
    after = _known(request)
    assert after[0] > before[0]
    assert after[1] < before[1]


@given(name=names, longer=st.floats(0.01, 400))
def test_a_longer_cutter_is_never_stiffer(name: str, longer: float) -> None:
    """First principles: the same cutter with more shank to it, held over the same length."""
    request = _stack(name)
    cutter = next(part for part in request["stack"]["components"] if part["kind"] in ("cutter", "drill", "gauge_pin"))
    before = _known(request)
    # lengthened at the end that is clamped, where it stays as thick as it is
    cutter["profile"].insert(0, dict(cutter["profile"][0], length_mm=longer, outer_end_mm=None))
    for field in ("overall_length_mm", "gauge_length_mm"):
        if cutter.get(field) is not None:
            cutter[field] = parse_length(cutter[field]) + longer
    for joint in request["stack"].get("joints") or ():
        if joint["lower"] == cutter["id"] and "projection_mm" in joint:
            joint["projection_mm"] = parse_length(joint["projection_mm"]) + longer
    assert _known(request)[0] > before[0]


@given(
    name=names, data=st.data(), field=st.sampled_from(["radial_stiffness_n_per_um", "tilting_stiffness_n_m_per_mrad"])
)
def test_a_spring_never_stiffens(name: str, data: Any, field: str) -> None:
    """First principles: what gives way adds to the compliance and lowers the frequency; the softer, the more."""
    request = _stack(name)
    parts = [part["id"] for part in request["stack"]["components"] if part["kind"] != "retention_knob"]
    pairs = list(pairwise(parts))
    upper, lower = data.draw(st.sampled_from(pairs))
    joints = request["stack"].setdefault("joints", [])
    joint = next((one for one in joints if (one["upper"], one["lower"]) == (upper, lower)), None)
    if joint is None:
        joint = {"upper": upper, "lower": lower}
        joints.append(joint)
    stiffness = data.draw(st.floats(0.001, 1e5))
    joint[field] = 2 * stiffness
    firm = _known(request)
    joint[field] = stiffness
    soft = _known(request)
    assert firm[0] <= soft[0] * (1 + ROUNDING)
    assert firm[1] >= soft[1] * (1 - ROUNDING)


@given(name=names)
def test_soft_joints_bend_more_and_ring_lower(name: str) -> None:
    """First principles: soft, typical, stiff: compliance falls and every frequency rises."""
    stiffness = derived_of(_stack(name)).stiffness
    assert not isinstance(stiffness.bending, Missing)
    assert not isinstance(stiffness.frequencies_hz, Missing)
    assert stiffness.rests_on
    compliance = stiffness.bending.compliance_um_per_n
    assert compliance.soft > compliance.typical > compliance.stiff > 0
    for band in stiffness.frequencies_hz:
        assert 0 < band.soft < band.typical < band.stiff


@given(name=names, data=st.data())
def test_shares_of_any_stack_make_a_whole(name: str, data: Any) -> None:
    """First principles: what components and springs have in the deflection adds up to it, to the report's rounding."""
    request = _stack(name)
    for joint in request["stack"].get("joints") or ():
        joint["tilting_stiffness_n_m_per_mrad"] = data.draw(st.floats(0.001, 1e6))
    shares = report_of(request).stiffness.shares
    assert shares
    assert sum(one.share for one in shares) == pytest.approx(1, abs=5e-7 * len(shares))


def _mechanics(request: dict[str, Any]) -> dict[str, Any]:
    report = report_of(request)
    return {
        name: getattr(report, name).model_dump() for name in ("speed", "balance", "stiffness", "mass", "geometry")
    } | {"grip": [one.model_dump() for one in report.grip]}


@settings(max_examples=40)
@given(name=names, order=st.randoms(use_true_random=False))
def test_what_does_not_concern_mechanics_changes_nothing(name: str, order: Any) -> None:
    """Texts, part numbers, coolant and runout limits, and the order in which joints are stated, move no figure."""
    request = _stack(name)
    before = _mechanics(request)
    for part in request["stack"]["components"]:
        part["description"], part["part_number"] = "another text", f"N-{order.randrange(1000)}"
        part["coolant_through"] = order.choice([True, False])
    change(request["operations"][0], {"runout_limit_um": order.uniform(1, 500)})
    change(request["operations"][0], {"coolant": order.choice(["through", "external", "none"])})
    request["stack"]["description"] = "nothing that counts"
    if "joints" in request["stack"]:
        order.shuffle(request["stack"]["joints"])
    assert _mechanics(request) == before


@pytest.mark.parametrize("name", ["press_in", "long_reach", "nut_collet"])
def test_names_of_components_do_not_count(name: str) -> None:
    """Called otherwise, a stack bends, rings and holds as before."""
    request = _stack(name)
    before = _known(request)
    renamed = json.loads(json.dumps(request))
    names = {part["id"]: f"part-{99 - number}" for number, part in enumerate(renamed["stack"]["components"])}
    for part in renamed["stack"]["components"]:
        part["id"] = names[part["id"]]
    for joint in renamed["stack"].get("joints", ()):
        joint |= {side: names.get(joint[side], joint[side]) for side in ("upper", "lower")}
    assert renamed != request
    assert _known(renamed) == before


@pytest.mark.parametrize("pieces", [2, 7, 25])
@pytest.mark.parametrize("name", sorted(STACKS))
def test_an_outline_may_be_cut_into_pieces(name: str, pieces: int) -> None:
    """First principles: a cylinder drawn as many short ones is the same body, up to 300 pieces of a stack."""
    request = _stack(name)
    before = _known(request)
    for part in request["stack"]["components"]:
        cut = []
        for piece in part.get("profile") or ():
            if piece.get("outer_end_mm") in (None, piece["outer_mm"]) and isinstance(piece["length_mm"], int | float):
                cut += [dict(piece, length_mm=piece["length_mm"] / pieces)] * pieces
            else:
                cut.append(piece)
        if cut and len(cut) <= 200:
            part["profile"] = cut
    after = _known(request)
    assert after[0] == pytest.approx(before[0], rel=1e-9)
    assert after[1] == pytest.approx(before[1], rel=1e-5)

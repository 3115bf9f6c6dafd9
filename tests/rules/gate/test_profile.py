"""The operator's profile: a request tightens it, and whatever weakens it is told and starts nothing."""

from __future__ import annotations

import copy
import json
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

from rules.assessor import Assessor
from rules.gate.gate import CHANGED_PART, FOREIGN_MACHINE, gate
from rules.gate.profile import STRICT, Profile, load_profile
from rules.rulebook.source import RulebookError
from rules.schema.gate import GateReport, GateRequest
from rules.schema.parsing import parse
from tests.support.orders import order_of
from tests.support.stacks import assessor

TODAY = date(2031, 5, 1)
WAIVER = {"requirement": "machine_moment", "reason": "no changer", "owner": "tool room", "until": "2031-05-01"}


def _profile(tmp_path: Path, **parts: Any) -> Profile:
    file = tmp_path / "profile.yaml"
    file.write_text(json.dumps({"profile": "shop", **parts}), encoding="utf-8")
    return load_profile(file, assessor().book, TODAY)


def _decided(order: dict[str, Any], profile: Profile = STRICT, by: Assessor | None = None) -> GateReport:
    return gate(parse(GateRequest, copy.deepcopy(order)), by or assessor(), profile)


def _threshold(value: float) -> dict[str, Any]:
    return {"thresholds": [{"code": "OVH-010", "threshold": "max_length_to_diameter", "value": value}]}


@pytest.mark.parametrize(
    ("policy", "weakens"),
    [
        ({"gauge_plane_diameters": 0}, True),
        ({"slip_fit": "mean"}, True),
        ({"flute_bending_ratio": 1}, True),
        ({"edge_wear": 1}, True),
        (_threshold(5), True),
        ({"gauge_plane_diameters": 3.5}, False),
        ({"judged_runout": "parts_at_limits"}, False),
        ({"flute_bending_ratio": 0.75}, False),
        ({"edge_wear": 1.4}, False),
        ({"on_warning": "fail"}, False),
        ({"on_undecided": "fail"}, False),
        (_threshold(3.9), False),
    ],
)
@pytest.mark.parametrize("own", [False, True], ids=["order", "operation"])
def test_every_departure_is_told_and_weakening_starts_nothing(policy: dict[str, Any], weakens: bool, own: bool) -> None:
    """First principles: a nearer plane, thicker flutes, sharper edges and a mean clearance promise more."""
    order = order_of("good")
    (order["operations"][0] if own else order)["policy"] = policy
    told = _decided(order)
    (one,) = told.policy_deviations
    at = "/operations/0/policy/" if own else "/policy/"
    assert one.at.startswith(at + next(iter(policy)))
    assert one.weakens is weakens
    if weakens:
        assert not told.may_start
    elif told.decision == "release":
        assert told.may_start
    plain = order_of("good", policy={"slip_fit": "maximum", "gauge_plane_diameters": 3})
    assert _decided(plain).policy_deviations == []


def test_the_profile_is_the_measure(tmp_path: Path) -> None:
    """What the operator allows is no departure; a request below the operator's floor is one."""
    profile = _profile(tmp_path, policy={"gauge_plane_diameters": 2, **_threshold(5)})
    plain = _decided(order_of("good"), profile)
    assert (plain.may_start, plain.policy_deviations) == (True, [])
    assert plain.profile.sha256 != STRICT.digest
    same = _decided(order_of("good", policy={"gauge_plane_diameters": 2}), profile)
    assert same.policy_deviations == []
    weaker = _decided(order_of("good", policy=_threshold(5.5)), profile)
    assert [(one.at, one.default, one.weakens) for one in weaker.policy_deviations] == [
        ("/policy/thresholds/0", "5.0", True)
    ]
    assert not weaker.may_start


def test_a_waiver_lifts_one_requirement_until_its_day(tmp_path: Path) -> None:
    """With reason, owner and day in the answer; for its machine alone; gone after the day."""

    def profile(machine: str, until: str) -> Profile:
        return _profile(tmp_path, waivers=[{**WAIVER, "machine": machine, "until": until}])

    order = order_of("no moment")
    held = _decided(order)
    assert held.decision == "hold"
    told = _decided(order, profile("mill 3", "2031-05-01"))
    assert (told.may_start, told.operations[0].waived) == (True, ["machine_moment"])
    (one,) = told.profile.waivers
    assert (one.reason, one.owner, one.until) == ("no changer", "tool room", "2031-05-01")
    assert _decided(order, profile("mill 4", "2031-05-01")).decision == "hold"
    assert _decided(order, profile("mill 3", "2031-04-30")).decision == "hold"
    # also in a process that has read the profile before
    last = profile("mill 3", "2031-05-01")
    assert last.on(TODAY) is last
    over = last.on(TODAY + timedelta(days=1))
    assert (_decided(order, over).decision, over.digest == last.digest) == ("hold", False)


def test_the_operators_machine_has_the_operators_limits() -> None:
    """Limits of the profile hold, another one in the order is told, and a machine without an entry is held."""
    machine = order_of("good")["operations"][0]["machine"]
    profile = STRICT.model_copy(
        update={"machines": {"mill 3": parse(GateRequest, {**order_of("good"), "machine": machine}).machine}}
    )
    assert _decided(order_of("good"), profile).may_start
    order = order_of("good")
    order["operations"][0]["machine"]["max_speed_rpm"] = 90000
    told = _decided(order, profile)
    assert [one.at for one in told.policy_deviations] == ["/operations/0/machine/max_speed_rpm"]
    assert not told.may_start
    order["operations"][0]["machine"]["id"] = "mill 9"
    assert FOREIGN_MACHINE in {it.code for it in _decided(order, profile).operations[0].reasons}
    del order["operations"][0]["machine"]["id"]
    assert FOREIGN_MACHINE in {it.code for it in _decided(order, profile).operations[0].reasons}


def test_a_machine_of_the_catalogue_is_no_way_around_the_profile(tmp_path: Path) -> None:
    """It is the profile's machine by its id, with the limits and waivers of the profile, or it is held."""
    machine = order_of("good")["operations"][0]["machine"]
    fast = {"fast": {**machine, "max_speed_rpm": 90000}, "other": {**machine, "id": "mill 9"}}
    (tmp_path / "machines.json").write_text(json.dumps(fast), encoding="utf-8")
    mounted = Assessor.load(catalogue=tmp_path)
    own = {name: value for name, value in machine.items() if name != "id"}
    profile = _profile(tmp_path, machines={"mill 3": own | {"max_speed_rpm": 100}}, waivers=[WAIVER])

    def reasons(key: str) -> set[str]:
        order = order_of("no moment")
        order["operations"][0]["machine"] = {"kind": "reference", "of": {"from": "catalogue", "key": key}}
        return {it.code for it in _decided(order, profile, mounted).operations[0].reasons}

    assert reasons("fast") == {"SPD-030"}
    assert FOREIGN_MACHINE in reasons("other")
    assert reasons("no such") >= {FOREIGN_MACHINE, "REF-010"}


@pytest.mark.parametrize("links", [0, 1, 2])
def test_a_part_of_the_catalogue_is_not_replaced(tmp_path: Path, links: int) -> None:
    """Neither by a definition of the request with its key, nor by fields laid over it, through however many others."""
    order = order_of("good")
    collet = order["operations"][0]["stack"]["components"][1]
    (tmp_path / "parts.json").write_text(json.dumps({"KB-C1": collet}), encoding="utf-8")
    mounted = Assessor.load(catalogue=tmp_path)

    def told(source: str, laid_at: int | None = None) -> tuple[str, list[str]]:
        """The decision where fields are laid over this link."""
        keys = [*(f"link{n}" for n in range(links)), "KB-C1"]
        references: list[dict[str, Any]] = [
            {"kind": "reference", "of": {"from": "request" if key != "KB-C1" else source, "key": key}} for key in keys
        ]
        if laid_at is not None:
            references[laid_at]["with"] = {"unbalance_g_mm": 0.2}
        changed = copy.deepcopy(order)
        changed["operations"][0]["stack"]["components"][1] = references[0] | {"id": "collet-1"}
        changed["components"] = dict(zip(keys, references[1:], strict=False))
        if source == "request":
            changed["components"]["KB-C1"] = collet
        found = _decided(changed, by=mounted)
        return found.decision, [it.code for it in found.operations[0].reasons]

    assert told("catalogue") == ("release", [])
    assert told("request") == ("hold", [CHANGED_PART])
    for at in range(links + 1):
        assert told("catalogue", at) == ("hold", [CHANGED_PART])


@pytest.mark.parametrize(
    "parts",
    [
        {"polcy": {}},
        {"policy": {"unstated": "typical"}},
        {"policy": {"thresholds": [{"code": "OVH-999", "threshold": "a", "value": 1}]}},
        {"waivers": [{name: value for name, value in WAIVER.items() if name != "reason"}]},
        {"waivers": [WAIVER | {"requirement": "nothing"}]},
        {"waivers": [WAIVER | {"until": "soon"}]},
        *({"waivers": [{one: value for one, value in WAIVER.items() if one != name}]} for name in ("owner", "until")),
        {"machines": {"mill 3": {"kind": "stated", "id": "mill 9"}}},
    ],
)
def test_a_wrong_profile_is_refused(tmp_path: Path, parts: dict[str, Any]) -> None:
    """At the start, with its file."""
    with pytest.raises(RulebookError) as caught:
        _profile(tmp_path, **parts)
    assert "profile.yaml" in str(caught.value)


def test_what_is_no_yaml_is_refused(tmp_path: Path) -> None:
    """A file that is cut off is no profile without waivers; one that is not there is no strict one."""
    for text in ("waivers: [", "- a", "", "profile: a\nwaivers: []\nwaivers: []\n"):
        (tmp_path / "profile.yaml").write_text(text, encoding="utf-8")
        with pytest.raises(RulebookError):
            load_profile(tmp_path / "profile.yaml", assessor().book, TODAY)
    with pytest.raises(RulebookError):
        load_profile(tmp_path / "none.yaml", assessor().book, TODAY)


@pytest.mark.parametrize(
    ("plane", "weakens"),
    [
        ({"datum": "last_clamping_face", "distance_mm": 0}, True),
        ({"datum": "last_clamping_face", "distance_mm": 3.9}, True),
        ({"datum": "gauge_line", "distance_mm": 0}, True),
        ({"datum": "last_clamping_face", "distance_mm": 4.1}, False),
        ({"datum": "last_clamping_face", "distance_mm": 24}, None),
        ({"datum": "last_clamping_face", "distance_mm": 25}, False),
    ],
)
def test_a_plane_of_the_limit_is_told_and_one_at_the_clamp_starts_nothing(
    plane: dict[str, Any], weakens: bool | None
) -> None:
    """An 8 mm tool is read at 24 mm by the policy; below half a diameter the clamp leaves the indicator no room."""
    order = order_of("good")
    order["operations"][0]["gauge_plane"] = plane
    told = _decided(order)
    assert told.decision == "release"
    assert [(one.at, one.weakens) for one in told.policy_deviations] == (
        [] if weakens is None else [("/operations/0/gauge_plane/distance_mm", weakens)]
    )
    assert told.may_start == (not weakens)

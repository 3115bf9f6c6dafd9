"""Properties of a joint."""

from __future__ import annotations

from typing import Any, get_args

import pytest
from pydantic import TypeAdapter

from rules.couplings.definition import Coupling, End, Ends
from rules.couplings.designation import Designated
from rules.couplings.sides import COUPLINGS, MachineSide, SpindleSide, WorkpieceSide, joint_classes
from rules.rulebook.loader import base_request
from tests.support.stacks import derived_of


def _models(union: Any) -> set[type]:
    return set(get_args(get_args(union)[0]))


def test_the_unions_hold_the_models_of_the_registry() -> None:
    """A definition without a place in the unions could not be posted; a model without a definition stops a check."""
    machine = {one.machine_side for one in COUPLINGS.values() if one.machine_side is not None}
    workpiece = {one.workpiece_side for one in COUPLINGS.values() if one.workpiece_side is not None}
    assert _models(MachineSide) == machine | {Designated}
    assert _models(WorkpieceSide) == workpiece | {Designated}
    assert _models(SpindleSide) - {Designated} <= machine & workpiece


@pytest.mark.parametrize("one", COUPLINGS.values(), ids=COUPLINGS)
def test_a_model_carries_the_name_of_its_coupling(one: Coupling) -> None:
    """What is posted under a name is read by that coupling's model, and every field it is asked for exists."""
    for union, model, end in (
        (MachineSide, one.machine_side, "machine_side"),
        (WorkpieceSide, one.workpiece_side, "workpiece_side"),
    ):
        if model is not None:
            assert type(TypeAdapter(union).validate_python({"coupling": one.name})) is model
            assert set(one.fields_needed(end)) <= set(model.model_fields)
            assert one.decided_by is None or one.decided_by in model.model_fields


@pytest.mark.parametrize("one", COUPLINGS.values(), ids=COUPLINGS)
def test_properties_are_those_the_coupling_announces(one: Coupling) -> None:
    """The search rules out pairs of parts by the names announced: one left out would never rule anything out."""
    lower = COUPLINGS[one.described.accepts[0]].machine_side
    assert one.workpiece_side is not None
    assert lower is not None
    ends = Ends(
        End(one.workpiece_side.model_validate({"coupling": one.name}), "/upper", "collet"),  # type: ignore[arg-type]
        End(lower.model_validate({"coupling": one.described.accepts[0]}), "/lower", "cutter"),  # type: ignore[arg-type]
    )
    assert {name for name, _ in one.properties(ends)} <= set(one.property_names)


def test_joint_classes_are_known() -> None:
    """Classes that the rest of the program tells apart."""
    assert {"taper", "collet_seat", "grip"} <= set(joint_classes())


@pytest.mark.parametrize(
    ("number", "side", "name"), [(0, "workpiece_side", "bore_diameter_mm"), (1, "machine_side", "shank_diameter_mm")]
)
def test_a_diameter_that_is_not_stated_is_lacking_where_it_belongs(number: int, side: str, name: str) -> None:
    """By the pointer of the field that would supply it."""
    request = base_request("shrink")
    del request["stack"]["components"][number][side]["diameter_mm"]
    found = [fact for fact in derived_of(request).facts if fact.kind == "joint" and name in fact.lacking]
    assert [fact.lacking[name] for fact in found] == [(f"/stack/components/{number}/{side}/diameter_mm",)]
    # nor is there a fit, before it is known whether they are equal
    assert ["shrink_interference_min_um" in fact.lacking for fact in found] == [True]


@pytest.mark.parametrize(("bore", "told"), [(11, False), (12, True), (13, False)])
def test_a_fit_is_told_of_equal_diameters_only(bore: float, told: bool) -> None:
    """Of unequal ones another rule objects; a fit between them would mean nothing."""
    request = base_request("shrink")
    request["stack"]["components"][0]["workpiece_side"]["diameter_mm"] = bore
    (joint,) = [fact for fact in derived_of(request).facts if "bore_diameter_mm" in fact.known]
    assert ("shrink_interference_min_um" in joint.known) is told
    assert "shrink_interference_min_um" not in joint.lacking

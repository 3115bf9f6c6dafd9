"""What is told of a joint."""

from __future__ import annotations

from typing import get_args

import pytest

from rules.analysis import TELLING
from rules.couplings.definition import JointClass
from rules.rulebook.loader import base_request
from tests.support.stacks import derived_of


def test_something_is_told_of_every_joint_class() -> None:
    """A class of the table that nothing is told of would stop a check."""
    assert set(TELLING) == set(get_args(JointClass))


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

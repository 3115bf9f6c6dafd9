"""Masses, centres of mass and diameters of stacks, calculated by hand."""

from __future__ import annotations

import math
from typing import Any

import pytest

from rules.analysis import StackAnalysis
from rules.quantities.missing import Missing
from rules.rulebook.loader import base_request
from rules.schema.parsing import parse_request
from tests.support.stacks import analysis_of


def _derived(request: dict[str, Any]) -> StackAnalysis:
    return analysis_of(parse_request(request))


def _known(derived: StackAnalysis, kind: str, name: str, index: int = 0) -> Any:
    return [fact.known.get(name) for fact in derived.facts if fact.kind == kind][index]


def test_centre_of_mass_weighs_each_part_where_it_lies() -> None:
    """First principles: 1.1 kg at 15 mm and 0.38 kg at 50 + 20 mm from the gauge line."""
    masses = _derived(base_request("shell_mill")).masses
    assert masses.total == pytest.approx(1.48)
    assert masses.centre == pytest.approx((1.1 * 15 + 0.38 * 70) / 1.48)
    assert masses.tilting_moment_n_m == pytest.approx(9.80665 * (1.1 * 15 + 0.38 * 70) / 1000)


def test_a_part_without_mass_is_weighed_by_its_outline() -> None:
    """First principles: ⌀12 × 83 mm of carbide; its middle lies 83/2 mm from its end inside the bore."""
    derived = _derived(base_request("shrink"))
    assert derived.masses.masses[1] == pytest.approx(math.pi / 4 * 12**2 * 83 * 14.5e-6, rel=0.04)
    assert derived.masses.centres[1] == pytest.approx(90 - 45 + 83 / 2)


def test_knob_counts_in_the_mass() -> None:
    """The changer lifts the knob too."""
    with_knob = base_request("press_in")
    lighter = base_request("press_in")
    lighter["stack"]["components"][5]["mass_kg"] = 0.05
    first, second = _derived(with_knob).masses.total, _derived(lighter).masses.total
    assert not isinstance(first, Missing)
    assert not isinstance(second, Missing)
    assert first - second == pytest.approx(0.05)


def test_largest_diameter_looks_at_both_ends_of_a_cone() -> None:
    """A piece that widens outward is as wide as its far end."""
    request = base_request("shell_mill")
    request["stack"]["components"][0]["profile"][1] |= {"outer_mm": 40, "outer_end_mm": 71}
    assert _known(_derived(request), "stack", "stack_diameter_mm") == 71


def test_slimmest_part_that_stands_out_counts() -> None:
    """First principles: 100 mm stand out; a thin shank inside the collet does not count, a thin neck outside does."""
    request = base_request("press_in")
    extension = request["stack"]["components"][2]
    extension["profile"] = [{"length_mm": 55, "outer_mm": 18}, {"length_mm": 100, "outer_mm": 25}]
    assert _known(_derived(request), "component", "extension_diameter_mm", 2) == 25
    extension["profile"] = [
        {"length_mm": 55, "outer_mm": 25},
        {"length_mm": 40, "outer_mm": 22, "outer_end_mm": 20},
        {"length_mm": 60, "outer_mm": 25},
    ]
    derived = _derived(request)
    assert _known(derived, "component", "extension_diameter_mm", 2) == 20
    assert _known(derived, "component", "extension_projection_ratio", 2) == pytest.approx(5.0)

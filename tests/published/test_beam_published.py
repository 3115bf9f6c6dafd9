"""Stepped beams: values in print, each with title, edition and place."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import pytest

from rules.bending.beam import Segment, boundaries_of, tip_compliance
from rules.bending.frequencies import bending_frequencies


def _unit_frequencies(tip_mass: float = 0.0, count: int = 3, elements: int = 64) -> list[float]:
    """Return ω/√(EI/(m·L⁴)) of a uniform cantilever with a tip mass given in masses of the beam."""
    per_hz = 2.0 * math.pi / math.sqrt(1000.0)
    return [f * per_hz for f in bending_frequencies([Segment(1.0, 1.0, 1.0)], (), tip_mass, count, elements)]


def _under_uniform_load(segments: Sequence[Segment], load_n_per_mm: float) -> float:
    """Return the deflection of the tip by superposing forces; Simpson's rule is exact, the integrand is a cubic."""
    ends = boundaries_of(segments)
    total = 0.0
    for start, end in pairwise(ends):
        values = [tip_compliance(segments, force_at_mm=z).total_mm_per_n for z in (start, (start + end) / 2, end)]
        total += (end - start) / 6.0 * (values[0] + 4.0 * values[1] + values[2])
    return load_n_per_mm * total


@pytest.mark.parametrize(("stiffer", "printed"), [(1, 1.00), (2, 0.53), (3, 0.38), (4, 0.30), (5, 0.25)])
def test_two_halves_under_a_uniform_load(stiffer: float, printed: float) -> None:
    """Literature: Gere, Mechanics of Materials, 7th ed., Problem 9.7-2.

    δ = q·L⁴/(128·E·I₁)·(1 + 15·I₁/I₂), I₂ at the root. The printed ratios are to the uniform cantilever,
    q·L⁴/(8·E·I₁), to two places.
    """
    length, slender = 80.0, 2.0e6
    halves = [Segment(length / 2, slender * stiffer, 0.0), Segment(length / 2, slender, 0.0)]
    deflection = _under_uniform_load(halves, 0.7)
    assert deflection == pytest.approx(0.7 * length**4 / (128 * slender) * (1 + 15 / stiffer), rel=1e-13)
    assert deflection / (0.7 * length**4 / (8 * slender)) == pytest.approx(printed, abs=0.006)


def test_beam_with_its_own_mass_at_the_tip() -> None:
    """Literature: Mathematical Problems in Engineering 2017, art. 1568019, Table 1, tip mass equal to the beam's."""
    assert _unit_frequencies(1.0, 5) == pytest.approx([1.557298, 16.25009, 50.89584, 105.1983, 179.2320], rel=2e-6)

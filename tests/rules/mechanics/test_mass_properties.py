"""Mass and centre of mass of turned bodies."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from rules.mechanics.mass import Frustum, body_of

STEEL = 7850.0


def test_cylinder() -> None:
    """First principles: ⌀20 × 100 mm of steel."""
    body = body_of([Frustum(100.0, 20.0, 20.0)], STEEL)
    assert body.mass_kg == pytest.approx(math.pi * 0.01**2 * 0.1 * STEEL, rel=1e-14)
    assert body.centre_mm == pytest.approx(50.0)


def test_cone_has_its_centre_at_three_quarters() -> None:
    """Literature: textbook solid cone, centroid a quarter of the height from the base."""
    body = body_of([Frustum(40.0, 1e-9, 30.0)], STEEL)
    assert body.centre_mm == pytest.approx(30.0)
    assert body.mass_kg == pytest.approx(math.pi * 0.015**2 * 0.040 / 3 * STEEL)


pieces = st.builds(
    lambda length, start, end, share: Frustum(length, start, end, share * min(start, end)),
    st.floats(0.1, 300), st.floats(1, 200), st.floats(1, 200), st.floats(0, 0.95),
)  # fmt: skip


@settings(deadline=None, derandomize=True, max_examples=60)
@given(st.lists(pieces, min_size=1, max_size=4))
def test_agrees_with_quadrature(outline: list[Frustum]) -> None:
    """First principles: volume and moment by adaptive quadrature over each piece."""
    volume = moment = start = 0.0
    for piece in outline:

        def area(x: float, piece: Frustum = piece) -> float:
            outer = piece.start_mm + (piece.end_mm - piece.start_mm) * x / piece.length_mm
            return math.pi / 4 * (outer**2 - piece.bore_mm**2)

        def weighted(x: float, start: float = start) -> float:
            return area(x) * (start + x)

        volume += quad(area, 0, piece.length_mm)[0]
        moment += quad(weighted, 0, piece.length_mm)[0]
        start += piece.length_mm
    body = body_of(outline, STEEL)
    assert body.mass_kg == pytest.approx(volume * STEEL * 1e-9, rel=1e-9)
    assert body.centre_mm == pytest.approx(moment / volume, rel=1e-9)


@pytest.mark.parametrize(
    ("outline", "density", "words"),
    [
        ([], STEEL, "at least one piece"),
        ([Frustum(10, 20, 20, 20)], STEEL, "no wall"),
        ([Frustum(10, 20, 12, 12)], STEEL, "no wall"),
        ([Frustum(10, 20, 20)], 0.0, "density"),
    ],
)
def test_refuses_what_has_no_mass(outline: list[Frustum], density: float, words: str) -> None:
    """Each misuse is named."""
    with pytest.raises(ValueError, match=words):
        body_of(outline, density)

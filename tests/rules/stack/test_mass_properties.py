"""Mass, centre of mass and moments of inertia of bodies of revolution."""

from __future__ import annotations

import math

import pytest
import sympy
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from rules.stack.formulas import Body, Frustum, body_of

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


@pytest.mark.parametrize(("radius", "height"), [(10.0, 100.0), (2500.0, 0.001), (0.0005, 5000.0)])
def test_inertia_of_a_cylinder(radius: float, height: float) -> None:
    """Literature: textbook solid cylinder, m·r²/2 and m·(3·r² + h²)/12; rod and disc at the extremes."""
    body = body_of([Frustum(height, 2 * radius, 2 * radius)], STEEL)
    assert body.polar_inertia_kg_mm2 == pytest.approx(body.mass_kg * radius**2 / 2, rel=1e-13)
    assert body.transverse_inertia_kg_mm2 == pytest.approx(body.mass_kg * (3 * radius**2 + height**2) / 12, rel=1e-13)


@pytest.mark.parametrize("bore_radius", [0.001, 5.0, 9.999, 10.0 - 1e-12])
def test_inertia_of_a_tube(bore_radius: float) -> None:
    """Literature: textbook hollow cylinder, m·(r² + b²)/2 and m·(3·(r² + b²) + h²)/12, down to no wall."""
    body = body_of([Frustum(70.0, 20.0, 20.0, 2 * bore_radius)], STEEL)
    squares = 100.0 + bore_radius**2
    assert body.mass_kg == pytest.approx(
        math.pi * (10.0 - bore_radius) * (10.0 + bore_radius) * 70.0 * 7.85e-6, rel=1e-13
    )
    assert body.polar_inertia_kg_mm2 == pytest.approx(body.mass_kg * squares / 2, rel=1e-13)
    assert body.transverse_inertia_kg_mm2 == pytest.approx(body.mass_kg * (3 * squares + 70.0**2) / 12, rel=1e-13)


@pytest.mark.parametrize(("radius", "height"), [(15.0, 40.0), (100.0, 1.0), (1.0, 300.0)])
@pytest.mark.parametrize("tip_first", [True, False])
def test_inertia_of_a_cone(radius: float, height: float, tip_first: bool) -> None:
    """Literature: textbook solid cone about its own centre of mass, 3·m·r²/10 and 3/80·m·(4·r² + h²)."""
    ends = (1e-12, 2 * radius) if tip_first else (2 * radius, 1e-12)
    body = body_of([Frustum(height, *ends)], STEEL)
    assert body.polar_inertia_kg_mm2 == pytest.approx(0.3 * body.mass_kg * radius**2, rel=1e-11)
    assert body.transverse_inertia_kg_mm2 == pytest.approx(
        3 / 80 * body.mass_kg * (4 * radius**2 + height**2), rel=1e-11
    )


@pytest.mark.parametrize(
    ("length", "start", "end", "bore"),
    [("40", "44.45", "25", "0"), ("65.4", "44.45", "25.375", "17"), ("3", "8", "20", "7.9"),
     ("120", "20", "20", "6.35"), ("1", "100", "200", "1/1000")],
)  # fmt: skip
def test_a_frustum_against_symbolic_integration(length: str, start: str, end: str, bore: str) -> None:
    """First principles: the integrals of the definition in exact fractions, by a computer-algebra library."""
    height, first, last, hole = (sympy.Rational(text) for text in (length, start, end, bore))
    z = sympy.symbols("z")
    radius = (first + (last - first) * z / height) / 2
    section = sympy.expand(radius**2 - hole**2 / 4)
    volume, moment = (sympy.integrate(section * z**power, (z, 0, height)) for power in (0, 1))
    fourths = sympy.integrate(sympy.expand(radius**4 - hole**4 / 16), (z, 0, height))
    squares = sympy.integrate(sympy.expand(section * (z - moment / volume) ** 2), (z, 0, height))
    scale = sympy.pi * sympy.Rational(7850, 10**9)
    body = body_of([Frustum(*(float(value) for value in (height, first, last, hole)))], STEEL)
    assert body.mass_kg == pytest.approx(float(scale * volume), rel=1e-13)
    assert body.centre_mm == pytest.approx(float(moment / volume), rel=1e-13)
    assert body.polar_inertia_kg_mm2 == pytest.approx(float(scale * fourths / 2), rel=1e-13)
    assert body.transverse_inertia_kg_mm2 == pytest.approx(float(scale * (fourths / 4 + squares)), rel=1e-13)


@settings(max_examples=60)
@given(st.lists(pieces, min_size=1, max_size=4))
def test_inertia_agrees_with_quadrature(outline: list[Frustum]) -> None:
    """First principles: both moments about the centre of mass by adaptive quadrature over each piece."""
    body = body_of(outline, STEEL)
    polar = transverse = start = 0.0
    for piece in outline:

        def radius(x: float, piece: Frustum = piece) -> float:
            return (piece.start_mm + (piece.end_mm - piece.start_mm) * x / piece.length_mm) / 2

        def fourths(x: float, hole: float = piece.bore_mm / 2) -> float:
            return math.pi * (radius(x) ** 4 - hole**4)

        def squares(x: float, start: float = start, hole: float = piece.bore_mm / 2) -> float:
            return math.pi * (radius(x) ** 2 - hole**2) * (start + x - body.centre_mm) ** 2

        own = quad(fourths, 0, piece.length_mm)[0]
        polar += own / 2
        transverse += own / 4 + quad(squares, 0, piece.length_mm)[0]
        start += piece.length_mm
    assert body.polar_inertia_kg_mm2 == pytest.approx(polar * STEEL * 1e-9, rel=1e-9)
    assert body.transverse_inertia_kg_mm2 == pytest.approx(transverse * STEEL * 1e-9, rel=1e-9)


@given(st.lists(pieces, min_size=1, max_size=3), st.lists(pieces, min_size=1, max_size=3))
def test_two_bodies_make_one(front: list[Frustum], back: list[Frustum]) -> None:
    """First principles (Steiner): about the common centre each adds its own moment and m·a²."""
    one, other, both = body_of(front, STEEL), body_of(back, STEEL), body_of([*front, *back], STEEL)
    place = sum(piece.length_mm for piece in front) + other.centre_mm
    assert both.mass_kg == pytest.approx(one.mass_kg + other.mass_kg, rel=1e-12)
    moment = one.mass_kg * one.centre_mm + other.mass_kg * place
    assert both.centre_mm * both.mass_kg == pytest.approx(moment, rel=1e-12)
    assert both.polar_inertia_kg_mm2 == pytest.approx(one.polar_inertia_kg_mm2 + other.polar_inertia_kg_mm2, rel=1e-12)
    apart = one.mass_kg * other.mass_kg / both.mass_kg * (place - one.centre_mm) ** 2
    own = one.transverse_inertia_kg_mm2 + other.transverse_inertia_kg_mm2
    assert both.transverse_inertia_kg_mm2 == pytest.approx(own + apart, rel=1e-11)


@given(st.lists(pieces, min_size=1, max_size=4), st.floats(0.05, 20.0))
def test_size_and_density_scale(outline: list[Frustum], factor: float) -> None:
    """First principles: mass grows with the cube and inertia with the fifth power of the size; both with density."""
    body = body_of(outline, STEEL)
    grown = [Frustum(*(factor * x for x in (p.length_mm, p.start_mm, p.end_mm, p.bore_mm))) for p in outline]

    def scaled(mass: float, length: float, inertia: float) -> Body:
        return Body(
            body.mass_kg * mass,
            body.centre_mm * length,
            body.transverse_inertia_kg_mm2 * inertia,
            body.polar_inertia_kg_mm2 * inertia,
        )

    assert body_of(grown, STEEL) == pytest.approx(scaled(factor**3, factor, factor**5), rel=1e-9)
    assert body_of(outline, 2 * STEEL) == pytest.approx(scaled(2.0, 1.0, 2.0), rel=1e-12)


@given(st.lists(pieces, min_size=1, max_size=4))
def test_turned_round_a_body_stays_itself(outline: list[Frustum]) -> None:
    """First principles: seen from the other end, the same mass and moments, the centre mirrored."""
    back = [Frustum(piece.length_mm, piece.end_mm, piece.start_mm, piece.bore_mm) for piece in reversed(outline)]
    one, other = body_of(outline, STEEL), body_of(back, STEEL)
    mirrored = one._replace(centre_mm=sum(piece.length_mm for piece in outline) - one.centre_mm)
    assert other == pytest.approx(mirrored, rel=1e-11)


@pytest.mark.parametrize("outer", [0.002, 20.0, 5000.0])
@pytest.mark.parametrize("length", [0.001, 5000.0])
def test_the_thinnest_wall_has_a_mass(outer: float, length: float) -> None:
    """First principles: a wall of one rounding step still weighs more than nothing, and its centre is in it."""
    outline = [Frustum(length, outer, outer, math.nextafter(outer, 0.0))]
    body = body_of(outline, STEEL)
    assert body.mass_kg > 0
    assert body.centre_mm == pytest.approx(length / 2)
    assert body.polar_inertia_kg_mm2 == pytest.approx(body.mass_kg * outer**2 / 4, rel=1e-9)
    assert 0 < body.transverse_inertia_kg_mm2 < math.inf


@pytest.mark.parametrize(
    ("outline", "density", "words"),
    [
        ([], STEEL, "at least one piece"),
        ([Frustum(10, 20, 20, 20)], STEEL, "no wall"),
        ([Frustum(10, 20, 12, 12)], STEEL, "no wall"),
        ([Frustum(10, 20, 20)], 0.0, "density"),
        ([Frustum(10, 20, 20)], math.inf, "density"),
        ([Frustum(10, 20, 20)], math.nan, "density"),
        ([Frustum(10, 20, 20), Frustum(0, 20, 20)], STEEL, "longer than 0"),
    ],
)
def test_refuses_what_has_no_mass(outline: list[Frustum], density: float, words: str) -> None:
    """Each misuse is named."""
    with pytest.raises(ValueError, match=words):
        body_of(outline, density)

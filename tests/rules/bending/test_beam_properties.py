"""Properties and domain of stepped beams."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from rules.bending.beam import Segment, Spring, area_mm2, boundaries_of, second_moment_mm4, tip_compliance
from rules.bending.frequencies import bending_frequencies

MODULUS, DENSITY = 210e3, 7850e-9
MESH = 3e-4
"""Relative: by as much may f₁ move because the elements lie differently."""

STUB_HZ = 20_000.0
"""Above this a beam is shorter than it is thick; a tool that turns never excites it, and f₁ moves ten times as much."""

Beam = tuple[list[Segment], list[Spring]]

steady = settings(deadline=None, derandomize=True, max_examples=120)


def _segment(length: float, diameter: float, bore: float = 0.0) -> Segment:
    area, second = area_mm2(diameter, bore), second_moment_mm4(diameter, bore)
    return Segment(length, MODULUS * second, DENSITY * area, 0.26 * MODULUS * area, DENSITY * second)


def _with(items: list[Segment], index: int, item: Segment) -> list[Segment]:
    return [*items[:index], item, *items[index + 1 :]]


sections = st.builds(
    lambda length, diameter, share: _segment(length, diameter, share * diameter),
    st.floats(1, 150), st.floats(3, 100), st.floats(0, 0.9),
)  # fmt: skip


def _moves(first_hz: float) -> float:
    """By how much f₁ may move because the elements lie differently, relative."""
    return MESH if first_hz < STUB_HZ else 10 * MESH


stiffnesses = st.none() | st.floats(3, 12).map(lambda power: 10.0**power)


@st.composite
def beams(draw: st.DrawFn, most: int = 8) -> Beam:
    """Draw one to eight pieces with up to four springs on their boundaries."""
    segments = draw(st.lists(sections, min_size=1, max_size=most))
    ends = boundaries_of(segments)
    springs = draw(st.lists(st.builds(Spring, st.sampled_from(ends), stiffnesses, stiffnesses), max_size=4))
    return segments, springs


indices = st.integers(0, 1_000_000)
factors = st.floats(1.05, 20.0)


@steady
@given(beams(), indices, factors)
def test_a_stiffer_piece_never_bends_more(beam: Beam, index: int, factor: float) -> None:
    """First principles: raising one E·I lowers compliance and never lowers f₁."""
    segments, springs = beam
    index %= len(segments)
    stiffer = _with(segments, index, segments[index]._replace(stiffness_n_mm2=factor * segments[index].stiffness_n_mm2))
    assert tip_compliance(stiffer, springs).total_mm_per_n < tip_compliance(segments, springs).total_mm_per_n
    first = bending_frequencies(segments, springs)[0]
    assert bending_frequencies(stiffer, springs)[0] >= first * (1 - _moves(first))


@steady
@given(beams(), factors)
def test_a_longer_tool_is_never_stiffer(beam: Beam, factor: float) -> None:
    """First principles: lengthening the last piece raises compliance and never raises f₁."""
    segments, springs = beam
    inner = [spring for spring in springs if spring.z_mm < sum(s.length_mm for s in segments[:-1]) + 1e-6]
    longer = _with(segments, len(segments) - 1, segments[-1]._replace(length_mm=factor * segments[-1].length_mm))
    assert tip_compliance(longer, inner).total_mm_per_n > tip_compliance(segments, inner).total_mm_per_n
    first = bending_frequencies(segments, inner)[0]
    assert bending_frequencies(longer, inner)[0] <= first * (1 + _moves(first))


@steady
@given(beams(), indices, factors, st.floats(0, 5))
def test_mass_never_raises_the_frequency(beam: Beam, index: int, factor: float, tip_mass: float) -> None:
    """First principles: a heavier piece or a mass at the tip lowers f₁ or leaves it; compliance knows no mass."""
    segments, springs = beam
    index %= len(segments)
    heavier = _with(segments, index, segments[index]._replace(mass_kg_per_mm=factor * segments[index].mass_kg_per_mm))
    first = bending_frequencies(segments, springs)[0]
    most = first * (1 + _moves(first))
    assert bending_frequencies(heavier, springs)[0] <= most
    assert bending_frequencies(segments, springs, tip_mass)[0] <= most
    assert tip_compliance(heavier, springs) == tip_compliance(segments, springs)


@steady
@given(beams(), indices, stiffnesses, stiffnesses, factors)
def test_a_softer_spring_never_stiffens(
    beam: Beam, index: int, radial: float | None, tilting: float | None, factor: float
) -> None:
    """First principles: rigid, stiff, softer: compliance never falls, f₁ never rises."""
    segments, springs = beam
    ends = boundaries_of(segments)
    z = ends[index % len(ends)]
    softer = Spring(z, None if radial is None else radial / factor, None if tilting is None else tilting / factor)
    stages = [springs, [*springs, Spring(z, radial, tilting)], [*springs, softer]]
    compliances = [tip_compliance(segments, stage).total_mm_per_n for stage in stages]
    frequencies = [bending_frequencies(segments, stage)[0] for stage in stages]
    for k in (0, 1):
        assert compliances[k + 1] >= compliances[k] * (1 - 1e-12)
        assert frequencies[k + 1] <= frequencies[k] * (1 + _moves(frequencies[k]))


@steady
@given(beams(), st.floats(0, 1))
def test_contributions_sum_to_the_total(beam: Beam, share: float) -> None:
    """First principles: shares are none below zero, in the order given, and sum to the total; δ = c·F."""
    segments, springs = beam
    force_at = share * boundaries_of(segments)[-1]
    for compliance in (tip_compliance(segments, springs), tip_compliance(segments, springs, force_at)):
        shares = [*compliance.per_segment_mm_per_n, *compliance.per_spring_mm_per_n]
        assert (len(compliance.per_segment_mm_per_n), len(shares)) == (len(segments), len(segments) + len(springs))
        assert min(shares) >= 0.0
        assert compliance.total_mm_per_n == pytest.approx(math.fsum(shares), rel=1e-14)
        assert compliance.deflection_um(37.0) == pytest.approx(37e3 * compliance.total_mm_per_n, rel=1e-14)


@steady
@given(beams(), st.floats(0.05, 1))
def test_agrees_with_quadrature(beam: Beam, share: float) -> None:
    """First principles: the unit-load integral by adaptive quadrature, with the force anywhere."""
    segments, springs = beam
    ends = boundaries_of(segments)
    tip, force_at = ends[-1], share * ends[-1]
    expected = 0.0
    for start, segment in zip(ends, segments, strict=False):
        end = min(start + segment.length_mm, force_at)
        if end > start:
            expected += quad(lambda z: (tip - z) * (force_at - z), start, end)[0] / segment.stiffness_n_mm2
            expected += (end - start) / segment.shear_n
    for spring in springs:
        if spring.z_mm <= force_at:
            expected += 1.0 / spring.radial_n_per_mm if spring.radial_n_per_mm else 0.0
            lever = (tip - spring.z_mm) * (force_at - spring.z_mm)
            expected += lever / spring.tilting_n_mm_per_rad if spring.tilting_n_mm_per_rad else 0.0
    assert tip_compliance(segments, springs, force_at).total_mm_per_n == pytest.approx(expected, rel=1e-9)


@steady
@given(beams(), st.floats(0.01, 100))
def test_scale(beam: Beam, scale: float) -> None:
    """First principles: everything s times as large of the same material: compliance by 1/s, frequencies by 1/s."""
    segments, springs = beam
    larger = [
        Segment(
            scale * s.length_mm,
            scale**4 * s.stiffness_n_mm2,
            scale**2 * s.mass_kg_per_mm,
            scale**2 * s.shear_n,
            scale**4 * s.rotary_kg_mm,
        )
        for s in segments
    ]
    larger_springs = [
        Spring(
            scale * s.z_mm,
            None if s.radial_n_per_mm is None else scale * s.radial_n_per_mm,
            None if s.tilting_n_mm_per_rad is None else scale**3 * s.tilting_n_mm_per_rad,
        )
        for s in springs
    ]
    assert tip_compliance(larger, larger_springs).total_mm_per_n * scale == pytest.approx(
        tip_compliance(segments, springs).total_mm_per_n, rel=1e-10
    )
    assert [f * scale for f in bending_frequencies(larger, larger_springs)] == pytest.approx(
        bending_frequencies(segments, springs), rel=1e-5
    )


@steady
@given(beams(), st.floats(0.01, 100), st.floats(0.01, 100))
def test_scale_of_stiffness_and_mass(beam: Beam, stiffer: float, heavier: float) -> None:
    """First principles: all stiffnesses times s and all masses times m: frequencies times √(s/m)."""
    segments, springs = beam
    other = [
        Segment(
            s.length_mm,
            stiffer * s.stiffness_n_mm2,
            heavier * s.mass_kg_per_mm,
            stiffer * s.shear_n,
            heavier * s.rotary_kg_mm,
        )
        for s in segments
    ]
    other_springs = [
        Spring(
            s.z_mm,
            None if s.radial_n_per_mm is None else stiffer * s.radial_n_per_mm,
            None if s.tilting_n_mm_per_rad is None else stiffer * s.tilting_n_mm_per_rad,
        )
        for s in springs
    ]
    expected = [f * math.sqrt(stiffer / heavier) for f in bending_frequencies(segments, springs, 0.3)]
    assert bending_frequencies(other, other_springs, 0.3 * heavier) == pytest.approx(expected, rel=1e-5)


@steady
@given(beams(), indices, st.floats(0.05, 0.95))
def test_a_cut_changes_nothing(beam: Beam, index: int, share: float) -> None:
    """First principles: a piece given as two of the same section is the same beam."""
    segments, springs = beam
    index %= len(segments)
    piece = segments[index]
    first = piece._replace(length_mm=share * piece.length_mm)
    cut = [
        *segments[:index],
        first,
        piece._replace(length_mm=piece.length_mm - first.length_mm),
        *segments[index + 1 :],
    ]
    whole = tip_compliance(segments, springs).total_mm_per_n
    assert tip_compliance(cut, springs).total_mm_per_n == pytest.approx(whole, rel=1e-12)
    assert bending_frequencies(cut, springs) == pytest.approx(bending_frequencies(segments, springs), rel=1e-9)


@steady
@given(beams(), indices, stiffnesses, stiffnesses)
def test_springs_at_one_place_act_in_series(
    beam: Beam, index: int, radial: float | None, tilting: float | None
) -> None:
    """First principles: two alike in one place are one of half the stiffness; the order of springs is no matter."""
    segments, springs = beam
    ends = boundaries_of(segments)
    z = ends[index % len(ends)]
    half = Spring(z, None if radial is None else radial / 2, None if tilting is None else tilting / 2)
    two = [Spring(z, radial, tilting), *springs, Spring(z, radial, tilting)]
    one = [half, *reversed(springs)]
    assert tip_compliance(segments, two).total_mm_per_n == pytest.approx(
        tip_compliance(segments, one).total_mm_per_n, rel=1e-12
    )
    assert bending_frequencies(segments, two) == pytest.approx(bending_frequencies(segments, one), rel=1e-9)


@steady
@given(beams(), st.floats(0.5, 5))
def test_a_heavy_tip_swings_on_the_static_spring(beam: Beam, mass: float) -> None:
    """First principles: without mass of its own a beam with a tip mass has one frequency, 1/(2π)·√(1/(c·M))."""
    segments, springs = beam
    light = [segment._replace(mass_kg_per_mm=0.0, rotary_kg_mm=0.0) for segment in segments]
    compliance = tip_compliance(light, springs).total_mm_per_n
    assert bending_frequencies(light, springs, mass) == pytest.approx(
        [math.sqrt(1000.0 / (compliance * mass)) / (2 * math.pi)], rel=1e-9
    )


@steady
@given(beams(most=6), st.integers(12, 24))
def test_few_eigenvalues_agree_with_all(beam: Beam, elements: int) -> None:
    """First principles: iterating for a few frequencies finds those of the whole matrix."""
    segments, springs = beam
    few = bending_frequencies(segments, springs, elements=max(elements, 20))
    every = bending_frequencies(segments, springs, count=40, elements=max(elements, 20))
    assert few == pytest.approx(every[: len(few)], rel=2e-5)
    assert few[0] == pytest.approx(every[0], rel=1e-9)
    assert list(every) == sorted(every)


# Extremes and refusals


extreme_sections = st.builds(
    Segment,
    st.floats(-3, 3.7).map(lambda p: 10.0**p),
    st.floats(-10, 19.5).map(lambda p: 10.0**p),
    st.floats(-14, 3).map(lambda p: 10.0**p) | st.just(0.0),
    st.floats(-10, 12).map(lambda p: 10.0**p) | st.just(math.inf),
    st.floats(-16, 6).map(lambda p: 10.0**p) | st.just(0.0),
)
extreme_springs = st.none() | st.floats(-6, 18).map(lambda p: 10.0**p)


@settings(deadline=None, derandomize=True, max_examples=300)
@given(st.lists(extreme_sections, min_size=1, max_size=30), extreme_springs, extreme_springs, st.floats(1e-6, 1000))
def test_anything_positive_is_finite(
    segments: list[Segment], radial: float | None, tilting: float | None, mass: float
) -> None:
    """First principles: any mixture of hairs, slivers, blocks and springs gives finite numbers above 0, in order."""
    ends = boundaries_of(segments)
    springs = [Spring(0.0, radial, tilting), Spring(ends[len(ends) // 2], tilting, radial)]
    compliance = tip_compliance(segments, springs)
    assert 0.0 < compliance.total_mm_per_n < math.inf
    assert 0.0 < compliance.deflection_um(1e6) < math.inf
    frequencies = bending_frequencies(segments, springs, mass)
    assert 1 <= len(frequencies) <= 3
    assert 0.0 < frequencies[0] <= frequencies[-1] < math.inf
    assert list(frequencies) == sorted(frequencies)


def test_the_bounds_of_the_numbers() -> None:
    """First principles: at the far ends of what is let in nothing overflows."""
    for segment in (Segment(1e24, 1e-24, 1e24), Segment(1e-24, 1e24, 10.0)):
        springs = [Spring(0.0, segment.stiffness_n_mm2, segment.stiffness_n_mm2)]
        assert 0.0 < tip_compliance([segment] * 30, springs).total_mm_per_n < math.inf
        for found in (bending_frequencies([segment], springs), bending_frequencies([segment], springs, elements=30)):
            assert 0.0 < found[0] < math.inf


def test_a_sliver_changes_nothing() -> None:
    """First principles: a micrometre between two long pieces leaves compliance and frequencies alone."""
    stack = [_segment(500, 63, 20), _segment(80, 20)]
    sliver = [stack[0], _segment(0.001, 40, 10), stack[1]]
    assert tip_compliance(sliver).total_mm_per_n == pytest.approx(tip_compliance(stack).total_mm_per_n, rel=1e-5)
    assert bending_frequencies(sliver) == pytest.approx(bending_frequencies(stack), rel=1e-5)


@pytest.mark.parametrize("springs", [[], [Spring(0.0, 1e5, 1e8), Spring(100.0, None, 1e7)]])
def test_a_thousand_cuts_change_nothing(springs: list[Spring]) -> None:
    """First principles: a steel bar with a hardmetal end is the same beam, whatever the number of its pieces."""
    light, heavy = _segment(0.25, 40), _segment(0.2, 20)._replace(mass_kg_per_mm=2 * DENSITY * area_mm2(20))
    coarse = [light._replace(length_mm=100.0), heavy._replace(length_mm=60.0)]
    fine = bending_frequencies([light] * 400 + [heavy] * 300, springs, elements=32)
    assert fine == pytest.approx(bending_frequencies(coarse, springs, elements=32), rel=1e-4)


def test_a_hair_on_a_block() -> None:
    """First principles: stiffness ratio 10¹²: the hair swings alone, as clamped, however long the block."""
    hair = _segment(40.0, 0.1)
    alone = bending_frequencies([hair], elements=32)[0]
    for length in (1.0, 100.0, 400.0):
        assert bending_frequencies([_segment(length, 100.0), hair], elements=32)[0] == pytest.approx(alone, rel=1e-5)


def test_frequencies_lost_in_rounding_are_left_out() -> None:
    """First principles: a rigid body on soft springs has two frequencies, its own lie beyond the million."""
    block = [Segment(10.0, 1e15, 1e-2)]
    assert len(bending_frequencies(block, [Spring(0.0, 1e-4, 1e-2)])) == 2


def test_inputs_stay_as_they_are() -> None:
    """First principles: called twice the functions answer alike, and neither beam nor springs change."""
    segments, springs = [_segment(20, 30), _segment(20, 30), _segment(50, 12)], [Spring(20.0, 1e5, None)]
    kept = list(segments), list(springs)
    assert bending_frequencies(segments, springs) == bending_frequencies(segments, springs)
    assert (segments, springs) == kept


def test_refusals() -> None:
    """Each misuse is named."""
    bar = [_segment(50, 20)]
    nan, inf = math.nan, math.inf
    cases: list[tuple[Callable[[], object], str]] = [
        (lambda: tip_compliance([]), "at least one segment"),
        (lambda: bending_frequencies([]), "at least one segment"),
        (lambda: bending_frequencies(bar, count=0), "at least one frequency"),
        (lambda: bending_frequencies(bar, elements=0), "one element"),
        (lambda: bending_frequencies([Segment(5.0, 1.0, 0.0)]), "without mass"),
        (lambda: bending_frequencies([Segment(5.0, 1.0, 1e-300)]), "without mass"),
        (lambda: tip_compliance(bar, [Spring(25.0, 1.0)]), "not on a boundary"),
        (lambda: tip_compliance(bar, [Spring(-1.0, 1.0)]), "not on a boundary"),
        (lambda: tip_compliance(bar, [Spring(50.001, 1.0)]), "not on a boundary"),
        (lambda: tip_compliance(bar, [Spring(nan, 1.0)]), "not on a boundary"),
        (lambda: bending_frequencies(bar, [Spring(25.0, 1.0)]), "not on a boundary"),
        (lambda: tip_compliance(bar, force_at_mm=-0.1), "does not act"),
        (lambda: tip_compliance(bar, force_at_mm=50.1), "does not act"),
        (lambda: tip_compliance(bar, force_at_mm=nan), "does not act"),
    ]
    for bad in (0.0, -1.0, nan, inf):
        cases += [
            (partial(tip_compliance, [Segment(bad, 1.0, 1.0)]), "length"),
            (partial(tip_compliance, [Segment(1.0, bad, 1.0)]), "bending stiffness"),
            (partial(tip_compliance, bar, [Spring(0.0, bad)]), "spring's stiffness"),
            (partial(tip_compliance, bar, [Spring(0.0, None, bad)]), "spring's stiffness"),
        ]
    for bad in (-1.0, nan, inf):
        cases += [
            (partial(bending_frequencies, [Segment(1.0, 1.0, bad)]), "mass per length"),
            (partial(bending_frequencies, bar, tip_mass_kg=bad), "tip mass"),
        ]
    for call, words in cases:
        with pytest.raises(ValueError, match=words):
            call()


def test_a_spring_a_rounding_off_its_boundary_is_taken() -> None:
    """First principles: 0.1 + 0.2 mm is the same place as 0.3 mm."""
    pieces = [_segment(0.1, 20), _segment(0.2, 20), _segment(10, 20)]
    ends = boundaries_of(pieces)
    assert ends[2] != 0.3
    assert tip_compliance(pieces, [Spring(0.3, 1.0)]).per_spring_mm_per_n == (1.0,)
    assert tip_compliance(pieces, [Spring(0.3, 1.0)], 0.3).per_spring_mm_per_n == (1.0,)


@steady
@given(beams(), st.floats(0, 1))
def test_the_force_moves_the_tip_less_nearer_the_root(beam: Beam, share: float) -> None:
    """First principles: the deflection of the tip grows with the place of the force, from 0 without root spring."""
    segments, springs = beam
    assume(all(spring.z_mm > 0 for spring in springs))
    tip = boundaries_of(segments)[-1]
    places = np.array([0.0, share / 2, share, 1.0]) * tip
    found = [tip_compliance(segments, springs, float(z)).total_mm_per_n for z in places]
    assert found[0] == 0.0
    assert all(near <= far * (1 + 1e-12) for near, far in pairwise(found))
    assert found[-1] == pytest.approx(tip_compliance(segments, springs).total_mm_per_n, rel=1e-12)

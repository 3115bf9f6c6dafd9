"""Sections of a beam, and cones cut into cylinders."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from rules.bending.beam import Segment, Slice, area_mm2, cone_slices, second_moment_mm4, tip_compliance
from rules.bending.frequencies import bending_frequencies

MODULUS, DENSITY = 210e3, 7850e-9

steady = settings(deadline=None, derandomize=True, max_examples=120)


def _segment(length: float, diameter: float) -> Segment:
    return Segment(length, MODULUS * second_moment_mm4(diameter), DENSITY * area_mm2(diameter))


def _of_slices(slices: Sequence[Slice]) -> list[Segment]:
    return [Segment(part.length_mm, MODULUS * part.second_moment_mm4, DENSITY * part.area_mm2) for part in slices]


def _frequency_and_compliance(
    before: list[Segment], slices: Sequence[Slice], beyond: list[Segment]
) -> tuple[float, float]:
    beam = [*before, *_of_slices(slices), *beyond]
    return bending_frequencies(beam, count=1, elements=12)[0], tip_compliance(beam).total_mm_per_n


stubs = st.lists(st.builds(_segment, st.floats(2, 100), st.floats(4, 80)), max_size=2)


@settings(deadline=None, derandomize=True, max_examples=300)
@given(
    stubs, st.floats(1, 250), st.floats(2, 100), st.floats(-1, 1),
    st.sampled_from([0.0, 0.2, 0.6, 0.9, 0.97, 0.99]), stubs,
)  # fmt: skip
def test_twice_the_slices_change_little(
    before: list[Segment], length: float, start: float, power: float, bore_share: float, beyond: list[Segment]
) -> None:
    """First principles: cones up to 1 : 10 either way, solid to thin-walled, alone or in a stack: f₁ within 0.5 %."""
    end = start * 10.0**power
    bore = bore_share * min(start, end)
    coarse, soft = _frequency_and_compliance(before, cone_slices(length, start, end, bore), beyond)
    fine, _ = _frequency_and_compliance(before, cone_slices(length, start, end, bore, finer=2), beyond)
    finest, exact = _frequency_and_compliance(before, cone_slices(length, start, end, bore, finer=6), beyond)
    assert fine == pytest.approx(coarse, rel=5e-3)
    assert finest == pytest.approx(coarse, rel=5e-3)
    assert soft == pytest.approx(exact, rel=8e-3)


@steady
@given(st.floats(0.1, 500), st.floats(1, 200), st.floats(1, 200), st.floats(0, 0.98), st.integers(1, 3))
def test_slices_keep_length_mass_and_mean_softness(
    length: float, start: float, end: float, share: float, finer: int
) -> None:
    """First principles: Σl = L, Σl·A is the volume, Σl/I is ∫dz/I by quadrature; pairs of equal length."""
    bore = share * min(start, end)
    slices = cone_slices(length, start, end, bore, finer)
    squares = (start * start + start * end + end * end) / 3.0 - bore * bore
    assert math.fsum(part.length_mm for part in slices) == pytest.approx(length, rel=1e-12)
    assert math.fsum(part.length_mm * part.area_mm2 for part in slices) == pytest.approx(
        length * math.pi / 4 * squares, rel=1e-9
    )
    softness = quad(
        lambda z: 1.0 / second_moment_mm4(start + (end - start) * z, bore), 0, 1, epsabs=0, epsrel=1e-10, limit=500
    )[0]
    assert math.fsum(part.length_mm / part.second_moment_mm4 for part in slices) == pytest.approx(
        length * softness, rel=2e-4
    )
    assert min(min(part.second_moment_mm4, part.area_mm2, part.length_mm) for part in slices) > 0.0


def test_few_slices_serve() -> None:
    """First principles: a cylinder is one, a slight cone two, 1 : 2 eight, 1 : 10 twenty-two."""
    ends = [(20.0, 20.0), (20.0, 20.5), (20.0, 22.0), (40.0, 20.0), (10.0, 100.0)]
    assert [len(cone_slices(30.0, start, end)) for start, end in ends] == [1, 2, 4, 8, 22]


def test_a_cone_read_backwards() -> None:
    """First principles: from the other end the slices are the same in reverse."""
    there, back = cone_slices(50.0, 44.0, 21.0, 9.0), cone_slices(50.0, 21.0, 44.0, 9.0)
    for one, other in zip(there, reversed(back), strict=True):
        assert (one.length_mm, one.second_moment_mm4, one.area_mm2) == pytest.approx(
            (other.length_mm, other.second_moment_mm4, other.area_mm2), rel=1e-10
        )


@settings(deadline=None, derandomize=True, max_examples=200)
@given(st.floats(-3, 3.7), st.floats(-3, 3.7), st.floats(-3, 3.7), st.floats(0, 1 - 1e-9))
def test_any_cone_has_sound_slices(length: float, start: float, end: float, share: float) -> None:
    """First principles: lengths and diameters from a micrometre to metres, walls down to nearly none."""
    diameters = 10.0**start, 10.0**end
    slices = cone_slices(10.0**length, *diameters, share * min(diameters))
    assert 1 <= len(slices) <= 64
    for part in slices:
        assert all(0.0 < value < math.inf for value in (part.length_mm, part.second_moment_mm4, part.area_mm2))
    assert math.fsum(part.length_mm for part in slices) == pytest.approx(10.0**length, rel=1e-9)


def test_refusals_of_sections() -> None:
    """Each misuse is named."""
    nan, inf = math.nan, math.inf
    cases: list[tuple[Callable[[], object], str]] = [
        (lambda: cone_slices(0.0, 20, 10), "cone's length"),
        (lambda: cone_slices(inf, 20, 10), "cone's length"),
        (lambda: cone_slices(10, 20, 10, finer=0), "cannot be divided"),
        (lambda: cone_slices(10, 20, 10, 10), "no wall"),
        (lambda: cone_slices(10, 0.0, 10), "diameter"),
        (lambda: cone_slices(10, 10, inf), "diameter"),
        (lambda: second_moment_mm4(20, 20), "no wall"),
        (lambda: second_moment_mm4(20, -1), "no wall"),
        (lambda: area_mm2(nan), "diameter"),
    ]
    for call, words in cases:
        with pytest.raises(ValueError, match=words):
            call()

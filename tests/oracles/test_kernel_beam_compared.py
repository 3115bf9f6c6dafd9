"""The compiled bending frequencies against the same elements in Python, solved as a whole matrix."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from typing import Any

import pytest

from rules.bending.beam import Segment, Spring
from rules.bending.frequencies import frequencies_by_springs
from rules.kernel import frequencies
from rules.quantities.work_limit import charge
from tests.oracles.beam_frequencies import frequencies_by_springs as in_python


def _segment(rng: random.Random, spread: float) -> Segment:
    diameter, bore = 20.0 * 10.0 ** rng.uniform(-spread, spread), 0.0
    if rng.random() < 0.4:
        bore = diameter * rng.uniform(0.1, 0.9)
    modulus, density = rng.choice([(210e3, 7850e-9), (600e3, 14500e-9), (70e3, 2700e-9)])
    area, second = math.pi / 4 * (diameter**2 - bore**2), math.pi / 64 * (diameter**4 - bore**4)
    length = 30.0 * 10.0 ** rng.uniform(-spread, spread)
    shear = rng.choice([math.inf, 0.85 * modulus / 2.6 * area])
    return Segment(length, modulus * second, density * area, shear, rng.choice([0.0, density * second]))


def beams(seed: int) -> Iterator[tuple[list[Segment], list[list[Spring]], float, int, int]]:
    """Yield segments, sets of springs, tip mass, number of frequencies and of elements."""
    rng = random.Random(seed)
    while True:
        spread = rng.choice([0.3, 0.5, 1.5])
        segments = [_segment(rng, spread) for _ in range(rng.choice([1, 2, 3, 5, 8, 20, 40]))]
        if rng.random() < 0.2:
            segments = [one for one in segments for _ in range(2)]
        ends = [math.fsum(one.length_mm for one in segments[:n]) for n in range(len(segments) + 1)]
        places = rng.sample(ends, min(len(ends), rng.choice([0, 1, 2, 5])))
        sets = [
            [
                Spring(z, rng.choice([None, 10.0 ** rng.uniform(3, 7)]), rng.choice([None, 10.0 ** rng.uniform(6, 11)]))
                for z in places
            ]
            for _ in range(rng.choice([1, 3]))
        ]
        yield segments, sets, rng.choice([0.0, 0.0, 0.5]), rng.choice([1, 3, 3, 6]), rng.choice([4, 4, 20])


def _compare(seed: int, count: int) -> None:
    for _, (segments, sets, tip_mass, wanted, elements) in zip(range(count), beams(seed), strict=False):
        # all eigenvalues of the whole matrix: its iteration for a few is less exact
        expected = in_python(segments, sets, tip_mass, 30, elements)
        found = frequencies_by_springs(segments, sets, tip_mass, wanted, elements)
        for own, other in zip(found, expected, strict=True):
            # an eigenvalue has the rounding of the largest: 10⁻¹⁵ of it, more in a higher frequency
            for value, exact in zip(own, other, strict=False):
                assert value == pytest.approx(exact, rel=1e-10 + 3e-14 * (exact / other[0]) ** 2)
            # one at the edge of what can be told from nothing may be found or not
            certain = [exact for exact in other if exact < 0.9e6 * other[0]]
            assert min(wanted, len(certain)) <= len(own) <= wanted
            assert list(own) == sorted(own)


def test_frequencies_alike() -> None:
    """First principles: beams of one segment to eighty, slender and stubby, on springs soft and stiff."""
    _compare(1, 250)


@pytest.mark.long
@pytest.mark.parametrize("seed", range(2, 22))
def test_a_hundred_thousand_beams_alike(seed: int) -> None:
    """First principles: the same, for 5,000 beams of each seed."""
    _compare(seed, 5000)


BAR = Segment(100.0, 1e9, 1e-3)


@pytest.mark.parametrize(
    "changed",
    [
        {"segments": [(1.0, 2.0)]},
        {"segments": [(1.0, 2.0, "heavy", 1.0, 1.0)]},
        {"segments": [(-1.0, 1.0, 1.0, 1.0, 1.0)]},
        {"segments": [(1.0, math.nan, 1.0, 1.0, 1.0)]},
        {"segments": 3},
        {"segments": [(1.0, 1.0, 0.0, 1.0, 0.0)]},
        {"segments": []},
        {"joints": [2]},
        {"joints": [-1]},
        {"joints": [1, 0]},
        {"sets": [[1.0]]},
        {"count": 0},
        {"elements": 0.0},
        {"elements": math.inf},
        {"tip_mass": math.nan},
    ],
    ids=str,
)
def test_what_is_no_beam(changed: dict[str, Any]) -> None:
    """The kernel checks what it is given, whatever its caller has checked."""
    given = {"segments": [BAR], "joints": [0], "sets": [[0.0, 0.0]], "tip_mass": 0.0, "count": 3, "elements": 4.0}
    with pytest.raises((ValueError, TypeError)):
        frequencies(*(given | changed).values(), charge)

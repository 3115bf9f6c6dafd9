"""The compiled laws of random sums against the same laws computed in Python."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from itertools import pairwise
from typing import Any, Final, NamedTuple

import numpy as np
import pytest

from rules.kernel import Law
from rules.quantities.work_limit import charge
from tests.oracles.random_vectors.law import StepLaw, resultant_law, table_of
from tests.oracles.random_vectors.quantiles import law_quantiles

ERROR: Final = 1e-7
"""In probability. The other computation looks its Bessel functions up within 1e-8 each."""

LEVELS: Final = (0.01, 0.5, 0.95, 0.99)


class Vectors(NamedTuple):
    """Vectors of one resultant, in a unit in which their sum is 1."""

    rings: list[float]
    sigma: float
    discs: list[float]
    bands: list[tuple[float, float]]

    def law(self) -> Law:
        """Return the compiled law."""
        lows, highs = [low for low, _ in self.bands], [high for _, high in self.bands]
        return Law(self.rings, self.sigma, self.discs, lows, highs, charge)


def vectors(seed: int) -> Iterator[Vectors]:
    """Yield vectors alike, unlike, far apart, equal; some kinds of them or all, without and with a Gaussian."""
    rng = random.Random(seed)
    sizes = (
        lambda: rng.uniform(0.05, 10.0),
        lambda: 10.0 ** rng.uniform(-3.0, 3.0),
        lambda: rng.choice([1.0, 2.0, 0.5]),
        lambda: 10.0 ** rng.uniform(-1.0, 1.0),
        lambda: rng.uniform(1.0, 3.0),
    )
    while True:
        size = rng.choice(sizes)
        rings = [size() for _ in range(rng.choice([0, 0, 1, 2, 3, 4, 5, 6, 8]))]
        discs = [size() for _ in range(rng.choice([0, 0, 1, 2, 3, 5]))]
        highs = [size() for _ in range(rng.choice([0, 0, 0, 0, 1, 2, 3]))]
        bands = [(high * rng.choice([0.0, 0.5, 0.9, rng.random()]), high) for high in highs]
        sigma = rng.choice([0.0, 0.0, size()])
        scale = math.fsum([*rings, *discs, *highs, sigma])
        if scale > 0.0:
            yield Vectors(
                [a / scale for a in rings],
                sigma / scale,
                [a / scale for a in discs],
                [(low / scale, high / scale) for low, high in bands],
            )


def _compare(seed: int, count: int) -> dict[str, int]:
    kinds: dict[str, int] = {}
    rng = random.Random(-seed)
    for _, one in zip(range(count), vectors(seed), strict=False):
        law, other = one.law(), resultant_law(*one)
        kinds[law.kind] = kinds.get(law.kind, 0) + 1
        if one.sigma == 0.0:  # else a support is where a law stops counting, and each way of computing has its own
            assert (law.lower, law.upper) == pytest.approx((other.lower, other.upper), rel=1e-14, abs=1e-15), one
        quantiles = law.quantiles(LEVELS)
        if isinstance(other, StepLaw):
            assert law.kind == "step"
            assert quantiles == [other.radius] * len(LEVELS)
            continue
        radii = [rng.uniform(law.lower, law.upper) for _ in range(4)]
        assert law.cdf(radii) == pytest.approx(other.cdf(np.array(radii)).tolist(), abs=ERROR), one
        # where the law is steep, a rounding of the radius is much in probability
        below, above = (other.cdf(np.array(quantiles) * turn) for turn in (1.0 - 1e-14, 1.0 + 1e-14))
        assert np.all(below < np.array(LEVELS) + ERROR), one
        assert np.all(above > np.array(LEVELS) - ERROR), one
    return kinds


def test_laws_alike() -> None:
    """First principles: supports, probabilities and quantiles of laws of every kind."""
    kinds = _compare(1, 400)
    assert len(kinds) >= 8


@pytest.mark.long
@pytest.mark.parametrize("seed", range(2, 22))
def test_a_hundred_thousand_laws_alike(seed: int) -> None:
    """First principles: the same, for 5,000 laws of each seed."""
    _compare(seed, 5000)


def test_quantiles_are_those_found_in_python() -> None:
    """First principles: the radii themselves, in the balanced laws of real stacks."""
    rng = random.Random(3)
    for count in range(3, 13):
        for kind in range(2):
            sizes = [rng.uniform(1.0, 4.0) for _ in range(count)]
            total = math.fsum(sizes)
            sizes = [size / total for size in sizes]
            one = Vectors([] if kind else sizes, 0.0, sizes if kind else [], [])
            found = law_quantiles(resultant_law(*one), np.array(LEVELS)).tolist()
            assert one.law().quantiles(LEVELS) == pytest.approx(found, abs=2e-6)


def _less_by_tables(first: Any, second: Any) -> float:
    """Return ∫ F₁ dF₂ by the trapezoidal rule on a fine common grid of the tables."""
    weight, measure = table_of(first), table_of(second)
    radii = np.unique(np.concatenate([np.linspace(measure.edges[0], measure.edges[-1], 20_001), measure.edges]))
    share = weight.cdf(radii)
    steps = np.diff(np.append(measure.cdf(radii[:-1]), 1.0))
    return float(np.sum(0.5 * (share[1:] + share[:-1]) * steps))


def test_chances_of_less_alike() -> None:
    """First principles: Stieltjes' integral of one table over the other."""
    drawn = [one for _, one in zip(range(24), vectors(4), strict=False) if one.law().kind != "step"]
    for first, second in pairwise(drawn):
        expected = _less_by_tables(resultant_law(*first), resultant_law(*second))
        assert first.law().less(second.law()) == pytest.approx(expected, abs=2e-5)


@pytest.mark.parametrize(
    "wrong",
    [
        {"rings": [math.nan]},
        {"rings": [-1.0]},
        {"sigma": math.inf},
        {"discs": [math.inf]},
        {"lows": [0.0]},
        {"rings": ["wide"]},
        {"rings": 3},
    ],
)
def test_what_is_no_law(wrong: dict[str, Any]) -> None:
    """Sizes that are none are refused, not computed with."""
    given: dict[str, Any] = {"rings": [], "sigma": 0.0, "discs": [], "lows": [], "highs": [], "charge": charge} | wrong
    with pytest.raises((ValueError, TypeError)):
        Law(**given)


def test_what_stops_the_count_stops_the_law() -> None:
    """An exception of the counting callable ends the computation and is the one that is raised."""

    class StopError(Exception):
        pass

    counted = 0

    def count(steps: int) -> None:
        nonlocal counted
        counted += steps
        if counted > 100_000:
            raise StopError

    with pytest.raises(StopError):
        Law([0.5, 0.4, 0.09, 1e-3, 1e-5, 1e-7, 1e-9], 0.0, [], [], [], count)
    assert counted < 200_000

"""The law of rings, discs, bands and a Gaussian: quadrature of the Hankel integral, and random draws."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import j0, j1

from rules.random_vectors.comparison import chance_of_less_than
from rules.random_vectors.random_sum import Question, RandomClocking
from tests.oracles.random_vectors import law as law_of
from tests.oracles.random_vectors.series import SeriesLaw

ERROR = 1e-6
BANDS_ERROR = 1e-7
LEVELS = (0.5, 0.8, 0.95, 0.99)
PRESS_IN = (4.37, 2.0, 3.58, 3.0, 3.0)


class Case(NamedTuple):
    """Vectors, probabilities at radii, and the quantiles of LEVELS."""

    rings: list[float]
    sigma: float
    discs: list[float]
    bands: list[tuple[float, float]]
    probabilities: dict[float, float]
    quantiles: tuple[float, float, float, float]

    def law(self) -> RandomClocking:
        """Return the law under test."""
        return RandomClocking(self.rings, self.sigma, self.discs, self.bands)


# Fourier–Bessel series and Hankel integral by Gauss–Legendre, which agree to the last digit given
CASES = {
    "one disc": Case([], 0, [1], [], {0.5: 0.25}, (0.707107, 0.894427, 0.974679, 0.994987)),
    "two discs": Case([], 0, [1, 1], [], {0.5: 0.1972822, 1.5: 0.9040304}, (0.891291, 1.301643, 1.623796, 1.808880)),
    "three discs": Case([], 0, [1] * 3, [], {1: 0.4596204, 2: 0.9394944}, (1.058951, 1.575676, 2.052502, 2.389931)),
    "five discs": Case([], 0, [1] * 5, [], {1: 0.3148713, 2: 0.7931497}, (1.346779, 2.020061, 2.687761, 3.230051)),
    "20 discs": Case([], 0, [1] * 20, [], {4: 0.7969933, 6: 0.9740373}, (2.647309, 4.018419, 5.450188, 6.710783)),
    "uneven discs": Case(
        [], 0, [3, 2, 2.5, 1, 1.2], [], {2: 0.2855826, 5: 0.9057008}, (2.842992, 4.220101, 5.526925, 6.536811)
    ),
    "discs, rings, Gaussian": Case(
        [2.5, 1], 0.6, [3, 2], [], {2: 0.2130146, 6: 0.9306891}, (3.343561, 4.884827, 6.270000, 7.300720)
    ),
    "disc and Gaussian": Case([], 1, [4], [], {2: 0.2471126, 5: 0.9539860}, (2.909834, 3.990660, 4.953555, 5.731761)),
    "one large disc": Case(
        [], 0, [10, 1, 1, 1], [], {5: 0.25, 10: 0.9299322}, (7.071068, 8.999500, 10.229439, 11.037655)
    ),
    "one large ring": Case(
        [10], 0, [1, 1, 1], [], {9: 0.1207774, 11: 0.8609304}, (10.039814, 10.790343, 11.464031, 11.961828)
    ),
    "very uneven discs": Case(
        [], 0, [10, 8, 0.5, 0.1], [], {5: 0.2281665, 15: 0.9611614}, (8.102138, 11.769679, 14.653725, 16.321116)
    ),
    "a band and discs": Case(
        [], 0, [3, 2], [(3.5, 17)], {5: 0.1076872, 15: 0.8358742}, (10.409109, 14.463407, 17.232609, 18.962679)
    ),
    "press-in stack, up to the limits": Case(
        [], 0, [*PRESS_IN], [], {7: 0.83541, 10: 0.98334}, (4.450, 6.641, 8.776, 10.477)
    ),
    "press-in stack, at the limits": Case(
        [*PRESS_IN], 0, [], [], {7: 0.56892, 10: 0.84082}, (6.388, 9.434, 12.280, 14.206)
    ),
    "press-in stack, one part measured": Case(
        [4.37], 0, [2, 3.58, 3, 3], [], {7: 0.72164, 10: 0.95649}, (5.380, 7.699, 9.832, 11.463)
    ),
    "press-in stack, uniform radius": Case(
        [], 0, [], [(0, a) for a in PRESS_IN], {7: 0.93560, 10: 0.99726}, (3.553, 5.397, 7.303, 8.942)
    ),
    "unbalance": Case([3.0], 0, [0.75, 2.1], [], {}, (3.2545, 4.3161, 4.9019, 5.2606)),
    "slip fit that tilts": Case([], 0, [37.4, 20.4], [], {}, (27.4645, 39.9, 47.505, 51.9)),
}
COARSE = {"unbalance": (0, 2), "slip fit that tilts": (0, 2)}
"""Levels whose quantiles come from elsewhere; the others are not compared."""


@pytest.mark.parametrize("name", CASES)
def test_probabilities_and_quantiles(name: str) -> None:
    """First principles: frozen values of two independent computations."""
    case = CASES[name]
    law = case.law()
    [answer] = RandomClocking.figures_of([Question(law, LEVELS, tuple(case.probabilities))])
    assert answer.chances == pytest.approx(tuple(case.probabilities.values()), abs=6e-6 if "press" in name else ERROR)
    close = 6e-4 if "press" in name else 2e-6
    for level in COARSE.get(name, range(4)):
        assert answer.quantiles[level] == pytest.approx(case.quantiles[level], abs=6e-3 if name in COARSE else close)
    assert law.cdf(list(answer.quantiles)) == pytest.approx(LEVELS, abs=ERROR)


def _by_quadrature(case: Case, radius: float) -> float:
    """Return r·∫₀^∞ φ(t)·J₁(rt) dt in panels of half a wave of the fastest factor."""

    def factor(t: float) -> float:
        value = float(np.exp(-0.5 * (case.sigma * t) ** 2))
        for a in case.rings:
            value *= float(j0(a * t))
        for a in case.discs:
            value *= 2.0 * float(j1(a * t)) / (a * t) if t > 0.0 else 1.0
        for low, high in case.bands:
            value *= quad(lambda u: float(j0(u * t)), low, high, limit=400)[0] / (high - low)
        return value * float(j1(radius * t))

    fastest = radius + sum(case.rings) + sum(case.discs) + sum(high for _, high in case.bands)
    nodes, weights = np.polynomial.legendre.leggauss(20)
    total, width = 0.0, np.pi / fastest
    for panel in range(4000):
        points = (panel + 0.5 + 0.5 * nodes) * width
        part = 0.5 * width * float(np.dot(weights, [factor(t) for t in points.tolist()]))
        total += part
        if panel > 40 and abs(part) < 1e-11:
            break
    return radius * total


@pytest.mark.parametrize(
    ("name", "radius"), [("five discs", 1.7), ("discs, rings, Gaussian", 4.0), ("disc and Gaussian", 3.3)]
)
def test_the_hankel_integral_itself(name: str, radius: float) -> None:
    """First principles: the integral by another quadrature."""
    case = CASES[name]
    assert case.law().probability(radius) == pytest.approx(_by_quadrature(case, radius), abs=ERROR)


def _drawn(case: Case, count: int) -> np.ndarray:
    """Return resultants of random vectors."""
    random = np.random.default_rng(20_240_607)
    total = np.zeros(count, dtype=complex)
    lengths = [np.full(count, float(a)) for a in case.rings]
    lengths += [a * np.sqrt(random.random(count)) for a in case.discs]
    lengths += [low + (high - low) * random.random(count) for low, high in case.bands]
    for length in lengths:
        total += length * np.exp(2j * np.pi * random.random(count))
    return np.abs(total + case.sigma * (random.standard_normal(count) + 1j * random.standard_normal(count)))


@pytest.mark.parametrize("name", CASES)
def test_random_draws(name: str) -> None:
    """First principles: 400,000 assemblies, 0.0032 at five standard errors and more."""
    case = CASES[name]
    drawn = _drawn(case, 400_000)
    radii = np.quantile(drawn, [0.1, 0.3, 0.5, 0.7, 0.9, 0.99])
    assert case.law().cdf(radii) == pytest.approx([0.1, 0.3, 0.5, 0.7, 0.9, 0.99], abs=0.0045)


@pytest.mark.parametrize("name", CASES)
def test_the_largest_vector_added_to_the_law_of_the_rest(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """First principles: conditioning on the largest vector leads to the same law as the series."""
    case = CASES[name]
    law = case.law()
    if law.law_in(law.scale).kind != "series":
        return
    radii = np.array([0.3, 0.5, 0.8]) * law.greatest + case.sigma
    series, calls = law_of.series_law, []

    def none_at_first(*arguments: object) -> SeriesLaw | None:
        calls.append(arguments)
        return None if len(calls) == 1 else series(*arguments)  # type: ignore[arg-type]

    monkeypatch.setattr(law_of, "series_law", none_at_first)
    other = law_of.resultant_law(case.rings, case.sigma, case.discs, case.bands)
    assert other.cdf(radii) == pytest.approx(law.cdf(radii), abs=ERROR)
    assert calls


@pytest.mark.parametrize("large", [1e3, 1e4, 1e6])
def test_a_vector_beside_one_thousands_of_times_larger(large: float) -> None:
    """First principles: the quantiles tend to those of the large disc alone."""
    law = RandomClocking([], discs=[large, 1.0, 0.5])
    assert law.quantiles([0.25, 0.5]) == pytest.approx([large / 2.0, large / np.sqrt(2.0)], rel=2.0 / large**1.5 + 1e-7)
    assert law.greatest == large + 1.5


@pytest.mark.parametrize("small", [3.3, 1.1e-2, 1e-5, 1e-9])
def test_a_small_ring_beside_a_band(small: float) -> None:
    """First principles: to second order a small ring lengthens the sum by s²/(4·r), whatever the rounding."""
    law = RandomClocking([small], bands=[(0.0, 1000.0)])
    for share in (0.25, 0.5, 0.8):
        r = 1000.0 * share
        assert law.probability(r) == pytest.approx(share - small**2 / (4.0 * r) / 1000.0, abs=1e-7)


BANDS = {
    "two alike": ([], [], [(0.0, 1.0), (0.0, 1.0)]),
    "two unlike": ([], [], [(0.0, 1.0), (3.0, 100.0)]),
    "two and a disc": ([], [1e-3], [(0.0, 1.0), (3.0, 30.0)]),
    "one, and one hundreds of times smaller": ([], [], [(2.0, 4.0), (0.0, 0.01)]),
    "one and a larger ring": ([10.0], [], [(0.0, 1e-3)]),
}


@pytest.mark.parametrize("name", BANDS)
def test_bands_without_enough_others_for_a_series(name: str) -> None:
    """First principles: 400,000 assemblies, 0.0045 at five standard errors and more."""
    rings, discs, bands = BANDS[name]
    case = Case(rings, 0, discs, bands, {}, (0, 0, 0, 0))
    assert case.law().law_in(1.0).kind != "series"
    shares = [0.1, 0.3, 0.5, 0.7, 0.9]
    assert case.law().cdf(np.quantile(_drawn(case, 400_000), shares)) == pytest.approx(shares, abs=0.0045)


def _two_bands_by_quadrature(radius: float, first: tuple[float, float], second: tuple[float, float]) -> float:
    """Return the mean, over both amplitudes u and v, of acos((u² + v² − r²)/(2uv))/π, cut where it changes form."""

    def of_one(v: float) -> float:
        def angle(u: float) -> float:
            if u + v <= radius:
                return 1.0
            cosine = (u * u + v * v - radius**2) / (2.0 * u * v)
            return 0.0 if abs(u - v) >= radius else float(np.arccos(cosine)) / np.pi

        return mean(angle, first, [abs(radius - v), radius + v, v - radius])

    def mean(of: Callable[[float], float], band: tuple[float, float], kinks: list[float]) -> float:
        low, high = band
        cuts = sorted({low, high, *(kink for kink in kinks if low < kink < high)})
        return sum(quad(of, *part, epsabs=1e-10, epsrel=1e-10, limit=200)[0] for part in pairwise(cuts)) / (high - low)

    ends = [sign * radius + turn * end for sign in (1, -1) for turn in (1, -1) for end in first]
    return mean(of_one, second, [*ends, radius])


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ((0.0, 1.0), (0.0, 1.0)),
        ((0.0, 1.0), (3.0, 4.5)),
        ((0.5, 1.0), (0.2, 0.8)),
        ((0.9, 1.0), (0.95, 1.0)),
        ((0.0, 2.0), (1.99, 2.0)),
        ((2.0, 4.0), (0.0, 0.01)),
        ((0.3, 0.7), (0.001, 0.005)),
    ],
)
def test_two_bands_are_held_to_1e_7(first: tuple[float, float], second: tuple[float, float]) -> None:
    """First principles: adaptive quadrature over both amplitudes, for the compiled law and for that in Python."""
    law, other = RandomClocking([], bands=[first, second]), law_of.resultant_law([], 0.0, [], [first, second])
    assert not isinstance(other, SeriesLaw)
    radii = law.least + (law.greatest - law.least) * np.array([0.03, 0.35, 0.68, 0.9])
    expected = [_two_bands_by_quadrature(radius, first, second) for radius in radii.tolist()]
    assert law.cdf(radii) == pytest.approx(expected, abs=BANDS_ERROR)
    assert other.cdf(radii) == pytest.approx(expected, abs=BANDS_ERROR)


@pytest.mark.parametrize(
    ("first", "second", "probability"),
    [
        (RandomClocking([], discs=[3, 2, 1]), RandomClocking([2, 1.5]), 0.48472),
        (RandomClocking([], discs=[1] * 3), RandomClocking([], discs=[1] * 2), 0.4),
        (RandomClocking([], discs=[*PRESS_IN]), RandomClocking([], discs=[*PRESS_IN[:4], 1.0]), 0.46049),
        (RandomClocking([*PRESS_IN]), RandomClocking([*PRESS_IN[:4], 1.0]), 0.46080),
    ],
)
def test_one_resultant_below_another(first: RandomClocking, second: RandomClocking, probability: float) -> None:
    """First principles: ∫ F_A dF_B of an independent computation; two rings have a singular density."""
    assert chance_of_less_than(first, second) == pytest.approx(probability, abs=6e-6)

"""Posteriors of a calibration against closed forms, adaptive quadrature and the law of the resultant."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate, stats

from rules.calibration.formulas import (
    Kind,
    Prior,
    Table,
    TooManyLinkedError,
    fit,
    log_marginal,
    quantiles_on,
    reading_densities,
)
from rules.random_vectors.moments import gaussian_sigma
from rules.random_vectors.random_sum import RandomClocking

ALONE = Kind((), (), (), 0.0, ((0, (0.5,)),), 0.005)
"""One part of a class that is read where its scale counts, with a reading error of 0.02 µm."""


@pytest.mark.parametrize(
    ("readings", "prior"),
    [
        ([2.0, 3.1, 1.2, 2.7, 3.0], Prior(3.0, 0.4)),
        ([0.5, 0.8], Prior(3.0, 0.4)),
        ([2.0, 3.1, 1.2, 2.7, 3.0, 1.9, 2.8, 2.2, 0.6, 1.7, 2.5, 3.05], Prior(10.0, 0.7)),
    ],
)
def test_one_disc_has_a_truncated_normal_posterior_in_the_logarithm(readings: list[float], prior: Prior) -> None:
    """Exact mathematics: the density 2y/s² on [0, s] times a log-normal prior shifts its mean by −2nτ² and cuts it."""
    middle = math.log(prior.median) - 2.0 * len(readings) * prior.spread**2
    start = (math.log(max(readings)) - middle) / prior.spread
    exact = stats.truncnorm(start, math.inf, loc=middle, scale=prior.spread)
    kinds = [ALONE] * len(readings)
    found = fit(kinds, readings, [1.0] * len(readings), [prior], [5.0], foreign_share=0.0)
    levels = (0.05, 0.5, 0.95)
    assert quantiles_on(found.marginals[0], levels) == pytest.approx(np.exp(exact.ppf(levels)).tolist(), rel=6e-3)


def test_plane_gaussians_have_the_posterior_of_adaptive_quadrature() -> None:
    """Exact mathematics: R of plane Gaussians is Rayleigh, so the likelihood is Π r/V·exp(−r²/2V), V = (σs)² + e²."""
    readings, prior, error = [2.0, 5.1, 1.2, 3.3, 4.0, 0.9], Prior(3.0, 0.4), 0.25
    kind = Kind((), (), (), 0.6, ((0, (0.5,)),), error)

    def density(log_scale: float, power: float = 0.0) -> float:
        scale = math.exp(log_scale)
        variance = (gaussian_sigma(0.5) * scale) ** 2 + 0.6**2 + error**2
        value = -0.5 * (math.log(scale / prior.median) / prior.spread) ** 2
        for reading in readings:
            value += math.log(reading / 2.0 / variance) - (reading / 2.0) ** 2 / (2.0 * variance)
        return math.exp(value) * float(scale**power)

    total, first, second = (integrate.quad(density, -1.0, 3.5, args=(power,), epsrel=1e-10)[0] for power in (0, 1, 2))
    found = fit([kind] * 6, readings, [1.0] * 6, [prior], [5.0], law="capability", foreign_share=0.0)
    assert found.marginals[0].mean() == pytest.approx(first / total, rel=1e-6)
    assert found.marginals[0].mean(2.0) == pytest.approx(second / total, rel=1e-6)


@pytest.mark.parametrize(
    "kind",
    [
        Kind((), (3.0,), (), 0.0, ((0, (0.5,)), (1, (0.8,))), 0.2),
        Kind((2.0,), (), (), 0.5, ((0, (0.5, 0.7)),), 0.3),
        Kind((), (1.0,), ((1.0, 2.0),), 0.0, ((0, (0.5,)), (1, (0.8,)), (2, (0.1,))), 0.25),
        Kind((4.0, 1.0), (), (), 0.0, (), 0.25),
    ],
)
def test_densities_are_the_slope_of_the_law_of_the_resultant(kind: Kind) -> None:
    """The law is another program: a series of the distribution function, or a table."""
    grids = [np.array([2.0, 3.0, 5.0]), np.array([4.0, 6.0]), np.array([1.0, 9.0])][: len(kind.levers)]
    readings = np.array([1.0, 4.0, 7.5, 12.0])
    found = np.concatenate([part for _, part in reading_densities(kind, grids, readings, "limit")], axis=-1)
    for place in np.ndindex(*(grid.size for grid in grids)):
        scales = [grid[one] for grid, one in zip(grids, place, strict=True)]
        sizes = [lever * scale for scale, (_, own) in zip(scales, kind.levers, strict=True) for lever in own]
        law = RandomClocking(kind.rings, math.hypot(kind.sigma, kind.error), [*kind.discs, *sizes], kind.bands)
        step = 0.02
        slope = (law.cdf((readings + step) / 2.0) - law.cdf((readings - step) / 2.0)) / (2.0 * step)
        assert found[place] == pytest.approx(slope, abs=2e-4)


def test_elimination_is_the_sum_over_the_whole_product() -> None:
    random = np.random.default_rng(5)
    scopes = [(0,), (1,), (0, 2), (1, 2), (2, 3), (3, 4)]
    tables = [Table(scope, random.normal(size=[3 + one for one in scope])) for scope in scopes]
    whole = np.einsum(
        *(each for table in tables for each in (np.exp(table.values), list(table.scope))), [0, 1, 2, 3, 4]
    )
    for keep in [(0,), (3,), (0, 1), (2, 4)]:
        others = tuple(axis for axis in range(5) if axis not in keep)
        assert np.exp(log_marginal(tables, keep)) == pytest.approx(whole.sum(axis=others), rel=1e-12)


def test_a_ring_of_too_many_classes_is_refused() -> None:
    kinds = [
        Kind((), (), (), 0.0, ((one, (0.5,)), (other, (0.5,))), 0.2) for one in range(6) for other in range(one + 1, 6)
    ]
    with pytest.raises(TooManyLinkedError):
        fit(kinds, [4.0] * len(kinds), [1.0] * len(kinds), [Prior(3.0, 0.4)] * 6, [5.0] * 6)

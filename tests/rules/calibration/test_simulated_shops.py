"""Simulated shops: what the posterior claims against the truth from which the readings were drawn.

Truth is drawn from the prior and readings from the model, so intervals must cover as they claim (exact mathematics).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import pytest
from numpy.typing import NDArray

from rules.calibration.formulas import Fit, Kind, Law, Prior, fit, quantiles_on
from rules.random_vectors.moments import gaussian_sigma
from rules.random_vectors.random_sum import RandomClocking

ERROR = 0.25
"""σ of each coordinate of a reading whose expanded uncertainty is 1 µm."""

HOLDER, COLLET, CUTTER = Prior(3.0, 0.399), Prior(5.0, 0.5), Prior(6.3, 0.547)
HIGH = 1.2816


class Shop(NamedTuple):
    """Kinds of stacks of a shop, each with the classes and levers of its unknown parts and a known limit, µm."""

    priors: Sequence[Prior]
    stacks: Sequence[tuple[tuple[tuple[int, float], ...], float]]
    per_kind: int
    """Assemblies read of each kind."""
    law: Law = "limit"


SHOPS = {
    "one class": Shop([HOLDER], [(((0, 0.5),), 1.0)], 30),
    "one class, few readings": Shop([HOLDER], [(((0, 0.5),), 0.5)], 6),
    "one class, capability": Shop([HOLDER], [(((0, 0.6),), 1.0)], 20, "capability"),
    "two holders, one cutter": Shop(
        [HOLDER, COLLET, CUTTER], [(((0, 0.5), (2, 0.7)), 0.5), (((1, 0.6), (2, 0.7)), 0.5)], 20
    ),
    "two classes never apart": Shop([HOLDER, CUTTER], [(((0, 0.5), (1, 0.5)), 0.5)], 25),
}


def _part(random: np.random.Generator, size: float, count: int, law: Law) -> NDArray[np.complex128]:
    if law == "capability":
        return np.asarray(gaussian_sigma(size) * (random.normal(size=count) + 1j * random.normal(size=count)))
    return np.asarray(size * np.sqrt(random.random(count)) * np.exp(2j * np.pi * random.random(count)))


def _readings(random: np.random.Generator, shop: Shop, truth: Sequence[float]) -> tuple[list[Kind], list[float]]:
    kinds: list[Kind] = []
    readings: list[float] = []
    for unknown, known in shop.stacks:
        total = _part(random, known, shop.per_kind, "limit") + ERROR * (
            random.normal(size=shop.per_kind) + 1j * random.normal(size=shop.per_kind)
        )
        for number, lever in unknown:
            total = total + _part(random, lever * truth[number], shop.per_kind, shop.law)
        kinds += [_kind(unknown, known)] * shop.per_kind
        readings += (2.0 * np.abs(total)).tolist()
    return kinds, readings


def _kind(unknown: Sequence[tuple[int, float]], known: float) -> Kind:
    return Kind((), (known,), (), 0.0, tuple((number, (lever,)) for number, lever in unknown), ERROR)


def _fit(shop: Shop, kinds: Sequence[Kind], readings: Sequence[float]) -> Fit:
    tops = [one.median * math.exp(HIGH * one.spread) for one in shop.priors]
    return fit(kinds, readings, [1.0] * len(kinds), shop.priors, tops, law=shop.law)


def _law(shop: Shop, stack: tuple[tuple[tuple[int, float], ...], float], scales: Sequence[float]) -> RandomClocking:
    sizes = [lever * scales[number] for number, lever in stack[0]]
    if shop.law == "capability":
        return RandomClocking([], gaussian_sigma(math.hypot(*sizes)), [stack[1]])
    return RandomClocking([], 0.0, [stack[1], *sizes])


def run(shop: Shop, shops: int, seed: int) -> tuple[list[float], float]:
    """Return the share of shops whose 90 % intervals hold the truth, by class, and the mean share below the p95."""
    random = np.random.default_rng(seed)
    held, below = np.zeros(len(shop.priors)), []
    for _ in range(shops):
        truth = [one.median * math.exp(one.spread * random.normal()) for one in shop.priors]
        found = _fit(shop, *_readings(random, shop, truth))
        for number, marginal in enumerate(found.marginals):
            low, high = quantiles_on(marginal, (0.05, 0.95))
            held[number] += low <= truth[number] <= high
        for stack in shop.stacks:
            predicted = float(_law(shop, stack, found.typical).quantiles((0.95,))[0])
            below.append(_law(shop, stack, truth).probability(predicted))
    return (held / shops).tolist(), math.fsum(below) / len(below)


@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=pytest.mark.long if len(shop.priors) > 2 else ()) for name, shop in SHOPS.items()]
)
def test_intervals_cover_and_new_assemblies_keep_the_predicted_p95(name: str) -> None:
    covered, below = run(SHOPS[name], 200, seed=11)
    assert all(0.85 <= one <= 0.95 for one in covered), covered
    assert 0.93 <= below <= 0.97, below


@pytest.mark.long
@pytest.mark.parametrize("name", SHOPS)
def test_a_thousand_shops_leave_less_to_chance(name: str) -> None:
    covered, below = run(SHOPS[name], 1000, seed=12)
    assert all(0.875 <= one <= 0.925 for one in covered), covered
    assert 0.935 <= below <= 0.965, below

"""Posterior of the runout scale of each class of parts, from readings of assemblies, on grids.

Every class of parts k has one unknown scale s_k: the limit of a disc, or the reading that 95 % of parts keep. A reading
y = 2R of an assembly has the density of the resultant R of its known vectors, of one vector per part of a class, of
lever·s_k, and of a plane Gaussian for the error of the reading. The density is the Fourier–Bessel series

    f(r) = Σ_n 2r/(S²·J₁(λ_n)²)·φ(λ_n/S)·J₀(λ_n·r/S),  φ the product of the characteristic functions,

the derivative of the series of `rules.random_vectors`, S beyond every resultant. The Gaussian ends the sum. On grids of
the scales φ is a product of one factor per class, so that a reading costs one product of matrices.

A share ε of readings may belong to something else, such as a chip in a seat: a reading has the density
(1 − ε)·f + ε·q with the heavy-tailed q(y) = m/(m + y)², m the reading of all parts at their limits. Thus no reading is
dropped, and one that nothing explains hardly counts.

The joint posterior of several classes is a product of tables, one per set of classes that meet in a stack. Marginals
follow by eliminating one class after the other (sum-product), exactly on the grids. The grids are even in ln s, where
the trapezoidal rule converges faster than any power, and close in on the posterior in four passes.

Limits: the tables grow with the number of classes that meet in one stack or in a ring of stacks, so at most
`MOST_LINKED`. Where classes are read only together, a grid must resolve the ridge along which their scales trade:
quantiles are then within 0.1 % for two classes (1,000 assemblies) and 2 % for three (300), against finer grids.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations
from typing import Final, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from rules.kernel import bessel_nodes
from rules.quantities.work_limit import charge
from rules.random_vectors.moments import gaussian_sigma
from rules.random_vectors.random_sum import RandomClocking

__all__ = [
    "MOST_LINKED",
    "Fit",
    "Kind",
    "Marginal",
    "Prior",
    "TooManyLinkedError",
    "fit",
    "foreign_density",
    "log_marginal",
    "quantiles_on",
    "reading_densities",
    "shares_below",
]

FloatArray = NDArray[np.float64]
Law = Literal["limit", "capability"]

MOST_LINKED: Final = 4
"""Most classes of one table of the joint posterior."""

_POINTS: Final = {1: 241, 2: 97, 3: 33, 4: 17}
"""Points of the grid of a class by the number of classes of its largest table."""

_COARSE: Final = {1: 81, 2: 41, 3: 21, 4: 13}

_COUNTED: Final = (50.0, 400.0, math.inf, math.inf)
"""Readings that count at most in each pass. Fewer give a wider posterior, which a coarse grid does not miss."""

_NEGLIGIBLE: Final = 1e-8
"""Share of the highest posterior density below which a grid ends."""

_SHARPEST: Final = 1500.0
"""The error of a reading is at least the largest resultant over this, which bounds the length of the series."""

_SHARPNESS: Final = (100.0, 200.0, 400.0, _SHARPEST)
"""The same in each pass; only the last one needs all of it."""

_KEPT: Final = 8_000_000
"""Most densities that are kept for the probabilities of the readings, rather than computed once more."""

_PREDICTED: Final = 40
"""Most kinds of stacks whose prediction is compared, those with most readings."""

_LEAST: Final = 0.01
_MOST: Final = 10_000.0
"""Ends of any scale, µm of TIR: smaller is not measured, larger is no runout."""

_CHUNK: Final = 2_000_000
"""Densities computed at once."""

_TOGETHER: Final = 8
"""More readings of one kind are quicker with one table of products of all classes."""


class TooManyLinkedError(ValueError):
    """More classes are linked by common stacks than tables can hold."""


class Prior(NamedTuple):
    """Log-normal prior of a scale."""

    median: float
    """Scale, TIR in µm."""
    spread: float
    """Standard deviation of ln s."""


class Kind(NamedTuple):
    """What readings of one kind of stack at one plane have in common; eccentricities in µm."""

    rings: tuple[float, ...]
    """Vectors of known size."""
    discs: tuple[float, ...]
    """Limits of vectors anywhere up to them."""
    bands: tuple[tuple[float, float], ...]
    """Least and largest size of vectors of uniform size."""
    sigma: float
    """Plane Gaussian of known capabilities, per axis."""
    levers: tuple[tuple[int, tuple[float, ...]], ...]
    """Of each class in the stack, by number: eccentricity at the plane per µm of the scale, one for each part."""
    error: float
    """Plane Gaussian of the reading's error, per axis: a quarter of the expanded uncertainty of the TIR."""

    @property
    def scope(self) -> tuple[int, ...]:
        """Classes in the stack, ascending."""
        return tuple(number for number, _ in self.levers)

    def vectors(self, scales: Sequence[float], law: Law) -> RandomClocking:
        """Return the law of the resultant with the classes at scales in the order of the scope, without the error."""
        sizes = [lever * scale for scale, (_, levers) in zip(scales, self.levers, strict=True) for lever in levers]
        if law == "limit":
            return RandomClocking(self.rings, self.sigma, [*self.discs, *sizes], self.bands)
        sigma = math.hypot(self.sigma, *map(gaussian_sigma, sizes))
        return RandomClocking(self.rings, sigma, self.discs, self.bands)

    def greatest(self, scales: Sequence[float], law: Law) -> float:
        """Return the largest resultant with the classes at these scales; with a Gaussian, 8.5 σ of it."""
        found = self.vectors(scales, law)
        return found.greatest + 8.5 * math.hypot(found.sigma, self.error)

    def share_of(self, number: int, scales: Sequence[float], law: Law) -> float:
        """Return the share of a class in the mean square of the resultant; scales of all classes by number."""
        factor = 0.5 if law == "limit" else 2.0 * gaussian_sigma(1.0) ** 2
        squares = {
            one: factor * math.fsum(lever * lever for lever in levers) * scales[one] ** 2 for one, levers in self.levers
        }
        known = [*(one * one for one in self.rings), *(0.5 * one * one for one in self.discs), 2.0 * self.sigma**2]
        known += [(high * high + high * low + low * low) / 3.0 for low, high in self.bands]
        total = math.fsum([*squares.values(), *known])
        return squares[number] / total if total > 0.0 else 0.0


def foreign_density(tir_um: FloatArray, middle_um: float) -> FloatArray:
    """Return the density of readings that the stack does not explain, m/(m + y)², per µm.

    Parameters
    ----------
    tir_um : FloatArray
        Readings y, µm, any shape.
    middle_um : float
        Median m of that law, µm.

    Returns
    -------
    FloatArray
        Densities, per µm, the same shape.
    """
    return np.asarray(middle_um / (middle_um + tir_um) ** 2)


def _known_factor(kind: Kind, t: FloatArray, error: float) -> FloatArray:
    """Return the characteristic function of what is known, with the error of the reading."""
    # Imported here and below: only a calibration asks, and every process would carry 28 MiB.
    from scipy.special import itj0y0, j0

    value: FloatArray = np.exp(-0.5 * (kind.sigma**2 + error**2) * t * t)
    for ring in kind.rings:
        value *= j0(ring * t)
    for disc in kind.discs:
        value *= _disc_factor(disc * t)
    for low, high in kind.bands:
        if high - low < 1e-9 * high:
            value *= j0(high * t)
        else:  # the mean of J₀(ut) over u from b to a
            value *= (itj0y0(high * t)[0] - itj0y0(low * t)[0]) / ((high - low) * t)
    return value


def _disc_factor(x: FloatArray) -> FloatArray:
    from scipy.special import j1

    x = x + 1e-100  # where a part does not reach the plane
    return np.asarray(2.0 * j1(x) / x)


def _class_factor(levers: Sequence[float], scales: FloatArray, t: FloatArray, law: Law) -> FloatArray:
    """Return the factor of one class on its grid, shape (scales, terms)."""
    value: FloatArray = np.ones((scales.size, t.size))
    for lever in levers:
        if law == "limit":
            value *= _disc_factor(lever * scales[:, None] * t)
        else:
            sigma = gaussian_sigma(1.0) * lever * scales[:, None]
            value *= np.exp(-0.5 * (sigma * t) ** 2)
    return value


def reading_densities(
    kind: Kind, grids: Sequence[FloatArray], tir_um: FloatArray, law: Law, sharpness: float = _SHARPEST
) -> Iterator[tuple[slice, FloatArray]]:
    """Yield the densities of readings at every point of the grids of the classes in the stack, a few readings at once.

    Parameters
    ----------
    kind : Kind
        Kind of stack and plane.
    grids : Sequence[FloatArray]
        Scales of each class of the stack, µm of TIR, in the order of its scope.
    tir_um : FloatArray
        Readings y, µm, shape (n,).
    law : {'limit', 'capability'}
        Law of the vectors of the classes.
    sharpness : float, default 1500
        The error of a reading is at least the largest resultant over this.

    Yields
    ------
    tuple[slice, FloatArray]
        Place of the readings, and densities of y per µm, shape (*grid sizes, readings).

    Notes
    -----
    Source: series of the resultant (Barakat, Optica Acta 21, 1974), differentiated. A reading below twice the error of
    one coordinate counts as that: at zero the density of a length vanishes.
    """
    from scipy.special import j0

    span = kind.greatest([float(grid[-1]) for grid in grids], law)
    error = max(kind.error, span / sharpness)
    terms = _terms(kind, span, error)
    size = math.prod(grid.size for grid in grids)
    charge(terms * (sum(grid.size for grid in grids) * 4 + size * tir_um.size // 32) + 3 * size * tir_um.size + 20_000)
    zeros, weights = map(np.array, bessel_nodes(terms))
    t = zeros / span
    known = _known_factor(kind, t, error) * weights * zeros / span**2
    factors = [_class_factor(levers, grid, t, law) for grid, (_, levers) in zip(grids, kind.levers, strict=True)]
    last = factors.pop() if factors else np.ones((1, terms))
    rows = np.ones((1, terms))
    for factor in factors:
        rows = (rows[:, None, :] * factor[None, :, :]).reshape(-1, terms)
    step = max(1, _CHUNK // max(size, terms))
    shape = tuple(grid.size for grid in grids)
    for start in range(0, tir_um.size, step):
        part = slice(start, min(start + step, tir_um.size))
        radii = np.maximum(0.5 * tir_um[part], error)
        waves = known[:, None] * j0(t[:, None] * radii) * (0.5 * radii)  # per µm of the reading, which is 2R
        if size * terms <= _CHUNK and (rows.shape[0] == 1 or radii.size > _TOGETHER):
            values = (rows[:, None, :] * last[None, :, :]).reshape(-1, terms) @ waves
        else:
            values = np.stack([rows @ (last * wave).T for wave in waves.T], axis=-1)
        inside = radii < span
        yield part, np.where(inside, np.maximum(values, 0.0), 0.0).reshape(*shape, -1)


def _terms(kind: Kind, span: float, error: float) -> int:
    """Return the number of terms of the series: the Gaussian of the last one is 1e-14."""
    return max(24, math.ceil(8.0 * span / math.hypot(kind.sigma, error) / math.pi) + 2)


class Table(NamedTuple):
    """Logarithm of a factor of the joint posterior on the grids of some classes."""

    scope: tuple[int, ...]
    values: FloatArray


def log_marginal(tables: Sequence[Table], keep: Sequence[int]) -> FloatArray:
    """Return the logarithm of the sum of the product of the tables over all classes but some.

    Parameters
    ----------
    tables : Sequence[Table]
        Factors; scopes ascending.
    keep : Sequence[int]
        Classes to keep, ascending.

    Returns
    -------
    FloatArray
        Logarithms, one axis per kept class.

    Notes
    -----
    Source: variable elimination (sum-product). The class whose table is smallest goes first.
    """
    left = list(tables)
    while True:
        others = sorted({number for table in left for number in table.scope} - set(keep))
        if not others:
            return _product(left, tuple(keep))
        first = min(others, key=lambda one: (len(_union(left, one)), one))
        own = [table for table in left if first in table.scope]
        scope = _union(left, first)
        joint = _product(own, scope)
        axis = scope.index(first)
        top = joint.max(axis=axis, keepdims=True)
        summed = np.log(np.exp(joint - top).sum(axis=axis)) + np.squeeze(top, axis=axis)
        left = [table for table in left if first not in table.scope]
        left.append(Table(tuple(one for one in scope if one != first), summed))


def _union(tables: Sequence[Table], number: int) -> tuple[int, ...]:
    return tuple(sorted({one for table in tables if number in table.scope for one in table.scope}))


def _product(tables: Sequence[Table], scope: tuple[int, ...]) -> FloatArray:
    total: FloatArray = np.zeros(())
    for table in tables:
        shape = [1] * len(scope)
        for axis, one in enumerate(table.scope):
            shape[scope.index(one)] = table.values.shape[axis]
        total = total + table.values.reshape(shape)
    return total


def _linked(scopes: Sequence[tuple[int, ...]], count: int) -> list[int]:
    """Return for each class the size of the largest table that its elimination needs, in its group of linked classes.

    Raises :class:`TooManyLinkedError`.
    """
    group = list(range(count))
    for scope in scopes:
        for one in scope[1:]:
            old, new = group[one], group[scope[0]]
            group = [new if each == old else each for each in group]
    sizes = [1] * count
    for own in set(group):
        members = [one for one in range(count) if group[one] == own]
        inside = [scope for scope in scopes if scope and group[scope[0]] == own]
        widest = max([_width(inside, keep) for keep in {*inside, *((one,) for one in members)}], default=1)
        if widest > MOST_LINKED:
            raise TooManyLinkedError(f"{len(members)} classes are linked by common stacks")
        for one in members:
            sizes[one] = widest
    return sizes


def _width(scopes: Sequence[tuple[int, ...]], keep: tuple[int, ...]) -> int:
    """Return the size of the largest table of an elimination, without doing it."""
    left = [set(scope) for scope in scopes]
    widest = len(keep)
    while others := sorted(set().union(*left) - set(keep)):
        unions = {one: set().union(*(scope for scope in left if one in scope)) for one in others}
        first = min(others, key=lambda one: (len(unions[one]), one))
        widest = max(widest, len(unions[first]))
        left = [scope for scope in left if first not in scope] + [unions[first] - {first}]
    return max(widest, len(set().union(*left)))


class Marginal(NamedTuple):
    """Posterior of one scale on its grid."""

    scales: FloatArray
    """Even in the logarithm."""
    shares: FloatArray
    """Probabilities of the cells about the scales; their sum is 1."""

    def mean(self, power: float = 1.0) -> float:
        """Return the mean of a power of the scale."""
        return float(np.sum(self.shares * self.scales**power))

    def log_spread(self) -> float:
        """Return the standard deviation of ln s."""
        logs = np.log(self.scales)
        middle = float(np.sum(self.shares * logs))
        return math.sqrt(float(np.sum(self.shares * (logs - middle) ** 2)))


def quantiles_on(marginal: Marginal, probabilities: Sequence[float]) -> list[float]:
    """Return the quantiles of a scale, with the probability of a cell spread evenly in ln s.

    Parameters
    ----------
    marginal : Marginal
        Posterior on its grid.
    probabilities : Sequence[float]
        Probabilities above 0 and below 1.

    Returns
    -------
    list[float]
        Scales, µm of TIR.
    """
    logs = np.log(marginal.scales)
    half = 0.5 * (logs[1] - logs[0])
    edges = np.concatenate((logs[:1] - half, logs + half))
    below = np.concatenate(([0.0], np.cumsum(marginal.shares)))
    return [min(float(np.exp(np.interp(each, below, edges))), _MOST) for each in probabilities]


class Fit(NamedTuple):
    """Posterior of all classes, and what it says of each reading."""

    marginals: tuple[Marginal, ...]
    foreign: tuple[float, ...]
    """Of each reading: the probability that the stack does not explain it."""
    correlations: dict[tuple[int, int], float]
    """Correlation of s² of two classes that meet in a stack: near −1 where only the sum is known."""
    typical: tuple[float, ...]
    """Of each class: the scale that predicts the 95th percentile of new assemblies, µm."""


class _Group(NamedTuple):
    kind: Kind
    places: tuple[tuple[int, ...], ...]
    """Readings of each different size, by number."""
    tir_um: FloatArray
    """Different sizes, µm."""
    weights: FloatArray
    """Sum of the weights of the readings of each size."""
    middle_um: float


def _groups(
    kinds: Sequence[Kind], tir_um: Sequence[float], weights: Sequence[float], tops: Sequence[float], law: Law
) -> list[_Group]:
    """Return the readings by kind and size, in an order that does not depend on theirs."""
    order = sorted(range(len(kinds)), key=lambda one: (kinds[one], tir_um[one], weights[one]))
    by_kind: dict[Kind, dict[float, list[int]]] = {}
    for place in order:
        by_kind.setdefault(kinds[place], {}).setdefault(tir_um[place], []).append(place)
    return [
        _Group(
            kind,
            tuple(map(tuple, by_size.values())),
            np.array(list(by_size)),
            np.array([math.fsum(weights[one] for one in places) for places in by_size.values()]),
            2.0 * kind.greatest([tops[one] for one in kind.scope], law),
        )
        for kind, by_size in by_kind.items()
    ]


def _mixed(density: FloatArray, group: _Group, part: slice, share: float) -> tuple[FloatArray, FloatArray]:
    foreign = share * foreign_density(group.tir_um[part], group.middle_um)
    return (1.0 - share) * density + foreign + 1e-300, foreign


def _tables(
    groups: Sequence[_Group],
    priors: Sequence[Prior],
    grids: Sequence[FloatArray],
    law: Law,
    share: float,
    counted: float,
    sharpness: float,
) -> tuple[list[Table], list[FloatArray]]:
    """Return prior and likelihood as tables on the grids, one per set of classes that meet, and the densities.

    The densities are those of the first groups, as many as are kept.
    """
    found: dict[tuple[int, ...], FloatArray] = {
        (number,): -0.5 * (np.log(grid / prior.median) / prior.spread) ** 2
        for number, (prior, grid) in enumerate(zip(priors, grids, strict=True))
    }
    count = sum(float(group.weights.sum()) for group in groups)
    temper = 1.0 if count <= counted else counted / count
    kept: list[FloatArray] = []
    room = _KEPT
    for group in groups:
        scope = group.kind.scope
        total = np.zeros(tuple(grids[one].size for one in scope))
        room -= total.size * group.tir_um.size
        pieces = []
        own = [grids[one] for one in scope]
        for part, density in reading_densities(group.kind, own, group.tir_um, law, sharpness):
            total = total + np.log(_mixed(density, group, part, share)[0]) @ (group.weights[part] * temper)
            if room >= 0:
                pieces.append(density)
        if room >= 0:
            kept.append(np.concatenate(pieces, axis=-1))
        found[scope] = found.get(scope, 0.0) + total
    return [Table(scope, values) for scope, values in found.items() if scope], kept


def _shares(values: FloatArray) -> FloatArray:
    found = np.exp(values - values.max())
    return np.asarray(found / found.sum())


def fit(
    kinds: Sequence[Kind],
    tir_um: Sequence[float],
    weights: Sequence[float],
    priors: Sequence[Prior],
    tops: Sequence[float],
    *,
    law: Law = "limit",
    foreign_share: float = 0.01,
) -> Fit:
    """Return the posterior of the scale of each class.

    Parameters
    ----------
    kinds : Sequence[Kind]
        Kind of stack and plane of each reading.
    tir_um : Sequence[float]
        Readings, µm.
    weights : Sequence[float]
        Weight of each reading; those of one assembly add up to 1, since they share its parts.
    priors : Sequence[Prior]
        Prior of the scale of each class.
    tops : Sequence[float]
        High scale of each class, µm, for the median of readings that nothing explains.
    law : {'limit', 'capability'}, default 'limit'
        Law of the vectors of the classes.
    foreign_share : float, default 0.01
        Share ε of readings that the stack does not explain.

    Returns
    -------
    Fit
        Marginal posteriors, and the probability of each reading to be foreign.

    Raises
    ------
    TooManyLinkedError
        More than `MOST_LINKED` classes in one table.

    Notes
    -----
    Source: Bayes' theorem; mixture with foreign readings after Box and Tiao (1968), from memory.
    """
    groups = _groups(kinds, tir_um, weights, tops, law)
    scopes = sorted({group.kind.scope for group in groups})
    sizes = _linked(scopes, len(priors))
    ends = [
        _within(math.log(one.median) - reach, math.log(one.median) + reach)
        for one in priors
        for reach in (max(4.5 * one.spread, 2.5),)
    ]
    for counted, sharpness in zip(_COUNTED, _SHARPNESS, strict=True):
        points = _POINTS if sharpness == _SHARPEST else _COARSE
        grids = [np.exp(np.linspace(*end, points[size])) for end, size in zip(ends, sizes, strict=True)]
        tables, kept = _tables(groups, priors, grids, law, foreign_share, counted, sharpness)
        marginals = [Marginal(grid, _shares(log_marginal(tables, (one,)))) for one, grid in enumerate(grids)]
        ends = [_closed_in(each) for each in marginals]
    joints = {scope: _shares(log_marginal(tables, scope)) for scope in scopes if scope}
    foreign = [0.0] * len(kinds)
    for place, group in enumerate(groups):
        scope = group.kind.scope
        joint = joints.get(scope, np.ones(()))
        whole = [(slice(None), kept[place])] if place < len(kept) else None
        own_grids = [grids[one] for one in scope]
        for part, density in whole or reading_densities(group.kind, own_grids, group.tir_um, law):
            mixed, own = _mixed(density, group, part, foreign_share)
            axes = list(range(len(scope)))
            found = np.tensordot(joint, own / mixed, axes=(axes, axes))
            for places, probability in zip(group.places[part], found.tolist(), strict=True):
                for one in places:
                    foreign[one] = probability
    typical = _typical(groups, joints, grids, [math.sqrt(each.mean(2.0)) for each in marginals], law)
    return Fit(tuple(marginals), tuple(foreign), _correlations(joints, grids), tuple(typical))


def _closed_in(marginal: Marginal) -> tuple[float, float]:
    """Return the ends of the next grid in ln s: where the density is negligible, or beyond an end where it is not."""
    logs = np.log(marginal.scales)
    step = float(logs[1] - logs[0])
    there = np.flatnonzero(marginal.shares > _NEGLIGIBLE * marginal.shares.max())
    first, last = int(there[0]), int(there[-1])
    reach = 0.5 * float(logs[-1] - logs[0])
    low = float(logs[first]) - (reach if first == 0 else step)
    high = float(logs[last]) + (reach if last == logs.size - 1 else step)
    return _within(low, high)


def _within(low: float, high: float) -> tuple[float, float]:
    return max(low, math.log(_LEAST)), min(high, math.log(_MOST))


def _typical(
    groups: Sequence[_Group],
    joints: Mapping[tuple[int, ...], FloatArray],
    grids: Sequence[FloatArray],
    roots: Sequence[float],
    law: Law,
) -> list[float]:
    """Return the scale of each class that stands for its posterior in the prediction of new assemblies.

    The mean square of an assembly is linear in the s², so root mean squares predict it exactly, whatever the classes
    trade among each other. The predictive law of a stack has the mean of the characteristic functions; a factor on the
    root mean squares gives it the same 95th percentile. Each class takes the mean of the factors of the stacks that
    were read most, weighted with its part in their mean squares.
    """
    totals, counts = [0.0] * len(grids), [0.0] * len(grids)
    for group in _most_read(groups):
        kind, weight = group.kind, float(group.weights.sum())
        if not kind.levers:
            continue
        factor = _predicting_factor(kind, joints[kind.scope], [grids[one] for one in kind.scope], roots, law)
        for number in kind.scope:
            share = weight * kind.share_of(number, roots, law)
            totals[number] += share * factor
            counts[number] += share
    return [
        min(root * (total / count if count > 0.0 else 1.0), _MOST)
        for root, total, count in zip(roots, totals, counts, strict=True)
    ]


def _most_read(groups: Sequence[_Group]) -> list[_Group]:
    """Return the groups with most readings of each set of classes."""
    found: list[_Group] = []
    for scope in sorted({group.kind.scope for group in groups}):
        own = [group for group in groups if group.kind.scope == scope]
        # in equal steps through the sorted kinds, where all have as many readings
        own.sort(key=lambda group: (-float(group.weights.sum()), group.kind))
        step = max(1, len(own) // _PREDICTED) if own[0].weights.sum() == own[-1].weights.sum() else 1
        found += own[::step][:_PREDICTED]
    return found


def _predicting_factor(
    kind: Kind, joint: FloatArray, grids: Sequence[FloatArray], roots: Sequence[float], law: Law
) -> float:
    """Return the factor on the root mean squares at which a stack has the 95th percentile of its predictive law."""
    from scipy.special import j1

    most = 2.0
    span = kind.greatest(
        [max(float(grid[-1]), most * roots[one]) for one, grid in zip(kind.scope, grids, strict=True)], law
    )
    error = max(kind.error, span / _SHARPEST)
    terms = _terms(kind, span, error)
    charge(terms * (4 * sum(grid.size for grid in grids) + joint.size // 8 + 800))
    zeros, weights = map(np.array, bessel_nodes(terms))
    t = zeros / span
    known = _known_factor(kind, t, error)
    factors = [_class_factor(levers, grid, t, law) for grid, (_, levers) in zip(grids, kind.levers, strict=True)]
    mean = np.tensordot(joint, factors[0], axes=(0, 0))
    for factor in factors[1:]:
        mean = np.einsum("a...k,ak->...k", mean, factor)
    low, high = 0.0, span
    for _ in range(50):
        radius = 0.5 * (low + high)
        waves = weights * known * (radius / span) * j1(zeros * radius / span)
        low, high = (radius, high) if float(waves @ mean) < 0.95 else (low, radius)
    least, low, high = 0.8, 0.8, most
    for _ in range(30):
        factor_of = 0.5 * (low + high)
        value = waves
        for number, levers in kind.levers:
            value = value * _class_factor(levers, np.array([factor_of * roots[number]]), t, law)[0]
        low, high = (factor_of, high) if float(value.sum()) > 0.95 else (low, factor_of)
    return 1.0 if low == least or high == most else high


def shares_below(kind: Kind, scales: Sequence[float], tir_um: Sequence[float], law: Law) -> list[float]:
    """Return the share of assemblies that read at most as much, with the error of the reading.

    Parameters
    ----------
    kind : Kind
        Kind of stack and plane.
    scales : Sequence[float]
        Scales of all classes by number, µm of TIR.
    tir_um : Sequence[float]
        Readings, µm.
    law : {'limit', 'capability'}
        Law of the vectors of the classes.

    Returns
    -------
    list[float]
        Shares, 0 to 1.
    """
    own = kind.vectors([scales[number] for number in kind.scope], law)
    whole = RandomClocking(own.amplitudes, math.hypot(own.sigma, kind.error), own.discs, own.bands)
    return [float(one) for one in whole.cdf([0.5 * one for one in tir_um])]


def _correlations(
    joints: dict[tuple[int, ...], FloatArray], grids: Sequence[FloatArray]
) -> dict[tuple[int, int], float]:
    found: dict[tuple[int, int], float] = {}
    for scope, joint in joints.items():
        for first, second in combinations(range(len(scope)), 2):
            others = tuple(axis for axis in range(len(scope)) if axis not in (first, second))
            pair = joint.sum(axis=others)
            x, y = grids[scope[first]] ** 2, grids[scope[second]] ** 2
            x = x - float(pair.sum(axis=1) @ x)
            y = y - float(pair.sum(axis=0) @ y)
            spread = math.sqrt(float(pair.sum(axis=1) @ x**2) * float(pair.sum(axis=0) @ y**2))
            found[scope[first], scope[second]] = float(x @ pair @ y) / spread if spread > 0.0 else 0.0
    return found

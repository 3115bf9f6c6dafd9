"""Quantiles of a resultant, and quantiles and probabilities of several series computed together.

Only a few figures are needed of each law, so the number of array operations determines the time, not the length of the
arrays. Each figure is a row. The tabulated terms are summed at four neighbouring points of a fine grid. A cubic through
these points gives the probability at a radius, or the radius at a probability. The terms of the series beyond the
tabulated ones are added by Newton's rule.

A law of another form, and a series for which this does not converge, is bracketed and refined by evaluating the law
itself.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from tests.oracles.random_vectors.law import ClosedLaw, ResultantLaw
from tests.oracles.random_vectors.series import MOST_TERMS, LaterTerms, SeriesLaw, coefficient_rows, later_terms
from tests.oracles.random_vectors.series_rest import (
    CELLS,
    COARSE,
    LOOKED_UP,
    MARGIN,
    coarse_waves,
    interpolation_share,
    tail_rows,
    times_matrix,
    times_vector,
    waves,
)

__all__ = ["Asked", "Figures", "in_order", "law_quantiles", "series_figures"]


FloatArray = NDArray[np.float64]

_ERROR = 2e-7  # in probability
_INTERPOLATION = 2.0 * _ERROR  # of the bound, which no phase attains
_WIDEST = 8  # most fine cells in one cell of a cubic
_COARSE_TERMS = 96  # enough for a first guess
_REACH = 0.5  # of a cell, beyond its ends, where the cubic is still accurate
_FARTHEST = 8.0  # most cells in one move
_MOST_TURNS = 8
_PORTION = 64  # terms; zeros appended in whole portions do not change a sum


class Asked(NamedTuple):
    """Figures required of one law: quantiles of probabilities in (0, 1), probabilities of radii in its support."""

    law: SeriesLaw
    probabilities: Sequence[float]
    radii: Sequence[float]


class Figures(NamedTuple):
    """Quantiles and probabilities P(R ≤ r) of one law, in the order required."""

    quantiles: list[float]
    chances: list[float]


class _Row:
    """One figure of one law and its iteration: `value` = P(R ≤ r) at a given `at` = r/scale, or `at` for a given p."""

    __slots__ = (
        "at",
        "cell",
        "final",
        "law",
        "owner",
        "p",
        "slope",
        "spread",
        "sure",
        "target",
        "u",
        "value",
        "values",
        "whole",
    )

    def __init__(self, owner: int, law: SeriesLaw, cut: _Cut, position: float, p: float | None) -> None:
        self.owner, self.law, self.at, self.p = owner, law, position, p
        self.spread, self.whole = cut.spread, cut.known == law.terms
        self.cell = cell = min(int(position * cut.spread), cut.spread - 1)
        self.u = position * cut.spread - cell  # position within the cell
        self.target = self.value = 0.0 if p is None else p  # required and present sum of the tabulated terms
        self.slope = 1.0  # of the tabulated terms, per cell
        self.sure = self.whole and law.orders == 0  # no further terms to add
        self.final = False
        # sums of the tabulated terms, from one point below the cell to one above
        self.values: list[float] | None = None

    def place(self) -> bool:
        """Interpolate in the four values, or invert them; False if the result is in another cell, not summed yet."""
        v0, v1, v2, v3 = self.values or (0.0, 0.0, 0.0, 0.0)
        third = (v3 - v0) / 6.0 + 0.5 * (v1 - v2)
        second = 0.5 * (v0 + v2) - v1
        first = v2 - v1 - second - third
        u = self.u
        if self.p is None:
            self.value = v1 + u * (first + u * (second + u * third))
            self.final = self.sure
            return True
        lacking = self.target - v1
        for _ in range(6):
            slope = first + u * (2.0 * second + 3.0 * u * third)
            if slope <= 0.0:
                break
            move = (lacking - u * (first + u * (second + u * third))) / slope
            u += move
            if not -_REACH <= u <= 1.0 + _REACH:
                return self._move_on(u)
            if -1e-5 < move < 1e-5:  # the next move would be about its square
                self.u, self.slope, self.final = u, slope, self.sure
                self.at = (self.cell + u) / self.spread
                return True
        self.at = math.nan
        return True

    def _move_on(self, u: float) -> bool:
        cell = self.cell + math.floor(min(max(u, -_FARTHEST), _FARTHEST))
        cell = min(max(cell, 0), self.spread - 1)
        if cell == self.cell:
            self.at = math.nan
            return True
        self.cell, self.u, self.values = cell, 0.5, None
        return False

    def correct(self, rest: float, bend: float) -> None:
        """Add the sum of the terms beyond the tabulated ones, and its slope."""
        if self.p is None:
            self.value += rest
            self.final = True
            return
        miss = self.target + rest - self.p
        self.final = -_ERROR < miss < _ERROR
        # the tabulated terms must equal p − rest(r), with the rest linear about the last r
        self.target -= miss / max(1.0 + bend / self.spread / self.slope, 0.2)
        self.sure = self.whole and _after_newton(abs(miss), self.law.smoothness) < _ERROR


class _Cut(NamedTuple):
    """Tabulated part of a series: its first `known` terms, interpolated by cubics on a grid of `spread` cells."""

    known: int
    spread: int


def series_figures(asked: Sequence[Asked]) -> list[Figures | None]:
    """Return the quantiles and probabilities of several series, or None for a series that does not converge.

    The figures of one law do not depend on the others, to the last digit: each row is multiplied by itself, and terms
    are summed in whole portions.

    Parameters
    ----------
    asked : Sequence[Asked]
        Laws, each with its probabilities and radii.

    Returns
    -------
    list[Figures | None]
        Quantiles and probabilities of each law, within 1e-6 in probability, or None for a law that does not converge.
    """
    laws = [each.law for each in asked]
    coefficients, cuts = _looked_up(laws)
    few = coefficients[:, :_COARSE_TERMS]
    coarse: list[list[float]] = times_matrix(few, coarse_waves()[: few.shape[1]]).tolist()
    rows: list[list[_Row]] = []
    for owner, ((law, probabilities, radii), cut, course) in enumerate(zip(asked, cuts, coarse, strict=True)):
        own = [_Row(owner, law, cut, _first_guess(course, p), p) for p in probabilities]
        own += [_Row(owner, law, cut, radius / law.scale, None) for radius in radii]
        rows.append(own)
    lost: set[int] = set()
    todo = [row for own in rows for row in own]
    for _ in range(_MOST_TURNS):
        _look(todo, coefficients)
        placed = [row for row in todo if row.place()]
        lost.update(row.owner for row in placed if not row.law.least <= row.at <= 1.0)  # NaN counts as lost
        _add_rests([row for row in placed if not row.final and row.owner not in lost], cuts)
        todo = [row for row in todo if not row.final and row.owner not in lost]
        if not todo:
            break
    lost.update(row.owner for row in todo)
    return [None if n in lost else _figures(each, rows[n]) for n, each in enumerate(asked)]


def in_order(law: ResultantLaw, probabilities: Sequence[float], radii: list[float]) -> list[float]:
    """Return the quantiles with rounding errors removed: ascending with p and inside the support.

    Parameters
    ----------
    law : ResultantLaw
        Law of the resultant.
    probabilities : Sequence[float]
        Probabilities p in [0, 1].
    radii : list[float]
        Quantiles, in the order of the probabilities; changed in place.

    Returns
    -------
    list[float]
        The same quantiles, ascending with p and inside the support.
    """
    lower, upper = law.lower, law.upper
    for n in sorted(range(len(radii)), key=probabilities.__getitem__):
        radius = radii[n]
        if radius < lower:
            radii[n] = lower
        elif radius > upper:
            radii[n] = upper
        else:
            lower = radius
    return radii


def _figures(asked: Asked, rows: list[_Row]) -> Figures:
    law, probabilities, _ = asked
    quantiles = in_order(law, probabilities, [row.at * law.scale for row in rows if row.p is not None])
    return Figures(quantiles, [min(max(row.value, 0.0), 1.0) for row in rows if row.p is None])


def _looked_up(laws: Sequence[SeriesLaw]) -> tuple[FloatArray, list[_Cut]]:
    """Return the coefficients of the tabulated terms, one row per law, and for each law their number and grid."""
    terms = min(_PORTION * math.ceil(max(law.terms for law in laws) / _PORTION), LOOKED_UP)
    coefficients = coefficient_rows(laws, terms)
    share = interpolation_share()[:terms]
    cuts = []
    for n, (law, error) in enumerate(zip(laws, times_vector(np.abs(coefficients), share).tolist(), strict=True)):
        step, known = _WIDEST, min(law.terms, terms)
        while step > 1 and error * step**4 > _INTERPOLATION:
            step //= 2
        if error > _INTERPOLATION:
            if law.known is None and law.terms <= terms:
                law.known = coefficients[n, : law.terms].copy()
            known = int(np.searchsorted(np.cumsum(np.abs(coefficients[n]) * share), _INTERPOLATION))
            coefficients[n, known:] = 0.0
        cuts.append(_Cut(known, CELLS // step))
    return coefficients, cuts


def _first_guess(coarse: list[float], p: float) -> float:
    """Return the approximate position of a probability from the sums of the first terms at the coarse points."""
    cell = bisect_right(coarse, p, 1, COARSE) - 1
    low, high = coarse[cell], coarse[cell + 1]
    part = (p - low) / (high - low) if low < p < high else 0.5
    return (cell + part) / COARSE


def _look(rows: list[_Row], coefficients: FloatArray) -> None:
    """Sum the tabulated terms at the four points about the cell of each row that has no values yet."""
    new = [row for row in rows if row.values is None]
    if not new:
        return
    points = []
    for row in new:
        step = CELLS // row.spread
        start = MARGIN + step * (row.cell - 1)
        points.append((start, start + step, start + 2 * step, start + 3 * step))
    about = waves()[:, : coefficients.shape[1]][np.array(points)]
    own = coefficients[[row.owner for row in new]]
    for row, values in zip(new, np.matmul(about, own[:, :, None])[:, :, 0].tolist(), strict=True):
        row.values = values


def _add_rests(rows: list[_Row], cuts: list[_Cut]) -> None:
    """Add the terms beyond the tabulated ones; laws with the same number of vectors share the work on the tail."""
    longer = [row for row in rows if not row.whole]
    beyond = later_terms([LaterTerms(row.law, cuts[row.owner].known, row.at) for row in longer]) if longer else []
    later = dict(zip(map(id, longer), beyond, strict=True))
    groups: dict[tuple[int, int], list[_Row]] = {}
    for row in rows:
        law = row.law
        groups.setdefault((len(law.amplitudes) if law.orders else 0, law.orders), []).append(row)
    for (_, orders), group in groups.items():
        if orders == 0:
            tails = [(0.0, 0.0)] * len(group)
        else:
            tails = tail_rows(
                [row.at for row in group],
                [row.law.amplitudes for row in group],
                [row.law.end for row in group],
                [row.law.tail_size for row in group],
                orders,
            )
        for row, (tail, tail_bend) in zip(group, tails, strict=True):
            rest, bend = later.get(id(row), (0.0, 0.0))
            row.correct(rest + tail, bend + tail_bend)


def _after_newton(miss: float, count: int) -> float:
    """Return the largest error after a Newton step, given the kink of |x|^((n−1)/2) in the law."""
    if count > 4:
        return 4.0 * miss * miss
    return 4.0 * miss**1.5 if count == 4 else 0.25 * miss


_QUANTILE_ERROR = 2e-7  # in probability
_MOST_STEPS = 100


def law_quantiles(law: ResultantLaw, probabilities: FloatArray) -> FloatArray:
    """Return the radii r with P(R ≤ r) = p, ascending with p.

    Parameters
    ----------
    law : ResultantLaw
        Law of the resultant.
    probabilities : FloatArray
        Probabilities p in [0, 1], shape (m,); below 1 where the law includes a Gaussian.

    Returns
    -------
    FloatArray
        Radii r, shape (m,), with |P(R ≤ r) − p| < 1e-6 wherever the law has no step.
    """
    if isinstance(law, ClosedLaw):
        return law.quantile(probabilities)
    wanted: list[float] = probabilities.tolist()
    inner = [p for p in wanted if 0.0 < p < 1.0]
    radii = iter(_inner_quantiles(law, inner) if inner else [])
    return np.array([next(radii) if 0.0 < p < 1.0 else law.lower if p <= 0.0 else law.upper for p in wanted])


def _inner_quantiles(law: ResultantLaw, probabilities: list[float]) -> list[float]:
    series = law if isinstance(law, SeriesLaw) else None
    while series is not None and series.terms <= MOST_TERMS:
        found = series_figures([Asked(series, probabilities, ())])[0]
        if found is not None:
            return found.quantiles
        series = series.longer if series.orders else None  # small radii need more terms
    return in_order(law, probabilities, _from_bracket(law, np.array(probabilities)).tolist())


def _from_bracket(law: ResultantLaw, probabilities: FloatArray) -> FloatArray:
    """Return the quantiles by Chandrupatla's rule (1997), applied to the law itself."""
    low = np.full(probabilities.shape, law.lower)
    high = np.full(probabilities.shape, law.upper)
    low_miss, high_miss = -probabilities, 1.0 - probabilities
    third, third_miss = low.copy(), low_miss.copy()
    part = np.full(probabilities.shape, 0.5)
    best = high.copy()
    for _ in range(_MOST_STEPS):
        trial = low + part * (high - low)
        miss = law.cdf(trial) - probabilities
        same = np.sign(miss) == np.sign(low_miss)
        third = np.where(same, low, high)
        third_miss = np.where(same, low_miss, high_miss)
        high = np.where(same, high, low)
        high_miss = np.where(same, high_miss, low_miss)
        low, low_miss = trial, miss
        closer = np.abs(low_miss) <= np.abs(high_miss)
        best = np.where(closer, low, high)
        width = np.abs(high - low)
        rounding = 4e-16 * np.maximum(np.abs(low), np.abs(high))
        if np.all((np.minimum(np.abs(low_miss), np.abs(high_miss)) <= 0.5 * _QUANTILE_ERROR) | (width <= rounding)):
            break
        with np.errstate(divide="ignore", invalid="ignore"):
            xi = (low - high) / (third - high)
            phi = (low_miss - high_miss) / (third_miss - high_miss)
            inverse = (phi * phi < xi) & ((1.0 - phi) ** 2 < 1.0 - xi)
            quadratic = low_miss / (high_miss - low_miss) * third_miss / (high_miss - third_miss) + (third - low) / (
                high - low
            ) * low_miss / (third_miss - low_miss) * high_miss / (third_miss - high_miss)
            part = np.where(inverse & np.isfinite(quadratic), quadratic, 0.5)
        least = np.minimum(0.5, 0.5 * rounding / np.maximum(width, 1e-300))
        part = np.clip(part, least, 1.0 - least)
    return best

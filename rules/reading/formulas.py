"""Evaluation of dial readings: eccentricity, direction, form error, decision by ISO 14253-1, and a trial turn."""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final, Literal

import numpy as np

from rules.runout.formulas import EccentricityVector, Tir, Turn, single_turns

__all__ = [
    "TurnSplit",
    "best_further_turn",
    "complex_at",
    "curve_range",
    "decide_upper_limit",
    "eccentricity_error_ratio",
    "fit_dial",
    "high_point_deg",
    "largest_gap_deg",
    "least_uncertainty_to_decide",
    "lobes_seen",
    "split_by_turn",
    "tip_uncertainty_um",
    "turn_error_ratio",
]


@dataclass(frozen=True, slots=True)
class DialFit:
    """Evaluated readings of one plane.

    `mean_um` is the zero offset of the dial. `eccentricity` is the complex vector of the axis, µm; its argument is the
    direction of the high point. `form_um` is the range of the residuals after removing mean and eccentricity. `tir_um`
    is the range of the readings.
    """

    mean_um: float
    eccentricity: EccentricityVector
    form_um: float
    tir_um: Tir


def fit_dial(angles_deg: Sequence[float], readings_um: Sequence[float]) -> DialFit:
    """Return mean, first harmonic and residual range of readings around the axis.

    Least squares of r = m + a·cos θ + b·sin θ; e = a + jb; at equal angles a = (2/n)·Σ r·cos θ and b = (2/n)·Σ r·sin
    θ, the least-squares circle for small eccentricity.

    Parameters
    ----------
    angles_deg : Sequence[float]
        Angular positions of the readings, degrees; at least three different directions.
    readings_um : Sequence[float]
        Dial readings at these positions, µm, one each.

    Returns
    -------
    DialFit
        Mean, first harmonic and residual range.

    Raises
    ------
    ValueError
        For unequal lengths, values that are not finite, or directions that do not determine a circle.

    Notes
    -----
    Source: least squares; the formulas for equal angles are those of the reference circle of ISO 12181.

    Examples
    --------
    >>> fit = fit_dial([0, 90, 180, 270], [8, 5, 2, 5])
    >>> round(abs(fit.eccentricity), 12), round(high_point_deg(fit.eccentricity), 9), round(fit.form_um, 12)
    (3.0, 0.0, 0.0)
    """
    if len(angles_deg) != len(readings_um):
        raise ValueError("one reading for each angle")
    if not all(math.isfinite(value) for value in (*angles_deg, *readings_um)):
        raise ValueError("angles and readings must be finite")
    directions = {round(angle % 360.0, 9) % 360.0 for angle in angles_deg}
    if len(directions) < 3:
        raise ValueError("readings in at least three different directions are needed")
    theta = np.radians(np.asarray(angles_deg, dtype=np.float64))
    readings = np.asarray(readings_um, dtype=np.float64)
    design = np.column_stack([np.ones_like(theta), np.cos(theta), np.sin(theta)])
    solution, _, rank, _ = np.linalg.lstsq(design, readings, rcond=1e-9)
    if rank < 3:
        raise ValueError("the directions are too close together to determine a circle")
    residual = readings - design @ solution
    return DialFit(
        float(solution[0]),
        EccentricityVector(complex(solution[1], solution[2])),
        float(residual.max() - residual.min()),
        Tir(float(readings.max() - readings.min())),
    )


def high_point_deg(eccentricity: EccentricityVector) -> float:
    """Return the direction of the high point, 0 ≤ angle < 360 degrees; 0 for no eccentricity.

    Parameters
    ----------
    eccentricity : EccentricityVector
        Eccentricity, µm; complex where it has a direction.

    Returns
    -------
    float
        Direction of the high point, 0 ≤ angle < 360 degrees.

    Examples
    --------
    >>> high_point_deg(EccentricityVector(-2j))
    270.0
    """
    angle = math.degrees(cmath.phase(eccentricity)) % 360.0
    return 0.0 if angle >= 360.0 else angle


def complex_at(
    z_mm: float, first: EccentricityVector, first_mm: float, second: EccentricityVector, second_mm: float
) -> EccentricityVector:
    """Return the eccentricity at z on the straight axis through two planes: offset and tilt extrapolated.

    Parameters
    ----------
    z_mm : float
        Position on the axis, mm.
    first : EccentricityVector
        Eccentricity at the first plane as a complex number, µm.
    first_mm : float
        Position of the first plane, mm.
    second : EccentricityVector
        Eccentricity at the second plane as a complex number, µm.
    second_mm : float
        Position of the second plane, mm.

    Returns
    -------
    EccentricityVector
        Eccentricity at z on the straight axis through two planes.

    Raises
    ------
    ValueError
        For equal positions.

    Notes
    -----
    Source: first principles.

    Examples
    --------
    >>> complex_at(60.0, EccentricityVector(1 + 0j), 0.0, EccentricityVector(1 + 1j), 30.0)
    (1+2j)
    """
    if first_mm == second_mm:
        raise ValueError("two planes at one position do not determine an axis")
    return EccentricityVector(first + (second - first) * (z_mm - first_mm) / (second_mm - first_mm))


def eccentricity_error_ratio(angles_deg: Sequence[float]) -> float:
    """Return the largest ratio of the error of the fitted eccentricity to the error of one reading.

    √λ_max of the block of a and b in (XᵀX)⁻¹, rows of X being (1, cos θ, sin θ); √(2/n) for n equal steps.

    Parameters
    ----------
    angles_deg : Sequence[float]
        Angular positions of the readings, degrees.

    Returns
    -------
    float
        Ratio of the standard deviations in the worst direction; infinite for fewer than three different directions.

    Raises
    ------
    ValueError
        For angles that are not finite.

    Notes
    -----
    Source: covariance of a least-squares fit with independent readings of equal error.

    Examples
    --------
    >>> round(eccentricity_error_ratio([0, 90, 180, 270]), 12)
    0.707106781187
    >>> eccentricity_error_ratio([0, 180, 360])
    inf
    """
    theta = np.radians(np.asarray(angles_deg, dtype=np.float64))
    if not np.isfinite(theta).all():
        raise ValueError("angles must be finite")
    if len({round(float(angle) % 360.0, 9) % 360.0 for angle in angles_deg}) < 3:
        return math.inf
    cosines, sines = np.cos(theta), np.sin(theta)
    # the fitted mean absorbs the mean of the columns, so the block is that of the centred columns
    centred = np.column_stack([cosines - cosines.mean(), sines - sines.mean()])
    least = float(np.linalg.svd(centred, compute_uv=False)[-1])
    return 1.0 / least if least > 1e-9 else math.inf


def largest_gap_deg(angles_deg: Sequence[float]) -> float:
    """Return the largest angle between neighbouring directions of readings around the axis.

    Parameters
    ----------
    angles_deg : Sequence[float]
        Angular positions of the readings, degrees, at least one.

    Returns
    -------
    float
        Largest gap, above 0 to 360 degrees.

    Notes
    -----
    Source: first principles.

    Examples
    --------
    >>> largest_gap_deg([0, 45, 90]), largest_gap_deg([0, 90, 180, 270, 360])
    (270.0, 90.0)
    """
    directions = sorted({round(angle % 360.0, 9) % 360.0 for angle in angles_deg})
    return float(max(np.diff([*directions, directions[0] + 360.0])))


_PHASES: Final = np.radians(np.arange(180.0))
"""Phases of a form, apart by less than any angle that readings are taken at."""


@lru_cache(maxsize=256)
def lobes_seen(angles_deg: tuple[float, ...], lobes: int) -> tuple[float, float]:
    """Return how readings at these angles show a form of so many lobes, in its least favourable phase.

    Parameters
    ----------
    angles_deg : tuple[float, ...]
        Angular positions of the readings, degrees, in at least three different directions.
    lobes : int
        Number of lobes, 2 or more.

    Returns
    -------
    tuple[float, float]
        Least share of its range that remains as form deviation, 0 to 1; largest share of its amplitude that the fit
        takes for eccentricity.

    Notes
    -----
    n equal steps take n − 1 and n + 1 lobes for eccentricity, and miss n/2 lobes in their worst phase.
    Source: aliasing of sampled harmonics, exact.

    Examples
    --------
    >>> [round(one, 9) for one in lobes_seen((0.0, 90.0, 180.0, 270.0), 3)]
    [0.0, 1.0]
    """
    theta = np.radians(np.asarray(angles_deg))
    design = np.column_stack([np.ones_like(theta), np.cos(theta), np.sin(theta)])
    form = np.outer(np.cos(lobes * theta), np.cos(_PHASES)) + np.outer(np.sin(lobes * theta), np.sin(_PHASES))
    solution = np.linalg.pinv(design) @ form
    rest = form - design @ solution
    seen = (rest.max(axis=0) - rest.min(axis=0)) / 2.0
    return float(seen.min()), float(np.hypot(solution[1], solution[2]).max())


def curve_range(
    angles_deg: Sequence[float], readings_um: Sequence[float], harmonics: int, least_um: float = 0.0
) -> tuple[float, int]:
    """Return the range over a whole turn of the curve of so many harmonics through the readings.

    Parameters
    ----------
    angles_deg : Sequence[float]
        Angular positions of the readings, degrees; more than twice as many directions as harmonics.
    readings_um : Sequence[float]
        Readings at these positions, µm.
    harmonics : int
        Highest harmonic, 1 or more.
    least_um : float, default 0
        Amplitude, µm, below which a harmonic beyond the first is left out as noise.

    Returns
    -------
    tuple[float, int]
        Largest less smallest value of the curve, µm, and the number of harmonics beyond the first that it has.

    Notes
    -----
    Source: least squares; the curve is read at every half degree.

    Examples
    --------
    >>> width, more = curve_range([0, 90, 180, 270], [2, 2, -2, -2], 1)
    >>> round(width, 3), more
    (5.657, 0)
    """

    def waves(theta: Any) -> Any:
        orders = np.arange(1, harmonics + 1)
        turned = np.outer(theta, orders)
        return np.column_stack([np.ones_like(theta), np.cos(turned), np.sin(turned)])

    solution, *_ = np.linalg.lstsq(waves(np.radians(np.asarray(angles_deg))), np.asarray(readings_um), rcond=1e-9)
    size = np.hypot(solution[1 : harmonics + 1], solution[harmonics + 1 :])
    kept = size >= least_um
    kept[0] = True
    curve = waves(np.radians(np.arange(0.0, 360.0, 0.5))) @ (solution * np.concatenate([[True], kept, kept]))
    return float(curve.max() - curve.min()), int(kept.sum()) - 1


def tip_uncertainty_um(first_um: float, first_mm: float, second_um: float, second_mm: float, z_mm: float) -> float:
    """Return the uncertainty of the eccentricity at z on the axis through two planes.

    u² = (u₁·(z₂ − z)/Δ)² + (u₂·(z − z₁)/Δ)², Δ = z₂ − z₁

    Parameters
    ----------
    first_um : float
        Uncertainty at the first plane, µm, standard or expanded.
    first_mm : float
        Position of the first plane, mm.
    second_um : float
        Uncertainty of the same kind at the second plane, µm.
    second_mm : float
        Position of the second plane, mm, apart from the first.
    z_mm : float
        Position, mm.

    Returns
    -------
    float
        Uncertainty at z of the same kind, µm.

    Notes
    -----
    Source: propagation of independent errors through a straight line (JCGM 100).

    Examples
    --------
    >>> round(tip_uncertainty_um(1.0, 5.0, 1.0, 18.0, 46.0), 3)
    3.819
    """
    apart = second_mm - first_mm
    return math.hypot(first_um * (second_mm - z_mm) / apart, second_um * (z_mm - first_mm) / apart)


Decision = Literal["conforms", "does_not_conform", "not_proven"]


def decide_upper_limit(value: float, limit: float, guard_band: float, at_least: float | None = None) -> Decision:
    """Return whether a value with a guard band proves conformity with an upper limit.

    Conformity is proven if value + g ≤ limit, non-conformity if value − g > limit. In between neither is proven, and
    the uncertainty counts against the party that has to prove.

    Parameters
    ----------
    value : float
        Largest value that the measurement leaves possible, finite, in the unit of the limit.
    limit : float
        Upper limit, finite.
    guard_band : float
        Guard band g ≥ 0, in the unit of the limit: the expanded uncertainty U, or 1.65 standard uncertainties.
    at_least : float | None, default None
        Least value that the measurement leaves possible, for non-conformity; `value` if absent.

    Returns
    -------
    Decision
        Conformity, non-conformity, or neither proven.

    Raises
    ------
    ValueError
        If a value is outside its domain.

    Notes
    -----
    Source: ISO 14253-1, editions 1998 and 2013 with the guard band g = U; the 2017 edition takes 1.65·u, 95 %
    one-sided (from memory).

    Examples
    --------
    >>> decide_upper_limit(7.0, 10.0, 2.0), decide_upper_limit(9.0, 10.0, 2.0), decide_upper_limit(13.0, 10.0, 2.0)
    ('conforms', 'not_proven', 'does_not_conform')
    """
    least = value if at_least is None else at_least
    if not all(math.isfinite(number) for number in (value, limit, guard_band, least)):
        raise ValueError("value, limit and guard band must be finite")
    if guard_band < 0:
        raise ValueError("a guard band must not be negative")
    if value + guard_band <= limit:
        return "conforms"
    return "does_not_conform" if least - guard_band > limit else "not_proven"


def least_uncertainty_to_decide(value: float, limit: float) -> float:
    """Return the expanded uncertainty below which a value proves a decision: |limit − value|.

    Parameters
    ----------
    value : float
        Measured value, in the unit of the limit.
    limit : float
        Upper limit, in the unit of the value.

    Returns
    -------
    float
        Expanded uncertainty, in the unit of the limit.

    Notes
    -----
    Source: ISO 14253-1, solved for U.

    Examples
    --------
    >>> least_uncertainty_to_decide(9.0, 10.0)
    1.0
    """
    return abs(limit - value)


@dataclass(frozen=True, slots=True)
class TurnSplit:
    """Eccentricities on both sides of a joint, before the trial turn."""

    before: EccentricityVector
    """Part that does not turn with the joint."""
    beyond: EccentricityVector
    """Part that turns with it."""


def split_by_turn(first: EccentricityVector, second: EccentricityVector, turned_deg: float) -> TurnSplit:
    """Return the eccentricities on both sides of a joint, from one reading before and one after a trial turn.

    e₁ = A + B, e₂ = A + B·exp(jφ), so B = (e₁ − e₂)/(1 − exp(jφ)) and A = e₁ − B

    Parameters
    ----------
    first : EccentricityVector
        Eccentricity before the turn, a complex vector.
    second : EccentricityVector
        Eccentricity after the turn, in the same unit and direction frame.
    turned_deg : float
        Angle of the turn φ, degrees, positive toward larger directions of that frame.

    Returns
    -------
    TurnSplit
        Fixed part A and turning part B, in the same unit.

    Raises
    ------
    ValueError
        For a multiple of 360°, which changes nothing, and for values that are not finite.

    Notes
    -----
    Source: first principles; balancing with a trial mass uses the same method.

    Examples
    --------
    >>> split = split_by_turn(EccentricityVector(5 + 0j), EccentricityVector(1 + 0j), 180.0)
    >>> round(abs(split.before), 12), round(abs(split.beyond), 12)
    (3.0, 2.0)
    """
    if not (cmath.isfinite(first) and cmath.isfinite(second)):
        raise ValueError("eccentricities must be finite")
    if turn_error_ratio(turned_deg) == math.inf:
        raise ValueError("a turn by a multiple of 360 degrees gives no result")
    beyond = (first - second) / (1.0 - _turned(turned_deg))
    return TurnSplit(EccentricityVector(first - beyond), EccentricityVector(beyond))


def best_further_turn(split: TurnSplit, turned_deg: float, positions: int = 0) -> Turn:
    """Return the turn, from the position after the trial, that leaves the least eccentricity.

    ψ = arg A + 180° − arg B − φ leaves ||A| − |B||; a joint of n positions takes the best multiple of 360°/n

    Parameters
    ----------
    split : TurnSplit
        Fixed and turning part, in any unit.
    turned_deg : float
        Angle of the trial turn φ, degrees.
    positions : int, default 0
        Number of positions of the joint; 0 for any angle.

    Returns
    -------
    Turn
        Angle ψ in [0, 360) degrees and remaining eccentricity; no turn if one side has no eccentricity.

    Raises
    ------
    ValueError
        For a single or negative number of positions.

    Notes
    -----
    Source: first principles.

    Examples
    --------
    >>> best_further_turn(TurnSplit(EccentricityVector(3 + 0j), EccentricityVector(2 + 0j)), 90.0)
    Turn(joint=1, angle_deg=90.0, eccentricity=1.0)
    """
    if positions == 1:
        raise ValueError("a joint with one position cannot be turned")
    (turn,) = single_turns([split.before, split.beyond * _turned(turned_deg)], [positions])
    return turn


def turn_error_ratio(turned_deg: float) -> float:
    """Return the magnification of reading errors by a trial turn, relative to half a turn.

    1/|sin(φ/2)|: 1 at 180°, infinite at a multiple of 360°

    Parameters
    ----------
    turned_deg : float
        Angle of the trial turn φ, degrees.

    Returns
    -------
    float
        Magnification, ≥ 1.

    Raises
    ------
    ValueError
        For an angle that is not finite.

    Notes
    -----
    Source: |1 − exp(jφ)| = 2·|sin(φ/2)| in the denominator of the split.

    Examples
    --------
    >>> round(turn_error_ratio(60.0), 12)
    2.0
    """
    if not math.isfinite(turned_deg):
        raise ValueError("the turn must be finite")
    rest = math.remainder(turned_deg, 360.0)
    sine = abs(math.sin(math.radians(rest) / 2.0))
    return 1.0 / sine if sine > 1e-9 else math.inf


def _turned(angle_deg: float) -> complex:
    return cmath.exp(1j * math.radians(math.remainder(angle_deg, 360.0)))

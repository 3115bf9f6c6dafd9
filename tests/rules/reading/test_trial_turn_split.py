"""The trial turn: both sides of a joint are found, and the best turn leaves the predicted runout."""

from __future__ import annotations

import cmath
import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from rules.reading.formulas import TurnSplit, best_further_turn, split_by_turn, turn_error_ratio

sizes = st.floats(0.0, 100.0)
directions = st.floats(-180.0, 180.0)
turns = st.floats(-360.0, 360.0).filter(lambda angle: turn_error_ratio(angle) < 20.0)


def _vector(size: float, direction: float) -> complex:
    return cmath.rect(size, math.radians(direction))


@given(sizes, directions, sizes, directions, turns)
def test_both_sides_are_recovered(a: float, a_at: float, b: float, b_at: float, turned: float) -> None:
    """First principles: readings made of known A and B give them back, whatever the turn."""
    before, beyond = _vector(a, a_at), _vector(b, b_at)
    split = split_by_turn(before + beyond, before + beyond * _vector(1.0, turned), turned)
    assert split.before == pytest.approx(before, abs=1e-8)
    assert split.beyond == pytest.approx(beyond, abs=1e-8)


@given(sizes, directions, sizes, directions, turns)
def test_the_best_turn_leaves_what_it_says(a: float, a_at: float, b: float, b_at: float, turned: float) -> None:
    """First principles: turned on from where the trial left it, the joint leaves ||A| − |B||, and no turn less."""
    split = TurnSplit(_vector(a, a_at), _vector(b, b_at))
    best = best_further_turn(split, turned)
    left = abs(split.before + split.beyond * _vector(1.0, turned + best.angle_deg))
    assert 0.0 <= best.angle_deg < 360.0
    assert left == pytest.approx(best.eccentricity, abs=1e-6)
    assert best.eccentricity == pytest.approx(abs(a - b), abs=1e-6)


@given(sizes, directions, sizes, directions, st.integers(2, 12))
def test_an_indexed_joint_takes_its_best_position(a: float, a_at: float, b: float, b_at: float, positions: int) -> None:
    """First principles: none of its positions leaves less, and the turn is one of them."""
    split = TurnSplit(_vector(a, a_at), _vector(b, b_at))
    turned = 360.0 / positions
    best = best_further_turn(split, turned, positions)
    every = [abs(split.before + split.beyond * _vector(1.0, turned * step)) for step in range(positions)]
    assert best.eccentricity == pytest.approx(min(every), abs=1e-9)
    assert math.remainder(best.angle_deg, 360.0 / positions) == pytest.approx(0.0, abs=1e-6)


def test_quarter_turn_by_hand() -> None:
    """First principles: A = 3 along 0°, B = 2 along 90°; turned by 90° B points along 180° and e₂ = 1."""
    split = split_by_turn(3 + 2j, 1 + 0j, 90.0)
    assert (split.before, split.beyond) == (pytest.approx(3 + 0j), pytest.approx(2j))
    best = best_further_turn(split, 90.0)
    assert (best.angle_deg, best.eccentricity) == (pytest.approx(0.0, abs=1e-9), pytest.approx(1.0))


@pytest.mark.parametrize("turned", [0.0, 360.0, -360.0, 720.0, 1e-8])
def test_a_whole_turn_is_refused(turned: float) -> None:
    """First principles: after a multiple of 360° the same is read, which tells nothing."""
    assert turn_error_ratio(turned) == math.inf
    with pytest.raises(ValueError, match="multiple of 360"):
        split_by_turn(1 + 0j, 1 + 0j, turned)


@pytest.mark.parametrize("first", [complex(math.nan, 0), complex(math.inf, 0)])
def test_readings_that_are_not_finite_are_refused(first: complex) -> None:
    """Each misuse is named."""
    with pytest.raises(ValueError, match="finite"):
        split_by_turn(first, 1 + 0j, 180.0)
    with pytest.raises(ValueError, match="one position"):
        best_further_turn(TurnSplit(1 + 0j, 1 + 0j), 90.0, 1)


def test_a_turn_that_is_not_finite_is_refused() -> None:
    """Each misuse is named."""
    with pytest.raises(ValueError, match="finite"):
        turn_error_ratio(math.nan)


@given(turns, sizes, directions, st.floats(0, 1), directions)
def test_errors_grow_as_the_ratio_says(turned: float, a: float, a_at: float, error: float, error_at: float) -> None:
    """First principles: an error δ of the second reading moves B by |δ|/|1 − exp(jφ)| = |δ|·ratio/2."""
    assume(error > 1e-3)
    first, second = _vector(a, a_at), _vector(1.0, 0.0)
    right = split_by_turn(first, second, turned).beyond
    wrong = split_by_turn(first, second + _vector(error, error_at), turned).beyond
    assert abs(wrong - right) == pytest.approx(error * turn_error_ratio(turned) / 2.0, rel=1e-6, abs=1e-9)

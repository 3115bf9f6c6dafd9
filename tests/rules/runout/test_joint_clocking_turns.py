"""Best clocking of joints."""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.runout.formulas import best_turns, closing_angles, single_turns

amplitudes = st.lists(st.floats(0, 100), min_size=1, max_size=8)
vectors = st.lists(st.builds(cmath.rect, st.floats(0, 100), st.floats(-math.pi, math.pi)), min_size=1, max_size=6)


def _turned(parts: list[complex], angles_deg: tuple[float, ...]) -> complex:
    """First principles: each joint turns everything beyond it."""
    total, turn = parts[0], 0.0
    for part, angle in zip(parts[1:], angles_deg, strict=True):
        turn += math.radians(angle)
        total += part * cmath.exp(1j * turn)
    return total


@settings(deadline=None, derandomize=True)
@given(amplitudes)
def test_closing_directions_reach_the_polygon_bound(lengths: list[float]) -> None:
    """First principles: the least resultant is max(0, largest − others), and the directions reach it."""
    total = sum(cmath.rect(a, angle) for a, angle in zip(lengths, closing_angles(lengths), strict=True))
    least = max(0.0, 2 * max(lengths) - math.fsum(lengths))
    # near a flat triangle a tiny angle is lost in the rounding of its cosine
    assert abs(total) == pytest.approx(least, abs=1e-5)


@settings(deadline=None, derandomize=True)
@given(st.data(), vectors)
def test_best_turns_do_what_they_say(data: st.DataObject, parts: list[complex]) -> None:
    """The angles, applied joint by joint, leave the eccentricity that is reported."""
    positions = data.draw(st.lists(st.sampled_from([0, 1, 2, 3]), min_size=len(parts) - 1, max_size=len(parts) - 1))
    best = best_turns(parts, positions)
    assert abs(_turned(parts, best.angles_deg)) == pytest.approx(best.eccentricity, abs=1e-5)
    for angle, count in zip(best.angles_deg, positions, strict=True):
        if count:
            assert math.remainder(angle, 360 / count) == pytest.approx(0, abs=1e-6)


@settings(deadline=None, derandomize=True)
@given(st.data(), vectors)
def test_best_is_never_worse_than_one_turn_or_none(data: st.DataObject, parts: list[complex]) -> None:
    """All joints together reach at least what one alone, or leaving all alone, reaches."""
    positions = data.draw(st.lists(st.sampled_from([0, 1, 2, 3]), min_size=len(parts) - 1, max_size=len(parts) - 1))
    best = best_turns(parts, positions).eccentricity
    alone = [turn.eccentricity for turn in single_turns(parts, positions)]
    assert best <= min([abs(sum(parts)), *alone]) + 1e-6


def test_indexed_joints_agree_with_trying_everything() -> None:
    """Golden rule by brute force: two- and three-position joints, all combinations by hand."""
    parts, positions = [3 + 1j, -2 + 2j, 1 - 4j, 0.5 + 0.5j], [3, 2, 3]
    brute = min(abs(_turned(parts, (120 * i, 180 * j, 120 * k))) for i in range(3) for j in range(2) for k in range(3))
    assert best_turns(parts, positions).eccentricity == pytest.approx(brute)


@settings(deadline=None, derandomize=True, max_examples=40)
@given(vectors.filter(lambda parts: len(parts) > 1))
def test_single_turn_beats_every_angle_tried(parts: list[complex]) -> None:
    """No angle of a fine scan leaves less than the one reported."""
    for turn in single_turns(parts, [0] * (len(parts) - 1)):
        before, beyond = sum(parts[: turn.joint]), sum(parts[turn.joint :])
        scan = min(abs(before + beyond * cmath.exp(1j * math.radians(step))) for step in range(360))
        assert turn.eccentricity <= scan + 1e-9
        assert abs(before + beyond * cmath.exp(1j * math.radians(turn.angle_deg))) == pytest.approx(
            turn.eccentricity, abs=1e-9
        )


def test_a_joint_that_cannot_turn_is_left_alone() -> None:
    """One position means not at all."""
    assert single_turns([1 + 0j, 1 + 0j], [1]) == []
    assert best_turns([1 + 0j, 1 + 0j], [1]).angles_deg == (0.0,)


def test_many_indexed_joints_are_not_all_tried() -> None:
    """Beyond the limit of combinations the answer says that it is not exhaustive."""
    assert not best_turns([1 + 0j] * 20, [3] * 19).exhaustive


@pytest.mark.parametrize(
    ("parts", "positions"), [([1 + 0j], [0]), ([1 + 0j, 1 + 0j], [-1]), ([complex(math.nan), 1 + 0j], [0])]
)
def test_refuses_nonsense(parts: list[complex], positions: list[int]) -> None:
    """Lengths must fit, counts and vectors make sense."""
    with pytest.raises(ValueError, match=r"joint|positions|finite"):
        best_turns(parts, positions)


@pytest.mark.parametrize("turns", [best_turns, single_turns])
@pytest.mark.parametrize("count", [0, 2])
@pytest.mark.parametrize("bad", [math.nan, math.inf, complex(0, math.nan)])
def test_one_part_that_is_not_finite_is_refused(turns: Callable[..., object], count: int, bad: complex) -> None:
    """A single figure that is none spoils every sum, whatever the others are."""
    with pytest.raises(ValueError, match="vectors must be finite"):
        turns([1 + 0j, bad], [count])

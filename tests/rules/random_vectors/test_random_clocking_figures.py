"""Figures of many resultants together equal those one by one and those of a separate integration."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import j0, j1, roots_legendre

from rules.random_vectors.random_sum import Answer, Question, RandomClocking
from tests.oracles.random_vectors.quantiles import Asked, series_figures
from tests.oracles.random_vectors.series import SeriesLaw, series_law
from tests.oracles.random_vectors.series_rest import (
    DEEP,
    LOOKED_UP,
    SHALLOW,
    end_of_sum,
    nodes,
    products_of_factors,
    tail_rows,
    tail_size,
    tail_sum,
)

ERROR = 1e-6

usual = st.lists(st.floats(0.05, 10.0), min_size=0, max_size=12)
wide = st.lists(st.floats(-3.0, 3.0).map(lambda x: 10.0**x), min_size=1, max_size=6)
equal = st.builds(lambda size, count: [size] * count, st.floats(0.1, 5.0), st.integers(1, 12))
dwarfing = st.builds(
    lambda rest, factor: [*rest, factor * sum(rest)], st.lists(st.floats(0.1, 1.0), min_size=1), wide.map(max)
)
stacks = st.one_of(usual, wide, equal, dwarfing)
sigmas = st.one_of(st.just(0.0), st.floats(0.01, 3.0))
levels = st.lists(st.one_of(st.sampled_from([0.5, 0.95]), st.floats(0.001, 0.999)), max_size=3)
shares = st.lists(st.one_of(st.sampled_from([0.0, 1.0, 2.0]), st.floats(0.0, 1.1)), max_size=3)


@st.composite
def questions(draw: st.DrawFn) -> Question:
    """Any law, some of its quantiles, some chances: at 0, inside, exactly at the greatest, and beyond."""
    law = RandomClocking(draw(stacks), draw(sigmas))
    reach = law.greatest if law.sigma == 0.0 else law.greatest + 3.0 * law.sigma
    return Question(law, draw(levels), [share * reach for share in draw(shares)])


mixes = st.lists(questions(), max_size=8)


@given(asked=mixes)
@settings(deadline=None, derandomize=True, max_examples=150)
def test_together_as_one_by_one(asked: list[Question]) -> None:
    """First principles: each quantile meets its probability and each chance is the law's, in the order asked."""
    for (law, probabilities, radii), answer in zip(asked, RandomClocking.figures_of(asked), strict=True):
        assert answer.chances == pytest.approx([law.probability(r) for r in radii], abs=ERROR)
        quantiles = np.array(answer.quantiles)
        assert quantiles.shape == (len(probabilities),)
        # the last digits of the radius are all there is to a step
        slack = 1e-14 * law.scale or 1e-300
        assert np.all(law.cdf(quantiles - slack) < np.array(probabilities) + ERROR)
        assert np.all(law.cdf(quantiles + slack) > np.array(probabilities) - ERROR)


@given(asked=mixes.filter(bool), data=st.data())
@settings(deadline=None, derandomize=True, max_examples=200)
def test_what_else_is_asked_does_not_matter(asked: list[Question], data: st.DataObject) -> None:
    """First principles: the answer is the law's own, the same to the last digit in any company."""
    together = RandomClocking.figures_of(asked)
    chosen = data.draw(st.integers(0, len(asked) - 1))
    law, probabilities, radii = asked[chosen]
    assert RandomClocking.figures_of([asked[chosen]]) == [together[chosen]]
    alone = RandomClocking.figures_of([Question(RandomClocking(law.amplitudes, law.sigma), probabilities, radii)])
    assert alone == [together[chosen]]


def _by_kluyver(radius: float, amplitudes: Sequence[float], sigma: float) -> float:
    """Kluyver's integral by Gauss's rule on short panels, the unit Σa: from where it ends it is below 1e-7."""
    scale = math.fsum(amplitudes) + sigma
    r, parts, deviation = radius / scale, [a / scale for a in amplitudes], sigma / scale
    end = 6.0 / deviation if deviation > 0.0 else 12_000.0
    x, weights = roots_legendre(8)
    low = np.arange(0.0, end)
    t = (low[:, None] + 0.5 + 0.5 * x).ravel()
    values = r * j1(r * t) * np.exp(-0.5 * (deviation * t) ** 2)
    for part in parts:
        values *= j0(part * t)
    return float(np.sum(values.reshape(low.size, -1) @ (0.5 * weights)))


@given(
    stack=st.lists(st.floats(0.5, 2.0), min_size=5, max_size=9),
    other=st.lists(st.floats(0.5, 5.0), min_size=1, max_size=7),
    sigma=st.floats(0.05, 2.0),
    share=st.floats(0.1, 0.95),
    level=st.floats(0.02, 0.98),
)
@settings(deadline=None, derandomize=True, max_examples=30)
def test_against_kluyvers_integral(
    stack: list[float], other: list[float], sigma: float, share: float, level: float
) -> None:
    """Literature: Kluyver's integral (1906) taken as it stands, no series, no tail, no table."""
    laws = [RandomClocking(stack), RandomClocking(other, sigma)]
    asked = [Question(law, [level], [share * law.scale]) for law in laws]
    for (law, _, radii), answer in zip(asked, RandomClocking.figures_of(asked), strict=True):
        assert answer.chances[0] == pytest.approx(_by_kluyver(radii[0], law.amplitudes, law.sigma), abs=ERROR)
        assert _by_kluyver(answer.quantiles[0], law.amplitudes, law.sigma) == pytest.approx(level, abs=ERROR)


SERIES = RandomClocking([3.0, 2.0, 2.5, 1.0, 1.2])


@pytest.mark.parametrize(
    ("law", "probabilities", "radii", "expected"),
    [
        (RandomClocking([]), [0.5], [-1.0, 0.0, 1.0], Answer([0.0], [0.0, 1.0, 1.0])),
        (RandomClocking([2.0]), [0.1, 0.9], [0.0, 1.999, 2.0], Answer([2.0, 2.0], [0.0, 0.0, 1.0])),
        (RandomClocking([0.0, 0.0]), [0.5], [0.0], Answer([0.0], [1.0])),
        (RandomClocking([3.0, 4.0]), [0.5], [0.5, 5.0, 7.0], Answer([5.0], [0.0, 0.5, 1.0])),
        (RandomClocking([1.0] * 3), [], [0.0, 1.0, 3.0, 9.0], Answer([], [0.0, 0.25, 1.0, 1.0])),
        (RandomClocking([1.0] * 7), [], [0.0, 1.0, 7.0], Answer([], [0.0, 0.125, 1.0])),
        (RandomClocking([10.0, 1.0, 1.0]), [0.0, 1.0], [7.99, 12.0], Answer([8.0, 12.0], [0.0, 1.0])),
        (RandomClocking([], 1.0), [0.95], [0.0, 1.0], Answer([2.447746831], [0.0, 1.0 - math.exp(-0.5)])),
        (RandomClocking([1.0, 1.0], 1e-3), [], [-1.0, 0.0, 99.0], Answer([], [0.0, 0.0, 1.0])),
        (SERIES, [], [math.inf, -math.inf, SERIES.greatest], Answer([], [1.0, 0.0, 1.0])),
        (SERIES, [1.0, 0.0], [], Answer([SERIES.greatest, 0.0], [])),
    ],
)
def test_ends_steps_and_nothing(
    law: RandomClocking, probabilities: list[float], radii: list[float], expected: Answer
) -> None:
    """First principles and Kluyver's 1/(n + 1) for n unit vectors within 1: alone and beside a series."""
    for asked in (
        [Question(law, probabilities, radii)],
        [Question(SERIES, [0.5]), Question(law, probabilities, radii)],
    ):
        found = RandomClocking.figures_of(asked)[-1]
        assert found.quantiles == pytest.approx(expected.quantiles, abs=1e-9)
        assert found.chances == pytest.approx(expected.chances, abs=ERROR)


def test_nothing_asked() -> None:
    """No question has no answer, and a question of nothing an empty one."""
    assert RandomClocking.figures_of([]) == []
    assert RandomClocking.figures_of([Question(SERIES), Question(RandomClocking([1.0]))]) == [Answer((), ())] * 2


@pytest.mark.parametrize(
    "wrong",
    [
        Question(SERIES, [1.1]),
        Question(SERIES, [math.nan]),
        Question(SERIES, [0.5], [math.nan]),
        Question(RandomClocking([1.0]), [], [math.nan]),
        Question(RandomClocking([]), [-0.1]),
        Question(RandomClocking([1.0, 2.0, 3.0], 0.1), [1.0]),
    ],
)
def test_what_cannot_be_asked(wrong: Question) -> None:
    """As the separate functions: no probability outside [0, 1], no radius that is no number, no bound of a Gaussian."""
    with pytest.raises(ValueError, match=r"probability|number"):
        RandomClocking.figures_of([Question(SERIES, [0.5]), wrong])


def test_quantiles_come_in_the_order_asked_and_rise() -> None:
    """First principles: close probabilities in any order have quantiles that rise with them."""
    wanted = [0.9, 0.1, 0.9 + 1e-15, 0.5, 0.9 - 1e-15]
    [answer] = RandomClocking.figures_of([Question(SERIES, wanted)])
    by_probability = [answer.quantiles[n] for n in sorted(range(5), key=wanted.__getitem__)]
    assert by_probability == sorted(answer.quantiles)
    assert answer.quantiles[1] < answer.quantiles[3] < answer.quantiles[0]


@pytest.mark.parametrize(
    "amplitudes",
    [
        [17.0, 5.0, 4.5],
        [9.0, 7.0, 0.84, 0.8],
        [3.0, 2.0, 2.5, 1.0, 1.2],
        [60.0, 1.0, 0.3, 0.1],  # a finer tail
        [1000.0, 40.0, 30.0],  # more terms than are looked up
        [20.0, 1.0, 0.9, 0.8, 0.7, 0.6, 0.5, 0.4],  # narrow, so a fine grid
        [1.0] * 20,
    ],
)
def test_every_kind_of_series_is_read_as_summed(amplitudes: list[float]) -> None:
    """First principles: reading looked-up waves agrees with summing the series term by term."""
    total = math.fsum(amplitudes)
    parts = sorted((a / total for a in amplitudes), reverse=True)
    law = series_law(parts, 0.0, max(0.0, 2 * parts[0] - 1.0), 1.0, 16384)
    assert isinstance(law, SeriesLaw)
    radii = np.linspace(max(law.lower, law.least, 0.1), 1.0, 23)[1:-1]
    [found] = series_figures([Asked(law, [0.05, 0.5, 0.95], radii.tolist())])
    assert found is not None
    assert found.chances == pytest.approx(law.cdf(radii).tolist(), abs=5e-7)
    assert law.cdf(np.array(found.quantiles)) == pytest.approx([0.05, 0.5, 0.95], abs=5e-7)


def test_looked_up_products_of_bessel_functions() -> None:
    """Literature: scipy's J₀: within 1e-8 a factor over all terms that are looked up, 0 and 1 among the amplitudes."""
    stacks = [[1.0], [0.5, 0.31, 0.0], [0.9999, 1e-9]]
    zeros = nodes(LOOKED_UP)[0]
    expected = [np.prod([j0(a * zeros) for a in stack], axis=0) for stack in stacks]
    assert np.max(np.abs(products_of_factors(stacks, [[] for _ in stacks], LOOKED_UP) - np.array(expected))) < 1e-8
    round_ones = [[1.0], [0.5, 0.31], [0.9999, 1e-6]]
    expected = [np.prod([2 * j1(a * zeros) / (a * zeros) for a in stack], axis=0) for stack in round_ones]
    assert (
        np.max(np.abs(products_of_factors([[] for _ in round_ones], round_ones, LOOKED_UP) - np.array(expected))) < 1e-8
    )


@pytest.mark.parametrize("orders", [SHALLOW, DEEP])
@pytest.mark.parametrize("count", [3, 4, 5, 6])
def test_tails_of_several_laws_as_of_each(count: int, orders: int) -> None:
    """First principles: rows of laws with different ends have the tail of each, folded or not."""
    laws = [[1.0 / count] * count, [2.0 * (k + 1) / (count * (count + 1)) for k in range(count)]]
    laws = [*laws, laws[0]]
    positions, ends = [0.4, 0.97, 0.7], [end_of_sum(80), end_of_sum(200), end_of_sum(5000)]
    sizes = [tail_size(law, end) for law, end in zip(laws, ends, strict=True)]
    for row, position, law, end in zip(
        tail_rows(positions, laws, ends, sizes, orders), positions, laws, ends, strict=True
    ):
        value, slope = tail_sum(np.array([position]), np.array(law), end, orders)
        assert row == pytest.approx((value[0], slope[0]), rel=1e-7)

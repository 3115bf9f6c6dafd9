"""Dominance with unknown criteria: properties, and agreement with the definition."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.comparison import dominators, non_dominated

VALUES = st.one_of(st.none(), st.integers(0, 3).map(float))


@st.composite
def tables(draw: Any) -> tuple[list[list[float | None]], list[bool], list[int]]:
    """Rows, directions and classes with many ties and gaps."""
    directions = draw(st.lists(st.booleans(), min_size=1, max_size=4))
    rows = draw(st.lists(st.lists(VALUES, min_size=len(directions), max_size=len(directions)), min_size=1, max_size=7))
    classes = draw(st.lists(st.integers(0, 1), min_size=len(rows), max_size=len(rows)))
    return rows, directions, classes


def _by_definition(rows: Any, directions: Any, classes: Any, a: int, b: int) -> bool:
    """First principles: no criterion worse, one better, nothing unknown that is known of anyone, class no higher."""
    better = False
    for n, higher in enumerate(directions):
        if all(row[n] is None for row in rows):
            continue
        mine, theirs = rows[a][n], rows[b][n]
        if mine is None or theirs is None or (mine < theirs if higher else mine > theirs):
            return False
        better = better or mine != theirs
    return better and classes[a] <= classes[b]


@given(tables())
def test_it_is_what_the_definition_says(table: Any) -> None:
    """Every pair, by brute force."""
    rows, directions, classes = table
    expected = [
        tuple(a for a in range(len(rows)) if _by_definition(rows, directions, classes, a, b)) for b in range(len(rows))
    ]
    assert dominators(rows, directions, classes) == expected


@given(tables())
def test_someone_is_always_left(table: Any) -> None:
    """The set is never empty, and whoever is dominated is dominated by someone in it."""
    left = set(non_dominated(*table))
    assert left
    assert all(left & set(found) for found in dominators(*table) if found)


@given(tables(), st.data())
def test_a_worse_alternative_changes_nothing(table: Any, data: Any) -> None:
    """One more that is no better than another anywhere, and worse somewhere, leaves the set as it was."""
    rows, directions, classes = table
    complete = [
        n
        for n, row in enumerate(rows)
        if all(value is not None or all(r[k] is None for r in rows) for k, value in enumerate(row))
        and any(value is not None for value in row)
    ]
    if not complete:
        return
    model = data.draw(st.sampled_from(complete))
    steps = data.draw(st.lists(st.integers(0, 2), min_size=len(directions), max_size=len(directions)))
    steps[next(k for k, value in enumerate(rows[model]) if value is not None)] += 1
    worse = [
        None if value is None else value + (-step if higher else step)
        for value, step, higher in zip(rows[model], steps, directions, strict=True)
    ]
    assert non_dominated([*rows, worse], directions, [*classes, classes[model]]) == non_dominated(*table)


@given(tables(), st.randoms(use_true_random=False))
def test_the_order_is_irrelevant(table: Any, random: Any) -> None:
    """Shuffled alternatives give the shuffled set."""
    rows, directions, classes = table
    order = list(range(len(rows)))
    random.shuffle(order)
    shuffled = non_dominated([rows[n] for n in order], directions, [classes[n] for n in order])
    assert sorted(order[n] for n in shuffled) == non_dominated(*table)


@pytest.mark.parametrize(
    ("rows", "directions", "classes", "left"),
    [
        ([[1.0], [1.0]], [False], [0, 0], [0, 1]),
        ([[1.0], [2.0]], [False], [1, 0], [0, 1]),
        ([[1.0], [2.0]], [False], [1, 1], [0]),
        ([[1.0, None], [2.0, 3.0]], [False, True], [0, 0], [0, 1]),
        ([[1.0, None], [2.0, None]], [False, True], [0, 0], [0]),
        ([[None], [None]], [True], [0, 0], [0, 1]),
    ],
    ids=["tie", "fails but better", "both fail", "unknown", "unknown of all", "nothing known"],
)
def test_cases(rows: Any, directions: Any, classes: Any, left: list[int]) -> None:
    """Ties, failures and unknown values, one at a time."""
    assert non_dominated(rows, directions, classes) == left


@pytest.mark.parametrize(
    ("rows", "directions", "classes"),
    [([[1.0]], [True, False], [0]), ([[1.0]], [True], []), ([[float("nan")]], [True], [0])],
)
def test_senseless_input_is_refused(rows: Any, directions: Any, classes: Any) -> None:
    """Lengths that differ, and NaN, which compares with nothing."""
    with pytest.raises(ValueError, match="value"):
        dominators(rows, directions, classes)

"""8° collets and straight shanks: ranges, edges, gaps."""

from __future__ import annotations

import pytest

from rules.couplings import collets, straight_shank
from rules.couplings.collets import RunoutLimit
from rules.quantities.tables import UnknownEntryError


def test_the_series_grows_with_the_size() -> None:
    """A larger size is larger in every dimension, and holds larger shanks."""
    rows = [collets.collet(size) for size in collets.sizes()]
    assert collets.sizes() == ("8", "11", "16", "20", "25", "32", "40", "50")
    for column in ("big_end_mm", "length_mm", "capacity_max_mm"):
        values = [getattr(row, column) for row in rows]
        assert values == sorted(set(values))
    for size in collets.sizes():
        low, high = collets.capacity(size)
        assert 0 < low < high < collets.collet(size).big_end_mm
        assert collets.length(size) == collets.collet(size).length_mm


@pytest.mark.parametrize(
    ("size", "nominal_mm", "expected"),
    [
        ("16", 2.999, 0.5),
        ("16", 3.0, 0.5),
        ("16", 3.001, 1.0),
        ("40", 26.0, 1.0),
        ("40", 30.0, 1.0),
        ("8", 5.0, 0.5),
        ("11", 7.0, 0.5),
        ("50", 20.0, 2.0),
    ],
)
def test_collapse_by_size_and_bore(size: str, nominal_mm: float, expected: float) -> None:
    """0.5 mm up to and including 3 mm, 1 mm above; exceptions for 8, 11 and 50 from memory."""
    assert collets.collapse(size, nominal_mm) == expected


def test_a_collet_without_a_bore_is_refused() -> None:
    """Zero, negative and undefined bores have no range; unknown sizes no collapse."""
    for nominal in (0.0, -1.0, float("nan")):
        with pytest.raises(ValueError, match="positive"):
            collets.collapse("16", nominal)
    with pytest.raises(UnknownEntryError, match="'17'"):
        collets.collapse("17", 6.0)


@pytest.mark.parametrize(
    ("bore_mm", "class_1", "class_2"),
    [
        (0.999, None, None),
        (1.0, RunoutLimit(6, 10), RunoutLimit(6, 15)),
        (1.6, RunoutLimit(6, 10), RunoutLimit(6, 15)),
        (1.601, RunoutLimit(10, 10), RunoutLimit(10, 15)),
        (3.0, RunoutLimit(10, 10), RunoutLimit(10, 15)),
        (6.0, RunoutLimit(16, 10), RunoutLimit(16, 15)),
        (10.0, RunoutLimit(25, 10), RunoutLimit(25, 15)),
        (10.001, RunoutLimit(40, 15), RunoutLimit(40, 20)),
        (18.0, RunoutLimit(40, 15), RunoutLimit(40, 20)),
        (26.0, RunoutLimit(50, 15), RunoutLimit(50, 20)),
        (26.001, RunoutLimit(60, None), RunoutLimit(60, None)),
        (34.0, RunoutLimit(60, None), RunoutLimit(60, None)),
        (34.001, None, None),
    ],
)
def test_runout_classes_by_bore(bore_mm: float, class_1: RunoutLimit | None, class_2: RunoutLimit | None) -> None:
    """From memory of ISO 15488, Table 4: gauge length and limit by bore; beyond 26 mm no limit is stated."""
    assert collets.runout_limit(bore_mm, 1) == class_1
    assert collets.runout_limit(bore_mm, 2) == class_2


def test_there_are_two_runout_classes() -> None:
    """A third class is an error."""
    with pytest.raises(UnknownEntryError, match="known: 1, 2"):
        collets.runout_limit(6.0, 3)


@pytest.mark.parametrize("standard", ["din_1835", "iso_3338"])
def test_steel_shank_lengths(standard: str) -> None:
    """From memory of DIN 1835-1; ISO 3338 taken to have the same series."""
    pairs = {3: 28, 5: 28, 6: 36, 10: 40, 12: 45, 16: 48, 20: 50, 25: 56, 32: 60, 40: 70, 50: 80, 63: 90}
    assert {d: straight_shank.shank_length(standard, float(d)) for d in pairs} == pairs
    assert straight_shank.tolerance(standard, "plain") == "h8"
    assert straight_shank.tolerance(standard, "side_lock_flat") == "h6"


def test_shank_standards_agree_where_they_overlap() -> None:
    """The lengths of one diameter are the same in all three standards."""
    for diameter in straight_shank.diameters("din_6535"):
        lengths = {straight_shank.shank_length(name, diameter) for name in straight_shank.standards()} - {None}
        assert len(lengths) == 1, diameter


def test_shanks_outside_the_standards() -> None:
    """An unlisted diameter or form is None, an unknown standard an error."""
    assert straight_shank.shank_length("din_6535", 6.35) is None
    assert straight_shank.tolerance("iso_3338", "inclined_flat") is None
    assert straight_shank.flat("din_6535", "plain", 20.0) is None
    for call in (
        lambda: straight_shank.diameters("din_0000"),
        lambda: straight_shank.shank_length("din_0000", 20.0),
        lambda: straight_shank.tolerance("din_0000", "plain"),
        lambda: straight_shank.flat("din_0000", "plain", 20.0),
    ):
        with pytest.raises(UnknownEntryError, match="din_6535"):
            call()


def test_a_flat_leaves_more_than_half_the_shank() -> None:
    """First principles: the height over a flat lies between radius and diameter."""
    for diameter in straight_shank.diameters("din_6535"):
        flat = straight_shank.flat("din_6535", "side_lock_flat", diameter)
        if flat is not None and flat.height_mm is not None:
            assert diameter / 2 < flat.height_mm < diameter
            assert flat.flat_width_mm is not None
            assert flat.flat_width_mm < diameter

"""Limits and fits compared with printed numbers; each has its source."""

from __future__ import annotations

import pytest

from rules.grip.formulas import clearance_um
from rules.grip.tolerances import limits, standard_tolerance_um
from tests.support.fits import fit_kind, limit_sizes_mm

# Upper limit of the range, then IT5 to IT9 in µm: a machine-drawing textbook, Table 15.1, and a second
# published table, both agreeing.
PRINTED_TOLERANCES = {
    3: (4, 6, 10, 14, 25),
    6: (5, 8, 12, 18, 30),
    10: (6, 9, 15, 22, 36),
    18: (8, 11, 18, 27, 43),
    30: (9, 13, 21, 33, 52),
    50: (11, 16, 25, 39, 62),
    80: (13, 19, 30, 46, 74),
    120: (15, 22, 35, 54, 87),
}

# Upper limit of the range, then es of f, g, h and ei of k6, m, n, p, s in µm.  m to s: machine-drawing
# textbook, Table 15.2; f, g, h up to 10 mm: its Table 15.1; f, g, k above: a public table, and from memory.
PRINTED_DEVIATIONS = {
    3: (-6, -2, 0, 0, 2, 4, 6, 14),
    6: (-10, -4, 0, 1, 4, 8, 12, 19),
    10: (-13, -5, 0, 1, 6, 10, 15, 23),
    18: (-16, -6, 0, 1, 7, 12, 18, 28),
    30: (-20, -7, 0, 2, 8, 15, 22, 35),
    50: (-25, -9, 0, 2, 9, 17, 26, 43),
    65: (-30, -10, 0, 2, 11, 20, 32, 53),
    80: (-30, -10, 0, 2, 11, 20, 32, 59),
    100: (-36, -12, 0, 3, 13, 23, 37, 71),
    120: (-36, -12, 0, 3, 13, 23, 37, 79),
}


@pytest.mark.parametrize(("up_to_mm", "printed"), PRINTED_TOLERANCES.items())
def test_standard_tolerances_as_printed(up_to_mm: int, printed: tuple[int, ...]) -> None:
    """Literature: IT5 to IT9 of every range up to 120 mm."""
    assert tuple(standard_tolerance_um(float(up_to_mm), grade) for grade in range(5, 10)) == printed


@pytest.mark.parametrize(("up_to_mm", "printed"), PRINTED_DEVIATIONS.items())
def test_fundamental_deviations_as_printed(up_to_mm: int, printed: tuple[int, ...]) -> None:
    """Literature: shafts f, g, h, k, m, n, p, s of every range up to 120 mm."""
    upper = [limits(float(up_to_mm), f"{letter}6", hole=False).upper_um for letter in "fgh"]
    lower = [limits(float(up_to_mm), f"{letter}6", hole=False).lower_um for letter in "kmnps"]
    assert (*upper, *lower) == printed


# Nominal size, hole, shaft, smallest and largest clearance in µm (negative: interference), source.
PRINTED_FITS = [
    (25.0, "H7", "h6", 0, 34, "two public pages; ISO 286-1"),
    (25.0, "H7", "p6", -35, -1, "NIMI trade textbook, p. 233"),
    (20.0, "H7", "g6", 7, 41, "NIMI trade textbook, p. 232"),
    (75.0, "H8", "j7", -18, 58, "NIMI trade textbook, p. 233"),
    (100.0, "H7", "p6", -59, -2, "machine-drawing textbook, p. 225: bush in a housing"),
    (
        50.0,
        "H7",
        "f7",
        25,
        75,
        "machine-drawing textbook, p. 225: shaft in a bush; the page misprints the shaft by 0.9 mm",
    ),
    (50.0, "H8", "f7", 25, 89, "encyclopedia article on engineering fits"),
    (40.0, "H7", "r6", -50, -9, "examination problem: IT7 25, IT6 16, ei +34; the result is ours"),
]


@pytest.mark.parametrize(("nominal_mm", "hole", "shaft", "low", "high", "source"), PRINTED_FITS)
def test_worked_fits_as_printed(nominal_mm: float, hole: str, shaft: str, low: int, high: int, source: str) -> None:
    """Literature: clearances and interferences of fits worked in print."""
    found = clearance_um(limits(nominal_mm, hole, hole=True), limits(nominal_mm, shaft, hole=False))
    assert found == (low, high), source


@pytest.mark.parametrize(
    ("nominal_mm", "tolerance_class", "printed", "source"),
    [
        (25.0, "H7", (25.000, 25.021), "NIMI trade textbook, p. 233"),
        (25.0, "h6", (24.987, 25.000), "public page"),
        (25.0, "p6", (25.022, 25.035), "NIMI trade textbook, p. 233"),
        (20.0, "H7", (20.000, 20.021), "NIMI trade textbook, p. 232"),
        (20.0, "g6", (19.980, 19.993), "NIMI trade textbook, p. 232"),
        (75.0, "H8", (75.000, 75.046), "NIMI trade textbook, p. 233"),
        (75.0, "j7", (74.988, 75.018), "NIMI trade textbook, p. 233"),
        (100.0, "H7", (100.000, 100.035), "machine-drawing textbook, p. 225"),
        (100.0, "p6", (100.037, 100.059), "machine-drawing textbook, p. 225"),
        (50.0, "H7", (50.000, 50.025), "machine-drawing textbook, p. 225"),
        (
            50.0,
            "f7",
            (49.950, 49.975),
            "machine-drawing textbook, p. 225; the page misprints the whole millimetre",
        ),
        (34.0, "H11", (34.000, 34.160), "Shigley 9th ed., Ex. 7-7"),
        (34.0, "c11", (33.720, 33.880), "Shigley 9th ed., Ex. 7-7"),
    ],
)
def test_limit_sizes_as_printed(
    nominal_mm: float, tolerance_class: str, printed: tuple[float, float], source: str
) -> None:
    """Literature: limits of size in mm."""
    deviations = limits(nominal_mm, tolerance_class, hole=tolerance_class[0].isupper())
    assert limit_sizes_mm(nominal_mm, deviations) == pytest.approx(printed, abs=1e-9), source


@pytest.mark.parametrize(
    ("nominal_mm", "tolerance_class", "printed"),
    [
        # machine-drawing textbook, p. 225
        (25.0, "H7", (0, 21)),
        (10.0, "H10", (0, 58)),
        (40.0, "C11", (120, 280)),
        (10.0, "h9", (-36, 0)),
        (25.0, "h9", (-52, 0)),
        (40.0, "h11", (-160, 0)),
        # encyclopedia article on engineering fits
        (50.0, "H8", (0, 39)),
        (50.0, "f7", (-50, -25)),
        # ISO 286-1, the classes of ground shanks
        (6.0, "h6", (-8, 0)),
        (10.0, "h6", (-9, 0)),
        (20.0, "h6", (-13, 0)),
        (32.0, "h6", (-16, 0)),
    ],
)
def test_deviations_as_printed(nominal_mm: float, tolerance_class: str, printed: tuple[int, int]) -> None:
    """Literature: deviations in µm."""
    assert limits(nominal_mm, tolerance_class, hole=tolerance_class[0].isupper()) == printed


@pytest.mark.parametrize(
    ("nominal_in", "row_mm", "source"),
    [
        (2.0, 50.0, "Shigley 9th ed., Ex. 7-8: its inch table counts 2 in to the range 30 to 50 mm"),
        (1.5, 38.1, "Shigley 9th ed., solution 7-24"),
    ],
)
def test_inch_fit_as_printed(nominal_in: float, row_mm: float, source: str) -> None:
    """Literature: H7/s6 in inches to four places; hole +0.0010, shaft +0.0017 to +0.0023."""
    inches = [
        round(value / 25400, 4) for value in (*limits(row_mm, "H7", hole=True), *limits(row_mm, "s6", hole=False))
    ]
    sizes = [round(nominal_in + value, 4) for value in inches]
    printed = [nominal_in, nominal_in + 0.0010, nominal_in + 0.0017, nominal_in + 0.0023]
    assert sizes == pytest.approx(printed, abs=1e-9), source
    low, high = clearance_um((inches[0], inches[1]), (inches[2], inches[3]))
    assert (round(low, 4), round(high, 4)) == (-0.0023, -0.0007)


@pytest.mark.parametrize(
    ("shaft", "kind"),
    [
        ("h6", "clearance"),
        ("g6", "clearance"),
        ("k6", "transition"),
        ("p6", "interference"),
        ("s6", "interference"),
    ],
)
def test_kinds_of_the_usual_fits(shaft: str, kind: str) -> None:
    """Literature: the usual fits with H7 at 25 mm are of the kind every textbook gives them."""
    assert fit_kind(*clearance_um(limits(25.0, "H7", hole=True), limits(25.0, shaft, hole=False))) == kind

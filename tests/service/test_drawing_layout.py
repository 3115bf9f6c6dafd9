"""Labels and dimension lines do not overlap."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.drawing.svg import lanes, shortened, spread, text_width, wrapped

_SHOWN = (
    "drawing_dimensions",
    "drawing_layout",
    "drawing_text",
    "plots_frame",
    "svg",
)


@given(st.lists(st.tuples(st.floats(0, 1000), st.floats(1, 60)), min_size=1, max_size=15))
def test_labels_in_a_row_keep_their_order_and_never_overlap(labels: list[tuple[float, float]]) -> None:
    """They stay on the sheet where it is wide enough, and those with room of their own stay where they are wanted."""
    wanted = sorted(place for place, _ in labels)
    widths = [width for _, width in labels]
    middles = spread(wanted, widths, -10.0, 1010.0)
    edges = [(middle - width / 2.0, middle + width / 2.0) for middle, width in zip(middles, widths, strict=True)]
    for one, other in pairwise(edges):
        assert one[1] <= other[0] + 1e-6
    assert edges[0][0] >= -10.0 - 1e-6
    if sum(widths) <= 1020.0:
        assert edges[-1][1] <= 1010.0 + 1e-6
    if len(labels) == 1 and 60.0 < wanted[0] < 940.0:
        assert middles == pytest.approx(wanted)


@given(st.lists(st.tuples(st.floats(0, 100), st.floats(0.1, 50)), max_size=25))
def test_no_two_dimensions_of_one_lane_meet(spans: list[tuple[float, float]]) -> None:
    """And the first lane is used before a second."""
    reaches = [(begin, begin + length) for begin, length in spans]
    chosen = lanes(reaches, 4.0)
    assert sorted(set(chosen)) == list(range(len(set(chosen))))
    for one, (begin, end) in enumerate(reaches):
        for other in range(one):
            if chosen[one] == chosen[other]:
                start, stop = reaches[other]
                assert stop + 4.0 <= begin or end + 4.0 <= start


@given(st.text(max_size=60), st.floats(20, 300))
def test_words_are_cut_to_their_room(words: str, room: float) -> None:
    """What fits stays as it is; what does not ends in an ellipsis and fits."""
    cut = shortened(words, 11.0, room)
    assert text_width(cut, 11.0) <= room
    assert cut == words if text_width(words, 11.0) <= room else cut.endswith("…")


@given(st.lists(st.text("abcdefgh", min_size=1, max_size=9), min_size=1, max_size=30), st.integers(1, 4))
def test_lines_hold_the_words_in_their_order(words: list[str], most: int) -> None:
    """No more lines than allowed, each within its room, and nothing lost but behind an ellipsis."""
    lines = wrapped(" ".join(words), 11.0, 120.0, most)
    assert len(lines) <= most
    assert all(text_width(line, 11.0) <= 120.0 for line in lines)
    told = " ".join(lines)
    assert " ".join(words).startswith(told.rstrip("…").rstrip())
    assert told.endswith("…") or told == " ".join(words)

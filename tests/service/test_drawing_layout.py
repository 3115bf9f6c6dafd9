"""Labels and dimension lines do not overlap."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.drawing.side_view import draw_stack
from service.drawing.svg import lanes, shortened, spread, text_width, wrapped
from tests.support.pictures import SVG, corners_of, judged, outside, overlapping, parsed

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


@st.composite
def _stacks(draw: st.DrawFn) -> dict[str, Any]:
    """Return a stack 60 to 600 mm long and 40 to 300 mm in diameter, of two to five parts in or on each other."""
    length, widest = draw(st.floats(60, 600)), draw(st.floats(40, 300))
    count = draw(st.integers(1, 4))
    shares = [draw(st.floats(0.05, 1)) for _ in range(count + 1)]
    lengths = [length * share / sum(shares) for share in shares]
    name = st.text("abcWM_.-", min_size=1, max_size=20)
    parts: list[dict[str, Any]] = []
    joints: list[dict[str, Any]] = []
    bore = widest
    for number, long in enumerate(lengths):
        outer = bore if number else widest
        bore = outer * draw(st.floats(0.1, 0.8))
        grip = draw(st.floats(0.1, 1)) * lengths[number - 1] if number else 0.0
        steps = draw(st.integers(1, 4))
        whole = long + grip
        narrow = [outer * (1.0 - 0.02 * step) for step in range(steps)]
        tool = number == count
        part: dict[str, Any] = {
            "id": f"{number}-{draw(name)}",
            "kind": "cutter" if tool else "extension" if number else "base_holder",
            "profile": [
                {"length_mm": whole / steps, "outer_mm": one, **({} if tool else {"bore_mm": min(bore, one * 0.9)})}
                for one in narrow
            ],
            "machine_side": {"coupling": "cylindrical", "diameter_mm": outer}
            if number
            else {"coupling": draw(st.sampled_from(["hollow_taper", "polygonal_taper"])), "size": "63"},
        }
        if not tool:
            part["workpiece_side"] = {"coupling": "shrink_fit", "diameter_mm": bore}
        if number:
            joints.append({"upper": parts[-1]["id"], "lower": part["id"], "grip_length_mm": grip})
            part["overall_length_mm"] = whole
        else:
            part["gauge_length_mm"] = whole
        if tool:
            part["cutting_diameter_mm"] = outer * draw(st.floats(0.5, 1.5))
            if draw(st.booleans()):
                part["flute_length_mm"] = long * draw(st.floats(0.1, 1.5))
            part["corner_radius_mm"] = part["cutting_diameter_mm"] * draw(st.sampled_from([0.0, 0.1, 0.5]))
        parts.append(part)
    request: dict[str, Any] = {"stack": {"components": parts, "joints": joints}}
    if draw(st.booleans()):
        request["policy"] = {"unstated": "typical"}
    return request


@pytest.mark.parametrize("listed", [True, False])
@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(request=_stacks())
def test_no_label_of_a_drawing_lies_on_another(listed: bool, request: dict[str, Any]) -> None:
    """Long and short, thin and wide, with and without lists: every text is on the sheet, apart, and 11 px or more."""
    report, derived = judged(request)
    picture = draw_stack(report, derived, bent=listed, prefix="", listed=listed)
    assert picture is not None
    root = parsed(picture)
    assert overlapping(root) == []
    assert outside(root) == []
    assert min(float(one.get("font-size", "12")) for one in root.iter(f"{SVG}text")) >= 11.0
    indicator = root.find(f".//{SVG}g[@data-plane='gauge']/{SVG}circle")
    if indicator is not None:
        (tool,) = root.findall(f".//{SVG}g[@data-part='{len(derived.chain.members) - 1}']")
        across = [x for one in tool for x, _ in corners_of(one)]
        assert min(across) - 0.1 <= float(indicator.get("cx", "")) <= max(across) + 0.1

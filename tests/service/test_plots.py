"""The charts show the figures of the report to the scale of their axes."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest
from lxml import etree

from service.drawing.plot_frame import ticks
from tests.support.operations import change
from tests.support.pictures import SVG, corners_of, drawn, judged, parsed, words_in
from tests.support.stacks import known, quantile

STACKS = {
    file.stem[:2]: json.loads(file.read_text(encoding="utf-8"))
    for file in sorted((Path(__file__).parents[2] / "demo_data/stacks").glob("*.json"))
}


def _two_offsets(first_um: float, second_um: float, law: str = "measured") -> dict[str, Any]:
    """Return a stack of two contributors that are the same all along the axis."""
    request: dict[str, Any] = json.loads(json.dumps(STACKS["04"]))
    for part, reading in zip(request["stack"]["components"], (first_um, second_um), strict=True):
        part["runout"] = {"law": law, "character": "offset", "statements": [{"tir_um": reading, "at_mm": 30}]}
    return request


def _plot(request: dict[str, Any], name: str) -> etree._Element:
    picture = getattr(drawn(request), name)
    assert picture is not None
    return parsed(picture)


def _bars(root: etree._Element, *fills: str) -> list[float]:
    """Return the lengths of bars, px, in their order; those of the key left out."""
    return [
        float(one.get("width", ""))
        for one in root.iter(f"{SVG}rect")
        if one.get("fill") in fills and one.get("x") == "230" and float(one.get("y", "")) > 60.0
    ]


def _words(root: etree._Element) -> set[str]:
    return {one.words for one in words_in(root)}


@pytest.mark.parametrize("number", ["01", "03", "11"])
def test_budget_bars_are_as_long_as_their_figures(number: str) -> None:
    """Pixels over micrometres are equal for every contributor and every sum, at the gauge plane and at the tip."""
    report, _ = judged(STACKS[number])
    root = _plot(STACKS[number], "budget")
    runout = report.runout
    figures = [value for one in runout.contributors for value in (one.tir_um["gauge_plane"], one.tir_um["tip"])]
    for name, of in (("p50", "assemblies"), ("p95", "assemblies"), ("p95", "parts_at_limits"), ("p100", "worst_case")):
        figures += [known(quantile(report, plane, name, of)) for plane in ("gauge_plane", "tip")]
    lengths = _bars(root, "#3c5a78", "#d9e2ea")
    assert len(lengths) == len(figures)
    scale = lengths[-1] / figures[-1]
    assert lengths == pytest.approx([scale * figure for figure in figures], abs=0.02)
    assert f"limit {report.operation.runout.limit_um:.1f} µm" in _words(root)
    for one in runout.contributors:
        assert one.text in _words(root)


def test_an_incomplete_budget_says_so() -> None:
    """The budget and the axis show what is known, without a sum; the distribution would be one of too little runout."""
    assert drawn(STACKS["15"]).distribution is None
    for name in ("budget", "axis"):
        assert not any("95th percentile" in words for words in _words(_plot(STACKS["15"], name)))
        assert any(words.startswith("Incomplete") for words in _words(_plot(STACKS["15"], name)))
        assert not any(words.startswith("Incomplete") for words in _words(_plot(STACKS["01"], name)))


def _curve(root: etree._Element, width: str) -> etree._Element:
    """Return the curve of this width of line; the sample in the key has two corners only."""
    found = [one for one in root.iter(f"{SVG}path") if one.get("stroke-width") == width]
    return next(one for one in found if len(corners_of(one)) > 2)


def _distribution(request: dict[str, Any]) -> list[tuple[float, float]]:
    """Return the curve: reading in µm, share of the assemblies below it."""
    root = _plot(request, "distribution")
    curve = _curve(root, "2.2")
    feet = {
        float(one.get("x", "")): float("".join(one.itertext()))
        for one in root.iter(f"{SVG}text")
        if one.get("text-anchor") == "middle" and "".join(one.itertext()).replace(".", "").isdigit()
    }
    (low, zero), *_, (high, most) = sorted(feet.items())
    levels = {"".join(one.itertext()): float(one.get("y", "")) - 4.0 for one in root.iter(f"{SVG}text")}
    bottom, top = levels["0 %"], levels["100 %"]
    return [
        (zero + (x - low) / (high - low) * (most - zero), (bottom - y) / (bottom - top)) for x, y in corners_of(curve)
    ]


def test_two_equal_vectors_follow_the_arcsine_law() -> None:
    """First principles: |a + a·exp(jθ)| = 2a·cos(θ/2), so P(reading ≤ t) = 2/π·asin(t/t_max)."""
    curve = _distribution(_two_offsets(8.0, 8.0))
    assert len(curve) > 100
    for reading, share in curve:
        exact = 1.0 if reading >= 16.0 else 2.0 / math.pi * math.asin(max(reading, 0.0) / 16.0)
        # a curve of points a hundredth of a pixel apart; near its end it is upright
        assert share == pytest.approx(exact, abs=2e-3 if reading < 15.9 else 2e-2)


def test_one_contributor_up_to_its_limit_follows_the_square_law() -> None:
    """First principles: anywhere up to 8 µm, P(reading ≤ t) = (t/8)²."""
    for reading, share in _distribution(_two_offsets(8.0, 0.0, "limit")):
        assert share == pytest.approx(min(max(reading, 0.0) / 8.0, 1.0) ** 2, abs=2e-3)


def test_one_measured_contributor_alone_is_a_step() -> None:
    """Below its reading nothing, at it and above everything."""
    curve = _distribution(_two_offsets(8.0, 0.0))
    steps = [(reading, share) for reading, share in curve if 0.01 < share < 0.99]
    assert steps == []
    assert [reading for reading, _ in curve][1:3] == pytest.approx([8.0, 8.0], abs=0.02)


def test_the_distribution_names_its_figures() -> None:
    """Half, 95 %, worst and the limit, at the plane where the limit applies."""
    for plane in ("gauge_plane", "tip"):
        request = json.loads(json.dumps(STACKS["01"]))
        change(request["operations"][0], {"runout_limit_at": plane})
        report, _ = judged(request)
        words = _words(_plot(request, "distribution"))
        for name, quantile_name, of in (
            ("median", "p50", "assemblies"),
            ("95th percentile", "p95", "assemblies"),
            ("95 % at limits", "p95", "parts_at_limits"),
            ("worst", "p100", "worst_case"),
        ):
            assert f"{name} {known(quantile(report, plane, quantile_name, of)):.1f} µm" in words
        assert "limit 15.0 µm" in words
        assert any(one.startswith(f"Runout at the {plane.replace('_', ' ')}, ") for one in words)


@pytest.mark.parametrize("limit", [0.5, 8.0, 15.0, 400.0])
def test_every_chart_of_runout_ends_where_data_and_limit_end(limit: float) -> None:
    """The limit is on the chart and labelled; the right or upper end is the larger of worst case and limit."""
    request = json.loads(json.dumps(STACKS["01"]))
    change(request["operations"][0], {"runout_limit_um": limit})
    report, _ = judged(request)
    worst = known(quantile(report, "gauge_plane", "p100", "worst_case"))
    root = _plot(request, "distribution")
    right = max(x for x, _ in corners_of(_curve(root, "2.2")))
    (at,) = [corners_of(one)[-1][0] for one in root.iter(f"{SVG}path") if one.get("stroke-dasharray") == "10 4"]
    assert (at - 80.0) / (right - 80.0) == pytest.approx(limit / max(limit, worst), abs=1e-3)
    for name in ("distribution", "budget", "axis"):
        root = _plot(request, name)
        assert any(words.startswith(f"limit {limit:.1f} µm") for words in _words(root)), name


def test_parts_at_their_limits_are_drawn_with_the_assemblies() -> None:
    """The second curve rises later: at the 95th percentile of assemblies fewer are below."""
    root = _plot(STACKS["01"], "distribution")
    report, _ = judged(STACKS["01"])
    first, second = corners_of(_curve(root, "2.2")), corners_of(_curve(root, "1.8"))
    assert len(first) == len(second)
    assert all(late >= early - 0.02 for (_, early), (_, late) in zip(first, second, strict=True))
    within = report.operation.runout.probability_within_limit
    (told,) = [one for one in _words(root) if one.startswith("Within the 15.0 µm limit")]
    assert f"{100 * known(within['assemblies']):.1f} % of assemblies" in told
    assert f"{100 * known(within['parts_at_limits']):.1f} % with every part at its limit" in told


def test_lines_along_the_axis_are_twice_their_amplitude() -> None:
    """Offsets are level lines at their readings; heights over readings are equal."""
    root = _plot(_two_offsets(9.0, 3.0), "axis")
    lines = [corners_of(one) for one in root.iter(f"{SVG}path") if len(corners_of(one)) > 20]
    assert len(lines) == 2
    (floor,) = [float(one.get("y", "")) - 4.0 for one in root.iter(f"{SVG}text") if one.text == "0"][:1]
    heights = [[floor - y for _, y in line] for line in lines]
    assert all(max(one) - min(one) < 0.02 for one in heights)
    assert heights[0][0] / heights[1][0] == pytest.approx(3.0, rel=1e-3)
    assert {"runout of holder 9.0 µm", "runout of end-mill 3.0 µm"} <= _words(root)


def test_the_sum_along_the_axis_ends_in_the_report_s_figure() -> None:
    """95 % at the tip, worked anew along the axis, is that of the report."""
    report, _ = judged(STACKS["01"])
    assert f"95th percentile, all {known(quantile(report, 'tip')):.1f} µm" in _words(_plot(STACKS["01"], "axis"))


@pytest.mark.parametrize("number", ["01", "11", "17"])
def test_every_limit_stands_on_the_one_bar(number: str) -> None:
    """To one scale: the dark part ends at the governing limit, each other has its line, or an arrow beyond the axis."""
    report, _ = judged(STACKS[number])
    root = _plot(STACKS[number], "speed")
    words = _words(root)
    speed = report.operation.speed
    assert speed.governing is not None
    (dark,) = [one for one in root.iter(f"{SVG}rect") if one.get("fill") == "#3c5a78"]
    scale = float(dark.get("width", "")) / speed.governing.speed_rpm.value
    zero, width = float(dark.get("x", "")), 530.0
    lines = [corners_of(one)[0][0] for one in root.iter(f"{SVG}path") if one.get("stroke-width") in ("1.2", "2.4")]
    expected = [min(scale * one.speed_rpm.value, width) + zero for one in reversed(speed.limits)]
    assert lines == pytest.approx(expected, abs=0.05)
    for one in speed.limits:
        value = one.speed_rpm.value
        # a computed limit is never rounded up
        shown = value if value.is_integer() else value // 10 * 10 if value > 10_000 else value // 1
        figure = f"{shown:,.0f} rpm".replace(",", "\u00a0")
        governs = one == speed.governing
        told = [word for word in words if word.startswith(one.words) and f" {figure}" in word]
        assert [word.endswith(" governs") for word in told] == [governs]
    assert ("Arrow: beyond the axis." in words) == (speed.limits[-1].speed_rpm.value * scale > width + 0.1)
    assert f"programmed {speed.programmed_rpm:,.0f} rpm".replace(",", "\u00a0") in words


@pytest.mark.parametrize(
    ("low", "high", "most", "expected"),
    [
        (0.0, 10.0, 10, [float(n) for n in range(11)]),
        (0.0, 0.9, 5, [0.0, 0.2, 0.4, 0.6, 0.8]),
        (0.0, 54_000.0, 6, [0.0, 10_000.0, 20_000.0, 30_000.0, 40_000.0, 50_000.0]),
        (3.0, 3.0, 5, [3.0]),
    ],
)
def test_axes_have_round_figures(low: float, high: float, most: int, expected: list[float]) -> None:
    """Steps of 1, 2 or 5 times a power of ten."""
    assert ticks(low, high, most) == expected

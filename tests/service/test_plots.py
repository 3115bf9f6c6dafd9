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


def _distribution(request: dict[str, Any]) -> list[tuple[float, float]]:
    """Return the curve: reading in µm, share of the assemblies below it."""
    root = _plot(request, "distribution")
    (curve,) = [one for one in root.iter(f"{SVG}path") if one.get("stroke-width") == "2.2"]
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
    """Half, 95 %, worst and the limit; a limit at the tip is said, not shown."""
    report, _ = judged(STACKS["01"])
    median, p95 = (known(quantile(report, "gauge_plane", name)) for name in ("p50", "p95"))
    words = _words(_plot(STACKS["01"], "distribution"))
    assert {f"median {median:.1f} µm", f"95th percentile {p95:.1f} µm", "limit 15.0 µm"} <= words
    at_tip = json.loads(json.dumps(STACKS["01"]))
    change(at_tip["operations"][0], {"runout_limit_at": "tip"})
    words = _words(_plot(at_tip, "distribution"))
    assert "limit 15.0 µm" not in words
    (told,) = [one for one in words if "15.0 µm" in one]
    assert "at the tip" in told
    assert "not shown" in told


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
def test_speed_bars_are_as_long_as_their_limits(number: str) -> None:
    """Lowest first; the governing one is dark and said; what leaves the axis is an arrow with its figure."""
    report, _ = judged(STACKS[number])
    root = _plot(STACKS[number], "speed")
    words = _words(root)
    governing = report.operation.speed.governing
    assert governing is not None
    speed = f"{governing.speed_rpm.value:,.0f}".replace(",", "\u00a0")
    assert f"{speed} rpm governs" in words
    (dark,) = _bars(root, "#3c5a78")
    scale = dark / governing.speed_rpm.value
    limits = [one.speed_rpm.value for one in report.operation.speed.limits[1:]]
    lengths = _bars(root, "#d9e2ea")
    arrows = list(root.iter(f"{SVG}polygon"))
    assert len(lengths) + len(arrows) == len(limits)
    assert lengths == pytest.approx([scale * speed for speed in limits[: len(lengths)]], abs=0.02)
    assert f"programmed {report.operation.speed.programmed_rpm:,.0f} rpm".replace(",", "\u00a0") in words


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

"""Every valid request gets an answer with finite figures, however extreme."""

from __future__ import annotations

import json
import math
import random
from typing import Any

import pytest

from rules.rulebook.loader import base_names, base_request
from service.sheets.figures import value_of
from tests.support.extreme_requests import bounds, extreme_request, sparse_extreme_request
from tests.support.operations import operation_of
from tests.support.stacks import figures_in, holder_and_cutter, one_rod, report_of


def _finite(request: dict[str, Any]) -> dict[str, Any]:
    """Return the report as data, every number of which must be finite."""
    report = report_of(request)
    data = report.model_dump(mode="json")
    assert all(math.isfinite(figure) for figure in figures_in(data)), json.dumps(request)
    if report.stiffness.shares:
        assert sum(one.share for one in report.stiffness.shares) == pytest.approx(1, abs=1e-4)
    return data


def _answer_all(seeds: range) -> dict[str, int]:
    counts = {"stiffness": 0, "frequency": 0, "safety": 0, "shrink fit": 0, "milling": 0}
    for seed in seeds:
        data = _finite(extreme_request(random.Random(seed)))
        counts["stiffness"] += data["stiffness"]["tip_compliance_um_per_n"] is not None
        counts["frequency"] += bool(data["stiffness"]["bending_frequencies_hz"])
        counts["safety"] += any(one["safety_factor"] is not None for it in data["operations"] for one in it["grip"])
        counts["shrink fit"] += any(one["shrink_fit"] for one in data["grip"])
        counts["milling"] += any(it["load"]["mean_torque_n_m"] is not None for it in data["operations"])
    return counts


def test_extreme_requests_are_answered() -> None:
    """Numbers at the ends of their range, several at once; enough of them get as far as the figures."""
    counts = _answer_all(range(120))
    assert all(count >= 4 for count in counts.values()), counts


def _answer_sparse(seeds: range) -> int:
    answered = 0
    for seed in seeds:
        answered += bool(_finite(sparse_extreme_request(random.Random(seed)))["assumptions"])
    return answered


def test_extreme_requests_with_gaps_are_answered() -> None:
    """Assumed values take their place beside any that is stated, or are left out."""
    assert _answer_sparse(range(60)) >= 50


@pytest.mark.long
def test_three_thousand_extreme_requests_with_gaps_are_answered() -> None:
    """The full-size form."""
    assert _answer_sparse(range(1_000, 4_000)) >= 2_500


@pytest.mark.long
def test_ten_thousand_extreme_requests_are_answered() -> None:
    """The full-size form."""
    _answer_all(range(1_000, 11_000))


@pytest.mark.parametrize("one_in", [4, pytest.param(1, marks=pytest.mark.long)])
@pytest.mark.parametrize("base", base_names())
@pytest.mark.parametrize("end", [0, 1])
def test_one_number_at_a_time(base: str, end: int, one_in: int) -> None:
    """Every number of every base request, or one in so many, at the lower and at the upper end of its range."""
    for pointer in _pointers(base_request(base), ())[(base_names().index(base) + end) % one_in :: one_in]:
        request = base_request(base)
        holder: Any = request
        for step in pointer[:-1]:
            holder = holder[step]
        holder[pointer[-1]] = bounds()[pointer[-1]][end]
        _finite(request)


def _pointers(value: Any, at: tuple[Any, ...]) -> list[tuple[Any, ...]]:
    found = []
    for key, inner in value.items() if isinstance(value, dict) else enumerate(value):
        if isinstance(inner, dict | list):
            found += _pointers(inner, (*at, key))
        elif isinstance(inner, int | float) and not isinstance(inner, bool):
            found.append((*at, key))
    return found


def _with(request: dict[str, Any], **parts: Any) -> dict[str, Any]:
    return request | parts


EXTREMES = {
    "a million newtons": _with(
        holder_and_cutter(),
        operations=[
            operation_of({"torque_n_m": 1e5, "axial_pull_n": 1e6, "radial_force_n": 1e6, "deflection_limit_um": 0})
        ],
    ),
    "a hair of five metres": _with(
        one_rod({"length_mm": 5000, "outer_mm": 0.001}, youngs_modulus_gpa=1, density_kg_m3=30_000),
        operations=[operation_of({"radial_force_n": 1e6, "spindle_speed_rpm": 1e6})],
    ),
    "a disc as thin as a length may be": _with(
        one_rod({"length_mm": 0.001, "outer_mm": 5000}, youngs_modulus_gpa=1500, density_kg_m3=100),
        operations=[operation_of({"radial_force_n": 0.001, "spindle_speed_rpm": 0.1})],
    ),
    "a needle on a block": one_rod({"length_mm": 5000, "outer_mm": 5000}, {"length_mm": 5000, "outer_mm": 0.001}),
    "a block on a needle": one_rod({"length_mm": 5000, "outer_mm": 0.001}, {"length_mm": 5000, "outer_mm": 5000}),
    "a pointed cone": one_rod({"length_mm": 5000, "outer_mm": 5000, "outer_end_mm": 0.001}),
    "a skin": one_rod({"length_mm": 5000, "outer_mm": 5000, "bore_mm": 4999.99999}),
    "two hundred discs": one_rod(*[{"length_mm": 0.001, "outer_mm": 10 + n} for n in range(200)]),
    "turning as slowly as may be": _with(base_request("shrink"), operations=[operation_of({"spindle_speed_rpm": 0.1})]),
    "turning as fast as may be": _with(
        base_request("shrink"),
        operations=[operation_of({"spindle_speed_rpm": 1e6, "torque_n_m": 1e5, "balance_grade": "G0.4"})],
    ),
    "a cutting speed on a hair": _with(
        one_rod({"length_mm": 10, "outer_mm": 1}, cutting_diameter_mm=0.001, teeth=200),
        operations=[operation_of({"cutting_speed_m_per_min": 20_000, "torque_n_m": 1e5})],
    ),
    "the softest springs": _with(
        holder_and_cutter(),
        machine={
            "kind": "stated",
            "spindle_radial_stiffness_n_per_um": 0.001,
            "spindle_tilting_stiffness_n_m_per_mrad": 0.001,
        },
    ),
    "the hardest springs": _with(
        holder_and_cutter(),
        machine={
            "kind": "stated",
            "spindle_radial_stiffness_n_per_um": 1e6,
            "spindle_tilting_stiffness_n_m_per_mrad": 1e6,
        },
    ),
}


@pytest.mark.parametrize("name", EXTREMES)
def test_named_extremes(name: str) -> None:
    """Each is answered with finite figures, and where a figure follows at all it is there."""
    data = _finite(EXTREMES[name])
    assert data["verdict"] in ("pass", "review", "fail")


def test_a_hair_bends_by_hand() -> None:
    """First principles: F·L³/(3·E·I) at the ends of every range; shear and springs are lost beside it."""
    request = EXTREMES["a hair of five metres"]
    second_moment = math.pi / 64 * 1e-12
    deflection = report_of(request).operation.bending.deflection_um
    assert value_of(deflection) == pytest.approx(1e6 * 5000**3 / (3 * 1e3 * second_moment) * 1e3, rel=1e-7)

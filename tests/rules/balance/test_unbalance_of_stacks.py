"""The unbalance of a stack: residuals and eccentric masses."""

from __future__ import annotations

import math

import pytest

from rules.balance.analysis import UnbalanceSum, unbalance_question, unbalance_sum
from rules.quantities.missing import Missing
from rules.random_vectors.random_sum import RandomClocking
from rules.rulebook.loader import base_request
from rules.runout.analysis import Vector
from rules.schema.parsing import parse_request
from tests.support.stacks import analysis_of


def _sum(vectors: list[Vector]) -> UnbalanceSum:
    question = unbalance_question(vectors)
    return unbalance_sum(vectors, question, RandomClocking.figures_of([question])[0])


def test_two_equal_residuals() -> None:
    """First principles: |R| of two unit vectors is 2·|cos(θ/2)|; its 95 % point is 2·cos(π/40)."""
    two = [Vector(1.0, "measured", None), Vector(1.0, "measured", None)]
    assert _sum(two).p95 == pytest.approx(2 * math.cos(math.pi / 40), abs=1e-5)
    assert _sum(two).worst == 2.0


def test_capability_contributors_have_no_worst_case() -> None:
    """A plane Gaussian that keeps 2 g·mm in 95 % of parts has its 95 % point there, and no hard end."""
    found = _sum([Vector(2.0, "capability", None)])
    assert found.p95 == pytest.approx(2.0, rel=1e-6)
    assert found.worst is None


def test_eccentric_mass_of_a_single_joint() -> None:
    """First principles: 0.38 kg set off by 2 µm (4 µm at the face) brings 0.4·a(z) g·mm, here with nothing else."""
    request = base_request("shell_mill")
    holder, cutter = request["stack"]["components"]
    holder["unbalance_g_mm"] = cutter["unbalance_g_mm"] = 0
    derived = analysis_of(parse_request(request))
    assert not isinstance(derived.balance.unbalance, Missing)
    # the holder reads 4 µm at its face and 5 µm at 40 mm, the cutter's centre of mass lies 20 mm out
    assert derived.balance.unbalance.worst == pytest.approx(0.38 * 4.5 / 2, rel=1e-9)
    # anywhere up to that: 95 % within √0.95 of it
    assert derived.balance.unbalance.p95 == pytest.approx(0.38 * 4.5 / 2 * math.sqrt(0.95), rel=1e-9)
    # and 70 mm from the gauge line
    assert not isinstance(derived.balance.couple, Missing)
    assert derived.balance.couple.worst == pytest.approx(0.38 * 4.5 / 2 * 70, rel=1e-9)
    assert derived.balance.couple.rms == pytest.approx(0.38 * 4.5 / 2 * 70 * math.sqrt(0.5), rel=1e-9)


def test_a_residual_and_eccentric_masses_up_to_their_limits() -> None:
    """First principles: 3 g·mm measured, 0.75 and 2.1 g·mm at most; 400,000 draws and quadrature give 4.9019."""
    vectors = [Vector(3.0, "measured", None), Vector(0.75, "limit", None), Vector(2.1, "limit", None)]
    found = _sum(vectors)
    assert found.p95 == pytest.approx(4.9019, abs=1e-4)
    assert found.worst == pytest.approx(5.85)
    at_limits = [vector._replace(law="measured") for vector in vectors]
    assert _sum(at_limits).p95 == pytest.approx(5.5742, abs=1e-4)


def test_gauge_pin_is_not_run() -> None:
    """A stack with a gauge pin is read, so no speed is judged on it."""
    request = base_request("nut_collet")
    cutter = request["stack"]["components"][2]
    request["stack"]["components"][2] = {
        key: cutter[key] for key in ("id", "machine_side", "profile", "material", "unbalance_g_mm", "runout")
    } | {"kind": "gauge_pin"}
    assert analysis_of(parse_request(request)).balance.highest_speed_rpm is None


def test_missing_masses_are_named() -> None:
    """The holder's mass cannot follow from an outline that starts at the gauge line."""
    request = base_request("press_in")
    del request["stack"]["components"][0]["mass_kg"]
    balance = analysis_of(parse_request(request)).balance
    assert isinstance(balance.highest_speed_rpm, Missing)
    assert "/stack/components/0/mass_kg" in balance.highest_speed_rpm.fields

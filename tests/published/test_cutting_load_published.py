"""Cutting load: values in print, each with title, edition and place."""

from __future__ import annotations

import pytest

from rules.cutting.formulas import (
    cutting_speed_m_per_min,
    milling_load,
)
from rules.cutting.holes import chisel_edge_ratio


def test_slot_of_a_textbook_on_machining() -> None:
    """Literature: El-Hofy, Fundamentals of Machining Processes, 2nd ed., p. 189: slot, k_s 1000 N/mm² at any chip.

    Printed: 14.13 m/min (cut short), 1019 N, 0.24 kW.  Speed and torque follow from the printed feed.
    """
    speed = 120.0 / (8 * 0.1)
    load = milling_load(30.0, 8, 4.0, 30.0, 0.1, speed, 1000.0, 0.0, radial_ratio=0.4)
    assert speed == pytest.approx(150.0, rel=1e-14)
    assert cutting_speed_m_per_min(speed, 30.0) == pytest.approx(14.13, abs=0.01)
    assert load.mean_tangential_n == pytest.approx(1019.0, abs=0.5)
    assert load.power_kw == pytest.approx(0.24, rel=1e-12)
    assert load.mean_torque_n_m == pytest.approx(15.28, abs=0.005)
    assert load.power_kw is not None
    assert load.power_kw * 6e4 / 14.137 == pytest.approx(1019.0, abs=0.5)


@pytest.mark.parametrize(("wear", "thrust_lb", "torque_in_lb"), [(1.0, 1779.1, 429.8), (1.3, 2312.9, 558.8)])
def test_drill_of_a_handbook(wear: float, thrust_lb: float, torque_in_lb: float) -> None:
    """Literature: Machinery's Handbook, 31st ed., p. 1152: 7/8 in drill, 200 HB, 0.008 in/rev.

    Factors printed there: F_f 0.021, F_T 0.899, F_M 0.786, A 1.085, B 1.355, J 0.030; K_d 24,000 gives both. Their
    ratio knows neither K_d nor wear.
    """
    constant = 24_000.0
    assert thrust_lb == pytest.approx(
        (2 * constant * 0.021 * 0.899 * 1.355 + constant * 0.875**2 * 0.030) * wear, abs=0.06
    )
    assert torque_in_lb == pytest.approx(constant * 0.021 * 0.786 * 1.085 * wear, abs=0.06)
    per_metre = thrust_lb / torque_in_lb / 0.0254
    assert chisel_edge_ratio(0.875 * 25.4, 0.008 * 25.4) == pytest.approx(per_metre, rel=1e-3)

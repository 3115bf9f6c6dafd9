"""Cutting load: values in print, each with title, edition and place."""

from __future__ import annotations

import pytest

from rules.cutting.formulas import (
    cutting_speed_m_per_min,
    milling_load,
)


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

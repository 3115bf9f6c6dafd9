"""Cutting load: exact mathematics and first principles."""

from __future__ import annotations

import pytest

from rules.cutting.analysis import work_material
from rules.cutting.formulas import (
    helical_pull_n,
    milling_load,
    speed_from_cutting_speed_rpm,
)


def test_c45_worked_by_hand() -> None:
    """First principles: C45, ⌀20, 4 teeth, half engaged, a_p 10, f_z 0.1, v_c 150 m/min, with a pocket calculator.

    h_m = (2/1.5708)·0.5·0.1 = 0.063662; k_c = 2220·0.063662^−0.14 = 3264.4; n = 2387.3; v_f = 954.93;
    P = 3264.4·10·10·954.93/6e7 = 5.1955 kW; T = 20.782 N·m; F_t = 2078.2 N; pull at 38°: 1623.7 N.
    """
    steel = work_material("c45")
    speed = speed_from_cutting_speed_rpm(150.0, 20.0)
    load = milling_load(
        20.0, 4, 10.0, 10.0, 0.1, speed, steel.unit_force_mpa, steel.exponent, radial_ratio=steel.radial_ratio
    )
    assert speed == pytest.approx(2387.32, abs=0.01)
    assert load.mean_chip_thickness_mm == pytest.approx(0.063662, abs=1e-6)
    assert load.specific_force_mpa == pytest.approx(3264.4, rel=1e-4)
    assert load.power_kw == pytest.approx(5.1955, rel=1e-4)
    assert load.mean_torque_n_m == pytest.approx(20.782, rel=1e-4)
    assert load.mean_tangential_n == pytest.approx(2078.2, rel=1e-4)
    assert helical_pull_n(load.mean_tangential_n, 38.0) == pytest.approx(1623.7, rel=1e-4)
    assert load.teeth_in_cut == pytest.approx(1.0, rel=1e-14)

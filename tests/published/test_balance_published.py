"""Balance of rigid rotors: values in print, each with title, edition and place."""

from __future__ import annotations

import pytest

from rules.balance.formulas import (
    permissible_eccentricity_um,
    permissible_unbalance_g_mm,
    quality_mm_per_s,
)


@pytest.mark.parametrize(("eccentricity_mm", "speed_rpm"), [(0.03, 5000), (0.002, 20_000), (1.0, 300)])
def test_quality_as_another_standard_writes_it(eccentricity_mm: float, speed_rpm: float) -> None:
    """Literature: JIS B 0905-1992, G = e·n/9.55 with e in mm; the constant rounded in print."""
    quality = quality_mm_per_s(1.0, 1000 * eccentricity_mm, speed_rpm)
    assert quality == pytest.approx(eccentricity_mm * speed_rpm / 9.55, rel=1e-4)


def test_turbine_rotor_of_the_standard() -> None:
    """Literature: ISO 1940-1:2003, annex example (from memory): 3600 kg, 3000 rpm, G2.5."""
    assert permissible_eccentricity_um(2.5, 3000) == pytest.approx(7.96, abs=0.005)
    assert permissible_unbalance_g_mm(2.5, 3600, 3000) == pytest.approx(28.6e3, rel=2e-3)
    assert permissible_unbalance_g_mm(2.5, 3600, 3000) == pytest.approx(28_648, abs=0.5)

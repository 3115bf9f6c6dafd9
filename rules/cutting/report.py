"""Section of the report on the cutting load."""

from __future__ import annotations

from rules.cutting.analysis import CuttingLoad
from rules.cutting.formulas import MillingLoad
from rules.cutting.holes import HoleLoad
from rules.quantities.models import construct
from rules.quantities.rounding import rounded_or_none
from rules.schema.report import (
    LoadReport,
)

__all__ = ["load_section"]


def _milling(load: CuttingLoad) -> MillingLoad | None:
    return load.milling if isinstance(load.milling, MillingLoad) else None


def load_section(load: CuttingLoad) -> LoadReport:
    """Cutting load."""
    cut = _milling(load)
    mean = None if load.source == "stated" else load.drive_torque_n_m
    hole = load.hole if isinstance(load.hole, HoleLoad) else None
    return construct(
        LoadReport,
        source=load.source,
        torque_n_m=rounded_or_none(load.torque_n_m, "N m"),
        axial_pull_n=rounded_or_none(load.axial_pull_n, "N"),
        radial_force_n=rounded_or_none(load.radial_force_n, "N"),
        power_kw=rounded_or_none(load.power_kw, "kW"),
        thrust_n=rounded_or_none(load.thrust_n, "N"),
        force_height_mm=rounded_or_none(load.force_height_mm, "mm"),
        spread=load.spread if load.source not in (None, "stated") else None,
        mean_torque_n_m=rounded_or_none(cut.mean_torque_n_m if cut else mean, "N m"),
        mean_chip_thickness_mm=rounded_or_none(
            (cut and cut.mean_chip_thickness_mm) or (hole and hole.thickness_mm), "mm chip"
        ),
        specific_force_mpa=rounded_or_none(
            (cut and cut.specific_force_mpa) or (hole and hole.specific_force_mpa), "MPa"
        ),
        teeth_in_cut=rounded_or_none(cut and cut.teeth_in_cut, "ratio"),
        removal_rate_mm3_per_min=rounded_or_none(cut and cut.removal_rate_mm3_per_min, "mm3/min"),
    )

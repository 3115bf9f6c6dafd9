"""Cutting load and spindle speed, as stated or calculated from the milling cut."""

from __future__ import annotations

import math
from functools import cache
from typing import Final, Literal, NamedTuple

from rules.cutting.formulas import MillingLoad, helical_pull_n, milling_load, speed_from_cutting_speed_rpm
from rules.quantities.missing import (
    Missing,
    OrMissing,
    or_missing,
    value_or,
    when_all_known,
    when_both_known,
    when_known,
)
from rules.quantities.tables import Row, UnknownEntryError, read_rows
from rules.rulebook.fact import Properties
from rules.schema.components import Cutter
from rules.schema.request import Machine, Milling
from rules.stack.chain import Chain

__all__ = [
    "NO_LOAD",
    "CuttingLoad",
    "cut_properties",
    "cutting_diameter_of",
    "cutting_load_of",
    "drive_properties",
    "programmed_speed_of",
    "work_material",
    "work_materials",
]


def cutting_diameter_of(chain: Chain) -> OrMissing[float]:
    """Return the cutting diameter of the cutting tool at the end of the chain."""
    last = chain.members[-1] if chain.members else None
    if last is None or not isinstance(last.part, Cutter):
        return or_missing(None, "/stack/components/-")
    return or_missing(last.part.cutting_diameter_mm, last.at, "cutting_diameter_mm")


def programmed_speed_of(chain: Chain) -> OrMissing[float] | None:
    """Return the programmed speed in rpm; None where the operation has none."""
    operation = chain.operation
    if operation is None:
        return None
    if operation.spindle_speed_rpm is not None:
        return operation.spindle_speed_rpm
    if operation.cutting_speed_m_per_min is None:
        return None
    return when_both_known(speed_from_cutting_speed_rpm, operation.cutting_speed_m_per_min, cutting_diameter_of(chain))


class WorkMaterial(Row):
    """A group of work materials with its specific cutting force."""

    work_material: str
    title: str
    iso_513_group: Literal["P", "M", "K", "N", "S", "H"]
    unit_force_mpa: float
    exponent: float
    radial_ratio: float


@cache
def _work_materials() -> dict[str, WorkMaterial]:
    return {row.work_material: row for row in read_rows("work_materials", WorkMaterial)}


def work_materials() -> tuple[str, ...]:
    """Return the names of the work materials."""
    return tuple(_work_materials())


def work_material(name: str) -> WorkMaterial:
    """Return a work material by name; raises :class:`UnknownEntryError` for an unknown one.

    >>> work_material("c45").unit_force_mpa, work_material("c45").iso_513_group
    (2220.0, 'P')
    """
    if name not in _work_materials():
        raise UnknownEntryError("work_materials", name, work_materials())
    return _work_materials()[name]


_SQUARE_SHOULDER_DEG: Final = 90.0


class CuttingLoad(NamedTuple):
    """Cutting loads; None for a load that does not apply."""

    source: Literal["stated", "milling"] | None
    milling: OrMissing[MillingLoad] | None
    torque_n_m: OrMissing[float] | None
    """Largest torque."""
    axial_pull_n: OrMissing[float] | None
    radial_force_n: OrMissing[float] | None
    """Largest radial force."""
    power_kw: OrMissing[float] | None


NO_LOAD: Final = CuttingLoad(None, None, None, None, None, None)


def _radial_ratio(cut: Milling, at: str) -> OrMissing[float]:
    """Return the ratio of radial to tangential force: as stated for the cut, else of the material group."""
    if cut.radial_force_ratio is not None:
        return cut.radial_force_ratio
    if cut.work_material is None:
        return Missing((f"{at}/radial_force_ratio",))
    return work_material(cut.work_material).radial_ratio


def _milling(
    chain: Chain, cut: Milling, ratio: OrMissing[float], speed: OrMissing[float] | None
) -> OrMissing[MillingLoad]:
    last = chain.members[-1] if chain.members else None
    operation = chain.operation
    if last is None or not isinstance(last.part, Cutter) or operation is None:
        return Missing(("/stack/components/-",))
    group = None if cut.work_material is None else work_material(cut.work_material)
    unit_force = cut.unit_specific_force_mpa
    exponent = cut.thickness_exponent
    if group is not None:
        unit_force = group.unit_force_mpa if unit_force is None else unit_force
        exponent = group.exponent if exponent is None else exponent
    at = f"{chain.operation_at}/cut"

    def load(
        diameter: float, teeth: int, axial: float, radial: float, feed: float, force: float, power: float
    ) -> OrMissing[MillingLoad]:
        if radial > diameter:
            return Missing((f"{at}/radial_depth_mm",))
        return milling_load(
            diameter,
            teeth,
            axial,
            radial,
            feed,
            speed if isinstance(speed, float) else None,
            force,
            power,
            cut.lead_angle_deg or _SQUARE_SHOULDER_DEG,
            radial_ratio=value_or(ratio, 0.0),
        )

    return when_all_known(
        load,
        cutting_diameter_of(chain),
        or_missing(last.part.teeth, last.at, "teeth"),
        or_missing(cut.axial_depth_mm, at, "axial_depth_mm"),
        or_missing(cut.radial_depth_mm, at, "radial_depth_mm"),
        or_missing(operation.feed_per_tooth_mm, chain.operation_at, "feed_per_tooth_mm"),
        or_missing(unit_force, at, "work_material"),
        or_missing(exponent, at, "thickness_exponent"),
    )


def _pull(chain: Chain, milling: OrMissing[MillingLoad]) -> OrMissing[float]:
    last = chain.members[-1]
    helix = last.part.helix_angle_deg if isinstance(last.part, Cutter) else None
    return when_both_known(
        lambda load, angle: helical_pull_n(load.peak_tangential_n, angle),
        milling,
        or_missing(helix, last.at, "helix_angle_deg"),
    )


def cutting_load_of(chain: Chain, speed: OrMissing[float] | None) -> CuttingLoad:
    """Return the loads of the cut; stated values take precedence over calculated ones."""
    operation = chain.operation
    if operation is None or not chain.members:
        return NO_LOAD
    milling: OrMissing[MillingLoad] | None = None
    given = operation.stated_load
    torque: OrMissing[float] | None = given.torque_n_m
    pull: OrMissing[float] | None = given.axial_pull_n
    force: OrMissing[float] | None = given.radial_force_n
    power: OrMissing[float] | None = None
    if operation.cut is not None:
        ratio = _radial_ratio(operation.cut, f"{chain.operation_at}/cut")
        milling = _milling(chain, operation.cut, ratio, speed)
        torque = when_known(lambda load: load.peak_torque_n_m, milling) if torque is None else torque
        pull = _pull(chain, milling) if pull is None else pull
        force = when_both_known(lambda load, _: load.peak_in_plane_n, milling, ratio) if force is None else force
        power = speed if isinstance(speed, Missing) else when_known(lambda load: load.power_kw, milling)
    if given.torque_n_m is not None and torque is not None and speed is not None:
        power = when_both_known(lambda moment, rpm: moment * rpm * math.pi / 30.0e3, torque, speed)
    stated = given.torque_n_m is not None or given.axial_pull_n is not None
    source: Literal["stated", "milling"] | None = "milling" if milling is not None else None
    return CuttingLoad("stated" if stated else source, milling, torque, pull, force, power)


def drive_properties(fact: Properties, machine: Machine | None, load: CuttingLoad) -> None:
    """Add torque and power of the cut and of the spindle."""
    if machine is None:
        return
    if machine.max_torque_n_m is not None and load.torque_n_m is not None:
        fact.add("machine_max_torque_n_m", machine.max_torque_n_m)
        fact.add("torque_demand_n_m", load.torque_n_m)
    if machine.max_power_kw is not None and load.power_kw is not None:
        fact.add("machine_max_power_kw", machine.max_power_kw)
        fact.add("power_demand_kw", load.power_kw)


def cut_properties(fact: Properties, chain: Chain, cut: Milling | None) -> None:
    """Add the depths of cut and the dimensions of the cutting tool."""
    last = chain.members[-1] if chain.members else None
    if cut is None or last is None or not isinstance(last.part, Cutter):
        return
    if cut.radial_depth_mm is not None:
        fact.add("radial_depth_mm", cut.radial_depth_mm)
        fact.add("cutting_diameter_mm", cutting_diameter_of(chain))
    if cut.axial_depth_mm is not None and last.part.flute_length_mm is not None:
        fact.add("axial_depth_mm", cut.axial_depth_mm)
        fact.add("flute_length_mm", last.part.flute_length_mm)

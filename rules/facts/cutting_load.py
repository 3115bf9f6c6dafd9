"""What the cut asks of the stack: torque, pull and force across the axis, stated or from the milling cut."""

from __future__ import annotations

import math
from typing import Final, Literal, NamedTuple

from rules.facts.asked_speed import cutting_diameter_of
from rules.facts.chain import Chain
from rules.mechanics.milling import MillingLoad, helical_pull_n, milling_load
from rules.quantities.missing import Lack, Maybe, given, known_or, lift
from rules.schema.components import Cutter
from rules.schema.request import Milling
from rules.tables import work_materials

__all__ = ["CuttingLoad", "cutting_load_of"]

_SQUARE_SHOULDER_DEG: Final = 90.0


class CuttingLoad(NamedTuple):
    """Loads at the cutter; None where nothing asks for one."""

    source: Literal["stated", "milling"] | None
    milling: Maybe[MillingLoad] | None
    torque_n_m: Maybe[float] | None
    """Largest torque."""
    axial_pull_n: Maybe[float] | None
    radial_force_n: Maybe[float] | None
    """Largest force across the axis."""
    power_kw: Maybe[float] | None


def _radial_ratio(cut: Milling) -> Maybe[float]:
    """Return radial over tangential force: the cut's own statement, else the group's."""
    if cut.radial_force_ratio is not None:
        return cut.radial_force_ratio
    if cut.work_material is None:
        return Lack(("/operation/milling/radial_force_ratio",))
    return work_materials.work_material(cut.work_material).radial_ratio


def _milling(chain: Chain, cut: Milling, ratio: Maybe[float], speed: Maybe[float] | None) -> Maybe[MillingLoad]:
    last = chain.links[-1] if chain.links else None
    operation = chain.request.operation
    if last is None or not isinstance(last.part, Cutter) or operation is None:
        return Lack(("/stack/components/-",))
    group = None if cut.work_material is None else work_materials.work_material(cut.work_material)
    unit_force = cut.unit_specific_force_mpa
    exponent = cut.thickness_exponent
    if group is not None:
        unit_force = group.unit_force_mpa if unit_force is None else unit_force
        exponent = group.exponent if exponent is None else exponent
    at = "/operation/milling"

    def load(
        diameter: float, teeth: int, axial: float, radial: float, feed: float, force: float, power: float
    ) -> Maybe[MillingLoad]:
        if radial > diameter:
            return Lack((f"{at}/radial_depth_mm",))
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
            radial_ratio=known_or(ratio, 0.0),
        )

    return lift(
        load,
        cutting_diameter_of(chain),
        given(last.part.teeth, last.at, "teeth"),
        given(cut.axial_depth_mm, at, "axial_depth_mm"),
        given(cut.radial_depth_mm, at, "radial_depth_mm"),
        given(operation.feed_per_tooth_mm, "/operation/feed_per_tooth_mm"),
        given(unit_force, at, "work_material"),
        given(exponent, at, "thickness_exponent"),
    )


def _pull(chain: Chain, milling: Maybe[MillingLoad]) -> Maybe[float]:
    last = chain.links[-1]
    helix = last.part.helix_angle_deg if isinstance(last.part, Cutter) else None
    return lift(
        lambda load, angle: helical_pull_n(load.peak_tangential_n, angle),
        milling,
        given(helix, last.at, "helix_angle_deg"),
    )


def cutting_load_of(chain: Chain, speed: Maybe[float] | None) -> CuttingLoad:
    """Return the loads of the cut: what is stated wins over what is computed."""
    operation = chain.request.operation
    if operation is None or not chain.links:
        return CuttingLoad(None, None, None, None, None, None)
    milling: Maybe[MillingLoad] | None = None
    torque: Maybe[float] | None = operation.torque_n_m
    pull: Maybe[float] | None = operation.axial_pull_n
    force: Maybe[float] | None = operation.radial_force_n
    power: Maybe[float] | None = None
    if operation.milling is not None:
        ratio = _radial_ratio(operation.milling)
        milling = _milling(chain, operation.milling, ratio, speed)
        torque = lift(lambda load: load.peak_torque_n_m, milling) if torque is None else torque
        pull = _pull(chain, milling) if pull is None else pull
        force = lift(lambda load, _: load.peak_in_plane_n, milling, ratio) if force is None else force
        power = speed if isinstance(speed, Lack) else lift(lambda load: load.power_kw, milling)
    if operation.torque_n_m is not None and torque is not None and speed is not None:
        power = lift(lambda moment, rpm: moment * rpm * math.pi / 30.0e3, torque, speed)
    stated = operation.torque_n_m is not None or operation.axial_pull_n is not None
    source: Literal["stated", "milling"] | None = "milling" if milling is not None else None
    return CuttingLoad("stated" if stated else source, milling, torque, pull, force, power)

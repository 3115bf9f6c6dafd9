"""Cutting load and spindle speed, as stated or calculated from the cut."""

from __future__ import annotations

import math
from functools import cache
from typing import Final, Literal, NamedTuple, TypeAlias

from rules.cutting.formulas import (
    MillingLoad,
    corrected_force_mpa,
    effective_diameter_mm,
    helical_pull_n,
    is_ball_nose,
    milling_load,
    speed_from_cutting_speed_rpm,
)
from rules.cutting.holes import HoleLoad, chisel_edge_ratio, hole_load, tapping_torque_n_m
from rules.quantities.missing import (
    Missing,
    OrMissing,
    missing_of,
    or_missing,
    value_or,
    when_all_known,
    when_both_known,
    when_known,
)
from rules.quantities.tables import Row, UnknownEntryError, read_rows
from rules.rulebook.fact import Properties
from rules.schema.components import BaseHolder, Collet, Cutter
from rules.schema.request import DEFAULT_POLICY, Cut, HoleCut, Milling, Tapping
from rules.stack.chain import Chain

__all__ = [
    "NO_LOAD",
    "CuttingLoad",
    "bending_properties",
    "cut_properties",
    "cutting_diameter_of",
    "cutting_load_of",
    "drive_properties",
    "grip_properties",
    "programmed_speed_of",
    "tapping_properties",
    "turning_diameter_of",
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
    return when_both_known(speed_from_cutting_speed_rpm, operation.cutting_speed_m_per_min, turning_diameter_of(chain))


def turning_diameter_of(chain: Chain) -> OrMissing[float]:
    """Return the diameter at which the cutting speed counts: the effective one of a ball nose, else the largest."""
    tool, operation = _tool(chain), chain.operation
    diameter = cutting_diameter_of(chain)
    cut = None if operation is None else operation.cut
    if tool is None or isinstance(diameter, Missing) or not isinstance(cut, Milling):
        return diameter
    radius = _corner(tool.part, diameter)
    if cut.axial_depth_mm is None or not is_ball_nose(diameter, radius):
        return diameter
    return effective_diameter_mm(diameter, cut.axial_depth_mm, radius, cut.tilt_deg or 0.0)


class Tool(NamedTuple):
    """The cutting tool at the end of the chain."""

    part: Cutter
    at: str


def _tool(chain: Chain) -> Tool | None:
    last = chain.members[-1] if chain.members else None
    return Tool(last.part, last.at) if last is not None and isinstance(last.part, Cutter) else None


def _corner(part: Cutter, diameter: float) -> float:
    """Return the corner radius, at most half of the diameter."""
    return min(part.corner_radius_mm or 0.0, 0.5 * diameter)


class WorkMaterial(Row):
    """A work material, or a group of them, with its specific cutting force."""

    work_material: str
    title: str
    iso_513_group: Literal["P", "M", "K", "N", "S", "H"]
    vdi_3323_group: int | None
    strength_mpa: float | None
    hardness_hb: float | None
    hardness_hrc: float | None
    unit_force_mpa: float
    exponent: float
    radial_ratio: float
    spread: float
    reference_rake_deg: float
    tapping_force_mpa: float | None


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
_MARGINS: Final = 2.0
"""Torque of a reamer with its margins over that of its edges; common practice."""
_TAP_WEAR: Final = 2.0
"""Torque of a worn or reversing tap over that of a sharp one; common practice."""

Source: TypeAlias = Literal["stated", "milling", "drilling", "reaming", "boring", "tapping"]


class CuttingLoad(NamedTuple):
    """Cutting loads; None for a load that does not apply."""

    source: Source | None
    milling: OrMissing[MillingLoad] | None
    """Without runout while that is missing."""
    torque_n_m: OrMissing[float] | None
    """Largest torque with worn edges, for the grip."""
    axial_pull_n: OrMissing[float] | None
    """With worn edges, for the grip."""
    radial_force_n: OrMissing[float] | None
    """Largest radial force of sharp edges."""
    power_kw: OrMissing[float] | None
    drive_torque_n_m: OrMissing[float] | None = None
    """Torque that the spindle must deliver: the mean of sharp edges, or the stated one."""
    thrust_n: OrMissing[float] | None = None
    """Feed force of a drill."""
    hole: OrMissing[HoleLoad] | None = None
    force_height_mm: OrMissing[float] | None = None
    """Distance from the tip at which the radial force acts."""
    spread: float = 0.0
    """Share by which what is computed may differ with the work material; 0 if its specific force is stated."""
    work_material: str | None = None
    """Row of the table that the specific force is from; None if it is stated."""


NO_LOAD: Final = CuttingLoad(None, None, None, None, None, None)


class _Force(NamedTuple):
    """Specific cutting force of a cut."""

    unit_mpa: OrMissing[float]
    exponent: OrMissing[float]
    ratio: OrMissing[float]
    spread: float
    work_material: str | None


def _specific(cut: Milling | HoleCut, at: str, tool: Tool | None) -> _Force:
    """Return the specific force: as stated for the cut, else of the material, corrected for the tool's rake."""
    group = None if cut.work_material is None else work_material(cut.work_material)
    unit, exponent, ratio = cut.unit_specific_force_mpa, cut.thickness_exponent, cut.radial_force_ratio
    spread = 0.0
    if group is not None:
        if unit is None:
            unit, spread = group.unit_force_mpa, group.spread
            if tool is not None and tool.part.rake_angle_deg is not None:
                unit = corrected_force_mpa(unit, tool.part.rake_angle_deg, group.reference_rake_deg)
        exponent = group.exponent if exponent is None else exponent
        ratio = group.radial_ratio if ratio is None else ratio
    return _Force(
        or_missing(unit, at, "work_material"),
        or_missing(exponent, at, "thickness_exponent"),
        or_missing(ratio, at, "radial_force_ratio"),
        spread,
        cut.work_material if cut.unit_specific_force_mpa is None else None,
    )


def _milling(
    chain: Chain, tool: Tool, cut: Milling, force: _Force, speed: OrMissing[float] | None, runout_um: float
) -> OrMissing[MillingLoad]:
    """Return the load of a milling cut. Teeth whose helix is not stated count as straight, which is cautious."""
    operation = chain.operation
    at = f"{chain.operation_at}/cut"

    def load(
        diameter: float, teeth: int, axial: float, radial: float, feed: float, unit: float, power: float
    ) -> OrMissing[MillingLoad]:
        if radial > diameter:
            return Missing((f"{at}/radial_depth_mm",))
        radius = _corner(tool.part, diameter)
        across = effective_diameter_mm(diameter, axial, radius, cut.tilt_deg or 0.0) if radius else diameter
        return milling_load(
            across,
            teeth,
            axial,
            min(radial, across),
            feed,
            speed if isinstance(speed, float) else None,
            unit,
            power,
            cut.lead_angle_deg or _SQUARE_SHOULDER_DEG,
            radial_ratio=value_or(force.ratio, 0.0),
            helix_deg=tool.part.helix_angle_deg or 0.0,
            runout_um=runout_um,
            corner_radius_mm=radius,
        )

    return when_all_known(
        load,
        cutting_diameter_of(chain),
        or_missing(tool.part.teeth, tool.at, "teeth"),
        or_missing(cut.axial_depth_mm, at, "axial_depth_mm"),
        or_missing(cut.radial_depth_mm, at, "radial_depth_mm"),
        or_missing(None if operation is None else operation.feed_per_tooth_mm, chain.operation_at, "feed_per_tooth_mm"),
        force.unit_mpa,
        force.exponent,
    )


def _power(torque: OrMissing[float], speed: OrMissing[float] | None) -> OrMissing[float] | None:
    """Return the power of a torque in kW; None without a speed."""
    if speed is None:
        return None
    return when_both_known(lambda moment, rpm: moment * rpm * math.pi / 30.0e3, torque, speed)


def _milled(
    chain: Chain, tool: Tool, cut: Milling, speed: OrMissing[float] | None, runout_um: OrMissing[float]
) -> CuttingLoad:
    force = _specific(cut, f"{chain.operation_at}/cut", tool)
    wear = (chain.request.policy or DEFAULT_POLICY).edge_wear
    milling = _milling(chain, tool, cut, force, speed, value_or(runout_um, 0.0))
    peak = when_both_known(lambda load, _: load.peak_tangential_n * wear, milling, runout_um)
    mean = when_known(lambda load: load.mean_torque_n_m, milling)
    helix = or_missing(tool.part.helix_angle_deg, tool.at, "helix_angle_deg")
    return CuttingLoad(
        "milling",
        milling,
        when_both_known(lambda load, _: load.peak_torque_n_m * wear, milling, runout_um),
        when_both_known(helical_pull_n, peak, helix),
        when_all_known(_in_plane, milling, force.ratio, runout_um),
        _power(mean, speed),
        mean,
        force_height_mm=when_both_known(lambda load, _: load.in_plane_height_mm, milling, runout_um),
        spread=force.spread,
        work_material=force.work_material,
    )


def _in_plane(load: MillingLoad, _ratio: float, _runout_um: float) -> float:
    return load.peak_in_plane_n


def _edge_angle(tool: Tool, cut: HoleCut, at: str) -> OrMissing[float]:
    """Return the lead angle of a drill's lip, a reamer's chamfer or a boring tool's edge, degrees."""
    if cut.lead_angle_deg is not None:
        return cut.lead_angle_deg
    if cut.kind == "drilling":
        return when_known(lambda point: point / 2.0, or_missing(tool.part.point_angle_deg, tool.at, "point_angle_deg"))
    return or_missing(None, at, "lead_angle_deg") if cut.kind == "reaming" else _SQUARE_SHOULDER_DEG


def _holed(chain: Chain, tool: Tool, cut: HoleCut, speed: OrMissing[float] | None) -> CuttingLoad:
    operation, at = chain.operation, f"{chain.operation_at}/cut"
    force = _specific(cut, at, tool)
    wear = (chain.request.policy or DEFAULT_POLICY).edge_wear
    existing = cut.existing_hole_mm
    if existing is None and cut.kind == "drilling":
        existing = 0.0
    before: OrMissing[float] = or_missing(existing, at, "existing_hole_mm")
    teeth = or_missing(tool.part.teeth, tool.at, "teeth")
    feed = when_both_known(
        lambda each, count: each * count,
        or_missing(None if operation is None else operation.feed_per_tooth_mm, chain.operation_at, "feed_per_tooth_mm"),
        teeth,
    )
    reserve = _MARGINS if cut.kind == "reaming" else 1.0

    def load(
        diameter: float, hole: float, rev: float, edges: int, lead: float, unit: float, power: float
    ) -> OrMissing[HoleLoad]:
        if hole >= diameter:
            return Missing((f"{at}/existing_hole_mm",))
        return hole_load(diameter, hole, rev, edges, lead, unit, power)

    diameter, lead = cutting_diameter_of(chain), _edge_angle(tool, cut, at)
    hole = when_all_known(load, diameter, before, feed, teeth, lead, force.unit_mpa, force.exponent)
    torque = when_known(lambda one: one.torque_n_m * reserve, hole)
    thrust: OrMissing[float] | None = None
    if cut.kind == "drilling":
        thrust = when_all_known(_thrust, hole, diameter, feed, before)
    radial: OrMissing[float] | None = None
    if cut.kind == "boring" and tool.part.teeth == 1:
        radial = when_both_known(lambda one, ratio: one.edge_force_n * math.hypot(1.0, ratio), hole, force.ratio)
    return CuttingLoad(
        cut.kind,
        None,
        when_known(lambda moment: moment * wear, torque),
        None,
        radial,
        _power(torque, speed),
        torque,
        thrust,
        hole,
        None if radial is None else 0.0,
        force.spread,
        force.work_material,
    )


def _thrust(load: HoleLoad, diameter: float, feed: float, before: float) -> float:
    """Return the thrust of a drill; its chisel edge cuts unless the hole before is wider than that."""
    if before > _CHISEL_SHARE * diameter:
        return load.thrust_n
    return load.torque_n_m * chisel_edge_ratio(diameter, feed)


_CHISEL_SHARE: Final = 0.18
"""Chisel edge of a standard drill over its diameter."""


def _tapped(chain: Chain, tool: Tool, cut: Tapping, speed: OrMissing[float] | None) -> CuttingLoad:
    at = f"{chain.operation_at}/cut"
    spread, force = 0.0, cut.unit_specific_force_mpa
    if force is None and cut.work_material is not None:
        group = work_material(cut.work_material)
        force, spread = group.tapping_force_mpa, group.spread
    forming = or_missing(tool.part.forms_thread, tool.at, "forms_thread")
    torque = when_all_known(
        _thread_torque,
        cutting_diameter_of(chain),
        or_missing(tool.part.pitch_mm, tool.at, "pitch_mm"),
        or_missing(force, at, "unit_specific_force_mpa" if cut.work_material else "work_material"),
        forming,
    )
    return CuttingLoad(
        "tapping",
        None,
        when_known(lambda moment: moment * _TAP_WEAR, torque),
        None,
        None,
        _power(torque, speed),
        torque,
        spread=spread,
        work_material=cut.work_material if cut.unit_specific_force_mpa is None else None,
    )


_FORMING: Final = 3.0
"""Torque of a forming tap over that of a cutting one: the upper end of 2 to 3 in trade texts."""


def _thread_torque(diameter: float, pitch: float, force: float, forming: bool) -> float:
    return tapping_torque_n_m(diameter, pitch, force) * (_FORMING if forming else 1.0)


def _of_cut(chain: Chain, cut: Cut, speed: OrMissing[float] | None, tip_runout_um: OrMissing[float]) -> CuttingLoad:
    """Return the loads computed from the cut."""
    tool = _tool(chain)
    if tool is None:
        lack = Missing(("/stack/components/-",))
        power = None if speed is None else lack
        return CuttingLoad(cut.kind, lack if isinstance(cut, Milling) else None, lack, lack, lack, power, lack)
    if isinstance(cut, Milling):
        return _milled(chain, tool, cut, speed, tip_runout_um)
    return _holed(chain, tool, cut, speed) if isinstance(cut, HoleCut) else _tapped(chain, tool, cut, speed)


def cutting_load_of(chain: Chain, speed: OrMissing[float] | None, tip_runout_um: OrMissing[float]) -> CuttingLoad:
    """Return the loads of the cut; stated values take precedence over calculated ones.

    `tip_runout_um` is the total indicator reading at the tip, which gives each tooth its chip thickness.
    """
    operation = chain.operation
    if operation is None or not chain.members:
        return NO_LOAD
    load = NO_LOAD if operation.cut is None else _of_cut(chain, operation.cut, speed, tip_runout_um)
    given = operation.stated_load
    if given.torque_n_m is not None:
        load = load._replace(
            torque_n_m=given.torque_n_m, drive_torque_n_m=given.torque_n_m, power_kw=_power(given.torque_n_m, speed)
        )
    if given.axial_pull_n is not None:
        load = load._replace(axial_pull_n=given.axial_pull_n)
    if given.radial_force_n is not None:
        load = load._replace(radial_force_n=given.radial_force_n, force_height_mm=0.0)
    if given.torque_n_m is not None or given.axial_pull_n is not None:
        load = load._replace(source="stated")
    return load


def _least(value: OrMissing[float], spread: float) -> OrMissing[float]:
    return when_known(lambda known: known * (1.0 - spread), value)


def drive_properties(fact: Properties, chain: Chain, load: CuttingLoad) -> None:
    """Add torque, power and feed force of the cut, their lower ends, and those of the spindle."""
    machine = chain.machine
    if machine is None or chain.operation is None:
        return
    spread = load.spread if chain.operation.stated_load.torque_n_m is None else 0.0
    if machine.max_torque_n_m is not None and load.drive_torque_n_m is not None:
        fact.add("machine_max_torque_n_m", machine.max_torque_n_m)
        fact.add("torque_demand_n_m", load.drive_torque_n_m)
        fact.add("least_torque_demand_n_m", _least(load.drive_torque_n_m, spread))
    if machine.max_power_kw is not None and load.power_kw is not None:
        fact.add("machine_max_power_kw", machine.max_power_kw)
        fact.add("power_demand_kw", load.power_kw)
        fact.add("least_power_demand_kw", _least(load.power_kw, spread))
    if machine.max_feed_force_n is not None and load.thrust_n is not None:
        fact.add("machine_max_feed_force_n", machine.max_feed_force_n)
        fact.add("thrust_n", load.thrust_n)
    if load.source is not None:
        _rests_on(fact, "load", load, spread)


def basis_of(spread: float) -> str:
    """Return what a load rests on, for messages: a stated value or specific force, or one of the table."""
    return f"specific cutting force ± {spread:.0%}" if spread else "as stated"


def _rests_on(fact: Properties, name: str, load: CuttingLoad, spread: float) -> None:
    """Add what a load rests on: words for messages and, with a spread, the row of the table for the source."""
    fact.add(f"{name}_basis", basis_of(spread))
    if spread and load.work_material is not None:
        fact.add(f"{name}_material", load.work_material)


def grip_properties(fact: Properties, load: CuttingLoad, safety: OrMissing[float]) -> None:
    """Add the safety factor at the lower end of the specific cutting force, and what the load rests on."""
    spread = 0.0 if load.source == "stated" else load.spread
    fact.add("largest_safety_factor", when_known(lambda factor: factor / (1.0 - spread), safety))
    _rests_on(fact, "load", load, spread)


def bending_properties(fact: Properties, chain: Chain, load: CuttingLoad, deflection_um: OrMissing[float]) -> None:
    """Add the deflection at the lower end of the specific cutting force, and what the force rests on."""
    stated = chain.operation is None or chain.operation.stated_load.radial_force_n is not None
    spread = 0.0 if stated else load.spread
    fact.add("least_deflection_um", _least(deflection_um, spread))
    _rests_on(fact, "force", load, spread)


_SUITS: Final = {"drill": "drilling", "tap": "tapping", "reamer": "reaming", "boring_tool": "boring"}
"""Cuts of the kinds of tools that make one cut only."""


def cut_properties(fact: Properties, chain: Chain, cut: Cut | None, projection: OrMissing[float] | None) -> None:
    """Add the dimensions of the cut and of the cutting tool."""
    tool = _tool(chain)
    if cut is None or tool is None:
        return
    part = tool.part
    fact.add("tool_kind", part.kind)
    fact.add("cut_kind", cut.kind)
    fact.add("tool_suits_cut", _SUITS.get(part.kind, cut.kind) == cut.kind)
    if isinstance(cut, Milling):
        if cut.radial_depth_mm is not None:
            fact.add("radial_depth_mm", cut.radial_depth_mm)
            fact.add("cutting_diameter_mm", cutting_diameter_of(chain))
        if cut.axial_depth_mm is not None and part.flute_length_mm is not None:
            fact.add("axial_depth_mm", cut.axial_depth_mm)
            fact.add("flute_length_mm", part.flute_length_mm)
    elif isinstance(cut, HoleCut):
        if cut.existing_hole_mm is not None:
            fact.add("existing_hole_mm", cut.existing_hole_mm)
            fact.add("cutting_diameter_mm", cutting_diameter_of(chain))
        if cut.kind == "drilling" and projection is not None:
            fact.add("pilot_hole", bool(cut.pilot_hole))
            ratio = when_both_known(lambda long, across: long / across, projection, cutting_diameter_of(chain))
            fact.add("drill_projection_ratio", ratio)


def tapping_properties(fact: Properties, chain: Chain, load: CuttingLoad) -> None:
    """Add how the tap is driven: feed, square, torque limits."""
    tool, operation = _tool(chain), chain.operation
    if tool is None or operation is None or not isinstance(operation.cut, Tapping):
        return
    follows = _feed_follows(chain)
    if follows is not None:
        fact.add("feed_follows", follows)
    square = tool.part.square_mm
    collets = [member.part.square_mm for member in chain.members if isinstance(member.part, Collet)]
    if square is not None and collets:
        fact.add("square_driven", any(collets))
        if any(collets):
            fact.add("tap_square_mm", square)
            fact.add("square_difference_mm", min(abs(one - square) for one in collets if one))
    limit = tool.part.max_torque_n_m
    clutches = [member.part.max_torque_n_m for member in chain.members if isinstance(member.part, BaseHolder)]
    clutch = next((one for one in clutches if one is not None), None)
    torque = load.drive_torque_n_m
    if torque is None:
        return
    spread = load.spread if operation.stated_load.torque_n_m is None else 0.0
    if limit is not None or clutch is not None:
        fact.add("thread_torque_n_m", torque)
        fact.add("least_thread_torque_n_m", _least(torque, spread))
        _rests_on(fact, "thread_torque", load, spread)
    if limit is not None:
        fact.add("tap_torque_limit_n_m", limit)
    if clutch is not None:
        fact.add("clutch_torque_n_m", clutch)


def _feed_follows(chain: Chain) -> OrMissing[bool] | None:
    """Return whether feed and pitch agree: by a synchronous spindle or a floating holder; None without a machine."""
    if chain.machine is None or not chain.members:
        return None
    holder = chain.members[0]
    floating = holder.part.length_compensation if isinstance(holder.part, BaseHolder) else None
    synchronous = chain.machine.synchronous_tapping
    if floating or synchronous:
        return True
    lacking = missing_of(
        or_missing(synchronous, "/machine/synchronous_tapping"), or_missing(floating, holder.at, "length_compensation")
    )
    return False if lacking is None else lacking

"""What the work instruction can say of one joint: its numbers, its form, what hangs out of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Final

from rules.analysis import StackAnalysis
from rules.assembly.sentences import Number, Tellable, Words, heavy_cautions, instruction
from rules.couplings import collets, definition, polygonal_taper, shell_mill_arbor, straight_shank
from rules.couplings.sides import (
    ArborShellMill,
    Bore,
    ColletBore,
    CylindricalShank,
    Declared,
    HollowTaper,
    MorseTaper,
    NutCollet,
    PolygonalTaper,
    PressCollet,
    SideLock,
)
from rules.grip.analysis import stated_minimum_grip
from rules.grip.fits import clearance_of, is_slip_fit, shank_of
from rules.grip.shrink import ShrinkJoint
from rules.quantities.missing import Missing, OrMissing, or_missing, when_known
from rules.schema.components import Collet, Extension, GaugePin
from rules.stack.chain import StackJoint
from rules.stack.positions import grip_of

__all__ = ["JOINT_WORDS", "JointView", "words_of"]


@dataclass(slots=True)
class JointView:
    """A joint with what stands around it."""

    derived: StackAnalysis
    index: int
    case: StackJoint
    held: int
    """Index of the joint whose lower part hangs out: the joint itself, or the one inside its collet."""
    insert_before: str | None
    """Press insert that is in the press; None where there is none or it is not known."""


def words_of(view: JointView) -> Words:
    """Return the words of a joint."""
    case = view.case
    ids = {"upper": case.upper_name, "lower": case.lower.part.id, "joint": case.name}

    def find(name: str) -> Tellable:
        finder = _FINDERS.get(name)
        return instruction().numbers.get(name) if finder is None else finder(view)

    return Words(ids, find)


def _number(name: str, unit: str | None, value: OrMissing[float]) -> OrMissing[Number]:
    return value if isinstance(value, Missing) else Number(name, unit, value)


def _when(holds: bool) -> str | None:
    return "" if holds else None


def _grip(view: JointView) -> Tellable:
    grip = grip_of(view.case)
    if isinstance(grip, Missing):
        return grip
    shank, part = shank_of(view.case), view.case.lower.part
    length = None if shank is None else shank.length_mm
    if length is None and isinstance(part, GaugePin):
        length = part.overall_length_mm
    most = [one for one in (_depth(view), length) if one is not None]
    return Number("grip length", "mm", grip, stated_minimum_grip(view.case), min(most, default=None))


def _depth(view: JointView) -> float | None:
    side = view.case.upper_side
    return side.depth_mm if isinstance(side, Bore | ColletBore) else None


def _grip_least(view: JointView) -> Tellable:
    least = stated_minimum_grip(view.case)
    return None if least is None else Number("shortest grip", "mm", least)


def _gap(view: JointView) -> float | None:
    """Distance from the end of the shank to the stop, where both are known and the shank gets there."""
    depth, grip = _depth(view), grip_of(view.case)
    return None if depth is None or isinstance(grip, Missing) else depth - grip


def _stop_behind(view: JointView) -> Tellable:
    gap = _gap(view)
    return None if gap is None or gap <= 0.0 else Number("distance to the stop", "mm", gap)


def _projection(view: JointView) -> Tellable:
    return _number("projection", "mm", view.derived.geometry.projections[view.index])


def _face_projection(view: JointView) -> Tellable:
    part = view.case.lower.part
    stated = part.face_projection_mm if isinstance(part, Collet) else None
    return None if stated is None else Number("projection of the collet's face", "mm", stated)


def _clocking(view: JointView) -> Tellable:
    stated = None if view.case.statement is None else view.case.statement.clocking_deg
    return None if stated is None else Number("clocking", "deg", stated)


def _form(view: JointView) -> Tellable:
    """Return the form of a taper, by its shank or else by what takes it."""
    stated = [side.form for side in _sides(view) if isinstance(side, HollowTaper | MorseTaper)]
    return or_missing(next(filter(None, reversed(stated)), None), f"{view.case.lower_at}/form")


def _drive(view: JointView) -> Tellable:
    """Return what drives a shell-mounted cutter, by the arbor or else by the cutter."""
    stated = [side.drive for side in _sides(view) if isinstance(side, ArborShellMill) and side.drive]
    return stated[0] if stated else Missing((f"{view.case.upper_at}/drive",))


def _sides(view: JointView) -> tuple[object, object]:
    return view.case.upper_side, view.case.lower.machine_side


def _positions(view: JointView) -> definition.Clocking:
    side = view.case.upper_side
    if side is None:
        return definition.Clocking("not_stated", None)
    form = _form(view)
    return definition.clocking(side.coupling, form if isinstance(form, str) else None)


def _several_positions(view: JointView) -> Tellable:
    positions = _positions(view).positions or 0
    return str(positions) if positions > 1 else None


def _size(view: JointView) -> OrMissing[str]:
    side = view.case.lower.machine_side
    size = side.size if isinstance(side, NutCollet | PolygonalTaper) else None
    return or_missing(size, f"{view.case.lower_at}/size")


def _nut_thread(view: JointView) -> Tellable:
    return when_known(lambda size: collets.collet(size).nut_thread, _size(view))


def _clamping_force(view: JointView) -> Tellable:
    def force(size: str) -> Number:
        return Number("clamping force", "N", 1000.0 * polygonal_taper.clamping_force_kn(size))

    return when_known(force, _size(view))


def _designation(view: JointView) -> Tellable:
    stated = [side.designation for side in _sides(view) if isinstance(side, PressCollet | Declared)]
    return or_missing(next(filter(None, stated), None), f"{view.case.upper_at}/designation")


def _insert(view: JointView, kind: str) -> Tellable:
    wanted, before = _designation(view), view.insert_before
    if not isinstance(wanted, str):
        return None
    actual = "insert_first" if before is None else "insert_kept" if before == wanted else "insert_changed"
    return wanted if actual == kind else None


def _locating_diameter(view: JointView) -> Tellable:
    stated = [side.diameter_mm for side in _sides(view) if isinstance(side, Declared)]
    found = next(filter(None, stated), None)
    return None if found is None else Number("locating diameter", "mm", found)


def _pilot_mm(view: JointView) -> OrMissing[float]:
    stated = [side.pilot_diameter_mm for side in _sides(view) if isinstance(side, ArborShellMill)]
    return or_missing(next(filter(None, stated), None), f"{view.case.upper_at}/pilot_diameter_mm")


def _screw_thread(view: JointView) -> Tellable:
    pilot = _pilot_mm(view)
    row = None if isinstance(pilot, Missing) else shell_mill_arbor.arbor(pilot)
    return None if row is None else row.screw_thread


def _play(view: JointView) -> Tellable:
    if not is_slip_fit(view.case):
        return None
    return when_known(
        lambda pair: Number("play", "um", None, max(0.0, pair[0]), max(0.0, pair[1])), clearance_of(view.case)
    )


def _opening_temperature(view: JointView) -> Tellable:
    found = next((one.shrink for one in view.derived.grips if one.index == view.index), None)
    if not isinstance(found, ShrinkJoint):
        return found
    heat = found.opening_temperature_c
    return heat if isinstance(heat, Missing) else Number("opening temperature", "degC", None, heat)


@cache
def _least_for_two_screws() -> float:
    """Smallest diameter for which the shank standard has two flats, mm."""
    flats = (straight_shank.flat("din_6535", "side_lock_flat", d) for d in straight_shank.diameters("din_6535"))
    return min(one.diameter_mm for one in flats if one is not None and one.flats > 1)


def _flat(view: JointView) -> str | None:
    """Return the flat of a side-lock joint, by the bore or else by the shank."""
    side, shank = view.case.upper_side, shank_of(view.case)
    wanted = side.flat if isinstance(side, SideLock) else None
    if wanted is None and shank is not None and shank.form != "plain":
        return shank.form
    return wanted


def _screw_count(view: JointView) -> OrMissing[int] | None:
    """Return how many screws hold a shank; None for inclined flats, of which the tables do not tell it."""
    if _flat(view) == "inclined_flat":
        return None
    side, shank = view.case.upper_side, shank_of(view.case)
    stated = [one.diameter_mm for one in (shank, side) if isinstance(one, CylindricalShank | SideLock)]
    diameter = or_missing(next(filter(None, stated), None), f"{view.case.upper_at}/diameter_mm")
    return when_known(lambda size: 2 if size >= _least_for_two_screws() else 1, diameter)


def _screws(view: JointView) -> Tellable:
    return when_known(
        lambda count: None if count is None else Number("clamping screws", None, count), _screw_count(view)
    )


def _shank_form_unknown(view: JointView) -> Tellable:
    shank = shank_of(view.case)
    return _when(shank is None or shank.form is None)


def _hanging(view: JointView) -> int | None:
    """Return the joint whose lower part is to be supported: the last extension so far, or what a heavy stack holds."""
    joints = view.derived.chain.joints
    for index in range(view.held, -1, -1):
        if isinstance(joints[index].lower.part, Extension):
            return index
    return view.held if heavy_cautions(view.derived.masses.total) else None


def _support(view: JointView) -> Tellable:
    hanging = _hanging(view)
    return None if hanging is None else view.derived.chain.joints[hanging].lower.part.id


def _support_length(view: JointView) -> Tellable:
    hanging = _hanging(view)
    return None if hanging is None else _number("projection", "mm", view.derived.geometry.projections[hanging])


_FINDERS: Final[dict[str, Callable[[JointView], Tellable]]] = {
    "grip": _grip,
    "grip_least": _grip_least,
    "full_depth": lambda view: _when(_gap(view) == 0.0),
    "gap": _stop_behind,
    "projection": _projection,
    "face_projection": _face_projection,
    "clocking": _clocking,
    "form": _form,
    "tang": lambda view: _when(_form(view) == "tang"),
    "drawbar_thread": lambda view: _when(_form(view) == "drawbar_thread"),
    "form_unknown": lambda view: _when(isinstance(_form(view), Missing)),
    "one_position": lambda view: _when(_positions(view).positions == 1),
    "any_angle": lambda view: _when(_positions(view).kind == "free"),
    "positions": _several_positions,
    "size": _size,
    "nut_thread": _nut_thread,
    "clamping_force": _clamping_force,
    "designation": _designation,
    "insert_first": lambda view: _insert(view, "insert_first"),
    "insert_kept": lambda view: _insert(view, "insert_kept"),
    "insert_changed": lambda view: _insert(view, "insert_changed"),
    "insert_before": lambda view: view.insert_before,
    "locating_diameter": _locating_diameter,
    "pilot": lambda view: _number("pilot diameter", "mm", _pilot_mm(view)),
    "drive": _drive,
    "keys": lambda view: _when(_drive(view) == "keys"),
    "keyway": lambda view: _when(_drive(view) == "keyway"),
    "screw_thread": _screw_thread,
    "play": _play,
    "opening_temperature": _opening_temperature,
    "screws": _screws,
    "one_screw": lambda view: _when(_screw_count(view) == 1),
    "two_screws": lambda view: _when(_screw_count(view) == 2),
    "screws_unknown": lambda view: _when(not isinstance(_screw_count(view), int)),
    "straight_flat": lambda view: _when(_flat(view) == "side_lock_flat"),
    "inclined_flat": lambda view: _when(_flat(view) == "inclined_flat"),
    "flat_unknown": lambda view: _when(_flat(view) is None),
    "shank_form_unknown": _shank_form_unknown,
    "support": _support,
    "support_length": _support_length,
}
"""By the names that the sentences use."""

JOINT_WORDS: Final = frozenset({"upper", "lower", "joint", *_FINDERS})
"""Every name that a sentence about a joint may use, beside the numbers of the file."""

"""Values of one joint for the work instruction: numbers, form, projecting parts."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from pydantic import BaseModel

from rules.analysis import StackAnalysis
from rules.assembly.sentences import COMMON_PRACTICE, Number, Tellable, Words, instruction, is_heavy
from rules.couplings.definition import Clocking, Figure
from rules.couplings.sides import COUPLINGS
from rules.couplings.straight_shank import clamp_of
from rules.grip.analysis import stated_minimum_grip
from rules.grip.fits import clearance_of, is_slip_fit, shank_of
from rules.grip.shrink import ShrinkJoint
from rules.quantities.missing import Missing, OrMissing, when_known
from rules.quantities.models import InchLength
from rules.schema.components import Collet, Extension, GaugePin
from rules.stack.chain import StackJoint
from rules.stack.positions import grip_of

__all__ = ["JOINT_WORDS", "TORQUE", "JointView", "states_inches", "words_of"]

TORQUE: Final = "tightening torque"


@dataclass(slots=True)
class JointView:
    """A joint with its surroundings."""

    derived: StackAnalysis
    index: int
    case: StackJoint
    held: int
    """Index of the joint whose lower part projects: the joint itself, or the one inside its collet."""
    press_seat_before: str | None
    """Insert now in the press; None if there is none or it is unknown."""
    held_by: str | None
    """Part into which the upper one goes only after this joint is closed; None if it is there already."""

    @property
    def in_inches(self) -> bool:
        """Whether the request states a length of the joint or of its lower part in inches."""
        return states_inches(self.case.statement) or states_inches(self.case.lower.part)


def states_inches(stated: object) -> bool:
    """Return whether a part of the request states a length in inches, at any depth."""
    if isinstance(stated, InchLength):
        return True
    if isinstance(stated, BaseModel):
        return any(states_inches(one) for _, one in stated)
    return isinstance(stated, list | tuple) and any(map(states_inches, stated))


def words_of(view: JointView) -> Words:
    """Return the sentences of a joint."""
    case = view.case
    ids = {"upper": case.upper_name, "lower": case.lower.part.id, "joint": case.name}

    def find(name: str) -> Tellable:
        if name in _FINDERS:
            return _FINDERS[name](view)
        if case.coupling is not None and name in case.coupling.words:
            found = case.coupling.words[name](case.ends)
            return Number(*found) if isinstance(found, Figure) else found
        return None

    return Words(ids, find)


def _number(name: str, unit: str | None, value: OrMissing[float]) -> OrMissing[Number]:
    return value if isinstance(value, Missing) else Number(name, unit, value)


def _when(holds: bool) -> str | None:
    return "" if holds else None


def _tolerance(view: JointView) -> tuple[float | None, str | None]:
    """Return the deviation to either side of a grip or projection that is set, and its source if not stated."""
    statement = view.case.statement
    if statement is not None and statement.projection_tolerance_mm is not None:
        return statement.projection_tolerance_mm, None
    if view.case.joint_class != "grip":
        return None, None  # faces meet, nothing is set
    return instruction().tolerances["projection"], COMMON_PRACTICE


def _grip(view: JointView) -> Tellable:
    grip = grip_of(view.case)
    if isinstance(grip, Missing):
        return grip
    shank, part = shank_of(view.case), view.case.lower.part
    length = None if shank is None else shank.length_mm
    if length is None and isinstance(part, GaugePin):
        length = part.overall_length_mm
    most = [one for one in (_depth(view), length) if one is not None]
    tolerance, source = _tolerance(view)
    least = stated_minimum_grip(view.case)
    return Number("grip length", "mm", grip, least, min(most, default=None), tolerance, view.in_inches, source)


def _depth(view: JointView) -> float | None:
    clamp = clamp_of(view.case.upper_side)
    return None if clamp is None else clamp.depth_mm


def _grip_least(view: JointView) -> Tellable:
    least = stated_minimum_grip(view.case)
    return None if least is None else Number("shortest grip", "mm", least)


def _gap(view: JointView) -> float | None:
    """Return the distance from the end of the shank to the stop, if both are known and the shank reaches it."""
    depth, grip = _depth(view), grip_of(view.case)
    return None if depth is None or isinstance(grip, Missing) else depth - grip


def _stop_behind(view: JointView) -> Tellable:
    gap = _gap(view)
    return None if gap is None or gap <= 0.0 else Number("distance to the stop", "mm", gap)


def _projection(view: JointView) -> Tellable:
    projection = view.derived.geometry.projections[view.index]
    if isinstance(projection, Missing):
        return projection
    tolerance, source = _tolerance(view)
    return Number("projection", "mm", projection, None, None, tolerance, view.in_inches, source)


def _stated_torque(view: JointView) -> float | None:
    """Return the torque stated for the joint, or for a joint that closes with it: a collet's nut is one for both."""
    joints = view.derived.chain.joints[view.index : view.held + 1]
    stated = (one.statement.tightening_torque_n_m for one in joints if one.statement is not None)
    return next((one for one in stated if one is not None), None)


def _torque(view: JointView) -> Tellable:
    coupling, stated = view.case.coupling, _stated_torque(view)
    if stated is not None:
        return Number(TORQUE, "N m", stated)
    if coupling is None:
        return None
    if "tightening_torque" in coupling.words:
        found = coupling.words["tightening_torque"](view.case.ends)
        return Number(*found) if isinstance(found, Figure) else found
    side = view.derived.chain.joints[view.held].lower.machine_side
    own = view.case.lower.machine_side
    usual = None if own is None else coupling.usual_torque_n_m(own, getattr(side, "diameter_mm", None))
    return None if usual is None else Number(TORQUE, "N m", None, *usual, source=COMMON_PRACTICE)


def _torque_is(view: JointView, kind: str) -> str | None:
    found = _torque(view)
    actual = "no" if not isinstance(found, Number) else "stated" if found.source is None else "usual"
    return _when(actual == kind)


def _face_projection(view: JointView) -> Tellable:
    part = view.case.lower.part
    stated = part.face_projection_mm if isinstance(part, Collet) else None
    return None if stated is None else Number("projection of the collet's face", "mm", stated)


def _clocking(view: JointView) -> Tellable:
    stated = None if view.case.statement is None else view.case.statement.clocking_deg
    return None if stated is None else Number("clocking", "deg", stated)


def _positions(view: JointView) -> Clocking:
    """Return the number of positions of a joint, by the form of its shank, else of its bore."""
    coupling, ends = view.case.coupling, view.case.ends
    if coupling is None:
        return Clocking("not_stated", None)
    if coupling.decided_by is None:
        return coupling.clocking()
    form = ends.first(coupling.decided_by, ends.lower, lower_first=True)
    return coupling.clocking(None if isinstance(form, Missing) else form)


def _several_positions(view: JointView) -> Tellable:
    positions = _positions(view).positions or 0
    return str(positions) if positions > 1 else None


def _press_seat(view: JointView, kind: str) -> Tellable:
    coupling, before = view.case.coupling, view.press_seat_before
    if coupling is None or not coupling.uses_press:
        return None
    wanted = coupling.words["designation"](view.case.ends)
    if not isinstance(wanted, str):
        return None
    actual = "press_seat" if before is None else "press_seat_kept" if before == wanted else "press_seat_new"
    return wanted if actual == kind else None


def _clearance(view: JointView) -> Tellable:
    if not is_slip_fit(view.case):
        return None
    return when_known(
        lambda pair: Number("clearance", "um", None, max(0.0, pair[0]), max(0.0, pair[1])), clearance_of(view.case)
    )


def _opening_temperature(view: JointView) -> Tellable:
    found = next((one.shrink for one in view.derived.grips if one.index == view.index), None)
    if not isinstance(found, ShrinkJoint):
        return found
    heat = found.opening_temperature_c
    return heat if isinstance(heat, Missing) else Number("opening temperature", "degC", None, heat)


def _hanging(view: JointView) -> int | None:
    """Return the joint whose lower part needs support: the last extension so far, or the tool in a heavy stack."""
    joints = view.derived.chain.joints
    for index in range(view.held, -1, -1):
        if isinstance(joints[index].lower.part, Extension):
            return index
    return view.held if is_heavy(view.derived.masses.total) else None


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
    "torque": _torque,
    "stated_torque": lambda view: _torque_is(view, "stated"),
    "usual_torque": lambda view: _torque_is(view, "usual"),
    "no_torque": lambda view: _torque_is(view, "no"),
    "counter_hold": lambda view: _when(view.index > 0),
    "held_by": lambda view: view.held_by,
    "one_position": lambda view: _when(_positions(view).positions == 1),
    "any_angle": lambda view: _when(_positions(view).kind == "free"),
    "positions": _several_positions,
    "press_seat": lambda view: _press_seat(view, "press_seat"),
    "press_seat_kept": lambda view: _press_seat(view, "press_seat_kept"),
    "press_seat_new": lambda view: _press_seat(view, "press_seat_new"),
    "press_seat_before": lambda view: view.press_seat_before,
    "clearance": _clearance,
    "opening_temperature": _opening_temperature,
    "support": _support,
    "support_length": _support_length,
}
"""By name in the sentences."""

JOINT_WORDS: Final = frozenset({"upper", "lower", "joint", *_FINDERS}).union(*(one.words for one in COUPLINGS.values()))
"""Names that a sentence about a joint may use."""

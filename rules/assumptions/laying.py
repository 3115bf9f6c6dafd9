"""Assumed values, laid into a stack where a rule lacks them.

A stated value, one of a catalogue part and one of a standard part are never replaced. Each value has a typical and a
cautious end; a value that follows from other assumed ones (the mass of an assumed outline) follows the typical ones.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import cache
from itertools import pairwise
from typing import Any, Final, Literal, NamedTuple, TypeAlias, get_args

from pydantic import BaseModel

from rules.couplings import collets
from rules.couplings.bare_tapers import bare_taper
from rules.couplings.collets import NutCollet, PressCollet
from rules.couplings.definition import Deviation
from rules.couplings.shell_mill_arbor import ArborShellMill
from rules.couplings.straight_shank import (
    Bore,
    ColletBore,
    CylindricalShank,
    ShrinkFit,
    SideLock,
    diameters,
    largest_shank_mm,
    usual_shank_length,
)
from rules.grip.analysis import UsualTorque, usual_torque
from rules.grip.tolerances import limits
from rules.quantities.models import MAX_LENGTH_MM, MIN_LENGTH_MM
from rules.quantities.tables import Confidence, Row, read_rows
from rules.schema.components import (
    BaseHolder,
    Collet,
    Cutter,
    Extension,
    GaugePin,
    ProfilePiece,
    Reducer,
    Runout,
    RunoutStatement,
    StackEntry,
)
from rules.schema.request import AssumptionSet, Joint, ScaledLaw, ScaledQuantity, StackRequest
from rules.stack.chain import SPINDLE
from rules.stack.formulas import Frustum, body_of
from rules.stack.outlines import material

__all__ = ["SET", "Assumed", "End", "Laying", "unknown_classes"]

SET: Final = "common_practice_1"
"""Name of the set of assumed values; it changes with the tables."""

End: TypeAlias = Literal["typical", "cautious"]


class Assumed(NamedTuple):
    """One assumed value."""

    at: str
    """JSON Pointer of the field that would replace it."""
    quantity: str
    subject: str
    """Id of the component, or joint as 'upper/lower'."""
    category: str
    unit: str | None
    """UCUM code; None for a text."""
    typical: Any
    """Value of the field."""
    cautious: Any
    shown: tuple[float | str, float | str]
    """Typical and cautious value as people read them."""
    source: str
    confidence: Confidence | Literal["calibrated"]
    scaled: ScaledQuantity | None = None
    """Quantity of the table, of a runout that readings can calibrate."""
    set: str = SET
    """Name of the set that the value is from."""


class _Value(Row):
    quantity: str
    category: str
    typical: float
    cautious: float


class _Body(Row):
    seat: str
    size: str
    outer_mm: float


@cache
def _values() -> Mapping[tuple[str, str], _Value]:
    return {(row.quantity, row.category): row for row in read_rows("assumed_values", _Value)}


@cache
def _bodies() -> tuple[_Body, ...]:
    return read_rows("assumed_bodies", _Body)


def _row(quantity: str, category: str) -> _Value:
    return _values()[quantity, category]


_POINTER: Final = re.compile(r"/stack/(components|joints)/([0-9]+|-)/(.+)")

_ROUNDS: Final = 6
"""Most rounds of laying: a value laid may show that another one is missing."""


class Laying:
    """Lays assumed values into a request whose references are resolved."""

    def __init__(self, request: StackRequest, own: AssumptionSet | None = None) -> None:
        self._request = request
        self._own = own
        self.assumed: list[Assumed] = []
        self._refused: set[str] = set()
        self._with_joints()

    def _with_joints(self) -> None:
        """State every joint between neighbours, so that its missing fields have a place."""
        stack = self._request.stack
        chained = [part for part in stack.components if part.kind != "retention_knob"]
        joints = list(stack.joints or ())
        named = {(joint.upper, joint.lower) for joint in joints}
        for upper, lower in pairwise(chained):
            if upper.id is not None and lower.id is not None and (upper.id, lower.id) not in named:
                joints.append(Joint(upper=upper.id, lower=lower.id))
        self.own_joints = len(stack.joints or ())
        self._request = self._request.model_copy(update={"stack": stack.model_copy(update={"joints": joints})})

    def fill(self, pointers: Iterable[str]) -> bool:
        """Lay a value for each pointer for which there is one; return whether any was laid.

        Parameters
        ----------
        pointers
            JSON Pointers of missing fields, into the resolved request.
        """
        laid = {one.at for one in self.assumed}
        before = len(self.assumed)
        for pointer in dict.fromkeys(pointers):
            if pointer in laid or pointer in self._refused:
                continue
            found = self._value(pointer)
            if not found:
                self._refused.add(pointer)
            for one in found:
                if one.at not in laid:
                    laid.add(one.at)
                    self.assumed.append(one)
        return len(self.assumed) > before

    def request(self, end_of: Callable[[Assumed], End]) -> StackRequest:
        """Return the request with the assumed values, each at the end that ``end_of`` names."""
        stack = self._request.stack
        components: list[StackEntry] = list(stack.components)
        joints = list(stack.joints or ())
        for one in self.assumed:
            match = _POINTER.fullmatch(one.at)
            if match is None:
                continue
            value = getattr(one, end_of(one))
            steps = match[3].split("/")
            if match[1] == "components":
                components[int(match[2])] = _put(components[int(match[2])], steps, value)
            else:
                joints[int(match[2])] = _put(joints[int(match[2])], steps, value)
        return self._request.model_copy(
            update={"stack": stack.model_copy(update={"components": components, "joints": joints})}
        )

    def stated(self, pointer: str) -> str:
        """Return the pointer of a joint's field as the request knows it: "-" for a joint that it does not state."""
        match = _POINTER.fullmatch(pointer)
        if match is None or match[1] != "joints" or match[2] == "-" or int(match[2]) < self.own_joints:
            return pointer
        return f"/stack/joints/-/{match[3]}"

    @property
    def rounds(self) -> int:
        """Most rounds that filling may take."""
        return _ROUNDS

    def _value(self, pointer: str) -> Sequence[Assumed]:
        match = _POINTER.fullmatch(pointer)
        if match is None:
            return ()
        stack = self.request(lambda _: "typical").stack
        if match[1] == "joints":
            return self._of_joint(match[2], match[3], stack.components, stack.joints or ())
        place = int(match[2]) if match[2] != "-" else -1
        if not 0 <= place < len(stack.components):
            return ()
        part = stack.components[place]
        make = _PROVIDERS.get(match[3])
        if make is None:
            return ()
        around = _Around(part, place, stack.components, stack.joints or ())
        one = make(around, pointer)
        if one is None:
            return ()
        return (_calibrated(one, self._own)._replace(subject=part.id or part.kind),)

    def _of_joint(
        self, number: str, field: str, components: Sequence[StackEntry], joints: Sequence[Joint]
    ) -> Sequence[Assumed]:
        if field not in ("grip_length_mm", "projection_mm"):
            return ()
        places = range(len(joints)) if number == "-" else (int(number),)
        return [one for place in places if (one := _grip(place, joints[place], components)) is not None]


def _put(part: Any, steps: Sequence[str], value: Any) -> Any:
    """Return the model with one field, perhaps of a part of it, in place of none."""
    if len(steps) == 1:
        return part.model_copy(update={steps[0]: value})
    inner = getattr(part, steps[0], None)
    if not isinstance(inner, BaseModel):
        return part
    return part.model_copy(update={steps[0]: _put(inner, steps[1:], value)})


class _Around(NamedTuple):
    """Component with the stack around it."""

    part: StackEntry
    place: int
    components: Sequence[StackEntry]
    joints: Sequence[Joint]

    @property
    def chained(self) -> list[StackEntry]:
        return [part for part in self.components if part.kind != "retention_knob"]

    @property
    def lower(self) -> StackEntry | None:
        """The part that this one clamps."""
        chained = self.chained
        place = chained.index(self.part) if self.part in chained else len(chained)
        return chained[place + 1] if place + 1 < len(chained) else None

    @property
    def projection(self) -> float | None:
        """Projection of the part from the one that clamps it, mm; None where no joint states it."""
        own = next((joint for joint in self.joints if joint.lower == self.part.id), None)
        return None if own is None else own.projection_mm

    @property
    def tool_diameter(self) -> float:
        """Diameter that distances of runout readings count in, mm: that of the tool, else 10 mm."""
        last = self.chained[-1] if self.chained else None
        if isinstance(last, Cutter) and last.cutting_diameter_mm is not None:
            return last.cutting_diameter_mm
        side = getattr(last, "machine_side", None)
        diameter = side.diameter_mm if isinstance(side, CylindricalShank) else None
        return 10.0 if diameter is None else diameter


def _assumed(at: str, row: _Value, quantity: str, unit: str | None, typical: Any, cautious: Any) -> Assumed:
    return Assumed(
        at, quantity, "", row.category, unit, typical, cautious, (row.typical, row.cautious), row.source, row.confidence
    )


def _plain(
    at: str, quantity: str, category: str, unit: str, ends: tuple[float, float], source: str, confidence: Confidence
) -> Assumed:
    return Assumed(at, quantity, "", category, unit, *ends, ends, source, confidence)


# --- runout ------------------------------------------------------------------------------------------------------


def _runout(around: _Around, at: str) -> Assumed | None:
    part = around.part
    distance = 3.0 * around.tool_diameter
    quantity: ScaledQuantity = "holder_runout_um"
    if isinstance(part, Collet):
        if isinstance(part.machine_side, NutCollet):
            return _collet_runout(around, part, at)
        bore = part.workpiece_side
        if not isinstance(bore, ColletBore) or largest_shank_mm(bore) is None:
            return None
        category = "press_collet" if isinstance(part.machine_side, PressCollet) else "other"
    elif isinstance(part, Cutter):
        quantity, category = "cutter_runout_um", _cutter_class(part)
        if part.kind in ("drill", "tap", "reamer"):  # their runout is that of the point
            distance = around.projection or distance
    elif isinstance(part, BaseHolder | Extension | Reducer):
        side = part.workpiece_side
        category = "other" if side is None else side.coupling
        category = category if (quantity, category) in _values() else "other"
    else:
        return None  # straightness and roundness describe a pin
    row = _row(quantity, category)
    return _scaled(at, quantity, category, (row.typical, row.cautious), distance, row.source, row.confidence)


def _scaled(
    at: str,
    quantity: ScaledQuantity,
    category: str,
    ends: tuple[float, float],
    at_mm: float,
    source: str,
    confidence: Confidence,
) -> Assumed:
    within = min(max(at_mm, 0.0), MAX_LENGTH_MM)  # three diameters of the largest shank are more than any length
    typical, cautious = _reading(ends[0], within, "capability"), _reading(ends[1], within, "limit")
    return Assumed(at, "runout_tir", "", category, "um", typical, cautious, ends, source, confidence, scaled=quantity)


def _reading(tir_um: float, at_mm: float, law: ScaledLaw) -> Runout:
    return Runout(law=law, statements=[RunoutStatement(tir_um=tir_um, at_mm=at_mm)])


def _calibrated(one: Assumed, own: AssumptionSet | None) -> Assumed:
    """Return the assumed value with those of the shop's own set in place of the table's, if the set has its class."""
    classes = () if own is None or one.scaled is None else own.classes
    found = next((each for each in classes if (each.quantity, each.category) == (one.scaled, one.category)), None)
    if found is None or own is None:
        return one
    at_mm = one.typical.statements[0].at_mm
    return one._replace(
        typical=_reading(found.typical, at_mm, found.law),
        cautious=_reading(found.cautious, at_mm, found.law),
        shown=(found.typical, found.cautious),
        source=f"calibrated on {found.assemblies} assembl{'y' if found.assemblies == 1 else 'ies'}",
        confidence="calibrated",
        set=own.name,
    )


def unknown_classes(own: AssumptionSet) -> list[int]:
    """Return the places of the classes of a set that the table of assumed values does not have."""
    return [place for place, one in enumerate(own.classes) if (one.quantity, one.category) not in _scaled_classes()]


@cache
def _scaled_classes() -> frozenset[tuple[str, str]]:
    limits = {row.tir_um for bore in (1.5, 12.0) if (row := collets.runout_limit(bore, 2)) is not None}
    collet_classes = {
        ("collet_runout_um", _collet_class(limit, closed)) for limit in limits if limit for closed in (False, True)
    }
    return frozenset(key for key in _values() if key[0] in get_args(ScaledQuantity)) | collet_classes


def _cutter_class(part: Cutter) -> str:
    if part.kind == "drill":
        return "drill"
    if part.material == "high_speed_steel":
        return "high_speed_steel"
    if isinstance(part.machine_side, ArborShellMill) or part.material in ("steel", "tool_steel"):
        return "indexable"
    diameter = part.cutting_diameter_mm or 10.0
    for largest in (0.76, 1.5, 2.8):
        if diameter <= largest:
            return f"up to {largest} mm"
    return "above 2.8 mm"


def _collet_runout(around: _Around, part: Collet, at: str) -> Assumed | None:
    """Return class 2 of ISO 15488; half as much again for a collet closed by more than 0.5 mm (cautious)."""
    side = part.workpiece_side
    bore = largest_shank_mm(side) if isinstance(side, ColletBore) else None
    limit = None if bore is None else collets.runout_limit(bore, 2)
    if bore is None or limit is None or limit.tir_um is None:
        return None
    shank = getattr(getattr(around.lower, "machine_side", None), "diameter_mm", None)
    closed = shank is not None and bore - shank > 0.5
    cautious = limit.tir_um * (1.5 if closed else 1.0)
    return _scaled(
        at,
        "collet_runout_um",
        _collet_class(limit.tir_um, closed),
        (limit.tir_um, cautious),
        limit.gauge_length_mm,
        "ISO 15488:2003, Table 4, class 2",
        "common practice" if closed else "standard",
    )


def _collet_class(limit_um: float, closed: bool) -> str:
    """Return the class of a collet: that of the standard by its limit, or closed beyond what the standard covers."""
    return f"class 2, {limit_um:g} µm" + (", closed over 0.5 mm" if closed else "")


# --- mass, unbalance, outline ------------------------------------------------------------------------------------


def _outer(side: object) -> float | None:
    """Return the outer diameter of a body at its seat, mm."""
    rows = _bodies()
    if isinstance(side, NutCollet):
        return next((row.outer_mm for row in rows if row.seat == "nut_collet" and row.size == side.size), None)
    diameter = getattr(side, "diameter_mm", None) or getattr(side, "pilot_diameter_mm", None)
    seat = getattr(side, "coupling", "")
    if diameter is None:
        return None
    sizes = [row for row in rows if row.seat == seat and float(row.size) >= diameter]
    if sizes:
        return sizes[0].outer_mm
    return 2.0 * float(diameter)


def _profile(around: _Around, at: str) -> Assumed | None:
    part = around.part
    ends: list[list[ProfilePiece]] = []
    for factor in (1.0, _row("outline_factor", "body").cautious):
        pieces = _outline(part, factor)
        if not pieces:
            return None
        ends.append(pieces)
    row = _row("outline_factor", "body")
    words = tuple(", ".join(f"Ø{one.outer_mm:g} × {one.length_mm:g} mm" for one in pieces) for pieces in ends)
    return Assumed(
        at, "outline", "", part.kind, None, ends[0], ends[1], (words[0], words[1]), row.source, row.confidence
    )


def _outline(part: StackEntry, factor: float) -> list[ProfilePiece]:
    if isinstance(part, BaseHolder):
        return _holder_outline(part, factor)
    if isinstance(part, Extension | Reducer):
        shank = part.machine_side
        outer = _outer(part.workpiece_side)
        length = part.overall_length_mm
        if not isinstance(shank, CylindricalShank) or shank.diameter_mm is None or length is None:
            return []
        body = min(shank.diameter_mm, outer or shank.diameter_mm)
        seat = _bore_of(part.workpiece_side)
        outside = _mm(max(body * factor, seat + 1.0))
        depth = _mm(min(length / 2.0, _SEAT_DIAMETERS * seat))
        return _pieces(
            _Shape(_mm(length - depth), outside, bore=_mm(min(body * 0.3, seat))),
            _Shape(depth, outside, bore=_mm(seat)),
        )
    if isinstance(part, Cutter):
        return _tool_outline(part, factor)
    if isinstance(part, GaugePin) and isinstance(part.machine_side, CylindricalShank):
        diameter, length = part.machine_side.diameter_mm, part.overall_length_mm
        return [] if diameter is None or length is None else _pieces(_Shape(length, diameter))
    return []


class _Shape(NamedTuple):
    """Piece of an outline, mm."""

    length: float
    outer: float
    end: float | None = None
    bore: float | None = None


def _pieces(*shapes: _Shape) -> list[ProfilePiece]:
    """Return an outline; none where a stated size leaves no room for it within the lengths of the contract."""
    for one in shapes:
        sizes = (one.length, one.outer, one.outer if one.end is None else one.end)
        if not all(MIN_LENGTH_MM <= size <= MAX_LENGTH_MM for size in sizes) or (one.bore or 0.0) >= min(sizes[1:]):
            return []
    names = ("length_mm", "outer_mm", "outer_end_mm", "bore_mm")
    stated = [{name: size for name, size in zip(names, one, strict=True) if size is not None} for one in shapes]
    return [ProfilePiece(**one) for one in stated]


_SEAT_DIAMETERS: Final = 3.0
"""Depth of the seat of an extension, in diameters; common practice."""


def _holder_outline(part: BaseHolder, factor: float) -> list[ProfilePiece]:
    """Return flange, then body to the face; the nose of a shrink-fit holder is a cone of 4.5°."""
    taper, outer, length = bare_taper(part.machine_side), _outer(part.workpiece_side), part.gauge_length_mm
    if taper is None or outer is None or length is None or length <= taper.flange_mm + 1.0:
        return []
    bore = _bore_of(part.workpiece_side)
    beyond = length - taper.flange_mm
    flange = _Shape(taper.flange_mm, taper.flange_diameter_mm, bore=_mm(bore * 0.8))
    body = _mm(max(outer * factor, bore + 1.0))
    if isinstance(part.workpiece_side, ShrinkFit):
        root = _mm(min(body + 2.0 * beyond * math.tan(math.radians(4.5)), taper.flange_diameter_mm * 0.85))
        return _pieces(flange, _Shape(_mm(beyond), max(root, body), body, _mm(bore)))
    return _pieces(flange, _Shape(_mm(beyond), body, bore=_mm(bore)))


def _bore_of(side: object) -> float:
    if isinstance(side, NutCollet) and side.size is not None:
        return 0.7 * float(side.size)
    diameter = getattr(side, "diameter_mm", None)
    return 8.0 if diameter is None else float(diameter)


def _tool_outline(part: Cutter, factor: float) -> list[ProfilePiece]:
    """Return the shank, then the cutting part."""
    del factor  # a tool has the diameters it states
    shank, cutting, length = part.machine_side, part.cutting_diameter_mm, part.overall_length_mm
    if cutting is None or length is None:
        return []
    if not isinstance(shank, CylindricalShank) or shank.diameter_mm is None:
        return _pieces(_Shape(length, cutting))
    flutes = part.flute_length_mm
    if flutes is None:
        flutes = min(length - 1.0, max(1.0, length - (shank.length_mm or length / 2.0)))
    if length - flutes < 1.0:
        return _pieces(_Shape(length, cutting))
    return _pieces(_Shape(_mm(length - flutes), shank.diameter_mm), _Shape(_mm(flutes), cutting))


def _mm(value: float) -> float:
    return round(value, 3)


def _density(part: StackEntry) -> float:
    stated = getattr(part, "density_kg_m3", None)
    if stated is not None:
        return float(stated)
    return material(getattr(part, "material", None) or _usual_material(part)).density_kg_m3


def _body_mass(part: StackEntry) -> tuple[float, float] | None:
    """Return mass (kg) and centre of mass (mm from the datum of the part) by the outline, with the bare taper."""
    profile = getattr(part, "profile", None) or _outline(part, 1.0)
    if not profile:
        return _collet_mass(part)
    if any((piece.bore_mm or 0.0) >= min(piece.outer_mm, piece.outer_end_mm or piece.outer_mm) for piece in profile):
        return None  # a bore that leaves no wall, of which a rule tells
    taper = bare_taper(part.machine_side) if isinstance(part, BaseHolder) else None
    pieces, position = [], 0.0
    for piece in profile:
        start = position
        position += piece.length_mm
        if taper is not None and position <= taper.flange_mm + 0.01:
            continue  # the flange is in the mass of the bare taper
        pieces.append((start, piece))
    density = _density(part)
    mass = centre = 0.0
    for start, piece in pieces:
        frustum = Frustum(piece.length_mm, piece.outer_mm, piece.outer_end_mm or piece.outer_mm, piece.bore_mm or 0.0)
        body = body_of([frustum], density)
        mass += body.mass_kg
        centre += body.mass_kg * (start + body.centre_mm)
    if taper is not None:
        flange = math.pi / 4.0 * taper.flange_diameter_mm**2 * taper.flange_mm * 0.88 * 7.85e-6
        flange = min(flange, 0.9 * taper.mass_kg)
        own = flange * taper.flange_mm / 2.0 - (taper.mass_kg - flange) * 0.4 * taper.cone_mm
        mass, centre = mass + taper.mass_kg, centre + own
    return None if mass <= 0.0 else (mass, centre / mass)


def _collet_mass(part: StackEntry) -> tuple[float, float] | None:
    """Return mass and centre of an 8° collet: cone less bore, a tenth of it slots; with it the nut, a ring on it."""
    if not isinstance(part, Collet) or not isinstance(part.machine_side, NutCollet) or part.machine_side.size is None:
        return None
    row = collets.collet(part.machine_side.size)
    side = part.workpiece_side
    bore = (largest_shank_mm(side) if isinstance(side, ColletBore) else None) or 0.5 * row.big_end_mm
    small = row.big_end_mm - 2.0 * row.length_mm * math.tan(math.radians(8.0))
    bore = min(bore, 0.8 * small)
    body = body_of([Frustum(row.length_mm, small, row.big_end_mm, bore)], 7850.0)
    return 0.9 * body.mass_kg, body.centre_mm


def _mass(around: _Around, at: str) -> Assumed | None:
    found = _body_mass(around.part)
    if found is None:
        return None
    row = _row("mass_factor", "any")
    ends = (_three(found[0]), _three(found[0] * row.cautious))
    return _plain(at, "mass", around.part.kind, "kg", ends, row.source, row.confidence)


def _centre(around: _Around, at: str) -> Assumed | None:
    found = _body_mass(around.part)
    if found is None:
        return None
    row = _row("mass_factor", "any")
    ends = (round(found[1], 1), round(found[1], 1))
    return _plain(at, "centre_of_mass", around.part.kind, "mm", ends, row.source, row.confidence)


def _unbalance(around: _Around, at: str) -> Assumed | None:
    part = around.part
    found = _body_mass(part)
    mass = getattr(part, "mass_kg", None) or (None if found is None else found[0])
    if mass is None:
        return None
    row = _row("unbalance_g_mm_per_kg", "tool" if isinstance(part, Cutter | GaugePin) else "holder")
    ends = (_three(mass * row.typical), _three(mass * row.cautious))
    return _plain(at, "unbalance", row.category, "g.mm", ends, row.source, row.confidence)


def _three(value: float) -> float:
    """Return a value with three significant figures."""
    return float(f"{value:.3g}")


# --- material, tolerance, speed, grip ------------------------------------------------------------------------------


def _usual_material(part: StackEntry) -> str:
    if isinstance(part, Cutter):
        shank = part.machine_side
        if isinstance(shank, ArborShellMill):
            return "steel"
        ground = isinstance(shank, CylindricalShank) and shank.tolerance in (None, "h5", "h6")
        small = isinstance(shank, CylindricalShank) and (shank.diameter_mm or 0.0) <= 20.0
        return "cemented_carbide" if ground and small and part.kind != "tap" else "high_speed_steel"
    return "tool_steel" if isinstance(part, GaugePin) else "steel"


def _material(around: _Around, at: str) -> Assumed | None:
    usual = _usual_material(around.part)
    cautious = "high_speed_steel" if usual == "cemented_carbide" else usual
    return Assumed(
        at,
        "material",
        "",
        around.part.kind,
        None,
        usual,
        cautious,
        (usual, cautious),
        "common practice",
        "common practice",
    )


def _shank_tolerance(around: _Around, at: str) -> Assumed | None:
    part = around.part
    carbide = (getattr(part, "material", None) or _usual_material(part)) == "cemented_carbide"
    cautious = "h6" if carbide or not isinstance(part, Cutter) else "h8"
    source: tuple[str, Confidence] = ("DIN 6535:1992", "standard") if carbide else ("DIN 1835-1", "from memory")
    return Assumed(at, "tolerance", "", "shank", None, "h6", cautious, ("h6", cautious), *source)


def _bore_tolerance(around: _Around, at: str) -> Assumed | None:
    side = getattr(around.part, "workpiece_side", None)
    if isinstance(side, ShrinkFit):
        return _shrink_bore(side, at)
    usual = "H5" if isinstance(side, SideLock) else "H7"
    return Assumed(
        at, "tolerance", "", "bore", None, usual, usual, (usual, usual), "common practice", "common practice"
    )


def _shrink_bore(side: ShrinkFit, at: str) -> Assumed | None:
    """Return the limits of a bore for shrinking on an h6 shank, by its interference at the middle of both limits."""
    diameter = side.diameter_mm
    if diameter is None:
        return None
    try:
        half = -limits(diameter, "h6", hole=False).lower_um / 2.0
    except ValueError:  # a diameter beyond the table
        return None
    ends = []
    for interference in (1.0 * diameter + 3.0, 0.6 * diameter + 2.0):
        # the loosest pair still interferes by a micrometre
        upper = -round(max(interference + half - 2.0, 2.0 * half + 1.0), 1)
        ends.append(Deviation(lower_um=upper - 4.0, upper_um=upper))
    typical, cautious = ends
    words = tuple(f"{one.lower_um:g} to {one.upper_um:g} µm" for one in ends)
    return Assumed(
        at.replace("/tolerance", "/deviation"),
        "bore_deviation",
        "",
        "shrink fit",
        None,
        typical,
        cautious,
        (words[0], words[1]),
        "interference 1.0 ‰ d + 3 µm (typical) and 0.6 ‰ d + 2 µm (cautious) with an h6 shank",
        "common practice",
    )


def _yield(around: _Around, at: str) -> Assumed | None:
    """Return the yield stress of a hardened holder."""
    if not isinstance(around.part, BaseHolder | Extension | Reducer):
        return None
    row = _row("yield_mpa", "holder")
    return _assumed(at, row, "yield_stress", "MPa", row.typical, row.cautious)


def _forms_thread(_: _Around, at: str) -> Assumed | None:
    """Return that a tap cuts; one that forms takes three times the torque."""
    return Assumed(
        at, "thread_making", "", "tap", None, False, True, ("cutting", "forming"), "common practice", "common practice"
    )


def _max_speed(around: _Around, at: str) -> Assumed | None:
    part = around.part
    if isinstance(part, BaseHolder):
        side = part.machine_side
        # forms E and F are made for higher speeds
        form = "E" if getattr(side, "form", None) in ("E", "EB", "ES", "F") else ""
        category = "" if side is None else f"{side.coupling} {form}{getattr(side, 'size', None)}"
    elif isinstance(part, Extension | Reducer):
        category = "straight shank"
    else:
        return None  # the maker's figure alone tells how fast a tool may turn
    if ("max_speed_rpm", category) not in _values():
        return None
    row = _row("max_speed_rpm", category)
    return _assumed(at, row, "max_speed", "/min", row.typical, row.cautious)


def _torque_row(around: _Around) -> tuple[tuple[float, float], float, UsualTorque] | None:
    """Return the capacities (N·m) of the clamp, the diameter that it holds and the row of the table."""
    side = getattr(around.part, "workpiece_side", None)
    shank = getattr(getattr(around.lower, "machine_side", None), "diameter_mm", None)
    diameter = shank
    if diameter is None:
        diameter = largest_shank_mm(side) if isinstance(side, ColletBore) else getattr(side, "diameter_mm", None)
    seat = getattr(side, "coupling", "")
    found = None if diameter is None else usual_torque(seat, diameter)
    if found is None or diameter is None:
        return None
    row, share = found
    return (_three(row.typical_n_m * share), _three(row.cautious_n_m * share)), diameter, row


def _rated_torque(around: _Around, at: str) -> Assumed | None:
    found = _torque_row(around)
    if found is None:
        return None
    ends, _, row = found
    return _plain(at, "torque_capacity", row.seat, "N.m", ends, row.source, row.confidence)


def _rated_axial(around: _Around, at: str) -> Assumed | None:
    """Return the pull that the same friction holds as the torque: twice the torque over the diameter."""
    found = _torque_row(around)
    if found is None:
        return None
    side = getattr(around.part, "workpiece_side", None)
    ends, diameter, row = found
    stated = getattr(side, "rated_torque_n_m", None)
    torques = ends if stated is None else (stated, stated)
    pulls = (_three(2000.0 * torques[0] / diameter), _three(2000.0 * torques[1] / diameter))
    return _plain(at, "axial_capacity", row.seat, "N", pulls, row.source, row.confidence)


def _full_grip(around: _Around) -> float | None:
    side = getattr(around.part, "workpiece_side", None)
    if isinstance(side, ColletBore):
        if side.length_mm is not None:
            return side.length_mm
        seat = getattr(around.part, "machine_side", None)
        if isinstance(seat, NutCollet) and seat.size is not None:
            return collets.length(seat.size)
    diameter = getattr(side, "diameter_mm", None)
    return None if diameter is None else usual_shank_length(diameter)


def _rated_grip(around: _Around, at: str) -> Assumed | None:
    full = _full_grip(around)
    if full is None:
        return None
    return _plain(at, "rated_grip_length", "clamp", "mm", (full, full), "common practice", "common practice")


def _bore_length(around: _Around, at: str) -> Assumed | None:
    """Return the clamping length of an 8° collet, about its overall length."""
    seat = getattr(around.part, "machine_side", None)
    if not isinstance(seat, NutCollet) or seat.size is None:
        return None
    full = collets.length(seat.size)
    ends = (full, _three(0.8 * full))
    return _plain(at, "clamping_length", "8° collet", "mm", ends, "nut_collet: overall length", "from memory")


def _bore_depth(around: _Around, at: str) -> Assumed | None:
    full = _full_grip(around)
    if full is None:
        return None
    ends = (full + 10.0, full + 5.0)
    return _plain(at, "bore_depth", "clamp", "mm", ends, "common practice", "common practice")


def _helix(around: _Around, at: str) -> Assumed | None:
    if not isinstance(around.part, Cutter) or around.part.kind not in ("cutter", "drill"):
        return None
    ends = (30.0, 0.0)
    return _plain(at, "helix_angle", around.part.kind, "deg", ends, "common practice", "common practice")


def _shank_form(around: _Around, at: str) -> Assumed | None:
    upper = next((part for part in around.chained if _next(around, part) is around.part), None)
    side = getattr(upper, "workpiece_side", None)
    if isinstance(side, SideLock) or not isinstance(around.part, Cutter | Extension | Reducer):
        return None
    return Assumed(
        at, "shank_form", "", "shank", None, "plain", "plain", ("plain", "plain"), "common practice", "common practice"
    )


def _next(around: _Around, part: StackEntry) -> StackEntry | None:
    chained = around.chained
    place = chained.index(part)
    return chained[place + 1] if place + 1 < len(chained) else None


def _shank_length(around: _Around, at: str) -> Assumed | None:
    diameter = getattr(getattr(around.part, "machine_side", None), "diameter_mm", None)
    full = None if diameter is None else usual_shank_length(diameter)
    if full is not None:
        return _plain(at, "shank_length", "shank", "mm", (full, full), "DIN 6535:1992", "standard")
    overall, flutes = getattr(around.part, "overall_length_mm", None), getattr(around.part, "flute_length_mm", None)
    if overall is None:
        return None
    smaller = next((one for one in reversed(diameters("din_6535")) if one <= (diameter or 0.0)), None)
    usual = 0.0 if smaller is None else usual_shank_length(smaller) or 0.0
    length = _mm(max(overall / 2.0, min(usual, overall)) if flutes is None else overall - flutes)
    return _plain(at, "shank_length", "shank", "mm", (length, length), "common practice", "common practice")


def _grip(place: int, joint: Joint, components: Sequence[StackEntry]) -> Assumed | None:
    """Return the grip of a joint without projection: the usual shank, at most depth and length of the bore."""
    if joint.upper == SPINDLE or joint.grip_length_mm is not None or joint.projection_mm is not None:
        return None
    upper = next((part for part in components if part.id == joint.upper), None)
    lower = next((part for part in components if part.id == joint.lower), None)
    side, shank = getattr(upper, "workpiece_side", None), getattr(lower, "machine_side", None)
    if not isinstance(side, Bore | ColletBore) or not isinstance(shank, CylindricalShank) or shank.diameter_mm is None:
        return None
    lengths = [shank.length_mm or usual_shank_length(shank.diameter_mm), side.depth_mm]
    if isinstance(side, ColletBore):
        seat = getattr(upper, "machine_side", None)
        series = collets.length(seat.size) if isinstance(seat, NutCollet) and seat.size is not None else None
        lengths.append(side.length_mm or series)
    known = [length for length in lengths if length is not None]
    if not known:
        return None
    row = _row("grip_factor", "any")
    ends = (_mm(min(known)), _mm(min(known) * row.cautious))
    at = f"/stack/joints/{place}/grip_length_mm"
    found = _plain(at, "grip_length", "shank", "mm", ends, row.source, row.confidence)
    return found._replace(subject=f"{joint.upper}/{joint.lower}")


_PROVIDERS: Final[Mapping[str, Callable[[_Around, str], Assumed | None]]] = {
    "runout": _runout,
    "profile": _profile,
    "mass_kg": _mass,
    "centre_of_mass_mm": _centre,
    "unbalance_g_mm": _unbalance,
    "material": _material,
    "max_speed_rpm": _max_speed,
    "yield_mpa": _yield,
    "forms_thread": _forms_thread,
    "helix_angle_deg": _helix,
    "machine_side/tolerance": _shank_tolerance,
    "machine_side/form": _shank_form,
    "machine_side/length_mm": _shank_length,
    "workpiece_side/tolerance": _bore_tolerance,
    "workpiece_side/rated_torque_n_m": _rated_torque,
    "workpiece_side/rated_axial_force_n": _rated_axial,
    "workpiece_side/rated_grip_mm": _rated_grip,
    "workpiece_side/length_mm": _bore_length,
    "workpiece_side/depth_mm": _bore_depth,
}

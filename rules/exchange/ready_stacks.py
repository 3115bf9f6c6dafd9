"""Ready stacks out of assemblies of ISO 13399 data: order, grip lengths and projections by the placements.

A joint is derived only where the placements leave one meaning: every piece is placed in the model of the assembly
without rotation or offset, and the last one ends at the functional length of the assembly.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final, get_args

from rules.exchange.imported import ImportedPart, ImportedStackPart, fault
from rules.exchange.symbols import unmapped
from rules.exchange.tool_data import Piece, ToolAssembly, ToolValue
from rules.exchange.tool_data_import import FaultyItemError, identifier_in
from rules.exchange.tool_data_values import NEAR_MM, Dimensions, codes, dimensions_of, plain_number, shown_mm
from rules.exchange.untrusted import printable
from rules.schema.components import CutterKind, StackPart
from rules.schema.imports import UnmappedValue
from rules.schema.parsing import BadRequestError, parse_request
from rules.schema.request import MAX_COMPONENTS

__all__ = ["stack_of"]

_NEAR_KG: Final = 0.005
_TOOLS: Final = frozenset({*get_args(CutterKind), "gauge_pin"})
_KNOB: Final = "retention_knob"
_OFF_THE_FACE: Final = frozenset({"steep_taper", "morse_taper"})
"""Tapers whose gauge line is not in the contact face."""


@dataclass(frozen=True, slots=True)
class _Placed:
    """A piece along the axis of the assembly, in mm from its gauge line."""

    part: StackPart
    dimensions: Dimensions
    start: float
    face: float


class _NotPlacedError(Exception):
    """Placements that do not say where the pieces are; the message is the reason."""


def stack_of(assembly: ToolAssembly, parts: Mapping[int, ImportedPart]) -> ImportedStackPart:
    """Return the stack of an assembly.

    Parameters
    ----------
    assembly
        The assembly as the file states it.
    parts
        Components by the number of their item.

    Returns
    -------
    ImportedStackPart
        The stack as a request for a check.

    Raises
    ------
    rules.exchange.tool_data_import.FaultyItemError
        If a piece is no component, or their order is not known.
    """
    return _Stack(assembly, parts).made()


class _Stack:
    def __init__(self, assembly: ToolAssembly, parts: Mapping[int, ImportedPart]) -> None:
        self._assembly = assembly
        self._whole = dimensions_of(assembly.item.values)
        self._parts = parts
        self._notes: list[str] = []
        self._joints: list[dict[str, Any]] = []

    def made(self) -> ImportedStackPart:
        """Return the stack; raises :class:`FaultyItemError` if there is none."""
        item = self._assembly.item
        name = identifier_in(item.id.strip())
        if name is None:
            raise self._fault("the assembly has no usable id")
        named = self._named_parts()
        try:
            order, last = self._by_placement(named)
        except _NotPlacedError as error:
            order, last = self._by_kind(named, str(error)), None
        stack: dict[str, Any] = {
            "id": name,
            "components": [part.model_dump(mode="json", exclude_none=True) for part in order],
        }
        if self._joints:
            stack["joints"] = self._joints
        request = {"stack": stack}
        try:
            parse_request(request)
        except BadRequestError as error:
            raise self._fault(f"its components do not give a stack: {error.faults[0].detail}") from None
        return ImportedStackPart(
            request,
            description=" ".join((item.description or "").split()) or None,
            source=f"assembly ITEM #{item.number} {printable(item.id)}",
            line=self._assembly.line,
            unmapped=tuple(self._left_over(order, placed=last is not None, last=last)),
            notes=tuple(self._notes),
        )

    def _fault(self, detail: str) -> FaultyItemError:
        return FaultyItemError(fault(detail, self._assembly.line, name=self._assembly.item.id))

    def _named_parts(self) -> list[tuple[Piece, StackPart]]:
        """Return the pieces with their components, each with a name of its own in the stack."""
        assembly = self._assembly
        if assembly.broken is not None:
            raise self._fault(f"no stack: {assembly.broken}")
        if not 1 <= len(assembly.pieces) <= MAX_COMPONENTS:
            raise self._fault(f"no stack: it has {len(assembly.pieces)} pieces; 1 to {MAX_COMPONENTS} are expected")
        lacking = [printable(one.item.id) for one in assembly.pieces if one.item.number not in self._parts]
        if lacking:
            raise self._fault(f"no stack: no component for {', '.join(dict.fromkeys(lacking))}")
        named: list[tuple[Piece, StackPart]] = []
        taken: set[str] = set()
        for piece in assembly.pieces:
            part = self._parts[piece.item.number].component
            own = part.id
            copies = 1
            while own in taken:
                copies += 1
                own = f"{part.id[:60]}-{copies}"
            if own != part.id:
                part = part.model_copy(update={"id": own})
                self._notes.append(f"{own} is another {self._parts[piece.item.number].component.id}")
            taken.add(own)
            named.append((piece, part))
        return named

    # --- order -----------------------------------------------------------------------------------------------------

    def _by_placement(self, named: Sequence[tuple[Piece, StackPart]]) -> tuple[list[StackPart], _Placed]:
        """Return the components by the place of their workpiece-side faces, and the last; derive the joints."""
        knobs = [part for _, part in named if part.kind == _KNOB]
        others = [(piece, part) for piece, part in named if part.kind != _KNOB]
        if not others:
            raise _NotPlacedError("there is no piece before the gauge line")
        placed = sorted(_along_axis(others), key=lambda one: (one.face, one.start))
        first, last = placed[0], placed[-1]
        if abs(first.start) > NEAR_MM:
            raise _NotPlacedError(f"the gauge line of {first.part.id} is not that of the assembly")
        length = self._whole.get("LF")
        if length is None:
            raise _NotPlacedError("the functional length of the assembly is not stated")
        if abs(last.face - length) > NEAR_MM:
            raise _NotPlacedError(
                f"{last.part.id} ends at {shown_mm(last.face)} mm, not at the functional length {shown_mm(length)} mm"
            )
        for upper, lower in pairwise(placed):
            _refuse_gap(upper, lower)
        for upper, lower in pairwise(placed):
            if _is_shanked(lower.part):
                self._join(upper, lower, is_last=lower is last)
        return [*knobs, *(one.part for one in placed)], last

    def _by_kind(self, named: Sequence[tuple[Piece, StackPart]], reason: str) -> list[StackPart]:
        """Return the components in the only order that their kinds allow."""
        ranks = {_KNOB: 0, "base_holder": 1, **dict.fromkeys(_TOOLS, 3)}
        ranked = sorted(((ranks.get(part.kind, 2), part) for _, part in named), key=lambda one: one[0])
        if any(one[0] == other[0] for one, other in pairwise(ranked)):
            raise self._fault(f"no stack: the order of its pieces is not stated; {reason}")
        self._notes.append(f"order by kind, no grip length and no projection: {reason}")
        return [part for _, part in ranked]

    # --- joints ----------------------------------------------------------------------------------------------------

    def _join(self, upper: _Placed, lower: _Placed, *, is_last: bool) -> None:
        """State grip and projection of a shank, unless something stated contradicts them."""
        grip, projection = upper.face - lower.start, lower.face - upper.face
        between = f"{upper.part.id} and {lower.part.id}"
        if (reason := self._contradiction(upper, lower, grip, projection, is_last=is_last)) is not None:
            self._notes.append(f"no grip length and no projection between {between}: {reason}")
            return
        self._joints.append(
            {
                "upper": upper.part.id,
                "lower": lower.part.id,
                "grip_length_mm": plain_number(grip),
                "projection_mm": plain_number(projection),
            }
        )
        self._notes.append(
            f"between {between}: grip length {shown_mm(upper.face)} - {shown_mm(lower.start)} = {shown_mm(grip)} mm and"
            f" projection {shown_mm(lower.face)} - {shown_mm(upper.face)} = {shown_mm(projection)} mm, derived from the"
            " placements"
        )
        if is_last:
            self._notes.append(
                f"{shown_mm(lower.start)} + {shown_mm(lower.face - lower.start)} = {shown_mm(lower.face)} mm,"
                " the functional length of the assembly"
            )

    def _contradiction(
        self, upper: _Placed, lower: _Placed, grip: float, projection: float, *, is_last: bool
    ) -> str | None:
        if not 0 < grip <= lower.face - lower.start:
            return f"the placements leave a grip length of {shown_mm(grip)} mm"
        gives = f"the placements give a grip length of {shown_mm(grip)} mm"
        clamped = lower.dimensions.get("LSC")
        if clamped is not None and abs(clamped - grip) > NEAR_MM:
            return f"{gives}, the clamping length is {shown_mm(clamped)} mm"
        for symbol in ("ADJLN", "ADJLX", "LSCX"):
            bound = upper.dimensions.get(symbol)
            if bound is not None and (bound - grip if symbol == "ADJLN" else grip - bound) > NEAR_MM:
                return f"{gives}, beyond the limit of {shown_mm(bound)} mm"
        for symbol in ("LU", "LUX"):
            usable = self._whole.get(symbol)
            if is_last and usable is not None and usable - projection > NEAR_MM:
                return f"the usable length {shown_mm(usable)} mm is more than the projection {shown_mm(projection)} mm"
        return None

    # --- what is left over -----------------------------------------------------------------------------------------

    def _left_over(self, order: Sequence[StackPart], *, placed: bool, last: _Placed | None) -> Iterator[UnmappedValue]:
        item = self._assembly.item
        for one in item.values:
            row = codes().get(one.code or "")
            symbol = "" if row is None else row.symbol
            if symbol == "LF" and placed:
                continue
            reason = one.reason
            if reason is None and row is None:
                reason = f"the code {printable(one.code or '')} is not known"
            if reason is None and symbol == "RPMX":
                reason = "a stack has no speed limit of its own; state it with a component"
                self._notes.append(f"{one.name} {printable(one.text)} of the assembly is judged by no rule")
            yield _left(one, reason or self._compared(symbol, order, last) or "a stack has no field for it")

    def _compared(self, symbol: str, order: Sequence[StackPart], last: _Placed | None) -> str | None:
        """Return how a value of the assembly compares with that of the pieces."""
        stated = self._whole.get(symbol)
        if stated is None:
            return None
        if symbol == "WT":
            masses = [part.mass_kg for part in order]
            known = [one for one in masses if one is not None]
            if len(known) < len(masses):
                return "not every piece states its mass, so it cannot be compared"
            total = sum(known)
            words = "agrees with" if abs(total - stated) <= _NEAR_KG else "differs from"
            return f"it {words} the sum of the pieces, {total:.4g} kg"
        if symbol in ("LU", "LUX") and last is not None and self._joints and self._joints[-1]["lower"] == last.part.id:
            projection = self._joints[-1]["projection_mm"]
            words = "agrees with" if abs(projection - stated) <= NEAR_MM else "is less than"
            return f"it {words} the projection, {shown_mm(projection)} mm"
        return None


def _left(one: ToolValue, reason: str) -> UnmappedValue:
    unit = f" {one.unit}" if one.unit else ""
    return unmapped(one.name, f"{one.text}{unit}", reason, one.line)


def _is_shanked(part: StackPart) -> bool:
    end = getattr(part, "machine_side", None)
    return end is not None and end.coupling == "cylindrical"


def _along_axis(pieces: Sequence[tuple[Piece, StackPart]]) -> list[_Placed]:
    """Return the pieces along the axis; raises :class:`_NotPlacedError` if one has no certain place."""
    for piece, part in pieces:
        if piece.placement.refused is not None:
            raise _NotPlacedError(f"{part.id}: {piece.placement.refused}")
    within = {piece.placement.within for piece, _ in pieces}
    models = [piece.placement.model for piece, _ in pieces]
    if len(within) > 1 or within & set(models) or len(set(models)) < len(models):
        raise _NotPlacedError("the pieces are not all placed in the model of the assembly")
    placed: list[_Placed] = []
    bare: list[_Placed] = []
    for piece, part in pieces:
        dimensions = dimensions_of(piece.item.values)
        start = -(piece.placement.along_mm or 0.0)
        if start < -NEAR_MM:
            raise _NotPlacedError(f"{part.id} is placed behind the gauge line")
        length = _length(part, dimensions)
        one = _Placed(part, dimensions, start, start + (length or 0.0))
        (bare if length is None else placed).append(one)
    for one in bare:
        if not any(abs(one.start - other.face) <= NEAR_MM for other in placed):
            raise _NotPlacedError(f"where the face of {one.part.id} is does not follow from its place")
    return [*placed, *bare]


def _length(part: StackPart, dimensions: Dimensions) -> float | None:
    """Return the length of a piece from its place to its workpiece-side face; None for a collet that states none."""
    functional, overall = dimensions.get("LF"), dimensions.get("OAL")
    if _is_shanked(part):
        if overall is None:
            raise _NotPlacedError(f"the overall length of {part.id} is not stated")
        if functional is not None and abs(functional - overall) > NEAR_MM:
            raise _NotPlacedError(f"{part.id} may be placed by its functional length or by its overall length")
        return overall
    if functional is None and part.kind != "collet":
        raise _NotPlacedError(f"the functional length of {part.id} is not stated")
    return functional


def _refuse_gap(upper: _Placed, lower: _Placed) -> None:
    """Refuse a piece that is not placed where the one before it ends: a contact face on the face, a collet flush."""
    end = getattr(lower.part, "machine_side", None)
    if lower.part.kind == "collet":
        if abs(lower.face - upper.face) > NEAR_MM:
            raise _NotPlacedError(f"the face of {lower.part.id} is not that of {upper.part.id}")
    elif _is_shanked(lower.part) or (end is not None and end.coupling in _OFF_THE_FACE):
        return
    elif abs(lower.start - upper.face) > NEAR_MM:
        raise _NotPlacedError(f"{lower.part.id} is not placed on the face of {upper.part.id}")

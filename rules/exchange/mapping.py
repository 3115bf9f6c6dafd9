"""From symbols of the standard to fields of a component: couplings, materials, and lengths that need a datum."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final, get_args

from rules.exchange.iso13399 import Symbol, body_materials
from rules.exchange.stated import Stated
from rules.exchange.unreadable import printable
from rules.schema.components import Material
from rules.schema.imports import UnmappedValue

__all__ = ["Reading", "map_readings", "unmapped"]

_SHANK: Final = frozenset({"DMM", "LS", "TCDMM"})
"""Symbols that only a straight shank has."""

_GAUGE_LENGTH: Final = "gauge_length_mm"


@dataclass(frozen=True, slots=True)
class Reading:
    """A value read under a symbol: as written, as understood, and where."""

    symbol: Symbol
    name: str
    text: str
    value: object
    line: int
    column: int | None = None


def unmapped(name: str, text: str, reason: str, line: int | None, column: int | None = None) -> UnmappedValue:
    """A value left over, worded for the report."""
    return UnmappedValue(name=printable(name), value=printable(text), reason=reason, line=line, column=column)


def map_readings(
    kind: str, readings: Sequence[Reading], named: Iterable[Stated] = ()
) -> tuple[list[Stated], list[UnmappedValue]]:
    """Values for fields of a component of this kind, and the readings that no field takes.

    ``named`` are values whose field the document names itself; they decide on couplings before any symbol.
    """
    mapping = _Mapping(kind, readings, named)
    mapping.couple("machine_side")
    mapping.couple("workpiece_side")
    mapping.take_values()
    return mapping.stated, mapping.left


class _Mapping:
    def __init__(self, kind: str, readings: Sequence[Reading], named: Iterable[Stated]) -> None:
        self.stated: list[Stated] = []
        self.left: list[UnmappedValue] = []
        self._kind = kind
        self._readings = readings
        self._named = {one.path: one.value for one in named}
        self._present = {one.symbol.symbol for one in readings}
        self._coupling: dict[str, object] = {}

    def couple(self, side: str) -> None:
        """What couples at a side: stated in words, else by a code as it is, else a straight shank by its diameter."""
        words = self._coupling[side] = self._named.get(f"{side}.coupling")
        codes = [one for one in self._readings if one.symbol.field_of(self._kind) == f"{side}.designation"]
        codes = [one for one in codes if not self._yields(one)]
        codes.sort(key=lambda one: one.symbol.role)
        coded = bool(codes) and codes[0].symbol.role == "code" and f"{side}.designation" not in self._named
        if coded and words in (None, "declared"):
            self._state(codes[0], f"{side}.coupling", "declared")
            self._state(codes[0], f"{side}.designation", " ".join(one.text.strip() for one in codes))
            self._coupling[side] = "declared"
            return
        for one in codes:
            self._leave(one, "the coupling is stated otherwise, or the code is missing; a code is never interpreted")
        shank = next((one for one in self._readings if one.symbol.symbol == "DMM"), None)
        if words is None and shank is not None and shank.symbol.field_of(self._kind) == f"{side}.diameter_mm":
            self._state(shank, f"{side}.coupling", "cylindrical")
            self._coupling[side] = "cylindrical"

    def take_values(self) -> None:
        """Everything that is no connection code."""
        for one in self._readings:
            path = one.symbol.field_of(self._kind)
            if path is None:
                self._leave(one, one.symbol.reason or "this kind of component has no such field")
            elif self._yields(one):
                self._leave(one, f"{one.symbol.yields_to} is stated and wins")
            elif one.symbol.role == "material":
                self._take_material(one, path)
            elif path == _GAUGE_LENGTH and not self._has_gauge_line():
                self._leave(one, "it counts from a gauge line or contact face, and none is known of the machine side")
            elif one.symbol.role == "value":
                self._state(one, path, one.value)

    def _take_material(self, one: Reading, path: str) -> None:
        code = one.text.strip()
        material = code if code in get_args(Material) else body_materials().get(code)
        if material is None:
            self._leave(one, "no open table explains this code; state material")
        else:
            self._state(one, path, material)

    def _has_gauge_line(self) -> bool:
        if self._kind == "base_holder":
            return True
        if "machine_side.coupling" in self._named:
            return self._named["machine_side.coupling"] != "cylindrical"
        # A coded connection may be a straight shank; what only a shank has then says so.
        return self._coupling["machine_side"] == "declared" and not self._present & _SHANK

    def _yields(self, one: Reading) -> bool:
        return one.symbol.yields_to in self._present

    def _state(self, one: Reading, path: str, value: object) -> None:
        self.stated.append(Stated(one.name, one.text, path, value, one.line, one.column))

    def _leave(self, one: Reading, reason: str) -> None:
        self.left.append(unmapped(one.name, one.text, reason, one.line, one.column))

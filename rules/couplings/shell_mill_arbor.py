"""Shell-mill arbors by pilot diameter."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from types import MappingProxyType
from typing import Literal

from pydantic import Field

from rules.couplings.definition import Coupling, Ends, Figure, Value, Word
from rules.quantities.missing import Missing, OrMissing, when_known
from rules.quantities.models import Model, PositiveLength
from rules.quantities.tables import Row, read_rows

__all__ = ["SHELL_MILL_ARBOR", "ArborShellMill", "arbor"]


class ArborShellMill(Model):
    """Pilot arbor with drive keys for shell-mounted cutters, ISO 6462 and related standards."""

    coupling: Literal["shell_mill_arbor"]
    pilot_diameter_mm: PositiveLength | None = Field(None, description="Pilot diameter.", examples=[22])
    drive: Literal["keys", "keyway"] | None = Field(
        None, description="Transverse keys at the face, or a keyway along the bore.", examples=["keys"]
    )


class ShellMillArborSize(Row):
    """An arbor with its pilot, keys and screw."""

    pilot_diameter_mm: float
    pilot_length_mm: float
    key_width_mm: float
    screw_thread: str
    pilot_tolerance: str
    bore_tolerance: str


@cache
def _arbors() -> dict[float, ShellMillArborSize]:
    return {row.pilot_diameter_mm: row for row in read_rows("shell_mill_arbor", ShellMillArborSize)}


def arbor(pilot_diameter_mm: float) -> ShellMillArborSize | None:
    """Arbor of a pilot diameter (mm), or None for one the standard does not list."""
    return _arbors().get(pilot_diameter_mm)


def _pilot(ends: Ends) -> OrMissing[float]:
    pilot: OrMissing[float] = ends.first("pilot_diameter_mm", ends.upper)
    return pilot


def _drive(ends: Ends) -> Word:
    drive: Word = ends.first("drive", ends.upper)
    return drive


def _screw_thread(ends: Ends) -> Word:
    pilot = _pilot(ends)
    row = None if isinstance(pilot, Missing) else arbor(pilot)
    return None if row is None else row.screw_thread


class _ShellMillArbor(Coupling):
    name = "shell_mill_arbor"
    machine_side = ArborShellMill
    workpiece_side = ArborShellMill
    tilts_about_face = True
    needed_fields = ("pilot_diameter_mm", "drive")
    decided_by = "drive"
    property_names = ("arbor_pilot_mm", "cutter_pilot_mm", "arbor_drive", "cutter_drive")
    words = MappingProxyType(
        {
            "pilot": lambda ends: when_known(lambda size: Figure("pilot diameter", "mm", size), _pilot(ends)),
            "drive": _drive,
            "keys": lambda ends: "" if _drive(ends) == "keys" else None,
            "keyway": lambda ends: "" if _drive(ends) == "keyway" else None,
            "screw_thread": _screw_thread,
        }
    )

    def properties(self, ends: Ends) -> Iterator[tuple[str, Value]]:
        if self.both(ends):
            yield "arbor_pilot_mm", ends.upper.stated("pilot_diameter_mm")
            yield "cutter_pilot_mm", ends.lower.stated("pilot_diameter_mm")
            yield "arbor_drive", ends.upper.stated("drive")
            yield "cutter_drive", ends.lower.stated("drive")


SHELL_MILL_ARBOR = _ShellMillArbor()

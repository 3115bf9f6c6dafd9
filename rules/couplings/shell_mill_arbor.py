"""Shell-mill arbors by pilot diameter."""

from __future__ import annotations

from functools import cache

from rules.quantities.tables import Row, read_rows

__all__ = ["ShellMillArbor", "arbor", "pilot_diameters"]


class ShellMillArbor(Row):
    """An arbor with its pilot, keys and screw."""

    pilot_diameter_mm: float
    pilot_length_mm: float
    key_width_mm: float
    screw_thread: str
    pilot_tolerance: str
    bore_tolerance: str


@cache
def _arbors() -> dict[float, ShellMillArbor]:
    return {row.pilot_diameter_mm: row for row in read_rows("shell_mill_arbor", ShellMillArbor)}


def pilot_diameters() -> tuple[float, ...]:
    """Pilot diameters, mm, ascending."""
    return tuple(_arbors())


def arbor(pilot_diameter_mm: float) -> ShellMillArbor | None:
    """Arbor of a pilot diameter (mm), or None for one the standard does not list."""
    return _arbors().get(pilot_diameter_mm)

"""Operations of a request, written by the short names of their fields."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

__all__ = ["change", "drop", "operation_of"]

_PLACES = {
    "runout_limit_um": ("limits", "runout", "tir_um"),
    "runout_limit_at": ("limits", "runout", "plane"),
    "balance_grade": ("limits", "balance_grade"),
    "deflection_limit_um": ("limits", "deflection_um"),
    "torque_n_m": ("load", "torque_n_m"),
    "axial_pull_n": ("load", "axial_pull_n"),
    "radial_force_n": ("load", "radial_force_n"),
    "milling": ("cut",),
}


def change(operation: dict[str, Any], fields: Mapping[str, Any]) -> None:
    """Set fields of an operation; what else stands beside them stays."""
    for name, value in fields.items():
        *way, last = _PLACES.get(name, (name,))
        holder = operation
        for step in way:
            holder = holder.setdefault(step, {})
        holder[last] = {"kind": "milling", **value} if name == "milling" else value


def drop(operation: dict[str, Any], *names: str) -> None:
    """Take fields away; a runout limit goes whole."""
    for name in names:
        *way, last = ("limits", "runout") if name == "runout_limit_um" else _PLACES.get(name, (name,))
        holder = operation
        for step in way:
            holder = holder[step]
        del holder[last]


def operation_of(fields: Mapping[str, Any], name: str = "10") -> dict[str, Any]:
    """Return an operation of these fields."""
    operation: dict[str, Any] = {"id": name}
    change(operation, fields)
    return operation

"""Pointers into the request of a check, led into the request of the gate that the check was part of."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

from rules.schema.gate import GateRequest
from rules.schema.report import Report

__all__ = ["Place", "place_of"]

_POINTERS: Final = frozenset({"at", "fields"})
"""Fields of a report that hold lists of pointers."""


@dataclass(frozen=True, slots=True)
class Place:
    """An operation of a gate: where the parts of its check stand."""

    at: str
    """JSON Pointer of the operation."""
    own: frozenset[str]
    """Which parts of the check the operation states itself; the others are the order's."""

    def leads(self, pointers: Iterable[str]) -> list[str]:
        """Lead pointers of the check into the request of the gate.

        >>> place = Place("/operations/2", frozenset({"stack", "operation"}))
        >>> place.leads(["/stack/components/1/runout", "/machine/spindle", "/components/KB-1/mass_kg"])
        ['/operations/2/stack/components/1/runout', '/machine/spindle', '/components/KB-1/mass_kg']
        """
        return [self._lead(pointer) for pointer in pointers]

    def report(self, report: Report) -> Report:
        """Lead all pointers of a report."""
        return Report.model_validate(self._led(report.model_dump()))

    def _lead(self, pointer: str) -> str:
        part = pointer.removeprefix("/").partition("/")[0]
        return self.at + pointer if part in self.own else pointer

    def _led(self, value: Any) -> Any:
        if isinstance(value, list):
            return [self._led(one) for one in value]
        if isinstance(value, dict):
            return {
                name: self.leads(one) if name in _POINTERS and isinstance(one, list) else self._led(one)
                for name, one in value.items()
            }
        return value


def place_of(request: GateRequest, number: int) -> Place:
    """Return the place of the operation of this number, counted from zero."""
    operation = request.operations[number]
    own = {"stack", "operation"}
    own.update(name for name in ("machine", "policy") if getattr(operation, name) is not None)
    return Place(f"/operations/{number}", frozenset(own))

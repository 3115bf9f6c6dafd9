"""What an operation must state before a gate releases it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import yaml

from rules.facts.derive import Derived
from rules.schema.gate import RequirementName
from rules.schema.request import CheckRequest

__all__ = ["Requirement", "requirements", "unstated"]


@dataclass(frozen=True, slots=True)
class Requirement:
    """One entry of the list, with its words."""

    name: RequirementName
    code: str
    title: str
    fields: tuple[str, ...]
    """JSON Pointers into the request of a check; any of them suffices."""
    message: str
    why: str
    remedy: str
    source: str
    last_kind: str | None = None
    """The kind the last component must be of; then the fields only say where to look."""


@cache
def requirements() -> tuple[Requirement, ...]:
    """Return the list in the order of its codes."""
    text = files("rules.reporting").joinpath("gate_requirements.yaml").read_text(encoding="utf-8")
    return tuple(Requirement(**{**entry, "fields": tuple(entry["fields"])}) for entry in yaml.safe_load(text))


def unstated(request: CheckRequest, derived: Derived) -> list[Requirement]:
    """Return everything of the list that a request does not state; derived is what follows from it."""
    links = derived.chain.links
    last_kind = links[-1].part.kind if links else None
    return [one for one in requirements() if not _is_stated(one, request, last_kind)]


def _is_stated(requirement: Requirement, request: CheckRequest, last_kind: str | None) -> bool:
    if requirement.last_kind is not None:
        return last_kind == requirement.last_kind
    return any(_value(request, field) is not None for field in requirement.fields)


def _value(request: CheckRequest, field: str) -> Any:
    value: Any = request
    for step in field.split("/")[1:]:
        value = None if value is None else getattr(value, step)
    return value

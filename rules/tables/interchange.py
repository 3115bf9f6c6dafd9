"""Whether two forms of one taper fit the same spindle."""

from __future__ import annotations

from collections.abc import Collection
from typing import Literal, Protocol

__all__ = ["Interchange", "compare_forms"]

Interchange = Literal["fits", "not_settled", "differs"]
"""Same interchange group; could not be decided from the sources at hand; other flange or drive."""


class _Grouped(Protocol):
    @property
    def interchange_group(self) -> str: ...

    @property
    def not_settled_with(self) -> Collection[str]: ...


def compare_forms(one: _Grouped, other: _Grouped) -> Interchange:
    """Compare two forms by their interchange groups; the order does not matter."""
    if one.interchange_group == other.interchange_group:
        return "fits"
    if other.interchange_group in one.not_settled_with or one.interchange_group in other.not_settled_with:
        return "not_settled"
    return "differs"

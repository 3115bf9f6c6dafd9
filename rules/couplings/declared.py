"""Interfaces described by the shop itself."""

from __future__ import annotations

from collections.abc import Iterator
from types import MappingProxyType
from typing import Literal

from pydantic import Field

from rules.couplings.definition import Coupling, Deviation, Ends, Figure, ToleranceClass, Value, Word
from rules.quantities.missing import Missing
from rules.quantities.models import Model, PositiveLength, Token

__all__ = ["DECLARED", "Declared"]


class Declared(Model):
    """An interface described by the shop itself."""

    coupling: Literal["declared"]
    designation: Token | None = Field(None, description="The shop's name for it.", examples=["screw-in M8"])
    gender: Literal["male", "female"] | None = Field(None, description="Which half this end is.", examples=["male"])
    diameter_mm: PositiveLength | None = Field(None, description="Locating diameter.", examples=[8.5])
    tolerance: ToleranceClass | None = None
    deviation: Deviation | None = Field(
        None, description="Limit deviations of the diameter, µm, in place of a tolerance class."
    )


def _locating_diameter(ends: Ends) -> Word:
    found = ends.first("diameter_mm", ends.upper)
    return None if isinstance(found, Missing) else Figure("locating diameter", "mm", found)


class _Declared(Coupling):
    name = "declared"
    machine_side = Declared
    workpiece_side = Declared
    needed_fields = ("designation", "gender", "diameter_mm")
    property_names = (
        "upper_designation",
        "lower_designation",
        "upper_gender",
        "lower_gender",
        "upper_diameter_mm",
        "lower_diameter_mm",
    )
    words = MappingProxyType(
        {
            "designation": lambda ends: ends.first("designation", ends.upper),
            "locating_diameter": _locating_diameter,
        }
    )

    def properties(self, ends: Ends) -> Iterator[tuple[str, Value]]:
        if not self.both(ends):
            return
        upper, lower = ends
        yield "upper_designation", upper.stated("designation")
        yield "lower_designation", lower.stated("designation")
        yield "upper_gender", upper.stated("gender")
        yield "lower_gender", lower.stated("gender")
        if not isinstance(ends.first("diameter_mm", upper), Missing):
            yield "upper_diameter_mm", upper.stated("diameter_mm")
            yield "lower_diameter_mm", lower.stated("diameter_mm")


DECLARED = _Declared()

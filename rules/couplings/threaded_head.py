"""Threaded connection of a modular milling head: metric thread, pilot and face contact.

The extension or holder has the internal thread at its workpiece side, the head the external thread at its machine side.
No open standard describes the connection completely, so a shop declares the dimensions of its series.
"""

from __future__ import annotations

from collections.abc import Iterator
from types import MappingProxyType
from typing import Literal

from pydantic import Field

from rules.couplings.definition import Coupling, End, Ends, Figure, Value, Word
from rules.couplings.designation import ThreadName
from rules.quantities.missing import Missing, OrMissing, missing_of
from rules.quantities.models import Model, PositiveLength, Token, Torque

__all__ = ["THREADED_HEAD", "ThreadedHead"]


class ThreadedHead(Model):
    """Threaded connection of a modular milling head, with pilot and face contact; the shop declares its series."""

    coupling: Literal["threaded_head"]
    designation: Token | None = Field(None, description="The shop's name for the series.", examples=["head-10"])
    thread: ThreadName | None = Field(None, description="Designation of the thread; metric, as a rule.")
    pilot_diameter_mm: PositiveLength | None = Field(
        None, description="Diameter of the pilot that centres the head.", examples=[10.5]
    )
    pilot_length_mm: PositiveLength | None = Field(
        None, description="Length of the pilot seat behind the face.", examples=[5.5]
    )
    tightening_torque_n_m: Torque | None = Field(
        None, description="Tightening torque, as stated by the shop, N·m.", examples=[45]
    )


def _torque(ends: Ends) -> Word:
    found = ends.first("tightening_torque_n_m", ends.lower, lower_first=True)
    return found if isinstance(found, Missing) else Figure("tightening torque", "N m", found)


def _pilot(ends: Ends) -> Word:
    found = ends.first("pilot_diameter_mm", ends.upper)
    return found if isinstance(found, Missing) else Figure("pilot diameter", "mm", found)


class _ThreadedHead(Coupling):
    name = "threaded_head"
    machine_side = ThreadedHead
    workpiece_side = ThreadedHead
    tilts_about_face = True
    tightened_about_axis = True
    needed_fields = ("designation", "thread", "pilot_diameter_mm", "pilot_length_mm", "tightening_torque_n_m")
    property_names = (
        "upper_thread",
        "lower_thread",
        "upper_pilot_mm",
        "lower_pilot_mm",
        "upper_series",
        "lower_series",
    )
    words = MappingProxyType(
        {
            "designation": lambda ends: ends.first("designation", ends.upper),
            "thread": lambda ends: ends.first("thread", ends.upper),
            "pilot": _pilot,
            "tightening_torque": _torque,
        }
    )

    def properties(self, ends: Ends) -> Iterator[tuple[str, Value]]:
        if self.both(ends):
            yield "upper_thread", ends.upper.stated("thread")
            yield "lower_thread", ends.lower.stated("thread")
            yield "upper_pilot_mm", ends.upper.stated("pilot_diameter_mm")
            yield "lower_pilot_mm", ends.lower.stated("pilot_diameter_mm")
            upper, lower = ends.upper.stated("designation"), ends.lower.stated("designation")
            if missing_of(upper, lower) is None:  # thread and pilot decide without it
                yield "upper_series", upper
                yield "lower_series", lower

    def seat_length(self, end: End) -> OrMissing[float] | None:
        length: OrMissing[float] = end.stated("pilot_length_mm")
        return length


THREADED_HEAD = _ThreadedHead()

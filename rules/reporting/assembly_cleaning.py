"""The cleaning of a stack as steps: the seat first on which dirt shows most at the gauge plane."""

from __future__ import annotations

from rules.facts.derive import Derived
from rules.quantities.missing import Lack, Maybe, lift
from rules.reporting.assembly_drafts import Draft, draft
from rules.reporting.assembly_texts import instruction
from rules.reporting.assembly_words import Number, Tellable, Words
from rules.runout.formulas import tir_from_speck
from rules.schema.components import Cutter
from rules.stack.positions import Place

__all__ = ["cleaning_steps"]

_GAUGE_SPINDLE = "the gauge spindle"


def cleaning_steps(derived: Derived) -> list[Draft]:
    """Return one step a seat: that of the first component in the spindle, then every joint's; see the order above."""
    seats = [
        (index, _speck(place, derived.geometry.gauge_plane)) for index, place in enumerate(derived.geometry.places)
    ]
    seats.sort(key=lambda seat: -seat[1] if isinstance(seat[1], float) else float("inf"))
    most_sensitive = len(seats) > 1 and isinstance(seats[0][1], float)
    return [
        step
        for rank, (index, speck) in enumerate(seats)
        if (step := _step(derived, index, speck, most_sensitive and rank == 0)) is not None
    ]


def _speck(place: Place, plane: Maybe[float]) -> Maybe[float]:
    """Return what a speck of 1 µm at one end of the seat reads at the plane, µm."""

    def reading(seat: float, pivot: float, z: float) -> Maybe[float]:
        return tir_from_speck(1.0, seat, z - pivot) if seat > 0.0 else Lack(())

    return lift(reading, place.seat_length, place.pivot, plane)


def _step(derived: Derived, index: int, speck: Maybe[float], most_sensitive: bool) -> Draft | None:
    link = derived.chain.links[index]
    lower, at = link.part.id, f"{link.at}/machine_side"
    case = derived.chain.joints[index - 1] if index else None
    file, coupling = instruction(), "unknown"
    if case is None:
        side = link.machine_side
        upper, components, pointers, joint = _GAUGE_SPINDLE, [lower], [at], None
        if side is not None:
            coupling = side.coupling
    else:
        upper, components = case.upper_name, [case.upper_name, lower]
        pointers, joint = [case.upper_at, case.lower_at], case.name
        if case.mated and case.upper_side is not None:
            coupling = case.upper_side.coupling
    how = file.couplings[coupling].clean.text.format(upper=upper, lower=lower)
    seat_length = derived.geometry.places[index].seat_length
    known = {"how": how}
    if most_sensitive:
        known["most_sensitive"] = ""

    def find(name: str) -> Tellable:
        if name == "seat_length":
            return seat_length if isinstance(seat_length, Lack) else Number("seat length", "mm", seat_length)
        if name == "speck":
            return speck if isinstance(speck, Lack) else Number("reading of a speck of 1 µm", "um", speck)
        return None

    step = draft(file.general["clean"], Words(known, find), components, pointers, joint)
    if step is not None and isinstance(link.part, Cutter):
        step["caution"].append(file.cautions["edges"].format(lower=lower))
    return step

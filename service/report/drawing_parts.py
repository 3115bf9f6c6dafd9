"""What of each part can be drawn to scale, and what is not stated."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rules.analysis import Derived
from rules.couplings import hollow_taper, steep_taper
from rules.couplings.sides import ColletBore, HollowTaper, SteepTaper
from rules.quantities.missing import Lack
from rules.schema.components import Collet, Cutter
from rules.stack.outlines import OutlinePiece, bore_within, outline_of

__all__ = ["Part", "Shank", "letter", "parts_of", "shank_behind_gauge_line"]


@dataclass(frozen=True, slots=True)
class Part:
    """One component: lengths in mm from the gauge line."""

    number: int
    name: str
    kind: str
    pieces: tuple[OutlinePiece, ...]
    """Its outline in its place; empty where outline or place are not known."""
    start: float | None
    face: float | None
    """Workpiece-side face or tip."""
    assumed: tuple[float, float] | None
    """Outer and inner diameter that its neighbours or couplings state, where it states no outline of its own."""
    flutes: tuple[float, float] | None
    """Length and diameter of a cutter's fluted end."""
    cutting_mm: float | None
    """Diameter a cutter sweeps at its tip, where the length of its flutes is not stated."""
    not_stated: tuple[str, ...]

    @property
    def placed(self) -> bool:
        """Whether both its ends have a place."""
        return bool(self.pieces) or (self.start is not None and self.face is not None)

    @property
    def ends(self) -> tuple[float, float]:
        """Where it begins and ends; of a placed part only."""
        starts = [piece.from_mm for piece in self.pieces[:1]]
        ends = [piece.to_mm for piece in self.pieces[-1:]]
        own = (self.start, self.face)
        return min([*starts, *(z for z in own if z is not None)]), max([*ends, *(z for z in own if z is not None)])


@dataclass(frozen=True, slots=True)
class Shank:
    """The taper behind the gauge line, by the standard's table, mm."""

    length_mm: float
    large_mm: float
    small_mm: float


def letter(number: int) -> str:
    """Return the letter that names a part in the drawing: A to Z, then AA and on."""
    high, low = divmod(number, 26)
    return (chr(64 + high) if high else "") + chr(65 + low)


def parts_of(derived: Derived) -> list[Part]:
    """Take from the facts what of each component can be drawn."""
    chain, places = derived.chain, derived.geometry.places
    outlines = [outline_of(link, place) for link, place in zip(chain.links, places, strict=True)]
    parts = []
    for number, (link, place) in enumerate(zip(chain.links, places, strict=True)):
        outline = outlines[number]
        pieces = () if isinstance(outline, Lack) else outline
        start = None if isinstance(place.start, Lack) else place.start
        face = None if isinstance(place.face, Lack) else place.face
        ends = None if start is None or face is None or not start < face else (start, face)
        upper = outlines[number - 1] if number else None
        assumed = None
        if not pieces and ends is not None:
            assumed = _assumed(derived, number, () if upper is None or isinstance(upper, Lack) else upper, ends)
        part = link.part
        flutes = cutting = None
        if isinstance(part, Cutter) and part.cutting_diameter_mm is not None:
            if part.flute_length_mm is None:
                cutting = part.cutting_diameter_mm
            else:
                flutes = part.flute_length_mm, part.cutting_diameter_mm
        missing = () if link.part.profile else ("outline",)
        if link.part.profile and not pieces and face is not None:
            missing = ("wall",)
        if face is None:
            missing = (*missing, "length or place")
        parts.append(Part(number, part.id, part.kind, pieces, start, face, assumed, flutes, cutting, missing))
    return parts


def _assumed(
    derived: Derived, number: int, socket: Sequence[OutlinePiece], ends: tuple[float, float]
) -> tuple[float, float] | None:
    links = derived.chain.links
    part = links[number].part
    if isinstance(part, Collet):
        below = links[number + 1].machine_side if number + 1 < len(links) else None
        inner = getattr(below, "diameter_mm", None)
        side = part.workpiece_side
        if inner is None and isinstance(side, ColletBore):
            inner = side.clamping_max_mm if side.nominal_mm is None else side.nominal_mm
        found = bore_within(socket, *ends)
        if inner is not None and found is not None and found[1] > inner:
            return found[1], inner
        return None
    if isinstance(part, Cutter) and part.cutting_diameter_mm is not None:
        return part.cutting_diameter_mm, 0.0
    diameter = getattr(links[number].machine_side, "diameter_mm", None)
    return None if diameter is None else (diameter, 0.0)


def shank_behind_gauge_line(derived: Derived) -> Shank | None:
    """Return the first part's taper where the standard's table has its length and its diameters."""
    side = derived.chain.links[0].machine_side
    if isinstance(side, SteepTaper) and side.size is not None and side.form is not None:
        row = steep_taper.shank(side.form, side.size)
        large = steep_taper.gauge_diameter(side.size)
        if row is None or row.small_end_mm is None:
            return None
        return Shank(row.taper_length_mm, large, row.small_end_mm)
    if isinstance(side, HollowTaper) and side.size is not None and side.form is not None:
        diameter = hollow_taper.gauge_diameter(side.size, side.form)
        length = hollow_taper.shank_length(side.size, side.form)
        # the table tells the cone at the gauge line alone, so its sides are drawn level
        return None if diameter is None or length is None else Shank(length, diameter, diameter)
    return None

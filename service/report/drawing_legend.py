"""The lists under a drawing: its parts, and what was found."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from rules.analysis import Derived
from rules.quantities.missing import Lack
from rules.schema.components import ProfilePiece
from service.report.drawing_dimensions import millimetres
from service.report.drawing_marks import SIZE, Noted, Weight, shape
from service.report.drawing_parts import Part, letter
from service.report.drawing_shades import hatching
from service.report.drawing_text import shortened, wrapped
from service.report.svg import INK, Mark, element, text

__all__ = ["findings_list", "parts_list"]

_TEXT: Final = 11.0
_LINE: Final = 15.0
_GAP: Final = 7.0
_MOST_PIECES: Final = 8

_WORDS: Final[dict[Weight, str]] = {
    "error": "error",
    "warning": "warning",
    "advice": "advice",
    "undecided": "not decided",
}


def parts_list(
    derived: Derived, parts: Sequence[Part], top: float, left: float, right: float, prefix: str
) -> tuple[list[Mark], float]:
    """Draw the list of parts; return it and where it ends."""
    drawn = [text(left, top + 12.0, "Parts", font_weight="bold")]
    y = top + 22.0
    columns = left + 36.0, left + 66.0, left + 216.0, left + 316.0
    for part, link in zip(parts, derived.chain.links, strict=True):
        body = link.part
        words = "; ".join(_about(part, body.profile or (), derived))
        lines = wrapped(words, _TEXT, right - columns[3], 2)
        drawn.append(
            element(
                "rect",
                x=left,
                y=y + 1.0,
                width=28.0,
                height=16.0,
                fill=hatching(part.number, prefix),
                stroke=INK,
                stroke_width=1.0,
                stroke_dasharray=None if part.pieces else "5 3",
            )
        )
        drawn.append(text(columns[0], y + 13.0, letter(part.number), font_weight="bold"))
        drawn.append(text(columns[1], y + 13.0, shortened(part.name, 12.0, 144.0)))
        drawn.append(text(columns[2], y + 13.0, part.kind.replace("_", " "), font_size=_TEXT))
        drawn.extend(text(columns[3], y + 13.0 + n * _LINE, line, font_size=_TEXT) for n, line in enumerate(lines))
        y += len(lines) * _LINE + _GAP
    for knob in derived.chain.knobs:
        drawn.append(text(columns[1], y + 13.0, shortened(knob.part.id, 12.0, 144.0)))
        drawn.append(text(columns[2], y + 13.0, "retention knob, not drawn", font_size=_TEXT))
        y += _LINE + _GAP
    return drawn, y


def _about(part: Part, profile: Sequence[ProfilePiece], derived: Derived) -> Iterator[str]:
    """Tell a part's outline, its material, and what is not stated, in words."""
    if profile:
        yield ", ".join(_piece(piece) for piece in profile[:_MOST_PIECES]) + (
            f" and {len(profile) - _MOST_PIECES} pieces more" if len(profile) > _MOST_PIECES else ""
        )
    material = derived.chain.links[part.number].part.material
    if material is not None:
        yield material.replace("_", " ")
    if "outline" in part.not_stated:
        known = part.assumed is not None
        yield "outline not stated: " + ("diameters from couplings" if known else "its diameter is not to scale")
    if "wall" in part.not_stated:
        yield "its bore leaves no wall: outline not drawn"
    if "length or place" in part.not_stated:
        yield "length or place not stated: " + ("its far end is open" if part.placed else "drawn beyond the scale")
    held = next((grip.length_mm for grip in derived.grips if grip.index == part.number - 1), None)
    if isinstance(held, Lack):
        yield "grip length not stated"


def _piece(piece: ProfilePiece) -> str:
    end = piece.outer_end_mm
    outer = f"Ø{millimetres(piece.outer_mm)}" + ("" if end in (None, piece.outer_mm) else f"–{millimetres(end or 0.0)}")
    bore = f" (bore {millimetres(piece.bore_mm)})" if piece.bore_mm else ""
    return f"{outer} × {millimetres(piece.length_mm)}{bore}"


def findings_list(noted: Sequence[Noted], top: float, left: float, right: float) -> tuple[list[Mark], float]:
    """Draw what each mark means, in two columns; return it and where it ends."""
    if not noted:
        return [text(left, top + 12.0, "Nothing was found against this stack.")], top + 20.0
    drawn = [text(left, top + 12.0, "What was found", font_weight="bold")]
    columns = 2 if len(noted) > 3 else 1
    width = (right - left) / columns
    rows = -(-len(noted) // columns)
    high = SIZE + 12.0
    for place, one in enumerate(noted):
        x, y = left + place // rows * width, top + 22.0 + place % rows * high
        drawn.append(shape(one, x + SIZE / 2.0, y + high / 2.0))
        room = width - SIZE - 18.0
        drawn.append(text(x + SIZE + 8.0, y + 14.0, shortened(f"{one.code}  {one.title}", 12.0, room)))
        where = f"{_WORDS[one.weight]}: {', '.join(spot.words for spot in one.spots)}"
        drawn.append(text(x + SIZE + 8.0, y + 28.0, shortened(where, _TEXT, room), font_size=_TEXT))
    return drawn, top + 22.0 + rows * high

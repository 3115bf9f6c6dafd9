"""Outline of a body from the numbered sections of ISO 13399 data."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from rules.exchange.outlines import MAX_PIECES, OutlineError, piece_of, sections_of
from rules.exchange.tool_data import ToolValue
from rules.exchange.tool_data_values import MAY_BE_ZERO, NEAR_MM, Code, RejectedError, number_of, plain_number, shown_mm
from rules.schema.import_map import Outline

__all__ = ["Sections", "outline_of"]


@dataclass(frozen=True, slots=True)
class Sections:
    """Pieces of an outline from the gauge line on, each with the value that it comes from."""

    sections: list[tuple[ToolValue, dict[str, float | int]]]
    unused: list[ToolValue]
    notes: list[str]


_INDEX: Final = re.compile(r"(?<![0-9])[1-9][0-9]?$")


def outline_of(values: Sequence[tuple[Code, ToolValue]], length_mm: float | None, meaning: Outline | None) -> Sections:
    """Return the outline of numbered sections, of which number 1 is at the workpiece side.

    Parameters
    ----------
    values
        Diameters, lengths and angles of the sections, diameter and thickness of the flange.
    length_mm
        Functional length, which flange and sections must give together.
    meaning
        Meaning of the lengths in the map.

    Returns
    -------
    Sections
        Pieces from the gauge line on.

    Raises
    ------
    rules.exchange.tool_data_values.RejectedError
        If the sections do not give the functional length in exactly one reading.
    """
    found: dict[str, dict[int, tuple[float, ToolValue]]] = {}
    for row, one in values:
        index = _INDEX.search(one.name)
        number = int(index[0]) if index and row.symbol in ("BD", "LB", "BHTA") else 1
        value = number_of(one, row.unit)
        if value < 0 or (value == 0 and row.symbol not in MAY_BE_ZERO):
            raise RejectedError("a section of the outline is not greater than 0")
        if found.setdefault(row.symbol, {}).setdefault(number, (float(value), one))[0] != float(value):
            raise RejectedError(f"section {number} of the outline has two values")
    diameters, lengths, angles = (found.get(symbol, {}) for symbol in ("BD", "LB", "BHTA"))
    flange = found.get("DF", {}).get(1), found.get("flange thickness", {}).get(1)
    count = len(lengths)
    if not 1 <= count <= MAX_PIECES or set(diameters) != set(lengths) or set(lengths) != set(range(1, count + 1)):
        raise RejectedError("the sections of the outline are not numbered from 1, each with diameter and length")
    if not set(angles) <= set(lengths):
        raise RejectedError("an angle of the outline belongs to no section")
    if length_mm is None:
        raise RejectedError("without the functional length it is not known whether the outline is whole")
    stated = [lengths[n][0] for n in range(1, count + 1)]
    thickness = flange[1][0] if flange[0] is not None and flange[1] is not None else 0.0
    try:
        which, sections = sections_of(stated, [length_mm - thickness], meaning, NEAR_MM)
    except OutlineError as error:
        raise RejectedError(f"{error}; the functional length is {shown_mm(length_mm)} mm") from None
    made = Sections([], [], [])
    if flange[0] is not None and flange[1] is not None:
        piece = {"length_mm": plain_number(thickness), "outer_mm": plain_number(flange[0][0])}
        made.sections.append((flange[0][1], piece))
    else:
        made.unused.extend(one for _, one in (part for part in flange if part is not None))
    for number in range(count, 0, -1):
        outer, one = diameters[number]
        angle = angles[number][0] if number in angles else 0.0
        if angle >= 90:
            raise RejectedError("an angle of the outline is not below 90 degrees")
        drawn = piece_of(sections[number - 1], outer, angle)
        if angle:
            ends = f"{shown_mm(drawn['outer_mm'])} to {shown_mm(outer)}"
            made.notes.append(f"section {number} of the outline is a cone, {ends} mm")
        made.sections.append((one, {name: plain_number(value) for name, value in drawn.items()}))
    if meaning is None and count > 1:
        made.notes.append(f"the lengths of the outline are {which}: only so they give {shown_mm(length_mm)} mm")
    return made

"""Ends stated by a designation of the standards or the trade, such as HSK-A63 or DIN 6535 HA 12."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache
from types import MappingProxyType
from typing import Any, Final, Literal, NamedTuple, TypeAlias

from pydantic import Field

from rules.couplings.straight_shank import shank_length, standards
from rules.quantities.models import Key, Model
from rules.quantities.tables import Confidence, Row, Texts, read_rows

__all__ = ["Designated", "EndName", "Understood", "plain", "understood"]

EndName: TypeAlias = Literal["machine_side", "workpiece_side", "spindle"]


class Designated(Model):
    """End stated by its designation; not decided where the designation is not known."""

    coupling: Literal["designated"]
    designation: Key = Field(
        description="Designation of a standard or of the trade.", examples=["HSK-A63", "DIN 6535 HA 12"]
    )


class Understood(NamedTuple):
    """What a designation was understood as."""

    fields: Mapping[str, Any]
    """Fields of the end, ``coupling`` among them."""
    words: str
    """For people."""
    left_open: str | None
    """What the designation does not say."""
    source: str
    confidence: Confidence


class _Designation(Row):
    pattern: str
    example: str
    ends: Texts
    becomes: Texts
    words: str
    left_open: str | None


_NOT_COUNTED: Final = re.compile(r"[\s\-–_Øø]+")
_NUMBERS: Final = frozenset({"diameter_mm", "nominal_mm", "pilot_diameter_mm", "length_mm"})


def plain(designation: str) -> str:
    """Return a designation as it is compared: without blanks, hyphens and diameter signs, with a decimal point."""
    return _NOT_COUNTED.sub("", designation).replace(",", ".")


@cache
def _rows() -> tuple[tuple[re.Pattern[str], _Designation], ...]:
    return tuple((re.compile(row.pattern), row) for row in read_rows("designations", _Designation))


def understood(designation: str, end: EndName) -> Understood | None:
    """Return what a designation means at an end of a component or at a spindle.

    Parameters
    ----------
    designation
        Text as written; blanks, hyphens and diameter signs do not count, a comma is a point.
    end
        End that it designates.

    Returns
    -------
    Understood or None
        None if no row of the table matches, or two that mean different things.

    Source: table ``designations``.

    >>> dict(understood("HSK-A 63", "spindle").fields)
    {'coupling': 'hollow_taper', 'form': 'A', 'size': '63'}
    >>> understood("SK40", "machine_side").left_open
    'form: usually ISO 7388-1 A, possibly DIN 2080'
    >>> understood("capsule 7", "machine_side") is None
    True
    """
    text = plain(designation)
    found: list[Understood] = []
    for pattern, row in _rows():
        match = pattern.fullmatch(text) if end in row.ends else None
        if match is not None:
            found.append(_understood(row, match.groupdict()))
    if not found or any(one.fields != found[0].fields for one in found):
        return None
    return found[0]


def _understood(row: _Designation, groups: Mapping[str, str | None]) -> Understood:
    values = {name: _written(name, value) for name, value in groups.items() if value is not None}
    if "form" in values:
        values["form_small"] = values["form"].lower()
    fields: dict[str, Any] = {}
    for one in row.becomes:
        name, _, value = one.partition("=")
        text = value.format(**values)
        fields[name] = float(text) if name in _NUMBERS else text
    standard = fields.pop("standard", None)
    if standard in standards() and (length := shank_length(standard, fields["diameter_mm"])) is not None:
        fields["length_mm"] = length
    return Understood(MappingProxyType(fields), row.words.format(**values), row.left_open, row.source, row.confidence)


def _written(name: str, value: str) -> str:
    return value.upper() if name == "form" else value

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

__all__ = ["Designated", "EndName", "Understood", "Usual", "designated_as", "plain", "understood", "usual"]

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
    written: str | None


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


def designated_as(fields: Mapping[str, Any], end: EndName) -> tuple[str, frozenset[str]] | None:
    """Return the standards' designation of an end, and the fields that it says.

    Parameters
    ----------
    fields
        Stated fields of the end, ``coupling`` among them.
    end
        End that is designated.

    Returns
    -------
    tuple or None
        The designation that says most of the fields and nothing else; :func:`understood` reads it. None if no
        standard designates such an end.

    >>> designated_as({"coupling": "hollow_taper", "form": "A", "size": "63"}, "machine_side")[0]
    'HSK-A63'
    >>> designated_as({"coupling": "hollow_taper", "size": "63"}, "machine_side") is None
    True
    """
    best: tuple[str, frozenset[str]] | None = None
    for _, row in _rows():
        text = _written_as(row, fields) if end in row.ends else None
        meaning = None if text is None else understood(text, end)
        if text is None or meaning is None or any(fields.get(name) != one for name, one in meaning.fields.items()):
            continue
        if best is None or len(meaning.fields) > len(best[1]):
            best = text, frozenset(meaning.fields)
    return best


class Usual(NamedTuple):
    """Designation that a form can offer."""

    designation: str
    ends: tuple[EndName, ...]
    understood: Understood


_GROUP: Final = re.compile(r"\(\?P<(form|size)>(.+?)\)(?!\|)")
_RANGES: Final = MappingProxyType({"[A-FT]": "A|B|C|D|E|F|T", "[0-6]": "0|1|2|3|4|5|6"})


@cache
def usual() -> tuple[Usual, ...]:
    """Return designations for a person to choose from: each row's example, in every size and form that it has.

    >>> [one.designation for one in usual()][:2]
    ['HSK-AB25', 'HSK-AB32']
    """
    found: dict[str, Usual] = {}
    seen: set[tuple[str, str]] = set()
    for pattern, row in _rows():
        example = pattern.fullmatch(plain(row.example))
        if example is None:
            continue
        groups = example.groupdict()
        choices = {name: [groups[name]] for name in ("form", "size") if groups.get(name)}
        for name, text in _GROUP.findall(row.pattern):
            for letters, spelt in _RANGES.items():
                text = text.replace(letters, spelt)
            choices[name] = re.findall(r"[0-9]+|[A-Z]+", text)
        for form in choices.get("form", [""]):
            for size in choices.get("size", [""]):
                text = _with(_with(row.example, groups.get("size"), size), groups.get("form"), form)
                meaning = understood(text, row.ends[0]) if pattern.fullmatch(plain(text)) else None
                # the same words in another order
                same = ("", "") if meaning is None else ("".join(sorted(plain(text))), meaning.words)
                if meaning is not None and same not in seen:
                    seen.add(same)
                    found.setdefault(text, Usual(text, tuple(row.ends), meaning))
    return tuple(found.values())


def _with(text: str, old: str | None, new: str) -> str:
    """Return the text with the last such word in it replaced."""
    before, middle, after = text.rpartition(old) if old else (text, "", "")
    return before + (new if middle else "") + after


_SLOT: Final = re.compile(r"\\\{([a-z_]+)\\\}")


@cache
def _inverse(template: str) -> re.Pattern[str]:
    """Return the pattern of the texts that a template gives, its slots as groups."""
    return re.compile(_SLOT.sub(r"(?P<\1>.+)", re.escape(template)))


def _written_as(row: _Designation, fields: Mapping[str, Any]) -> str | None:
    """Return the designation of a row with the values of the fields; None if they are not such an end."""
    if row.written is None:
        return None
    values: dict[str, str] = {}
    for one in row.becomes:
        name, _, template = one.partition("=")
        if name == "standard":
            continue
        match = _inverse(template).fullmatch(_as_text(fields.get(name)))
        if match is None:
            return None
        values |= match.groupdict()
    if "form_small" in values:
        values["form"] = values.pop("form_small").upper()
    return row.written.format(**values)


def _as_text(value: object) -> str:
    return f"{value:.15g}" if isinstance(value, float | int) else "" if value is None else str(value)


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

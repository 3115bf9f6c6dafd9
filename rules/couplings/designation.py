"""Designations of the standards or the trade: of ends such as HSK-A63, of threads such as M12x1.5, of tolerances."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache, lru_cache
from types import MappingProxyType
from typing import Annotated, Any, Final, Literal, NamedTuple, TypeAlias, get_args

from pydantic import Field

from rules.couplings.definition import Deviation
from rules.couplings.straight_shank import shank_length, standards
from rules.quantities.inch import INCH_MM
from rules.quantities.models import Key, Model
from rules.quantities.tables import Confidence, Row, Texts, read_rows

__all__ = [
    "Designated",
    "EndName",
    "Thread",
    "ThreadName",
    "Tolerance",
    "Understood",
    "Usual",
    "designated_as",
    "plain",
    "thread_of",
    "tolerance_of",
    "understood",
    "usual",
]

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
    ends: Annotated[tuple[EndName, ...], Field(strict=False)]
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
        ends: tuple[EndName, ...] = tuple(end for end in get_args(EndName) if end in row.ends)
        choices = {name: [groups[name]] for name in ("form", "size") if groups.get(name)}
        for name, text in _GROUP.findall(row.pattern):
            for letters, spelt in _RANGES.items():
                text = text.replace(letters, spelt)
            choices[name] = re.findall(r"[0-9]+|[A-Z]+", text)
        for form in choices.get("form", [""]):
            for size in choices.get("size", [""]):
                text = _with(_with(row.example, groups.get("size"), size), groups.get("form"), form)
                meaning = understood(text, ends[0]) if pattern.fullmatch(plain(text)) else None
                # the same words in another order
                same = ("", "") if meaning is None else ("".join(sorted(plain(text))), meaning.words)
                if meaning is not None and same not in seen:
                    seen.add(same)
                    found.setdefault(text, Usual(text, ends, meaning))
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


# --- threads -------------------------------------------------------------------------------------------------------


class Thread(NamedTuple):
    """What the designation of a thread was understood as."""

    name: str
    """As the standards write it, so that equal threads have equal names."""
    diameter_mm: float
    pitch_mm: float
    words: str
    left_open: str | None


class _Metric(Row):
    diameter_mm: float
    coarse_mm: float | None
    fine: Annotated[tuple[float, ...], Field(strict=False)]


class _Unified(Row):
    size: str
    diameter_in: float
    coarse_per_in: float | None
    fine_per_in: float | None


_HAND: Final = r"(?:[\s-]*(?P<hand>LH|RH))?"
_METRIC: Final = re.compile(
    r"M\s?(?P<diameter>[0-9]{1,3}(?:\.[0-9]{1,2})?)(?:\s?[x×*]\s?(?P<pitch>[0-9](?:\.[0-9]{1,2})?))?"
    r"(?:\s?-\s?(?P<fit>[3-9][EFGHefgh](?:[3-9][EFGHefgh])?))?" + _HAND,
    re.IGNORECASE,
)
_UNIFIED: Final = re.compile(
    r"#?(?P<size>[0-9]{1,2}|(?:[0-9][ -])?[0-9]{1,2}/[0-9]{1,2}|[0-9]?\.[0-9]{1,4})(?:\s?(?:in|\"))?"
    r"\s?-\s?(?P<per_inch>[0-9]{1,2}(?:\.[0-9])?)(?:\s?-?\s?(?P<series>UNC|UNF))?(?:\s?-\s?(?P<fit>[123][AB]))?"
    + _HAND,
    re.IGNORECASE,
)


@lru_cache(maxsize=1024)
def thread_of(designation: str) -> Thread | None:
    """Return what the designation of a thread means.

    Parameters
    ----------
    designation
        Metric or unified inch thread; letter case and single blanks do not count.

    Returns
    -------
    Thread or None
        None for a text of another form, and for a diameter or pitch that the tables do not have.

    Source: tables ``metric_threads`` and ``unified_threads``.

    >>> thread_of("M12x1.75").name, thread_of("m12 x 1.25").name, thread_of("1/2-13").name
    ('M12', 'M12x1.25', '1/2-13 UNC')
    >>> thread_of("M12x1.8") is None
    True
    """
    text = designation.strip().replace(",", ".")
    if (metric := _METRIC.fullmatch(text)) is not None:
        return _metric(metric)
    unified = _UNIFIED.fullmatch(text)
    return None if unified is None else _unified(unified)


def _metric(match: re.Match[str]) -> Thread | None:
    diameter = float(match["diameter"])
    row = next((one for one in read_rows("metric_threads", _Metric) if one.diameter_mm == diameter), None)
    if row is None:
        return None
    pitch = row.coarse_mm if match["pitch"] is None else float(match["pitch"])
    if pitch is None or pitch not in (row.coarse_mm, *row.fine):
        return None
    coarse = pitch == row.coarse_mm
    name = f"M{diameter:g}" if coarse else f"M{diameter:g}x{pitch:g}"
    words = f"metric thread ISO 261, {diameter:g} mm, {'coarse' if coarse else 'fine'} pitch {pitch:g} mm"
    return _thread(match, name, diameter, pitch, words)


def _unified(match: re.Match[str]) -> Thread | None:
    size, per_inch = match["size"].replace("-", " "), float(match["per_inch"])
    series = (match["series"] or "").upper()
    for row in read_rows("unified_threads", _Unified):
        named = float(size) == row.diameter_in if "." in size else size == row.size
        for name, pitches in (("UNC", row.coarse_per_in), ("UNF", row.fine_per_in)):
            if named and per_inch == pitches and series in ("", name):
                written = f"{row.size}-{per_inch:g} {name}"
                words = f"unified thread ASME B1.1, {row.diameter_in:g} in, {per_inch:g} threads per inch, {name}"
                return _thread(match, written, row.diameter_in * INCH_MM, INCH_MM / per_inch, words)
    return None


def _thread(match: re.Match[str], name: str, diameter_mm: float, pitch_mm: float, words: str) -> Thread:
    if (match["hand"] or "").upper() == "LH":
        name, words = f"{name}-LH", f"{words}, left-hand"
    left_open = None if match["fit"] is None else f"tolerance {match['fit']}, which is not compared"
    return Thread(name, diameter_mm, pitch_mm, words, left_open)


ThreadName: TypeAlias = Annotated[
    Key,
    Field(examples=["M16", "M12x1.25", "1/2-13 UNC"]),
]


# --- tolerances ----------------------------------------------------------------------------------------------------


class Tolerance(NamedTuple):
    """What a tolerance in words was understood as: a class of ISO 286, or limit deviations."""

    tolerance: str | None
    deviation: Deviation | None
    diameter_mm: float | None
    """Nominal diameter that the text has, too."""
    words: str


_CLASS: Final = re.compile(
    r"(?:[DdØø⌀]?\s?(?P<diameter>[0-9]{1,4}(?:\.[0-9]{1,4})?)\s?(?:mm)?)?\s?(?P<letter>[a-z]{1,2}|[A-Z]{1,2})\s?(?P<grade>[1-9][0-9]?)"
)
_SIGNED: Final = r"[+-]?\s?[0-9]{0,2}(?:\.[0-9]{1,5})?"
_EVEN: Final = re.compile(r"(?:±|\+/-|\+-)\s?(?P<even>[0-9]{0,2}(?:\.[0-9]{1,5})?)\s?(?P<unit>mm|[uµμ]m|in)?")
_LIMITS: Final = re.compile(rf"(?P<one>{_SIGNED})\s?/\s?(?P<other>{_SIGNED})\s?(?P<unit>mm|[uµμ]m|in)?")
_MOST_UM: Final = 10_000.0


@lru_cache(maxsize=1024)
def tolerance_of(text: str) -> Tolerance | None:
    """Return what the tolerance of a diameter means: its class, or its deviations in mm unless a unit is given.

    Parameters
    ----------
    text
        Class with or without the diameter, or deviations such as ``+0/-0.009`` and ``±0.005``.

    Returns
    -------
    Tolerance or None
        None for a text of another form.

    >>> tolerance_of("12 h6").tolerance, tolerance_of("12 h6").diameter_mm
    ('h6', 12.0)
    >>> tolerance_of("0/-0.009").deviation
    Deviation(lower_um=-9.0, upper_um=0.0)
    >>> tolerance_of("snug") is None
    True
    """
    plainly = text.strip().replace(",", ".").replace("−", "-")
    if (named := _CLASS.fullmatch(plainly)) is not None:
        found = f"{named['letter']}{named['grade']}"
        diameter = None if named["diameter"] is None else float(named["diameter"])
        words = f"tolerance class {found} of ISO 286"
        return Tolerance(found, None, diameter, words if diameter is None else f"{diameter:g} mm, {words}")
    match = _EVEN.fullmatch(plainly) or _LIMITS.fullmatch(plainly)
    if match is None:
        return None
    values = match.groupdict()
    texts = (values["one"], values["other"]) if "one" in values else (f"-{values['even']}", values["even"])
    ends = [_signed(one) for one in texts]
    factor = {"in": INCH_MM * 1000.0, "mm": 1000.0, None: 1000.0}.get(values["unit"], 1.0)
    if None in ends:
        return None
    lower, upper = sorted(float(f"{one * factor:.12g}") for one in ends if one is not None)
    if max(-lower, upper) > _MOST_UM:
        return None
    return Tolerance(None, Deviation(lower_um=lower, upper_um=upper), None, f"deviations {lower:g} and {upper:+g} µm")


def _signed(text: str) -> float | None:
    try:
        return float(text.replace(" ", "")) + 0.0
    except ValueError:
        return None

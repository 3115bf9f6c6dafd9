"""Standard parts by number and size: what the number fixes, with its source; everything else stays open.

Keys are safe in a path and read from the standard to the size: ``iso15488:32:12``, ``din6535:HA12:83``.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from functools import lru_cache
from types import MappingProxyType
from typing import Any, Final, NamedTuple

from pydantic import TypeAdapter, ValidationError

from rules.couplings import collets
from rules.couplings.designation import EndName, understood
from rules.couplings.straight_shank import diameters, shank_length
from rules.quantities.tables import Confidence, Row, read_rows
from rules.schema.components import StackPart

__all__ = ["FAMILIES", "Family", "StandardPart", "StatedValue", "standard_part", "standard_parts"]


class StatedValue(NamedTuple):
    """Value that a standard fixes."""

    field: str
    """Field of the component, with points."""
    quantity: str
    value: float | str
    unit: str | None
    """UCUM code; None for a text."""
    source: str
    confidence: Confidence


class StandardPart(NamedTuple):
    """Component that a key names."""

    key: str
    title: str
    component: StackPart
    stated: tuple[StatedValue, ...]


class Family(NamedTuple):
    """Parts of one standard."""

    name: str
    """First words of the keys."""
    form: str
    """Form of a key, with its variable parts in braces."""
    kind: str
    title: str
    standard: str
    examples: tuple[str, ...]
    make: Callable[[tuple[str, ...]], tuple[str, Mapping[str, Any], tuple[StatedValue, ...]] | None]


_PART: Final[TypeAdapter[StackPart]] = TypeAdapter(StackPart)

_NUMBER: Final = re.compile(r"[0-9]{1,4}(?:\.[0-9]{1,3})?")


def _number(text: str) -> float | None:
    return float(text) if _NUMBER.fullmatch(text) else None


class _PinClass(Row):
    pin_class: str
    deviation_um: float
    roundness_um: float


class _Rod(Row):
    over_mm: float
    up_to_mm: float
    length_over_mm: float
    length_up_to_mm: float
    concentricity_um: float


def _collet(steps: tuple[str, ...]) -> tuple[str, Mapping[str, Any], tuple[StatedValue, ...]] | None:
    """Return an 8° collet of ISO 15488: size, nominal bore and, for class 1, the class."""
    if len(steps) not in (2, 3) or steps[0] not in collets.sizes() or steps[2:] not in ((), ("1",), ("2",)):
        return None
    size, bore = steps[0], _number(steps[1])
    capacity = collets.capacity(size)
    if bore is None or not capacity.min_mm <= bore <= capacity.max_mm:
        return None
    grade = 1 if steps[2:] == ("1",) else 2
    fields: dict[str, Any] = {
        "kind": "collet",
        "id": "collet",
        "description": f"8° collet size {size}, bore {bore:g} mm, class {grade}",
        "machine_side": {"coupling": "nut_collet", "size": size},
        "workpiece_side": {"coupling": "collet_bore", "nominal_mm": bore},
    }
    stated = []
    limit = collets.runout_limit(bore, grade)
    if limit is not None and limit.tir_um is not None:
        fields["runout"] = {
            "law": "limit",
            "statements": [{"tir_um": limit.tir_um, "at_mm": limit.gauge_length_mm}],
        }
        source = f"ISO 15488:2003, Table 4, class {grade}"
        stated.append(StatedValue("runout", "runout_tir", limit.tir_um, "um", source, "standard"))
    return f"8° collet ISO 15488, size {size}, bore {bore:g} mm, class {grade}", fields, tuple(stated)


_SEATS: Final[Mapping[str, str]] = MappingProxyType(
    {"shrink": "shrink-fit", "hydraulic": "hydraulic", "sidelock": "side-lock", "chuck": "milling chuck"}
)


def _end(text: str, end: EndName) -> tuple[dict[str, Any], str] | None:
    """Return the fields and the words of an end in a key, such as ``HSK-A63`` or ``shrink-12``."""
    first, _, rest = text.partition("-")
    found = understood(f"{_SEATS.get(first, first)}-{rest}" if rest else text, end)
    return None if found is None else (dict(found.fields), found.words)


def _holder(steps: tuple[str, ...]) -> tuple[str, Mapping[str, Any], tuple[StatedValue, ...]] | None:
    """Return a spindle holder of no maker: taper, seat and gauge length."""
    if len(steps) != 3:
        return None
    taper, seat, length = _end(steps[0], "machine_side"), _end(steps[1], "workpiece_side"), _number(steps[2])
    if taper is None or seat is None or not length:
        return None
    title = f"holder, {taper[1]}; {seat[1]}; gauge length {length:g} mm"
    fields = {
        "kind": "base_holder",
        "id": "holder",
        "description": title,
        "machine_side": taper[0],
        "workpiece_side": seat[0],
        "gauge_length_mm": length,
    }
    return title, fields, ()


def _extension(steps: tuple[str, ...]) -> tuple[str, Mapping[str, Any], tuple[StatedValue, ...]] | None:
    """Return an extension of no maker: shank, seat and overall length."""
    if len(steps) != 3:
        return None
    shank, seat, length = _end(steps[0], "machine_side"), _end(steps[1], "workpiece_side"), _number(steps[2])
    if shank is None or seat is None or not length:
        return None
    title = f"extension, {shank[1]}; {seat[1]}; overall length {length:g} mm"
    fields = {
        "kind": "extension",
        "id": "extension",
        "description": title,
        "machine_side": shank[0],
        "workpiece_side": seat[0],
        "overall_length_mm": length,
    }
    return title, fields, ()


_SHANK: Final = re.compile(r"(HA|HB|HE)([0-9]{1,2}(?:\.[0-9]{1,3})?)")


def _blank(steps: tuple[str, ...]) -> tuple[str, Mapping[str, Any], tuple[StatedValue, ...]] | None:
    """Return a cutting tool of carbide by its shank and overall length; the edges are laid over it."""
    found = _SHANK.fullmatch(steps[0]) if len(steps) == 2 else None
    length = _number(steps[1]) if found is not None else None
    if found is None or not length:
        return None
    letter, diameter = found[1], float(found[2])
    side = understood(f"DIN 6535 {letter} {found[2]}", "machine_side")
    shank = shank_length("din_6535", diameter)
    if side is None or shank is None:
        return None
    fields = {
        "kind": "cutter",
        "id": "tool",
        "description": f"carbide tool, shank DIN 6535 {letter} {diameter:g} h6, {length:g} mm long",
        "machine_side": dict(side.fields),
        "overall_length_mm": length,
        "material": "cemented_carbide",
    }
    stated = (
        StatedValue("machine_side.length_mm", "shank_length", shank, "mm", "DIN 6535:1992, +2/0 mm", "standard"),
        StatedValue("machine_side.tolerance", "shank_tolerance", "h6", None, "DIN 6535:1992", "standard"),
        StatedValue("material", "material", "cemented_carbide", None, "DIN 6535:1992, scope", "standard"),
    )
    return f"carbide tool, {side.words}, {length:g} mm long", fields, stated


def _pin(steps: tuple[str, ...]) -> tuple[str, Mapping[str, Any], tuple[StatedValue, ...]] | None:
    """Return a gauge pin of DIN 2269: diameter, class and length."""
    if len(steps) != 3:
        return None
    diameter, length = _number(steps[0]), _number(steps[2])
    row = next((row for row in read_rows("gauge_pin_classes", _PinClass) if row.pin_class == steps[1]), None)
    if row is None or diameter is None or not 0.1 <= diameter <= 20 or not length:
        return None
    deviation = {"lower_um": -row.deviation_um, "upper_um": row.deviation_um}
    title = f"gauge pin DIN 2269, {diameter:g} mm, class {row.pin_class}, {length:g} mm long"
    fields = {
        "kind": "gauge_pin",
        "id": "pin",
        "description": title,
        "machine_side": {
            "coupling": "cylindrical",
            "diameter_mm": diameter,
            "form": "plain",
            "deviation": deviation,
            "length_mm": length,
        },
        "overall_length_mm": length,
        "roundness_um": row.roundness_um,
    }
    stated = (
        StatedValue("machine_side.deviation", "deviation", row.deviation_um, "um", row.source, row.confidence),
        StatedValue("roundness_um", "roundness", row.roundness_um, "um", "DIN 2269:1998, by class", "from memory"),
    )
    return title, fields, stated


_ROD: Final = re.compile(r"([0-9]{1,2}(?:\.[0-9]{1,3})?)(h6)")


def _rod(steps: tuple[str, ...]) -> tuple[str, Mapping[str, Any], tuple[StatedValue, ...]] | None:
    """Return a ground rod: material, diameter with tolerance, length."""
    found = _ROD.fullmatch(steps[1]) if len(steps) == 3 and steps[0] == "carbide" else None
    length = _number(steps[2]) if found is not None else None
    if found is None or not length:
        return None
    diameter = float(found[1])
    title = f"ground carbide rod, {diameter:g} h6, {length:g} mm long"
    fields: dict[str, Any] = {
        "kind": "gauge_pin",
        "id": "rod",
        "description": title,
        "machine_side": {
            "coupling": "cylindrical",
            "diameter_mm": diameter,
            "form": "plain",
            "tolerance": "h6",
            "length_mm": length,
        },
        "overall_length_mm": length,
        "material": "cemented_carbide",
    }
    stated = []
    for row in read_rows("ground_rods", _Rod):
        if row.over_mm < diameter <= row.up_to_mm and row.length_over_mm < length <= row.length_up_to_mm:
            # the reading of a rod that turns between supports is twice its bow at the most
            fields |= {"straightness_um": row.concentricity_um, "roundness_um": 2.5}
            stated = [
                StatedValue("straightness_um", "straightness", row.concentricity_um, "um", row.source, row.confidence),
                StatedValue("roundness_um", "roundness", 2.5, "um", row.source, row.confidence),
            ]
    return title, fields, tuple(stated)


FAMILIES: Final = (
    Family(
        "iso15488",
        "iso15488:{size}:{bore}[:1]",
        "collet",
        "8° collet; class 2 unless class 1 is named",
        "ISO 15488:2003",
        ("iso15488:16:6", "iso15488:32:12", "iso15488:32:12:1"),
        _collet,
    ),
    Family(
        "din6535",
        "din6535:{form}{diameter}:{overall length}",
        "cutter",
        "carbide tool by its shank",
        "DIN 6535:1992",
        ("din6535:HA6:57", "din6535:HA12:83", "din6535:HB16:92"),
        _blank,
    ),
    Family(
        "din2269",
        "din2269:{diameter}:{class}:{length}",
        "gauge_pin",
        "gauge pin",
        "DIN 2269:1998",
        ("din2269:6:1:50", "din2269:12:1:60"),
        _pin,
    ),
    Family(
        "generic:holder",
        "generic:holder:{taper}:{seat}:{gauge length}",
        "base_holder",
        "spindle holder of no maker",
        "none",
        (
            "generic:holder:HSK-A63:iso15488-32:100",
            "generic:holder:BT40:iso15488-32:70",
            "generic:holder:HSK-A63:shrink-12:120",
            "generic:holder:HSK-A63:hydraulic-20:90",
            "generic:holder:ISO7388-1-AD40:sidelock-16:63",
            "generic:holder:ISO7388-1-AD50:arbor-40:60",
        ),
        _holder,
    ),
    Family(
        "generic:extension",
        "generic:extension:{shank}:{seat}:{overall length}",
        "extension",
        "extension of no maker",
        "none",
        ("generic:extension:20h6:shrink-8:130", "generic:extension:20h6:iso15488-16:130"),
        _extension,
    ),
    Family(
        "generic:rod",
        "generic:rod:carbide:{diameter}h6:{length}",
        "gauge_pin",
        "ground rod",
        "none",
        ("generic:rod:carbide:12h6:100",),
        _rod,
    ),
)
"""Families of standard parts, by the first words of their keys."""

_MAX_KEY: Final = 128


@lru_cache(maxsize=4096)
def standard_part(key: str) -> StandardPart | None:
    """Return the component that a key names, with the values that its standard fixes.

    Parameters
    ----------
    key
        Number and sizes, such as ``iso15488:32:12``.

    Returns
    -------
    StandardPart or None
        None if there is no such part.

    Source: tables of the couplings, ``gauge_pin_classes`` and ``ground_rods``.

    >>> part = standard_part("iso15488:32:12")
    >>> part.component.runout.statements[0].tir_um, part.stated[0].source
    (20.0, 'ISO 15488:2003, Table 4, class 2')
    >>> standard_part("iso15488:32:40") is None
    True
    """
    if len(key) > _MAX_KEY:
        return None
    for family in FAMILIES:
        name = f"{family.name}:"
        made = family.make(tuple(key.removeprefix(name).split(":"))) if key.startswith(name) else None
        if made is not None:
            title, fields, stated = made
            try:
                return StandardPart(key, title, _PART.validate_python(fields), stated)
            except ValidationError:  # a length or diameter beyond what any part may have
                return None
    return None


def standard_parts() -> Iterator[StandardPart]:
    """Yield the parts that have no free dimension, then one of each size or the examples of the other families."""
    for size in collets.sizes():
        capacity = collets.capacity(size)
        first, last = max(1, int(capacity.min_mm)), int(capacity.max_mm)
        yield from filter(None, (standard_part(f"iso15488:{size}:{bore}") for bore in range(first, last + 1)))
    lengths = {6: 57, 8: 63, 10: 72, 12: 83, 14: 83, 16: 92, 18: 92, 20: 104}
    for letter in ("HA", "HB", "HE"):
        for diameter in diameters("din_6535"):
            length = lengths.get(int(diameter), 0)
            if length:
                yield from filter(None, (standard_part(f"din6535:{letter}{diameter:g}:{length}"),))
    for family in FAMILIES:
        if family.name not in ("iso15488", "din6535"):
            yield from filter(None, map(standard_part, family.examples))

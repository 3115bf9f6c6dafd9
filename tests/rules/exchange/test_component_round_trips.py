"""Any component of the contract can be written to a format and read back equal in what the format carries."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping
from decimal import Decimal
from fractions import Fraction
from functools import cache
from typing import Any, Final, cast

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from pydantic import BaseModel

from rules.couplings.designation import understood
from rules.exchange.cells import is_missing
from rules.exchange.component_csv import read_component_csv
from rules.exchange.component_csv_export import write_component_csv
from rules.exchange.fields import MODELS
from rules.exchange.imported import ImportOptions
from rules.exchange.tool_asset_export import export_archetypes
from rules.exchange.tool_asset_import import read_cutting_tools
from rules.schema.components import BaseHolder, Cutter, RetentionKnob, StackPart
from rules.schema.imports import ComponentKind, Standard

_TEXT = st.text(
    st.characters(codec="utf-8", exclude_categories=("Cc", "Cs", "Zl", "Zp")), min_size=1, max_size=40
).filter(lambda text: text.strip().casefold() not in ("", "-", "n/a"))  # a cell with these states nothing


def _values(schema: Mapping[str, Any], root: Mapping[str, Any]) -> st.SearchStrategy[Any]:
    """Values a schema allows but labels; lists are not empty, since a table cannot tell an empty one from none."""
    if "$ref" in schema:
        return _values(root["$defs"][schema["$ref"].rsplit("/", 1)[1]], root)
    if "const" in schema:
        return st.just(schema["const"])
    if "enum" in schema:
        return st.sampled_from(schema["enum"])
    choices = [one for one in (*schema.get("anyOf", ()), *schema.get("oneOf", ())) if one.get("type") != "null"]
    if choices:
        return st.one_of([_values(one, root) for one in choices])
    if schema["type"] == "object":
        needed = set(schema.get("required", ()))
        members = {name: _values(one, root) for name, one in schema["properties"].items() if name != "labels"}
        return st.fixed_dictionaries(
            {name: one for name, one in members.items() if name in needed},
            optional={name: one for name, one in members.items() if name not in needed},
        )
    if schema["type"] == "array":
        return st.lists(_values(schema["items"], root), min_size=1, max_size=min(3, schema["maxItems"]))
    if schema["type"] == "string":
        if "maxLength" in schema and schema["maxLength"] == 200:
            return _TEXT
        return st.from_regex(schema["pattern"], fullmatch=True)
    if schema["type"] == "boolean":
        return st.booleans()
    if schema["type"] == "integer":
        return st.integers(schema["minimum"], schema["maximum"])
    high = schema.get("maximum", schema.get("exclusiveMaximum"))
    return st.floats(schema["minimum"], high, exclude_max="exclusiveMaximum" in schema)


@cache
def _components(kind: str) -> st.SearchStrategy[Any]:
    """Components of a kind, made once, since the schema takes longer than an example."""
    schema = MODELS[kind].model_json_schema()
    return _values(schema, schema)


def _flat(value: Any, way: str = "") -> Iterator[tuple[str, Any]]:
    pairs = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else None
    if pairs is None:
        yield way, value
        return
    for step, member in pairs:
        yield from _flat(member, f"{way}.{step}" if way else str(step))


def _written(component: Mapping[str, Any], separator: str) -> bytes:
    cells = dict(_flat(component))
    text = io.StringIO()
    writer = csv.writer(text, delimiter=separator)
    writer.writerow(cells)
    writer.writerow([str(one).lower() if isinstance(one, bool) else one for one in cells.values()])
    return text.getvalue().encode()


@pytest.mark.parametrize("kind", MODELS)
@settings(max_examples=60, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(data=st.data(), separator=st.sampled_from(",;\t"))
def test_a_component_is_read_back_equal(kind: str, data: st.DataObject, separator: str) -> None:
    """First principles: every field has a head, and nothing is lost between text and number."""
    model = MODELS[kind]
    component = model.model_validate(data.draw(_components(kind)))
    assume(_can_be_told(component))
    imported = read_component_csv(_written(component.model_dump(mode="json", exclude_none=True), separator))
    assert imported.faults == ()
    assert [part.component for part in imported.parts] == [component]
    assert imported.parts[0].unmapped == ()


def _can_be_told(component: BaseModel) -> bool:
    """Whether no cell would state nothing: a dash, which may be the name of a thread, does."""
    cells = dict(_flat(component.model_dump(mode="json"))).values()
    return not any(isinstance(cell, str) and is_missing(cell) for cell in cells)


def _component(kind: str, data: st.DataObject) -> StackPart:
    return cast("StackPart", MODELS[kind].model_validate(data.draw(_components(kind))))


@pytest.mark.parametrize("kind", MODELS)
@settings(max_examples=20, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(data=st.data())
def test_an_export_to_csv_is_read_back_equal(kind: str, data: st.DataObject) -> None:
    """Symbols or paths, one row or several: nothing is lost but labels, and the same table is written again."""
    written = {part.id: part for part in (_component(kind, data), _component("collet", data))}
    assume(all(map(_can_be_told, written.values())))
    table = write_component_csv(list(written.values()))
    imported = read_component_csv(table)
    assert imported.faults == ()
    read = [part.component for part in imported.parts]
    assert read == list(written.values())
    assert write_component_csv(read) == table


@pytest.mark.parametrize("kind", MODELS)
@settings(max_examples=20, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(data=st.data(), standard=st.sampled_from(["1.4", "2.4"]))
def test_an_export_to_mtconnect_is_read_back_equal(kind: str, data: st.DataObject, standard: Standard) -> None:
    """What is read is what was stated, what the format has a place for is read, and a second round changes nothing."""
    component = _component(kind, data)
    document = export_archetypes([component], standard=standard)
    imported = read_cutting_tools(document, ImportOptions(kind=cast("ComponentKind", kind)))
    (part,) = imported.parts
    assert imported.faults == ()
    read = dict(_flat(part.component.model_dump(exclude_none=True)))
    stated = dict(_flat(component.model_dump(exclude_none=True)))
    read.pop("kind")
    if standard == "1.4":
        stated.setdefault("part_number", stated["id"])
    designation = stated.get("machine_side.designation")
    if stated.get("machine_side.coupling") == "designated":
        meaning = understood(designation, "machine_side")
        stated |= {f"machine_side.{name}": one for name, one in ({} if meaning is None else meaning.fields).items()}
    spaced = {"description"}  # blanks between words are those of the document's lines
    for path, value in read.items():
        if path in spaced:
            assert " ".join(str(value).split()) == " ".join(str(stated[path]).split())
        else:
            assert value == stated[path]
    for path in ("id", "part_number", "mass_kg", "max_speed_rpm", "cutting_diameter_mm", "overall_length_mm"):
        assert read.get(path) == stated.get(path)
    (again,) = read_cutting_tools(
        export_archetypes([part.component], standard=standard), ImportOptions(kind=cast("ComponentKind", kind))
    ).parts
    assert again.component == part.component


@pytest.mark.parametrize(
    ("side", "code"),
    [
        ({"coupling": "hollow_taper", "size": "63", "form": "A"}, "HSK-A63"),
        ({"coupling": "steep_taper", "size": "40", "form": "iso_7388_1_ad"}, "ISO 7388-1 AD 40"),
        ({"coupling": "cylindrical", "diameter_mm": 12, "tolerance": "h6", "form": "plain", "length_mm": 45}, None),
        ({"coupling": "designated", "designation": "KB-x 12"}, "KB-x 12"),
    ],
)
@pytest.mark.parametrize("form", ["csv", "mtconnect"])
def test_an_end_comes_back_from_its_designation(form: str, side: dict[str, Any], code: str | None) -> None:
    """The document says what the standard calls it, and no word of this contract."""
    part = BaseHolder.model_validate({"kind": "base_holder", "id": "H", "machine_side": side}) if code else None
    part = part or Cutter.model_validate({"kind": "cutter", "id": "H", "cutting_diameter_mm": 12, "machine_side": side})
    document = write_component_csv([part]) if form == "csv" else export_archetypes([part])
    read = (
        read_component_csv(document)
        if form == "csv"
        else read_cutting_tools(document, ImportOptions(kind="base_holder"))
    )
    assert [one.component.machine_side for one in read.parts if not isinstance(one.component, RetentionKnob)] == [
        part.machine_side
    ]
    assert (code or "DIN 6535 HA 12").encode() in document


_UNITS: Final = {
    "mm": {"mm": "1", "cm": "10", "m": "1000", "um": "0.001", "µm": "0.001", "in": "25.4", "inch": "25.4"},
    "kg": {"kg": "1", "g": "0.001", "lb": "0.45359237"},
    "rpm": {"rpm": "1", "1/min": "1", "min-1": "1"},
    "deg": {"deg": "1", "°": "1"},
}
"""Millimetres, kilograms, revolutions a minute and degrees in one unit, written out here once more."""

_HEADS: Final = {
    "machine_side.diameter_mm": (("DMM", "dmm", "Shank diameter", "ShankDiameter", " DMM "), "mm"),
    "overall_length_mm": (("OAL", "overall  length", "OverallToolLength", "Overall_Length_mm"), "mm"),
    "cutting_diameter_mm": (("DC", "DCX", "cutting diameter", "Cutting_Diameter_MM"), "mm"),
    "flute_length_mm": (("LCF", "lcf", "Flute length"), "mm"),
    "mass_kg": (("WT", "Mass", "WEIGHT"), "kg"),
    "max_speed_rpm": (("RPMX", "maximum speed"), "rpm"),
    "helix_angle_deg": (("FHA", "Helix Angle"), "deg"),
}


@st.composite
def _tables(draw: st.DrawFn) -> tuple[str, str, list[dict[str, Fraction]]]:
    """A table with heads, units and signs of any shop, its decimal sign, and the exact values in metric units."""
    comma = draw(st.booleans())
    separator = draw(st.sampled_from(";\t" if comma else ",;\t"))
    fields = draw(st.lists(st.sampled_from(sorted(_HEADS)), unique=True, min_size=1))
    heads, units = ["ID", "kind"], []
    for field in fields:
        names, unit = _HEADS[field]
        stated = draw(st.sampled_from([None, *_UNITS[unit]]))
        bracket = draw(st.sampled_from(("{} [{}]", "{}({})", "{}  [ {} ]")))
        name = draw(st.sampled_from(names))
        heads.append(name if stated is None else bracket.format(name, stated))
        units.append((unit, stated))
    lines, values = [heads], []
    for number in range(draw(st.integers(1, 4))):
        cells, exact = [f"KB-{number}", draw(st.sampled_from(("cutter", " cutter ")))], {}
        for field, (unit, in_head) in zip(fields, units, strict=True):
            own = None if in_head is not None else draw(st.sampled_from([None, *_UNITS[unit]]))
            digits = Decimal(draw(st.integers(1, 89))).scaleb(draw(st.integers(-2, 0)))
            written = f"{digits:f}".replace(".", "," if comma else ".")
            cells.append(draw(st.sampled_from(("{}", " {} "))).format(written if own is None else f"{written} {own}"))
            factor = _UNITS[unit][own or in_head or unit]
            exact[field] = Fraction(digits) * Fraction(factor)
        lines.append(cells)
        values.append(exact)
    text = io.StringIO()
    csv.writer(text, delimiter=separator, quoting=draw(st.sampled_from((csv.QUOTE_MINIMAL, csv.QUOTE_ALL)))).writerows(
        lines
    )
    return text.getvalue(), "comma" if comma else "point", values


@settings(max_examples=150, suppress_health_check=[HealthCheck.too_slow])
@given(table=_tables())
def test_values_are_read_back_whatever_their_heads_and_units(table: tuple[str, str, list[dict[str, Fraction]]]) -> None:
    """First principles: the exact value in the field's unit, rounded once; beyond its bounds the cell is rejected."""
    text, decimals, values = table
    imported = read_component_csv(text.encode(), ImportOptions(decimals=cast(Any, decimals)))
    assert (imported.faults, imported.unmapped) == ((), ())
    assert [part.component.id for part in imported.parts] == [f"KB-{number}" for number in range(len(values))]
    for part, exact in zip(imported.parts, values, strict=True):
        flat = dict(_flat(part.component.model_dump(exclude_none=True)))
        assert part.unmapped == ()
        assert len(flat.keys() & exact.keys()) + len(part.rejected) == len(exact)
        assert all(flat[field] == float(exact[field]) for field in flat.keys() & exact.keys())
        assert all("or more" in one.reason or "or less" in one.reason for one in part.rejected)

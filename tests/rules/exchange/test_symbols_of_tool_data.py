"""Every row of the table of symbols has a field or a reason for having none."""

from __future__ import annotations

from typing import cast, get_args

import pytest

from rules.exchange.documents import format_of, read_document
from rules.exchange.fields import MODELS, is_field
from rules.exchange.imported import ImportedPart, ImportOptions
from rules.exchange.symbols import body_materials, elements, symbols
from rules.exchange.tool_data_values import codes
from rules.schema.components import Material, StackPart
from rules.schema.imports import ComponentKind
from tests.support.exchange_files import ToolFile


@pytest.mark.parametrize("name", symbols())
def test_a_symbol_leads_to_fields_of_the_contract_or_says_why_not(name: str) -> None:
    """A misspelt path would lose its values without a word."""
    symbol = symbols()[name]
    fields = symbol.fields or {}
    assert all(is_field(path) for path in fields.values())
    assert set(fields) <= {"any", *MODELS}
    missing = [kind for kind in MODELS if symbol.field_of(kind) is None]
    assert not missing or symbol.reason
    assert symbol.yields_to is None or symbol.yields_to in symbols()


def test_every_kind_of_component_is_known() -> None:
    """A kind that the contract gains must be thought of here, too."""
    union = get_args(get_args(StackPart)[0])
    assert set(MODELS.values()) == set(union)


def test_elements_are_found_by_name() -> None:
    """The element's name is what counts, and no two symbols share one."""
    named = [one.element for one in symbols().values() if one.element]
    assert len(named) == len(set(named)) == len(elements())
    assert elements()["ShankDiameter"].symbol == "DMM"


def test_body_materials_are_materials_of_the_contract() -> None:
    """Only codes that stand for one of the contract's materials are mapped."""
    assert set(body_materials().values()) <= set(get_args(Material))


@pytest.mark.parametrize(
    ("symbol", "kind", "field"),
    [
        ("WT", "retention_knob", "mass_kg"),
        ("DMM", "retention_knob", None),
        ("LSCN", "cutter", "machine_side.minimum_grip_mm"),
        ("LSCN", "collet", "workpiece_side.minimum_grip_mm"),
        ("DCB", "collet", "workpiece_side.nominal_mm"),
        ("DCB", "cutter", "machine_side.pilot_diameter_mm"),
        ("OAL", "base_holder", None),
        ("LPR", "base_holder", None),
        ("LF", "base_holder", "gauge_length_mm"),
        ("APMX", "cutter", None),
        ("LCF", "cutter", "flute_length_mm"),
        ("TQ", "base_holder", None),
        ("CRKS", "retention_knob", "thread"),
    ],
)
def test_the_field_depends_on_the_kind(symbol: str, kind: str, field: str | None) -> None:
    """One symbol means different ends of different pieces, or nothing at all."""
    assert symbols()[symbol].field_of(kind) == field


_VALUES = {"mm": "12", "degree": "140", "1/min": "8000", "kg": "1.5", "1": "4", "text": "M16", "code": ""}
_UNITS = {"mm": "mm", "degree": "deg", "1/min": "1/min", "kg": "kg", "1": None}
_BY_CODE = {row.symbol: row for row in codes().values()}
_IN_GROUPS = ("CZC", "DCON", "DCB", "DCBN", "DCBX", "LSCN")


def _kind_of(symbol: str) -> str:
    """Return a kind of component that has a field for it."""
    return next(
        kind for kind in ("cutter", "collet", "base_holder", "retention_knob") if symbols()[symbol].field_of(kind)
    )


def _carriers(symbol: str) -> list[str]:
    row, coded = symbols()[symbol], _BY_CODE.get(symbol)
    found = ["csv"]
    found += ["mtconnect"] if row.element is not None else []
    found += ["p21"] if coded is not None else []
    return found


def _beside(symbol: str) -> dict[str, str]:
    """Return what a value needs beside it: an end with a gauge line, or a straight shank."""
    if symbol == "LF":
        return {"CCMS": "HSK-A63"}
    return {"DMM": "20"} if symbol == "LS" else {}


def _imported(form: str, symbol: str, text: str) -> ImportedPart:
    kind = _kind_of(symbol)
    stated = {**_beside(symbol), symbol: text}
    if form == "csv":
        data = f"KIND,ID,{','.join(stated)}\n{kind},KB-1,{','.join(stated.values())}\n".encode()
    elif form == "mtconnect":
        cycle, measured = "", ""
        for name, value in stated.items():
            tag = symbols()[name].element
            if name == "CCMS":
                cycle += f"<{tag}>{value}</{tag}>"
            elif name == "RPMX":
                cycle += f"<{tag} maximum='{value}'/>"
            else:
                measured += f"<{tag}>{float(value) * 1000 if name == 'WT' else value}</{tag}>"
        asset = (
            f"<CuttingToolArchetype assetId='KB-1'><CuttingToolLifeCycle>{cycle}<Measurements>{measured}</Measurements>"
            "</CuttingToolLifeCycle></CuttingToolArchetype>"
        )
        data = asset.encode()
    else:
        file = ToolFile()
        item = file.item("KB-1", "tool item" if kind == "cutter" else "adaptive item")
        for name, value in stated.items():
            unit = symbols()[name].unit
            file.value(item, _BY_CODE[name].code, value, _UNITS.get(unit), text=unit in ("text", "code"))
        data = file.content()
    options = ImportOptions(kind=cast("ComponentKind", kind), read_as="cutter" if form == "mtconnect" else None)
    (part,) = read_document(data, format_of(data), options).parts
    return part


_CARRIED_TWICE = [
    name for name, row in symbols().items() if row.fields and len(_carriers(name)) > 1 and name not in _IN_GROUPS
]


@pytest.mark.parametrize("name", _CARRIED_TWICE)
def test_every_format_that_carries_a_property_gives_the_same_component(name: str) -> None:
    """A value that one reader takes is never left over by another, nor read in another sense."""
    text = {"CCMS": "HSK-A63", "CCWS": "KB-x 12", "BMC": next(iter(body_materials()))}.get(
        name, _VALUES[symbols()[name].unit]
    )
    text = "30" if name == "FHA" else text
    parts = {form: _imported(form, name, text) for form in _carriers(name)}
    told = {form: part.component.model_dump(exclude_none=True, exclude={"id"}) for form, part in parts.items()}
    first = told["csv"]
    assert len(first) > 1
    assert all(one == first for one in told.values()), told
    assert not any(part.unmapped for part in parts.values())


@pytest.mark.parametrize("name", [one for one in symbols() if one in _BY_CODE and one not in _IN_GROUPS])
def test_what_one_map_leaves_over_the_other_does_not_take(name: str) -> None:
    """The table of codes and that of symbols agree on what has a field."""
    row, coded = symbols()[name], _BY_CODE[name]
    outline = coded.role in ("outline", "group")
    assert outline or (coded.role == "left") == (row.fields is None)

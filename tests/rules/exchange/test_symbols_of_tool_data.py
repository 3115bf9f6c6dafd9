"""Every row of the table of symbols has a field or a reason for having none."""

from __future__ import annotations

from typing import get_args

import pytest

from rules.exchange.fields import MODELS, is_field
from rules.exchange.symbols import body_materials, elements, symbols
from rules.schema.components import Material, StackPart


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
        ("LPR", "base_holder", "gauge_length_mm"),
        ("APMX", "cutter", None),
        ("LCF", "cutter", "flute_length_mm"),
        ("TQ", "base_holder", None),
        ("CRKS", "retention_knob", "thread"),
    ],
)
def test_the_field_depends_on_the_kind(symbol: str, kind: str, field: str | None) -> None:
    """One symbol means different ends of different pieces, or nothing at all."""
    assert symbols()[symbol].field_of(kind) == field

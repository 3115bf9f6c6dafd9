"""Table files: every row has a source, every column a description, every fault its file."""

from __future__ import annotations

import copy
import json
import math
from importlib import import_module
from typing import get_args

import pytest
import yaml

from rules.quantities import tables
from rules.quantities.tables import (
    Confidence,
    TableError,
    UnknownEntryError,
    parse_table,
    read_table,
    rows_of,
    table_names,
)

UNIT_OF_SUFFIX = {
    "_mm_per_s": "mm/s",
    "_mm": "mm",
    "_um": "µm",
    "_urad": "µrad",
    "_deg": "°",
    "_kn": "kN",
    "_gpa": "GPa",
    "_mpa": "MPa",
    "_kg_m3": "kg/m³",
    "_1e6_per_k": "1e-6/K",
}

GOOD = """
name: sample
title: A sample
standard: null
source: a textbook
confidence: textbook
key: [size]
columns:
  size: {unit: text, meaning: the size}
  length_mm: {unit: mm, meaning: the length}
rows:
  - {size: "1", length_mm: 3}
  - {size: "2", length_mm: null, confidence: from memory, source: memory}
"""


@pytest.mark.parametrize("name", table_names())
def test_every_row_has_a_source_and_a_confidence(name: str) -> None:
    """No number without saying where it comes from and how far to trust it."""
    for row in tables.table(name).rows:
        assert row["source"].strip()
        assert row["confidence"] in get_args(Confidence)


@pytest.mark.parametrize("name", table_names())
def test_columns_carry_the_unit_of_their_suffix(name: str) -> None:
    """A column's name and its unit agree."""
    for column, head in tables.table(name).columns.items():
        suffix = next((s for s in UNIT_OF_SUFFIX if column.endswith(s)), None)
        if suffix is not None:
            assert head.unit == UNIT_OF_SUFFIX[suffix], column


@pytest.mark.parametrize("name", table_names())
def test_tables_are_plain_finite_json(name: str) -> None:
    """A published table goes through JSON unchanged and without NaN."""
    document = tables.table(name).as_json()
    assert json.loads(json.dumps(document, allow_nan=False)) == document
    assert document["name"] == name
    for row in document["rows"]:
        assert all(not isinstance(cell, float) or math.isfinite(cell) for cell in row.values())
        assert list(row) == [*document["columns"], "source", "confidence", "note"]


def test_changing_a_published_table_does_not_change_the_original() -> None:
    """The published form is a copy, lists inside included."""
    document = tables.table("straight_shank_forms").as_json()
    before = copy.deepcopy(document)
    document["rows"][0]["form"] = "spoiled"
    document["rows"].clear()
    assert tables.table("straight_shank_forms").as_json() == before


def test_the_catalogue_lists_every_table_in_order() -> None:
    """The catalogue's keys are the files, sorted; unknown names are refused with the known ones."""
    assert tuple(tables.tables()) == table_names() == tuple(sorted(table_names()))
    assert {"nut_collet", "iso_286", "steep_taper", "materials"} <= set(table_names())
    with pytest.raises(UnknownEntryError, match=r"no entry 'nonsense'.*coupling_clocking"):
        tables.table("nonsense")


def test_a_table_is_read_once() -> None:
    """The second reading is the first one's object."""
    assert read_table("materials") is read_table("materials")


def test_rows_inherit_the_tables_source_unless_they_have_their_own() -> None:
    """Source and confidence of a row: its own first, else the table's."""
    first, second = parse_table(GOOD, "sample.yaml").rows
    assert (first["source"], first["confidence"]) == ("a textbook", "textbook")
    assert (second["source"], second["confidence"], second["length_mm"]) == ("memory", "from memory", None)


@pytest.mark.parametrize(
    ("old", "new", "reason"),
    [
        ("name: sample", "name: other", "named 'other'"),
        ("title: A sample", "heading: A sample", "title"),
        ("source: a textbook", "source: null", "row 1: source"),
        ("confidence: textbook", "confidence: certain", "confidence"),
        ("confidence: textbook", "note: none given", "row 1: confidence"),
        ("key: [size]", "key: [shape]", "shape"),
        ('size: "2"', 'size: "1"', "row 2: two rows"),
        ("length_mm: 3}", "width_mm: 3}", "row 1: no cell for length_mm"),
        ("length_mm: 3}", "length_mm: 3, width_mm: 3}", "row 1: cells without a column: width_mm"),
        ("length_mm: 3}", "length_mm: 3, length_mm: 4}", "is repeated"),
        ("length_mm: {unit: mm,", "note: {unit: mm,", "reserved column names: note"),
        ("meaning: the length}", "meaning: ''}", "meaning"),
        ("rows:", "rows: [", "sample.yaml"),
    ],
)
def test_a_broken_table_is_refused_by_file_and_reason(old: str, new: str, reason: str) -> None:
    """One fault in a good table, one refusal that names the file and the fault."""
    assert GOOD.count(old) == 1
    with pytest.raises(TableError) as caught:
        parse_table(GOOD.replace(old, new), "sample.yaml")
    assert str(caught.value).startswith("sample.yaml")
    assert reason in str(caught.value)


def test_the_good_sample_is_good() -> None:
    """The sample the faults are made from loads."""
    assert len(parse_table(GOOD, "sample.yaml").rows) == len(yaml.safe_load(GOOD)["rows"])


def test_a_typed_row_that_disagrees_is_refused() -> None:
    """Wrong columns and wrong types are both named with the file."""
    model = import_module("rules.couplings.morse_taper").MorseTaperSize
    with pytest.raises(TableError, match=r"sample\.yaml: columns and typed row differ"):
        rows_of(parse_table(GOOD, "sample.yaml"), model)
    text = GOOD.replace("length_mm", "gauge_diameter_mm").replace(
        "columns:", "columns:\n  taper: {unit: '1', meaning: rate}"
    )
    text = text.replace("gauge_diameter_mm: 3", "gauge_diameter_mm: wide, taper: 0.05").replace(
        "gauge_diameter_mm: null", "gauge_diameter_mm: 4, taper: 0.05"
    )
    with pytest.raises(TableError, match=r"sample\.yaml, row 1: gauge_diameter_mm"):
        rows_of(parse_table(text, "sample.yaml"), model)

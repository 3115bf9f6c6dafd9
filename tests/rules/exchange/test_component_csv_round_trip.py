"""Any component of the contract can be written to CSV and read back equal."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping
from functools import cache
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rules.exchange.component_csv import read_component_csv
from rules.exchange.fields import MODELS

_TEXT = st.text(
    st.characters(codec="utf-8", exclude_categories=("Cc", "Cs", "Zl", "Zp")), min_size=1, max_size=40
).filter(lambda text: text.strip() != "")


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
    imported = read_component_csv(_written(component.model_dump(mode="json", exclude_none=True), separator))
    assert imported.faults == ()
    assert [part.component for part in imported.parts] == [component]
    assert imported.parts[0].unmapped == ()

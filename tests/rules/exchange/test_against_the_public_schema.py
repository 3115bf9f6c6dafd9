"""Own documents and exports are valid by the public schemas of MTConnect assets, versions 1.4 and 2.4.

Source: the MTConnect standard's XML schemas, copied unchanged to the folder ``schemas`` with their licence.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any, get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

from rules.assessor import Assessor
from rules.exchange.imported import ImportOptions
from rules.exchange.tool_asset_export import export_archetypes, export_cutting_tool
from rules.exchange.tool_asset_import import read_cutting_tools
from rules.schema.components import ComponentReference
from rules.schema.imports import Standard
from rules.schema.parsing import parse_request
from rules.schema.strict_json import parse_json
from service.examples import EXAMPLES, XML_EXAMPLE

_SCHEMAS = Path(__file__).parent / "schemas"
_DEMO = Path(__file__).parents[3] / "demo_data"
_STACKS = sorted((_DEMO / "stacks").glob("*.json"))


@cache
def _schema(standard: str) -> etree.XMLSchema:
    return etree.XMLSchema(etree.parse(_SCHEMAS / f"MTConnectAssets_{standard}_1.0.xsd"))


@cache
def _assessor() -> Assessor:
    return Assessor.load()


def _assert_valid(document: bytes, standard: str) -> None:
    _schema(standard).assertValid(etree.fromstring(document))


@pytest.mark.parametrize(
    ("name", "standard"), [("archetypes.xml", "1.4"), ("face-mill-2.4.xml", "2.4")], ids=["1.4", "2.4"]
)
def test_the_demonstration_documents_are_valid(name: str, standard: str) -> None:
    """The documents that show the import are documents of the standard."""
    _assert_valid((_DEMO / "imports" / name).read_bytes(), standard)


def test_the_example_of_the_contract_is_valid() -> None:
    """So is the one in the OpenAPI document."""
    _assert_valid(XML_EXAMPLE.encode(), "1.4")


@pytest.mark.parametrize("standard", get_args(Standard))
def test_components_are_exported_validly(standard: Standard) -> None:
    """All of the demonstration at once, with whatever each of them states."""
    parts = {
        part.id: part
        for file in _STACKS
        for part in parse_request(parse_json(file.read_bytes())).stack.components
        if not isinstance(part, ComponentReference)
    }
    assert len(parts) > 10
    _assert_valid(export_archetypes(list(parts.values()), standard=standard), standard)


@pytest.mark.parametrize("standard", get_args(Standard))
@pytest.mark.parametrize("file", _STACKS, ids=[file.stem for file in _STACKS])
def test_every_demonstration_stack_is_exported_validly(file: Path, standard: Standard) -> None:
    """Whatever the verdict and whatever is known, in each version."""
    request = parse_request(parse_json(file.read_bytes()))
    document = export_cutting_tool(request.stack, _assessor().assess(request), standard=standard)
    _assert_valid(document, standard)
    assert read_cutting_tools(document, ImportOptions(kind="extension")).version == standard


@pytest.mark.parametrize("standard", get_args(Standard))
@given(data=st.data())
def test_extreme_figures_are_exported_validly(standard: Standard, data: st.DataObject) -> None:
    """Numbers of any size are written as the schema wants them."""
    request = parse_request(EXAMPLES["extended"].request)
    report = _assessor().assess(request)
    small, large = st.floats(1e-6, 1e-3), st.floats(1e3, 1e9)
    figure = st.one_of(st.none(), small, large, st.integers(1, 10**6).map(float))
    changed: dict[str, Any] = {
        "geometry": report.geometry.model_copy(update={"tip_mm": data.draw(figure)}),
        "mass": report.mass.model_copy(update={"total_kg": data.draw(figure)}),
    }
    _assert_valid(export_cutting_tool(request.stack, report.model_copy(update=changed), standard=standard), standard)

"""Export of a checked stack as one CuttingTool, and import of the result."""

from __future__ import annotations

import copy
import json
from typing import Any

import pytest
from lxml import etree

from rules.assessor import Assessor
from rules.couplings.designation import understood
from rules.exchange.imported import ImportOptions
from rules.exchange.tool_asset_export import EPOCH, export_cutting_tool, is_timestamp
from rules.exchange.tool_asset_import import read_cutting_tools
from rules.rulebook.loader import base_request
from rules.schema.components import BaseHolder, ComponentReference, Cutter
from rules.schema.parsing import parse_request
from rules.schema.report import Report
from rules.schema.request import Stack

_BARE = {"stack": {"components": [{"id": "c", "kind": "collet"}]}}


@pytest.fixture(scope="module")
def assessor() -> Assessor:
    return Assessor.load()


@pytest.fixture
def request_data() -> dict[str, Any]:
    """A stack of which everything is known; a test may change its copy."""
    return copy.deepcopy(dict(base_request("press_in")))


def _checked(assessor: Assessor, data: object) -> tuple[Stack, Report]:
    request = parse_request(data)
    return request.stack, assessor.assess(request)


def _texts(document: bytes) -> dict[str, str | None]:
    return {etree.QName(one).localname: one.text for one in etree.fromstring(document).iter()}


def test_the_figures_come_back(assessor: Assessor, request_data: dict[str, Any]) -> None:
    """First principles: length, diameter, mass and speed of the report, to the last digit."""
    stack, report = _checked(assessor, request_data)
    (part,) = read_cutting_tools(export_cutting_tool(stack, report), ImportOptions(read_as="assembled")).assembled
    tool = part.tool.model_dump()
    assert report.lowest_limit is not None
    assert report.speed_complete
    assert tool["functional_length_mm"] == report.geometry.tip_mm
    assert tool["mass_kg"] == report.mass.total_kg
    (cutter,) = (part for part in stack.components if isinstance(part, Cutter))
    assert tool["cutting_diameter_mm"] == cutter.cutting_diameter_mm
    assert tool["max_speed_rpm"] == report.lowest_limit.speed_rpm.value
    assert tool["id"] == stack.id
    holder = stack.components[0]
    assert isinstance(holder, BaseHolder)
    assert holder.machine_side is not None
    meaning = understood(tool["spindle_side"]["designation"], "spindle")
    assert meaning is not None
    assert dict(meaning.fields) == holder.machine_side.model_dump(include=set(meaning.fields))


def test_figures_that_are_not_known_are_left_out(assessor: Assessor, request_data: dict[str, Any]) -> None:
    """A mass or a speed limit that lacks a part would be read as the whole."""
    parts = request_data["stack"]["components"]
    for part in parts:
        for field in ("mass_kg", "max_speed_rpm", "profile", "material"):
            part.pop(field, None)
    stack, report = _checked(assessor, request_data)
    assert report.mass.total_kg is None
    assert not report.speed_complete
    named = _texts(export_cutting_tool(stack, report))
    assert not {"Weight", "ProcessSpindleSpeed", "BodyDiameterMax"} & named.keys()
    assert "FunctionalLength" in named


def test_the_widest_outline_is_the_body_diameter(assessor: Assessor, request_data: dict[str, Any]) -> None:
    """First principles: the largest diameter of all outlines, cones by their wider end."""
    parts = request_data["stack"]["components"]
    for part in parts:
        part["profile"] = [{"length_mm": 5, "outer_mm": 10, "outer_end_mm": 33.5}, {"length_mm": 5, "outer_mm": 20}]
    assert _texts(export_cutting_tool(*_checked(assessor, request_data)))["BodyDiameterMax"] == "33.5"
    del parts[1]["profile"]
    assert "BodyDiameterMax" not in _texts(export_cutting_tool(*_checked(assessor, request_data)))


def test_a_stack_of_which_nothing_is_known_is_a_document(assessor: Assessor) -> None:
    """Without a name of its own it is called after the request."""
    stack, report = _checked(assessor, _BARE)
    root = etree.fromstring(export_cutting_tool(stack, report))
    (tool,) = root.iter("{*}CuttingTool")
    assert tool.get("assetId") == f"stack-{report.provenance.request_sha256[:16]}"
    assert not list(root.iter("{*}Measurements"))


def test_the_verdict_stands_in_the_definition(assessor: Assessor, request_data: dict[str, Any]) -> None:
    """A stack that fails is exported, and says so."""
    request_data["stack"]["components"][1]["machine_side"]["designation"] = "KB-other"
    stack, report = _checked(assessor, request_data)
    assert report.verdict == "fail"
    words = _texts(export_cutting_tool(stack, report))["CuttingToolDefinition"]
    assert words is not None
    assert ": fail, " in words
    assert report.provenance.request_sha256 in words


@pytest.mark.parametrize(
    ("side", "code"),
    [
        ({"coupling": "declared", "designation": "KB-x"}, "KB-x"),
        ({"coupling": "declared"}, None),
        ({"coupling": "steep_taper", "size": "40", "form": "mas_403"}, "MAS 403 BT 40"),
        ({"coupling": "steep_taper", "size": "40", "form": "iso_7388_1_ad"}, "ISO 7388-1 AD 40"),
        ({"coupling": "hollow_taper", "size": "63", "form": "A"}, "HSK-A63"),
        ({"coupling": "polygonal_taper", "size": "63"}, "ISO 26623-1 PSC 63"),
        (
            {"coupling": "cylindrical", "diameter_mm": 12, "tolerance": "h6", "form": "plain", "length_mm": 45},
            "DIN 6535 HA 12",
        ),
        ({"coupling": "designated", "designation": "SK40"}, "SK40"),
        ({"coupling": "cylindrical", "diameter_mm": 12}, None),  # of which shank is not known
        ({"coupling": "hollow_taper", "size": "63"}, None),
        ({"coupling": "polygonal_taper"}, None),
        ({"coupling": "press_collet", "designation": "P × 2"}, None),
        (None, None),
    ],
)
def test_the_connection_is_told_by_its_standard(assessor: Assessor, side: object, code: str | None) -> None:
    """The first component toward the spindle counts, not a knob that hangs in it."""
    knob = {"id": "k", "kind": "retention_knob"}
    data = {"stack": {"components": [knob, {"id": "h", "kind": "extension", "machine_side": side}]}}
    assert _texts(export_cutting_tool(*_checked(assessor, data))).get("ConnectionCodeMachineSide") == code


def test_of_a_reference_nothing_is_known(assessor: Assessor) -> None:
    """A part that is not defined is no reason for no answer."""
    stack, report = _checked(assessor, _BARE)
    entry = ComponentReference.model_validate({"kind": "reference", "of": {"from": "request", "key": "KB-none"}})
    broken = stack.model_copy(update={"components": [entry, *stack.components]})
    named = _texts(export_cutting_tool(broken, report))
    assert not {"ConnectionCodeMachineSide", "BodyDiameterMax"} & named.keys()


def test_the_same_stack_gives_the_same_bytes(assessor: Assessor, request_data: dict[str, Any]) -> None:
    """The time is the caller's, or always the same."""
    stack, report = _checked(assessor, request_data)
    first = export_cutting_tool(stack, report)
    assert first == export_cutting_tool(*_checked(assessor, json.loads(json.dumps(request_data))))
    assert first.count(EPOCH.encode()) == 2
    later = export_cutting_tool(stack, report, timestamp="2031-05-04T12:00:00Z")
    assert later == first.replace(EPOCH.encode(), b"2031-05-04T12:00:00Z")


@pytest.mark.parametrize(
    ("text", "good"),
    [
        (EPOCH, True),
        ("2031-05-04T12:00:00Z", True),
        ("2031-05-04T12:00:00.125Z", True),
        ("2032-02-29T00:00:00Z", True),
        ("2031-02-29T00:00:00Z", False),
        ("2031-04-31T00:00:00Z", False),
        ("2031-13-01T00:00:00Z", False),
        ("2031-05-04T24:00:00Z", False),
        ("2031-05-04T12:00:00", False),
        ("2031-05-04T12:00:00+02:00", False),
        ("2031-05-04T12:00:00Z\n", False),
        ("2031-05-04 12:00:00Z", False),
        ("now", False),
    ],
)
def test_a_timestamp_is_a_time_that_exists(assessor: Assessor, text: str, good: bool) -> None:
    """First principles: February has 29 days in 2032 and 28 in 2031."""
    assert is_timestamp(text) is good
    if not good:
        with pytest.raises(ValueError, match="timestamp"):
            export_cutting_tool(*_checked(assessor, _BARE), timestamp=text)

"""Assemblies of ISO 13399 data: order, grip length and projection, only where the placements leave one meaning."""

from __future__ import annotations

from typing import Any, Final

import pytest

from rules.checker import check
from rules.exchange.imported import ImportOptions
from rules.exchange.tool_packages import read_exchange_document
from rules.schema.import_map import ImportMap
from rules.schema.imports import ImportedStack, ImportReport
from rules.schema.parsing import parse
from tests.support.exchange_files import COLLET_SEAT, CYLINDER, Item, ToolFile

_MAP: Final = parse(
    ImportMap,
    {
        "classes": {COLLET_SEAT: "nut_collet", CYLINDER: "cylindrical"},
        "codes": {"KB-HT": {"coupling": "hollow_taper", "size": "63", "form": "A"}},
        "kinds": {
            "H": {"kind": "base_holder", "workpiece_side": "shrink_fit"},
            "C": "collet",
            "E": {"kind": "extension", "workpiece_side": "shrink_fit"},
            "K": "retention_knob",
        },
    },
)

# A holder of 62.4 mm with a collet and a tool of 76.2 mm whose shank end is 26.4 mm from the gauge line.
_PLACES: Final = {"H": -0.0, "C": -62.4, "T": -26.4}


def _pieces(file: ToolFile, **changes: Any) -> dict[str, Item]:
    """A holder, a collet and a tool; changes replace or remove values by item and symbol."""
    made: dict[str, Item] = {}
    values: dict[str, dict[str, tuple[str, str | None] | None]] = {
        "H": {"LF": ("62.4", "mm"), "WT": ("0.9", "kg")},
        "C": {"LF": ("0", "mm"), "WT": ("50", "g"), "ADJLN": ("20", "mm"), "ADJLX": ("40", "mm")},
        "T": {"OAL": ("76.2", "mm"), "LF": ("76.2", "mm"), "LSC": ("36", "mm"), "WT": ("0.05", "kg")},
    }
    for name, item in values.items():
        made[name] = file.item(name, "tool item" if name == "T" else "adaptive item")
        for symbol, stated in {**item, **changes.get(name, {})}.items():
            if stated is not None:
                file.value(made[name], symbol, stated[0], stated[1])
    file.value(made["H"], "CCMS", "KB-HT", text=True)
    file.connection(made["H"], COLLET_SEAT, "wkps", "16", "Int")
    file.connection(made["C"], COLLET_SEAT, "mach", "16", "Ext")
    file.connection(made["C"], CYLINDER, "wkps", "6", "Int")
    file.connection(made["T"], CYLINDER, "mach", "6", "Ext")
    return made


def _assembled(
    places: dict[str, float | None], *, whole: dict[str, tuple[str, str]] | None = None, **changes: Any
) -> ImportReport:
    file = ToolFile()
    made = _pieces(file, **changes)
    item = file.item("A 1", "assembly", "tool item", description="a tool")
    for symbol, (value, unit) in {"LF": ("102.6", "mm"), **(whole or {})}.items():
        file.value(item, symbol, value, unit)
    file.assembly(item, [(made[name], along) for name, along in places.items()])
    return read_exchange_document(file.content(), ImportOptions(map=_MAP)).report()


def _stack(report: ImportReport) -> ImportedStack:
    assert report.faults == []
    (stack,) = report.stacks
    return stack


def _ids(stack: ImportedStack) -> list[str]:
    return [one["id"] for one in stack.request["stack"]["components"]]


def test_grip_and_projection_follow_from_the_placements() -> None:
    """Whatever the order in the file; the request is checked as it stands, and its tip is at the functional length."""
    for order in (("H", "C", "T"), ("T", "C", "H"), ("C", "T", "H")):
        stack = _stack(
            _assembled({name: _PLACES[name] for name in order}, whole={"WT": ("1", "kg"), "LUX": ("40.2", "mm")})
        )
        assert _ids(stack) == ["H", "C", "T"]
        assert stack.request["stack"]["joints"] == [
            {"upper": "C", "lower": "T", "grip_length_mm": 36, "projection_mm": 40.2}
        ]
        assert (stack.request["stack"]["id"], stack.description) == ("A-1", "a tool")
        assert [(one.name, "agrees" in one.reason) for one in stack.unmapped] == [("WT", True), ("LUX", True)]
    report = check(stack.request)
    assert report.geometry.tip_mm == pytest.approx(102.6)


@pytest.mark.parametrize(
    ("symbol", "stated", "words"),
    [
        ("WT", ("1.2", "kg"), "differs"),
        ("LUX", ("30", "mm"), "less"),
        ("LPR", ("99", "mm"), ""),
        ("71DDDDDDDDDDD", ("1", "mm"), "known"),
    ],
)
def test_what_the_assembly_states_besides_is_compared(symbol: str, stated: tuple[str, str], words: str) -> None:
    """And left over, since a stack has no field for it."""
    stack = _stack(_assembled(_PLACES, whole={symbol: stated}))
    (left,) = stack.unmapped
    assert words in left.reason
    assert "joints" in stack.request["stack"]


def test_a_speed_limit_of_the_assembly_is_told() -> None:
    """No rule judges it, so a note says so."""
    stack = _stack(_assembled(_PLACES, whole={"RPMX": ("12000", "1/min")}))
    assert any("12000" in one for one in stack.notes)


@pytest.mark.parametrize(
    ("whole", "changes"),
    [
        ({}, {"T": {"LSC": ("30", "mm")}}),
        ({}, {"C": {"ADJLN": ("36.1", "mm")}}),
        ({}, {"C": {"ADJLX": ("35.9", "mm")}}),
        ({}, {"C": {"LSCX": ("35.9", "mm")}}),
        ({"LUX": ("41", "mm")}, {}),
        ({"LU": ("41", "mm")}, {}),
    ],
)
def test_a_grip_that_something_contradicts_is_not_stated(whole: dict[str, Any], changes: dict[str, Any]) -> None:
    """The order still is."""
    stack = _stack(
        _assembled(_PLACES, whole={**whole} if "LU" not in whole else {"71EBB33490FDA": whole["LU"]}, **changes)
    )
    assert _ids(stack) == ["H", "C", "T"]
    assert "joints" not in stack.request["stack"]
    assert stack.notes


def _moved(**places: float | None) -> dict[str, float | None]:
    return {**_PLACES, **places}


@pytest.mark.parametrize(
    ("places", "whole", "changes"),
    [
        (_moved(T=-27.0), {}, {}),
        (_moved(H=-1.0), {}, {}),
        ({"H": -1.0, "C": -63.4, "T": -27.4}, {"LF": ("103.6", "mm")}, {}),
        (_moved(C=None), {}, {}),
        (_moved(T=26.4), {}, {}),
        (_moved(C=-60.0), {}, {"C": {"LF": None}}),
        (_moved(C=-60.0), {}, {}),
        (_PLACES, {}, {"C": {"LF": ("27", "mm")}}),
        (_PLACES, {"LF": ("102.7", "mm")}, {}),
        (_PLACES, {"LF": ("-", "mm")}, {}),
        (_PLACES, {}, {"T": {"OAL": None}}),
        (_PLACES, {}, {"T": {"LF": ("70", "mm")}}),
        (_PLACES, {}, {"H": {"LF": None}}),
        (_PLACES, {}, {"T": {"OAL": ("76.2", None)}}),
    ],
    ids=[
        "tip", "holder", "gauge line", "no placement", "behind the gauge line", "collet nowhere",
        "collet not flush", "collet by its back", "another length",
        "no length", "no overall length", "two lengths", "holder without length", "no unit",
    ],
)  # fmt: skip
def test_placements_that_do_not_fit_give_no_joint(
    places: dict[str, float | None], whole: dict[str, Any], changes: dict[str, Any]
) -> None:
    """The order follows from the kinds, of which there is one each; the reason is a note."""
    stack = _stack(_assembled(places, whole=whole, **changes))
    assert _ids(stack) == ["H", "C", "T"]
    assert "joints" not in stack.request["stack"]
    assert any("order by kind" in one for one in stack.notes)


def test_a_shank_behind_the_gauge_line_and_a_gap_at_a_face_give_no_joint() -> None:
    """Even if the last piece ends at the functional length."""
    long = {"OAL": ("112.6", "mm"), "LF": ("112.6", "mm"), "LSC": None}
    stack = _stack(_assembled(_moved(T=10.0), T=long, C={"ADJLX": None}))
    assert "joints" not in stack.request["stack"]
    for along, is_placed in ((-62.4, True), (-60.0, False)):
        file = ToolFile()
        made = _pieces(file)
        extension = file.item("E", "adaptive item")
        file.value(extension, "CCMS", "KB-HT", text=True)
        file.value(extension, "LF", "50", "mm")
        item = file.item("A", "assembly")
        file.value(item, "LF", str(50 - along), "mm")
        file.assembly(item, [(made["H"], -0.0), (extension, along)])
        stack = _stack(read_exchange_document(file.content(), ImportOptions(map=_MAP)).report())
        assert _ids(stack) == ["H", "E"]
        assert any("order by kind" in one for one in stack.notes) != is_placed


def test_a_collet_without_a_length_sits_where_its_holder_ends() -> None:
    """Its place says so."""
    assert "joints" in _stack(_assembled(_PLACES, C={"LF": None})).request["stack"]


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("(0.000000,0.000000,1.000000)", "(0.000000,0.000000,-1.000000)"),
        ("(1.000000,0.000000,0.000000)", "(0.999000,0.044710,0.000000)"),
        ("(0.000000,0.000000,-26.400000)", "(0.000000,0.500000,-26.400000)"),
        ("'hierarchy'", "$"),
    ],
    ids=["turned over", "turned", "off the axis", "kind of relation"],
)
def test_a_rotation_or_an_offset_is_no_place_on_the_axis(old: str, new: str) -> None:
    """The kind of the relation does not matter."""
    file = ToolFile()
    made = _pieces(file)
    item = file.item("A", "assembly")
    file.value(item, "LF", "102.6", "mm")
    file.assembly(item, [(made[name], along) for name, along in _PLACES.items()])
    data = file.content().decode()
    assert old in data
    stack = _stack(read_exchange_document(data.replace(old, new).encode(), ImportOptions(map=_MAP)).report())
    assert ("joints" in stack.request["stack"]) == (new == "$")


def test_a_piece_placed_in_another_piece_has_no_place_in_the_assembly() -> None:
    """A relation of the tool's model to the holder's model says nothing of the grip."""
    file = ToolFile()
    made = _pieces(file)
    item = file.item("A", "assembly")
    file.value(item, "LF", "102.6", "mm")
    file.assembly(item, [(made[name], along) for name, along in _PLACES.items()])
    relations = [one for one in file.lines if "RELATIONSHIP" in one]
    own = relations[0].split(",")[2]
    there = relations[2].split(",")[3]
    file.lines[file.lines.index(relations[2])] = relations[2].replace(f",{there},", f",{own},")
    stack = _stack(read_exchange_document(file.content(), ImportOptions(map=_MAP)).report())
    assert "joints" not in stack.request["stack"]


def test_two_extensions_without_a_place_give_no_stack() -> None:
    """Their order is not stated; with places, the second of one item has a name of its own."""
    stacks = []
    for first, second in ((-62.4, -112.4), (None, None)):
        file = ToolFile()
        made = _pieces(file)
        extension = file.item("E", "adaptive item")
        file.value(extension, "CCMS", "KB-HT", text=True)
        file.value(extension, "LF", "50", "mm")
        item = file.item("A", "assembly")
        file.value(item, "LF", "162.4", "mm")
        file.assembly(item, [(extension, second), (made["H"], -0.0), (extension, first)])
        stacks.append(read_exchange_document(file.content(), ImportOptions(map=_MAP)).report())
    assert _ids(_stack(stacks[0])) == ["H", "E-2", "E"]
    assert (stacks[1].stacks, len(stacks[1].faults)) == ([], 1)


def test_a_knob_stands_first_whatever_its_place() -> None:
    """It is behind the gauge line."""
    file = ToolFile()
    made = _pieces(file)
    knob = file.item("K", "adaptive item")
    file.value(knob, "CRKS", "M16", text=True)
    item = file.item("A", "assembly")
    file.value(item, "LF", "102.6", "mm")
    file.assembly(item, [*((made[name], along) for name, along in _PLACES.items()), (knob, 70.0)])
    stack = _stack(read_exchange_document(file.content(), ImportOptions(map=_MAP)).report())
    assert _ids(stack) == ["K", "H", "C", "T"]
    assert stack.request["stack"]["components"][0]["thread"] == "M16"
    assert "joints" in stack.request["stack"]


@pytest.mark.parametrize("shape", ["empty", "unknown piece", "itself", "too many", "dangling"])
def test_an_assembly_that_is_no_stack_is_a_fault(shape: str) -> None:
    """Its pieces are read all the same."""
    file = ToolFile()
    made = _pieces(file)
    item = file.item("A", "assembly")
    pieces: list[tuple[Item, float | None]] = [(made["H"], -0.0), (made["T"], -26.4)]
    if shape == "empty":
        pieces = []
    elif shape == "unknown piece":
        pieces.append((file.item("X", "adaptive item"), -62.4))
    elif shape == "too many":
        pieces *= 11
    whole = file.assembly(item, pieces)
    if shape == "itself":
        file.add("ASSEMBLY_ASSOCIATION", None, file.add("ITEM_INSTANCE", whole, None, ""), whole)
    elif shape == "dangling":
        file.add("ASSEMBLY_ASSOCIATION", None, 9999, whole)
    report = read_exchange_document(file.content(), ImportOptions(map=_MAP)).report()
    assert report.stacks == []
    assert [one.name for one in report.faults if one.name == "A"] == ["A"]
    assert {"H", "C", "T"} == {one.component["id"] for one in report.components}

"""ISO 13399 data in exchange files: components by the map, and everything that is left over, with reasons."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, Final

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.exchange.documents import format_of, read_document, read_import_map
from rules.exchange.imported import ImportOptions
from rules.exchange.tool_data import MAX_ITEMS, MAX_VALUES
from rules.exchange.tool_packages import read_exchange_document
from rules.exchange.untrusted import UnreadableError
from rules.schema.import_map import NO_MAP, ImportMap, import_map_schema
from rules.schema.imports import ImportedComponent, ImportReport
from rules.schema.parsing import BadRequestError, parse
from tests.support.exchange_files import COLLET_SEAT, CYLINDER, STEEP_TAPER, Item, ToolFile, file_of

_DEMO: Final = Path(__file__).parents[3] / "demo_data" / "imports"
_CLASSES: Final = {COLLET_SEAT: "nut_collet", CYLINDER: "cylindrical", STEEP_TAPER: "steep_taper"}


def _map(**fields: Any) -> ImportMap:
    return parse(ImportMap, {"classes": _CLASSES, **fields})


def _report(file: ToolFile, using: ImportMap = NO_MAP, **options: Any) -> ImportReport:
    return read_exchange_document(file.content(), ImportOptions(map=using, **options)).report()


def _one(file: ToolFile, using: ImportMap = NO_MAP, **options: Any) -> ImportedComponent:
    report = _report(file, using, **options)
    assert report.faults == []
    (component,) = report.components
    return component


def _left(component: ImportedComponent) -> dict[str, str]:
    return {f"{one.name} {one.value}": one.reason for one in component.unmapped}


def _cutter(file: ToolFile) -> Item:
    return file.item("KB-1", "tool item")


# --- the demo ------------------------------------------------------------------------------------------------------

_MAP: Final = (_DEMO / "iso-13399-map.yaml").read_bytes()

_DRILL: Final = {
    "stack": {
        "id": "KB-T-0418",
        "components": [
            {
                "kind": "base_holder",
                "id": "KB-7388-40-N32-080",
                "description": "steep taper 40, socket for 8° collets 32",
                "mass_kg": 1.3,
                "max_speed_rpm": 15000,
                "gauge_length_mm": 80,
                "machine_side": {"coupling": "steep_taper", "size": "40", "form": "iso_7388_1_ad"},
                "workpiece_side": {"coupling": "nut_collet", "size": "32"},
                "profile": [
                    {"length_mm": 19.1, "outer_mm": 63.55},
                    {"length_mm": 18.9, "outer_mm": 46},
                    {"length_mm": 42, "outer_mm": 50},
                ],
            },
            {
                "kind": "collet",
                "id": "KB-N32-12",
                "description": "8° collet 32, bore 12",
                "mass_kg": 0.16,
                "machine_side": {"coupling": "nut_collet", "size": "32"},
                "workpiece_side": {
                    "coupling": "collet_bore",
                    "nominal_mm": 12,
                    "clamping_min_mm": 11,
                    "clamping_max_mm": 12,
                    "minimum_grip_mm": 30,
                },
            },
            {
                "kind": "drill",
                "id": "KB-DR118-5D",
                "description": "drill 11.8, five diameters deep",
                "mass_kg": 0.14,
                "material": "cemented_carbide",
                "machine_side": {"coupling": "cylindrical", "diameter_mm": 12, "length_mm": 45},
                "overall_length_mm": 118,
                "cutting_diameter_mm": 11.8,
                "flute_length_mm": 71,
                "teeth": 2,
                "helix_angle_deg": 30,
            },
        ],
        "joints": [{"upper": "KB-N32-12", "lower": "KB-DR118-5D", "grip_length_mm": 38, "projection_mm": 80}],
    }
}


def test_the_demo_gives_its_stack_by_its_map() -> None:
    """Components, order, grip length and projection; what is left over is told with the map that was used."""
    data = (_DEMO / "drill-in-collet-chuck.p21").read_bytes()
    using = read_import_map(_MAP)
    report = read_document(data, format_of(data), ImportOptions(map=using)).report()
    (stack,) = report.stacks
    assert stack.request == _DRILL
    assert [one.component for one in report.components] == _DRILL["stack"]["components"]
    assert report.provenance is not None
    assert (report.provenance.map_version, report.provenance.map_sha256) == ("1", using.digest)
    assert not report.faults
    left = {one.name for part in report.components for one in part.unmapped}
    assert left == {
        "description",
        "protruding length",
        "functional length",
        "clamping length",
        "hand",
        "a property of the shop",
    }
    assert {one.name for one in stack.unmapped} == {"weight of item", "usable length maximum"}


def test_without_the_map_only_the_tool_is_known() -> None:
    """The kinds of the adaptive items are not stated, so there is no stack."""
    report = read_exchange_document((_DEMO / "drill-in-collet-chuck.p21").read_bytes()).report()
    assert [one.component["id"] for one in report.components] == ["KB-DR118-5D"]
    assert (report.stacks, report.provenance) == ([], None)
    assert [one.name for one in report.faults] == ["KB-7388-40-N32-080", "KB-N32-12", "KB-T-0418"]
    assert all("kind not stated" in one.detail for one in report.faults[:2])


def test_the_demo_in_reverse_order_is_the_same_holder() -> None:
    """Forward references, pounds, a cone, and a bore whose diameter has no unit."""
    data = (_DEMO / "shrink-fit-chuck.p21").read_bytes()
    report = read_exchange_document(data, ImportOptions(map=read_import_map(_MAP))).report()
    (part,) = report.components
    assert part.component["workpiece_side"] == {"coupling": "shrink_fit", "minimum_grip_mm": 36}
    assert part.component["mass_kg"] == 1.315417873
    assert part.component["profile"] == [
        {"length_mm": 19.1, "outer_mm": 63.55},
        {"length_mm": 15.9, "outer_mm": 34},
        {"length_mm": 55, "outer_mm": 32.657188, "outer_end_mm": 24},
    ]
    assert _left(part)["connection bore diameter 12"] == "its unit is not stated"


# --- values --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("symbol", "value", "unit", "field", "expected"),
    [
        ("DC", "12.5", "mm", "cutting_diameter_mm", 12.5),
        ("DC", "0.5", "inch", "cutting_diameter_mm", 12.7),
        ("DC", "1.2", "cm", "cutting_diameter_mm", 12),
        ("DC", "1E1", "mm", "cutting_diameter_mm", 10),
        ("WT", "70", "g", "mass_kg", 0.07),
        ("WT", "1", "lb", "mass_kg", 0.45359237),
        ("RPMX", "18000", "rpm", "max_speed_rpm", 18000),
        ("FHA", "0", "deg", "helix_angle_deg", 0),
        ("ZEFP", "4", None, "teeth", 4),
        ("ZEFP", "4", "mm", "teeth", 4),
    ],
)
def test_a_value_has_the_unit_that_is_stated(
    symbol: str, value: str, unit: str | None, field: str, expected: float
) -> None:
    """Converted exactly; a count has none, whatever is stated."""
    file = ToolFile()
    file.value(_cutter(file), symbol, value, unit)
    part = _one(file)
    assert part.component[field] == expected
    converted = unit not in (None, "mm", "rpm", "deg") or symbol == "ZEFP"
    assert bool(part.notes) == (converted and unit is not None)


@pytest.mark.parametrize(
    ("symbol", "value", "unit", "reason"),
    [
        ("DC", "12.5", None, "unit is not stated"),
        ("DC", "12.5", "furlong", "furlong"),
        ("DC", "12.5", "kg", "kg"),
        ("DC", "12,5", "mm", "decimal point"),
        ("DC", "0", "mm", "greater than 0"),
        ("DC", "-3", "mm", "greater than 0"),
        ("DC", "twelve", "mm", "not a number"),
        ("DC", "nan", "mm", "not a number"),
        ("DC", "1e999", "mm", "not a number"),
        ("DC", "1e99", "mm", ""),
        ("DC", "1" * 30, "mm", "not a number"),
        ("ZEFP", "4.5", "mm", ""),
        ("APMX", "22,0", "mm", "decimal point"),
        ("71CCCCCCCCCCC", "7", "mm", "not known"),
        ("HAND", "R", None, "no field"),
        ("LPR", "94", "mm", "nut"),
    ],
)
def test_a_value_that_cannot_be_used_is_left_over(symbol: str, value: str, unit: str | None, reason: str) -> None:
    """That value only, with its reason."""
    file = ToolFile()
    item = _cutter(file)
    file.value(item, symbol, value, unit, name="it")
    file.value(item, "OAL", "80", "mm")
    part = _one(file)
    assert part.component == {"kind": "cutter", "id": "KB-1", "overall_length_mm": 80}
    (left,) = [one for one in part.unmapped if one.name == "it"]
    assert reason in left.reason
    assert left.reason
    assert left.line is not None


@pytest.mark.parametrize("value", ["", "/IGNORE", "-", "N/A", " "])
def test_a_missing_value_is_not_stated(value: str) -> None:
    """In each of the ways in which files say so."""
    file = ToolFile()
    file.value(_cutter(file), "DC", value, "mm")
    part = _one(file)
    assert part.unmapped == []
    assert "cutting_diameter_mm" in [one.field for one in part.not_stated]


def test_two_values_of_one_field_are_neither() -> None:
    """Teeth and flutes that differ; the same twice is one."""
    file = ToolFile()
    item = _cutter(file)
    file.value(item, "ZEFP", "4")
    file.value(item, "NOF", "3")
    file.value(item, "OAL", "80", "mm")
    file.value(item, "OAL", "8", "cm")
    part = _one(file)
    assert "teeth" not in part.component
    assert part.component["overall_length_mm"] == 80
    assert len([one for one in part.unmapped if "teeth" in one.reason]) == 2


def test_the_unit_of_the_representation_counts_where_the_value_has_none() -> None:
    """As the schema says; and the other kinds of values are no single value."""
    file = ToolFile()
    item = _cutter(file)
    unit = file.add("UNIT", "mm")
    source = file.add("PLIB_PROPERTY_REFERENCE", "71D084653E57F", None, "001")
    meaning = file.add("PROPERTY", (), None, "", source, "", None)
    for value in (
        file.add("NUMERICAL_VALUE", "diameter", None, None, "9"),
        file.add("VALUE_RANGE", "range", None, unit, "9", "10"),
        file.add("VALUE_LIMIT", "limit", None, unit, "9", "maximum"),
        file.add("VALUE_LIST", "list", (unit,)),
    ):
        held = file.add("PROPERTY_VALUE_REPRESENTATION", meaning, unit, None, value, None)
        file.add("PROPERTY_VALUE_ASSOCIATION", None, item.definition, held, None, None)
    part = _one(file)
    assert part.component["cutting_diameter_mm"] == 9
    assert sorted(_left(part)) == ["limit 9 mm", "list 1 values mm", "range 9 to 10 mm"]


def test_a_property_without_a_code_is_left_over() -> None:
    """A shop's own property, and one of another standard."""
    file = ToolFile()
    item = _cutter(file)
    other = file.add("DIN4000_REFERENCE", None, "B3", None, "1", "82")
    for name, source in (("own", None), ("other", other)):
        meaning = file.add("PROPERTY", (), file.words(name), "", source, "", None)
        value = file.add("STRING_VALUE", "", file.words("h6"))
        held = file.add("PROPERTY_VALUE_REPRESENTATION", meaning, None, None, value, None)
        file.add("PROPERTY_VALUE_ASSOCIATION", None, item.definition, held, None, None)
    assert list(_left(_one(file))) == ["own h6", "other h6"]


# --- ends ----------------------------------------------------------------------------------------------------------


def _shank(size: str, diameter: str, basis: str = "M") -> ImportedComponent:
    file = ToolFile()
    item = _cutter(file)
    file.connection(item, CYLINDER, "mach", size, "Ext", basis)
    file.value(item, "DMM", diameter, scope=CYLINDER, text=True)
    return _one(file, _map())


@pytest.mark.parametrize(
    ("size", "diameter", "basis", "expected"),
    [
        ("10", "10", "M", 10),
        ("10", "10.0", "M", 10),
        ("3/8", "9.525", "I", 9.525),
        ("1 1/4", "31.75", "I", 31.75),
        ("10", "12", "M", None),
        ("3/8", "9.525", "M", None),
        ("10", "10", "I", None),
        ("3/0", "10", "I", None),
        ("x", "10", "M", None),
    ],
)
def test_a_text_without_a_unit_needs_its_size_code(
    size: str, diameter: str, basis: str, expected: float | None
) -> None:
    """The same in mm, or as a fraction of an inch."""
    part = _shank(size, diameter, basis)
    assert part.component["machine_side"].get("diameter_mm") == expected
    assert bool(part.notes) == (expected is not None)


def test_one_code_means_the_side_of_its_group() -> None:
    """A holder with a connection diameter at either end."""
    file = ToolFile()
    item = file.item("KB-R", "adaptive item")
    file.connection(item, CYLINDER, "mach", "32", "Ext")
    file.value(item, "DCON", "32", "mm", scope=CYLINDER)
    file.connection(item, "71F000000001", "wkps", "20", "Int")
    file.value(item, "DCON", "20", "mm", scope="71F000000001")
    using = _map(
        classes={**_CLASSES, "71F000000001": "cylindrical"},
        kinds={"KB-R": {"kind": "reducer", "workpiece_side": "hydraulic"}},
    )
    part = _one(file, using)
    assert part.component["machine_side"] == {"coupling": "cylindrical", "diameter_mm": 32}
    assert part.component["workpiece_side"] == {"coupling": "hydraulic", "diameter_mm": 20}


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("no side", "side"),
        ("two sides", "side"),
        ("unknown class", "71F000000009"),
        ("second connection", "2 connections"),
        ("form", "EXT"),
        ("clamp", "clamps"),
    ],
)
def test_an_end_that_is_not_certain_is_not_stated(change: str, words: str) -> None:
    """Its values are left over, each with the reason."""
    file = ToolFile()
    item = file.item("KB-H", "adaptive item")
    scope = "71F000000009" if change == "unknown class" else CYLINDER
    if change != "no side":
        file.connection(item, scope, "wkps", "12", "Ext" if change == "form" else "Int")
    if change == "two sides":
        file.value(item, "side", "mach", scope=scope, text=True)
    if change == "second connection":
        file.connection(item, COLLET_SEAT, "wkps", "25", "Int")
    file.value(item, "DCB", "12", "mm", scope=scope)
    kind = "base_holder" if change == "clamp" else {"kind": "base_holder", "workpiece_side": "shrink_fit"}
    part = _one(file, _map(kinds={"KB-H": kind}))
    assert "workpiece_side" not in part.component
    assert words in _left(part)["DCB 12 mm"]


def test_a_connection_code_is_what_the_map_says() -> None:
    """With the size of its connection; codes that differ, or say other than the class, are neither."""
    coded = {"KB-ST": {"coupling": "steep_taper", "form": "iso_7388_1_ad"}, "KB-HT": {"coupling": "hollow_taper"}}
    ends = []
    for codes in (["KB-ST"], ["KB-HT"], ["KB-ST", "KB-HT"], ["KB-UNKNOWN"]):
        file = ToolFile()
        item = file.item("KB-H", "adaptive item")
        for code in codes:
            file.value(item, "CCMS", code, text=True)
        file.connection(item, STEEP_TAPER, "mach", "40", "Ext")
        part = _one(file, _map(codes=coded, kinds={"KB-H": "base_holder"}))
        ends.append((part.component.get("machine_side"), len(part.unmapped)))
    by_class = {"coupling": "steep_taper", "size": "40"}
    assert ends == [({**by_class, "form": "iso_7388_1_ad"}, 0), (None, 2), (by_class, 2), (by_class, 1)]


def test_a_code_that_the_map_lacks_is_a_designation() -> None:
    """Understood if it is one of the trade, undecided if not; beside a shank diameter it is left over."""
    ends = []
    for code, diameter in (("HSK-A63", None), ("KB-XY", None), ("KB-XY", "16"), ("DIN 6535 HA 16", "16")):
        file = ToolFile()
        item = _cutter(file)
        file.value(item, "CCMS", code, text=True)
        if diameter:
            file.value(item, "DMM", diameter, "mm")
        ends.append(_one(file).component["machine_side"])
    assert ends[:3] == [
        {"coupling": "hollow_taper", "form": "A", "size": "63"},
        {"coupling": "designated", "designation": "KB-XY"},
        {"coupling": "cylindrical", "diameter_mm": 16},
    ]
    assert ends[3]["coupling"] == "cylindrical"
    assert ends[3]["diameter_mm"] == 16


@pytest.mark.parametrize(
    ("code", "kind", "taken"),
    [("HSK-A63", "extension", True), ("DIN 6535 HA 16", "extension", False), ("KB-XY", "extension", False),
     (None, "extension", False), (None, "base_holder", True)],
)  # fmt: skip
def test_a_functional_length_needs_its_gauge_line(code: str | None, kind: str, taken: bool) -> None:
    """And so does an outline: an end that is not known may be a shank."""
    file = ToolFile()
    item = file.item("KB-1", "adaptive item")
    if code:
        file.value(item, "CCMS", code, text=True)
    file.value(item, "LF", "90", "mm")
    file.value(item, "BD", "40", "mm", name="body diameter 1")
    file.value(item, "LB", "90", "mm", name="body length 1")
    part = _one(file, _map(kinds={"KB-1": kind}))
    assert ("gauge_length_mm" in part.component, "profile" in part.component) == (taken, taken)
    assert len(part.unmapped) == (0 if taken else 3)


def test_the_map_says_how_a_bore_clamps() -> None:
    """Even where the file states no connection; not against the class of one."""
    using = _map(kinds={"KB-1": {"kind": "base_holder", "workpiece_side": "hydraulic"}})
    file = ToolFile()
    file.item("KB-1", "adaptive item")
    assert _one(file, using).component["workpiece_side"] == {"coupling": "hydraulic"}
    file = ToolFile()
    file.connection(file.item("KB-1", "adaptive item"), COLLET_SEAT, "wkps", "25", "Int")
    part = _one(file, using)
    assert "workpiece_side" not in part.component
    assert "hydraulic" in _left(part)["CZC 25"]


# --- kinds and names -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("roles", "kinds", "otherwise", "kind"),
    [
        (["tool item"], {}, None, "cutter"),
        (["tool item"], {"KB-1": "reamer"}, None, "reamer"),
        (["tool item"], {"KB-1": "collet"}, None, "cutter"),
        (["adaptive item"], {"KB-1": "extension"}, None, "extension"),
        (["adaptive item"], {"71EAD3871D313": "reducer"}, None, "reducer"),
        (["adaptive item"], {"KB-1": "extension", "71EAD3871D313": "reducer"}, None, "extension"),
        (["adaptive item"], {}, "extension", "extension"),
        (["adaptive item"], {}, None, None),
        (["adaptive item"], {"KB-1": "drill"}, None, None),
        (["cutting item"], {}, None, None),
        ([], {}, None, None),
        (["assembly"], {"KB-1": "extension"}, None, None),
    ],
)
def test_the_kind_is_stated_or_a_fault(
    roles: list[str], kinds: dict[str, str], otherwise: Any, kind: str | None
) -> None:
    """By the role in the file, and by the map under id or class."""
    file = ToolFile()
    item = file.item("KB-1", *roles)
    group = file.once("PLIB_CLASS_REFERENCE", "c", "71EAD3871D313", "", "001")
    general = file.add("GENERAL_CLASSIFICATION", group, None, "", None, None)
    file.add("CLASSIFICATION_ASSOCIATION", general, item.definition, None, None)
    report = _report(file, _map(kinds=kinds), kind=otherwise)
    assert [one.component["kind"] for one in report.components] == ([] if kind is None else [kind])
    assert len(report.faults) == (kind is None)


def test_items_of_one_id_are_told_apart() -> None:
    """A collet and a tool that share an id stay two components."""
    file = ToolFile()
    file.item("KB 1", "adaptive item")
    file.value(file.item("KB 1", "tool item"), "DC", "8", "mm")
    report = _report(file, _map(kinds={"KB 1": "collet"}))
    assert [(one.component["kind"], one.component["id"]) for one in report.components] == [
        ("collet", "KB-1"),
        ("cutter", "KB-1-2"),
    ]
    assert all(one.notes for one in report.components)


def test_two_versions_and_no_id_are_faults() -> None:
    """Of these items only."""
    file = ToolFile()
    item = _cutter(file)
    other = file.add("ITEM_VERSION", item.item, None, "2")
    file.value(item, "DC", "8", "mm")
    file.value(Item(item.item, other, file.add("ITEM_DEFINITION", other, (), "", None)), "DC", "9", "mm")
    file.item("°", "tool item")
    file.item("KB-2", "tool item", description="x" * 201)
    report = _report(file)
    assert [one.component["id"] for one in report.components] == ["KB-2"]
    assert [one.name for one in report.components[0].unmapped] == ["description"]
    assert len(report.faults) == 2


# --- outlines ------------------------------------------------------------------------------------------------------


def _outline(sections: list[tuple[str, str]], meaning: str | None, length: str = "90") -> ImportedComponent:
    file = ToolFile()
    item = file.item("KB-H", "adaptive item")
    file.value(item, "LF", length, "mm")
    for n, (diameter, section) in enumerate(sections, 1):
        file.value(item, "BD", diameter, "mm", name=f"body diameter {n}")
        file.value(item, "LB", section, "mm", name=f"body length {n}")
    return _one(file, _map(kinds={"KB-H": "base_holder"}, outline=meaning))


@pytest.mark.parametrize(
    ("sections", "meaning", "lengths"),
    [
        ([("20", "60"), ("40", "30")], None, [30, 60]),
        ([("20", "60"), ("40", "90")], None, [30, 60]),
        ([("20", "60"), ("40", "30")], "individual", [30, 60]),
        ([("20", "60"), ("40", "30")], "cumulative", None),
        ([("20", "60"), ("40", "90")], "individual", None),
        ([("20", "60"), ("40", "20")], None, None),
        ([("20", "90")], None, [90]),
        ([("20", "90.005")], None, [90.005]),
        ([("20", "90.02")], None, None),
        ([("0", "90")], None, None),
        ([("20", "0.005"), ("40", "89.995")], None, None),
        ([(f"{n}", "4.5") for n in range(1, 21)], None, [4.5] * 20),
        ([(f"{n}", f"{90 / 21:.6f}") for n in range(1, 22)], None, None),
    ],
)
def test_an_outline_gives_the_functional_length(
    sections: list[tuple[str, str]], meaning: str | None, lengths: list[float] | None
) -> None:
    """In the reading that the map states, else in the only one that fits; number 1 is at the workpiece side."""
    part = _outline(sections, meaning)
    profile = part.component.get("profile")
    assert (profile and [one["length_mm"] for one in profile]) == lengths
    if lengths is None:
        assert len(part.unmapped) == 2 * len(sections)
    else:
        assert profile[-1]["outer_mm"] == float(sections[0][0])


def test_sections_with_gaps_are_left_over() -> None:
    """And those without a functional length."""
    file = ToolFile()
    item = file.item("KB-H", "adaptive item")
    file.value(item, "BD", "40", "mm", name="body diameter 2")
    file.value(item, "LB", "90", "mm", name="body length 2")
    assert "profile" not in _one(file, _map(kinds={"KB-H": "base_holder"})).component
    assert "profile" not in _outline([("40", "90")], None, length="0").component


# --- files ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("schema", ["AP242_MANAGED_MODEL_BASED_3D_ENGINEERING_MIM_LF", "AUTOMOTIVE_DESIGN", ""])
def test_another_schema_is_refused(schema: str) -> None:
    """And named, since files of other schemas have the same endings."""
    with pytest.raises(UnreadableError) as found:
        read_exchange_document(file_of([], schema))
    assert found.value.cause == "unsuitable"
    assert schema in found.value.detail


def test_a_schema_may_have_its_identifier() -> None:
    """Of the registration, behind its name."""
    assert read_exchange_document(file_of([], "CUTTING_TOOL_SCHEMA_ARM { 1 0 10303 }")).report().components == []


@pytest.mark.parametrize(
    "broken",
    [
        "#900=PROPERTY_VALUE_ASSOCIATION($,#999,#998,$,$);",
        "#900=PROPERTY_VALUE_ASSOCIATION($,#900,#900,$,$);",
        "#900=PROPERTY_VALUE_ASSOCIATION($,#1);",
        "#900=SPECIFIC_ITEM_CLASSIFICATION((#900),'tool item',$);",
        "#900=SPECIFIC_ITEM_CLASSIFICATION($,'tool item',$);",
        "#900=CLASSIFICATION_ASSOCIATION(#901,#7,$,$);",
        "#900=ITEM(#900,'X',#900);",
        "#900=ITEM($,'\\X2\\D800\\X0\\',$);",
        "#900=ASSEMBLY_DEFINITION(#900,(),'',$,$);",
        "#900=ASSEMBLY_ASSOCIATION($,#900,#900);",
        "#900=(A()B());",
    ],
)
def test_a_broken_instance_costs_only_what_it_concerns(broken: str) -> None:
    """Dangling, of another entity, leading to itself, with too few parameters: a fault, and the tool is read."""
    file = ToolFile()
    file.value(_cutter(file), "DC", "8", "mm")
    file.lines.append(broken)
    report = _report(file)
    assert "KB-1" in [one.component["id"] for one in report.components]
    assert report.faults


def test_items_and_values_have_limits() -> None:
    """A file with more items is refused; an item with more values is read without them."""
    file = ToolFile()
    item = _cutter(file)
    for n in range(MAX_VALUES + 3):
        file.value(item, "HAND", str(n))
    report = _report(file)
    assert len(report.faults) == 3
    assert (len(report.components[0].unmapped), report.not_listed) == (MAX_VALUES, 0)
    with pytest.raises(UnreadableError):
        read_exchange_document(file_of(f"#{n}=ITEM($,'KB-{n}',$);" for n in range(1, MAX_ITEMS + 2)))


# --- the map -------------------------------------------------------------------------------------------------------


def test_a_map_is_the_same_in_json_and_yaml() -> None:
    """And in any order: its digest says so."""
    one = read_import_map(b'{"$schema": "x", "kinds": {"A": "collet", "B": {"kind": "drill"}}, "version": "3"}')
    other = read_import_map(b'version: "3"\nkinds: {B: drill, A: {kind: collet}}\n')
    assert one == other
    assert one.digest == other.digest
    digests = [
        read_import_map(text).digest
        for text in (b"{}", b'{"version": "3"}', b'{"heads": {"A": null}}', b'{"heads": {"B": null}}')
    ]
    assert len({one.digest, *digests}) == 5


@pytest.mark.parametrize(
    ("written", "pointer"),
    [
        (b'{"Codes": {}}', "/Codes"),
        (b'{"kinds": {"A": "colet"}}', "/kinds/A"),
        (b'{"kinds": {"A": {"kind": "collet", "workpiece_side": "glue"}}}', "/kinds/A/workpiece_side"),
        (b'{"codes": {"A": {"coupling": "hollow_taper", "size": "64"}}}', "/codes/A/size"),
        (b'{"classes": {"A": "taper"}}', "/classes/A"),
        (b'{"outline": "both"}', "/outline"),
        (b'{"heads": {"a/b": "nothing"}}', "/heads/a~1b"),
        (b'{"heads": {"Schaft": "DMM", " schaft ": "DC"}}', "/heads"),
        (b'{"din_4000": [{"list": "L", "fields": {"A": "DC", "B": "DX"}}]}', "/din_4000/0/fields/B"),
        (b'{"din_4000": [{"list": "L", "fields": {}}, {"list": "l", "fields": {}}]}', "/din_4000"),
        (b"[]", ""),
        (b"outline: both", "/outline"),
    ],
)
def test_a_wrong_map_is_refused_where_it_is_wrong(written: bytes, pointer: str) -> None:
    """With a pointer into the map."""
    with pytest.raises(BadRequestError) as found:
        read_import_map(written)
    assert found.value.faults[0].pointer == pointer


def test_the_schema_for_editors_takes_what_the_reader_takes() -> None:
    """The demo's map, and a kind as a word or with its clamp; it refuses a misspelt name."""
    jsonschema.Draft202012Validator.check_schema(import_map_schema())
    schema = jsonschema.Draft202012Validator(import_map_schema())
    full = json.loads(read_import_map(_MAP).model_dump_json(exclude_none=True))
    assert schema.is_valid(full)
    assert schema.is_valid({"kinds": {"A": "collet"}, "$schema": "x"})
    assert not schema.is_valid({"kind": {"A": "collet"}})
    assert not schema.is_valid({"codes": {"A": {"coupling": "hollow_taper", "size": "64"}}})


# --- property ------------------------------------------------------------------------------------------------------

_SIZES: Final = st.integers(100, 400_000).map(lambda thousandths: thousandths / 1000)


@given(
    st.fixed_dictionaries(
        {},
        optional={
            "overall_length_mm": _SIZES,
            "cutting_diameter_mm": _SIZES,
            "flute_length_mm": _SIZES,
            "mass_kg": _SIZES,
            "teeth": st.integers(1, 40),
            "helix_angle_deg": st.integers(0, 60),
            "description": st.text(st.characters(categories=["L", "N", "P", "S"]), min_size=1, max_size=40),
        },
    ),
    st.randoms(use_true_random=False),
)
@settings(max_examples=60, deadline=None)
def test_a_tool_is_read_back_as_it_was_written(fields: dict[str, Any], chance: Any) -> None:
    """Whatever of it is stated, in any order of the instances."""
    symbols = {
        "overall_length_mm": ("OAL", "mm"), "cutting_diameter_mm": ("DC", "mm"), "flute_length_mm": ("LCF", "mm"),
        "mass_kg": ("WT", "kg"), "teeth": ("NOF", None), "helix_angle_deg": ("FHA", "deg"),
    }  # fmt: skip
    file = ToolFile()
    item = file.item("KB-1", "tool item", description=fields.get("description"))
    for name, (symbol, unit) in symbols.items():
        if name in fields:
            file.value(item, symbol, str(fields[name]), unit)
    chance.shuffle(file.lines)
    assert _one(file).component == {"kind": "cutter", "id": "KB-1", **fields}

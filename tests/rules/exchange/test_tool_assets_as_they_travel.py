"""Documents as agents receive and send them: bare and in an envelope, old and new, tools alone and assembled."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import pytest
from lxml import etree

from rules.exchange.component_csv import read_component_csv
from rules.exchange.documents import read_import_map
from rules.exchange.imported import Import, ImportedPart, ImportOptions
from rules.exchange.tool_asset_import import read_cutting_tools

_SCHEMAS = Path(__file__).parent / "schemas"


def _enveloped(version: str, assets: str) -> str:
    devices = ' deviceModelChangeTime="2031-05-04T08:00:00Z"' if version == "2.4" else ""
    return (
        f'<MTConnectAssets xmlns="urn:mtconnect.org:MTConnectAssets:{version}"><Header version="{version}"'
        f' creationTime="2031-05-04T08:00:00Z" sender="kestrel-bay" instanceId="1"{devices} assetBufferSize="16"'
        f' assetCount="1"/><Assets>{assets}</Assets></MTConnectAssets>'
    )


_DOCUMENTS: Final = {
    "bare, assembled": """
        <CuttingTool serialNumber="0104" toolId="KB-FM63" timestamp="2031-05-04T08:00:00Z" assetId="KB-T-0104">
          <Description>face mill on its arbor</Description>
          <CuttingToolLifeCycle>
            <CutterStatus><Status>MEASURED</Status><Status>USED</Status></CutterStatus>
            <ToolLife type="MINUTES" countDirection="UP" warning="40" limit="45" initial="0">38</ToolLife>
            <ToolLife type="PART_COUNT" countDirection="DOWN" limit="0" initial="200">17</ToolLife>
            <Location type="POT" negativeOverlap="1">14</Location>
            <ProcessSpindleSpeed maximum="12000"/>
            <ConnectionCodeMachineSide>HSK-A63</ConnectionCodeMachineSide>
            <Measurements>
              <BodyDiameterMax code="BDX">63</BodyDiameterMax>
              <BodyLengthMax code="LBX">84.5</BodyLengthMax>
              <FunctionalLength code="LF" nominal="98.5">98.482</FunctionalLength>
              <ProtrudingLength code="LPR">98.9</ProtrudingLength>
              <CuttingDiameterMax code="DC">63.014</CuttingDiameterMax>
              <OverallToolLength code="OAL">130.5</OverallToolLength>
              <Weight code="WT">2340</Weight>
            </Measurements>
          </CuttingToolLifeCycle>
        </CuttingTool>""",
    "bare archetype, old": """
        <CuttingToolArchetype cuttingToolId="KB-EM10-4">
          <CuttingToolLifeCycle><Measurements>
            <ShankDiameter code="DMM" nominal="10"/><OverallToolLength code="OAL" nominal="72"/>
            <CuttingDiameterMax code="DC" nominal="10"/>
          </Measurements></CuttingToolLifeCycle>
        </CuttingToolArchetype>""",
    "bare, 1.2": """
        <CuttingTool xmlns="urn:mtconnect.org:MTConnectAssets:1.2" assetId="KB-T-7" serialNumber="7" toolId="KB-T"
          cuttingToolId="KB-T"><CuttingToolLifeCycle>
            <CutterStatus><Status>TAGGED_OUT</Status></CutterStatus>
            <ConnectionCodeMachineSide>KB-OWN-4</ConnectionCodeMachineSide>
            <Measurements><FunctionalLength nativeUnits="INCH">5.5</FunctionalLength></Measurements>
        </CuttingToolLifeCycle></CuttingTool>""",
    "1.3, archetype": _enveloped(
        "1.3",
        """<CuttingToolArchetype assetId="KB-SM50" timestamp="2031-05-04T08:00:00Z" toolId="KB-SM50">
          <CuttingToolLifeCycle><ConnectionCodeMachineSide>arbor 22</ConnectionCodeMachineSide>
            <Measurements><FunctionalLength>40</FunctionalLength></Measurements>
            <CuttingItems count="5"><CuttingItem indices="1-5"><Measurements><CuttingDiameter>50</CuttingDiameter>
            <CornerRadius>0.8</CornerRadius></Measurements></CuttingItem></CuttingItems>
          </CuttingToolLifeCycle></CuttingToolArchetype>""",
    ),
    "1.4, steps": _enveloped(
        "1.4",
        """<CuttingTool assetId="KB-T-31" timestamp="2031-05-04T08:00:00Z" serialNumber="31" toolId="KB-ST">
          <CuttingToolLifeCycle><CutterStatus><Status>NEW</Status></CutterStatus>
            <Measurements><ShankDiameter code="DMM">16</ShankDiameter></Measurements>
            <CuttingItems count="2">
              <CuttingItem indices="1"><Measurements><CuttingDiameter code="DC1">12.01</CuttingDiameter>
                <CornerRadius code="RE">0.4</CornerRadius></Measurements></CuttingItem>
              <CuttingItem indices="2"><CutterStatus><Status>BROKEN</Status></CutterStatus>
                <Measurements><CuttingDiameter code="DC2">15.98</CuttingDiameter>
                <CornerRadius code="RE">0.8</CornerRadius></Measurements></CuttingItem>
            </CuttingItems></CuttingToolLifeCycle></CuttingTool>""",
    ),
    "2.4, archetype without a number": _enveloped(
        "2.4",
        """<CuttingToolArchetype assetId="KB-DR8" timestamp="2031-05-04T08:00:00Z">
          <Description>drill</Description><CuttingToolLifeCycle>
            <Measurements><ShankDiameter code="DMM" units="MILLIMETER">8</ShankDiameter></Measurements>
            <CuttingItems count="1"><CuttingItem indices="1"><Measurements>
              <CuttingDiameter code="DC" units="MILLIMETER">8</CuttingDiameter>
              <PointAngle code="SIG" units="DEGREE">140</PointAngle>
            </Measurements></CuttingItem></CuttingItems></CuttingToolLifeCycle></CuttingToolArchetype>""",
    ),
    "2.0, unclear": _enveloped(
        "2.0",
        """<CuttingTool assetId="KB-T-52" timestamp="2031-05-04T08:00:00Z" serialNumber="52" toolId="KB-PB">
          <CuttingToolLifeCycle><CutterStatus><Status>AVAILABLE</Status></CutterStatus>
            <ConnectionCodeMachineSide>PSC 63</ConnectionCodeMachineSide>
            <Measurements><FunctionalLength>92</FunctionalLength><CuttingDiameterMax>32</CuttingDiameterMax>
            </Measurements></CuttingToolLifeCycle></CuttingTool>""",
    ),
    "bare, 2.4, prefixed": """
        <m:CuttingTool xmlns:m="urn:mtconnect.org:MTConnectAssets:2.4" assetId="KB-T-60" serialNumber="60" toolId="KB-X"
          timestamp="2031-05-04T08:00:00Z"><m:CuttingToolLifeCycle>
            <m:CutterStatus><m:Status>EXPIRED</m:Status></m:CutterStatus>
            <m:Location type="REMOVAL_POT" toolMagazine="m1">3</m:Location>
            <m:Measurements><m:FunctionalLength code="LF">120.25</m:FunctionalLength>
              <m:CuttingDiameterMax code="DC">12</m:CuttingDiameterMax></m:Measurements>
        </m:CuttingToolLifeCycle></m:CuttingTool>""",
}
"""Eight documents of an invented shop."""


def _read(name: str, **options: Any) -> Import:
    return read_cutting_tools(_DOCUMENTS[name].strip().encode(), ImportOptions(**options))


def _component(imported: Import) -> dict[str, Any]:
    assert (imported.faults, imported.assembled) == ((), ())
    return imported.parts[0].component.model_dump(exclude_none=True)


def _tool(imported: Import) -> dict[str, Any]:
    assert (imported.faults, imported.parts) == ((), ())
    return imported.assembled[0].tool.model_dump(exclude_none=True)


@pytest.mark.parametrize(
    ("name", "schema"),
    [
        ("bare, assembled", None),
        ("1.4, steps", "1.4"),
        ("2.4, archetype without a number", "2.4"),
        ("bare, 2.4, prefixed", "2.4"),
    ],
)
def test_the_documents_are_those_of_the_standard(name: str, schema: str | None) -> None:
    """By the public schemas, where there is one; a bare document without a namespace has none."""
    root = etree.fromstring(_DOCUMENTS[name].strip())
    if schema is None:
        root = etree.fromstring(
            _enveloped("1.4", _DOCUMENTS[name].replace("<Description>face mill on its arbor</Description>", ""))
        )
    etree.XMLSchema(etree.parse(_SCHEMAS / f"MTConnectAssets_{schema or '1.4'}_1.0.xsd")).assertValid(root)


def test_an_assembled_tool_is_read_whole() -> None:
    """Golden: every field; grams become kilograms, and the measured length takes precedence over the nominal one."""
    imported = _read("bare, assembled")
    assert imported.version is None
    assert _tool(imported) == {
        "id": "KB-T-0104",
        "serial": "0104",
        "part_number": "KB-FM63",
        "description": "face mill on its arbor",
        "spindle_side": {"coupling": "designated", "designation": "HSK-A63"},
        "functional_length_mm": 98.482,
        "protruding_length_mm": 98.9,
        "body_diameter_max_mm": 63.0,
        "body_length_max_mm": 84.5,
        "cutting_diameter_mm": 63.014,
        "mass_kg": 2.34,
        "max_speed_rpm": 12000.0,
        "status": ["measured", "used"],
        "life": [
            {"type": "minutes", "counts": "up", "value": 38.0, "initial": 0.0, "warning": 40.0, "limit": 45.0},
            {"type": "part_count", "counts": "down", "value": 17.0, "initial": 200.0, "limit": 0.0},
        ],
        "location": {"type": "pot", "name": "14"},
    }
    left = {one.name for one in imported.assembled[0].unmapped}
    assert left == {"FunctionalLength/@nominal", "Location/@negativeOverlap", "OverallToolLength"}


@pytest.mark.parametrize(
    ("name", "version", "component"),
    [
        (
            "bare archetype, old",
            None,
            {
                "kind": "cutter",
                "id": "KB-EM10-4",
                "part_number": "KB-EM10-4",
                "machine_side": {"coupling": "cylindrical", "diameter_mm": 10.0},
                "overall_length_mm": 72.0,
                "cutting_diameter_mm": 10.0,
            },
        ),
        (
            "1.3, archetype",
            "1.3",
            {
                "kind": "cutter",
                "id": "KB-SM50",
                "part_number": "KB-SM50",
                "machine_side": {"coupling": "shell_mill_arbor", "pilot_diameter_mm": 22.0},
                "gauge_length_mm": 40.0,
                "cutting_diameter_mm": 50.0,
                "corner_radius_mm": 0.8,
            },
        ),
        (
            "1.4, steps",
            "1.4",
            {
                "kind": "cutter",
                "id": "KB-T-31",
                "part_number": "KB-ST",
                "status": ["new", "broken"],
                "machine_side": {"coupling": "cylindrical", "diameter_mm": 16.0},
                "cutting_diameter_mm": 15.98,
            },
        ),
        (
            "2.4, archetype without a number",
            "2.4",
            {
                "kind": "cutter",
                "id": "KB-DR8",
                "description": "drill",
                "machine_side": {"coupling": "cylindrical", "diameter_mm": 8.0},
                "cutting_diameter_mm": 8.0,
                "point_angle_deg": 140.0,
            },
        ),
    ],
)
def test_a_tool_alone_is_a_component(name: str, version: str | None, component: dict[str, Any]) -> None:
    """Golden: archetypes, and tools with a shank and no functional length."""
    imported = _read(name)
    assert imported.version == version
    assert _component(imported) == component


@pytest.mark.parametrize(
    ("name", "tool"),
    [
        (
            "bare, 1.2",
            {
                "id": "KB-T-7",
                "serial": "7",
                "part_number": "KB-T",
                "spindle_side": {"coupling": "designated", "designation": "KB-OWN-4"},
                "functional_length_mm": 139.7,
                "status": ["tagged_out"],
            },
        ),
        (
            "bare, 2.4, prefixed",
            {
                "id": "KB-T-60",
                "serial": "60",
                "part_number": "KB-X",
                "functional_length_mm": 120.25,
                "cutting_diameter_mm": 12.0,
                "status": ["expired"],
                "location": {"type": "removal pot", "name": "3"},
            },
        ),
    ],
)
def test_a_functional_length_without_a_shank_is_of_an_assembled_tool(name: str, tool: dict[str, Any]) -> None:
    """Golden: whatever its connection code, unless that is a designation of a part's own end."""
    assert _tool(_read(name)) == tool


def test_the_largest_of_several_diameters_counts_with_a_note() -> None:
    """The smaller one is listed; two corner radii that differ are both left over."""
    (part,) = _read("1.4, steps").parts
    assert any("largest of 2 cutting diameters" in note for note in part.notes)
    left = [(one.name.rpartition("/")[2], one.value) for one in part.unmapped]
    assert ("CuttingDiameter", "12.01") in left
    assert ("CuttingDiameter", "15.98") not in left
    assert [one for one in left if one[0] == "CornerRadius"] == [("CornerRadius", "0.4"), ("CornerRadius", "0.8")]


def test_where_both_are_possible_the_caller_says_which() -> None:
    """A polygonal taper joins spindle and holder, and holder and tool."""
    imported = _read("2.0, unclear")
    assert (imported.parts, imported.assembled) == ((), ())
    assert "assembled tool" in imported.faults[0].detail
    assert _tool(_read("2.0, unclear", read_as="assembled"))["functional_length_mm"] == 92
    assert _component(_read("2.0, unclear", read_as="cutter"))["gauge_length_mm"] == 92


_LENGTH: Final = "<FunctionalLength>120</FunctionalLength>"
_SHANK: Final = "<ShankDiameter>12</ShankDiameter>"


@pytest.mark.parametrize(
    ("code", "measurements", "default", "as_assembled"),
    [
        ("SK 40", _SHANK, "assembled", "assembled"),
        ("HSK-A63", "", "assembled", "assembled"),
        ("MT3", _LENGTH, "fault", "assembled"),
        ("12 h6", _LENGTH, "component", "component"),
        ("arbor 22", _LENGTH, "component", "component"),
        ("OWN", _LENGTH, "assembled", "assembled"),
        ("", _LENGTH, "assembled", "assembled"),
        ("", "", "component", "assembled"),
        ("", _SHANK, "component", "component"),
        ("", _SHANK + _LENGTH, "fault", "assembled"),
        ("", _SHANK + _LENGTH + "<OverallToolLength>120</OverallToolLength>", "component", "component"),
        ("", _SHANK + _LENGTH + "<OverallToolLength>83</OverallToolLength>", "assembled", "assembled"),
        ("", _SHANK + _LENGTH + "<OverallToolLength>150</OverallToolLength>", "fault", "assembled"),
    ],
)
def test_coupling_and_lengths_say_what_a_tool_is(code: str, measurements: str, default: str, as_assembled: str) -> None:
    """First principles: a tool alone counts its length from its shank's end; an archetype is never assembled."""
    coupling = f"<ConnectionCodeMachineSide>{code}</ConnectionCodeMachineSide>" if code else ""
    cycle = (
        f"<CuttingToolLifeCycle>{coupling}<Measurements>{measurements}<CuttingDiameterMax>12</CuttingDiameterMax>"
        "</Measurements></CuttingToolLifeCycle>"
    )

    def made(name: str, **options: Any) -> str:
        imported = read_cutting_tools(f'<{name} assetId="a">{cycle}</{name}>'.encode(), ImportOptions(**options))
        return "component" if imported.parts else "assembled" if imported.assembled else "fault"

    assert made("CuttingTool") == default
    assert made("CuttingTool", read_as="assembled") == as_assembled
    assert made("CuttingTool", read_as="cutter") == "component"
    assert made("CuttingToolArchetype", read_as="assembled") == "component"


@pytest.mark.parametrize(
    ("inside", "name", "words"),
    [
        ("<CutterStatus><Status>MELTED</Status></CutterStatus>", "CutterStatus/Status", "status of the standard"),
        ("<CutterStatus><Status>new</Status></CutterStatus>", "CutterStatus/Status", "status of the standard"),
        ("<ToolLife type='HOURS' countDirection='UP'>3</ToolLife>", "ToolLife/@type", "word of the standard"),
        ("<ToolLife type='WEAR' countDirection='UP'>-3</ToolLife>", "ToolLife", "not a number"),
        ("<ToolLife type='WEAR' countDirection='UP' limit='1e999'>3</ToolLife>", "ToolLife/@limit", "not a number"),
        ("<Location type='POT'></Location>", "Location", "not a place"),
        (
            f"<Measurements>{_LENGTH}<FunctionalLength>119</FunctionalLength></Measurements>",
            "FunctionalLength",
            "different",
        ),
        ("<Measurements><FunctionalLength>9000</FunctionalLength></Measurements>", "FunctionalLength", "5000 or less"),
        ("<ConnectionCodeMachineSide>a\u202eb</ConnectionCodeMachineSide>", "ConnectionCodeMachineSide", ""),
    ],
)
def test_a_senseless_value_of_an_assembled_tool_is_listed(inside: str, name: str, words: str) -> None:
    """The tool is read without it."""
    data = (
        f'<CuttingTool assetId="a"><CuttingToolLifeCycle><Measurements><Weight>900</Weight></Measurements>{inside}'
        "</CuttingToolLifeCycle></CuttingTool>"
    )
    imported = read_cutting_tools(data.encode(), ImportOptions(read_as="assembled"))
    left = {one.name: one.reason for one in imported.assembled[0].unmapped}
    assert words in left[name]
    assert _tool(imported)["mass_kg"] == 0.9
    assert "functional_length_mm" not in _tool(imported)


def test_an_id_is_used_once_whatever_it_names() -> None:
    """A component and an assembled tool of one id: the first keeps it."""
    cycle = "<CuttingToolLifeCycle><Measurements>{}</Measurements></CuttingToolLifeCycle>"
    tool = f'<CuttingTool assetId="a">{cycle}</CuttingTool>'
    both = _enveloped("1.4", tool.format(_LENGTH) + tool.format("<CuttingDiameterMax>8</CuttingDiameterMax>"))
    imported = read_cutting_tools(both.encode())
    assert (len(imported.assembled), len(imported.parts), len(imported.faults)) == (1, 0, 1)


_MAP: Final = b"""{"codes": {"KB-OWN-4": {"coupling": "hollow_taper", "size": "63", "form": "A"}, "KB-SH": {"coupling":
 "cylindrical", "diameter_mm": 20}, "PSC 63": {"coupling": "declared", "designation": "own"}},
 "kinds": {"KB-DR": "drill", "KB-X": {"kind": "extension", "workpiece_side": "shrink_fit"}, "KB-C": "collet"}}"""


@pytest.mark.parametrize(
    ("name", "inside", "fields"),
    [
        ("KB-X", "", {"kind": "extension", "workpiece_side": {"coupling": "shrink_fit"}}),
        ("KB-DR", "DC", {"kind": "drill"}),
        ("KB-DR", "DC KB-SH", {"kind": "drill", "machine_side": {"coupling": "cylindrical", "diameter_mm": 20}}),
        ("KB-DR", "DC KB-OWN-4", {"kind": "drill", "machine_side": {"coupling": "hollow_taper", "size": "63"}}),
        ("KB-Z", "DC KB-SH", {"kind": "cutter"}),
        ("KB-Z", "DC KB-OWN-4", {"spindle_side": {"coupling": "hollow_taper", "size": "63", "form": "A"}}),
        ("KB-Z", "DC PSC 63", None),
        ("KB-C", "DC", None),
        ("KB-Z", "", None),
    ],
)
@pytest.mark.parametrize("form", ["asset", "table"])
def test_codes_and_kinds_of_the_map_count(name: str, inside: str, fields: dict[str, Any] | None, form: str) -> None:
    """As for ISO 13399 data; by them a tool is also known to be assembled. A kind that contradicts the data is none."""
    cuts, _, code = inside.partition(" ")
    options = ImportOptions(map=read_import_map(_MAP))
    if form == "asset":
        connection = f"<ConnectionCodeMachineSide>{code}</ConnectionCodeMachineSide>" if code else ""
        cutting = "<Measurements><CuttingDiameterMax>8</CuttingDiameterMax></Measurements>" if cuts else ""
        cycle = f"<CuttingToolLifeCycle>{connection}{cutting}</CuttingToolLifeCycle>"
        imported = read_cutting_tools(f'<CuttingTool assetId="{name}">{cycle}</CuttingTool>'.encode(), options)
    else:
        imported = read_component_csv(f"ID;CCMS;DC\n{name};{code};{'8' if cuts else ''}\n".encode(), options)
        if fields is None or name == "KB-Z":  # a table does not say that a part is a cutting tool
            fields = {"kind": "collet"} if name == "KB-C" else None
    made = [*imported.parts, *imported.assembled]
    assert len(made) == (fields is not None)
    assert len(imported.faults) == (fields is None)
    for one in made:
        stated = one.component if isinstance(one, ImportedPart) else one.tool
        written = stated.model_dump(mode="json", exclude_none=True)
        assert fields is not None
        assert {field: written[field] for field in fields if not isinstance(fields[field], dict)} == {
            field: value for field, value in fields.items() if not isinstance(value, dict)
        }
        assert all(
            value.items() <= written[field].items() for field, value in fields.items() if isinstance(value, dict)
        )


def test_a_code_of_the_map_goes_before_the_same_designation() -> None:
    """The operator knows what the maker's code means."""
    known = b'{"codes": {"HSK-A63": {"coupling": "declared", "designation": "own"}}}'
    data = b"ID;KIND;CCMS\nKB-1;base_holder;HSK-A63\n"
    sides = [
        read_component_csv(data, ImportOptions(map=read_import_map(text)))
        .report()
        .components[0]
        .component["machine_side"]
        for text in (known, b"{}")
    ]
    assert [one["coupling"] for one in sides] == ["declared", "hollow_taper"]

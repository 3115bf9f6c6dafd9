"""Components from MTConnect assets: contents by element name, nothing guessed."""

from __future__ import annotations

from typing import Any

import pytest

from rules.exchange.imported import Import, ImportedPart, ImportOptions
from rules.exchange.tool_asset_import import read_cutting_tools
from rules.exchange.untrusted import UnreadableError

_NAMESPACE = "urn:mtconnect.org:MTConnectAssets:1.4"


def _document(assets: str, namespace: str = _NAMESPACE) -> bytes:
    return f'<MTConnectAssets xmlns="{namespace}"><Header/><Assets>{assets}</Assets></MTConnectAssets>'.encode()


def _asset(inside: str, attributes: str = 'assetId="KB-1" timestamp="2031-05-04T08:00:00Z"') -> str:
    return f"<CuttingTool {attributes}><CuttingToolLifeCycle>{inside}</CuttingToolLifeCycle></CuttingTool>"


def _part(inside: str, **options: Any) -> ImportedPart:
    imported = read_cutting_tools(_document(_asset(inside)), ImportOptions(**options))
    assert imported.faults == ()
    (part,) = imported.parts
    return part


def _measured(*measurements: str) -> str:
    return f"<Measurements>{''.join(measurements)}</Measurements>"


def _stated(part: ImportedPart) -> dict[str, Any]:
    return part.component.model_dump(exclude_none=True)


def _left(part: ImportedPart) -> dict[str, str]:
    return {one.name: one.reason for one in part.unmapped}


def test_an_end_mill_is_read() -> None:
    """Golden: every measurement that has a field; grams become kilograms."""
    part = _part(
        '<ProcessSpindleSpeed maximum="24000"/>'
        + _measured(
            "<ShankDiameter>12</ShankDiameter>",
            "<ShankLength>45</ShankLength>",
            "<OverallToolLength>83</OverallToolLength>",
            "<CuttingDiameterMax>12</CuttingDiameterMax>",
            "<Weight>118.5</Weight>",
        )
    )
    assert _stated(part) == {
        "kind": "cutter",
        "id": "KB-1",
        "machine_side": {"coupling": "cylindrical", "diameter_mm": 12.0, "length_mm": 45.0},
        "overall_length_mm": 83.0,
        "cutting_diameter_mm": 12.0,
        "mass_kg": 0.1185,
        "max_speed_rpm": 24000.0,
    }
    assert part.unmapped == ()
    assert any("cutting tool alone" in note for note in part.notes)


def test_what_the_standard_cannot_carry_is_reported() -> None:
    """Workpiece side, runout, unbalance and grip have no place in the format, a mass has."""
    part = _part(_measured("<ShankDiameter>20</ShankDiameter>"), kind="extension")
    carried = {one.field: one.carried for one in part.not_stated}
    for field in ("workpiece_side", "runout", "unbalance_g_mm", "machine_side.tolerance", "joints.grip_length_mm"):
        assert carried[field] is False
    for field in ("mass_kg", "max_speed_rpm", "overall_length_mm", "machine_side.length_mm"):
        assert carried[field] is True


@pytest.mark.parametrize("version", ["1.2", "1.3", "1.4", "1.8", "2.0", "2.4", "2.10"])
def test_versions_are_read_by_their_namespace(version: str) -> None:
    """What is read has been the same since 1.2."""
    data = _document(_asset(_measured("<CuttingDiameterMax>8</CuttingDiameterMax>")), _NAMESPACE[:-3] + version)
    imported = read_cutting_tools(data)
    assert imported.version == version
    assert [part.component.id for part in imported.parts] == ["KB-1"]


@pytest.mark.parametrize(
    "data",
    [
        _document("", _NAMESPACE[:-3] + "1.1"),
        _document("", _NAMESPACE[:-3] + "3.0"),
        _document("", "urn:mtconnect.org:MTConnectStreams:1.4"),
        _document("", ""),
        f'<MTConnectError xmlns="{_NAMESPACE}"/>'.encode(),
        b"<html/>",
    ],
)
def test_other_documents_are_refused(data: bytes) -> None:
    """Neither another namespace nor another root is an assets document."""
    with pytest.raises(UnreadableError) as caught:
        read_cutting_tools(data)
    assert caught.value.cause == "unsuitable"


@pytest.mark.parametrize("root", ["CuttingTool", "CuttingToolArchetype"])
def test_a_single_asset_is_a_document(root: str) -> None:
    """An asset is often stored by itself."""
    data = f'<{root} xmlns="{_NAMESPACE}" assetId="KB-1"><CuttingToolLifeCycle/></{root}>'.encode()
    assert [part.component.kind for part in read_cutting_tools(data, ImportOptions(kind="collet")).parts] == ["collet"]


def test_a_prefix_makes_no_difference() -> None:
    """Names count with their namespace, however it is written."""
    data = (
        f'<m:CuttingTool xmlns:m="{_NAMESPACE}" assetId="KB-1"><m:CuttingToolLifeCycle><m:Measurements>'
        "<m:CuttingDiameterMax>8</m:CuttingDiameterMax></m:Measurements></m:CuttingToolLifeCycle></m:CuttingTool>"
    )
    (part,) = read_cutting_tools(data.encode()).parts
    assert _stated(part)["cutting_diameter_mm"] == 8


@pytest.mark.parametrize(
    ("measurement", "millimetres"),
    [
        ('<CuttingDiameterMax units="MILLIMETER">8</CuttingDiameterMax>', 8.0),
        ('<CuttingDiameterMax units="MILLIMETER" nativeUnits="INCH">12.7</CuttingDiameterMax>', 12.7),
        ('<CuttingDiameterMax nativeUnits="INCH">0.5</CuttingDiameterMax>', 12.7),
        ('<CuttingDiameterMax nativeUnits="MILLIMETER">8</CuttingDiameterMax>', 8.0),
        ('<CuttingDiameterMax units="CENTIMETER">1.2</CuttingDiameterMax>', 12.0),
        ("<CuttingDiameterMax> 8 </CuttingDiameterMax>", 8.0),
        ("<CuttingDiameterMax>8.0e0</CuttingDiameterMax>", 8.0),
        ('<CuttingDiameterMax nominal="8"/>', 8.0),
        ('<CuttingDiameterMax nominal="8">UNAVAILABLE</CuttingDiameterMax>', 8.0),
        ('<CuttingDiameterMax nominal="8">8.012</CuttingDiameterMax>', 8.012),
        ('<CuttingDiameterMax code="XX">8</CuttingDiameterMax>', 8.0),
    ],
)
def test_a_length_is_understood_in_its_unit(measurement: str, millimetres: float) -> None:
    """First principles: an inch is 25.4 mm; native units count only where units are missing."""
    assert _stated(_part(_measured(measurement)))["cutting_diameter_mm"] == millimetres


@pytest.mark.parametrize(
    ("measurement", "kilograms"),
    [
        ("<Weight>250</Weight>", 0.25),
        ('<Weight units="GRAM">250</Weight>', 0.25),
        ('<Weight units="KILOGRAM">2.5</Weight>', 2.5),
        ('<Weight nativeUnits="POUND">2</Weight>', 0.90718474),
    ],
)
def test_a_weight_without_a_unit_is_in_grams(measurement: str, kilograms: float) -> None:
    """First principles: the standard's unit is the gram; a pound is 0.45359237 kg."""
    assert _stated(_part(_measured(measurement), kind="collet"))["mass_kg"] == kilograms


def test_the_nominal_diameter_of_a_shank_wins_over_the_measured_one() -> None:
    """Golden: the contract asks the nominal size, and the measured one is listed."""
    part = _part(_measured('<ShankDiameter nominal="12" minimum="11.9">11.994</ShankDiameter>'), kind="gauge_pin")
    assert _stated(part)["machine_side"]["diameter_mm"] == 12
    assert set(_left(part)) == {"ShankDiameter", "ShankDiameter/@minimum"}


@pytest.mark.parametrize(
    ("measurement", "words"),
    [
        ("<Weight>-3</Weight>", "greater than 0"),
        ("<Weight>0</Weight>", "greater than 0"),
        ("<Weight>1e9</Weight>", "1000 or less"),
        ("<Weight>1e-9</Weight>", "or more"),
        ("<Weight>heavy</Weight>", "not a number"),
        ("<Weight>1,5</Weight>", "not a number"),
        ("<Weight>NaN</Weight>", "not a number"),
        ("<Weight>1e999</Weight>", "not a number"),
        ("<Weight></Weight>", "no value"),
        ("<Weight>UNAVAILABLE</Weight>", "no value"),
        ('<Weight units="MILLIMETER">3</Weight>', "unit"),
        ('<Weight units="STONE">3</Weight>', "unit"),
        ("<Weight>9<b/>9</Weight>", "more than a number"),
    ],
)
def test_a_senseless_measurement_is_listed_and_not_taken(measurement: str, words: str) -> None:
    """The schema lets negative numbers pass; a mass of none is never assumed."""
    part = _part(_measured(measurement), kind="collet")
    assert "mass_kg" not in _stated(part)
    assert words in _left(part)["Weight"]


def test_the_same_measurement_twice_must_agree() -> None:
    """Of two different values neither is taken."""
    part = _part(_measured("<Weight>100</Weight>", "<Weight>200</Weight>"), kind="collet")
    assert "mass_kg" not in _stated(part)
    assert [one.name for one in part.unmapped] == ["Weight", "Weight"]
    assert _stated(_part(_measured("<Weight>100</Weight>" * 2), kind="collet"))["mass_kg"] == 0.1


@pytest.mark.parametrize(
    "inside",
    [
        "<Measurements><ConnectionCodeMachineSide>AB</ConnectionCodeMachineSide></Measurements>",
        '<Measurements><ProcessSpindleSpeed maximum="9"/></Measurements>',
        "<Measurements><CuttingDiameter>9</CuttingDiameter></Measurements>",
        "<ConnectionCodeMachineSide>AB<x>C</x></ConnectionCodeMachineSide>",
        '<ProcessSpindleSpeed maximum="9"><x/></ProcessSpindleSpeed>',
        "<ShankDiameter>8</ShankDiameter>",
        "<Measurements><Measurements><Weight>8</Weight></Measurements></Measurements>",
    ],
)
def test_an_element_in_the_wrong_place_is_listed(inside: str) -> None:
    """Its name alone does not make it what it is."""
    part = _part(inside, kind="collet")
    assert _stated(part) == {"kind": "collet", "id": "KB-1"}
    assert part.unmapped


def test_a_cutter_stays_one_when_its_diameter_is_senseless() -> None:
    """The element says that it cuts; only the number is lost."""
    part = _part(_measured("<CuttingDiameterMax>-8</CuttingDiameterMax>"))
    assert _stated(part) == {"kind": "cutter", "id": "KB-1"}
    assert list(_left(part)) == ["CuttingDiameterMax"]


def test_the_element_counts_and_not_its_code() -> None:
    """A code that says something else is listed."""
    part = _part(_measured('<CuttingDiameterMax code="DMM">8</CuttingDiameterMax>'))
    assert _stated(part) == {"kind": "cutter", "id": "KB-1", "cutting_diameter_mm": 8.0}
    assert "CuttingDiameterMax/@code" in _left(part)


def test_a_connection_code_is_kept_and_never_interpreted() -> None:
    """It becomes a designation that is not known, so nothing is decided for it."""
    part = _part("<ConnectionCodeMachineSide>HSK63A</ConnectionCodeMachineSide>", kind="base_holder")
    assert _stated(part)["machine_side"] == {"coupling": "designated", "designation": "HSK63A"}


def test_a_connection_code_that_is_no_designation_is_listed() -> None:
    """The rest of the component stands."""
    part = _part("<ConnectionCodeMachineSide>a\u202eb</ConnectionCodeMachineSide>", kind="base_holder")
    assert "machine_side" not in _stated(part)
    assert "ConnectionCodeMachineSide" in _left(part)


def test_a_functional_length_counts_from_a_gauge_line() -> None:
    """Golden: with a taper it is the gauge length; with a shank, or a code that may mean one, it has no datum."""
    length = "<FunctionalLength>110</FunctionalLength>"
    cut = "<CuttingDiameterMax>50</CuttingDiameterMax>"
    coded = "<ConnectionCodeMachineSide>{}</ConnectionCodeMachineSide>"
    alone = {"read_as": "cutter"}
    known, unknown = coded.format("HSK-A63"), coded.format("AB")
    assert _stated(_part(known + _measured(length, cut), **alone))["gauge_length_mm"] == 110
    for part in (
        _part(_measured(length, cut), **alone),
        _part(unknown + _measured(length, cut), **alone),
        _part(unknown + _measured(length, cut, "<ShankDiameter>20</ShankDiameter>"), **alone),
    ):
        assert "gauge_length_mm" not in _stated(part)
        assert "FunctionalLength" in _left(part)


def test_the_kind_is_never_guessed() -> None:
    """A piece that states nothing that cuts is a component only when the caller says which."""
    data = _document(_asset(_measured("<ShankDiameter>20</ShankDiameter>")))
    imported = read_cutting_tools(data)
    assert imported.parts == ()
    assert "what kind of piece KB-1 is" in imported.faults[0].detail
    assert read_cutting_tools(data, ImportOptions(kind="reducer")).parts[0].component.kind == "reducer"


@pytest.mark.parametrize("inside", [_measured("<DepthOfCutMax>8</DepthOfCutMax>"), '<CuttingItems count="2"/>'])
def test_what_cuts_is_a_cutter_whatever_the_caller_says(inside: str) -> None:
    """The kind given is for those that do not say it."""
    assert _part(inside, kind="extension").component.kind == "cutter"


def test_everything_else_is_listed() -> None:
    """Nothing of a document is passed over in silence; header and timestamp are its envelope."""
    data = _document(
        '<CuttingTool assetId="KB-1" timestamp="2031-05-04T08:00:00Z" serialNumber="9" toolId="KB-EM" deviceUuid="d">'
        "<Description>an end mill</Description>"
        '<CuttingToolDefinition format="TEXT">free <x>text</x></CuttingToolDefinition>'
        '<CuttingToolArchetypeReference source="http://localhost/a">KB-A</CuttingToolArchetypeReference>'
        "<CuttingToolLifeCycle><CutterStatus><Status>NEW</Status></CutterStatus>"
        '<ToolLife type="MINUTES" countDirection="UP">3</ToolLife>'
        '<ProcessSpindleSpeed maximum="100" minimum="10" nominal="50">60</ProcessSpindleSpeed>'
        '<Measurements><BodyDiameterMax>20</BodyDiameterMax><e:Own xmlns:e="urn:own">7</e:Own></Measurements>'
        '<CuttingItems count="1"><CuttingItem indices="1"><Locus>x</Locus></CuttingItem></CuttingItems>'
        "</CuttingToolLifeCycle></CuttingTool><File assetId='f'/>"
    )
    imported = read_cutting_tools(data)
    (part,) = imported.parts
    assert _stated(part) == {
        "kind": "cutter",
        "id": "KB-1",
        "part_number": "KB-EM",
        "description": "an end mill",
        "status": ["new"],
        "max_speed_rpm": 100.0,
    }
    assert set(_left(part)) == {
        "serialNumber",
        "deviceUuid",
        "CuttingToolDefinition",
        "CuttingToolDefinition/@format",
        "CuttingToolDefinition/x",
        "CuttingToolArchetypeReference",
        "CuttingToolArchetypeReference/@source",
        "ToolLife",
        "ToolLife/@type",
        "ToolLife/@countDirection",
        "ProcessSpindleSpeed",
        "ProcessSpindleSpeed/@minimum",
        "ProcessSpindleSpeed/@nominal",
        "BodyDiameterMax",
        "Own",
        "CuttingItems/@count",
        "CuttingItems/CuttingItem/@indices",
        "CuttingItems/CuttingItem/Locus",
    }
    assert [(one.name, one.value) for one in imported.unmapped] == [("File", "f")]


def _ids(imported: Import) -> list[str]:
    return [part.component.id for part in imported.parts]


@pytest.mark.parametrize(
    ("attributes", "ids", "notes", "faults"),
    [
        ('assetId="a b/c"', ["a-b-c"], 1, 0),
        ('assetId="KB.1_x-2"', ["KB.1_x-2"], 0, 0),
        (f'assetId="{"x" * 99}"', ["x" * 64], 1, 0),
        ('assetId="…"', [], 0, 1),
        ("", [], 0, 1),
        ('assetId="KB-1" removed="true"', [], 0, 1),
        ('assetId="KB-1" removed="false"', ["KB-1"], 0, 0),
    ],
)
def test_the_id_is_that_of_the_asset(attributes: str, ids: list[str], notes: int, faults: int) -> None:
    """As it is where the contract allows it, else spelt anew, with a note; a removed asset is no piece."""
    imported = read_cutting_tools(_document(_asset("", attributes)), ImportOptions(kind="collet"))
    assert _ids(imported) == ids
    assert sum(len(part.notes) for part in imported.parts) == notes
    assert len(imported.faults) == faults


def test_an_id_used_again_is_a_fault() -> None:
    """The first keeps it, and the next asset is read all the same."""
    pieces = [_asset("", f'assetId="{name}"') for name in ("KB-1", "KB-1", "KB-2")]
    imported = read_cutting_tools(_document("\n".join(pieces)), ImportOptions(kind="collet"))
    assert _ids(imported) == ["KB-1", "KB-2"]
    assert [(one.line, one.name) for one in imported.faults] == [(2, "assetId")]


def test_the_same_document_gives_the_same_report() -> None:
    """Nothing depends on when or where it is read."""
    data = _document(_asset(_measured("<CuttingDiameterMax>8</CuttingDiameterMax>", "<Weight>-1</Weight>")))
    assert read_cutting_tools(data).report() == read_cutting_tools(data).report()

"""Lists of makers and shops: heads, units, decimal signs, outlines, maps, and DIN 4000 names."""

from __future__ import annotations

import math
from typing import Any

import pytest

from rules.exchange.component_csv import MAX_REJECTED, read_component_csv
from rules.exchange.documents import read_document, read_import_map
from rules.exchange.fields import is_field
from rules.exchange.imported import Import, ImportedPart, ImportOptions
from rules.exchange.symbols import symbols, synonyms
from rules.exchange.untrusted import UnreadableError
from rules.schema.parsing import BadRequestError
from rules.schema.strict_json import NotJSONError


def _read(text: str, known: str = "{}", **options: Any) -> Import:
    return read_component_csv(text.encode(), ImportOptions(map=read_import_map(known.encode()), **options))


def _part(text: str, known: str = "{}", **options: Any) -> ImportedPart:
    imported = _read(text, known, **options)
    assert imported.faults == ()
    return imported.parts[0]


def _stated(part: ImportedPart) -> dict[str, Any]:
    return part.component.model_dump(exclude_none=True)


@pytest.mark.parametrize(
    ("cell", "head", "millimetres"),
    [
        ("12", "DC", 12.0),
        ("12 mm", "DC", 12.0),
        ("12mm", "DC", 12.0),
        ("1.2 cm", "DC", 12.0),
        ("0.012 m", "DC", 12.0),
        ("12000 µm", "DC", 12.0),
        ("12000 \u03bcm", "DC", 12.0),
        ("0.5", "DC [in]", 12.7),
        ("0.5 in", "DC [inch]", None),
        ('0.5"', "DC", 12.7),
        ("1/2 in", "DC", 12.7),
        ("1/2", "DC [in]", 12.7),
        ("1 1/2", "DC [in]", 38.1),
        ("1-1/2", "DC [in]", 38.1),
        ("12 mm", "DC [mm]", 12.0),
        ("12 MM", "DC [mm]", 12.0),
        ("12 mm", "DC [in]", None),
        ("12", "DC [kg]", None),
        ("12", "DC []", None),
        ("1/2", "DC", None),
        ("1/2 mm", "DC", None),
    ],
)
def test_a_unit_stands_in_the_head_or_in_the_cell(cell: str, head: str, millimetres: float | None) -> None:
    """First principles: an inch is 25.4 mm; nothing is read where head and cell differ or the unit is no length's."""
    quoted = cell.replace('"', '""')
    part = _part(f'KIND;ID;"{head}"\ncutter;KB-1;"{quoted}"\n')
    assert _stated(part).get("cutting_diameter_mm") == millimetres
    assert [(one.line, one.column, one.value) for one in part.rejected] == ([] if millimetres else [(2, 3, cell)])


@pytest.mark.parametrize(
    ("head", "cell", "field", "value"),
    [
        ("WT [g]", "250", "mass_kg", 0.25),
        ("WT", "2 lb", "mass_kg", 0.90718474),
        ("RPMX [rpm]", "24000", "max_speed_rpm", 24000),
        ("RPMX", "24000 1/min", "max_speed_rpm", 24000),
        ("FHA [°]", "35", "helix_angle_deg", 35),
        ("UNBALANCE_GMM", "2.5 g·mm", "unbalance_g_mm", 2.5),
        ("NOF", "4", "teeth", 4),
        ("density_kg_m3 [kg/m3]", "7850", "density_kg_m3", 7850),
    ],
)
def test_other_quantities_have_units_too(head: str, cell: str, field: str, value: float) -> None:
    """First principles: a pound is 0.45359237 kg."""
    assert _stated(_part(f"KIND;ID;{head}\ncutter;KB-1;{cell}\n"))[field] == value


@pytest.mark.parametrize(("head", "cell"), [("NOF", "4 mm"), ("NOF [mm]", "4"), ("NOF", "4.5"), ("WT", "3 mm")])
def test_a_unit_that_the_field_cannot_have_rejects_the_cell(head: str, cell: str) -> None:
    """A count has none."""
    part = _part(f"KIND;ID;{head}\ncutter;KB-1;{cell}\n")
    assert _stated(part) == {"kind": "cutter", "id": "KB-1"}
    assert len(part.rejected) == 1


@pytest.mark.parametrize("cell", ["", " ", "-", " - ", "N/A", "n/a"])
@pytest.mark.parametrize("head", ["DC", "description", "machine_side.coupling", "WT [g]"])
def test_what_is_not_stated_is_neither_read_nor_wrong(cell: str, head: str) -> None:
    """Three signs of a missing value, and no others."""
    part = _part(f"KIND;ID;{head}\ncutter;KB-1;{cell}\n")
    assert (_stated(part), part.rejected, part.unmapped) == ({"kind": "cutter", "id": "KB-1"}, (), ())


@pytest.mark.parametrize(("row", "words"), [("-;KB-1;8", "KIND"), ("cutter;-;8", "ID"), ("cutter;K B;8", "id")])
def test_without_kind_or_id_there_is_no_component(row: str, words: str) -> None:
    """Everything else may be wrong."""
    imported = _read(f"KIND;ID;DC\n{row}\ncutter;KB-2;x\n")
    assert [part.component.id for part in imported.parts] == ["KB-2"]
    (fault,) = imported.faults
    assert fault.line == 2
    assert words.lower() in f"{fault.name} {fault.detail}".lower()


@pytest.mark.parametrize(
    ("cell", "value", "by_point"),
    [
        ("12,5", 12.5, None),
        ("12", 12.0, 12.0),
        ("1,25e1", 12.5, None),
        ("12.5", None, 12.5),
        ("1.234,5", None, None),
        ("1,234.5", None, None),
    ],
)
def test_a_decimal_comma_is_read_where_the_caller_says_so(
    cell: str, value: float | None, by_point: float | None
) -> None:
    """Never by a look at the table; the other sign is then wrong, as is one for thousands."""
    table = f"KIND;ID;DC\ncutter;KB-1;{cell}\n"
    part = _part(table, decimals="comma")
    assert _stated(part).get("cutting_diameter_mm") == value
    assert len(part.rejected) == (0 if value else 1)
    assert _stated(_part(table)).get("cutting_diameter_mm") == by_point


def test_decimal_commas_need_another_separator() -> None:
    """Which comma is which, nobody could say."""
    with pytest.raises(UnreadableError, match="another separator"):
        _read("KIND,ID,DC\ncutter,KB-1,8\n", decimals="comma")


@pytest.mark.parametrize(
    "heads", ["DMM;Shank diameter", "dmm;DMM", "DMM [mm];DMM [in]", "DMM;ShankDiameter", "BD_1;BD1", "Schaft;DMM"]
)
def test_two_heads_of_one_meaning_are_refused(heads: str) -> None:
    """Whatever they are called."""
    with pytest.raises(UnreadableError, match="columns 3 and 4"):
        _read(f"KIND;ID;{heads}\ncutter;KB-1;8;8\n", '{"heads": {"Schaft": "DMM"}}')


def test_every_synonym_leads_somewhere_and_hides_nothing() -> None:
    """To a symbol or a field, and no synonym is one itself."""
    assert all(means in symbols() or is_field(means) for means in synonyms().values())
    assert not any(head.upper() in symbols() or is_field(head) for head in synonyms())


def test_a_map_names_heads_and_passes_over_others() -> None:
    """Case and blanks do not count; what is passed over on purpose is not listed, what is unknown is."""
    known = (
        '{"heads": {"Schaft Ø": "DMM", "preis": null, "Artikel": "id", "Form": "kind", "L ges.": "overall_length_mm"}}'
    )
    imported = _read("Form;artikel;Schaft  ø [mm];L ges.;Preis;Farbe\ncutter;KB-1;12;83;9.50;red\n", known)
    assert _stated(imported.parts[0]) == {
        "kind": "cutter",
        "id": "KB-1",
        "machine_side": {"coupling": "cylindrical", "diameter_mm": 12.0},
        "overall_length_mm": 83.0,
    }
    assert [one.name for one in imported.unmapped] == ["Farbe"]


@pytest.mark.parametrize(
    ("text", "error"),
    [
        ("{", NotJSONError),
        ("[]", BadRequestError),
        ('{"heads": {"a": "nothing"}}', BadRequestError),
        ('{"heads": {"a": 3}}', BadRequestError),
        ('{"head": {}}', BadRequestError),
        ('{"outline": "both"}', BadRequestError),
        ('{"din_4000": [{"list": "x"}]}', BadRequestError),
        ('{"heads": {"a": "DMM", "a": "DC"}}', NotJSONError),
    ],
)
def test_a_wrong_map_is_refused(text: str, error: type[Exception]) -> None:
    """Before a document is read; a target must exist."""
    with pytest.raises(error):
        read_import_map(text.encode())


_OUTLINE = "KIND;ID;LF;BD_1;LB_1;BHTA_1;BD_2;LB_2\nbase_holder;KB-1;{};{};{};{};{};{}\n"
_CONE = round(24 + 2 * 55 * math.tan(math.radians(4.2)), 6)


@pytest.mark.parametrize(
    ("cells", "outline", "profile"),
    [
        (("90", "42", "38", "", "50", "52"), None, [(52, 50, None), (38, 42, None)]),
        (("90", "42", "38", "", "50", "90"), None, [(52, 50, None), (38, 42, None)]),
        (("90", "24", "55", "4.2", "40", "35"), None, [(35, 40, None), (55, _CONE, 24)]),
        (("-", "42", "38", "", "50", "52"), "individual", [(52, 50, None), (38, 42, None)]),
        (("-", "42", "38", "", "50", "90"), "cumulative", [(52, 50, None), (38, 42, None)]),
        (("90", "42", "38", "", "50", "52.04"), None, [(52.04, 50, None), (38, 42, None)]),
        (("90", "42", "38", "", "50", "52.06"), None, None),
        (("-", "42", "38", "", "50", "52"), None, None),
        (("90", "42", "38", "", "50", "52"), "cumulative", None),
        (("90", "42", "38", "", "-", "52"), None, None),
        (("90", "42", "38", "", "50", "x"), None, None),
        (("90", "42", "-38", "", "50", "128"), None, None),
        (("90", "0", "38", "", "50", "52"), None, None),
        (("90", "42", "38", "95", "50", "52"), None, None),
        (("90", "42", "90", "", "-", "-"), None, [(90, 42, None)]),
    ],
)
def test_a_numbered_outline_is_read_if_it_is_one(
    cells: tuple[str, ...], outline: str | None, profile: list[tuple[float, float, float | None]] | None
) -> None:
    """First principles: number 1 is at the workpiece; lengths sum to the gauge length in one reading; no gaps."""
    part = _part(_OUTLINE.format(*cells), "{}" if outline is None else f'{{"outline": "{outline}"}}')
    found = part.component.profile
    if profile is None:
        assert found is None
        assert {one.name for one in (*part.unmapped, *part.rejected)} >= {"BD_1", "LB_1", "LB_2"}
    else:
        assert found is not None
        assert [(one.length_mm, one.outer_mm, one.outer_end_mm) for one in found] == profile
        assert part.unmapped == ()


def test_a_table_of_wrong_cells_ends_somewhere() -> None:
    """After so many the rest is not read, which is a fault."""
    heads = ";".join(f"profile.{n}.length_mm" for n in range(100))
    row = ";".join(["x"] * 100)
    table = f"KIND;ID;{heads}\n" + "".join(f"cutter;K{n};{row}\n" for n in range(MAX_REJECTED // 100 + 50))
    imported = _read(table)
    assert len(imported.parts) == MAX_REJECTED // 100 + 1
    assert "was not read" in imported.faults[-1].detail


_DIN = """<?xml version="1.0"?>
<Tool-Data><Tool><Properties>
<Property-Data><PropertyName source="din_mk">NSM</PropertyName><Value>{list}</Value></Property-Data>
<Property-Data><PropertyName source="din_mk">BLD</PropertyName><Value>{figure}</Value></Property-Data>
<Property-Data><PropertyName source="din_mk">J21</PropertyName><Value>KB-D-1</Value></Property-Data>
<Property-Data><PropertyName source="din_mk">B3</PropertyName><Value>{length}</Value></Property-Data>
<Property-Data><PropertyName source="din_mk">A1</PropertyName><Value>{diameter}</Value></Property-Data>
<Property-Data><PropertyName source="din_mk">H4</PropertyName><Value>7</Value></Property-Data>
<Property-Data><PropertyName source="shop">B3</PropertyName><Value>99</Value></Property-Data>
<Property-Data><PropertyName source="din_mk">C1</PropertyName></Property-Data>
</Properties><Pictures>none</Pictures></Tool></Tool-Data>"""
_DIN_MAP = """{"din_4000": [
 {"list": "DIN 4000-89", "figure": "1", "kind": "base_holder",
  "fields": {"J21": "id", "B3": "LF", "A1": "DF", "H4": null}},
 {"list": "DIN 4000-89", "kind": "extension", "fields": {"J21": "id", "B3": "overall_length_mm"}}]}"""


def _din(known: str = _DIN_MAP, **values: str) -> Import:
    stated = {"list": "DIN 4000-89", "figure": "1", "length": "90", "diameter": "63"} | values
    return read_document(
        _DIN.format(**stated).encode(), "mtconnect_assets", ImportOptions(map=read_import_map(known.encode()))
    )


def test_din_4000_names_mean_what_the_map_says() -> None:
    """By list and figure; the other names, names of other sources and what is no pair are left over with a reason."""
    imported = _din()
    assert (imported.format, imported.faults) == ("din_4000", ())
    (part,) = imported.parts
    assert _stated(part) == {"kind": "base_holder", "id": "KB-D-1", "gauge_length_mm": 90.0}
    left = {(one.name, one.value, one.line) for one in part.unmapped}
    assert left == {("A1", "63", 7), ("B3", "99", 9), ("Property-Data", "", 10), ("Pictures", "none", 11)}


def test_a_figure_without_an_entry_takes_that_of_the_list() -> None:
    """One that names the figure takes precedence."""
    (part,) = _din(figure="2").parts
    assert _stated(part) == {"kind": "extension", "id": "KB-D-1", "overall_length_mm": 90.0}
    assert {one.name for one in part.unmapped} == {"A1", "B3", "H4", "Property-Data", "Pictures"}


@pytest.mark.parametrize("values", [{"list": "DIN 4000-82"}, {"list": ""}])
def test_without_an_entry_everything_is_left_over(values: dict[str, str]) -> None:
    """Nothing is built in; the fault says for which list."""
    imported = _din(**values)
    assert imported.parts == ()
    assert [one.name for one in imported.faults] == [None]
    assert [one.name for one in imported.unmapped][:6] == ["NSM", "BLD", "J21", "B3", "A1", "H4"]
    assert _din("{}").parts == ()


def test_a_wrong_value_of_a_property_is_rejected_alone() -> None:
    """At its line."""
    (part,) = _din(length="long").parts
    assert [(one.name, one.value, one.line) for one in part.rejected] == [("B3", "long", 6)]


def test_a_wrong_target_is_told_as_such() -> None:
    """Where it stands, and that no such symbol or field exists."""
    with pytest.raises(BadRequestError) as caught:
        read_import_map(b'{"heads": {"a": "DM"}}')
    assert [(one.pointer, "neither a symbol" in one.detail) for one in caught.value.faults] == [("/heads/a", True)]

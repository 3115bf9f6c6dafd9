"""Components from CSV: valid rows are read, each fault has its place, nothing is guessed."""

from __future__ import annotations

from contextlib import suppress
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.exchange.component_csv import MAX_COLUMNS, MAX_FAULTS, MAX_ROWS, read_component_csv
from rules.exchange.imported import Import, ImportOptions
from rules.exchange.untrusted import MAX_BYTES, UnreadableError


def _read(text: str, **options: Any) -> Import:
    return read_component_csv(text.encode(), ImportOptions(**options))


def _only(imported: Import) -> dict[str, Any]:
    assert imported.faults == ()
    (part,) = imported.parts
    return part.component.model_dump(exclude_none=True)


def _faults(imported: Import) -> list[tuple[int | None, int | None, str | None]]:
    return [(one.line, one.column, one.name) for one in imported.faults]


def test_symbols_fill_the_fields_of_a_cutter() -> None:
    """Golden: one row with every symbol of a solid end mill."""
    made = _only(
        _read(
            "KIND,ID,DMM,TCDMM,LS,OAL,DC,NOF,LCF,FHA,LSCN,WT,BMC,RPMX,RUNOUT_UM,RUNOUT_AT_MM,UNBALANCE_GMM\n"
            "cutter,KB-1,8,h6,36,63,8,3,19,35,28,0.043,HW,38000,3,24,0.03\n"
        )
    )
    assert made == {
        "kind": "cutter",
        "id": "KB-1",
        "machine_side": {
            "coupling": "cylindrical",
            "diameter_mm": 8.0,
            "tolerance": "h6",
            "length_mm": 36.0,
            "minimum_grip_mm": 28.0,
        },
        "overall_length_mm": 63.0,
        "cutting_diameter_mm": 8.0,
        "teeth": 3,
        "flute_length_mm": 19.0,
        "helix_angle_deg": 35.0,
        "mass_kg": 0.043,
        "material": "cemented_carbide",
        "max_speed_rpm": 38000.0,
        "runout": {"statements": [{"tir_um": 3.0, "at_mm": 24.0}]},
        "unbalance_g_mm": 0.03,
    }


@pytest.mark.parametrize(
    ("head", "cells", "field", "value"),
    [
        ("DC", "0.5 in", "cutting_diameter_mm", 12.7),
        ("DC", "1/4 in", "cutting_diameter_mm", 6.35),
        ("DC", "12.70", "cutting_diameter_mm", 12.7),
        ("DC", " 12.7 ", "cutting_diameter_mm", 12.7),
        ("DCX", "63", "cutting_diameter_mm", 63.0),
        ("NOF", "4.0", "teeth", 4),
        ("ZEFP", "4", "teeth", 4),
        ("coolant_through", "TRUE", "coolant_through", True),
        ("coolant_through", "false", "coolant_through", False),
        ("part_number", "12", "part_number", "12"),
        ("description", "=1+1", "description", "=1+1"),
        ("BMC", "HSS-E", "material", "high_speed_steel"),
        ("BMC", "tool_steel", "material", "tool_steel"),
        ("material", "ceramic", "material", "ceramic"),
        ("WT", "2e-3", "mass_kg", 0.002),
    ],
)
def test_a_cell_is_what_its_field_wants(head: str, cells: str, field: str, value: object) -> None:
    """First principles: an inch is 25.4 mm; digits stay text where the contract wants text."""
    assert _only(_read(f"KIND\tID\t{head}\ncutter\tKB-1\t{cells}\n"))[field] == value


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_separator_line_end_and_byte_order_mark_make_no_difference(separator: str, end: str, mark: str) -> None:
    """The head line tells the separator; spreadsheets write all of these."""
    lines = [separator.join(row) for row in (["KIND", "ID", "NOF"], ["cutter", "KB-1", "4"])]
    assert _only(_read(mark + end.join(lines) + end))["teeth"] == 4


@pytest.mark.parametrize("mark", ["\ufeff", "\u200b", "\u2060"])
def test_a_mark_that_nobody_sees_makes_no_difference(mark: str) -> None:
    """Files joined by a shell have a byte order mark inside; cells copied from a web page have marks of zero width."""
    made = _only(_read(f"KIND,ID,{mark}NOF,TCDMM,DMM\ncutter,KB-1,4,{mark}h6{mark},8\n"))
    assert (made["teeth"], made["machine_side"]["tolerance"]) == (4, "h6")


def test_quotes_hold_separators_and_quotes() -> None:
    """RFC 4180: a quoted cell may hold the separator, and a quote written twice."""
    made = _only(_read('KIND,ID,description\ncutter,KB-1,"a ""long"", slim one"\n'))
    assert made["description"] == 'a "long", slim one'


@pytest.mark.parametrize(
    ("cell", "reason"),
    [
        ("12,5", "decimal point"),
        ("1.234,5", "decimal point"),
        ("-3", "0.001 or more"),
        ("0", "0.001 or more"),
        ("6000", "5000 or less"),
        ("nan", "number is expected"),
        ("1e999", "5000 or less|finite"),
        ("12 furlong", "that unit"),
        ("12 kg", "that unit"),
        ("12.5.1", "number is expected"),
        ("1.", "number is expected"),
        (".5", "number is expected"),
        ("1 2", "that unit"),
        ("1/2", "only inches"),
        ("1/3 in", "that unit"),
        ("١٢", "number is expected"),
        ("１２", "number is expected"),
        ("0x10", "that unit"),
        ("=8", "number is expected"),
        ("1_000", "that unit"),
        ("1'000", "that unit"),
        ("1e", "that unit"),
        ("9" * 21, "number is expected"),
        ("0." + "3" * 21, "number is expected"),
    ],
)
def test_a_wrong_length_is_a_fault_of_its_cell(cell: str, reason: str) -> None:
    """The part comes without it, with line, column and head; a strict reader refuses the row and not its neighbours."""
    table = f"KIND;ID;DC\ncutter;KB-1;8\ncutter;KB-2;{cell}\ncutter;KB-3;9\n"
    lenient = _read(table)
    assert lenient.faults == ()
    assert [part.component.id for part in lenient.parts] == ["KB-1", "KB-2", "KB-3"]
    (left,) = lenient.parts[1].rejected
    assert (left.line, left.column, left.name) == (3, 3, "DC")
    assert "cutting_diameter_mm" not in lenient.parts[1].component.model_dump(exclude_none=True)
    imported = _read(table, strict=True)
    assert imported.faults[0].detail == left.reason
    assert [part.component.id for part in imported.parts] == ["KB-1", "KB-3"]
    assert _faults(imported) == [(3, 3, "DC")]
    assert any(word in imported.faults[0].detail for word in reason.split("|"))


@pytest.mark.parametrize(
    ("row", "faults"),
    [
        ("cutter,KB-2", [(3, 3, None)]),
        ("cutter,KB-2,8,9", [(3, 4, None)]),
        ("drillbit,KB-2,8", [(3, 1, "KIND")]),
        (",KB-2,8", [(3, None, "KIND")]),
        ("cutter,,8", [(3, None, "ID")]),
        ("cutter,KB 2,8", [(3, 2, "ID")]),
        ("cutter,KB-1,8", [(3, None, "ID")]),
        ('cutter,"KB\n2",8', [(3, 2, "ID")]),
        ("cutter,KB-2,8\x1b[2J", [(3, 3, "DC")]),
    ],
    ids=["short", "long", "kind", "no kind", "no id", "id", "same id", "two lines", "control character"],
)
def test_a_faulty_row_does_not_stop_the_others(row: str, faults: list[object]) -> None:
    """Each fault stands at its line, the line a row begins in."""
    imported = _read(f"KIND,ID,DC\ncutter,KB-1,8\n{row}\ncutter,KB-3,9\n", strict=True)
    assert [part.component.id for part in imported.parts] == ["KB-1", "KB-3"]
    assert _faults(imported) == faults


def test_faults_of_one_row_are_all_told() -> None:
    """A table is mended in one round."""
    imported = _read("KIND,ID,DC,WT,NOF\ncutter,KB-1,x,-1,2.5\n", strict=True)
    assert sorted(one.name or "" for one in imported.faults) == ["DC", "NOF", "WT"]


@pytest.mark.parametrize(
    "text",
    [
        'KIND,ID,DC\ncutter,KB-1,8\ncutter,"KB-2,9\ncutter,KB-3,9\n',
        'KIND,ID,DC\ncutter,KB-1,8\ncutter,"KB"-2,9\n',
        "KIND,ID,DC\ncutter,KB-1,8\ncutter,KB-2," + "9" * 200_000 + "\n",
    ],
    ids=["quote not closed", "text after a quote", "giant cell"],
)
def test_a_table_that_breaks_gives_what_came_before(text: str) -> None:
    """From there on cells cannot be told apart, and the fault says from which line."""
    imported = _read(text)
    assert [part.component.id for part in imported.parts] == ["KB-1"]
    assert _faults(imported) == [(3, None, None)]


@pytest.mark.parametrize(
    ("data", "cause", "words"),
    [
        (b"", "malformed", "empty"),
        (b" \n \n", "malformed", "empty"),
        (b"KIND,ID\ncutter,\xff\n", "malformed", "UTF-8"),
        ("KIND,ID\ncutter,KB-1\n".encode("utf-16"), "malformed", "UTF-16"),
        ("KIND,ID\ncutter,KB-1\n".encode("utf-16-le"), "malformed", "NUL"),
        (b"KIND,ID\ncutter,K\x00B\n", "malformed", "NUL"),
        (b"KIND ID\ncutter KB-1\n", "unsuitable", "no comma"),
        (b"KIND,ID;DC\ncutter,KB-1;8\n", "unsuitable", "commas and semicolons"),
        (b"KIND,DC\ncutter,8\n", "unsuitable", "heading ID"),
        (b"ID,DC\nKB-1,8\n", "unsuitable", "heading KIND"),
        (b"KIND,ID,DC,DC\ncutter,KB-1,8,8\n", "unsuitable", "columns 3 and 4"),
        (b"KIND,ID,id\ncutter,KB-1,KB-1\n", "unsuitable", "columns 2 and 3"),
        (b"KIND,ID,RUNOUT_UM,runout.statements.0.tir_um\n", "unsuitable", "columns 3 and 4"),
        (b'"KIND,ID\ncutter,KB-1\n', "unsuitable", "no comma"),
        (b'KIND,"ID\ncutter,KB-1\n', "malformed", "unexpected end"),
        (b"KIND,ID," + b",".join(b"x%d" % n for n in range(MAX_COLUMNS)), "unsuitable", "columns"),
        (b"KIND,ID\n" + b"".join(b"cutter,K%d\n" % n for n in range(MAX_ROWS + 1)), "unsuitable", "rows"),
        (b"KIND,ID\n" + b"#" * MAX_BYTES, "unsuitable", "bytes"),
    ],
)
def test_a_table_of_which_nothing_can_be_used_is_refused(data: bytes, cause: str, words: str) -> None:
    """Not text, no head line, or more than is read: an error and no import."""
    with pytest.raises(UnreadableError, match=words) as caught:
        read_component_csv(data)
    assert caught.value.cause == cause


def test_heads_that_mean_nothing_are_listed() -> None:
    """Once for the table, with a likely spelling, and the rows are read without them."""
    imported = _read("KIND,ID,DMMM,PRICE,,mass_g\ncutter,KB-1,8,12.50,,30\n")
    assert [(one.name, one.column) for one in imported.unmapped] == [("DMMM", 3), ("PRICE", 4), ("", 5), ("mass_g", 6)]
    assert "did you mean DMM" in imported.unmapped[0].reason
    assert len(imported.parts) == 1


@pytest.mark.parametrize(
    ("head", "cell", "kind", "words"),
    [
        ("APMX", "18", "cutter", "LCF"),
        ("TQ", "20", "base_holder", "RATED_TORQUE_NM"),
        ("BD", "16", "extension", "profile"),
        ("OHX", "60", "extension", "joint"),
        ("CXSC", "1", "cutter", "coolant_through"),
        ("OAL", "120", "base_holder", "not the datum"),
        ("BMC", "HC", "cutter", "material"),
        ("DCON", "20", "cutter", "coupling of the machine side is not stated"),
        ("CZCMS", "63", "cutter", "code"),
        ("LPR", "60", "base_holder", "nut"),
        ("LF", "60", "cutter", "gauge line"),
        ("CCWS", "AB12", "cutter", "no workpiece side"),
    ],
)
def test_a_symbol_without_a_place_is_listed(head: str, cell: str, kind: str, words: str) -> None:
    """The component comes without it, and the reason stands beside the value."""
    imported = _read(f"KIND,ID,{head}\n{kind},KB-1,{cell}\n")
    (part,) = imported.parts
    assert part.component.model_dump(exclude_none=True) == {"kind": kind, "id": "KB-1"}
    ((left),) = part.unmapped
    assert (left.name, left.value, left.line, left.column) == (head, cell, 2, 3)
    assert words in left.reason


@pytest.mark.parametrize(
    ("heads", "cells", "left"),
    [
        ("NOF,ZEFP", "4,5", ["NOF", "ZEFP"]),
        ("DCONMS,DMM", "20,25", ["DCONMS", "DMM"]),
        ("DC,DCX", "50,63", ["DC"]),
        ("NOF,ZEFP", "4,4.0", []),
    ],
)
def test_two_symbols_for_one_field_must_agree(heads: str, cells: str, left: list[str]) -> None:
    """Where they differ neither is taken, unless the table says which one wins."""
    imported = _read(f"KIND,ID,{heads}\ncutter,KB-1,{cells}\n")
    (part,) = imported.parts
    assert sorted(one.name for one in part.unmapped) == left


@pytest.mark.parametrize(
    ("heads", "cells", "side"),
    [
        ("DMM", "20", {"coupling": "cylindrical", "diameter_mm": 20.0}),
        ("CCMS", "AB12", {"coupling": "designated", "designation": "AB12"}),
        ("CCMS,CZCMS", "AB12,63", {"coupling": "designated", "designation": "AB12 63"}),
        ("CZCMS,CCMS", "63,AB12", {"coupling": "designated", "designation": "AB12 63"}),
        ("CCMS,DMM", "AB12,20", {"coupling": "cylindrical", "diameter_mm": 20.0}),
        ("CCMS,DMM,machine_side.coupling", "AB12,20,cylindrical", {"coupling": "cylindrical", "diameter_mm": 20.0}),
        ("CCMS,machine_side.coupling", "AB12,declared", {"coupling": "declared", "designation": "AB12"}),
        (
            "CCMS,machine_side.coupling,machine_side.designation",
            "AB12,declared,own",
            {"coupling": "declared", "designation": "own"},
        ),
        (
            "DCB,machine_side.coupling",
            "22,shell_mill_arbor",
            {"coupling": "shell_mill_arbor", "pilot_diameter_mm": 22.0},
        ),
    ],
)
def test_the_coupling_is_what_the_document_says_it_is(heads: str, cells: str, side: dict[str, object]) -> None:
    """Words first, then a designation of the standards, then a shank by its diameter; no other code is interpreted."""
    imported = _read(f"KIND,ID,{heads}\ncutter,KB-1,{cells}\n")
    (part,) = imported.parts
    assert part.component.model_dump(exclude_none=True)["machine_side"] == side


@pytest.mark.parametrize(
    ("heads", "cells", "length"),
    [
        ("LF", "80", None),
        ("DMM,LF", "20,80", None),
        ("CCMS,LF", "HSK-A63,80", 80.0),
        ("CCMS,LF", "AB12,80", None),
        ("CCMS,DMM,LF", "AB12,20,80", None),
        ("CCMS,LF,LPR", "HSK-A63,78,80", 78.0),
        ("machine_side.coupling,LF", "polygonal_taper,80", 80.0),
        ("machine_side.coupling,LF", "cylindrical,80", None),
    ],
)
def test_a_length_from_the_gauge_line_needs_a_gauge_line(heads: str, cells: str, length: float | None) -> None:
    """A straight shank has none, and of a code that may be one nothing is taken for granted."""
    imported = _read(f"KIND,ID,{heads}\nextension,KB-1,{cells}\n")
    (part,) = imported.parts
    assert part.component.model_dump()["gauge_length_mm"] == length
    assert {one.name for one in part.unmapped} >= ({"LF"} if length is None else set())


@pytest.mark.parametrize(
    ("heads", "cells", "fault"),
    [
        ("machine_side.diameter_mm", "8", (2, 3, "machine_side.diameter_mm")),
        ("gauge_length_mm", "8", (2, 3, "gauge_length_mm")),
        ("machine_side.coupling,machine_side.size", "steep_taper,41", (2, 4, "machine_side.size")),
        ("machine_side.coupling,machine_side.length_mm", "declared,41", (2, 4, "machine_side.length_mm")),
        ("runout.statements.1.tir_um,runout.statements.1.at_mm", "3,0", (2, 3, "runout.statements.1.tir_um")),
        ("RUNOUT_UM", "3", (2, 3, "RUNOUT_UM")),
        ("coolant_through", "yes", (2, 3, "coolant_through")),
        ("profile.250.outer_mm", "3", (2, 3, "profile.250.outer_mm")),
    ],
)
def test_a_field_named_by_its_path_must_be_right(heads: str, cells: str, fault: tuple[object, ...]) -> None:
    """Who names a field of the contract is told when the component has none, as in a request."""
    imported = _read(f"KIND,ID,{heads}\ncollet,KB-1,{cells}\n", strict=True)
    assert imported.parts == ()
    assert _faults(imported)[0] == fault


def test_kind_may_be_given_for_the_whole_table() -> None:
    """It holds for rows that do not say their own."""
    imported = _read("ID,KIND\nKB-1,\nKB-2,cutter\n", kind="gauge_pin")
    assert [part.component.kind for part in imported.parts] == ["gauge_pin", "cutter"]
    assert [part.component.kind for part in _read("ID,OAL\nKB-1,8\n", kind="reducer").parts] == ["reducer"]


def test_text_that_looks_like_a_formula_is_noted() -> None:
    """It stays text to the letter; a signed number is no formula."""
    imported = _read(
        "KIND,ID,description,machine_side.coupling,machine_side.deviation.lower_um,machine_side.deviation.upper_um\n"
        "cutter,KB-1,@sum,cylindrical,-13,+2\n"
    )
    (part,) = imported.parts
    assert part.component.description == "@sum"
    assert len(part.notes) == 1
    assert "description" in part.notes[0]


def test_what_a_check_will_ask_is_listed() -> None:
    """Empty fields, those of a coupling too; a grip belongs to the stack, so no table can state it."""
    imported = _read("KIND,ID,DMM,TCDMM\ngauge_pin,KB-1,8,h6\n")
    missing = {one.field: one.carried for one in imported.parts[0].not_stated}
    assert {"machine_side.length_mm", "overall_length_mm", "runout", "unbalance_g_mm"} <= missing.keys()
    assert not {"machine_side.diameter_mm", "machine_side.tolerance", "machine_side"} & missing.keys()
    assert missing["joints.grip_length_mm"] is False
    assert missing["runout"] is True


def test_a_deviation_stands_for_a_tolerance() -> None:
    """Limits of size are as good as a class."""
    heads = "machine_side.coupling,machine_side.deviation.lower_um,machine_side.deviation.upper_um"
    imported = _read(f"KIND,ID,{heads}\ncutter,KB-1,cylindrical,-9,0\n")
    assert "machine_side.tolerance" not in {one.field for one in imported.parts[0].not_stated}


def test_a_report_stays_short_however_much_is_wrong() -> None:
    """First principles: of 1500 faults a thousand are listed and five hundred counted."""
    report = _read("KIND,ID,DC\n" + "".join(f"cutter,KB-{n},x\n" for n in range(1500)), strict=True).report()
    assert (len(report.faults), report.not_listed) == (1000, 500)


def test_reading_ends_where_everything_is_wrong() -> None:
    """First principles: after 2001 faults the rest is not read, which is one more fault."""
    imported = _read("KIND,ID,DC\n" + "".join(f"cutter,KB-{n},x\n" for n in range(MAX_FAULTS + 100)), strict=True)
    assert len(imported.faults) == MAX_FAULTS + 2
    assert "the rest of the table was not read" in imported.faults[-1].detail
    assert imported.faults[-1].line == MAX_FAULTS + 2


def test_a_report_does_not_repeat_what_steers_a_terminal() -> None:
    """Long values are cut, control characters replaced."""
    report = _read(f"KIND,ID,TQ\ncutter,KB-1,\x1b[31m{'x' * 500}\n").report()
    value = report.components[0].unmapped[0].value
    assert len(value) == 64
    assert "\x1b" not in value


@given(
    data=st.binary(max_size=300) | st.text(alphabet='KINDkindID,;\t"\r\n=.-+0123456789 x', max_size=300).map(str.encode)
)
def test_anything_else_is_refused_and_never_breaks(data: bytes) -> None:
    """Whatever comes, the answer is an import or an error that says why."""
    with suppress(UnreadableError):
        assert read_component_csv(data).report().format == "csv"


@given(rest=st.text(max_size=200))
def test_a_good_head_with_anything_below_gives_an_import(rest: str) -> None:
    """Rows may be wrong in any way; the same text gives the same report."""
    data = ("KIND,ID,DC,NOF,CCMS,machine_side.coupling,description\n" + rest).encode("utf-8", "replace")
    if b"\x00" in data:
        return
    first = read_component_csv(data).report()
    assert first == read_component_csv(data).report()

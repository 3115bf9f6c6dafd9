"""Designations of standards and of the trade: what each means, and what is not known stays open."""

from __future__ import annotations

import re
from typing import Any

import pytest
from pydantic import TypeAdapter

from rules.couplings.designation import EndName, designated_as, thread_of, tolerance_of, understood
from rules.couplings.sides import MachineSide, SpindleSide, WorkpieceSide
from rules.quantities.tables import table
from tests.support.stacks import report_of

_ENDS: dict[EndName, TypeAdapter[Any]] = {
    "machine_side": TypeAdapter(MachineSide),
    "workpiece_side": TypeAdapter(WorkpieceSide),
    "spindle": TypeAdapter(SpindleSide),
}


@pytest.mark.parametrize("row", table("designations").rows, ids=lambda row: row["example"])
def test_every_row_has_an_example_that_is_an_end(row: dict[str, Any]) -> None:
    """The example is understood at each end that the row names, by a coupling of the contract."""
    for name in row["ends"]:
        found = understood(row["example"], name)
        assert found is not None
        _ENDS[name].validate_python(dict(found.fields))


@pytest.mark.parametrize(
    ("designation", "end", "fields"),
    [
        # ISO 12164-1 names shank and size in one word; blanks and hyphens differ from print to print
        ("HSK-A63", "spindle", {"coupling": "hollow_taper", "form": "A", "size": "63"}),
        ("hsk a 63", "machine_side", {"coupling": "hollow_taper", "form": "A", "size": "63"}),
        ("DIN 69893-1 HSK-C 40", "machine_side", {"coupling": "hollow_taper", "form": "C", "size": "40"}),
        # ISO 7388-1:2007 designates "7388-1 - AD - 40"
        ("ISO 7388-1 - AD - 40", "spindle", {"coupling": "steep_taper", "form": "iso_7388_1_ad", "size": "40"}),
        ("ISO 7388-2 40 J", "machine_side", {"coupling": "steep_taper", "form": "iso_7388_2_j", "size": "40"}),
        ("SK 50", "spindle", {"coupling": "steep_taper", "size": "50"}),
        # DIN 6535: form HA, 12 mm; its table gives 45 mm
        (
            "DIN 6535 HA 12",
            "machine_side",
            {"coupling": "cylindrical", "diameter_mm": 12.0, "form": "plain", "tolerance": "h6", "length_mm": 45.0},
        ),
        ("Ø12,7 h6", "machine_side", {"coupling": "cylindrical", "diameter_mm": 12.7, "tolerance": "h6"}),
        ("20 H7", "workpiece_side", {"coupling": "cylindrical", "diameter_mm": 20.0, "tolerance": "H7"}),
        ("ISO 15488 - 32", "workpiece_side", {"coupling": "nut_collet", "size": "32"}),
        ("MT3", "spindle", {"coupling": "morse_taper", "size": "3"}),
        ("PSC 63", "machine_side", {"coupling": "polygonal_taper", "size": "63"}),
    ],
)
def test_designations_of_the_standards(designation: str, end: EndName, fields: dict[str, Any]) -> None:
    """As the standards and the trade write them."""
    found = understood(designation, end)
    assert found is not None
    assert dict(found.fields) == fields


@pytest.mark.parametrize(
    ("designation", "end"),
    [
        ("HSK-A64", "spindle"),  # no such size in ISO 12164-1
        ("DIN 6535 HA 12", "spindle"),  # a shank is no spindle
        ("12 H7", "machine_side"),  # capitals are bores (ISO 286-1)
        ("12 h6", "workpiece_side"),
        ("capsule 26", "workpiece_side"),
        ("HSK-A63 HSK-A63", "spindle"),
        ("", "spindle"),
        ("(?:", "spindle"),
    ],
)
def test_what_is_not_known_has_no_meaning(designation: str, end: EndName) -> None:
    """Nothing is guessed."""
    assert understood(designation, end) is None


def test_no_row_can_be_made_slow() -> None:
    """No pattern repeats what repeats, so a long text costs no more than its length."""
    for row in table("designations").rows:
        assert not re.search(r"[+*]\)[+*]", row["pattern"])


def _request(designation: str) -> dict[str, Any]:
    side = {"coupling": "designated", "designation": designation}
    holder = {"kind": "base_holder", "id": "holder", "machine_side": side, "gauge_length_mm": 100}
    return {
        "stack": {"components": [holder]},
        "machine": {"kind": "stated", "spindle": {"coupling": "hollow_taper", "size": "63", "form": "A"}},
    }


def test_a_designated_end_is_judged_as_the_stated_one() -> None:
    """A designation and its fields give the same findings; the report says what it was understood as."""
    stated = _request("")
    stated["stack"]["components"][0]["machine_side"] = {"coupling": "hollow_taper", "size": "50", "form": "A"}
    first, second = (report_of(one) for one in (_request("HSK-A50"), stated))
    assert first.findings
    assert first.findings == second.findings
    (told,) = first.understood
    assert told.designation == "HSK-A50"
    assert told.at == "/stack/components/0/machine_side"
    assert told.understood_as is not None


def test_an_unknown_designation_is_undecided_not_refused() -> None:
    """The text stays, and rules on that end lack it."""
    report = report_of(_request("capsule 26"))
    assert report.verdict == "review"
    assert [one.understood_as for one in report.understood] == [None]
    lacked = {pointer for one in report.undecided for gap in one.lacks for pointer in gap.at}
    assert "/stack/components/0/machine_side" in lacked


_INCH = 25.4


@pytest.mark.parametrize(
    ("text", "name", "diameter_mm", "pitch_mm"),
    [
        # ISO 965-1: a coarse pitch is left out; ISO 261 has 1.75 mm for M12 and 2 mm for M16
        ("M12", "M12", 12, 1.75),
        ("M12x1.75", "M12", 12, 1.75),
        ("m12 × 1,25", "M12x1.25", 12, 1.25),
        ("M16-LH", "M16-LH", 16, 2),
        ("M16x1.5 - 6H - LH", "M16x1.5-LH", 16, 1.5),
        # ASME B1.1: size, threads per inch, series, class
        ("1/2-13", "1/2-13 UNC", _INCH / 2, _INCH / 13),
        ("1/2-20 UNF-2B", "1/2-20 UNF", _INCH / 2, _INCH / 20),
        ("1-1/4-7", "1 1/4-7 UNC", 1.25 * _INCH, _INCH / 7),
        ("0.625-11", "5/8-11 UNC", 0.625 * _INCH, _INCH / 11),
        ("#10-24", "10-24 UNC", 0.19 * _INCH, _INCH / 24),
        ("1-64", "1-64 UNC", 0.073 * _INCH, _INCH / 64),  # a number size: one inch has no 64 threads
        ("1-8", "1-8 UNC", _INCH, _INCH / 8),
    ],
)
def test_threads_have_one_name(text: str, name: str, diameter_mm: float, pitch_mm: float) -> None:
    """However it is written, a thread has the name of the standard, its diameter and its pitch."""
    found = thread_of(text)
    assert found is not None
    assert (found.name, found.diameter_mm, found.pitch_mm) == (
        name,
        pytest.approx(diameter_mm),
        pytest.approx(pitch_mm),
    )


@pytest.mark.parametrize(
    "text", ["M15", "M12x1.8", "M40", "1/2-14", "1/2-13 UNF", "1/0-13", "G1/2", "Tr 20x4", "", "M"]
)
def test_other_threads_have_no_meaning(text: str) -> None:
    """No pitch or diameter is guessed."""
    assert thread_of(text) is None


def test_each_thread_of_the_tables_has_its_own_name() -> None:
    """What the tables say of knobs and screws is written as a designation would be understood."""
    names = {
        row[column]
        for table_name, column in (
            ("steep_taper_shanks", "knob_thread"),
            ("shell_mill_arbor", "screw_thread"),
        )
        for row in table(table_name).rows
        if row[column] is not None
    }
    assert len(names) > 8
    for name in names:
        found = thread_of(name)
        assert found is not None
        assert found.name == name


def test_the_coarse_pitches_are_rounded_from_their_formula() -> None:
    """A unified number size n has 0.060 in + 0.013 in n; every fine pitch is finer than the coarse one."""
    for row in table("unified_threads").rows:
        if row["size"].isdigit() and row["diameter_in"] < 0.25:
            assert row["diameter_in"] == pytest.approx(0.060 + 0.013 * int(row["size"]))
        assert row["coarse_per_in"] is None or row["fine_per_in"] is None or row["coarse_per_in"] < row["fine_per_in"]
    for row in table("metric_threads").rows:
        assert all(row["coarse_mm"] is None or fine < row["coarse_mm"] for fine in row["fine"])


@pytest.mark.parametrize(
    ("text", "tolerance", "deviation", "diameter_mm"),
    [
        ("h6", "h6", None, None),
        ("12 h6", "h6", None, 12),
        ("Ø12,7 h6", "h6", None, 12.7),
        ("D10", "D10", None, None),  # a class of a hole, no diameter
        ("20 H7", "H7", None, 20),
        ("+0/-0.009", None, (-9, 0), None),
        ("0/−0,009", None, (-9, 0), None),
        ("±0.005", None, (-5, 5), None),
        ("+0/-9 µm", None, (-9, 0), None),
        ("±0.0002 in", None, (-5.08, 5.08), None),
    ],
)
def test_tolerances_in_words(
    text: str, tolerance: str | None, deviation: tuple[float, float] | None, diameter_mm: float | None
) -> None:
    """A class with or without its diameter, or deviations in mm unless they have a unit."""
    found = tolerance_of(text)
    assert found is not None
    limits = None if found.deviation is None else (found.deviation.lower_um, found.deviation.upper_um)
    assert (found.tolerance, limits, found.diameter_mm) == (tolerance, deviation, diameter_mm)


@pytest.mark.parametrize("text", ["snug", "", "/", "±", "12", "h", "6h", "99/99", "h6/H7"])
def test_other_tolerances_have_no_meaning(text: str) -> None:
    """Nothing is guessed."""
    assert tolerance_of(text) is None


def _knob(thread: str) -> dict[str, Any]:
    taper = {"coupling": "steep_taper", "form": "asme_b5_50", "size": "40"}
    holder = {"kind": "base_holder", "id": "holder", "machine_side": taper, "gauge_length_mm": 100}
    return {"stack": {"components": [holder, {"kind": "retention_knob", "id": "knob", "thread": thread}]}}


@pytest.mark.parametrize(
    ("thread", "outcome"), [("5/8-11", "silent"), ("5/8-11 UNC-2A", "silent"), ("M16x2", "fires"), ("house 7", "open")]
)
def test_a_thread_is_compared_by_its_name(thread: str, outcome: str) -> None:
    """ASME B5.50 has 5/8-11 in size 40; a text that is not known is not decided, and kept."""
    report = report_of(_knob(thread))
    found = {"fires": report.findings, "open": report.undecided}
    code = "KNOB-030"
    assert {name for name, entries in found.items() if any(one.code == code for one in entries)} == {outcome} - {
        "silent"
    }
    (told,) = report.understood
    assert (told.designation, told.at) == (thread, "/stack/components/1/thread")
    assert (told.understood_as is None) == (outcome == "open")


def _tap(**fields: Any) -> dict[str, Any]:
    shank = {"coupling": "cylindrical", "diameter_mm": 9, "tolerance": fields.pop("tolerance", "h9")}
    tap = {"kind": "tap", "id": "tap", "machine_side": shank, "forms_thread": False, "teeth": 4, **fields}
    cut = {"kind": "tapping", "work_material": "c45"}
    operation = {"id": "10", "spindle_speed_rpm": 300, "cut": cut}
    return {"stack": {"components": [tap]}, "operations": [operation]}


def _torque_and_words(request: dict[str, Any]) -> tuple[float | None, list[tuple[str, str | None]]]:
    report = report_of(request)
    load = report.operations[0].load
    torque = None if load is None else load.mean_torque_n_m
    return torque, [(one.at, one.understood_as) for one in report.understood]


def test_the_thread_of_a_tap_gives_diameter_and_pitch() -> None:
    """M12 is 12 mm with 1.75 mm, so it has the torque of both; what contradicts it leaves the torque open."""
    plain, _ = _torque_and_words(_tap(cutting_diameter_mm=12, pitch_mm=1.75))
    named, words = _torque_and_words(_tap(thread="M12"))
    assert plain is not None
    assert named == plain
    assert words == [("/stack/components/0/thread", thread_of("M12").words)]  # type: ignore[union-attr]
    torn, told = _torque_and_words(_tap(thread="M12", pitch_mm=1.5))
    assert torn is None
    assert told == [("/stack/components/0/thread", None)]


def test_a_tolerance_with_another_diameter_is_not_taken() -> None:
    """Which of the two diameters is right is not known, so the tolerance counts as not stated."""
    (told,) = report_of(_tap(tolerance="12 h6")).understood
    assert told.understood_as is None
    assert told.left_open is not None
    assert "9 mm" in told.left_open


def _sized_ends() -> list[dict[str, Any]]:
    hollow = table("hollow_taper").rows
    steep = [
        {"coupling": "steep_taper", "form": form["form"], "size": size["size"]}
        for form in table("steep_taper_forms").rows
        for size in table("steep_taper_shanks").rows
        if size["family"] == form["dimensions"]
        and (form["form"] == "mas_403" or size["size"] not in ("35", "55"))  # sizes of MAS 403 alone
    ]
    return [
        *({"coupling": "hollow_taper", "form": form, "size": row["size"]} for row in hollow for form in "ACE"),
        *steep,
        *({"coupling": "polygonal_taper", "size": row["size"]} for row in table("polygonal_taper").rows),
        *({"coupling": "morse_taper", "size": row["size"], "form": "tang"} for row in table("morse_taper").rows),
        *({"coupling": "nut_collet", "size": row["size"]} for row in table("nut_collet").rows),
        {"coupling": "cylindrical", "diameter_mm": 12.0, "tolerance": "h6", "form": "plain", "length_mm": 45.0},
    ]


def test_what_a_document_names_is_understood_again() -> None:
    """Every size of every table has a designation, which has the fields that it was made of."""
    ends = _sized_ends()
    assert len(ends) > 80
    for fields in ends:
        named = designated_as(fields, "machine_side")
        assert named is not None, fields
        found = understood(named[0], "machine_side")
        assert found is not None
        assert dict(found.fields) == fields, named


_SHORT = {"coupling": "cylindrical", "diameter_mm": 12.0, "tolerance": "h6", "form": "plain", "length_mm": 30.0}


@pytest.mark.parametrize(
    ("fields", "named"),
    [
        (_SHORT, None),  # a shorter shank is none of DIN 6535
        ({"coupling": "cylindrical", "diameter_mm": 12.0}, None),
        ({"coupling": "hollow_taper", "size": "63"}, None),
    ],
)
def test_a_designation_says_nothing_that_is_not_stated(fields: dict[str, Any], named: str | None) -> None:
    """Less is left out."""
    found = designated_as(fields, "machine_side")
    assert (None if found is None else found[0]) == named

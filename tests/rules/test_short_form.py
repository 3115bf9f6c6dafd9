"""Requests as people write them: YAML, bare designations and parts, quantities with units."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.schema.parsing import BadRequestError, parse_request
from rules.schema.short_form import NotYAMLError, full_form, quantity_of, read_yaml, written_yaml

_SHORT = b"""\
stack:
  - generic:holder:HSK-A63:iso15488-32:100
  - iso15488:32:12
  - {part: "din6535:HA12:83", id: mill, cutting_diameter_mm: 1/2 in, teeth: 4, projection_mm: 40}
machine: {spindle: HSK-A63, max_speed_rpm: 12000}
operation: {spindle_speed_rpm: 6000, feed_per_tooth_mm: 0.0024 in, runout_limit_um: 0.0008 in}
"""


def test_ten_lines_are_a_request() -> None:
    """The full form of what they say."""
    request = parse_request(full_form(read_yaml(_SHORT)))
    assert [one.id for one in request.stack.components] == ["holder", "collet", "mill"]
    (joint,) = request.stack.joints or ()
    assert (joint.upper, joint.lower, joint.projection_mm) == ("collet", "mill", 40)
    (operation,) = request.operations or ()
    assert operation.id == "10"
    assert operation.feed_per_tooth_mm == pytest.approx(0.06096, rel=1e-12)
    assert operation.runout_limit_um == pytest.approx(20.32, rel=1e-12)


@pytest.mark.parametrize(
    ("name", "text", "value"),
    [
        # NIST SP 811, appendix B: inch, pound, foot, pound-force, horsepower (550 ft·lbf/s), psi
        ("tir_um", "0.0005 in", 12.7),
        ("tir_um", "5 µm", 5.0),
        ("length_mm", "3-1/4 in", 82.55),
        ("length_mm", "1 1/2 in", 38.1),
        ("length_mm", "1/2in", 12.7),
        ("length_mm", ".5 in", 12.7),
        ("feed_per_tooth_mm", "0.004 in", 0.1016),
        ("cutting_speed_m_per_min", "600 ft/min", 182.88),
        ("mass_kg", "15 lb", 6.80388555),
        ("mass_kg", "350 g", 0.35),
        ("rated_torque_n_m", "100 ft·lb", 135.58179483314),
        ("rated_torque_n_m", "60 N·m", 60.0),
        ("drawbar_force_n", "18 kN", 18000.0),
        ("axial_pull_n", "100 lbf", 444.82216152605),
        ("yield_mpa", "100 ksi", 689.475729316836),
        ("unbalance_g_mm", "1 oz·in", 720.077887375),
        ("max_power_kw", "10 hp", 7.45699872),
        ("spindle_speed_rpm", "6000 rpm", 6000.0),
    ],
)
def test_units(name: str, text: str, value: float) -> None:
    """Factors are exact by definition, so that only the digits of a double remain."""
    assert quantity_of(name, text) == pytest.approx(value, rel=1e-9)


@pytest.mark.parametrize(
    ("name", "text"),
    [
        *(("tir_um", text) for text in ("5", "5 kg", "five um", "5 um um", "", " ", "1/0 in", "1e9 um", "5" * 50)),
        ("mass_kg", "3 mm"),
        ("teeth", "4 mm"),
    ],
)
def test_no_quantity_of_that_kind(name: str, text: str) -> None:
    """A number without a unit, another kind of unit and other texts are refused, never guessed."""
    assert quantity_of(name, text) is None


def test_a_wrong_unit_names_the_field_and_the_units() -> None:
    """By its pointer in the full form."""
    with pytest.raises(BadRequestError) as caught:
        full_form({"stack": [{"kind": "collet", "mass_kg": "3 mm"}]})
    (fault,) = caught.value.faults
    assert fault.pointer == "/stack/components/0/mass_kg"
    assert "kg, g, lb, oz" in fault.detail


@pytest.mark.parametrize(
    "text",
    [
        *(b"a: &x 1\nb: *x", b"a: 1\na: 2", b"!!python/object:os.system x", b"a: [", b"? [a]\n: 1", b"\xff", b"1: 2"),
        *(b"a: 1\n---\nb: 2", b"a: !!binary eA==", b"- " * 200 + b"x"),
    ],
)
def test_what_is_no_plain_yaml(text: bytes) -> None:
    """Anchors, repeated names, tags, several documents and deep nesting are refused."""
    with pytest.raises(NotYAMLError):
        read_yaml(text)


def test_values_of_yaml_mean_what_they_look_like() -> None:
    """No dates, no sexagesimal or octal numbers, no yes that is true."""
    read: Any = read_yaml(b"a: 2026-01-01\nb: yes\nc: 1_000\nd: 12:30\ne: 010\nf: 1.5\ng: true\nh: null\ni: 7")
    texts = {"a": "2026-01-01", "b": "yes", "c": "1_000", "d": "12:30", "e": "010"}
    assert read == {**texts, "f": 1.5, "g": True, "h": None, "i": 7}


@pytest.mark.parametrize("value", [None, 1, "x", [], {}, {"stack": 3}, {"stack": [3, None]}, {"operations": [3]}])
def test_any_value_is_taken_or_left_to_the_contract(value: Any) -> None:
    """Nothing here ends in a fault of the program."""
    with pytest.raises(BadRequestError):
        parse_request(full_form(value))


_TEXT = st.text(st.characters(exclude_categories=["Cs"])) | st.sampled_from(
    ["1e5", "12:30", "1_000", "2031-06-30", "yes", "null", "~", "0x1F", "+1", ".5", "<<", "- a", "a: b", "\x85", ""]
)
_VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | _TEXT,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(_TEXT, inner, max_size=4),
    max_leaves=12,
)


@given(_VALUES)
def test_what_is_written_reads_as_it_was(value: Any) -> None:
    """Texts that look like numbers, dates or nothing stay texts."""
    found = read_yaml(written_yaml(value))
    assert (found, repr(found)) == (value, repr(value))

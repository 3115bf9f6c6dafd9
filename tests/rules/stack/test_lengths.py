"""Lengths as numbers in mm and as text with a unit."""

from __future__ import annotations

import pickle

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError

from rules.quantities.models import InchLength, Length, PositiveLength
from rules.schema.request import Joint

LENGTH = TypeAdapter(Length)
POSITIVE = TypeAdapter(PositiveLength)


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("1/4 in", 6.35),
        ("1 1/2 in", 38.1),
        ("3-1/4 in", 82.55),
        ("3/4in", 19.05),
        ("0.75 in", 19.05),
        ("19.05 mm", 19.05),
        ("20mm", 20.0),
        ("2 1/32 in", 51.59375),
        ("0 mm", 0.0),
        (6, 6.0),
        (6.35, 6.35),
    ],
)
def test_reads(text: object, mm: float) -> None:
    """First principles: one inch is 25.4 mm exactly, and the nearest double comes out."""
    assert LENGTH.validate_python(text) == mm


@pytest.mark.parametrize(
    "text",
    ["20", "20 cm", "1/3 in", "1/4 mm", "-1 mm", " 1 mm", "1 mm ", "1 mm\n", "1e3 mm", "٣ mm", "1.0000000 mm", "",
     "in", "1000 mm", "1 0/4 in", True, None, [1], float("nan"), float("inf"), 5000.5, -0.1, 10**400],
)  # fmt: skip
def test_refuses(text: object) -> None:
    """A length without unit, in another unit or beyond reason is refused, not guessed."""
    with pytest.raises(ValidationError):
        LENGTH.validate_python(text, strict=True)


@pytest.mark.parametrize("text", [0, "0 mm", "0.000 in", 0.0, "0.0009 mm", "0.00009 in", 1e-9])
def test_a_diameter_is_above_zero(text: object) -> None:
    """Zero is a length, but no diameter."""
    with pytest.raises(ValidationError):
        POSITIVE.validate_python(text, strict=True)


@settings(deadline=None, derandomize=True)
@given(st.data())
def test_accepts_all_that_its_schema_describes(data: st.DataObject) -> None:
    """What the published pattern matches is accepted by the validator."""
    for adapter in (LENGTH, POSITIVE):
        text = next(one for one in adapter.json_schema()["anyOf"] if one["type"] == "string")
        assert adapter.validate_python(data.draw(st.from_regex(text["pattern"].replace("$", r"\Z")))) >= 0


def test_a_length_in_inches_is_remembered() -> None:
    """The instruction repeats inches where they were stated; the number is that of the millimetres, digest included."""
    stated, plain = (
        Joint.model_validate({"upper": "a", "lower": "b", "grip_length_mm": one}) for one in ("1 1/2 in", 38.1)
    )
    assert isinstance(stated.grip_length_mm, InchLength)
    assert not isinstance(plain.grip_length_mm, InchLength)
    assert stated == plain
    assert stated.model_dump_json(serialize_as_any=True) == plain.model_dump_json(serialize_as_any=True)
    assert isinstance(pickle.loads(pickle.dumps(stated)).grip_length_mm, InchLength)  # noqa: S301 - our own bytes

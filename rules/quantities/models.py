"""Lengths with units, bounded numbers, and the base models of the public contract.

The JSON Schema of each type describes exactly what its validator accepts, so a request generated from the schema is
valid.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction
from typing import Annotated, Any, Final, ParamSpec, TypeVar, get_args

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    GetCoreSchemaHandler,
    GetJsonSchemaHandler,
    StringConstraints,
    ValidatorFunctionWrapHandler,
    WithJsonSchema,
    WrapValidator,
)
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from rules.quantities.inch import INCH_MM

__all__ = [
    "KNOWN_VALUES",
    "MIN_LENGTH_MM",
    "OPEN",
    "Angle",
    "Count",
    "CuttingSpeed",
    "Density",
    "Force",
    "Frequency",
    "Identifier",
    "InchLength",
    "Key",
    "Length",
    "Mass",
    "Microns",
    "MissingQuantity",
    "Model",
    "Out",
    "Pointer",
    "PositiveLength",
    "Reading",
    "SignedMicrons",
    "SignedReading",
    "SpeedRpm",
    "Stiffness",
    "Stress",
    "Text",
    "Token",
    "Torque",
    "Unbalance",
    "construct",
    "opened",
    "parse_length",
    "parse_reading",
]


MM_PER_INCH: Final = Fraction(str(INCH_MM))
"""The inch is 25.4 mm exactly (international yard and pound agreement of 1959)."""

MAX_LENGTH_MM: Final = 5000.0
"""Largest length, mm. No part in a spindle is longer, so a larger value is an error of unit."""

MIN_LENGTH_MM: Final = 0.001
"""Smallest length or diameter above zero, mm. A smaller value is an error of unit."""

_FRACTION = r"(?:[1-9][0-9]?[ -])?[1-9][0-9]?/(?:2|4|8|16|32|64|128)"
_BELOW_ONE_MM = r"0\.(?:[1-9][0-9]{0,5}|0[1-9][0-9]{0,4}|00[1-9][0-9]{0,3})"
_BELOW_ONE_IN = r"0\.(?:[1-9][0-9]{0,5}|0[1-9][0-9]{0,4}|00[1-9][0-9]{0,3}|000[1-9][0-9]{0,2})"
_ZERO = r"0(?:\.0{1,6})?"


def _length_pattern(*zero: str) -> str:
    """Return the pattern of length texts: at least 0.001 mm or 0.0001 in, or zero where allowed."""
    millimetres = "|".join((_BELOW_ONE_MM, r"[1-9][0-9]{0,2}(?:\.[0-9]{1,6})?", *zero))
    inches = "|".join((_BELOW_ONE_IN, r"[1-9][0-9]?(?:\.[0-9]{1,6})?", *zero))
    return f"^(?:(?:{millimetres}) ?mm|(?:{inches}|{_FRACTION}) ?in)$"


_LENGTH_PATTERN: Final = _length_pattern(_ZERO)
_POSITIVE_PATTERN: Final = _length_pattern()
_ANY_LENGTH = re.compile(_LENGTH_PATTERN)


def parse_length(value: Any) -> Any:
    """Return a length text in millimetres; a value that is not text is returned unchanged.

    Accepted texts: ``"19.05 mm"``, ``"0.75 in"``, ``"1/4 in"``, ``"1 1/2 in"``, ``"1-1/2 in"``; inches are
    converted exactly (25.4 mm) and rounded once, to the nearest double.

    >>> parse_length("1/4 in"), parse_length("1 1/2 in"), parse_length("3-1/4 in"), parse_length("19.05 mm")
    (6.35, 38.1, 82.55, 19.05)
    """
    if not isinstance(value, str):
        return value
    if len(value) > 32 or not _ANY_LENGTH.match(value) or value.endswith("\n"):
        raise PydanticCustomError(
            "length_text",
            "a length is a number of mm, or text with its unit such as '19.05 mm', '0.75 in' or '1 1/2 in'",
        )
    number, unit = value[:-2].strip(), value[-2:]
    size = sum((Fraction(part) for part in number.replace("-", " ").split(" ")), Fraction(0))
    return float(size * MM_PER_INCH) if unit == "in" else float(size)


class InchLength(float):
    """Length in mm that the request states in inches; a sum or a product of it is a plain number again."""

    __slots__ = ()


def _length(value: Any, handler: ValidatorFunctionWrapHandler) -> Any:
    """Return a validated length, marked where its text was in inches, so that an instruction can repeat the inches."""
    checked = handler(parse_length(value))
    return InchLength(checked) if isinstance(value, InchLength) or _in_inches(value) else checked


def _in_inches(value: Any) -> bool:
    return isinstance(value, str) and value.endswith("in")


def _length_schema(pattern: str, minimum: dict[str, float], description: str) -> WithJsonSchema:
    return WithJsonSchema(
        {
            "description": description,
            "anyOf": [
                {"type": "number", "maximum": MAX_LENGTH_MM, **minimum},
                {"type": "string", "pattern": pattern, "maxLength": 32},
            ],
        },
        mode="validation",
    )


_LENGTH_WORDS: Final = "A number is in mm; a text states its unit (mm or in, with fractions of an inch)."

Length = Annotated[
    float,
    Field(ge=0, le=MAX_LENGTH_MM),
    WrapValidator(_length),
    _length_schema(_LENGTH_PATTERN, {"minimum": 0}, _LENGTH_WORDS),
]
"""A length of zero or more, mm."""

PositiveLength = Annotated[
    float,
    Field(ge=MIN_LENGTH_MM, le=MAX_LENGTH_MM),
    WrapValidator(_length),
    _length_schema(_POSITIVE_PATTERN, {"minimum": MIN_LENGTH_MM}, _LENGTH_WORDS),
]
"""A length or diameter above zero, mm."""

Microns = Annotated[float, Field(ge=0, le=10_000)]
"""A runout reading or another small length, µm."""

SignedMicrons = Annotated[float, Field(ge=-10_000, le=10_000)]
"""A deviation from nominal, µm."""

_ANY_READING: Final = (
    r"(?:[0-9]{1,4}(?:\.[0-9]{1,4})? ?(?:µm|um)|[0-9](?:\.[0-9]{1,6})? ?mm|0(?:\.[0-2][0-9]{0,5})? ?in)"
)
_READING: Final = re.compile(f"-?{_ANY_READING}")


def parse_reading(value: Any) -> Any:
    """Return a text with a reading in micrometres; a value that is not text is returned unchanged.

    >>> parse_reading("0.0003 in"), parse_reading("-4 um"), parse_reading("0.012 mm")
    (7.62, -4.0, 12.0)
    """
    if not isinstance(value, str):
        return value
    if len(value) > 32 or not _READING.fullmatch(value):
        raise PydanticCustomError(
            "reading_text",
            "a reading is a number of µm, or text with its unit such as '4 um', '0.004 mm' or '0.0002 in'",
        )
    number, unit = value[:-2].strip(), value[-2:]
    per_unit = {"in": MM_PER_INCH * 1000, "mm": Fraction(1000)}.get(unit, Fraction(1))
    return float(Fraction(number) * per_unit)


def _reading_schema(sign: str, minimum: float) -> WithJsonSchema:
    return WithJsonSchema(
        {
            "description": "A number is in µm; a text states its unit (µm, um, mm or in).",
            "anyOf": [
                {"type": "number", "minimum": minimum, "maximum": 10_000},
                {"type": "string", "pattern": f"^{sign}{_ANY_READING}$", "maxLength": 32},
            ],
        },
        mode="validation",
    )


SignedReading = Annotated[
    float, Field(ge=-10_000, le=10_000), BeforeValidator(parse_reading), _reading_schema("-?", -10_000)
]
"""What an indicator shows, µm, or text with its unit."""

Reading = Annotated[float, Field(ge=0, le=10_000), BeforeValidator(parse_reading), _reading_schema("", 0)]
"""A runout reading, limit or uncertainty at the gauge, µm, or text with its unit."""

Mass = Annotated[float, Field(ge=1e-6, le=1_000)]
"""A mass, kg."""

Unbalance = Annotated[float, Field(ge=0, le=1_000_000)]
"""A residual unbalance, g·mm."""

SpeedRpm = Annotated[float, Field(ge=0.1, le=1_000_000)]
"""A spindle speed, 1/min."""

Frequency = Annotated[float, Field(ge=1, le=1_000_000)]
"""Frequency, Hz."""

Stiffness = Annotated[float, Field(ge=0.001, le=1_000_000)]
"""A stiffness of a joint, N/µm or N·m/mrad."""

CuttingSpeed = Annotated[float, Field(ge=0.1, le=20_000)]
"""A peripheral speed, m/min."""

Force = Annotated[float, Field(ge=0, le=1_000_000)]
"""A force, N."""

Torque = Annotated[float, Field(ge=0, le=100_000)]
"""A torque or moment, N·m."""

Stress = Annotated[float, Field(ge=1, le=100_000)]
"""A stress or specific force, MPa = N/mm²."""

Density = Annotated[float, Field(ge=100, le=30_000)]
"""A density, kg/m³."""

Angle = Annotated[float, Field(ge=0, lt=90)]
"""An angle to the axis or to the circumference, degrees."""

Count = Annotated[int, Field(ge=1, le=200)]
"""A count, such as the number of teeth."""

Identifier = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$")]
"""The name by which a request refers to a component or stack."""

Token = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9](?:[A-Za-z0-9 ._/x×-]{0,62}[A-Za-z0-9._/x×-])?$")]
"""A designation a shop or a standard gives: compared to the letter, never interpreted; no blank at its ends."""

_UNSEEN: Final = r"\u0000-\u001f\u007f-\u009f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069"
"""Control characters, line ends and bidirectional controls (Unicode Standard Annex 9), which make a text look different
from its characters."""

Text = Annotated[str, StringConstraints(max_length=200, pattern=f"^[^{_UNSEEN}]*$")]
"""One line of plain text for people."""


Key = Annotated[str, StringConstraints(min_length=1, max_length=128, pattern=f"^[^{_UNSEEN}]+$")]
"""Key of a definition, of a catalogue or of the standard parts; any text of one line."""


class Model(BaseModel):
    """Base of the models of the public contract.

    Unknown fields are rejected, so that a misspelt limit never passes silently. Types are strict (``true`` is not a
    number, ``"5"`` is not a mass) and numbers are finite.
    """

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False, serialize_by_alias=True)


Pointer = Annotated[
    str, Field(description="JSON Pointer (RFC 6901) into the request.", examples=["/stack/components/2"])
]


def opened(schema: dict[str, Any]) -> None:
    """Leave the schema of an answer open: a client must accept fields that it does not know."""
    schema.pop("additionalProperties", None)


class Out(BaseModel):
    """A part of an answer, never changed once made. It is closed here and open in the schema, so that it may grow."""

    model_config = ConfigDict(extra="forbid", frozen=True, json_schema_extra=opened)


class _Open:
    """Marker of an open list of values: any text is valid, and the present values are published as known.

    For fields of answers only, since later releases may add values. The Python type stays a Literal, so that this
    project's own code is checked.
    """

    def __get_pydantic_core_schema__(self, source: Any, _: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.str_schema(metadata={KNOWN_VALUES: list(get_args(source))})

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {**handler(schema), KNOWN_VALUES: schema["metadata"][KNOWN_VALUES]}


KNOWN_VALUES: Final = "x-known-values"
"""JSON Schema extension keyword for the known values of an open list."""

OPEN: Final = _Open()


class MissingQuantity(Out):
    """Quantity that is needed and does not follow from the request."""

    quantity: str = Field(description="Name of the quantity, without its unit.", examples=["unbalance"])
    unit: str | None = Field(
        description="UCUM code of its unit; null for a text or a yes or no.", examples=["g.mm", "mm", "1"]
    )
    at: list[Pointer] = Field(description="Request fields that would supply it.")


P = ParamSpec("P")
Part = TypeVar("Part", bound=Out)


def construct(part: Callable[P, Part], /, *_: P.args, **fields: P.kwargs) -> Part:
    """Build a part of an answer by pydantic's `model_construct`; mypy compares the fields with the model.

    A check builds about forty parts. Validating values that are already typed would add about 5 % to its time.
    """
    model: Any = part  # for mypy, which compares the fields with a callable's parameters
    names = model.__pydantic_fields__
    if len(names) != len(fields):
        made: Part = model.model_construct(**fields)
        return made
    # what model_construct does for a model without aliases whose fields are all given, in a fourth of its time
    made = _new(model)
    _put(made, "__dict__", fields if [*fields] == [*names] else {name: fields[name] for name in names})
    _put(made, "__pydantic_fields_set__", set(names))
    _put(made, "__pydantic_extra__", None)
    _put(made, "__pydantic_private__", None)
    return made


_new: Final = object.__new__
_put: Final = object.__setattr__

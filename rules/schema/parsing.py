"""Validation of parsed JSON against a request model, with a JSON Pointer and message for every fault.

The path of a pydantic error contains steps for members of unions, which the input does not have. The path is therefore
followed through JSON Schema and input in parallel.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from functools import lru_cache
from types import MappingProxyType
from typing import Any, Final, Literal, TypeAlias, TypeVar, cast, get_args

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from rules.schema.request import CheckRequest

__all__ = [
    "MAX_NAME",
    "BadRequestError",
    "Fault",
    "FaultCode",
    "Place",
    "code_of",
    "describe",
    "locate",
    "parse",
    "parse_request",
    "pointer",
    "sayable",
]


Schema = Mapping[str, Any]

MAX_NAME: Final = 64
"""Longest name that a message repeats."""

_ANYTHING: Final[Schema] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class Place:
    """A place in the input: JSON Pointer and schema.

    ``parent`` is the schema of the enclosing object or list. ``rest`` is the step that is missing in the input or whose
    name is not to be repeated.
    """

    pointer: str
    schema: Schema
    parent: Schema
    rest: str | None


def sayable(name: str) -> bool:
    """Whether a message may repeat a name of the input: neither long nor with characters that steer a terminal."""
    return len(name) <= MAX_NAME and name.isprintable()


def pointer(steps: tuple[str | int, ...]) -> str:
    """JSON Pointer of RFC 6901.

    >>> pointer(("stack", "components", 0, "a/b~c"))
    '/stack/components/0/a~1b~0c'
    """
    return "".join("/" + str(step).replace("~", "~0").replace("/", "~1") for step in steps)


def locate(model: type[BaseModel], error: ErrorDetails, data: object) -> Place:
    """The place of an error: its path followed through schema and input."""
    root = _schema_of(model)
    parent, schema, value = _ANYTHING, _resolve(root, root), data
    way = list(error["loc"])
    if error["type"] == "union_tag_invalid":
        way.append(error["ctx"]["discriminator"].strip("'"))
    steps: list[str | int] = []
    for step in way:
        if isinstance(step, int) and isinstance(value, list) and step < len(value):
            value, parent, schema = value[step], schema, _resolve(schema.get("items", _ANYTHING), root)
        elif step in _tags(schema):
            schema = _resolve({"$ref": _tags(schema)[step]}, root)
            continue
        elif isinstance(step, str) and isinstance(value, dict) and step in value and sayable(step):
            value, parent, schema = value[step], schema, _resolve(_member(schema, step), root)
        else:
            return Place(pointer(tuple(steps)), schema, parent, str(step))
        steps.append(step)
    return Place(pointer(tuple(steps)), schema, parent, None)


def describe(error: ErrorDetails, place: Place, *, helpful: bool = True) -> str:
    """The message of an error, without the input's values; ``helpful`` adds similar names, which is slow."""
    if error["type"] == "extra_forbidden" and not helpful:
        return "unknown field"
    if error["type"] in _OWN_WORDS:
        return error["msg"]
    words = _WORDS.get(error["type"])
    return words(place, error.get("ctx", {})) if words else "value not allowed here"


@lru_cache(maxsize=32)
def _schema_of(model: type[BaseModel]) -> Schema:
    return MappingProxyType(model.model_json_schema())


def _resolve(schema: Schema, root: Schema) -> Schema:
    """The schema behind a reference or an optional value."""
    while True:
        if "$ref" in schema:
            schema = root["$defs"][schema["$ref"].rsplit("/", 1)[1]]
        elif len(choices := [one for one in schema.get("anyOf", ()) if one.get("type") != "null"]) == 1:
            schema = choices[0]
        else:
            return schema


def _member(schema: Schema, name: str) -> Schema:
    declared: Schema | None = schema.get("properties", {}).get(name)
    if declared is not None:
        return declared
    others = schema.get("additionalProperties")
    patterns = schema.get("patternProperties", {})
    if isinstance(others, Mapping):
        return others
    return next(iter(patterns.values()), _ANYTHING)


def _tags(schema: Schema) -> Mapping[Any, str]:
    tags: Mapping[Any, str] = schema.get("discriminator", _ANYTHING).get("mapping", _ANYTHING)
    return tags


def _missing(place: Place, _: Mapping[str, Any]) -> str:
    return f"the field '{place.rest}' is missing"


def _unknown(place: Place, _: Mapping[str, Any]) -> str:
    if place.rest is not None:
        return f"unknown field, its name {len(place.rest)} characters long"
    known = list(place.parent.get("properties", ()))
    name = place.pointer.rsplit("/", 1)[1]
    if close := get_close_matches(name, known, n=1):
        return f"unknown field; did you mean '{close[0]}'?"
    return f"unknown field; known here: {', '.join(known)}" if known else "unknown field"


def _no_tag(place: Place, context: Mapping[str, Any]) -> str:
    known = ", ".join(f"'{tag}'" for tag in _tags(place.schema))
    return f"the field {context['discriminator']} is missing; expected one of {known}"


def _wrong_tag(_: Place, context: Mapping[str, Any]) -> str:
    return f"{context['discriminator']} must be one of {context['expected_tags']}"


def _pattern(place: Place, context: Mapping[str, Any]) -> str:
    if place.rest == "[key]":
        return f"the name must match {context['pattern']}"
    return f"text that matches {context['pattern']} is expected"


def _says(text: str) -> Callable[[Place, Mapping[str, Any]], str]:
    return lambda _, context: text.format(**context)


_OWN_WORDS: Final = frozenset({"length_text", "reading_text", "repeated"})
"""Errors of the contract's own validators, which have their own messages."""

_OBJECT: Final = _says("an object is expected")
_NUMBER: Final = _says("a number is expected")
_INTEGER: Final = _says("a whole number is expected")
_SMALL: Final = _says("a finite number is expected")

_WORDS: Final[Mapping[str, Callable[[Place, Mapping[str, Any]], str]]] = MappingProxyType(
    {
        "bool_type": _says("true or false is expected"),
        "dict_type": _OBJECT,
        "extra_forbidden": _unknown,
        "finite_number": _SMALL,
        "float_type": _NUMBER,
        "greater_than": _says("must be greater than {gt:g}"),
        "greater_than_equal": _says("must be {ge:g} or more"),
        "int_from_float": _INTEGER,
        "int_type": _INTEGER,
        "less_than": _says("must be less than {lt:g}"),
        "less_than_equal": _says("must be {le:g} or less"),
        "list_type": _says("a list is expected"),
        "literal_error": _says("must be one of {expected}"),
        "missing": _missing,
        "model_attributes_type": _OBJECT,
        "model_type": _OBJECT,
        "string_pattern_mismatch": _pattern,
        "string_too_long": _says("text of at most {max_length} characters is expected"),
        "string_too_short": _says("text of at least {min_length} characters is expected"),
        "string_type": _says("text is expected"),
        "string_unicode": _says("text of whole Unicode characters is expected"),
        "too_long": _says("too many entries; at most {max_length} are allowed"),
        "too_short": _says("too few entries; at least {min_length} needed"),
        "union_tag_invalid": _wrong_tag,
        "union_tag_not_found": _no_tag,
    }
)


FaultCode: TypeAlias = Literal[
    # the text
    "syntax_error",
    "not_utf8",
    "empty",
    "too_deep",
    "duplicate_key",
    "not_finite",
    "number_too_large",
    "lone_surrogate",
    "wrong_document",
    # its values
    "unknown_field",
    "missing_field",
    "wrong_type",
    "wrong_format",
    "out_of_range",
    "not_one_of",
    "text_too_long",
    "text_too_short",
    "too_many_entries",
    "too_few_entries",
    "repeated",
    "unknown_key",
    "unknown_rule",
    "unknown_threshold",
    "stale_continuation",
    "digest_mismatch",
    "invalid_value",
    # the query
    "unknown_parameter",
    "repeated_parameter",
]
"""Kinds of faults. A code keeps its meaning; the message beside it may be reworded."""

_KINDS: Final[Mapping[FaultCode, tuple[str, ...]]] = MappingProxyType(
    {
        "unknown_field": ("extra_forbidden",),
        "missing_field": ("missing", "union_tag_not_found"),
        "wrong_type": (
            "bool_type",
            "dict_type",
            "float_type",
            "int_from_float",
            "int_type",
            "list_type",
            "model_attributes_type",
            "model_type",
            "string_type",
        ),
        "wrong_format": ("length_text", "reading_text", "string_pattern_mismatch"),
        "out_of_range": ("greater_than", "greater_than_equal", "less_than", "less_than_equal"),
        "not_finite": ("finite_number",),
        "not_one_of": ("literal_error", "union_tag_invalid"),
        "text_too_long": ("string_too_long",),
        "text_too_short": ("string_too_short",),
        "too_many_entries": ("too_long",),
        "too_few_entries": ("too_short",),
        "lone_surrogate": ("string_unicode",),
    }
)
"""Error types of pydantic by fault code."""

_CODES: Final = MappingProxyType({kind: code for code, kinds in _KINDS.items() for kind in kinds})


def code_of(kind: str) -> FaultCode:
    """The fault code of a pydantic error type.

    A validator's own error may be named by the code itself.

    >>> [code_of(kind) for kind in ("extra_forbidden", "not_one_of", "value_error")]
    ['unknown_field', 'not_one_of', 'invalid_value']
    """
    if kind in get_args(FaultCode):
        return cast("FaultCode", kind)
    return _CODES.get(kind, "invalid_value")


_WITH_HELP: Final = 100
"""Most faults with a suggestion; finding a similar name takes 0.1 ms."""

ModelT = TypeVar("ModelT", bound=BaseModel)


@dataclass(frozen=True, slots=True)
class Fault:
    """A fault of a request.

    ``pointer`` is a JSON Pointer (RFC 6901) that resolves in the input; a missing field points to its object.
    ``detail`` is the message, ``code`` the kind of fault for programs. ``line`` and ``column`` count from 1; None
    where not looked up.
    """

    pointer: str
    detail: str
    code: FaultCode = "invalid_value"
    line: int | None = None
    column: int | None = None

    def under(self, prefix: str) -> Fault:
        """The fault of a part that lies in the request at this pointer."""
        return Fault(prefix + self.pointer, self.detail, self.code)


class BadRequestError(ValueError):
    """The request is invalid; ``faults`` lists all faults."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("; ".join(f"{fault.pointer or '/'}: {fault.detail}" for fault in self.faults))


def parse(model: type[ModelT], data: object) -> ModelT:
    """Validate parsed JSON against a model; raises :class:`BadRequestError` with all faults."""
    try:
        return model.model_validate(data)
    except ValidationError as error:
        errors = error.errors(include_url=False, include_input=False)
    raise BadRequestError(_fault(model, one, data, helpful=n < _WITH_HELP) for n, one in enumerate(errors))


def _fault(model: type[BaseModel], error: ErrorDetails, data: object, *, helpful: bool) -> Fault:
    place = locate(model, error, data)
    return Fault(place.pointer, describe(error, place, helpful=helpful), code_of(error["type"]))


def parse_request(data: object) -> CheckRequest:
    """Validate parsed JSON as a check request; raises :class:`BadRequestError`.

    >>> parse_request({"stack": {"components": [{"kind": "collet", "id": "collet-1", "mas_kg": 1}]}})
    Traceback (most recent call last):
    rules.schema.parsing.BadRequestError: /stack/components/0/mas_kg: unknown field; did you mean 'mass_kg'?
    """
    return parse(CheckRequest, data)

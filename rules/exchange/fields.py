"""Fields of each kind of component as dotted paths, and components built from values at these paths."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from types import MappingProxyType
from typing import Any, Final, Literal, TypeAlias, cast, get_args

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from rules.schema.components import (
    BaseHolder,
    Collet,
    Component,
    Cutter,
    CutterKind,
    Extension,
    GaugePin,
    Reducer,
    RetentionKnob,
    StackPart,
)
from rules.schema.imports import ComponentKind
from rules.schema.parsing import Place, describe, locate, pointer

__all__ = ["MODELS", "Stated", "all_paths", "assemble", "has_field", "is_field", "number_in"]


MODELS: Final[Mapping[str, type[Component]]] = MappingProxyType(
    {
        "base_holder": BaseHolder,
        "extension": Extension,
        "reducer": Reducer,
        "collet": Collet,
        **dict.fromkeys(get_args(CutterKind), Cutter),
        "gauge_pin": GaugePin,
        "retention_knob": RetentionKnob,
    }
)
"""Models of the components, by kind."""

if tuple(MODELS) != get_args(ComponentKind):
    raise AssertionError("the kinds of an import and of the contract differ")


_PLACE: Final = re.compile(r"0|[1-9][0-9]{0,3}")

Taken: TypeAlias = Literal["text", "number", "truth"]
"""Type of value of a field; a number where text with a unit is accepted too."""

_TAKEN: Final[Mapping[str, Taken]] = MappingProxyType({"number": "number", "integer": "number", "boolean": "truth"})


@cache
def paths_of(kind: str) -> Mapping[str, Taken]:
    """Return the paths of the fields with a single value, and their types; ``*`` stands for an index of a list.

    >>> sorted(path for path in paths_of("collet") if path.startswith("runout.statements.*.a"))
    ['runout.statements.*.angle_deg', 'runout.statements.*.at_mm']
    """
    schema = MODELS[kind].model_json_schema()
    found: dict[str, Taken] = {}
    for path, taken in _leaves(schema, schema, ()):
        if taken != "text" or path not in found:
            found[path] = taken
    return MappingProxyType(found)


@cache
def all_paths() -> frozenset[str]:
    """Return the paths of all kinds together."""
    return frozenset().union(*(paths_of(kind) for kind in MODELS))


def has_field(kind: str, path: str) -> bool:
    """Whether a component of this kind has such a field; for a field of a side, in any of its couplings.

    >>> has_field("cutter", "runout.statements.1.at_mm"), has_field("cutter", "workpiece_side.diameter_mm")
    (True, False)
    """
    return _pattern(path) in paths_of(kind)


def is_field(path: str) -> bool:
    """Whether any kind of component has such a field."""
    return _pattern(path) in all_paths()


def taken_by(kind: str, path: str) -> Taken:
    """Return the type of a field; text where the kind has no such field.

    >>> taken_by("cutter", "machine_side.diameter_mm"), taken_by("cutter", "machine_side.size")
    ('number', 'text')
    """
    return paths_of(kind).get(_pattern(path), "text")


@lru_cache(maxsize=4096)
def steps_of(path: str) -> tuple[str | int, ...]:
    """Return the steps of a path, with indices of a list as numbers.

    >>> steps_of("runout.statements.0.tir_um")
    ('runout', 'statements', 0, 'tir_um')
    """
    return tuple(int(step) if _PLACE.fullmatch(step) else step for step in path.split("."))


@lru_cache(maxsize=4096)
def _pattern(path: str) -> str:
    return ".".join("*" if isinstance(step, int) else step for step in steps_of(path))


def _leaves(schema: Mapping[str, Any], root: Mapping[str, Any], way: tuple[str, ...]) -> Iterator[tuple[str, Taken]]:
    if "$ref" in schema:
        yield from _leaves(root["$defs"][schema["$ref"].rsplit("/", 1)[1]], root, way)
    elif "properties" in schema:
        for name, member in schema["properties"].items():
            yield from _leaves(member, root, (*way, name))
    elif "items" in schema:
        yield from _leaves(schema["items"], root, (*way, "*"))
    elif choices := [one for one in (*schema.get("anyOf", ()), *schema.get("oneOf", ())) if one.get("type") != "null"]:
        for one in choices:
            yield from _leaves(one, root, way)
    elif schema.get("type") != "object":  # labels have names of their own, which no column head can be
        yield ".".join(way), _TAKEN.get(schema.get("type", ""), "text")


_NUMBER: Final = re.compile(r"[+-]?[0-9]{1,20}(?:\.[0-9]{1,20})?(?:[eE][+-]?[0-9]{1,3})?")
_COMMA: Final = re.compile(r"\s*[+-]?[0-9.]*,[0-9,.]*\s*")
_EXACT: Final = 2**53
_NAMED: Final = 4
"""Most rivals for a field that a reason names."""
_NO_PLACE: Final = frozenset({"extra_forbidden", "union_tag_not_found"})
_TRUTHS: Final = {"true": True, "false": False}
_NUMERIC: Final = frozenset({"float_type", "int_type", "length_text", "reading_text"})


@dataclass(frozen=True, slots=True)
class Stated:
    """A value for one field of a component, and its position in the document.

    ``named_field`` is true where the document names the field itself; a kind without that field is then a fault. A
    value under a symbol of the standard is only left over.
    """

    name: str
    text: str
    path: str
    value: object
    line: int
    column: int | None = None
    named_field: bool = False


@dataclass(frozen=True, slots=True)
class Rejected:
    """A value left out of the component, with the reason; ``no_place`` if the value itself is valid."""

    stated: Stated
    reason: str
    no_place: bool = False


def number_in(text: str) -> float | int | None:
    """Return the number in a text with a decimal point; an integer as ``int``, as in JSON.

    >>> number_in("12.50"), number_in(" 4.0 "), number_in("12,5"), number_in("nan")
    (12.5, 4, None, None)
    """
    if not _NUMBER.fullmatch(stripped := text.strip(" \t\r\n")):
        return None
    number = float(stripped)
    return int(number) if number.is_integer() and abs(number) < _EXACT else number


def assemble(kind: str, stated: Sequence[Stated]) -> tuple[StackPart | None, list[Rejected]]:
    """Return a component of this kind from the values, and the values left out.

    Text is converted to a number or a flag where the contract requires one. An invalid value is left out, and the rest
    still gives a component. Two different values for one field are both left out. Without a required field, such as the
    id, there is no component.
    """
    kept, rejected = _without_contradictions([_typed(kind, one) for one in stated])
    while True:
        data = _nested(kind, kept)
        try:
            part = MODELS[kind].model_validate(data)
        except ValidationError as error:
            errors = error.errors(include_url=False, include_input=False)
        else:
            return cast(StackPart, part), rejected
        blamed = {id(one): (one, error, place) for one, error, place in _blamed(kind, errors, data, kept)}
        if not blamed:
            return None, rejected
        rejected.extend(_rejection(*rejected_field) for rejected_field in blamed.values())
        kept = [one for one in kept if id(one) not in blamed]


def _typed(kind: str, one: Stated) -> Stated:
    """Return the value with its text converted to a number or a flag where the field requires one."""
    if not isinstance(one.value, str):
        return one
    taken = taken_by(kind, one.path)
    if taken == "text":
        return one
    value = number_in(one.value) if taken == "number" else _TRUTHS.get(one.value.strip().lower())
    return one if value is None else replace(one, value=value)


def _without_contradictions(stated: Sequence[Stated]) -> tuple[list[Stated], list[Rejected]]:
    by_path: dict[str, list[Stated]] = {}
    for one in stated:
        by_path.setdefault(one.path, []).append(one)
    kept: list[Stated] = []
    rejected: list[Rejected] = []
    for path, rivals in by_path.items():
        if len({one.value for one in rivals}) == 1:
            kept.append(rivals[0])
            continue
        named = list(dict.fromkeys(one.name for one in rivals))
        names = " and ".join((*named[:_NAMED], *([f"{len(named) - _NAMED} more"] if len(named) > _NAMED else ())))
        reason = f"{names} state different values for {path}"
        rejected.extend(Rejected(one, reason, no_place=not one.named_field) for one in rivals)
    return kept, rejected


def _nested(kind: str, stated: Sequence[Stated]) -> dict[str, Any]:
    root: dict[str | int, Any] = {"kind": kind}
    for one in stated:
        *way, last = steps_of(one.path)
        node = root
        for step in way:
            node = node.setdefault(step, {})
        node[last] = one.value
    return cast(dict[str, Any], _with_lists(root))


def _with_lists(node: Any) -> Any:
    if not isinstance(node, dict):
        return node
    inner = {step: _with_lists(member) for step, member in node.items()}
    if any(isinstance(step, int) for step in inner):
        # A list with gaps stays a mapping, so that the model rejects the list.
        return [inner[step] for step in sorted(inner)] if sorted(inner) == list(range(len(inner))) else inner
    return inner


def _blamed(
    kind: str, errors: Sequence[ErrorDetails], data: object, kept: Sequence[Stated]
) -> Iterator[tuple[Stated, ErrorDetails, Place]]:
    """Yield each error with each value at its place or below it."""
    below: dict[str, list[Stated]] = {}
    for one in kept:
        steps = steps_of(one.path)
        for depth in range(1, len(steps) + 1):
            below.setdefault(pointer(steps[:depth]), []).append(one)
    for error in errors:
        place = locate(MODELS[kind], error, data)
        for one in below.get(place.pointer, ()):
            yield one, error, place


def _rejection(one: Stated, error: ErrorDetails, place: Place) -> Rejected:
    side, _, field = one.path.rpartition(".")
    if error["type"] == "union_tag_not_found":
        reason = f"the coupling of the {side.split('.')[0].replace('_', ' ')} is not stated"
    elif error["type"] == "extra_forbidden":
        reason = f"this coupling has no {field}" if side else f"this kind of component has no {field}"
    elif error["type"] == "list_type":
        reason = "indices of a list count from 0, without gaps"
    elif error["type"] in _NUMERIC and isinstance(one.value, str) and _COMMA.fullmatch(one.value):
        reason = "a number is written with a decimal point, not a comma"
    else:
        reason = describe(error, place)
    return Rejected(one, reason, no_place=error["type"] in _NO_PLACE and not one.named_field)

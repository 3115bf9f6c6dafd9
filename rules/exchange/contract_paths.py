"""The fields of every kind of component as dotted paths, read from the contract itself."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from functools import cache, lru_cache
from types import MappingProxyType
from typing import Any, Final, Literal, TypeAlias, get_args

from rules.schema.components import (
    BaseHolder,
    Collet,
    Component,
    Cutter,
    Extension,
    GaugePin,
    Reducer,
    RetentionKnob,
)
from rules.schema.imports import ComponentKind

__all__ = ["MODELS", "all_paths", "has_field", "is_field", "paths_of", "steps_of", "taken_by"]

MODELS: Final[Mapping[str, type[Component]]] = MappingProxyType(
    {
        "base_holder": BaseHolder,
        "extension": Extension,
        "reducer": Reducer,
        "collet": Collet,
        "cutter": Cutter,
        "gauge_pin": GaugePin,
        "retention_knob": RetentionKnob,
    }
)
"""Model of a component by its kind."""

if tuple(MODELS) != get_args(ComponentKind):
    raise AssertionError("the kinds of an import and of the contract differ")


_PLACE: Final = re.compile(r"0|[1-9][0-9]{0,3}")

Taken: TypeAlias = Literal["text", "number", "truth"]
"""What a field takes; where a number may also be text with its unit, a number."""

_TAKEN: Final[Mapping[str, Taken]] = MappingProxyType({"number": "number", "integer": "number", "boolean": "truth"})


@cache
def paths_of(kind: str) -> Mapping[str, Taken]:
    """Paths of the fields that hold a single value, and what they take; a place in a list is written ``*``.

    >>> sorted(path for path in paths_of("collet") if path.startswith("runout."))
    ['runout.*.angle_deg', 'runout.*.at_mm', 'runout.*.tir_um']
    """
    schema = MODELS[kind].model_json_schema()
    found: dict[str, Taken] = {}
    for path, taken in _leaves(schema, schema, ()):
        if taken != "text" or path not in found:
            found[path] = taken
    return MappingProxyType(found)


@cache
def all_paths() -> frozenset[str]:
    """Paths that any kind has."""
    return frozenset().union(*(paths_of(kind) for kind in MODELS))


def has_field(kind: str, path: str) -> bool:
    """Whether a component of this kind has such a field, in one of its couplings where it is of a side.

    >>> has_field("cutter", "runout.1.at_mm"), has_field("cutter", "workpiece_side.diameter_mm")
    (True, False)
    """
    return _pattern(path) in paths_of(kind)


def is_field(path: str) -> bool:
    """Whether any kind of component has such a field."""
    return _pattern(path) in all_paths()


def taken_by(kind: str, path: str) -> Taken:
    """What a field takes; text where the kind has no such field.

    >>> taken_by("cutter", "machine_side.diameter_mm"), taken_by("cutter", "machine_side.size")
    ('number', 'text')
    """
    return paths_of(kind).get(_pattern(path), "text")


@lru_cache(maxsize=4096)
def steps_of(path: str) -> tuple[str | int, ...]:
    """The steps of a path, places in a list as numbers.

    >>> steps_of("runout.0.tir_um")
    ('runout', 0, 'tir_um')
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
    else:
        yield ".".join(way), _TAKEN.get(schema.get("type", ""), "text")

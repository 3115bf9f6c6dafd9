"""Compatibility of two JSON Schemas, for the keywords in the contract.

An unknown keyword is an error, so that no change is overlooked. What cannot be decided, such as whether one pattern
includes another, counts as incompatible.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Final

import jsonschema

__all__ = ["Comparison"]

Schema = Mapping[str, Any]

_ANNOTATIONS: Final = {
    "title",
    "description",
    "examples",
    "example",
    "default",
    "discriminator",
    "deprecated",
    "x-enum-varnames",
    "x-known-values",
}
_UPPER: Final = ("maximum", "exclusiveMaximum", "maxLength", "maxItems", "maxProperties")
_LOWER: Final = ("minimum", "exclusiveMinimum", "minLength", "minItems", "minProperties")
_EQUAL: Final = ("pattern", "format", "multipleOf", "uniqueItems")
_COMPARED: Final = {
    *_ANNOTATIONS, *_UPPER, *_LOWER, *_EQUAL, "type", "enum", "const", "items", "properties", "required",
    "additionalProperties", "propertyNames", "anyOf", "oneOf", "allOf", "$ref",
}  # fmt: skip


class Comparison:
    """Compares a producer's schema with a consumer's: every value of the first must be valid in the second.

    For a request the old schema is the first; for an answer the new one is. Clients ignore unknown fields of answers,
    so with ``answers`` an object may gain fields, but must not lose any.
    """

    def __init__(self, given_in: Schema, taken_in: Schema, *, answers: bool) -> None:
        self._given_in = given_in
        self._taken_in = taken_in
        self._answers = answers
        self._same = _same(given_in["components"]["schemas"], taken_in["components"]["schemas"])
        self._known: dict[tuple[str, str], list[str]] = {}

    def breaks(self, given: Schema, taken: Schema, at: str) -> list[str]:
        """Return the values of the first schema that are invalid in the second, each with its place."""
        if given == taken and _names(given) <= self._same:
            return []
        refs = (given.get("$ref", ""), taken.get("$ref", ""))
        if not all(refs):
            return self._breaks(given, taken, at)
        if refs not in self._known:
            # A recursive schema is compatible if the rest of it is.
            self._known[refs] = []
            self._known[refs] = self._breaks(given, taken, "")
        return [at + one for one in self._known[refs]]

    def _breaks(self, given: Schema, taken: Schema, at: str) -> list[str]:
        found = []
        # Numbers of rules may change: the digest of the rulebooks in a report shows it.
        means = not self._answers and "default" in given and "/thresholds/" not in at
        if means and given["default"] != taken.get("default"):
            found.append(f"{at}: another default, so that a request that leaves it out means something else")
        takers = list(_branches(taken, self._taken_in))
        for one in _branches(given, self._given_in):
            alike = [other for other in takers if _alike(one, other)]
            if alike:
                found += min((self._branch(one, other, at) for other in alike), key=len)
            else:
                found.append(f"{at}: {_shown(one)} is not taken")
        return found

    def _branch(self, given: Schema, taken: Schema, at: str) -> list[str]:
        if "const" in given:
            whole = {**taken, "components": self._taken_in["components"]}
            fits = jsonschema.Draft202012Validator(whole).is_valid(given["const"])
            return [] if fits else [f"{at}: {given['const']!r} is not taken"]
        if "const" in taken:
            return [f"{at}: only {taken['const']!r} is taken"]
        return [*self._bounds(given, taken, at), *self._items(given, taken, at), *self._object(given, taken, at)]

    def _bounds(self, given: Schema, taken: Schema, at: str) -> Iterator[str]:
        for keywords, sign in ((_LOWER, 1), (_UPPER, -1)):
            for keyword in keywords:
                if keyword in taken and not _keeps(given, taken, keyword, sign):
                    yield f"{at}: {keyword} {taken[keyword]} is not kept by {_bound(given, keywords)}"
        for keyword in _EQUAL:
            if keyword in taken and given.get(keyword) != taken[keyword]:
                yield f"{at}: another {keyword}"

    def _items(self, given: Schema, taken: Schema, at: str) -> list[str]:
        return self.breaks(given.get("items", {}), taken["items"], f"{at}/*") if "items" in taken else []

    def _object(self, given: Schema, taken: Schema, at: str) -> Iterator[str]:
        mine, theirs = given.get("properties", {}), taken.get("properties", {})
        for name in taken.get("required", []):
            if name not in given.get("required", []):
                yield f"{at}/{name}: {'may be missing' if self._answers else 'is required'}"
        for name in mine:
            if name in theirs:
                yield from self.breaks(mine[name], theirs[name], f"{at}/{name}")
            elif not self._answers:
                yield f"{at}/{name}: is gone"
        if self._answers:
            yield from (f"{at}/{name}: is gone" for name in theirs if name not in mine)
        yield from self._others(given, taken, at)

    def _others(self, given: Schema, taken: Schema, at: str) -> Iterator[str]:
        """Return the schema of fields without a name."""
        mine, theirs = given.get("additionalProperties", True), taken.get("additionalProperties", True)
        if mine is False or _types(given) != {"object"}:
            return
        if theirs is False:
            if not self._answers or mine is not True:
                yield f"{at}: takes no other fields"
            return
        names = ({} if one is True else one for one in (mine, theirs))
        yield from self.breaks(*names, f"{at}/*")
        if "propertyNames" in taken:
            yield from self.breaks(
                {"type": "string", **given.get("propertyNames", {})}, {"type": "string", **taken["propertyNames"]}, at
            )


def _same(schemas: Schema, others: Schema) -> set[str]:
    """Return the names of schemas that are equal in both documents, with all their references."""
    named = {name: _names(schema) for name, schema in schemas.items()}
    same = {name for name, schema in schemas.items() if others.get(name) == schema}
    while lost := {name for name in same if not named[name] <= same}:
        same -= lost
    return same


def _names(node: Any) -> set[str]:
    """Return the names of the referenced schemas."""
    if isinstance(node, list):
        return {name for one in node for name in _names(one)}
    if not isinstance(node, dict):
        return set()
    ref = node.get("$ref")
    own = {ref.rpartition("/")[2]} if isinstance(ref, str) else set()
    return own.union(*(_names(one) for one in node.values()))


def _branches(schema: Schema, document: Schema) -> Iterator[Schema]:
    """Return the alternatives of a schema, flattened; for an enumeration, each value."""
    unknown = set(schema) - _COMPARED
    if unknown:
        raise NotImplementedError(f"schemas are not compared by {', '.join(sorted(unknown))}")
    rest = {name: value for name, value in schema.items() if name not in ("anyOf", "oneOf", "allOf", "$ref")}
    if "$ref" in schema:
        yield from (_joined(one, rest) for one in _branches(_resolved(schema["$ref"], document), document))
    elif "allOf" in schema:
        (only,) = schema["allOf"]
        yield from (_joined(one, rest) for one in _branches(only, document))
    elif "anyOf" in schema or "oneOf" in schema:
        for one in schema.get("anyOf", schema.get("oneOf", ())):
            yield from (_joined(inner, rest) for inner in _branches(one, document))
    elif "enum" in schema:
        yield from ({**rest, "const": value} for value in schema["enum"])
    elif isinstance(schema.get("type"), list):
        yield from ({**rest, "type": one} for one in schema["type"])
    else:
        yield rest


def _joined(schema: Schema, beside: Schema) -> Schema:
    """Return a branch merged with the keywords next to the alternatives; raises if both have the same keyword."""
    added = {name: value for name, value in beside.items() if name not in _ANNOTATIONS}
    if any(schema.get(name, value) != value for name, value in added.items()):
        raise NotImplementedError("alternatives are not compared with a narrowing beside them")
    return {**schema, **added}


def _resolved(ref: str, document: Schema) -> Schema:
    value: Any = document
    for step in ref.removeprefix("#/").split("/"):
        value = value[step]
    resolved: Schema = value
    return resolved


_OF_VALUES: Final = {bool: "boolean", str: "string", type(None): "null", int: "integer", float: "number"}


def _types(schema: Schema) -> set[str]:
    if "type" in schema:
        return {schema["type"]}
    return {_OF_VALUES[type(schema["const"])]} if "const" in schema else set()


def _alike(given: Schema, taken: Schema) -> bool:
    """Return whether two alternatives may correspond: same type, and same kind where stated.

    The kinds do not change the result, but save most of the work.
    """
    mine, theirs = _types(given), _types(taken)
    if theirs and not (mine and mine <= theirs | ({"integer"} if "number" in theirs else set())):
        return False
    named = taken.get("properties", {})
    kinds = [
        (one["const"], named[name]["const"])
        for name, one in given.get("properties", {}).items()
        if "const" in one and "const" in named.get(name, {})
    ]
    return all(kind == other for kind, other in kinds)


def _keeps(given: Schema, taken: Schema, keyword: str, sign: int) -> bool:
    """Return whether the bounds of one are within this bound of the other."""
    strict = keyword.startswith("exclusive")
    inclusive_name, exclusive_name = {
        "minimum": ("minimum", "exclusiveMinimum"),
        "exclusiveMinimum": ("minimum", "exclusiveMinimum"),
        "maximum": ("maximum", "exclusiveMaximum"),
        "exclusiveMaximum": ("maximum", "exclusiveMaximum"),
    }.get(keyword, (keyword, ""))
    limit = sign * taken[keyword]
    if exclusive_name in given and sign * given[exclusive_name] >= limit:
        return True
    if inclusive_name not in given:
        return False
    mine = sign * given[inclusive_name]
    return bool(mine > limit if strict else mine >= limit)


def _bound(given: Schema, keywords: tuple[str, ...]) -> str:
    return ", ".join(f"{keyword} {given[keyword]}" for keyword in keywords if keyword in given) or "no bound"


def _shown(schema: Schema) -> str:
    if "const" in schema:
        return repr(schema["const"])
    return str(schema.get("title") or schema.get("type") or "anything")

"""What an OpenAPI document repeats, moved to its components and referred to."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from http import HTTPStatus
from typing import Any, Final

from service.sheets.figures import unit_of

__all__ = [
    "describe_fields",
    "drop_titles_and_nulls",
    "lead_with_the_kind",
    "prune",
    "route_name",
    "share",
    "share_fields",
]

Node = dict[str, Any]

_ANNOTATIONS: Final = frozenset({"title", "description", "examples", "default", "deprecated"})


_USUAL: Final[Mapping[str, str]] = {
    "at": "Places in the request.",
    "at_least": "Lower bound, in the unit of the value; null if there is none.",
    "at_most": "Upper bound, in the unit of the value; null if there is none.",
    "cautions": "Cautions for whoever handles or runs the stack.",
    "code": "Stable code of the rule.",
    "component": "Id of the component; null for none.",
    "components": "Components from the spindle side to the cutting side.",
    "contributors": "Contributors to the runout.",
    "counts": "Counts of this answer.",
    "decision": "Decision.",
    "description": "Description for people.",
    "detail": "Explanation of the fault.",
    "errors": "Number of findings of severity error.",
    "evaluation": "Result evaluation of OPC 40001-101.",
    "evaluation_name": "Name of the result evaluation of OPC 40001-101.",
    "findings": "Findings, by severity.",
    "joint": "Joint, spindle side first; null for none.",
    "lacks": "What the rule lacks.",
    "limit_um": "Runout limit, TIR in µm; null if not stated.",
    "machine_side": "End turned to the spindle.",
    "mass_kg": "Mass, kg; null if not known.",
    "meaning": "Meaning in words.",
    "message": "Message with the observed value and the limit.",
    "name": "Name.",
    "not_stated": "Quantities that the request does not state.",
    "note": "Remark; null for none.",
    "order": "Work order, as in the request.",
    "part_number": "Part number of the shop or the manufacturer.",
    "planes": "Planes along the axis.",
    "provenance": "Version, rules and request behind this answer.",
    "reason": "Reason in words.",
    "remedy": "What to do.",
    "revision": "Revision of the order, as in the request.",
    "source": "Source: a standard, a publication or common practice.",
    "standards": "Standards of the dimensions.",
    "summary": "Counts of findings and rules.",
    "text": "Text for people.",
    "title": "Title.",
    "tolerance": "Tolerance class of the diameter (ISO 286-1).",
    "unit": "UCUM code of the unit; null for a text.",
    "verdict": "Verdict on the stack.",
    "version": "Version of the service.",
    "what": "Summary in a sentence.",
    "workpiece_side": "End turned to the workpiece.",
}
"""Descriptions of fields that mean the same wherever they stand, by name; a field's own description goes first."""


def drop_titles_and_nulls(document: Node) -> None:
    """Remove titles, which only repeat names, and defaults of null, which say the same as absent.

    A title that is not made of the field's name becomes its description where it has none.
    """
    for name, node in _fields(document):
        title = node.get("title")
        if title is not None and "description" not in node and not _same(title, name):
            node["description"] = f"{title}."
    for _, _, node in _all_nodes(document):
        node.pop("title", None)
        if len(node.get("allOf", ())) == 1:
            node.update(node.pop("allOf")[0])
        if "default" in node and node["default"] is None:
            del node["default"]


def _same(title: str, name: str) -> bool:
    """Whether a title was made of the name."""
    return re.sub(r"[^a-z0-9]", "", title.lower()) == re.sub(r"[^a-z0-9]", "", name.lower())


def describe_fields(document: Node) -> None:
    """Complete the descriptions: usual ones by name, units by the ends of the names, and what a constant always is."""
    if "JsonValue" in document["components"]["schemas"]:
        document["components"]["schemas"]["JsonValue"]["description"] = "Any JSON value."
    for name, node in _fields(document):
        if "description" not in node and "const" in node:
            node["description"] = f"Always `{node['const']}`."
        elif "description" not in node and name in _USUAL:
            node["description"] = _USUAL[name]
        unit, told = unit_of(name), node.get("description")
        if unit and told and not _names(told, unit):
            sentence = told.removesuffix(".")
            node["description"] = f"{told} In {unit}." if ". " in sentence else f"{sentence}, {unit}."


def _names(text: str, unit: str) -> bool:
    return any(re.search(rf"(?<!\w){re.escape(sign)}(?!\w)", text) for sign in (unit, *_SPELT.get(unit, ())))


_SPELT: Final[Mapping[str, tuple[str, ...]]] = {"°": ("degrees",), "rpm": ("1/min",), "%": ("percent",)}


def lead_with_the_kind(document: Node) -> None:
    """Move the field that tells alternatives apart to the front of each of them."""
    schemas = document["components"]["schemas"]
    for _, _, node in _all_nodes(document):
        field = node.get("discriminator", {}).get("propertyName")
        for one in node.get("oneOf", ()) if field else ():
            alternative = schemas[_name_of(one["$ref"])]
            fields = alternative["properties"]
            alternative["properties"] = {field: fields.pop(field), **fields}
            required = alternative["required"]
            alternative["required"] = [field, *(name for name in required if name != field)]


def share(document: Node, named: Mapping[str, Node]) -> None:
    """Refer to the components for whatever stands more than once.

    These are the schemas ``named`` (their annotations aside), enumerations, problem responses, headers, parameters
    and examples.
    """
    _share_schemas(document, named)
    _share_enums(document)
    components = document["components"]
    for path, item in document["paths"].items():
        for operation in item.values():
            for holder, case in _example_holders(path, operation):
                for name, example in holder.items():
                    key = f"problem.{name}" if case is None else f"{case[0]}.{name}.{case[1]}"
                    holder[name] = _put(components, "examples", key, example)
    responses = [operation["responses"] for item in document["paths"].values() for operation in item.values()]
    headers = [response["headers"] for one in responses for response in one.values() if "headers" in response]
    for one in headers:
        for name, header in one.items():
            one[name] = _put(components, "headers", name, header)
    for one in responses:
        for status, response in one.items():
            if int(status) >= 300:
                one[status] = _put(components, "responses", _response_name(status, response), response)
    lists = [one["parameters"] for item in document["paths"].values() for one in item.values() if "parameters" in one]
    for parameters in lists:
        for place, parameter in enumerate(parameters):
            if sum(parameter in others for others in lists) > 1:
                parameters[place] = _put(components, "parameters", _words(parameter["name"]), parameter)


_SHARED_BY: Final = 2
"""Objects from which on a field with one schema is named, where that is shorter."""


def share_fields(document: Node) -> None:
    """Refer to one schema for each field that many objects have with equal descriptions, such as the mass of a part."""
    schemas = document["components"]["schemas"]
    fields = [one for schema in schemas.values() for one in schema.get("properties", {}).items()]
    items: dict[str, list[tuple[str, Node]]] = {}
    for name, field in fields:
        for node in (field, *field.get("anyOf", ())):
            if "description" in node.get("items", {}):
                items.setdefault(json.dumps(node["items"]), []).append((f"{_words(name)}Item", node))
    for text, users in items.items():
        _share_equal(schemas, users[0][0], text, [node for _, node in users], "items")
    owners: dict[tuple[str, str], list[Node]] = {}
    for schema in schemas.values():
        for name, field in schema.get("properties", {}).items():
            if "$ref" not in field and "const" not in field:
                owners.setdefault((name, json.dumps(field)), []).append(schema["properties"])
    for (name, text), nodes in owners.items():
        # a field often has the name of its type
        key = _words(name) if _words(name) not in schemas else f"{_words(name)}Field"
        _share_equal(schemas, key, text, nodes, name)


def _share_equal(schemas: Node, key: str, text: str, owners: Sequence[Node], name: str) -> None:
    """Name the schema that all owners have under one name, if that is shorter."""
    reference = {"$ref": f"#/components/schemas/{key}"}
    saved = (len(owners) - 1) * len(text) - len(owners) * len(json.dumps(reference)) - len(key)
    if len(owners) >= _SHARED_BY and saved > _WORTH_A_NAME and key not in schemas:
        schemas[key] = json.loads(text)
        for owner in owners:
            owner[name] = dict(reference)


_WORTH_A_NAME: Final = 20
"""Characters that a schema with a name of its own must save."""


def prune(document: Node) -> None:
    """Remove the schemas that nothing refers to."""
    schemas = document["components"]["schemas"]
    rest = {
        **document,
        "components": {name: part for name, part in document["components"].items() if name != "schemas"},
    }
    reached = set()
    open_ = set(_references(rest))
    while open_:
        name = open_.pop()
        reached.add(name)
        open_ |= set(_references(schemas[name])) - reached
    document["components"]["schemas"] = {name: schemas[name] for name in schemas if name in reached}


def _references(node: Any) -> Iterator[str]:
    if isinstance(node, dict):
        target = node.get("$ref")
        if isinstance(target, str) and target.startswith("#/components/schemas/"):
            yield _name_of(target)
    for inner in node.values() if isinstance(node, dict) else node if isinstance(node, list) else ():
        yield from _references(inner)


def _share_schemas(document: Node, named: Mapping[str, Node]) -> None:
    schemas = document["components"]["schemas"]
    known = {_meaning(schema): name for name, schema in named.items()}
    for _, _, node in list(_all_nodes(document)):
        name = known.get(_meaning(node))
        if name is not None and node is not schemas.get(name):
            field, enum = _snake(name), named[name].get("enum", [])
            schemas.setdefault(name, {**named[name], **_variable_names(field, enum)})
            _refer(node, name)
            if node.get("description") == named[name].get("description"):
                node.pop("description", None)


def _share_enums(document: Node) -> None:
    """Name every enumeration after its field, with that of its object in front where two fields differ."""
    schemas = document["components"]["schemas"]
    users: dict[str, list[tuple[str, str, Node]]] = {}
    for owner, field, node in _all_nodes(document):
        if len(node.get("enum", ())) > 1 and not any(node is schema for schema in schemas.values()):
            users.setdefault(json.dumps(node["enum"]), []).append((owner, field or owner, node))
    plain: dict[str, set[str]] = {}
    for values, found in users.items():
        for _, field, _ in found:
            plain.setdefault(_words(field), set()).add(values)
    for values, found in users.items():
        owner, field, first = found[0]
        name = _words(field)
        if len(plain[name]) > 1 or name in schemas:
            name = _words(owner) + name
        if name in schemas:
            raise ValueError(f"two enumerations are named {name}")
        object_field = schemas.get(owner, {}).get("properties", {}).get(field, {})
        told = object_field.get("description") or first.get("description") or f"Values of `{field}`."
        schemas[name] = {
            "description": told,
            "type": first["type"],
            "enum": first["enum"],
            **_variable_names(field, json.loads(values)),
        }
        for _, _, node in found:
            del node["type"], node["enum"]
            _refer(node, name)


def _variable_names(field: str, values: list[Any]) -> Node:
    """Names for generated clients, where a value is no identifier."""
    if all(re.fullmatch(r"[A-Za-z_]\w*", str(value)) for value in values):
        return {}
    names = [re.sub(r"\W", "_", str(value)).upper() for value in values]
    return {"x-enum-varnames": [name if name[0].isalpha() else f"{field.upper()}_{name}" for name in names]}


def _snake(name: str) -> str:
    return re.sub(r"(?<!^)(?=[A-Z])", "_", name).lower()


def _refer(node: Node, name: str) -> None:
    kept = {key: value for key, value in node.items() if key in _ANNOTATIONS}
    node.clear()
    node.update({"$ref": f"#/components/schemas/{name}", **kept})


def _meaning(schema: Any) -> str:
    """A schema without its annotations, as text to compare."""

    def bare(node: Any) -> Any:
        if isinstance(node, dict):
            return {key: bare(value) for key, value in node.items() if key not in _ANNOTATIONS}
        return [bare(one) for one in node] if isinstance(node, list) else node

    return json.dumps(bare(schema), sort_keys=True)


def _put(components: Node, kind: str, name: str, content: Node) -> Node:
    """A reference to this content among the components, which is added if it is not there."""
    place = components.setdefault(kind, {})
    name = re.sub(r"[^A-Za-z0-9._-]+", "-", name)
    for other, there in place.items():
        if there == content:
            return {"$ref": f"#/components/{kind}/{other}"}
    free = name
    number = 2
    while free in place:
        free, number = f"{name}{number}", number + 1
    place[free] = content
    return {"$ref": f"#/components/{kind}/{free}"}


def _example_holders(path: str, operation: Node) -> Iterator[tuple[Node, tuple[str, str] | None]]:
    """Each map of examples, with the case it shows: route, and request or answer; None for a problem."""
    route = route_name(path)
    for content in operation.get("requestBody", {}).get("content", {}).values():
        if "examples" in content:
            yield content["examples"], (route, "request")
    for status, response in operation["responses"].items():
        for content in response.get("content", {}).values():
            if "examples" in content:
                yield content["examples"], (route, "answer") if int(status) < 300 else None


def route_name(path: str) -> str:
    """The name of a route in the examples.

    >>> [route_name(path) for path in ("/v1/check-batches", "/v1/rules/{code}", "/healthz", "/.well-known/jwks.json")]
    ['check-batches', 'rules', 'healthz', 'jwks']
    """
    return re.sub(r"^/(v1/|\.well-known/)?|/\{[^}]*\}|\.json$", "", path).replace("/", "-")


def _response_name(status: str, response: Node) -> str:
    for content in response.get("content", {}).values():
        return "Or".join(map(_words, content.get("examples", ()))) or _words(HTTPStatus(int(status)).phrase)
    return _words(HTTPStatus(int(status)).phrase)


def _words(name: str) -> str:
    """A name of several words as one word with capitals."""
    return "".join(part[:1].upper() + part[1:] for part in re.split(r"\W|_", name) if part)


def _name_of(reference: str) -> str:
    return reference.rsplit("/", 1)[1]


def _roots(document: Node) -> Iterator[tuple[str, Node]]:
    """Every schema of the document with the name of its owner."""
    yield from document["components"]["schemas"].items()
    for shared in document["components"].get("parameters", {}).values():
        yield shared["name"], shared["schema"]
    for item in document["paths"].values():
        for operation in item.values():
            owner = operation["operationId"]
            for parameter in operation.get("parameters", ()):
                if "$ref" not in parameter:
                    yield parameter["name"], parameter["schema"]
            bodies = [operation.get("requestBody", {}), *operation["responses"].values()]
            for content in (one for body in bodies for one in body.get("content", {}).values()):
                if "schema" in content:
                    yield owner, content["schema"]


def _all_nodes(document: Node) -> Iterator[tuple[str, str, Node]]:
    """Every schema and all within it, each with the names of its owner and of its nearest field, if any."""
    for owner, root in _roots(document):
        for field, node in _nodes(root, ""):
            yield owner, field, node


def _fields(document: Node) -> Iterator[tuple[str, Node]]:
    """Every field of an object, by its name."""
    for _, _, node in _all_nodes(document):
        yield from node.get("properties", {}).items()


def _nodes(schema: Node, field: str) -> Iterator[tuple[str, Node]]:
    yield field, schema
    for name, inner in schema.get("properties", {}).items():
        yield from _nodes(inner, name)
    for inner in schema.get("patternProperties", {}).values():
        yield from _nodes(inner, field)
    for key in ("items", "additionalProperties", "propertyNames", "not"):
        if isinstance(schema.get(key), dict):
            yield from _nodes(schema[key], field)
    for key in ("anyOf", "oneOf", "allOf", "prefixItems"):
        for inner in schema.get(key, ()):
            yield from _nodes(inner, field)

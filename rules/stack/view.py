"""What rules see of a request: the properties that it states, by name, and their values from one subject.

A rule reads what the analysis computes (``vocabulary.yaml``) and what the request states. The names of the latter
follow from the models of the request: ``teeth`` of a component, ``upper.workpiece_side.diameter_mm`` of a joint,
``operation.limits.runout.tir_um``. A field that is not stated is missing; a field that the kind of component does not
have, and any field of a machine or an operation that the request leaves out, does not exist.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import cache, lru_cache
from types import MappingProxyType, NoneType, UnionType
from typing import Annotated, Any, Final, Literal, NamedTuple, Protocol, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from rules.rulebook.expression import Gap, Result, View
from rules.rulebook.fact import Fact
from rules.rulebook.vocabulary import LABELS, Property, PropertyType, Unit, Vocabulary, load_vocabulary
from rules.schema.components import (
    BaseHolder,
    Collet,
    Cutter,
    Extension,
    GaugePin,
    Reducer,
    RetentionKnob,
    StackPart,
)
from rules.schema.request import Joint, Machine, Operation
from rules.stack.chain import Chain, Member, StackJoint

__all__ = ["RequestView", "Seen", "part_view", "request_vocabulary", "views_of"]

_COMPONENTS: Final[tuple[type[BaseModel], ...]] = (
    BaseHolder,
    Extension,
    Reducer,
    Collet,
    Cutter,
    GaugePin,
    RetentionKnob,
)

_WORDS_OF_ENDING: Final[Mapping[str, Unit]] = MappingProxyType(
    {
        "_n_m_per_mrad": "N m/mrad",
        "_n_per_um": "N/um",
        "_um_per_mm": "um/mm",
        "_um_per_m": "um/m",
        "_m_per_min": "m/min",
        "_kg_mm2": "kg mm2",
        "_kg_m3": "kg/m3",
        "_g_mm": "g mm",
        "_n_m": "N m",
        "_degc": "degC",
        "_deg": "deg",
        "_rpm": "rpm",
        "_gpa": "GPa",
        "_mpa": "MPa",
        "_mm2": "kg mm2",
        "_mm": "mm",
        "_um": "um",
        "_kg": "kg",
        "_kw": "kW",
        "_hz": "Hz",
        "_n": "N",
    }
)
"""Units by the end of a field's name, longer ends before those they end in."""

_UNIT_AT_END: Final = re.compile(
    r",(?: TIR in)? (?:mm|µm|rpm|kg|N|N·m|kW|MPa|GPa|g·mm|kg·mm²|kg/m³|m/min|N/µm|N·m/mrad|µm/mm|µm/m|Hz|°C|degrees)$"
)
"""The unit that a description ends in; the property states it beside."""

_OWNERS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "machine_side": "machine-side",
        "workpiece_side": "workpiece-side",
        "upper": "upper component's",
        "lower": "lower component's",
        "above": "upper neighbour's",
        "below": "lower neighbour's",
        "tool": "tool's",
        "holder": "holder's",
    }
)
"""Whose a property is, by the first part of its name."""


def _unit(name: str) -> Unit:
    return next((unit for end, unit in _WORDS_OF_ENDING.items() if name.endswith(end)), "ratio")


def _plain(annotation: Any) -> Any:
    """Return a type without None and metadata; a union of models as the tuple of them."""
    while get_origin(annotation) is Annotated:
        annotation = get_args(annotation)[0]
    if get_origin(annotation) in (Union, UnionType):
        members = [_plain(one) for one in get_args(annotation) if one is not NoneType]
        flat = [one for member in members for one in (member if isinstance(member, tuple) else (member,))]
        if all(isinstance(one, type) and issubclass(one, BaseModel) for one in flat):
            return tuple(flat)
        return flat[0] if len(flat) == 1 else float if float in flat else flat[0]
    return annotation


def _property(
    name: str, field: FieldInfo, kinds: Mapping[str, tuple[str, ...]] | None, *, of_operation: bool
) -> Property | None:
    """Return the property of a field that holds one value; None for any other field."""
    annotation, values = _plain(field.annotation), None
    if get_origin(annotation) is Literal:
        values = tuple(get_args(annotation))
        kind: PropertyType = "text" if isinstance(values[0], str) else "number"
    elif annotation is bool:
        kind = "flag"
    elif annotation in (int, float):
        kind = "number"
    elif annotation is str:
        kind = "text"
    else:
        return None
    text = (field.description or name.replace("_", " ")).partition("; ")[0].partition(". ")[0].rstrip(".")
    text = _UNIT_AT_END.sub("", text).removeprefix("Whether ")
    return Property.model_construct(
        type=kind,
        unit=_unit(name) if kind == "number" else "none",
        meaning=text[:1].lower() + text[1:],
        always=False,
        of_operation=of_operation,
        only=None,
        values=values if kind == "text" else None,
        kinds=kinds,
        from_request=True,
    )


def _fields(
    model: type[BaseModel], *, of_operation: bool = False, kinds: Mapping[str, tuple[str, ...]] | None = None
) -> Iterator[tuple[str, Property]]:
    """Yield the names and properties of a model, those of parts inside with points between."""
    for name, field in model.model_fields.items():
        plain = _plain(field.annotation)
        if isinstance(plain, type) and issubclass(plain, BaseModel):
            plain = (plain,)  # a part of one model
        if isinstance(plain, tuple):
            yield from ((f"{name}.{inner}", one) for inner, one in _union(name, plain, of_operation, kinds))
        elif (found := _property(name, field, kinds, of_operation=of_operation)) is not None:
            yield name, found


def _union(
    name: str, models: Sequence[type[BaseModel]], of_operation: bool, kinds: Mapping[str, tuple[str, ...]] | None
) -> Iterator[tuple[str, Property]]:
    """Yield the properties of a part with several models, which a literal such as ``coupling`` distinguishes."""
    if len(models) == 1:
        for inner, one in _fields(models[0], of_operation=of_operation, kinds=kinds):
            yield inner, _owned(name, one)
        return
    tag = "coupling" if "coupling" in models[0].model_fields else "kind"
    tags = {model: get_args(model.model_fields[tag].annotation)[0] for model in models}
    owners: dict[str, list[type[BaseModel]]] = {}
    found: dict[str, Property] = {}
    for model in models:
        for inner, one in _fields(model, of_operation=of_operation, kinds=kinds):
            owners.setdefault(inner, []).append(model)
            own = _owned(name, one)
            found[inner] = _either(found.get(inner, own), own)
    for inner, one in found.items():
        if inner == tag:
            yield inner, one.model_copy(update={"values": tuple(tags.values())})
            continue
        among = tuple(tags[model] for model in owners[inner])
        # the name of the literal is that of the rule, from the subject on
        narrowed = kinds if len(among) == len(models) else {**(kinds or {}), f"{name}.{tag}": among}
        yield inner, one.model_copy(update={"kinds": narrowed})


def _either(one: Property, other: Property) -> Property:
    """Return a property that two models have; its closed list holds the values of both, if both have one."""
    if one is other:
        return one
    if one.type != other.type:
        raise TypeError(f"{one.meaning} is a {one.type} in one model and a {other.type} in another")
    values = None if one.values is None or other.values is None else tuple(dict.fromkeys((*one.values, *other.values)))
    return one.model_copy(update={"values": values})


def _owned(owner: str, one: Property) -> Property:
    """Return a property that says whose it is."""
    return one if owner not in _OWNERS else one.model_copy(update={"meaning": _owned_meaning(owner, one)})


def _owned_meaning(owner: str, one: Property) -> str:
    words = _OWNERS.get(owner)
    if words is None:
        return one.meaning
    whose = words.removesuffix("'s")
    return f"{whose}: {one.meaning}" if one.type == "flag" else f"{words} {one.meaning}"


def _kinds_of(model: type[BaseModel]) -> tuple[str, ...]:
    """Return the kinds of component that a model is for; all cutting tools share one."""
    kinds: tuple[str, ...] = get_args(model.model_fields["kind"].annotation)
    return kinds


def _of_component() -> dict[str, Property]:
    """Return what a component states, over all kinds."""
    owners: dict[str, list[str]] = {}
    found: dict[str, Property] = {}
    kinds = tuple(kind for model in _COMPONENTS for kind in _kinds_of(model))
    for model in _COMPONENTS:
        for name, one in _fields(model):
            owners.setdefault(name, []).extend(_kinds_of(model))
            found[name] = _either(found.get(name, one), one)
    for name, one in found.items():
        if len(owners[name]) < len(kinds):
            found[name] = one.model_copy(update={"kinds": {**(one.kinds or {}), "kind": tuple(owners[name])}})
    found["kind"] = found["kind"].model_copy(update={"values": kinds})
    found["runout.tir_um"] = Property.model_construct(
        type="number", unit="um", meaning="largest runout stated for the component, total indicator reading",
        always=False, of_operation=False, only=None, values=None, kinds=None, from_request=True,
    )  # fmt: skip
    return found


def _prefixed(prefix: str, words: Mapping[str, Property], **changes: Any) -> dict[str, Property]:
    return {
        f"{prefix}.{name}": one.model_copy(
            update={
                "meaning": _owned_meaning(prefix, one),
                "from_request": True,
                "always": False,
                "kinds": _without_knobs(prefix, one.kinds),
                **changes,
            }
        )
        for name, one in words.items()
    }


def _without_knobs(prefix: str, kinds: Mapping[str, tuple[str, ...]] | None) -> Mapping[str, tuple[str, ...]] | None:
    """Return which kinds go with a property; a knob is none of the neighbours, tools and holders that have names."""
    if kinds is None or prefix not in _OWNERS or set(kinds.get("kind", ())) != _CHAINED:
        return kinds
    return {key: values for key, values in kinds.items() if key != "kind"} or None


_CHAINED: Final = {kind for one in _COMPONENTS if one is not RetentionKnob for kind in _kinds_of(one)}


@cache
def request_vocabulary() -> Vocabulary:
    """Return the vocabulary of the rules: what the analysis computes and what a request states."""
    computed = load_vocabulary()
    component = _of_component()
    every = {**component, **computed.kinds["component"]}
    values = tuple(
        dict.fromkeys(
            (*(component["workpiece_side.coupling"].values or ()), *(component["machine_side.coupling"].values or ()))
        )
    )
    side = component["machine_side.coupling"]
    coupling = {"coupling": side.model_copy(update={"kinds": None, "values": values, "meaning": "coupling"})}
    operation = dict(_fields(Operation, of_operation=True))
    around = {
        LABELS: Property.model_construct(
            type="text", unit="none", meaning="labels of the request", always=False, of_operation=False, only=None,
            values=None, kinds=None, from_request=True,
        ),
        **_prefixed("machine", dict(_fields(Machine))),
        **_prefixed("tool", every),
        **_prefixed("holder", every),
    }  # fmt: skip
    # what a request states is missing, not absent, where another subject reads it
    seen = _prefixed("operation", {**computed.kinds["operation"], **operation}, of_operation=True)
    for name in operation:
        seen[f"operation.{name}"] = seen[f"operation.{name}"].model_copy(update={"only": None})
    stack = _prefixed("stack", computed.kinds["stack"])
    joint = {name: one for name, one in _fields(Joint) if name not in ("upper", "lower")}
    return Vocabulary(
        computed.kinds,
        computed.file,
        {
            "stack": {**around, **seen, **stack},
            "component": {
                **around, **seen, **stack, **component, **_prefixed("component", every),
                **_prefixed("above", every), **_prefixed("below", every),
            },
            "joint": {
                **around, **seen, **stack, **joint, **_prefixed("joint", {**computed.kinds["joint"], **joint}),
                **_prefixed("upper", {**every, **coupling}), **_prefixed("lower", {**every, **coupling}),
            },
            "operation": {**around, **seen, **stack, **operation},
            "part": {**component, **_prefixed("part", component)},
        },
    )  # fmt: skip


class RequestView(View, Protocol):
    """The view of a subject of a request, which also says where values are stated."""

    at: tuple[str, ...]
    """JSON Pointers of the subject."""

    def seen(self, name: str) -> Seen:
        """Return the value of a property and its places."""

    def subjects(self, over: str) -> Sequence[RequestView]:
        """Return the components or the joints of the stack."""


def views_of(chain: Chain, facts: Sequence[Fact]) -> Callable[[Fact], RequestView]:
    """Return, for a fact of a request, what its subject sees.

    Parameters
    ----------
    chain : Chain
        The request as a chain.
    facts : sequence of Fact
        Every fact of the request.
    """
    return _Request(chain, facts).view


class Seen(NamedTuple):
    """A value, and the JSON Pointers of the fields that state it or would.

    For a value that the analysis computed they are those of its subject.
    """

    value: Result
    places: tuple[str, ...] = ()
    computed: bool = False


_NOTHING: Final = Seen(None)


def part_view(fact: Fact, part: StackPart) -> View:
    """Return what a rule sees of a part of a library: its fact and what it states itself."""
    return _Part(fact, part)


class _Part:
    """The view of a part outside any stack."""

    def __init__(self, fact: Fact, part: StackPart) -> None:
        self._fact, self._part = fact, part

    def subjects(self, over: str) -> Sequence[View]:  # noqa: ARG002
        """Return no other subject."""
        return ()

    def get(self, name: str) -> Result:
        """Return the value of a property."""
        found = _computed(self._fact, name, name)
        if found is not None:
            return found
        return _of_part(self._part, "", name.removeprefix("part."), name).value


def _of_part(part: StackPart, at: str, path: str, name: str) -> Seen:
    """Return what a component states at a path of names."""
    if path != "runout.tir_um":
        return _stated(part, at, path, name)
    if part.runout is None:
        return _missing(name, f"{at}/runout")
    values = [float(one.tir_um) for one in part.runout.statements]
    largest = max(values)
    return Seen(largest, (f"{at}/runout/statements/{values.index(largest)}/tir_um",))


class _Request:
    """A request with its facts, found by their subject."""

    def __init__(self, chain: Chain, facts: Sequence[Fact]) -> None:
        self.chain = chain
        self.facts = {fact.key: fact for fact in facts}
        self.components = {f"component:{member.at}": member for member in (*chain.members, *chain.knobs)}
        cases = ([chain.spindle_joint] if chain.spindle_joint else []) + list(chain.joints)
        self.joints = {f"joint:{number}": case for number, case in enumerate(cases)}

    def view(self, fact: Fact) -> RequestView:
        return _Subject(self, fact)

    def subjects(self, over: str) -> list[RequestView]:
        keys = self.components if over == "components" else self.joints
        return [_Subject(self, self.facts[key]) for key in keys if key in self.facts]


class _Subject:
    """The view of one subject."""

    def __init__(self, request: _Request, fact: Fact) -> None:
        self._request, self._fact = request, fact
        self.at = fact.at
        # many rules read the same few properties, and a subject does not change
        self._values: dict[str, Result] = {}

    def subjects(self, over: str) -> Sequence[RequestView]:
        """Return the components or the joints of the stack."""
        return self._request.subjects(over)

    def get(self, name: str) -> Result:
        """Return the value of a property, under the names of the subject's kind."""
        values = self._values
        if name in values:
            return values[name]
        found = _computed(self._fact, name, name)
        # what the analysis leaves out does not exist here, even where the request has such a field
        if found is None and name not in request_vocabulary().kinds[self._fact.kind]:
            found = self._found(name).value
        values[name] = found
        return found

    def seen(self, name: str) -> Seen:
        """Return the value of a property and its places; a computed value that a field states is at that field."""
        found = _of_fact(self._fact, name, name)
        if found.value is None and name not in request_vocabulary().kinds[self._fact.kind]:
            found = self._found(name)
        if not found.computed or isinstance(found.value, Gap):
            return found
        stated = self._found(name, computed=False)
        return stated if stated.value == found.value else found

    def _found(self, name: str, *, computed: bool = True) -> Seen:
        """Look a name up beyond what was computed for the subject itself."""
        first, _, rest = name.partition(".")
        request, chain = self._request, self._request.chain
        if first == self._fact.kind and rest and first in ("component", "joint"):
            own = _of_fact(self._fact, rest, name) if computed else _NOTHING
            if own.value is not None or (computed and rest in request_vocabulary().kinds[self._fact.kind]):
                return own
            return _renamed(self._found(rest, computed=computed), name)
        if first == "labels":
            return _label(chain, rest)
        if first == "machine":
            return _NOTHING if chain.machine is None else _stated(chain.machine, "/machine", rest, name)
        if first == "operation" and rest:
            return self._of_operation(rest, name, computed=computed)
        if first == "stack" and rest:
            fact = request.facts.get("stack") if computed else None
            return _NOTHING if fact is None else _of_fact(fact, rest, name)
        if first in ("tool", "holder"):
            member = (chain.members[-1] if first == "tool" else chain.members[0]) if chain.members else None
            return self._of_component(member, rest, name, computed=computed)
        return self._own(first, rest, name, computed=computed)

    def _own(self, first: str, rest: str, name: str, *, computed: bool) -> Seen:
        request, chain = self._request, self._request.chain
        if self._fact.kind == "operation":
            return self._of_operation(name, name, computed=computed)
        if self._fact.kind == "component":
            member = request.components.get(self._fact.key)
            if first in ("above", "below") and member is not None:
                place = next((n for n, one in enumerate(chain.members) if one.at == member.at), None)
                beside = None if place is None else place + (1 if first == "below" else -1)
                if beside is None or not 0 <= beside < len(chain.members):
                    return _NOTHING
                return self._of_component(chain.members[beside], rest, name, computed=computed)
            return self._of_component(member, name, name, computed=computed)
        case = request.joints.get(self._fact.key)
        if self._fact.kind != "joint" or case is None:
            return _NOTHING
        if first in ("upper", "lower") and rest:
            return self._of_end(case, first, rest, name)
        if case.statement is None:
            return _missing(name, f"{case.statement_at}/{name}") if name in Joint.model_fields else _NOTHING
        return _stated(case.statement, case.statement_at, name, name)

    def _of_end(self, case: StackJoint, end: str, rest: str, name: str) -> Seen:
        if rest == "coupling":
            side = case.upper_side if end == "upper" else case.lower.machine_side
            at = case.upper_at if end == "upper" else case.lower_at
            return _missing(name, at) if side is None else Seen(side.coupling, (f"{at}/coupling",))
        return self._of_component(case.upper if end == "upper" else case.lower, rest, name, computed=True)

    def _of_component(self, member: Member | None, rest: str, name: str, *, computed: bool) -> Seen:
        if member is None:
            return _NOTHING
        fact = self._request.facts.get(f"component:{member.at}") if computed else None
        found = _NOTHING if fact is None else _of_fact(fact, rest, name)
        if found.value is not None:
            return found
        return _of_part(member.part, member.at, rest, name)

    def _of_operation(self, rest: str, name: str, *, computed: bool) -> Seen:
        fact, chain = self._request.facts.get("operation") if computed else None, self._request.chain
        if chain.operation is None:
            return _NOTHING
        found = _NOTHING if fact is None else _of_fact(fact, rest, name)
        return found if found.value is not None else _stated(chain.operation, chain.operation_at, rest, name)


def _computed(fact: Fact, own: str, name: str) -> Result:
    """Return a property that the analysis computed; ``name`` is that under which the rule reads it."""
    fields = fact.lacking.get(own)
    return fact.known.get(own) if fields is None else Gap({name: fields})


def _of_fact(fact: Fact, own: str, name: str) -> Seen:
    found = _computed(fact, own, name)
    return _NOTHING if found is None else Seen(found, _places(found, fact), True)


def _places(found: Result, fact: Fact) -> tuple[str, ...]:
    if not isinstance(found, Gap):
        return fact.at
    return tuple(field for fields in found.lacking.values() for field in fields)


def _missing(name: str, at: str) -> Seen:
    return Seen(Gap({name: (at,)}), (at,))


def _renamed(seen: Seen, name: str) -> Seen:
    """Return a result under the name by which the rule reads it."""
    return seen._replace(value=Gap({name: seen.places})) if isinstance(seen.value, Gap) else seen


def _label(chain: Chain, key: str) -> Seen:
    found, at = (chain.request.labels or {}).get(key), f"/labels/{key}"
    return _missing(f"{LABELS}{key}", at) if found is None else Seen(found, (at,))


@lru_cache(maxsize=4096)
def _steps(path: str) -> tuple[str, ...]:
    return tuple(path.split("."))


def _stated(part: BaseModel, at: str, path: str, name: str) -> Seen:
    """Return the value at a path of names below a part of the request."""
    place: Any = part
    for step in _steps(path):
        if not isinstance(place, BaseModel) or step not in place.__pydantic_fields__:
            return _NOTHING
        place, at = getattr(place, step), f"{at}/{step}"
        if place is None:
            return _missing(name, at)
    if isinstance(place, bool | str):
        return Seen(place, (at,))
    return Seen(float(place), (at,)) if isinstance(place, int | float) else _NOTHING

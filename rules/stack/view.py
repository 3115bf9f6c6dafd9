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
from weakref import ref

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from rules.rulebook.expression import Gap, Result, Subjects, View
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
    Runout,
    StackPart,
)
from rules.schema.request import Joint, Machine, Operation
from rules.stack.chain import Chain, Member

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


def views_of(
    chain: Chain, facts: Sequence[Fact], vocabulary: Vocabulary | None = None
) -> Callable[[Fact], RequestView]:
    """Return, for a fact of a request, what its subject sees.

    Parameters
    ----------
    chain : Chain
        The request as a chain.
    facts : sequence of Fact
        Every fact of the request.
    vocabulary : Vocabulary, optional
        That of the rules; by default :func:`request_vocabulary`.
    """
    return _Views(_Request(chain, facts, vocabulary or request_vocabulary())).view


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
        return _stated(self._part, "", name.removeprefix("part."), name).value


class _Request:
    """A request with its facts, found by their subject."""

    def __init__(self, chain: Chain, facts: Sequence[Fact], vocabulary: Vocabulary) -> None:
        self.chain, self.vocabulary = chain, vocabulary
        self.facts = {fact.key: fact for fact in facts}
        self.components = {f"component:{member.at}": member for member in (*chain.members, *chain.knobs)}
        cases = ([chain.spindle_joint] if chain.spindle_joint else []) + list(chain.joints)
        self.joints = {f"joint:{number}": case for number, case in enumerate(cases)}

    def place_of(self, member: Member | None) -> _Place:
        """Return where a component is."""
        return _NOWHERE if member is None else _Place(self.facts.get(f"component:{member.at}"), member.part, member.at)

    def beside(self, member: Member | None, step: int) -> Member | None:
        """Return the neighbour of a component in the chain."""
        members = self.chain.members
        place = next((n for n, one in enumerate(members) if member is not None and one.at == member.at), None)
        return None if place is None or not 0 <= place + step < len(members) else members[place + step]


class _Views:
    """The views of the subjects of a request, made once.

    Many rules ask the same subjects, and what they see does not change. A view refers to these weakly: a circle of
    references would keep a whole check until the next collection of garbage, which then takes as long as five checks.
    """

    def __init__(self, request: _Request) -> None:
        self._request = request
        self._views: dict[str, RequestView] = {}
        self._subjects: dict[str, Subjects[RequestView]] = {}

    def view(self, fact: Fact) -> RequestView:
        if self._request.facts.get(fact.key) is not fact:
            return _Subject(self._request, fact, self)
        found = self._views.get(fact.key)
        if found is None:
            found = self._views[fact.key] = _Subject(self._request, fact, self)
        return found

    def subjects(self, over: str) -> Subjects[RequestView]:
        found = self._subjects.get(over)
        if found is None:
            request = self._request
            keys = request.components if over == "components" else request.joints
            views = [self.view(request.facts[key]) for key in keys if key in request.facts]
            found = self._subjects[over] = Subjects(views)
        return found


class _Place(NamedTuple):
    """Where a name leads: the fact of a subject, and what the request states of it at a pointer."""

    fact: Fact | None
    part: BaseModel | None
    at: str = ""


_NOWHERE: Final = _Place(None, None)


class _Subject:
    """The view of one subject."""

    def __init__(self, request: _Request, fact: Fact, views: _Views) -> None:
        self._request, self._fact = request, fact
        self._views = ref(views)
        self.at = fact.at
        # many rules read the same few properties of the same few places, and a subject does not change
        self._values: dict[str, Result] = dict(fact.known)
        self._places: dict[str, _Place] = {}
        # what the analysis leaves out does not exist, even where the request has such a field
        self._analysed = request.vocabulary.kinds[fact.kind]

    def subjects(self, over: str) -> Sequence[RequestView]:
        """Return the components or the joints of the stack."""
        return (self._views() or _Views(self._request)).subjects(over)

    def get(self, name: str) -> Result:
        """Return the value of a property, under the names of the subject's kind."""
        values = self._values
        if name in values:
            return values[name]
        owner, path = _route(self._fact.kind, name)
        place = self._places.get(owner) or self._place(owner)
        found = None if place.fact is None else _computed(place.fact, path, name)
        if found is None and (owner != _OWN or path not in self._analysed):
            found = self._stated_at(place, owner, path, name).value
        values[name] = found
        return found

    def seen(self, name: str) -> Seen:
        """Return the value of a property and its places; a computed value that a field states is at that field."""
        owner, path = _route(self._fact.kind, name)
        place = self._place(owner)
        found = None if place.fact is None else _computed(place.fact, path, name)
        if isinstance(found, Gap):
            return Seen(found, tuple(field for fields in found.lacking.values() for field in fields), computed=True)
        if found is None and owner == _OWN and path in self._analysed:
            return _NOTHING
        stated = self._stated_at(place, owner, path, name)
        if found is None or place.fact is None or stated.value == found:
            return stated
        return Seen(found, place.fact.at, computed=True)

    def _stated_at(self, place: _Place, owner: str, path: str, name: str) -> Seen:
        """Return what the request states."""
        if place.part is not None and (path != "coupling" or owner not in ("upper", "lower")):
            return _stated(place.part, place.at, path, name)
        if owner == "labels":
            return _label(self._request.chain, path)
        if path == "coupling" and owner in ("upper", "lower"):
            return self._coupling(owner, name)
        # a joint without a statement lacks what it could state
        return _missing(name, f"{place.at}/{path}") if place.at and path in Joint.model_fields else _NOTHING

    def _coupling(self, end: str, name: str) -> Seen:
        case = self._request.joints.get(self._fact.key)
        if case is None:
            return _NOTHING
        side = case.upper_side if end == "upper" else case.lower.machine_side
        at = case.upper_at if end == "upper" else case.lower_at
        return _missing(name, at) if side is None else Seen(side.coupling, (f"{at}/coupling",))

    def _place(self, owner: str) -> _Place:
        found = self._places[owner] = self._placed(owner)
        return found

    def _placed(self, owner: str) -> _Place:
        request, chain, kind = self._request, self._request.chain, self._fact.kind
        if owner == "labels":
            return _NOWHERE
        if owner == "machine":
            return _NOWHERE if chain.machine is None else _Place(None, chain.machine, "/machine")
        if owner == "operation" or (owner == _OWN and kind == "operation"):
            fact = self._fact if owner == _OWN else request.facts.get("operation")
            return _NOWHERE if chain.operation is None else _Place(fact, chain.operation, chain.operation_at)
        if owner == "stack":
            return _Place(request.facts.get("stack"), None)
        if owner in ("tool", "holder"):
            ends = chain.members[-1:] if owner == "tool" else chain.members[:1]
            return request.place_of(ends[0] if ends else None)
        if kind == "component":
            member = request.components.get(self._fact.key)
            if owner == _OWN:
                return _Place(self._fact, None if member is None else member.part, "" if member is None else member.at)
            return request.place_of(request.beside(member, 1 if owner == "below" else -1))
        case = request.joints.get(self._fact.key)
        if kind != "joint" or case is None:
            return _Place(self._fact, None) if owner == _OWN else _NOWHERE
        if owner in ("upper", "lower"):
            return request.place_of(case.upper if owner == "upper" else case.lower)
        return _Place(self._fact, case.statement, case.statement_at)


_OWN: Final = "own"
_ANYWHERE: Final = frozenset({"labels", "machine", "operation", "stack", "tool", "holder"})
_BESIDE: Final = frozenset({("component", "above"), ("component", "below"), ("joint", "upper"), ("joint", "lower")})


@lru_cache(maxsize=4096)
def _route(kind: str, name: str) -> tuple[str, str]:
    """Return whose property a name means on a subject of a kind, and its path there."""
    first, _, rest = name.partition(".")
    if rest and first == kind and kind in ("component", "joint"):
        return _OWN, rest
    return (first, rest) if rest and (first in _ANYWHERE or (kind, first) in _BESIDE) else (_OWN, name)


def _computed(fact: Fact, own: str, name: str) -> Result:
    """Return a property that the analysis computed; ``name`` is that under which the rule reads it."""
    fields = fact.lacking.get(own)
    return fact.known.get(own) if fields is None else Gap({name: fields})


def _missing(name: str, at: str) -> Seen:
    return Seen(Gap({name: (at,)}), (at,))


def _label(chain: Chain, key: str) -> Seen:
    found, at = (chain.request.labels or {}).get(key), f"/labels/{key}"
    return _missing(f"{LABELS}{key}", at) if found is None else Seen(found, (at,))


@lru_cache(maxsize=4096)
def _steps(path: str) -> tuple[tuple[str, str], ...]:
    """Return each name of a path, and the pointer to it from where the path begins."""
    names = path.split(".")
    return tuple([(name, "".join(f"/{one}" for one in names[: n + 1])) for n, name in enumerate(names)])


def _stated(part: BaseModel, at: str, path: str, name: str) -> Seen:
    """Return the value at a path of names below a part of the request; of a component's runouts the largest."""
    if path == "runout.tir_um":
        runout: Runout | None = getattr(part, "runout", None)
        if runout is None:
            return _missing(name, f"{at}/runout")
        values = [float(one.tir_um) for one in runout.statements]
        largest = max(values)
        return Seen(largest, (f"{at}/runout/statements/{values.index(largest)}/tir_um",))
    place: Any = part
    pointer = ""
    for step, pointer in _steps(path):
        if not isinstance(place, BaseModel) or step not in place.__pydantic_fields__:
            return _NOTHING
        place = getattr(place, step)
        if place is None:
            return _missing(name, at + pointer)
    if isinstance(place, _TRUTH_OR_TEXT):
        return Seen(place, (at + pointer,))
    return Seen(float(place), (at + pointer,)) if isinstance(place, _NUMBER) else _NOTHING


# tuples, since a union in the call would be built anew each time
_TRUTH_OR_TEXT: Final = (bool, str)
_NUMBER: Final = (int, float)

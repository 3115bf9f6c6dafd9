"""What rules see of a request: the properties that it states, by name, and their values from one subject.

A rule reads what the analysis computes (``vocabulary.yaml``) and what the request states. The names of the latter
follow from the models of the request: ``teeth`` of a component, ``upper.workpiece_side.diameter_mm`` of a joint,
``operation.limits.runout.tir_um``. A field that is not stated is missing; a field that the kind of component does not
have, and any field of a machine or an operation that the request leaves out, does not exist.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import cache, lru_cache
from types import MappingProxyType, NoneType, UnionType
from typing import Annotated, Any, Final, Literal, Union, get_args, get_origin

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

__all__ = ["part_view", "request_vocabulary", "views_of"]

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

_SIDES: Final = ("machine_side", "workpiece_side")


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
    text = (field.description or name.replace("_", " ")).partition("; ")[0].rstrip(".")
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
    """Yield the properties of a part that may be of several models, told apart by a literal such as ``coupling``."""
    if len(models) == 1:
        yield from _fields(models[0], of_operation=of_operation, kinds=kinds)
        return
    tag = "coupling" if "coupling" in models[0].model_fields else "kind"
    tags = {model: get_args(model.model_fields[tag].annotation)[0] for model in models}
    owners: dict[str, list[type[BaseModel]]] = {}
    found: dict[str, Property] = {}
    for model in models:
        for inner, one in _fields(model, of_operation=of_operation, kinds=kinds):
            owners.setdefault(inner, []).append(model)
            found[inner] = _either(found.get(inner, one), one)
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
    if one.type != other.type:
        raise TypeError(f"{one.meaning} is a {one.type} in one model and a {other.type} in another")
    values = None if one.values is None or other.values is None else tuple(dict.fromkeys((*one.values, *other.values)))
    return one.model_copy(update={"values": values})


def _of_component() -> dict[str, Property]:
    """Return what a component states, over all kinds."""
    owners: dict[str, list[str]] = {}
    found: dict[str, Property] = {}
    kinds = tuple(get_args(model.model_fields["kind"].annotation)[0] for model in _COMPONENTS)
    for model, kind in zip(_COMPONENTS, kinds, strict=True):
        for name, one in _fields(model):
            owners.setdefault(name, []).append(kind)
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
        f"{prefix}.{name}": one.model_copy(update={"from_request": True, "always": False, **changes})
        for name, one in words.items()
    }


@cache
def request_vocabulary() -> Vocabulary:
    """Return the vocabulary of the rules: what the analysis computes and what a request states."""
    computed = load_vocabulary()
    component = _of_component()
    every = {**component, **computed.kinds["component"]}
    coupling = {"coupling": component["machine_side.coupling"].model_copy(update={"kinds": None})}
    values = tuple(
        dict.fromkeys(
            (*(component["workpiece_side.coupling"].values or ()), *(component["machine_side.coupling"].values or ()))
        )
    )
    coupling = {"coupling": coupling["coupling"].model_copy(update={"values": values})}
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


def views_of(chain: Chain, facts: Sequence[Fact]) -> Callable[[Fact], View]:
    """Return, for a fact of a request, what its subject sees.

    Parameters
    ----------
    chain : Chain
        The request as a chain.
    facts : sequence of Fact
        Every fact of the request.
    """
    return _Request(chain, facts).view


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
        return _of_part(self._part, "", name.removeprefix("part."), name)


def _of_part(part: StackPart, at: str, path: str, name: str) -> Result:
    """Return what a component states at a path of names."""
    if path != "runout.tir_um":
        return _stated(part, at, path, name)
    if part.runout is None:
        return Gap({name: (f"{at}/runout",)})
    return max(float(one.tir_um) for one in part.runout.statements)


class _Request:
    """A request with its facts, found by their subject."""

    def __init__(self, chain: Chain, facts: Sequence[Fact]) -> None:
        self.chain = chain
        self.facts = {fact.key: fact for fact in facts}
        self.components = {f"component:{member.at}": member for member in (*chain.members, *chain.knobs)}
        cases = ([chain.spindle_joint] if chain.spindle_joint else []) + list(chain.joints)
        self.joints = {f"joint:{number}": case for number, case in enumerate(cases)}

    def view(self, fact: Fact) -> View:
        return _Subject(self, fact)

    def subjects(self, over: str) -> list[View]:
        keys = self.components if over == "components" else self.joints
        return [_Subject(self, self.facts[key]) for key in keys if key in self.facts]


class _Subject:
    """The view of one subject."""

    def __init__(self, request: _Request, fact: Fact) -> None:
        self._request, self._fact = request, fact

    def subjects(self, over: str) -> Sequence[View]:
        """Return the components or the joints of the stack."""
        return self._request.subjects(over)

    def get(self, name: str) -> Result:
        """Return the value of a property, under the names of the subject's kind."""
        found = _computed(self._fact, name, name)
        if found is not None or name in request_vocabulary().kinds[self._fact.kind]:
            return found  # what the analysis leaves out does not exist here, even where the request has such a field
        first, _, rest = name.partition(".")
        request, chain = self._request, self._request.chain
        if first == self._fact.kind and rest and first in ("component", "joint"):
            return _renamed(self.get(rest), name)
        if first == "labels":
            return _label(chain, rest)
        if first == "machine":
            return None if chain.machine is None else _stated(chain.machine, "/machine", rest, name)
        if first == "operation" and rest:
            return self._of_operation(rest, name)
        if first == "stack" and rest:
            fact = request.facts.get("stack")
            return None if fact is None else _computed(fact, rest, name)
        if first in ("tool", "holder"):
            member = (chain.members[-1] if first == "tool" else chain.members[0]) if chain.members else None
            return self._of_component(member, rest, name)
        return self._own(first, rest, name)

    def _own(self, first: str, rest: str, name: str) -> Result:
        request, chain = self._request, self._request.chain
        if self._fact.kind == "operation":
            return self._of_operation(name, name)
        if self._fact.kind == "component":
            member = request.components.get(self._fact.key)
            if first in ("above", "below") and member is not None:
                place = next((n for n, one in enumerate(chain.members) if one.at == member.at), None)
                beside = None if place is None else place + (1 if first == "below" else -1)
                if beside is None or not 0 <= beside < len(chain.members):
                    return None
                return self._of_component(chain.members[beside], rest, name)
            return self._of_component(member, name, name)
        case = request.joints.get(self._fact.key)
        if self._fact.kind != "joint" or case is None:
            return None
        if first in ("upper", "lower") and rest:
            return self._of_end(case, first, rest, name)
        if case.statement is not None:
            return _stated(case.statement, case.statement_at, name, name)
        # nothing is stated of this joint: its fields are missing, what the analysis did not compute does not exist
        return Gap({name: (f"{case.statement_at}/{name}",)}) if name in Joint.model_fields else None

    def _of_end(self, case: StackJoint, end: str, rest: str, name: str) -> Result:
        if rest == "coupling":
            side = case.upper_side if end == "upper" else case.lower.machine_side
            at = case.upper_at if end == "upper" else case.lower_at
            return Gap({name: (at,)}) if side is None else side.coupling
        return self._of_component(case.upper if end == "upper" else case.lower, rest, name)

    def _of_component(self, member: Member | None, rest: str, name: str) -> Result:
        if member is None:
            return None
        fact = self._request.facts.get(f"component:{member.at}")
        found = None if fact is None else _computed(fact, rest, name)
        if found is not None:
            return found
        return _of_part(member.part, member.at, rest, name)

    def _of_operation(self, rest: str, name: str) -> Result:
        fact, chain = self._request.facts.get("operation"), self._request.chain
        if chain.operation is None:
            return None
        found = None if fact is None else _computed(fact, rest, name)
        return found if found is not None else _stated(chain.operation, chain.operation_at, rest, name)


def _computed(fact: Fact, own: str, name: str) -> Result:
    """Return a property that the analysis computed; ``name`` is that under which the rule reads it."""
    fields = fact.lacking.get(own)
    return fact.known.get(own) if fields is None else Gap({name: fields})


def _renamed(result: Result, name: str) -> Result:
    """Return a result under the name by which the rule reads it."""
    if not isinstance(result, Gap):
        return result
    return Gap({name: tuple(field for fields in result.lacking.values() for field in fields)})


def _label(chain: Chain, key: str) -> Result:
    found = (chain.request.labels or {}).get(key)
    return Gap({f"{LABELS}{key}": (f"/labels/{key}",)}) if found is None else found


@lru_cache(maxsize=4096)
def _steps(path: str) -> tuple[str, ...]:
    return tuple(path.split("."))


def _stated(part: BaseModel, at: str, path: str, name: str) -> Result:
    """Return the value at a path of names below a part of the request."""
    place: Any = part
    for step in _steps(path):
        if not isinstance(place, BaseModel) or step not in type(place).model_fields:
            return None
        place, at = getattr(place, step), f"{at}/{step}"
        if place is None:
            return Gap({name: (at,)})
    if isinstance(place, bool | str):
        return place
    return float(place) if isinstance(place, int | float) else None

"""References to components: each replaced by its definition, and what is wrong with those that cannot be."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

from rules.rulebook.fact import Fact, FactBuilder
from rules.schema.components import ComponentReference, StackEntry, StackPart
from rules.schema.request import StackRequest

__all__ = ["Mounted", "ReferenceCase", "Resolved", "reference_facts", "resolve"]

Mounted: TypeAlias = Mapping[str, Sequence[StackEntry]]
"""The catalogue an operator mounts: every definition of each key, in the order they were read."""

Trouble: TypeAlias = Literal["missing", "cyclic", "ambiguous", "shadows"]


@dataclass(frozen=True, slots=True)
class ReferenceCase:
    """One reference with something to tell."""

    pointer: str
    name: str
    key: str
    """The key that was not found, or that leads round in a circle."""
    trouble: Trouble


@dataclass(frozen=True, slots=True)
class Resolved:
    """A request whose stack holds components only."""

    request: StackRequest
    cases: tuple[ReferenceCase, ...]
    homes: Mapping[str, str]
    """Where in the request a referenced component is defined, by its place in the stack; none for the mounted ones."""

    @property
    def broken(self) -> bool:
        """Whether some reference leads nowhere: then there is no stack to judge."""
        return bool(self.lacking)

    @property
    def lacking(self) -> tuple[str, ...]:
        """Keys that lead nowhere, as pointers into the request."""
        return tuple(f"{case.pointer}/of" for case in self.cases if case.trouble != "shadows")

    def without_stack(self) -> StackRequest:
        """Return the request with nothing to judge in it, for an answer that says just that."""
        stack = self.request.stack.model_copy(update={"components": [], "joints": None})
        return self.request.model_copy(update={"stack": stack, "machine": None, "operation": None})


def resolve(request: StackRequest, mounted: Mounted) -> Resolved:
    """Replace references by what they name: the request's own definitions first, then the mounted ones."""
    entries = request.stack.components
    if not any(isinstance(entry, ComponentReference) for entry in entries):
        return Resolved(request, (), {})
    parts: list[StackEntry] = []
    cases: list[ReferenceCase] = []
    homes: dict[str, str] = {}
    for place, entry in enumerate(entries):
        if not isinstance(entry, ComponentReference):
            parts.append(entry)
            continue
        pointer = f"/stack/components/{place}"
        found = _follow(entry, request.components or {}, mounted)
        name = entry.id or entry.of
        if found.trouble is not None:
            cases.append(ReferenceCase(pointer, name, found.key, found.trouble))
        if found.part is not None:
            parts.append(found.part if entry.id is None else found.part.model_copy(update={"id": entry.id}))
            if found.own:
                homes[pointer] = f"/components/{found.key}"
    stack = request.stack.model_copy(update={"components": parts})
    return Resolved(request.model_copy(update={"stack": stack}), tuple(cases), homes)


@dataclass(frozen=True, slots=True)
class _Found:
    part: StackPart | None
    key: str
    own: bool
    """Whether the request itself defines it."""
    trouble: Trouble | None


def _follow(reference: ComponentReference, own: Mapping[str, StackEntry], mounted: Mounted) -> _Found:
    """Follow a reference from definition to definition until a component is reached."""
    seen: set[str] = set()
    key = reference.of
    while True:
        if key in seen:
            return _Found(None, key, False, "cyclic")
        seen.add(key)
        is_own = key in own
        definitions: Sequence[StackEntry] = (own[key],) if is_own else mounted.get(key, ())
        if not definitions:
            return _Found(None, key, False, "missing")
        if len(definitions) > 1:
            return _Found(None, key, False, "ambiguous")
        definition = definitions[0]
        if not isinstance(definition, ComponentReference):
            return _Found(definition, key, is_own, "shadows" if is_own and key in mounted else None)
        key = definition.of


def reference_facts(resolved: Resolved) -> list[Fact]:
    """Return a fact for each reference that has something to tell."""
    facts = []
    for case in resolved.cases:
        fact = FactBuilder(
            "component", f"reference:{case.pointer}", (case.pointer,), component=case.name, component_kind="reference"
        )
        fact.put("reference_key", case.key)
        for trouble in ("missing", "cyclic", "ambiguous", "shadows"):
            fact.put(f"reference_{trouble}", case.trouble == trouble)
        facts.append(fact.build())
    return facts

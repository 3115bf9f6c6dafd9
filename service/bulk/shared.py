"""What the lines of a batch have in common: definitions of components, operation, machine and policy."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import count
from typing import Any, Final

from pydantic import TypeAdapter
from pydantic_core import to_json

from rules.schema.components import MAX_DEFINITIONS, ComponentReference, StackEntry
from rules.schema.parsing import BadRequestError, Fault, parse, pointer
from rules.schema.request import CheckRequest, Machine, Operation, Policy
from service.contract.batches import Defaults

__all__ = ["MAX_SHARED_BYTES", "Defaults", "Shared", "SharedDefinitions"]

MAX_SHARED_BYTES: Final = 16 * 1024 * 1024
"""What the shared definitions of a batch may weigh as compact JSON: some ten thousand components."""

_ENTRY: Final[TypeAdapter[StackEntry]] = TypeAdapter(StackEntry)
_TOKENS: Final = count(1)


class SharedDefinitions:
    """Components by key, never changed once made; each validated once in a process, when first it is needed there.

    Travels between processes as plain values, which is cheaper than as models.
    """

    __slots__ = ("_models", "_sizes", "_values", "size", "token")

    def __init__(
        self,
        values: Mapping[str, Any] | None = None,
        models: Mapping[str, StackEntry] | None = None,
        sizes: Mapping[str, int] | None = None,
    ) -> None:
        self._values: dict[str, Any] = dict(values or {})
        self._models: dict[str, StackEntry] = dict(models or {})
        self._sizes: dict[str, int] = dict(sizes or {})
        self.size = sum(self._sizes.values())
        """What they weigh as compact JSON."""
        self.token = next(_TOKENS)
        """Tells these from all others of this process."""

    def __reduce__(self) -> tuple[type[SharedDefinitions], tuple[dict[str, Any], None, dict[str, int]]]:
        return type(self), (self._values, None, self._sizes)

    def __len__(self) -> int:
        return len(self._values)

    def get(self, key: str) -> StackEntry | None:
        """The component of this key."""
        model = self._models.get(key)
        if model is None and key in self._values:
            model = self._models[key] = _ENTRY.validate_python(self._values[key])
        return model

    def joined(self, values: Mapping[str, Any], models: Mapping[str, StackEntry]) -> SharedDefinitions:
        """These and some more, the newer winning."""
        sizes = {key: len(to_json(value)) for key, value in values.items()}
        return SharedDefinitions({**self._values, **values}, {**self._models, **models}, {**self._sizes, **sizes})

    def reached(self, entries: Sequence[StackEntry], own: Mapping[str, StackEntry]) -> dict[str, StackEntry]:
        """What references among these entries lead to, and is not the request's own, in the order of the way.

        Raises :class:`~rules.schema.parsing.BadRequestError` when it makes more definitions than a request may have.
        """
        found: dict[str, StackEntry] = {}
        for start in entries:
            entry: StackEntry | None = start
            seen: set[str] = set()
            while isinstance(entry, ComponentReference) and entry.of not in seen:
                key = entry.of
                seen.add(key)
                entry = own.get(key)
                if entry is None and (entry := self.get(key)) is not None:
                    found[key] = entry
                    if len(own) + len(found) > MAX_DEFINITIONS:
                        detail = f"with the shared ones it needs more than {MAX_DEFINITIONS} definitions"
                        raise BadRequestError([Fault(pointer(("components",)) if own else "", detail)])
        return found


NOTHING: Final = SharedDefinitions()


@dataclass(frozen=True, slots=True)
class Shared:
    """Defaults for the stacks that follow; never changed, each change makes another."""

    definitions: SharedDefinitions = field(default=NOTHING)
    operation: Operation | None = None
    machine: Machine | None = None
    policy: Policy | None = None

    def taking(self, value: object) -> Shared:
        """These defaults after a line that sets some of them; null takes one back.

        Definitions are joined to the earlier ones key by key, everything else is replaced whole. Raises
        :class:`~rules.schema.parsing.BadRequestError`.
        """
        return self.joined(parse(Defaults, value), value)

    def joined(self, defaults: Defaults, value: object) -> Shared:
        """As :meth:`taking`, for a value that was validated already."""
        stated = defaults.model_fields_set
        definitions = self.definitions
        if "components" in stated:
            models = defaults.components
            values = value["components"] if isinstance(value, Mapping) else None
            definitions = NOTHING if not models else definitions.joined(values or {}, models)
            if definitions.size > MAX_SHARED_BYTES:
                detail = f"the definitions of a batch may take {MAX_SHARED_BYTES} bytes together"
                raise BadRequestError([Fault(pointer(("components",)), detail)])
        own = {name: getattr(defaults, name) for name in ("operation", "machine", "policy") if name in stated}
        return replace(self, definitions=definitions, **own)

    def filled(self, request: CheckRequest) -> CheckRequest:
        """The request with what it does not state itself: a field of its own wins whole, even a null.

        Of the shared definitions it gets those its references lead to, behind its own, so that a report says the same
        as that of a request which holds them itself. Raises :class:`~rules.schema.parsing.BadRequestError`.
        """
        stated = request.model_fields_set
        update: dict[str, Any] = {
            name: value
            for name in ("operation", "machine", "policy")
            if name not in stated and (value := getattr(self, name)) is not None
        }
        own = request.components or {}
        if len(self.definitions) and (found := self.definitions.reached(request.stack.components, own)):
            update["components"] = {**own, **found}
        return request.model_copy(update=update) if update else request

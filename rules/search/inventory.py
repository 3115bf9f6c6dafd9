"""The inventory of a search: its keys resolved to components, with the quantities on hand."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from rules.schema.components import (
    BaseHolder,
    ComponentReference,
    Cutter,
    GaugePin,
    ReferenceTarget,
    RetentionKnob,
    StackPart,
)
from rules.schema.parsing import BadRequestError, Fault
from rules.schema.request import Stack, StackRequest
from rules.schema.search import MAX_INVENTORY, LeftOut, SearchRequest
from rules.stack.chain import Mounted, resolve

__all__ = ["Inventory", "Stocked", "inventory_of"]

_TROUBLES: Final = {
    "missing": "no definition for this key",
    "cyclic": "its definition leads back to itself",
    "ambiguous": "the mounted catalogue defines it more than once",
    "invalid": "its data in the mounted catalogue is invalid",
}


@dataclass(frozen=True, slots=True)
class Stocked:
    """A component of the inventory and its quantity."""

    key: str
    part: StackPart
    quantity: int


@dataclass(frozen=True, slots=True)
class Inventory:
    """Components available to a search, each group in the order of its keys."""

    tools: tuple[Stocked, ...]
    """Cutting tools, or the gauge pins that the request names."""
    between: tuple[Stocked, ...]
    holders: tuple[Stocked, ...]
    knobs: tuple[Stocked, ...]
    left_out: tuple[LeftOut, ...]

    @property
    def count(self) -> int:
        """Number of different components searched."""
        return len(self.tools) + len(self.between) + len(self.holders) + len(self.knobs)


def inventory_of(request: SearchRequest, mounted: Mounted) -> Inventory:
    """Resolve every key of the inventory.

    A key without a definition, with quantity zero or outside the requested kinds is left out and reported.
    Raises :class:`~rules.schema.parsing.BadRequestError` for more keys than a search takes.
    """
    own, stock = request.components or {}, request.stock or {}
    keys = {*own, *stock, *(mounted.components if request.whole_catalogue else ())}
    defined = sum(key in own or key in mounted.components for key in keys)
    if defined > MAX_INVENTORY:
        where = "/whole_catalogue" if request.whole_catalogue else "/stock"
        detail = f"{defined} components in the inventory; at most {MAX_INVENTORY} can be searched"
        raise BadRequestError([Fault(where, detail, "too_many_entries")])
    wanted = None if request.requirement is None else request.requirement.cutters
    left_out: list[LeftOut] = []
    stocked = []
    for key in sorted(keys):
        one = _stocked(key, request, mounted, left_out)
        if one is not None:
            stocked.append(one)
    left_out.extend(_not_tools(wanted or (), stocked, keys))
    return Inventory(
        tools=tuple(one for one in stocked if _is_wanted(one, wanted)),
        between=tuple(
            one for one in stocked if not isinstance(one.part, BaseHolder | Cutter | GaugePin | RetentionKnob)
        ),
        holders=tuple(one for one in stocked if isinstance(one.part, BaseHolder)),
        knobs=tuple(one for one in stocked if isinstance(one.part, RetentionKnob)),
        left_out=tuple(sorted(left_out, key=lambda one: one.key)),
    )


def _stocked(key: str, request: SearchRequest, mounted: Mounted, left_out: list[LeftOut]) -> Stocked | None:
    quantity = (request.stock or {}).get(key, 1)
    if quantity == 0:
        left_out.append(LeftOut(key=key, code=None, reason="none on hand"))
        return None
    reference = ComponentReference(
        kind="reference",
        of=ReferenceTarget(**{"from": "request" if key in (request.components or {}) else "catalogue", "key": key}),
    )
    # the definitions have been checked, and exceed the size limit of a request
    request_of_one = StackRequest.model_construct(stack=Stack(components=[reference]), components=request.components)
    resolved = resolve(request_of_one, mounted)
    if resolved.broken:
        left_out.append(LeftOut(key=key, code=None, reason=_TROUBLES[resolved.cases[0].trouble]))
        return None
    part = resolved.request.stack.components[0]
    if isinstance(part, ComponentReference):
        raise AssertionError("a resolved reference is a component")
    return Stocked(key, part, quantity)


def _is_wanted(one: Stocked, wanted: Iterable[str] | None) -> bool:
    """Whether a search uses this part as its tool; a gauge pin is used only if the request names it."""
    if wanted is None:
        return isinstance(one.part, Cutter)
    return isinstance(one.part, Cutter | GaugePin) and one.key in wanted


def _not_tools(wanted: Iterable[str], stocked: Iterable[Stocked], keys: set[str]) -> Iterable[LeftOut]:
    found = {one.key: one for one in stocked}
    for key in dict.fromkeys(wanted):
        if key not in keys:
            yield LeftOut(key=key, code=None, reason="required as a cutting tool, but not in the inventory")
        elif key in found and not isinstance(found[key].part, Cutter | GaugePin):
            yield LeftOut(key=key, code=None, reason="required as a cutting tool, but is neither one nor a gauge pin")

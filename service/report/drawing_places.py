"""Where in a stack a finding belongs: at a component, at the joint of two neighbours, or to the whole."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, Literal

from rules.stack.chain import Chain, Link

__all__ = ["Spot", "Spots"]


@dataclass(frozen=True, slots=True)
class Spot:
    """A place in the stack; a joint is numbered by the component below it."""

    kind: Literal["component", "joint", "plane", "stack"]
    number: int
    words: str


_WHOLE: Final = Spot("stack", 0, "whole stack")
_RUNOUT: Final = "RUN-"
"""Family of the rules about the reading at the plane where the limit counts."""


class Spots:
    """The places of a stack by the pointers a report gives."""

    def __init__(self, chain: Chain) -> None:
        self._links = chain.links
        operation = chain.request.operation
        at_tip = operation is not None and operation.runout_limit_at == "tip"
        self._plane = Spot("plane", 0, "at the tip" if at_tip else "at the gauge plane")
        self._knobs = {knob.at: knob.part.id for knob in chain.knobs}
        self._homes = _homes(chain)
        self._statements = {case.statement_at: n for n, case in enumerate(chain.joints, 1) if case.statement}
        if chain.spindle_joint is not None and chain.spindle_joint.statement is not None:
            self._statements[chain.spindle_joint.statement_at] = 0

    def of(self, code: str, pointers: Sequence[str]) -> Spot:
        """Return where a finding belongs: where all its pointers meet."""
        spot = self._met(pointers)
        return self._plane if spot is _WHOLE and code.startswith(_RUNOUT) else spot

    def _met(self, pointers: Sequence[str]) -> Spot:
        for pointer in pointers:
            if pointer in self._statements:
                return self._joint(self._statements[pointer])
        owners = [found for found in map(self._owners, pointers) if found]
        for first in owners:
            for second in owners:
                for upper, lower in pairwise(range(len(self._links))):
                    if first is not second and upper in first and lower in second:
                        return self._joint(lower)
        if any(pointer.startswith("/machine/spindle") for pointer in pointers) and self._links:
            return self._joint(0)
        if owners:
            number = min(owners[0])
            return Spot("component", number, self._links[number].part.id)
        for pointer in pointers:
            if pointer in self._knobs:
                return Spot("joint", 0, self._knobs[pointer])
        return _WHOLE

    def _joint(self, lower: int) -> Spot:
        upper = self._links[lower - 1].part.id if lower else "spindle"
        return Spot("joint", lower, f"{upper}/{self._links[lower].part.id}")

    def _owners(self, pointer: str) -> frozenset[int]:
        """Return the components a pointer may lead into: several where one definition serves more than once."""
        own = [n for n, link in enumerate(self._links) if _leads_into(pointer, link.at)]
        return frozenset(own) or next(
            (numbers for home, numbers in self._homes.items() if _leads_into(pointer, home)), frozenset()
        )


def _leads_into(pointer: str, owner: str) -> bool:
    return pointer == owner or pointer.startswith(f"{owner}/")


def _homes(chain: Chain) -> Mapping[str, frozenset[int]]:
    """Return which components each definition of the request serves."""
    homes = {}
    for key, definition in (chain.request.components or {}).items():
        numbers = frozenset(n for n, link in enumerate(chain.links) if _is_of(link, definition))
        if numbers:
            homes[f"/components/{key}"] = numbers
    return homes


def _is_of(link: Link, definition: object) -> bool:
    if link.part is definition:
        return True
    if type(link.part) is not type(definition):
        return False
    return link.part == definition.model_copy(update={"id": link.part.id})

"""What fits on what: every part by itself, every pair of parts and every knob, judged by the rules of a check."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, TypeAlias

from rules.answer.findings import finding
from rules.assess import Assessor
from rules.couplings.sides import SteepTaper
from rules.cutting.analysis import asked_speed_of
from rules.facts.joints import joint_facts
from rules.quantities.missing import known_or
from rules.rulebook.book import Fired, Overrides, threshold_in_force
from rules.rulebook.fact import Fact
from rules.schema.components import BaseHolder, Collet, GaugePin, StackPart
from rules.schema.report import Finding
from rules.schema.request import Joint, Machine, Operation, Stack, StackRequest
from rules.searching.grip_range import GripRange, grip_range_of
from rules.searching.settled import BY_GRIP, BY_JOINT, BY_KNOB, BY_PART, refuses
from rules.stack.analysis import component_facts, stack_fact
from rules.stack.chain import Chain, chain_of
from rules.stack.mass import masses_of
from rules.stack.positions import geometry_of

__all__ = ["Fitting", "Joining", "tries_knobs"]

_SHARE: Final = ("GRIP-020", "least_share")
"""Rule and threshold that say how much of a collet a shank usually fills."""

_MOST_FACTS: Final = 4000
"""Facts judged in one go."""

Signature: TypeAlias = tuple[Any, ...]
"""All that a joint takes from one of its parts."""


@dataclass(frozen=True, slots=True)
class Joining:
    """How one part sits in another."""

    code: str | None
    """Rule that refuses it whatever else stands in the stack; None where none does."""
    mates: bool
    """Whether the two ends are of kinds that go together at all, or one is not stated."""
    grip: GripRange | None
    near_mm: float | None
    """Projection at the longest grip; None where it is not known."""
    far_mm: float | None
    """Projection at the shortest grip."""


def tries_knobs(part: StackPart, machine: Machine | None) -> bool:
    """Whether knobs are tried: the machine states the one its drawbar takes, and the holder has room for one."""
    side = part.machine_side if isinstance(part, BaseHolder) else None
    demanded = machine is not None and machine.retention_knob is not None
    return demanded and isinstance(side, SteepTaper) and side.form != "iso_297"


class Fitting:
    """Judges what is settled by few parts, with the rulebooks and thresholds of one search."""

    def __init__(
        self, assessor: Assessor, overrides: Overrides, operation: Operation | None, machine: Machine | None
    ) -> None:
        self._engine = assessor.engine
        self._overrides = overrides
        self._operation = operation
        self._machine = machine
        self._usual_share = threshold_in_force(assessor.book, overrides, *_SHARE)

    def of_parts(self, parts: Sequence[StackPart]) -> list[Finding | None]:
        """Return for each part what refuses it by itself; of a holder, also in the machine's spindle."""
        facts: list[Fact] = []
        for number, part in enumerate(parts):
            chain = self._chain([part])
            geometry = geometry_of(chain)
            speed = asked_speed_of(chain)
            facts.extend(_keyed(component_facts(chain, geometry, masses_of(chain, geometry), speed), number))
            if isinstance(part, BaseHolder):
                facts.extend(_keyed(joint_facts(chain, (), speed), number))
        words = self._engine.book.vocabulary
        refused = self._refusals(facts, len(parts), BY_PART | BY_JOINT)
        return [None if one is None else finding(one, words.of(one.fact.kind)) for one in refused]

    def of_knobs(self, pairs: Sequence[tuple[StackPart, StackPart | None]]) -> list[str | None]:
        """Return for each holder with a knob, or without one, the rule that refuses them."""
        facts: list[Fact] = []
        for number, (holder, knob) in enumerate(pairs):
            chain = self._chain([holder] if knob is None else [holder, knob])
            geometry = geometry_of(chain)
            facts.extend(_keyed([stack_fact(chain, geometry, masses_of(chain, geometry))], number))
        return [_code(one) for one in self._refusals(facts, len(pairs), BY_KNOB)]

    def of_joints(self, uppers: Sequence[StackPart], lowers: Sequence[StackPart]) -> list[list[Joining]]:
        """Return how each upper part (outer list) takes each lower one; equal ends are judged once."""
        above, upper_kinds = _numbered(map(_as_upper, uppers))
        below, lower_kinds = _numbered(map(_as_lower, lowers))
        chosen_upper = dict(zip(above, uppers, strict=True))
        chosen_lower = dict(zip(below, lowers, strict=True))
        pairs = [(u, w) for u in range(upper_kinds) for w in range(lower_kinds)]
        joined = dict(zip(pairs, self._joinings([(chosen_upper[u], chosen_lower[w]) for u, w in pairs]), strict=True))
        return [[joined[u, w] for w in below] for u in above]

    def _joinings(self, pairs: Sequence[tuple[StackPart, StackPart]]) -> list[Joining]:
        facts: list[Fact] = []
        found: list[tuple[bool, GripRange | None, float | None, float | None]] = []
        fixed: dict[int, frozenset[str]] = {}
        for number, (upper, lower) in enumerate(pairs):
            one, other = _renamed(upper, "upper"), _renamed(lower, "lower")
            chain = far = self._pair(one, other, None)
            (case,) = chain.joints
            grip = grip_range_of(case, self._usual_share)
            if grip is not None:
                chain, far = (self._pair(one, other, length) for length in (grip.longest_mm, grip.shortest_mm))
            facts.extend(_keyed(joint_facts(chain, (), None), number))
            found.append((case.mated is not False, grip, _projection(chain), _projection(far)))
            choice = grip is not None and grip.longest_mm > grip.shortest_mm
            fixed[number] = BY_JOINT if choice else BY_JOINT | BY_GRIP
        refused = self._refusals(facts, len(pairs), fixed)
        return [Joining(_code(one), *rest) for one, rest in zip(refused, found, strict=True)]

    def _refusals(
        self, facts: Sequence[Fact], count: int, settled: frozenset[str] | Mapping[int, frozenset[str]]
    ) -> list[Fired | None]:
        refused: list[Fired | None] = [None] * count
        for start in range(0, len(facts), _MOST_FACTS):
            judgement = self._engine.judge(facts[start : start + _MOST_FACTS], self._overrides)
            for fired in judgement.fired:  # in the order of the codes, so the first is kept
                number = int(fired.fact.key.partition(":")[0])
                names = settled if isinstance(settled, frozenset) else settled[number]
                if refused[number] is None and refuses(fired, names):
                    refused[number] = fired
        return refused

    def _chain(self, parts: Sequence[StackPart]) -> Chain:
        return chain_of(
            StackRequest(stack=Stack(components=list(parts)), operation=self._operation, machine=self._machine)
        )

    @staticmethod
    def _pair(upper: StackPart, lower: StackPart, grip_mm: float | None) -> Chain:
        joints = None if grip_mm is None else [Joint(upper=upper.id, lower=lower.id, grip_length_mm=grip_mm)]
        return chain_of(StackRequest(stack=Stack(components=[upper, lower], joints=joints)))


def _code(fired: Fired | None) -> str | None:
    return None if fired is None else fired.rule.code


def _keyed(facts: Iterable[Fact], number: int) -> Iterable[Fact]:
    """Give facts keys that are unique among those of many subjects, the subject's number first."""
    return [replace(fact, key=f"{number}:{fact.key}") for fact in facts]


def _renamed(part: StackPart, name: str) -> StackPart:
    return part.model_copy(update={"id": name})


def _projection(chain: Chain) -> float | None:
    return known_or(geometry_of(chain).projections[0], None)


def _as_upper(part: StackPart) -> Signature:
    collet = part if isinstance(part, Collet) else None
    return getattr(part, "workpiece_side", None), collet is not None, collet and collet.machine_side


def _as_lower(part: StackPart) -> Signature:
    return (
        getattr(part, "machine_side", None),
        isinstance(part, GaugePin),
        isinstance(part, Collet),
        sum(piece.length_mm for piece in part.profile) if part.profile else None,
        *(getattr(part, name, None) for name in ("overall_length_mm", "gauge_length_mm", "face_projection_mm")),
    )


def _numbered(signatures: Iterable[Signature]) -> tuple[list[int], int]:
    """Number signatures in the order they come; return the number of each, and how many there are."""
    known: dict[Signature, int] = {}
    numbers = [known.setdefault(one, len(known)) for one in signatures]
    return numbers, len(known)

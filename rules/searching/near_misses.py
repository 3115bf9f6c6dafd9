"""Where a search finds nothing: the stacks that come nearest, judged, with everything that stands against each."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from functools import lru_cache
from itertools import islice, pairwise
from typing import Final

from rules.assess import Assessor
from rules.quantities.missing import Lack
from rules.schema.search import Projection, SearchRequest
from rules.searching.building import build
from rules.searching.judging import JudgedStack, judge
from rules.searching.plan import Plan
from rules.searching.ranking import criteria_of, rank_key, sort_key
from rules.searching.requirement import reached_of
from rules.searching.span import UNKNOWN, Span, exactly
from rules.searching.walk import Path

__all__ = ["NEAREST", "near_misses"]

NEAREST: Final = 3
"""Stacks told."""

_LISTED: Final = 2000
"""Stacks looked at by lengths alone, a fair share of them for each tool."""

_JUDGED: Final = 60

_MOST_FAULTS: Final = 2
"""Parts and joints refused in one stack; with more of them nothing is near."""


def near_misses(
    plan: Plan, request: SearchRequest, assessor: Assessor, refused: Sequence[JudgedStack]
) -> list[JudgedStack]:
    """Return the stacks with the fewest reasons against them, those that miss the projection by least first.

    They are chosen from those that were judged and refused, and from those with the fewest parts and joints refused;
    ends of kinds that do not go together at all are not taken for near.
    """
    listed = sorted(_Nearest(plan).paths(), key=lambda path: (_missed_mm(plan, path), path))
    judged = [*refused, *(judge(build(plan, path, request), request, assessor) for path in listed[:_JUDGED])]
    criteria, wanted = criteria_of(request), plan.requirement.projection

    def nearness(one: JudgedStack) -> tuple[object, ...]:
        reached = reached_of(wanted, one.derived.geometry) if wanted is not None else 0.0
        missed = 0.0 if wanted is None or isinstance(reached, Lack) else _missed(exactly(reached), wanted)
        return (len(one.reasons), missed, *sort_key(rank_key(one, criteria), one.built.keys))

    found = {one.built.keys: one for one in judged if one.reasons}
    return sorted(found.values(), key=nearness)[:NEAREST]


class _Nearest:
    """Walks through the stacks that have no more faults than the best of its tool."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._least = lru_cache(maxsize=None)(self._least_above)

    def paths(self) -> Iterator[Path]:
        plan = self._plan
        room = plan.requirement.max_components - 1
        least = {tool: self._fault(tool) + self._least(tool, room) for tool in range(plan.first_between)}
        best = min(least.values(), default=math.inf)
        tools = [tool for tool, faults in least.items() if faults == best]
        if best <= _MOST_FAULTS:
            share = max(1, _LISTED // max(1, len(tools)))
            for tool in tools:
                yield from islice(self._above((tool,), exactly(0.0), self._fault(tool), best), share)

    def _above(self, path: Path, face: Span, faults: float, most: float) -> Iterator[Path]:
        """Yield the stacks on from an end, the way first that may miss the projection by least."""
        plan = self._plan
        room = plan.requirement.max_components - len(path)
        uppers = range(plan.first_between, len(plan.parts))
        for upper in sorted(uppers, key=lambda number: (self._bound(path[-1], number, face, room), number)):
            holder = plan.is_holder(upper)
            if not holder and (room < 2 or path.count(upper) >= plan.parts[upper].quantity):
                continue
            so_far = faults + self._step(upper, path[-1])
            if so_far + (self._knob_fault(upper)[0] if holder else self._least(upper, room - 1)) > most:
                continue
            if holder:
                yield (*path, upper, self._knob_fault(upper)[1])
            else:
                yield from self._above((*path, upper), face + plan.projection(upper, path[-1]), so_far, most)

    def _bound(self, lower: int, upper: int, face: Span, room: int) -> float:
        """Return by how much the projection is missed at least on the way over an upper part."""
        plan, wanted = self._plan, self._plan.requirement.projection
        if wanted is None or wanted.measured_from != "gauge_line":
            return 0.0
        if plan.is_holder(upper):
            beyond = exactly(plan.gauge_mm[upper - plan.first_holder])
        else:
            beyond = plan.upward[upper][room - 1] or UNKNOWN
        return _missed(face + plan.projection(upper, lower) + beyond, wanted)

    def _least_above(self, lower: int, room: int) -> float:
        """Return the fewest faults on the way from a part to a holder."""
        plan = self._plan
        least = math.inf
        for upper in range(plan.first_between, len(plan.parts)):
            if plan.is_holder(upper):
                least = min(least, self._step(upper, lower) + self._knob_fault(upper)[0])
            elif room > 1:
                step = self._step(upper, lower)
                if step < least:
                    least = min(least, step + self._least(upper, room - 1))
        return least

    def _step(self, upper: int, lower: int) -> float:
        joining = self._plan.joining(upper, lower)
        return (0.0 if joining.code is None else 1.0 if joining.mates else math.inf) + self._fault(upper)

    def _fault(self, number: int) -> float:
        return 0.0 if self._plan.refused[number] is None else 1.0

    def _knob_fault(self, holder: int) -> tuple[float, int]:
        """Return whether the best of its knobs is refused, and which it is."""
        codes = self._plan.knob_refusals[holder - self._plan.first_holder]
        fine = [knob for knob, code in enumerate(codes) if code is None]
        return (0.0, fine[0]) if fine else (1.0, 0)


def _missed_mm(plan: Plan, path: Path) -> float:
    """Return by how much the projection asked is missed at best; zero where it is met or not known."""
    wanted = plan.requirement.projection
    if wanted is None:
        return 0.0
    numbers = path[:-1]
    spans = [plan.projection(upper, lower) for lower, upper in pairwise(numbers)]
    whole = spans[0]
    if wanted.measured_from == "gauge_line":
        whole = sum(spans, start=exactly(plan.gauge_mm[numbers[-1] - plan.first_holder]))
    return _missed(whole, wanted)


def _missed(whole: Span, wanted: Projection) -> float:
    short = 0.0 if wanted.at_least_mm is None else wanted.at_least_mm - whole.most
    long = 0.0 if wanted.at_most_mm is None else whole.least - wanted.at_most_mm
    return max(0.0, short, long)

"""Searching an inventory: every stack that goes together and does the job, ranked, a page at a time."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Final

from rules.answer.provenance import provenance
from rules.assess import Assessor
from rules.schema.search import (
    CutOrders,
    LeftOut,
    Page,
    RefusedStacks,
    SearchCounts,
    SearchReport,
    SearchRequest,
)
from rules.searching.building import build
from rules.searching.inventory import Inventory, inventory_of
from rules.searching.judging import JudgedStack, judge
from rules.searching.near_misses import near_misses
from rules.searching.plan import Plan, plan_of
from rules.searching.ranking import criteria_of
from rules.searching.requirement import TITLES
from rules.searching.results import near_miss, ranked
from rules.searching.token import digest_of, path_of, token_of
from rules.searching.walk import Path, walk

__all__ = ["STEPS_AT_MOST", "search"]

STEPS_AT_MOST: Final = 100_000
"""Steps of the walk before an answer is given, however few stacks were judged."""


class _Tally:
    """What one page met."""

    def __init__(self) -> None:
        self.kept: list[JudgedStack] = []
        self.cut: Counter[str] = Counter()
        self.refused: list[JudgedStack] = []
        self.last: Path = ()
        """The step the page ends with."""

    @property
    def judged(self) -> int:
        return len(self.kept) + len(self.refused)


def search(request: SearchRequest, assessor: Assessor) -> SearchReport:
    """Find the stacks of an inventory that go together and do the job.

    Raises :class:`~rules.schema.parsing.BadRequestError` for more components than a search takes and for thresholds
    that no
    rule has or allows, :class:`~rules.searching.token.ContinuationError` for a token that does not belong to the
    request, and :class:`~rules.rulebook.engine.EngineFaultError` when the engine failed.
    """
    digest = digest_of(request, assessor)
    behind = () if request.continuation is None else path_of(request.continuation, digest)
    inventory = inventory_of(request, assessor.catalogue.definitions)
    plan = plan_of(request, inventory, assessor)
    tally, complete = _page(plan, request, assessor, behind)
    criteria = criteria_of(request)
    only_page = complete and not behind
    nearest = near_misses(plan, request, assessor, tally.refused) if only_page and not tally.kept else []
    return SearchReport(
        counts=SearchCounts(
            parts=inventory.count,
            orders_possible=plan.orders_possible,
            orders_cut=sum(tally.cut.values()),
            judged=tally.judged,
            kept=len(tally.kept),
            refused=len(tally.refused),
        ),
        results=ranked(tally.kept, criteria),
        ranked_by=criteria,
        cut=_cut(tally.cut, assessor),
        refused_by=_refused_by(tally.refused),
        nearest=[near_miss(one) for one in nearest],
        left_out=_left_out(plan, inventory),
        complete=complete,
        continuation=None if complete else token_of(tally.last, digest),
        notes=_notes(inventory, tally, complete=complete, first=not behind),
        cautions=list(dict.fromkeys(text for one in (*tally.kept, *nearest) for text in one.report.cautions)),
        provenance=provenance(request, request.policy, assessor.book, assessor.catalogue.digest),
    )


def _page(plan: Plan, request: SearchRequest, assessor: Assessor, behind: Path) -> tuple[_Tally, bool]:
    """Walk until the work of a page is done; whether the walk is then at its end is looked up by one step more."""
    page = request.page or Page()
    tally = _Tally()
    steps = walk(plan, behind)
    for number, step in enumerate(steps, start=1):
        tally.last = step.path
        if step.code is not None:
            tally.cut[step.code] += step.orders
        else:
            judged = judge(build(plan, step.path, request), request, assessor)
            (tally.refused if judged.reasons else tally.kept).append(judged)
        full = tally.judged >= page.judged_at_most or len(tally.kept) >= page.results_at_most
        if full or number >= STEPS_AT_MOST:
            return tally, next(steps, None) is None
    return tally, True


def _cut(cut: Counter[str], assessor: Assessor) -> list[CutOrders]:
    return [
        CutOrders(code=code, title=TITLES.get(code) or assessor.book.rule(code).title, orders=orders)
        for code, orders in sorted(cut.items(), key=lambda item: (-item[1], item[0]))
    ]


def _refused_by(refused: Iterable[JudgedStack]) -> list[RefusedStacks]:
    titles: dict[str, str] = {}
    stacks: Counter[str] = Counter()
    alone: Counter[str] = Counter()
    for one in refused:
        codes = {reason.code: reason.title for reason in one.reasons}
        titles |= codes
        stacks.update(codes.keys())
        if len(codes) == 1:
            alone.update(codes.keys())
    return [
        RefusedStacks(code=code, title=titles[code], stacks=count, alone=alone[code])
        for code, count in sorted(stacks.items(), key=lambda item: (-item[1], item[0]))
    ]


def _left_out(plan: Plan, inventory: Inventory) -> list[LeftOut]:
    refused = [
        LeftOut(key=one.key, code=finding.code, reason=finding.message)
        for one, finding in zip(plan.parts, plan.refused, strict=True)
        if finding is not None
    ]
    return sorted((*inventory.left_out, *refused), key=lambda one: one.key)


def _notes(inventory: Inventory, tally: _Tally, *, complete: bool, first: bool) -> list[str]:
    notes: list[str] = []
    missing: Sequence[tuple[str, Sequence[object]]] = (
        ("holder", inventory.holders),
        ("cutter that is wanted", inventory.tools),
    )
    notes.extend(f"The inventory has no {what}, so there is no stack." for what, found in missing if not found)
    if not complete or not first:
        notes.append(
            "This is a page of a longer search: counts and ranking are those of the page, and the pages together are"
            " the whole. A better stack may be on another page; merge by rank_key, ties by components."
        )
    if not complete and not tally.kept:
        notes.append("Nothing on this page is kept; go on with the continuation before giving up.")
    return notes
